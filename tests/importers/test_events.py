"""Files with a row for each item."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from .shop import Shop

TWO_ITEMS = (
    {"Item": "Cedar Hour 5 mL", "Item total": "12.00", "Net": "22.05"},
    {"Item": "Cedar Hour 2 mL", "Item total": "8.00", "Net": "22.05"},
)
#: What an order-level column says where the file leaves it out.
BLANK = {"Postage charged": "", "Selling fee": "", "Net": "", "Ordered on": "", "Status": "", "Shipped on": ""}


def set_up(shop: Shop, amounts: str) -> None:
    shop.change_profile("[dates]", f'[file]\nrow = "item"\norder-amounts = "{amounts}"\n\n[dates]')


def booked(shop: Shop) -> list[str]:
    return re.findall(r"(?m)^  ([A-Z]\S+ +-?.*)$", shop.books.read_text(encoding="utf-8").split("event:")[1])


@pytest.mark.parametrize(
    ("amounts", "rows"),
    [
        ("repeated", TWO_ITEMS),
        ("first", (TWO_ITEMS[0], {**TWO_ITEMS[1], **BLANK})),
        ("first", (TWO_ITEMS[0], {**TWO_ITEMS[1], **BLANK, "Postage charged": "0.00"})),
        (
            "each",
            (
                {**TWO_ITEMS[0], "Postage charged": "3.00", "Selling fee": "1.00", "Net": "14.00"},
                {**TWO_ITEMS[1], "Postage charged": "1.00", "Selling fee": "0.95", "Net": "8.05"},
            ),
        ),
    ],
)
def test_an_order_of_two_items_is_one_entry(shop: Shop, amounts: str, rows: tuple[dict[str, str], ...]) -> None:
    set_up(shop, amounts)
    outcome = shop.outcome(shop.file(rows[0], {"Order": "7", "Ordered on": "2026-03-05"}, rows[1]))
    assert [(fate["row"], fate["fate"]) for fate in outcome["fates"]] == [(2, "new"), (3, "new"), (4, "new")]
    assert [re.sub(" +", " ", line) for line in booked(shop)] == [
        "Income:Sales -5 CEDARHOUR @@ 12.00 USD",
        "Income:Sales -2 CEDARHOUR @@ 8.00 USD",
        "Income:Postage -4.00 USD",
        "Expenses:Selling:Fees 1.95 USD",
        "Assets:Marketplace:Lantern 22.05 USD",
    ]
    assert '* "Cedar Hour 5 mL; Cedar Hour 2 mL" ^order-lantern-1001' in shop.books.read_text(encoding="utf-8")
    assert shop.errors() == []


def test_one_item_of_two_is_unsorted(shop: Shop) -> None:
    set_up(shop, "repeated")
    outcome = shop.outcome(shop.file(TWO_ITEMS[0], {**TWO_ITEMS[1], "Item": "Mystery"}))
    assert [fate["fate"] for fate in outcome["fates"]] == ["new", "unsorted"]
    assert '! "Cedar Hour 5 mL; Mystery"' in shop.books.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("amounts", "change", "reason"),
    [
        ("repeated", {"Postage charged": "5.00"}, "'Postage charged': expected '4.00' as in row 2, found '5.00'"),
        ("repeated", {"Postage charged": ""}, "'Postage charged': expected '4.00' as in row 2, found nothing"),
        ("first", {}, "column 'Net': expected nothing below row 2 of the order, found '22.05'"),
        ("repeated", {"Ordered on": "2026-03-05"}, "expected '2026-03-04' as in row 2, found '2026-03-05'"),
        ("repeated", {"Status": "Cancelled"}, "'Status': expected 'Shipped' as in row 2, found 'Cancelled'"),
        ("repeated", {"Item total": "x"}, "column 'Item total': expected an amount"),
    ],
)
def test_rows_of_an_order_that_contradict_each_other(
    shop: Shop, amounts: str, change: dict[str, str], reason: str,
) -> None:
    set_up(shop, amounts)
    blank = {"Postage charged": "", "Selling fee": ""} if amounts == "first" else {}
    second = {**TWO_ITEMS[1], **blank, **change}
    before = shop.books.read_bytes()
    outcome = shop.outcome(shop.file(TWO_ITEMS[0], second))
    assert [fate["fate"] for fate in outcome["fates"]] == ["refused", "refused"]
    assert outcome["fates"][0]["reason"] == "row 3 of the same order is refused"
    assert reason in outcome["fates"][1]["reason"]
    assert shop.books.read_bytes() == before


def test_a_row_of_another_width_refuses_its_whole_order(shop: Shop) -> None:
    set_up(shop, "each")
    path = shop.file({"Net": "14.05"}, {"Order": "2"})
    path.write_text(path.read_text(encoding="utf-8") + "1001,2026-03-04,,\n", encoding="utf-8")
    outcome = shop.outcome(path)
    assert [fate["fate"] for fate in outcome["fates"]] == ["refused", "new", "refused"]


def test_net_after_the_refund(shop: Shop) -> None:
    shop.change_profile('date = "Refunded on"', 'date = "Refunded on"\nin-net = true\nsign = "negative"')
    row = {"Refunded": "(12.00)", "Refunded on": "2026-04-01", "Net": "2.05"}
    assert shop.outcome(shop.file(row))["new"] == 1
    outcome = shop.outcome(shop.file({**row, "Order": "2", "Net": "14.05"}))
    assert outcome["fates"][0]["reason"] == "column 'Net': expected 2.05 from the other columns, found 14.05"
