"""What each line of a year is made of."""

from __future__ import annotations

import datetime
from dataclasses import asdict
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from fava.core import FavaLedger
from hypothesis import given

from millilot.reports.year import line_sums, year
from millilot.reports.year_lines import PAID, PAYABLE, TOTALS, UnknownLineError, trace

from .books import HEAD, SHELF, load, net_profit
from .test_laws import EXACT, YEARS, histories, random_books
from .test_laws import read as read_history
from .test_year import TWO_YEARS, read

if TYPE_CHECKING:
    from pathlib import Path

FIRST, LAST = datetime.date(2026, 1, 1), datetime.date(2026, 12, 31)


def told(line: str) -> list[tuple[str, str, str]]:
    return [
        (str(part.date), part.what, f"{part.amount:.2f}") for part in trace(read(TWO_YEARS), FIRST, LAST, line)
    ]


def test_receipts_are_the_postings_of_income() -> None:
    assert told("gross_receipts") == [
        ("2026-02-01", "sale", "40.00"),
        ("2026-02-01", "sale", "5.00"),
        ("2026-03-01", "swap", "30.00"),
        ("2026-03-02", "not known yet", "18.00"),
    ]


def test_stock_is_made_up_of_what_is_left_in_the_bottles() -> None:
    assert told("closing_stock") == [
        ("2026-01-05", "bottle", "90.72"),  # 70 mL at 1.296
        ("2026-01-06", "bottle", "80.00"),  # 40 mL at 2
        ("2026-01-08", "owned before", "50.00"),
        ("2026-03-01", "swap", "30.00"),
    ]
    assert told("opening_stock") == []
    assert told("supplies_on_hand_close") == [("2026-01-07", "vials", "27.90")]


def test_a_total_is_traced_with_the_signs_it_has() -> None:
    assert told("net_receipts") == told("gross_receipts")
    traced = told("cost_of_goods_sold")
    assert ("2026-02-07", "kept", "-19.44") in traced
    assert ("2026-01-08", "owned before", "-50.00") in traced  # it is still in stock
    assert ("2026-01-08", "owned before", "50.00") in traced


def test_what_counts_twice_in_a_total_with_both_signs_is_not_in_it() -> None:
    # Samples come out of cost of goods and are an expense: profit is the less by them once, through stock.
    lines = {part.line for part in trace(read(TWO_YEARS), FIRST, LAST, "business_profit")}
    assert "samples" not in lines
    assert "closing_stock" in lines


def test_a_part_says_where_it_is_written() -> None:
    [part] = trace(read(TWO_YEARS), FIRST, LAST, "other_income")
    line = (HEAD + TWO_YEARS).splitlines().index("  Income:Compensation  -6.00 USD") + 1
    assert part.place == f"<string>:{line}"
    assert (part.detail, part.is_money) == ("Income:Compensation", True)


def test_the_money_of_a_line_is_told_from_goods_at_cost() -> None:
    sums = line_sums(read(TWO_YEARS), FIRST, LAST)
    assert sums["packing"] == Decimal("2.00")
    assert sums["packing_paid"] == Decimal("1.70")
    assert (sums["other_costs_paid"], sums["supplies_paid"], sums["supplies_bought"]) == (7, 0, 30)


def test_payments_are_counted_one_by_one() -> None:
    assert told("transactions") == [("2026-02-01", "sale", "1.00"), ("2026-03-02", "not known yet", "1.00")]


def test_an_unknown_line_is_answered_with_those_there_are() -> None:
    with pytest.raises(UnknownLineError, match=r"'profits'.* cost_of_goods_sold, "):
        trace(read(TWO_YEARS), FIRST, LAST, "profits")


@random_books
@given(histories())
def test_every_line_is_the_sum_of_its_trace(history: list[str]) -> None:
    books = read_history(history)
    for number in YEARS:
        days = datetime.date(number, 1, 1), datetime.date(number, 12, 31)
        lines = {**line_sums(books, *days), **asdict(year(books, *days))}
        assert set(TOTALS) < set(lines)
        assert {f"{line}{PAID}" for line in PAYABLE} < set(lines)
        for line, amount in lines.items():
            parts = trace(books, *days, line)
            assert abs(sum((part.amount for part in parts), Decimal(0)) - amount) < EXACT, line
            assert all("<string>:" in part.place for part in parts)


UK = datetime.date(2026, 4, 6), datetime.date(2027, 4, 5)
BEFORE_UK = datetime.date(2025, 4, 6), datetime.date(2026, 4, 5)


def test_a_year_from_april_to_april_by_hand() -> None:
    totals = year(read(TWO_YEARS), *UK).rounded("USD")
    assert {name: str(value) for name, value in asdict(totals).items() if value} == {
        "gross_receipts": "45.00",  # the claim that was poured in January
        "refunds": "40.00",
        "net_receipts": "5.00",
        "opening_stock": "250.72",
        "closing_stock": "223.68",  # less 20 at 2, and 10 at 1.296 back
        "supplies_on_hand_open": "27.90",
        "supplies_on_hand_close": "27.90",
        "cost_of_goods_sold": "27.04",
        "gross_profit": "-22.04",
        "hobby_income": "-22.04",
        "business_profit": "-22.04",
        "transactions": "1",
        "receipts_if_counted_when_paid": "45.00",  # paid in December, poured in January: the same year here
    }


def test_years_from_april_chain_and_add_up_to_favas_profit() -> None:
    entries, errors, _ = load(TWO_YEARS)
    assert errors == []
    books = read(TWO_YEARS)
    first, second = year(books, *BEFORE_UK), year(books, *UK)
    assert first.closing_stock == second.opening_stock
    for days, totals in ((BEFORE_UK, first), (UK, second)):
        within = [entry for entry in entries if days[0] <= entry.date <= days[1]]
        assert abs(totals.business_profit - net_profit(within)) < EXACT


def test_a_refund_in_the_next_year_leaves_the_earlier_year_alone() -> None:
    before = TWO_YEARS.partition("2027-01-10")[0]
    assert "goods back" not in before
    assert year(read(before), FIRST, LAST) == year(read(TWO_YEARS), FIRST, LAST)


def test_a_year_before_its_own_first_day_is_empty() -> None:
    books = read(SHELF)
    totals = year(books, datetime.date(2027, 1, 1), datetime.date(2026, 1, 1))
    assert not any(asdict(totals).values())


def test_fava_shows_the_same_profit_for_a_year_from_april_to_april(tmp_path: Path) -> None:
    path = tmp_path / "main.beancount"
    path.write_text(HEAD + TWO_YEARS, encoding="utf-8")
    ledger = FavaLedger(str(path))
    for (first, last), profit in ((BEFORE_UK, Decimal("31.26")), (UK, Decimal("-22.04"))):
        tree = ledger.get_filtered(time=f"{first} - {last}").root_tree
        [amount] = tree.net_profit(ledger.options, "Net Profit").balance_children.values()
        totals = year(read(TWO_YEARS), first, last)
        assert -amount.quantize(Decimal("0.01")) == totals.rounded("USD").business_profit == profit
