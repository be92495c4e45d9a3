"""What a pack is made from: the books at the end of a range of days, and at the end of the day before it."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from beancount.core.data import Document

from millilot.ledger.money import minor_unit
from millilot.ledger.reading import read_books
from millilot.reports.bottles import rounded_bottles, rows_of
from millilot.reports.year import year

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from decimal import Decimal

    from beancount.core.data import BeancountError, Directive

    from millilot.ledger.records import Books, Record
    from millilot.reports.year import Year

_DAY = datetime.timedelta(days=1)


@dataclass(frozen=True)
class Span:
    """Loaded books and a range of days.

    Attributes:
        entries: as Beancount loaded them.
        errors: what it found wrong.
        options_map: its options.
        start: the first day.
        end: the last day, itself included.
        number: the calendar year the channels' own forms are of.
        files: the digest of the books' main file and of each it includes, by name; the main file first.
    """

    entries: Sequence[Directive]
    errors: Sequence[BeancountError]
    options_map: dict[str, Any]
    start: datetime.date
    end: datetime.date
    number: int
    files: Mapping[str, str]

    @property
    def name(self) -> str:
        """What the range is called: the year, or its first and last day."""
        of_calendar = (datetime.date(self.number, 1, 1), datetime.date(self.number, 12, 31))
        return str(self.number) if (self.start, self.end) == of_calendar else f"{self.start} to {self.end}"

    @cached_property
    def all(self) -> Books:
        """The books with what came after the range."""
        return read_books(self.entries, self.options_map)

    @cached_property
    def closing(self) -> Books:
        """The books at the end of the last day."""
        return read_books(self.entries, self.options_map, self.end)

    @cached_property
    def opening(self) -> Books:
        """The books at the end of the day before the first."""
        return read_books(self.entries, self.options_map, self.start - _DAY)

    @cached_property
    def records(self) -> tuple[Record, ...]:
        """What happened within the range."""
        return tuple(record for record in self.closing.records if record.date >= self.start)

    @cached_property
    def year(self) -> Year:
        """The totals of the range, rounded."""
        return year(self.closing, self.start, self.end).rounded(self.currency)

    @cached_property
    def year_before(self) -> Year:
        """The totals of the same days a year earlier, rounded."""
        return year(self.closing, _a_year_before(self.start), self.start - _DAY).rounded(self.currency)

    @cached_property
    def bottles(self) -> tuple[dict[str, Any], ...]:
        """The rows of the bottles report at the end of the last day, rounded; last what belongs to no bottle."""
        return tuple(rows_of(rounded_bottles(self.closing)))

    @property
    def currency(self) -> str:
        """The operating currency."""
        return self.closing.currency

    @property
    def unit(self) -> Decimal:
        """Its smallest amount."""
        return minor_unit(self.currency)

    @cached_property
    def documented(self) -> frozenset[str]:
        """The links that documents of the books carry."""
        documents = (entry for entry in self.entries if isinstance(entry, Document))
        return frozenset(link for document in documents for link in document.links or ())


def _a_year_before(day: datetime.date) -> datetime.date:
    try:
        return day.replace(year=day.year - 1)
    except ValueError:
        # The 29th of February, or the first year of the calendar.
        return day.replace(year=max(day.year - 1, datetime.MINYEAR), day=min(day.day, 28))
