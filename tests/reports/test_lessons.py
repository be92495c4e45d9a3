"""What a bottle has taught."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.reports.bottles import bottles, rows_of
from millilot.reports.days import DAYS_A_MONTH
from millilot.reports.lessons import ENOUGH_SALES, Lessons, SizeSold, lessons, sizes_sold

from .books import SHELF, read

if TYPE_CHECKING:
    from millilot.ledger.records import Books

#: Sold at a price: 5, 10 in two vials, 30 unopened. 1 mL is spilt, and 2 are lost in the pours.
SOLD = """
2026-01-20 * "Lantern" "three lines" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
    loss: 0.5
  Income:Sales  -10 CEDARHOUR @@ 20.00 USD
    vials: 2
    loss: 1.5
  Income:Sales  -30 CEDARHOUR @@ 48.00 USD
    vials: 0
  Income:Postage  -20.00 USD
  Expenses:Selling:Fees  10.00 USD
  Expenses:Selling:Postage  4.50 USD
  Assets:Marketplace:Lantern
2026-02-01 * "spilt"
  Expenses:Loss  1 CEDARHOUR
2026-02-02 * "given away"
  Income:Sales  -1 CEDARHOUR @@ 0.00 USD
2026-02-04 * "refund" ^order-1
  Income:Refunds  5.00 USD
  Assets:Marketplace:Lantern
"""


def learn(books: Books, name: str = "CH-1", day: datetime.date | None = None) -> Lessons:
    [row] = [row for row in rows_of(bottles(books)) if row["bottle"] == name]
    last = day or books.last
    assert last is not None
    return lessons(books, row, last)


def test_all_is_measured_from_the_sales() -> None:
    taught = learn(read(SHELF + SOLD), day=datetime.date(2026, 2, 4))
    assert taught.sales == 3
    # 1 vial, 2, and 1 at no price, none of the 30 mL; 0.5 + 1.5 + 1 mL are lost.
    assert taught.loss_per_vial == Decimal(3) / 4
    # Buyers paid 80.00 for the goods and 20.00 for postage.
    assert (taught.fee_share, taught.refund_share) == (Decimal("0.10"), Decimal("0.05"))
    assert (taught.postage_charged, taught.label) == (Decimal(20) / 3, Decimal("1.50"))
    assert taught.price_per_ml == Decimal(80) / 45
    # 30 days from the 5th of January on.
    assert taught.ml_per_month == Decimal(46) / (30 / DAYS_A_MONTH)


def test_vials_are_counted_by_size_and_what_left_unopened_is_none() -> None:
    # 12.00 for one and 20.00 for two.
    assert sizes_sold(read(SHELF + SOLD), {"CH-1", "QR-1"}) == {Decimal(5): SizeSold(Decimal(3), Decimal(32) / 3)}


def test_a_refund_for_goods_that_came_back_is_no_loss() -> None:
    books = read(SHELF + """
2026-01-20 * "sold" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Sales  -5 QUIETREED @@ 18.00 USD
  Assets:Bank
2026-01-22 * "back" ^order-1
  Income:Refunds  5 CEDARHOUR @@ 12.00 USD
  Income:Refunds  3.00 USD
  Assets:Bank
""")
    # The 3.00 for the trouble is shared over what came back in its own entry.
    assert learn(books).refund_share == Decimal("0.25")
    assert learn(books, "QR-1").refund_share == 0


def test_what_came_back_into_another_bottle_is_no_concern_of_a_refund() -> None:
    books = read(SHELF + """
2026-01-20 * "sold" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
2026-01-21 * "sold" ^order-2
  Income:Sales  -5 QUIETREED @@ 18.00 USD
  Assets:Bank
2026-01-22 * "back" ^order-1
  Income:Refunds  5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
2026-01-23 * "for the trouble" ^order-2
  Income:Refunds  4.50 USD
  Assets:Bank
""")
    # 4.50 of 18.00.
    assert (learn(books).refund_share, learn(books, "QR-1").refund_share) == (0, Decimal("0.25"))


def test_what_is_kept_of_a_refund_for_goods_that_came_back_is_no_refund_below_nought() -> None:
    books = read(SHELF + """
2026-01-20 * "sold" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
2026-01-22 * "back, less 2.00 for the trouble" ^order-1
  Income:Refunds  5 CEDARHOUR @@ 12.00 USD
  Income:Refunds  -2.00 USD
  Assets:Bank
