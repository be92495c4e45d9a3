"""What a reader of a year has to know: how much of it the books hold, and whether it is as it was filed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millilot.reports.days import last_of_year
from millilot.reports.filed import differences, filed_on
from millilot.reports.year import year

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterator

    from millilot.ledger.records import Books


def year_notes(books: Books, start: datetime.date, end: datetime.date) -> list[str]:
    """Return what has to be said beside the figures of a range of days, in sentences.

    Args:
        books: all the books, and not only up to the last day.
        start: the first day.
        end: the last day, itself included.
    """
    return [*_extent(books, start, end), *_opening(books, start, end), *_filed(books, start, end)]


def _extent(books: Books, start: datetime.date, end: datetime.date) -> Iterator[str]:
    """Yield whether the books hold the whole year."""
    first, last = books.first, books.last
    if first is None or last is None:
        yield "There is nothing in the books."
        return
    if end < start:
        yield f"On {end} the year has not begun."
        return
    if end != last_of_year(start):
        yield f"{start} to {end} is not a whole year but {(end - start).days + 1} days."
    if end < first:
        yield f"The books begin on {first}, after this year."
    elif last < start:
        yield f"The last entry of the books is of {last}; there is nothing in this year."
    else:
        if start < first:
            yield f"The books begin on {first}, so this is part of a year, and it opens without stock."
        if last < end and filed_on(books, start, end) is None:
            yield f"The last entry of the books is of {last}; the year is not closed."
    left_out = sum(start <= foreign.entry.date <= end for foreign in books.foreign)
    if left_out:
        yield f"Amounts left out, as they are not in {books.currency}: {left_out}. `millilot check` names them."


def _opening(books: Books, start: datetime.date, end: datetime.date) -> Iterator[str]:
    """Yield whether opening stock is the closing stock that was filed for the year before."""
    before = [filed for filed in books.settings.filed if (start - filed.last).days == 1]
    filed = before[-1] if before else None
    if filed is None or filed.currency != books.currency:
        return
    opening = year(books, start, end).rounded(books.currency).opening_stock
    if opening == filed.closing_stock:
        yield f"Opening stock is the closing stock filed for {filed.last}."
    else:
        yield (
            f"Opening stock is {opening:f}, and the closing stock filed for {filed.last} is "
            f"{filed.closing_stock:f}: a difference of {opening - filed.closing_stock:+f}. `millilot check` names "
            f"what is new in the filed year."
        )


def _filed(books: Books, start: datetime.date, end: datetime.date) -> Iterator[str]:
    """Yield whether the year itself was filed, and whether it is still as it was."""
    filed = filed_on(books, start, end)
    if filed is None or filed.currency != books.currency:
        return
    if differences(books, filed):
        yield f"Filed on {filed.day}, and no longer as it was filed; `millilot check` says why."
    else:
        yield f"Filed on {filed.day}; the figures are still those that were filed."

