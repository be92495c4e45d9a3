"""A year that was handed in does not move: what was filed, whether the books still say so, and what is new.

    2027-02-01 custom "filed" 2026 135.11 USD 24.89 USD
      net_receipts: 93.00 USD
      business_profit: 31.26 USD

The first figure is closing stock, the second cost of goods sold. Text knows no time of writing; what stands in the
file below the directive and is dated in the year or before it was most likely written after it was filed. An
import appends, and so does whoever files.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.data import Custom

from millilot.importers.booking import open_books
from millilot.importers.problems import BooksError
from millilot.ledger.directives import is_setting
from millilot.ledger.filed import BUSINESS_PROFIT, NET_RECEIPTS
from millilot.ledger.money import minor_unit
from millilot.reports.check import Finding, place
from millilot.reports.days import is_calendar_year
from millilot.reports.year import year
from millilot.reports.year_lines import parts, terms

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Mapping
    from decimal import Decimal
    from pathlib import Path

    from beancount.core.data import Directive

    from millilot.ledger.filed import Filed
    from millilot.ledger.records import Books

CLOSING_STOCK = "closing_stock"
COST_OF_GOODS = "cost_of_goods_sold"

#: Not more entries than these are named.
_NAMED = 10


class Difference(NamedTuple):
    """A figure of a filed year that the books no longer give: its line, what was filed, and what they say now."""

    line: str
    filed: Decimal
    now: Decimal


def filed_line(books: Books, start: datetime.date, end: datetime.date, day: datetime.date) -> str:
    """Return the directive that records a year as filed, with a line break at its end.

    Args:
        books: books read up to the last day or later.
        start: the first day of the year.
        end: the last day, itself included.
        day: when it is filed, after the last day.

    Raises:
        ValueError: the year is not over on that day.
    """
    if day <= end:
        raise ValueError(f"A year that ends on {end} cannot be filed on {day}.")
    totals = year(books, start, end).rounded(books.currency)
    figures = f"{totals.closing_stock:f} {books.currency} {totals.cost_of_goods_sold:f} {books.currency}"
    lines = [f'{day} custom "filed" {end.year} {figures}']
    if not is_calendar_year(start, end):
        lines += [f"  from: {start}", f"  to: {end}"]
    lines += [
        f"  {NET_RECEIPTS}: {totals.net_receipts:f} {books.currency}",
        f"  {BUSINESS_PROFIT}: {totals.business_profit:f} {books.currency}",
    ]
    return "\n".join([*lines, ""])


def file_year(path: Path, line: str) -> None:
    """Append a directive to the books, all or nothing; one that stands there already is not written again.

    Args:
        path: the main file.
        line: what `filed_line` returned.

    Raises:
        BooksError: the books cannot be written, or would have a new error; they are unchanged.
    """
    with open_books(path) as books:
        if line.encode() in path.read_bytes():
            return
        problems = books.append_text(line)
        if problems:
            raise BooksError("\n".join(map(str, problems)))


def filed_on(books: Books, start: datetime.date, end: datetime.date) -> Filed | None:
    """Return what was filed last for a range of days, or None."""
    of_year = [filed for filed in books.settings.filed if (filed.first, filed.last) == (start, end)]
    return of_year[-1] if of_year else None


def differences(books: Books, filed: Filed) -> list[Difference]:
    """Return the figures of a filed year that the books no longer give."""
    now = year(books, filed.first, filed.last).rounded(books.currency)
    figures = {
        CLOSING_STOCK: filed.closing_stock,
        COST_OF_GOODS: filed.cost_of_goods,
        NET_RECEIPTS: filed.net_receipts,
        BUSINESS_PROFIT: filed.business_profit,
    }
    return [
        Difference(line, amount, getattr(now, line))
        for line, amount in figures.items()
        if amount is not None and amount != getattr(now, line)
    ]


def moved_years(entries: Iterable[Directive], books: Books) -> list[Finding]:
    """Return the filed years whose figures the books no longer give, each with what is new in it.

    Args:
        entries: all entries, for the settings among them.
        books: all the books.
    """
    entries = list(entries)
    found = []
    for first, last in sorted({(filed.first, filed.last) for filed in books.settings.filed}):
        filed = filed_on(books, first, last)
        if filed is None:
            continue
        if filed.currency != books.currency:
            message = f"This year is filed in {filed.currency}, and the books are kept in {books.currency}."
            found.append(Finding(filed.entry.meta, message, filed.entry))
            continue
        moved = differences(books, filed)
        if moved:
            why = explain(entries, books, filed)
            message = f"{_name(filed)} is no longer as it was filed: {_words(moved)}. {why}"
            found.append(Finding(filed.entry.meta, message, filed.entry))
    return found


def explain(entries: Iterable[Directive], books: Books, filed: Filed) -> str:
    """Say which entries are most likely why a filed year has moved."""
    new = list(_written_later(entries, books, filed))
    if new:
        newer = {id(entry) for entry in new}
        before = replace(books, records=tuple(each for each in books.records if id(each.entry) not in newer))
        settled = not differences(before, filed)
        result = "Without what is new the year is as filed" if settled else "That does not explain all of it"
        return f"Written below it and dated in the year or before: {_names(new)}. {result}. {_CURE}"
    alone = list(_alone(books, filed))
    if alone:
        which = "This entry alone makes" if len(alone) == 1 else "Each of these entries alone makes"
        return f"Nothing new stands below it. {which} the difference: {_names(alone)}. {_CURE}"
    return f"Nothing new stands below it, so an entry of the year was changed, taken out or put above. {_CURE}"


_CURE = "Date what is new in the open year; or amend the return, and write its figures in another such line."


def _written_later(entries: Iterable[Directive], books: Books, filed: Filed) -> Iterator[Directive]:
    """Yield the entries of the activity, and settings, below the directive that bear on the year."""
    file, line = filed.entry.meta.get("filename"), filed.entry.meta.get("lineno", 0)
    candidates: list[Directive] = [record.entry for record in books.records]
    candidates += [entry for entry in entries if isinstance(entry, Custom) and is_setting(entry)]
    for entry in candidates:
        same_file = entry.meta.get("filename") == file
        if same_file and entry.meta.get("lineno", 0) > line and entry.date <= filed.last:
            yield entry


def _alone(books: Books, filed: Filed) -> Iterator[Directive]:
    """Yield the entries each of which by itself makes all the difference."""
    unit = minor_unit(books.currency)
    effects = _effects(books, filed)
    exact = year(books, filed.first, filed.last)
    wanted = {CLOSING_STOCK: filed.closing_stock, COST_OF_GOODS: filed.cost_of_goods}
    for record in books.records:
        effect = effects.get(id(record.entry))
        if effect is not None and all(
            abs(getattr(exact, line) - effect.get(line, 0) - amount) < unit for line, amount in wanted.items()
        ):
            yield record.entry


def _effects(books: Books, filed: Filed) -> Mapping[int, Mapping[str, Decimal]]:
    """Return what each entry of a year adds to closing stock and to cost of goods."""
    effects: dict[int, dict[str, Decimal]] = {}
    zero = filed.closing_stock * 0
    for record in books.records:
        if filed.first <= record.date <= filed.last:
            left = sum(
                (move.cost for move in record.moves if books.bottles[move.bottle].commodity.is_fragrance), zero,
            )
            effects[id(record.entry)] = {CLOSING_STOCK: left, COST_OF_GOODS: -left}
    signs = {line: sign for line, sign in terms(COST_OF_GOODS).items() if not line.endswith("_stock")}
    for part in parts(books, filed.first, filed.last):
        if part.line in signs:
            effects[id(part.entry)][COST_OF_GOODS] += signs[part.line] * part.amount
    return effects


def _names(entries: Iterable[Directive]) -> str:
    named = [
        f"{place(entry.meta)} ({entry.date} {getattr(entry, 'narration', None) or entry.type})"  # type: ignore[union-attr]
        for entry in sorted(entries, key=lambda entry: (entry.date, place(entry.meta)))
    ]
    more = len(named) - _NAMED
    return ", ".join(named[:_NAMED]) + (f" and {more} more" if more > 0 else "")


def _words(moved: Iterable[Difference]) -> str:
    return "; ".join(
        f"{line.replace('_', ' ')} {filed:f}, and now {now:f} ({now - filed:+f})" for line, filed, now in moved
    )


def _name(filed: Filed) -> str:
    whole = is_calendar_year(filed.first, filed.last)
    return str(filed.last.year) if whole else f"{filed.first} to {filed.last}"
