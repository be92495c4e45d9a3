"""Payback over time."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.reports.payback import COLUMNS, payback_over_time

from .books import SHELF, read

if TYPE_CHECKING:
    from millilot.ledger.records import Books

COSTS = {"CH-1": Decimal("129.60"), "QR-1": Decimal("100.00")}

SALES = """
2026-02-01 * "sold"
  Income:Sales  -5 CEDARHOUR @@ 12.96 USD
  Assets:Bank
2026-02-01 * "sold"
  Income:Sales  -5 CEDARHOUR @@ 12.96 USD
  Assets:Bank
2026-03-10 * "fee"
  bottle: "CH-1"
  Expenses:Selling:Fees  6.48 USD
  Assets:Bank
2026-04-01 * "something else"
  Equity:Contributed  1.00 USD
  Expenses:Selling:Software  -1.00 USD
"""


def points(
    books: Books, since: datetime.date | None = None, until: datetime.date | None = None,
) -> dict[str, list[tuple[str, str]]]:
    """Return the points of each bottle's line."""
    frame = payback_over_time(books, COSTS, since, until)
    assert tuple(frame.columns) == COLUMNS
    assert list(frame["date"]) == sorted(frame["date"])
    lines: dict[str, list[tuple[str, str]]] = {name: [] for name in COSTS}
    for day, bottle, payback in frame.itertuples(index=False, name=None):
        lines[bottle].append((day.isoformat(), str(payback)))
    return lines


def test_a_line_runs_from_the_purchase_to_the_last_day_of_the_books() -> None:
    assert points(read(SHELF + SALES)) == {
        "CH-1": [
            ("2026-01-05", "0"), ("2026-02-01", "0.2000"), ("2026-03-10", "0.1500"), ("2026-04-01", "0.1500"),
        ],
        "QR-1": [("2026-01-06", "0"), ("2026-04-01", "0")],
    }


def test_a_range_begins_with_what_was_earned_by_then_and_ends_at_its_end() -> None:
    since, until = datetime.date(2026, 2, 15), datetime.date(2026, 4, 30)
    assert points(read(SHELF + SALES), since, until) == {
        "CH-1": [("2026-02-15", "0.2000"), ("2026-03-10", "0.1500"), ("2026-04-30", "0.1500")],
        "QR-1": [("2026-02-15", "0"), ("2026-04-30", "0")],
    }


def test_a_bottle_bought_in_the_range_begins_with_its_purchase() -> None:
    since, until = datetime.date(2026, 1, 6), datetime.date(2026, 1, 31)
    assert points(read(SHELF), since, until) == {
        "CH-1": [("2026-01-06", "0"), ("2026-01-31", "0")],
        "QR-1": [("2026-01-06", "0"), ("2026-01-31", "0")],
    }
    whole = points(read(SHELF), datetime.date(2026, 1, 1), until)
    assert [line[0] for line in whole.values()] == [("2026-01-05", "0"), ("2026-01-06", "0")]


def test_only_the_bottles_that_are_asked_for_have_a_line() -> None:
    frame = payback_over_time(read(SHELF + SALES), {"QR-1": Decimal(100)})
    assert set(frame["bottle"]) == {"QR-1"}
    assert payback_over_time(read(""), {}).empty
