"""Books cut at the end of a range are those that would have been read up to it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

from millilot.ledger.reading import read_books, until

from .pages import open_books, purchase, sale

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from millilot.ledger.records import Books

    from .pages import Site


def told(books: Books) -> tuple[object, ...]:
    """Return what books say; settings other than claims are the same whatever the day."""
    claims = books.settings.claims
    return books.currency, books.bottles, list(books.bottles), books.records, books.foreign, claims


def test_the_sample_books_on_many_days(sample: Site) -> None:
    entries, options = sample.ledger.all_entries, sample.ledger.options
    whole = read_books(entries, options)
    for step in range(0, 560, 29):
        day = date(2025, 5, 25) + timedelta(days=step)
        assert told(until(whole, day)) == told(read_books(entries, options, day))


def test_money_may_name_a_bottle_that_comes_in_later(written: Callable[..., Path]) -> None:
    early = """
2025-01-02 * "A deposit"
  Expenses:Selling:Fees  3.00 USD
    bottle: "CH-1"
  Assets:Bank
"""
    ledger = open_books(written(purchase("CH-1"), early, sale("CH-1"))).ledger
    whole = read_books(ledger.all_entries, ledger.options)
    assert whole.records[0].money[0].bottle == "CH-1"
    for day in (date(2025, 1, 1), date(2025, 1, 2), date(2025, 1, 5), date(2025, 3, 1)):
        assert told(until(whole, day)) == told(read_books(ledger.all_entries, ledger.options, day))
    assert until(whole, date(2025, 1, 2)).records[0].money[0].bottle is None
