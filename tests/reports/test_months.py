"""A year by months."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from millilot.reports.months import Month, months
from millilot.reports.year import year

from .books import read

START, END = date(2025, 1, 1), date(2025, 12, 31)

BY_HAND = """
2024-12-01 * "A bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{129.60 USD, "CH-1"}}
  Assets:Bank
2025-01-10 * "Sold" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Expenses:Selling:Fees  1.50 USD
  Assets:Bank
2025-03-05 * "Back, unopened" ^order-1
  Income:Refunds  5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
2025-03-20 * "A second bottle"
  Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
  Assets:Bank
2025-03-21 * "Sold"
  Income:Sales  -10 CEDARHOUR @@ 22.00 USD
    bottle: "CH-2"
  Assets:Bank
2025-04-01 * "A sample, a spill, a gift"
  Expenses:Samples  1 CEDARHOUR
  Expenses:Loss  2 CEDARHOUR
  Equity:PersonalUse  3 CEDARHOUR
"""


def test_by_hand() -> None:
    # 5 mL at 1.296 are 6.48; in March they come back, and 10 mL at 1.60 go: 16.00 - 6.48 = 9.52. What is
    # given away, lost or kept is no cost of goods.
    assert months(read(BY_HAND), START, END) == [
        Month(date(2025, 1, 1), Decimal("12.00"), Decimal("6.48"), Decimal("1.50")),
        Month(date(2025, 2, 1), Decimal("0.00"), Decimal("0.00"), Decimal("0.00")),
        Month(date(2025, 3, 1), Decimal("22.00"), Decimal("9.52"), Decimal("0.00")),
        Month(date(2025, 4, 1), Decimal("0.00"), Decimal("0.00"), Decimal("0.00")),
    ]


def test_supplies_cost_when_they_are_used_and_not_when_they_are_bought() -> None:
    text = BY_HAND.partition("2025-03-05")[0] + """
2025-02-01 custom "kit" "5 mL" 1 VIAL5
2025-02-03 * "Vials"
  Assets:Stock:Supplies  10 VIAL5 {{2.00 USD}}
  Assets:Bank
2025-03-05 * "Sold"
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
"""
    # 5 mL at 1.296 are 6.48; in March a vial at 0.20 goes with them.
    assert [month.cost_of_goods_sold for month in months(read(text), START, END)] == [
        Decimal("6.48"), 0, Decimal("6.68"),
    ]


def test_a_range_that_begins_and_ends_within_months() -> None:
    found = months(read(BY_HAND), date(2025, 1, 15), date(2025, 3, 10))
    assert [month.first for month in found] == [date(2025, 1, 15), date(2025, 2, 1), date(2025, 3, 1)]
    assert [month.cost_of_goods_sold for month in found] == [0, 0, Decimal("-6.48")]


def test_where_there_is_nothing_there_are_no_months() -> None:
    assert months(read(""), START, END) == []
    assert months(read(BY_HAND), date(2031, 1, 1), date(2031, 12, 31)) == []
    assert months(read(BY_HAND), date(2020, 1, 1), date(2020, 12, 31)) == []


SALES = st.lists(
    st.tuples(st.integers(1, 12), st.integers(1, 28), st.integers(1, 7), st.integers(1, 4000)), max_size=12,
)


@settings(max_examples=25, deadline=None)
@given(SALES, st.integers(1, 99999))
def test_months_add_up_to_the_year(sales: list[tuple[int, int, int, int]], cents: int) -> None:
    # A third of a cent and the like per mL, so that every month has a fraction of a cent.
    text = f"""
2024-12-01 * "A bottle"
  Assets:Stock:CedarHour  97 CEDARHOUR {{{{{Decimal(cents).scaleb(-2)} USD, "CH-1"}}}}
  Assets:Bank
"""
    for month, day, quantity, price in sales:
        text += f"""
2025-{month:02}-{day:02} * "Sold"
  Income:Sales  -{quantity} CEDARHOUR @@ {Decimal(price).scaleb(-2)} USD
  Assets:Bank
"""
    books = read(text)
    found = months(books, START, END)
    whole = year(books, START, END).rounded("USD")
    for line in Month._fields[1:]:
        assert sum((getattr(month, line) for month in found), Decimal(0)) == getattr(whole, line)
        for month in found:
            # No month moves by a whole cent.
            alone = year(books, month.first, _last(month.first))
            assert abs(getattr(month, line) - getattr(alone, line)) < Decimal("0.01")


def _last(first: date) -> date:
    return date(first.year, first.month, (date(first.year + first.month // 12, first.month % 12 + 1, 1)
                                          - date(first.year, first.month, 1)).days)
