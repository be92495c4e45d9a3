"""A channel's money from gross to bank, and what is open."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from beancount.core.number import ZERO
from hypothesis import given, settings
from hypothesis import strategies as st

from millilot.reports.ageing import by_age, open_items
from millilot.reports.payouts import settle
from millilot.reports.waterfall import waterfall

from .test_payouts import books_of, event, sale

START, END = date(2025, 1, 1), date(2025, 12, 31)
CENT = Decimal("0.01")


def sent(day: str, amount: str, number: str) -> str:
    return (
        f'{day} * "Payout" ^payout-{number}\n'
        f"  Assets:Marketplace:Lantern  -{amount} USD\n  Assets:Marketplace:Lantern:Transit\n"
    )


def arrived(day: str, amount: str, number: str, cost: str = "0.00") -> str:
    return (
        f'{day} * "From the channel" ^payout-{number}\n'
        f"  Assets:Marketplace:Lantern:Transit  -{amount} USD\n  Expenses:Selling:Exchange  {cost} USD\n"
        f"  Assets:Bank\n"
    )


BY_HAND = (
    sale("2024-12-20", "1", "40.00", "^payout-A")
    + sent("2024-12-30", "40.00", "A")
    + arrived("2025-01-02", "40.00", "A", "1.00")
    + sale("2025-02-01", "2", "60.00", "^payout-B")
    + event("2025-02-02", "fee", "Expenses:Selling:Fees", "5.00", "^payout-B")
    + sent("2025-02-10", "55.00", "B")
    + arrived("2025-02-12", "55.00", "B")
    + sale("2025-12-20", "3", "20.00", "^payout-C")
    + sent("2025-12-31", "20.00", "C")
    + sale("2025-12-31", "4", "7.00")
)


def test_by_hand() -> None:
    found = waterfall(books_of(BY_HAND), "Lantern", START, END).steps
    assert [(step.line, step.amount) for step in found] == [
        ("gross", Decimal("87.00")),  # 60 + 20 + 7
        ("fees", Decimal("-5.00")),
        ("kept", Decimal("-7.00")),
        ("paid_out", Decimal("75.00")),
        ("way_open", Decimal("40.00")),
        ("way_close", Decimal("-20.00")),
        ("lost", Decimal("-1.00")),
        ("bank", Decimal("94.00")),  # 39 + 55
    ]
    assert [step.line for step in found if step.is_total] == ["paid_out", "bank"]


def test_what_sets_out_on_the_first_day_was_not_under_way_before() -> None:
    text = sale("2025-01-01", "1", "40.00", "^payout-A") + sent("2025-01-01", "40.00", "A")
    found = waterfall(books_of(text + arrived("2025-01-03", "40.00", "A")), "Lantern", START, END).steps
    assert [(step.line, step.amount) for step in found] == [("gross", 40), ("paid_out", 40), ("bank", 40)]


def test_receipts_of_nought_are_shown() -> None:
    # The 40.00 set out the day before, and arrive two days later.
    day = date(2024, 12, 31)
    found = waterfall(books_of(BY_HAND), "Lantern", day, day).steps
    assert [(step.line, step.amount) for step in found] == [
        ("gross", 0), ("paid_out", 0), ("way_open", 40), ("way_close", -40), ("bank", 0),
    ]


AMOUNTS = st.lists(st.integers(1, 5000), min_size=1, max_size=6)


@settings(max_examples=30, deadline=None)
@given(AMOUNTS, AMOUNTS, st.integers(0, 5))
def test_each_step_begins_where_the_one_before_it_ended(sales: list[int], fees: list[int], paid: int) -> None:
    text = ""
    for number, cents in enumerate(sales):
        amount = Decimal(cents).scaleb(-2)
        text += sale(f"2025-0{number + 1}-01", str(number), str(amount), f"^payout-{number}")
        if number < paid:
            text += sent(f"2025-0{number + 1}-05", str(amount), str(number))
            if number % 2:
                text += arrived(f"2025-0{number + 1}-07", str(amount), str(number))
    for number, cents in enumerate(fees):
        text += event(f"2025-0{number + 1}-02", "fee", "Expenses:Selling:Fees", str(Decimal(cents).scaleb(-2)))
    books = books_of(text)
    for start, end in ((START, END), (date(2025, 3, 1), date(2025, 4, 30))):
        found = waterfall(books, "Lantern", start, end)
        level = ZERO
        for step in found.steps:
            assert step.start == (ZERO if step.is_total else level)
            level = step.end
            assert step.line in {"gross", "paid_out", "bank"} or step.amount
        totals = {step.line: step.amount for step in found.steps if step.is_total}
        assert totals["paid_out"] == found.statement.year.paid_out


def test_two_years_are_the_sum_of_each() -> None:
    books = books_of(BY_HAND)

    def steps(start: date, end: date) -> dict[str, Decimal]:
        return {step.line: step.amount for step in waterfall(books, "Lantern", start, end).steps}

    first, second = steps(date(2024, 1, 1), date(2024, 12, 31)), steps(START, END)
    both = steps(date(2024, 1, 1), END)
    for line in ("gross", "fees", "paid_out", "lost", "bank"):
        assert both.get(line, ZERO) == first.get(line, ZERO) + second.get(line, ZERO)
    assert first["way_close"] == -second["way_open"]


# Ages.


def test_what_is_open_is_held_or_under_way() -> None:
    books = books_of(BY_HAND)
    items = open_items(settle(books), date(2026, 1, 20))
    assert [(item.date, item.days, item.amount, item.outstanding) for item in items] == [
        (date(2025, 12, 31), 20, Decimal("20.00"), Decimal("20.00")),
        (date(2025, 12, 31), 20, Decimal("7.00"), Decimal("7.00")),
    ]
    assert [item.payout is not None for item in items] == [True, False]
    assert by_age(items, CENT) == [0, Decimal("27.00"), 0, 0]


def test_what_was_lost_on_the_way_is_not_outstanding() -> None:
    text = sale("2025-02-01", "1", "40.00", "^payout-A") + sent("2025-02-10", "40.00", "A")
    [item] = open_items(settle(books_of(text + arrived("2025-02-12", "30.00", "A", "1.00"))), date(2025, 3, 1))
    # Of 40.00, 29.00 are in the bank and 1.00 went for the exchange.
    assert (item.amount, item.outstanding) == (Decimal("40.00"), Decimal("10.00"))


@pytest.mark.parametrize(
    ("days", "place"), [(0, 0), (7, 0), (8, 1), (30, 1), (31, 2), (90, 2), (91, 3), (4000, 3)],
)
def test_the_ages(days: int, place: int) -> None:
    last = date.fromordinal(date(2025, 3, 1).toordinal() + days)
    items = open_items(settle(books_of(sale("2025-03-01", "1", "5.00"))), last)
    sums = by_age(items, CENT)
    assert [number for number, amount in enumerate(sums) if amount] == [place]


def test_a_day_to_come_is_no_age_below_nought() -> None:
    # It may be paid out from the day it settles.
    later = sale("2025-03-01", "1", "5.00", meta="  settled: 2025-03-09")
    [item] = open_items(settle(books_of(later)), date(2025, 3, 2))
    assert (item.date, item.days) == (date(2025, 3, 9), 0)
