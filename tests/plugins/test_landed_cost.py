"""What a bottle cost until it stood on the shelf: delivery, duty, sales tax, discounts, and what comes later."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from beancount import loader
from click.testing import CliRunner

from millilot.plugins.problems import LandedCostError
from millilot.reports.command import main

from .books import ACCOUNTS, PLUGIN, SHELF, LoadedBooks, load

if TYPE_CHECKING:
    from pathlib import Path

REST = f"""{ACCOUNTS}
2020-01-01 open Assets:Stock:Supplies "NONE"
2020-01-01 open Expenses:CostOfGoods:Supplies USD
2020-01-01 open Expenses:CostOfGoods USD
2020-01-01 open Expenses:Selling:Packing USD
2020-01-01 commodity VIAL5
  unit: "each"
"""

EXACT = Decimal("1E-18")


@pytest.fixture
def faulty(request: pytest.FixtureRequest) -> LoadedBooks:
    """The test's own docstring as books, without any bottle but its own."""
    return load(request.function.__doc__, REST)


def worth(books: LoadedBooks) -> dict[str, Decimal]:
    """Return the cost of what is left of each lot."""
    values: dict[str, Decimal] = {}
    for position in books.stock():
        assert position.cost is not None
        label = position.cost.label
        values[label] = values.get(label, Decimal(0)) + position.units.number * position.cost.number
    return values


# With the purchase.


def test_extra_cost_is_spread_by_value(books: LoadedBooks) -> None:
    """
    2026-01-10 * "a published exam answer"
      Assets:Stock:CedarHour  100 CEDARHOUR {{400.00 USD, "CH-1"}}
      Assets:Stock:QuietReed  100 QUIETREED {{100.00 USD, "QR-1"}}
      Assets:Stock:Inbound  230.00 USD
      Assets:Bank  -730.00 USD
    """
    assert worth(books) == {"CH-1": 400 + 184, "QR-1": 100 + 46}
    assert books.balance("Assets:Stock:Inbound") == 0
    assert books.balance("Assets:Bank") == -730


def test_supplies_bear_their_share(books: LoadedBooks) -> None:
    """
    2026-01-10 * "a bottle and vials in one parcel"
      Assets:Stock:CedarHour  100 CEDARHOUR {{90.00 USD, "CH-1"}}
      Assets:Stock:Supplies  50 VIAL5 {{10.00 USD, "V-1"}}
      Assets:Stock:Inbound  6.00 USD
      Assets:Bank  -106.00 USD
    """
    assert worth(books) == {"CH-1": Decimal("95.40"), "V-1": Decimal("10.60")}


def test_every_kind_of_inbound_counts(books: LoadedBooks) -> None:
    """
    2026-01-10 * "delivery, sales tax, a discount"
      Assets:Stock:CedarHour  100 CEDARHOUR {{90.00 USD, "CH-1"}}
      Assets:Stock:QuietReed  50 QUIETREED {{30.00 USD, "QR-1"}}
      Assets:Stock:Inbound  6.00 USD
      Assets:Stock:Inbound  9.00 USD
      Assets:Stock:Inbound  -3.00 USD
      Assets:Bank  -132.00 USD
    """
    assert worth(books) == {"CH-1": 99, "QR-1": 33}


def test_lots_at_no_cost_share_by_quantity(books: LoadedBooks) -> None:
    """
    2026-01-10 * "two gifts, and their delivery"
      Assets:Stock:CedarHour  10 CEDARHOUR {{0.00 USD, "CH-1"}}
      Assets:Stock:QuietReed  5 QUIETREED {{0.00 USD, "QR-1"}}
      Assets:Stock:Inbound  6.00 USD
      Assets:Bank  -6.00 USD
    """
    assert worth(books) == {"CH-1": 4, "QR-1": 2}


def test_a_gift_beside_a_purchase_bears_nothing(books: LoadedBooks) -> None:
    """
    2026-01-10 * "a bottle with a gift"
      Assets:Stock:CedarHour  100 CEDARHOUR {{90.00 USD, "CH-1"}}
      Assets:Stock:QuietReed  5 QUIETREED {{0.00 USD, "QR-1"}}
      Assets:Stock:Inbound  6.00 USD
      Assets:Bank  -96.00 USD
    """
    assert worth(books) == {"CH-1": 96, "QR-1": 0}


