"""Orders paid on one side of a year's end and poured on the other."""

from __future__ import annotations

import datetime

from millilot.reports.cutoff import cut_off

from .books import SHELF, read
from .test_year import TWO_YEARS

FIRST, LAST = datetime.date(2026, 1, 1), datetime.date(2026, 12, 31)


def across(books: str, end: datetime.date = LAST) -> list[tuple[str | None, str, str, str, str]]:
    return [
        (each.order, str(each.paid), str(each.poured), str(each.amount), each.counted)
        for each in cut_off(read(books), FIRST, end)
    ]


SALE = """
{day} * "Lantern" "sale" ^order-{n}{tag}
{meta}  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Postage  -4.00 USD
  Expenses:Selling:Fees  1.95 USD
  Assets:Marketplace:Lantern
"""


def sale(day: str, n: int, meta: str = "", tag: str = "") -> str:
    return SALE.format(day=day, n=n, tag=tag, meta=f"  {meta}\n" if meta else "")


def test_a_claim_paid_before_and_poured_after() -> None:
    assert across(TWO_YEARS) == [(None, "2026-12-20", "2027-01-11", "45.00", "after the year")]


def test_an_order_sold_in_the_year_and_poured_after_it() -> None:
    books = SHELF + sale("2026-12-28", 1, "poured: 2027-01-03") + sale("2026-12-29", 2, tag=" #to-pour")
    assert across(books) == [
        ("order-1", "2026-12-28", "2027-01-03", "16.00", "in the year"),
        ("order-2", "2026-12-29", "None", "16.00", "in the year"),
    ]


def test_an_order_poured_in_time_is_not_listed() -> None:
    assert across(SHELF + sale("2026-12-28", 1, "poured: 2026-12-31") + sale("2026-12-30", 2)) == []


def test_an_order_placed_in_the_year_and_written_after_it() -> None:
    books = SHELF + sale("2027-01-02", 1, "ordered: 2026-12-31") + sale("2027-01-02", 2, "ordered: 2027-01-01")
    assert across(books) == [("order-1", "2026-12-31", "2027-01-02", "16.00", "after the year")]


def test_a_day_that_fava_saved_as_text_counts_like_a_date() -> None:
    books = SHELF + sale("2027-01-02", 1, 'ordered: "2026-12-31"') + sale("2027-01-02", 2, 'ordered: "soon"')
    assert across(books) == [("order-1", "2026-12-31", "2027-01-02", "16.00", "after the year")]


def test_what_has_waited_since_the_year_before_is_listed_again() -> None:
    books = SHELF + sale("2026-12-28", 1, tag=" #to-pour")
    days = datetime.date(2027, 1, 1), datetime.date(2027, 12, 31)
    [waiting] = cut_off(read(books), *days)
    assert (waiting.order, waiting.counted) == ("order-1", "before the year")


SPLIT = SHELF + """
2026-11-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
  split: "split-1"
2026-11-02 * "claim paid" ^split-1{one}
  Liabilities:Claims  -20.00 USD
  Assets:Bank
2026-11-03 * "claim paid" ^split-1{two}
  Liabilities:Claims  -25.00 USD
  Assets:Bank
2026-12-30 * "poured" ^split-1 ^order-one
  Income:Sales  -10 CEDARHOUR @@ 20.00 USD
    bottle: "CH-1"
  Liabilities:Claims  20.00 USD
2027-01-05 * "poured" ^split-1 ^order-two
  Income:Sales  -20 CEDARHOUR @@ 25.00 USD
    bottle: "CH-1"
  Liabilities:Claims  25.00 USD
"""


def test_claims_of_a_split_are_told_apart_by_their_orders() -> None:
    books = SPLIT.format(one=" ^order-one", two=" ^order-two")
    assert across(books) == [("order-two", "2026-11-03", "2027-01-05", "25.00", "after the year")]


def test_claims_without_orders_are_held_by_their_split() -> None:
    assert across(SPLIT.format(one="", two="")) == [
        ("split-1", "2026-11-03", "2027-01-05", "25.00", "after the year"),
    ]


def test_a_claim_paid_back_in_the_year_is_not_listed() -> None:
    books = SHELF + """
2026-11-02 * "paid" ^split-1
  Liabilities:Claims  -20.00 USD
  Assets:Bank
2026-12-02 * "dropped out" ^split-1
  Liabilities:Claims  20.00 USD
  Assets:Bank
"""
    assert across(books) == []


def test_the_list_adds_up_to_the_claims_held() -> None:
    books = read(SPLIT.format(one=" ^order-one", two=""))
    held = [each.amount for each in cut_off(books, FIRST, datetime.date(2026, 11, 30))]
    assert sum(held) == 45