""")
    assert learn(books).refund_share == 0


def test_a_vial_of_two_bottles_counts_by_the_ml_of_each() -> None:
    books = read("""
2026-01-05 * "two bottles"
  Assets:Stock:CedarHour  4 CEDARHOUR {{4.00 USD, "A"}}
  Assets:Stock:CedarHour  100 CEDARHOUR {{100.00 USD, "B"}}
  Assets:Bank
2026-01-06 * "sold"
  Income:Sales  -5 CEDARHOUR @@ 10.00 USD
  Assets:Bank
""")
    assert sizes_sold(books, {"A"}) == {Decimal(5): SizeSold(Decimal("0.8"), Decimal(10))}
    assert sizes_sold(books, {"B"}) == {Decimal(5): SizeSold(Decimal("0.2"), Decimal(10))}
    assert (learn(books, "A").price_per_ml, learn(books, "B").price_per_ml) == (2, 2)


def test_what_a_stocktake_finds_was_not_lost() -> None:
    # 1 mL lost in the pour by the books, and 0.4 mL more in the bottle than they say: 0.6 for the one vial.
    found = """
2026-01-20 * "sold"
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
    loss: 1
  Assets:Bank
2026-02-01 custom "stocktake" "CH-1" {left} CEDARHOUR
"""
    assert learn(read(SHELF + found.format(left="94.4"))).loss_per_vial == Decimal("0.6")
    assert learn(read(SHELF + found.format(left="93"))).loss_per_vial == Decimal(2)
    assert learn(read(SHELF + found.format(left="97"))).loss_per_vial == 0


def test_what_was_lost_is_shared_by_swapped_vials_and_not_by_what_came_back() -> None:
    books = read(SHELF + """
2026-01-20 * "sold" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
    loss: 0.3
  Assets:Bank
2026-01-21 * "swapped"
  Income:Swaps  -10 CEDARHOUR @@ 30.00 USD
    vials: 2
    loss: 0.6
  Assets:Stock:QuietReed  15 QUIETREED {{30.00 USD, "QR-2"}}
2026-01-22 * "back" ^order-1
  Income:Refunds  5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
""")
    # 0.9 mL for three vials, whatever came back of them.
    assert learn(books).loss_per_vial == Decimal("0.3")


def test_what_was_never_poured_tells_no_loss_of_a_vial() -> None:
    books = read(SHELF + """
2026-01-20 * "unopened"
  Income:Sales  -50 CEDARHOUR @@ 80.00 USD
    vials: 0
  Assets:Bank
""")
    assert learn(books).loss_per_vial is None


def test_a_bottle_never_sold_teaches_nothing() -> None:
    taught = learn(read(SHELF))
    assert taught == Lessons(0, *[None] * 7)
    assert not taught.enough


def test_a_swap_and_an_empty_box_are_no_sales() -> None:
    taught = learn(read(SHELF + """
2026-01-20 * "swapped"
  Income:Swaps  -10 CEDARHOUR @@ 30.00 USD
  Assets:Stock:QuietReed  15 QUIETREED {{30.00 USD, "QR-2"}}
2026-01-21 * "the box"
  Income:Sales  -15.00 USD
    bottle: "CH-1"
  Expenses:Selling:Fees  3.00 USD
    bottle: "CH-1"
  Assets:Bank
"""))
    assert (taught.sales, taught.price_per_ml, taught.ml_per_month, taught.label) == (0, None, None, None)
    # 3.00 of the 15.00 received; the swap brought no money.
    assert taught.fee_share == Decimal("0.2")


def test_the_pace_of_an_empty_bottle_ends_with_its_last_sale() -> None:
    sold = """
2026-01-20 * "sold"
  Income:Sales  -100 CEDARHOUR @@ 200.00 USD
    vials: 0
  Assets:Bank
"""
    taught = learn(read(SHELF + sold), day=datetime.date(2026, 12, 31))
    assert taught.ml_per_month == Decimal(100) / (15 / DAYS_A_MONTH)


def test_three_sales_are_enough() -> None:
    assert ENOUGH_SALES == 3
    sale = '\n2026-01-2{n} * "sold"\n  Income:Sales  -5 CEDARHOUR @@ 12.00 USD\n  Assets:Bank\n'
    books = [read(SHELF + "".join(sale.format(n=n) for n in range(sales))) for sales in (2, 3)]
    assert [learn(each).enough for each in books] == [False, True]