def test_a_discount_may_take_all_of_the_cost(books: LoadedBooks) -> None:
    """
    2026-01-10 * "a voucher paid for all of it"
      Assets:Stock:CedarHour  100 CEDARHOUR {{90.00 USD, "CH-1"}}
      Assets:Stock:Inbound  -90.00 USD
    """
    assert worth(books) == {"CH-1": 0}


def test_a_discount_above_the_cost(faulty: LoadedBooks) -> None:
    """
    2026-01-10 * "too good"
      Assets:Stock:CedarHour  100 CEDARHOUR {{90.00 USD, "CH-1"}}
      Assets:Stock:Inbound  -90.01 USD  ; blamed
      Assets:Bank  0.01 USD
    """
    assert faulty.error() == "A discount of 90.01 USD is above the 90.00 the lots cost."
    assert isinstance(faulty.errors[0], LandedCostError)


def test_inbound_that_belongs_to_nothing(faulty: LoadedBooks) -> None:
    """
    2026-01-10 * "what for"
      Assets:Stock:Inbound  5.00 USD  ; blamed
      Assets:Bank  -5.00 USD
    """
    assert faulty.error() == (
        "5.00 USD stands on Assets:Stock:Inbound in a transaction that buys nothing. Write it in the purchase, or "
        "give it the link of the purchase (^purchase-...)."
    )


@pytest.mark.parametrize("inbound", ["0.01", "1.00", "10.00", "-7.77"])
def test_what_does_not_divide_is_spread_to_the_last_digit(inbound: str) -> None:
    books = load(
        f"""
        2026-01-10 * "three lots"
          Assets:Stock:CedarHour  30 CEDARHOUR {{{{100.00 USD, "CH-1"}}}}
          Assets:Stock:QuietReed  7 QUIETREED {{{{33.33 USD, "QR-1"}}}}
          Assets:Stock:Supplies  70 VIAL5 {{{{11.11 USD, "V-1"}}}}
          Assets:Stock:Inbound  {inbound} USD
          Assets:Bank  {Decimal("-144.44") - Decimal(inbound)} USD
        """,
        REST,
    )
    assert books.messages == []
    assert abs(books.stock_value() - Decimal("144.44") - Decimal(inbound)) < EXACT
    factor = 1 + Decimal(inbound) / Decimal("144.44")
    for label, cost in (("CH-1", "100.00"), ("QR-1", "33.33"), ("V-1", "11.11")):
        assert abs(worth(books)[label] - Decimal(cost) * factor) < EXACT


def test_what_is_drawn_has_the_landed_cost(books: LoadedBooks) -> None:
    """
    2026-01-10 * "bottle"
      Assets:Stock:CedarHour  100 CEDARHOUR {{120.00 USD, "CH-1"}}
      Assets:Stock:Inbound  9.60 USD
      Assets:Bank  -129.60 USD
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("6.48")


# Later.

#: 100 mL for 120.00, of which 40 are sold.
SOLD = """
2026-01-10 * "bottle" ^purchase-1
  Assets:Stock:CedarHour  100 CEDARHOUR {{120.00 USD, "CH-1"}}
  Assets:Bank  -120.00 USD
2026-02-01 * "sale" ^order-1
  Income:Sales  -40 CEDARHOUR @@ 80.00 USD
  Assets:Bank  80.00 USD
"""


def late(amount: str, narration: str = "late") -> str:
    return f"""
2026-03-01 * "{narration}" ^purchase-1
  Assets:Stock:Inbound  {amount} USD  ; blamed
  Assets:Bank  {-Decimal(amount)} USD
"""


def test_late_duty_is_cost_of_goods_for_what_is_gone() -> None:
    before = load(SOLD, REST)
    books = load(SOLD + late("10.00"), REST)
    assert books.messages == []
    [gone] = [p for p in books.transaction("late").postings if p.account.startswith("Expenses:")]
    assert (gone.account, gone.units.number) == ("Expenses:CostOfGoods:Fragrance", 4)
    assert books.left() == {"CH-1": 60}
    assert books.stock_value() == 78
    assert books.balance("Assets:Stock:Inbound") == 0
    for narration in ("bottle", "sale"):
        assert books.lines(narration) == before.lines(narration)


@pytest.mark.parametrize(("amount", "gone", "left"), [("-10.00", "-4", "66"), ("-5.00", "-2", "69")])
def test_cash_back_is_taken_off_what_is_gone_and_what_is_left(amount: str, gone: str, left: str) -> None:
    books = load(SOLD + late(amount, "cash-back"), REST)
    assert books.messages == []
    assert books.balance("Expenses:CostOfGoods:Fragrance") == 48 + Decimal(gone)
    assert books.stock_value() == Decimal(left)


def test_what_is_drawn_afterwards_has_the_new_cost() -> None:
    sale = """
