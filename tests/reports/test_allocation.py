"""Which bottle an amount belongs to."""

from __future__ import annotations

import datetime
from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.ledger.reading import read_books
from millilot.reports.allocation import Column, allocate
from millilot.reports.bottles import bottles
from millilot.reports.year import year

from .books import SHELF, load, read

if TYPE_CHECKING:
    from millilot.ledger.records import Books


def shared(books: Books, column: Column) -> dict[str | None, Decimal]:
    """Return what each bottle has in a column."""
    amounts: dict[str | None, Decimal] = defaultdict(Decimal)
    for share in allocate(books):
        if share.column is column:
            amounts[share.bottle] += share.amount
    return dict(amounts)


def test_what_an_order_costs_is_shared_by_price(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "two bottles" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -5 QUIETREED @@ 24.00 USD
      Income:Postage  -4.50 USD
      Expenses:Selling:Fees  6.00 USD
      Assets:Marketplace:Lantern  34.50 USD
    """
    assert shared(books, Column.SALES) == {"CH-1": 12, "QR-1": 24}
    assert shared(books, Column.POSTAGE_CHARGED) == {"CH-1": Decimal("1.5"), "QR-1": 3}
    assert shared(books, Column.FEES) == {"CH-1": 2, "QR-1": 4}


def test_two_lines_of_14_and_16(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "two bottles" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 14.00 USD
      Income:Sales  -5 QUIETREED @@ 16.00 USD
      Income:Postage  -6.00 USD
      Expenses:Selling:Fees  4.80 USD
      Assets:Marketplace:Lantern  31.20 USD
    2026-02-02 * "label" ^order-1
      Expenses:Selling:Postage  5.10 USD
      Assets:Marketplace:Lantern
    """
    assert shared(books, Column.POSTAGE_CHARGED) == {"CH-1": Decimal("2.80"), "QR-1": Decimal("3.20")}
    assert shared(books, Column.FEES) == {"CH-1": Decimal("2.24"), "QR-1": Decimal("2.56")}
    assert shared(books, Column.POSTAGE) == {"CH-1": Decimal("2.38"), "QR-1": Decimal("2.72")}


def test_an_entry_without_lines_is_shared_over_all_lines_of_its_order(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "first" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern
    2026-02-01 * "Lantern" "second" ^order-1
      Income:Sales  -5 QUIETREED @@ 24.00 USD
      Assets:Marketplace:Lantern
    2026-02-03 * "label" ^order-1
      Expenses:Selling:Postage  6.00 USD
      Assets:Marketplace:Lantern
    2026-02-04 * "goodwill" ^order-1
      Income:Refunds  3.00 USD
      Assets:Marketplace:Lantern
    """
    assert shared(books, Column.POSTAGE) == {"CH-1": 2, "QR-1": 4}
    assert shared(books, Column.REFUNDS) == {"CH-1": 1, "QR-1": 2}


def test_an_entry_with_lines_keeps_its_amounts_from_the_rest_of_the_order(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "first" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Expenses:Selling:Fees  2.00 USD
      Assets:Marketplace:Lantern
    2026-02-01 * "Lantern" "second" ^order-1
      Income:Sales  -5 QUIETREED @@ 24.00 USD
      Assets:Marketplace:Lantern
    """
    assert shared(books, Column.FEES) == {"CH-1": 2}


def test_a_named_bottle_takes_the_amount_whole(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "two bottles" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -5 QUIETREED @@ 24.00 USD
      Expenses:Selling:Ads  6.00 USD
        bottle: "CH-1"
      Assets:Marketplace:Lantern
    2026-03-01 * "box sold"
      Income:Sales  -15.00 USD
        bottle: "QR-1"
      Assets:Bank
    """
    assert shared(books, Column.FEES) == {"CH-1": 6}
    assert shared(books, Column.SALES) == {"CH-1": 12, "QR-1": 39}


def test_a_line_poured_from_two_bottles_divides_by_ml() -> None:
    books = read(
        """
        2026-01-05 * "short"
          Assets:Stock:CedarHour  2 CEDARHOUR {{2.00 USD, "CH-0"}}
          Assets:Bank
        2026-01-06 * "bottle"
          Assets:Stock:CedarHour  100 CEDARHOUR {{129.60 USD, "CH-1"}}
          Assets:Bank
        2026-02-01 * "Lantern" "sale" ^order-1
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Expenses:Selling:Fees  1.00 USD
          Assets:Marketplace:Lantern
        """,
    )
    assert shared(books, Column.SALES) == {"CH-0": Decimal("4.8"), "CH-1": Decimal("7.2")}
    assert shared(books, Column.FEES) == {"CH-0": Decimal("0.4"), "CH-1": Decimal("0.6")}


def test_a_line_at_a_price_of_nought_gets_nothing(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "sale and a present" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -2 QUIETREED @@ 0.00 USD
      Expenses:Selling:Postage  4.00 USD
      Assets:Marketplace:Lantern  8.00 USD
    """
    assert shared(books, Column.POSTAGE) == {"CH-1": 4}
    assert shared(books, Column.SALES) == {"CH-1": 12}


def test_a_refund_with_goods_belongs_to_the_bottle_they_return_to(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "two bottles" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -5 QUIETREED @@ 24.00 USD
      Assets:Marketplace:Lantern
    2026-02-09 * "Lantern" "came back" ^order-1
      Income:Refunds  5 QUIETREED @@ 24.00 USD
      Expenses:Selling:Fees  -2.00 USD
      Assets:Marketplace:Lantern
    """
    assert shared(books, Column.REFUNDS) == {"QR-1": 24}
    assert shared(books, Column.FEES) == {"QR-1": -2}


def test_a_swap_counts_in_sales_and_beside_them(books: Books) -> None:
    """
    2026-02-01 * "swap"
      Income:Swaps  -30 CEDARHOUR @@ 60.00 USD
      Expenses:Selling:Postage  5.00 USD
      Assets:Bank  -5.00 USD
      Assets:Stock:QuietReed  40 QUIETREED {{60.00 USD, "QR-2"}}
    """
    assert shared(books, Column.SALES) == {"CH-1": 60}
    assert shared(books, Column.SWAPS) == {"CH-1": 60}
    assert shared(books, Column.POSTAGE) == {"CH-1": 5}


def test_unsorted_income_lands_on_no_bottle_unless_it_names_one(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "one line known" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Unsorted  -20.00 USD
      Income:Unsorted  -7.00 USD
        bottle: "QR-1"
      Expenses:Selling:Fees  1.00 USD
      Assets:Marketplace:Lantern
    """
    assert shared(books, Column.SALES) == {"CH-1": 12, None: 20, "QR-1": 7}
    assert shared(books, Column.FEES) == {"CH-1": 1}


def test_what_names_no_order_is_unallocated(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "shop fee"
      Expenses:Selling:Fees  9.00 USD
      Assets:Marketplace:Lantern
    2026-02-02 * "insurance" ^order-unknown
      Income:Compensation  -8.00 USD
      Assets:Bank
    2026-02-03 * "a household's groceries in the same books"
      Assets:Bank  -5.00 USD
      Equity:PersonalUse  5.00 USD
    """
    assert shared(books, Column.FEES) == {None: 9}
    assert shared(books, Column.COMPENSATION) == {None: 8}


SUPPLIES = """
2026-01-07 * "vials"
  Assets:Stock:Supplies  100 VIAL5 {{30.00 USD, "V-1"}}
  Assets:Bank
"""


def test_supplies_are_shared_at_cost_and_those_sold_are_no_fragrance() -> None:
    books = read(
        SHELF
        + SUPPLIES
        + """
2026-02-01 * "Lantern" "two bottles" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Sales  -5 QUIETREED @@ 24.00 USD
  Expenses:Selling:Packing  1.20 USD
  Assets:Marketplace:Lantern  34.80 USD
  Assets:Stock:Supplies  -2 VIAL5 {0.30 USD, 2026-01-07, "V-1"}
  Expenses:CostOfGoods:Supplies  0.60 USD
2026-02-02 * "Lantern" "empty vials" ^order-2
  Income:Sales  -10 VIAL5 @@ 6.00 USD
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Expenses:Selling:Fees  0.60 USD
  Assets:Marketplace:Lantern
""",
    )
    assert shared(books, Column.SUPPLIES) == {"CH-1": Decimal("0.6"), "QR-1": Decimal("1.2"), None: 3}
    assert shared(books, Column.SALES) == {"CH-1": 24, "QR-1": 24, None: 6}
    assert shared(books, Column.FEES) == {"CH-1": Decimal("0.4"), None: Decimal("0.2")}


KITS = """
2026-01-07 * "vials and tape"
  Assets:Stock:Supplies  100 VIAL5 {{30.00 USD, "V-1"}}
  Assets:Stock:Packing  2 TAPE {{9.00 USD, "T-1"}}
  Assets:Bank
2020-01-01 open Assets:Stock:Packing TAPE "NONE"
2020-01-01 commodity TAPE
  unit: "each"
2026-01-07 custom "kit" "5 mL" 1 VIAL5
2026-01-07 custom "kit" "parcel" 0.2 TAPE
"""


def test_kits_are_shared_by_price_over_the_lines_of_their_order() -> None:
    books = read(
        SHELF
        + KITS
        + """
2026-02-01 * "Lantern" "two bottles" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Sales  -5 QUIETREED @@ 24.00 USD
  Assets:Marketplace:Lantern  36.00 USD
2026-02-02 * "Lantern" "a vial and one to fill" ^order-2
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Sales  -1 VIAL5 @@ 0.50 USD
  Assets:Marketplace:Lantern  12.50 USD
""",
    )
    # Two vials and tape are 1.50, shared one to two; then a vial and the tape are shared 12.00 to 0.50, and the
    # vial sold for itself serves no bottle.
    used = Decimal("1.2")
    assert shared(books, Column.SUPPLIES) == {
        "CH-1": Decimal("0.5") + used * 12 / Decimal("12.5"),
        "QR-1": 1,
        None: used / 25 + Decimal("0.3"),
    }


def test_pairs_written_by_hand_share_by_ml_sold(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "by hand" ^order-1
      Income:Sales  -36.00 USD
      Assets:Marketplace:Lantern  36.00 USD
      Assets:Stock:CedarHour  -6 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"}
      Expenses:CostOfGoods:Fragrance  7.776 USD
      Assets:Stock:QuietReed  -3 QUIETREED {2.00 USD, 2026-01-06, "QR-1"}
      Expenses:CostOfGoods:Fragrance  6.00 USD
    2026-02-02 * "label" ^order-1
      Expenses:Selling:Postage  6.00 USD
      Assets:Marketplace:Lantern
    """
    assert shared(books, Column.SALES) == {"CH-1": 24, "QR-1": 12}
    assert shared(books, Column.POSTAGE) == {"CH-1": 4, "QR-1": 2}


def test_shares_that_do_not_divide_add_up_exactly(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "thirds" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 10.00 USD
      Income:Sales  -5 QUIETREED @@ 20.00 USD
      Expenses:Selling:Fees  1.00 USD
      Assets:Marketplace:Lantern
    """
    assert sum(shared(books, Column.FEES).values()) == 1


def test_each_line_keeps_its_own_price_when_a_later_one_names_its_bottle(books: Books) -> None:
    """
    2026-01-20 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD
    2026-02-01 * "two vials" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -5 CEDARHOUR @@ 99.00 USD
        bottle: "CH-2"
      Assets:Marketplace:Lantern  111.00 USD
    """
    assert shared(books, Column.SALES) == {"CH-1": 12, "CH-2": 99}


def test_an_amount_may_name_a_bottle_that_comes_in_later(books: Books) -> None:
    """
    2026-01-02 * "listing fee ahead of the bottle"
      Expenses:Selling:Fees  1.00 USD
        bottle: "CH-1"
      Assets:Bank  -1.00 USD
    """
    assert shared(books, Column.FEES) == {"CH-1": 1}


def test_the_money_of_a_refused_line_goes_to_no_bottle() -> None:
    entries, errors, options = load(
        """
        2026-01-05 * "bottles"
          Assets:Stock:CedarHour  10 CEDARHOUR {{12.00 USD, "CH-1"}}
          Assets:Stock:QuietReed  50 QUIETREED {{100.00 USD, "QR-1"}}
          Assets:Bank
        2026-02-01 * "more than there is" ^order-1
          Income:Sales  -5 QUIETREED @@ 9.00 USD
          Income:Sales  -26 CEDARHOUR @@ 100.00 USD
          Assets:Marketplace:Lantern  109.00 USD
        """,
    )
    assert len(errors) == 1
    assert shared(read_books(entries, options), Column.SALES) == {"QR-1": 9, None: 100}


def test_what_was_paid_besides_is_a_sale_of_the_bottles_of_its_entry(books: Books) -> None:
    """
    2026-02-01 * "two bottles, wrapped" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -5 QUIETREED @@ 24.00 USD
      Income:Sales  -1.50 USD
        charge: "Gift wrap"
      Income:Postage  -4.50 USD
      Assets:Marketplace:Lantern  42.00 USD
    2026-02-03 * "Extra charge" ^order-1
      Income:Sales  -0.75 USD
        charge: "Personal message"
      Assets:Marketplace:Lantern  0.75 USD
    """
    # 12 : 24, so 1.50 is 0.50 and 1.00, and 0.75 is 0.25 and 0.50.
    assert shared(books, Column.SALES) == {"CH-1": Decimal("12.75"), "QR-1": Decimal("25.50")}
    # 12 + 24 + 1.50 + 0.75 and the postage of 4.50.
    year_2026 = year(books, datetime.date(2026, 1, 1), datetime.date(2026, 12, 31))
    assert year_2026.gross_receipts == Decimal("42.75")
    frame = bottles(books)
    assert dict(zip(frame["bottle"], frame["ml_sold"], strict=True)) == {"CH-1": 5, "QR-1": 5, None: 0}
