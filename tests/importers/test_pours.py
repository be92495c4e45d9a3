"""A set is one item sold, and a draw from each of its bottles; the prices add up to what was charged."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .shop import Shop

SETS = """
[titles.sets]
"Forest set" = { parts = [
  { fragrance = "CEDARHOUR", ml = 2, list = 6.50 },
  { fragrance = "FIG", ml = 2, vials = 2, list = 13 },
] }
"Trial set" = { share = "cost", parts = [{ fragrance = "CEDARHOUR", ml = 1 }, { fragrance = "FIG", ml = 2 }] }
"""
#: 100 mL of Cedar Hour cost 129.60; these 50 mL at 0.648 are half of that per mL.
FIG = """
2026-01-01 open Assets:Stock:Fig "NONE"
2026-01-11 * "Bottle"
  Assets:Stock:Fig  50 FIG {{32.40 USD, "F-1"}}
  Assets:Bank
"""
#: Another bottle of it at another cost, from a later day on.
DEARER = """
2026-03-10 * "Bottle"
  Assets:Stock:Fig  50 FIG {{50.00 USD, "F-2"}}
  Assets:Bank
"""


def laid_out(shop: Shop, *more: str) -> Shop:
    shop.change_profile("[titles.skus]", f"{SETS}\n[titles.skus]")
    shop.books.write_text(shop.books.read_text(encoding="utf-8") + "".join((FIG, *more)), encoding="utf-8")
    return shop


def booked(shop: Shop, order: dict[str, str]) -> list[str]:
    """Import an order and return its lines of income and what is below them."""
    assert shop.outcome(shop.file(order))["refused"] == 0
    assert shop.errors() == []
    text = shop.books.read_text(encoding="utf-8").rpartition("event:")[2]
    lines = re.findall(r"(?m)^  Income:(?:Sales|Unsorted).*\n(?:    .*\n)*", text)
    return [" ".join(line.split()) for line in lines]


def test_a_set_shared_by_list_price(shop: Shop) -> None:
    # 16.00 by 6.50 to 13: 5.333 and 10.667.
    order = {"Item": "Forest set", "Item total": "16.00", "Net": "18.05"}
    assert booked(laid_out(shop), order) == [
        "Income:Sales -2 CEDARHOUR @@ 5.33 USD",
        'Income:Sales -4 FIG @@ 10.67 USD vials: "2"',
    ]
    assert shop.outcome(shop.folder / "orders.csv")["known"] == 1


def test_several_of_a_set(shop: Shop) -> None:
    order = {"Item": "forest SET", "Quantity": "3", "Item total": "40.00", "Net": "42.05"}
    assert booked(laid_out(shop), order) == [
        'Income:Sales -6 CEDARHOUR @@ 13.33 USD vials: "3"',
        'Income:Sales -12 FIG @@ 26.67 USD vials: "6"',
    ]


def test_a_set_by_its_sku_and_free_of_charge(shop: Shop) -> None:
    laid_out(shop).change_profile('"Forest set"', '"FOREST-1"')
    order = {"Item": "Anything", "SKU": "FOREST-1", "Item total": "0.00", "Net": "2.05"}
    assert booked(shop, order) == [
        "Income:Sales -2 CEDARHOUR @@ 0.00 USD",
        'Income:Sales -4 FIG @@ 0.00 USD vials: "2"',
    ]


def test_a_set_shared_by_cost(shop: Shop) -> None:
    # 1 mL at 1.296 and 2 mL at 0.648 cost the same; the odd cent goes to the first.
    order = {"Item": "Trial set", "Item total": "9.01", "Net": "11.06"}
    assert booked(laid_out(shop), order) == [
        "Income:Sales -1 CEDARHOUR @@ 4.51 USD", "Income:Sales -2 FIG @@ 4.50 USD",
    ]


def test_a_set_shared_by_cost_with_a_dearer_bottle_open_is_unsorted(shop: Shop) -> None:
    laid_out(shop, DEARER)
    order = {"Item": "Trial set", "Item total": "9.00", "Net": "11.05"}
    assert booked(shop, order) == [
        "Income:Sales -1 CEDARHOUR @@ 4.50 USD", "Income:Sales -2 FIG @@ 4.50 USD",
    ]
    late = {**order, "Order": "1002", "Ordered on": "2026-03-10"}
    assert booked(shop, late) == ['Income:Unsorted -9.00 USD title: "Trial set"']


def test_a_set_shared_by_cost_before_there_is_a_bottle_is_unsorted(shop: Shop) -> None:
    order = {"Item": "Trial set", "Item total": "9.00", "Net": "11.05", "Ordered on": "2026-01-10"}
    assert booked(laid_out(shop), order) == ['Income:Unsorted -9.00 USD title: "Trial set"']