2026-03-02 * "next sale" ^order-2
  Income:Sales  -10 CEDARHOUR @@ 20.00 USD
  Assets:Bank  20.00 USD
"""
    books = load(SOLD + late("10.00") + sale, REST)
    assert books.messages == []
    assert books.balance("Expenses:CostOfGoods:Fragrance") == 48 + 4 + 13


def test_late_duty_is_shared_by_value_with_supplies(books: LoadedBooks) -> None:
    """
    2026-01-10 * "a bottle and vials" ^purchase-1
      Assets:Stock:CedarHour  100 CEDARHOUR {{90.00 USD, "CH-1"}}
      Assets:Stock:Supplies  50 VIAL5 {{10.00 USD, "V-1"}}
      Assets:Bank  -100.00 USD
    2026-01-11 custom "kit" "5 mL" 1 VIAL5
    2026-02-01 * "sale" ^order-1
      Income:Sales  -50 CEDARHOUR @@ 80.00 USD
        vials: 10
      Assets:Bank  80.00 USD
    2026-03-01 * "duty" ^purchase-1
      Assets:Stock:Inbound  5.00 USD
      Assets:Bank  -5.00 USD
    """
    # 4.50 for the bottle, half of it gone; 0.50 for the vials, a fifth of them gone.
    assert books.balance("Expenses:CostOfGoods:Fragrance") == 45 + Decimal("2.25")
    assert books.balance("Expenses:CostOfGoods:Supplies") == 2 + Decimal("0.10")
    assert worth(books) == {"CH-1": Decimal("47.25"), "V-1": Decimal("8.40")}


def test_duty_for_a_bottle_that_is_empty_is_all_cost_of_goods(books: LoadedBooks) -> None:
    """
    2026-01-10 * "bottle" ^purchase-1
      Assets:Stock:CedarHour  100 CEDARHOUR {{120.00 USD, "CH-1"}}
      Assets:Bank  -120.00 USD
    2026-02-01 * "sale" ^order-1
      Income:Sales  -100 CEDARHOUR @@ 200.00 USD
      Assets:Bank  200.00 USD
    2026-03-01 * "duty" ^purchase-1
      Assets:Stock:Inbound  7.77 USD
      Assets:Bank  -7.77 USD
    """
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("127.77")
    assert books.left() == {}


def test_late_cost_of_a_purchase_that_is_not_there() -> None:
    text = late("10.00").replace("purchase-1", "purchase-9")
    books = load(SOLD + text, REST)
    assert books.error() == "No purchase with the link ^purchase-9 came before this day."


def test_late_cash_back_above_what_a_bottle_cost() -> None:
    books = load(SOLD + late("-120.01"), REST)
    assert books.error() == "-120.01 USD off CH-1 is more than it cost."
    assert books.stock_value() == 72


# Back to the supplier.


def test_a_bottle_sent_back_takes_its_landed_cost_along(books: LoadedBooks) -> None:
    """
    2026-01-10 * "two bottles" ^purchase-1
      Assets:Stock:CedarHour  100 CEDARHOUR {{120.00 USD, "CH-1"}}
      Assets:Stock:QuietReed  50 QUIETREED {{80.00 USD, "QR-1"}}
      Assets:Stock:Inbound  10.00 USD
      Assets:Bank  -210.00 USD
    2026-01-20 * "sent back" ^purchase-1
      Assets:Stock:QuietReed  -50 QUIETREED {1.60 USD, "QR-1"}
      Assets:Bank  80.00 USD
    """
    assert worth(books) == {"CH-1": 126}
    # The delivery of 4.00 was not refunded.
    assert books.balance("Expenses:CostOfGoods") == 4


# The year.

#: "Accounting Principles: A Business Perspective" (Global Text), chapter 7, exhibits 33, 35 and 38: a year with
#: discounts on purchases, purchases returned and transport-in. 24 mL of opening stock and 166 mL at 1,000 each.
SCHEDULE = """
2025-12-31 * "opening stock"
  Assets:Stock:QuietReed  24 QUIETREED {{24000 USD, "OPENING"}}
  Equity:Contributed  -24000 USD
2026-03-01 * "purchases, less a discount, with transport" ^purchase-1
  Assets:Stock:CedarHour  166 CEDARHOUR {{159000 USD, "KEPT"}}
  Assets:Stock:Inbound  -3000 USD
  Assets:Stock:Inbound  10000 USD
  Assets:Bank  -166000 USD
2026-03-02 * "purchased" ^purchase-2
  Assets:Stock:CedarHour  8 CEDARHOUR {{8000 USD, "RETURNED"}}
  Assets:Bank  -8000 USD
2026-03-09 * "purchases returned" ^purchase-2
  Assets:Stock:CedarHour  -8 CEDARHOUR {1000 USD, "RETURNED"}
  Assets:Bank  8000 USD
2026-06-01 * "sales" ^order-1
  Income:Sales  -24 QUIETREED @@ 42000 USD
  Income:Sales  -135 CEDARHOUR @@ 240000 USD
  Assets:Bank  282000 USD
2026-07-01 * "discounts to buyers, and allowances" ^order-1
  Income:Refunds  5000 USD
  Income:Refunds  15000 USD
  Assets:Bank  -20000 USD
"""


def test_the_schedule_of_a_textbook_year(tmp_path: Path) -> None:
    path = tmp_path / "main.beancount"
    path.write_text(f"{PLUGIN}\n{SCHEDULE}\n{REST}", encoding="utf-8")
    _, errors, _ = loader.load_file(str(path))
    assert errors == []
    arguments = ["year", "2026", "-b", str(path), "--format", "json"]
    result = CliRunner().invoke(main, arguments, catch_exceptions=False)
    assert result.exit_code == 0
    totals = json.loads(result.stdout)
    expected = {
        "gross_receipts": "282000.00",
        "refunds": "20000.00",
        "net_receipts": "262000.00",
        "opening_stock": "24000.00",
        "purchases": "166000.00",
        "other_costs": "0.00",
        "closing_stock": "31000.00",
        "cost_of_goods_sold": "159000.00",
        "gross_profit": "103000.00",
    }
    assert {name: totals[name] for name in expected} == expected


def test_inbound_in_two_currencies_is_refused() -> None:
    books = load(
        """
        2020-01-01 open Assets:Euro EUR
        2026-01-06 * "mixed"
          Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
          Assets:Stock:Inbound  6.00 USD
          Assets:Stock:Inbound  6.00 USD @ 1.00 EUR
          Assets:Bank  -86.00 USD
          Assets:Euro  -6.00 EUR
        """,
        REST,
    )
    assert books.messages == ["Inbound is in EUR and USD, its lots cost USD."]


def test_each_inbound_account_is_cleared_by_itself() -> None:
    books = load(
        """
        2020-01-01 open Assets:Stock:Inbound:Duty USD
        2026-01-06 * "delivery and duty"
          Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
          Assets:Stock:Inbound  5.00 USD
          Assets:Stock:Inbound:Duty  2.00 USD
          Assets:Bank  -87.00 USD
        2026-01-07 balance Assets:Stock:Inbound:Duty  0.00 USD
        2026-01-07 balance Assets:Stock:Inbound  0.00 USD
        """,
        REST,
    )
    assert books.messages == []


def test_inbound_is_spread_when_another_plugin_opens_its_account() -> None:
    rest = "\n".join(line for line in SHELF.splitlines() if "Inbound" not in line)
    books = load(
        """
        plugin "beancount.plugins.auto_accounts"
        2026-01-06 * "bottle" ^purchase-2
          Assets:Stock:QuietReed  50 QUIETREED {{100.00 USD, "QR-1"}}
          Assets:Stock:Inbound  10.00 USD
          Assets:Bank  -110.00 USD
        2026-02-01 * "duty" ^purchase-2
          Assets:Stock:Inbound  5.00 USD
          Assets:Bank  -5.00 USD
        """,
        rest,
    )
    assert books.messages == []
    assert books.balance("Assets:Stock:Inbound") == 0
    assert books.stock_value() == Decimal("129.60") + 115
