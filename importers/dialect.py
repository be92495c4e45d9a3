"""How a channel's file is written: the tables `[file]`, `[numbers]` and `[dates]` of a profile.

What the keys mean, and an example of each, stands with all other keys in `millilot.importers.profile`.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from millilot.importers.section import REQUIRED

if TYPE_CHECKING:
    from collections.abc import Mapping

    from millilot.importers.section import Section

#: What a row of a file can be.
ROW_KINDS = ("order", "item", "event", "component", "payout")

#: A mark stands for its kin as well: files use any of them for the same thing. Cells come single-spaced in plain
#: spaces, whatever kind of space the file has.
APOSTROPHES = "'\N{RIGHT SINGLE QUOTATION MARK}\N{LEFT SINGLE QUOTATION MARK}\N{MODIFIER LETTER APOSTROPHE}"


@dataclass(frozen=True, slots=True)
class FileShape:
    """How the file is written; the fields are the keys of `[file]`.

    Attributes:
        delimiter: between cells; empty when the headings are to tell.
        encoding: as Python names it; empty for Unicode in any form.
        skip_lines: lines above the headings; None when the headings are to be looked for.
        row: what a row is, one of `ROW_KINDS`.
        order_amounts: with rows of items, `repeated`, `first` or `each`.
        order_suffix: what is taken off an order's number, or None.
        totals: what the first text of a totals row is, in lower case.
        end: how the first text of the row begins below which there are no more rows, in lower case.
        balance: whether the running balance follows the rows downwards (`rising`: the oldest row is first),
            upwards (`falling`), or is not checked (empty).
    """

    delimiter: str = ""
    encoding: str = ""
    skip_lines: int | None = None
    row: str = "order"
    order_amounts: str = "repeated"
    order_suffix: re.Pattern[str] | None = None
    totals: tuple[str, ...] = ()
    end: tuple[str, ...] = ()
    balance: str = ""

    def order_number(self, text: str) -> str:
        """Return an order's number from what a cell says: without a leading # and without the suffix.

        A number that would be nothing but suffix keeps it.
        """
        number = text.lstrip("#").strip()
        if self.order_suffix is not None:
            number = self.order_suffix.sub("", number) or number
        return number


@dataclass(frozen=True, slots=True)
class Numbers:
    """How amounts are written; the fields are the keys of `[numbers]`.

    Attributes:
        decimal: the decimal mark.
        thousands: the marks between thousands; each stands for its kin.
        minor_units: whether 1250 is 12.50.
    """

    decimal: str = "."
    thousands: tuple[str, ...] = ()
    minor_units: bool = False


@dataclass(frozen=True, slots=True)
class Dates:
    """How days and times are written; the fields are the keys of `[dates]`.

    Attributes:
        formats: for strptime; a text must not have two of them and mean two days.
        locale: whose names of months and weekdays the file uses, as babel has it.
        zone: the zone of times that name none, or None.
        books_zone: the zone whose days the books have; None for the days the file writes.
        book_on: which day an entry is booked on: `ordered`, `settled` or `paid-out`.
        times: by the heading of a column of days, the headings of those that have the time, and perhaps the zone.
    """

    formats: tuple[str, ...]
    locale: str = "en"
    zone: ZoneInfo | None = None
    books_zone: ZoneInfo | None = None
    book_on: str = "ordered"
    times: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def read_file_shape(table: Section) -> FileShape:
    """Read the table `[file]`.

    Raises:
        ProfileError: when a value is of the wrong kind or a key is not known.
    """
    shape = FileShape(
        delimiter=table.mark("delimiter", ""),
        encoding=table.text("encoding", ""),
        skip_lines=table.count("skip-lines", 0) if "skip-lines" in table else None,
        row=table.choice("row", ROW_KINDS, "order"),
        order_amounts=table.choice("order-amounts", ("repeated", "first", "each"), "repeated"),
        order_suffix=table.pattern("order-suffix"),
        totals=tuple(text.strip().casefold() for text in table.texts("totals")),
        end=tuple(text.strip().casefold() for text in table.texts("end")),
        balance=table.choice("balance", ("rising", "falling"), "") if "balance" in table else "",
    )
    if shape.encoding:
        try:
            # Unlike codecs.lookup, this refuses what is no encoding of text, such as base64.
            "0".encode(shape.encoding)
        except (LookupError, UnicodeError):
            raise table.problem(f'encoding: there is no encoding "{shape.encoding}"') from None
    table.close()
    return shape


def read_numbers(table: Section) -> Numbers:
    """Read the table `[numbers]`.

    Raises:
        ProfileError: when a mark cannot be one, or marks the thousands and the decimals.
    """
    numbers = Numbers(
        decimal=table.mark("decimal", "."),
        thousands=table.one_or_more("thousands"),
        minor_units=table.flag("minor-units", default=False),
    )
    for key, marks in (("decimal", (numbers.decimal,)), ("thousands", numbers.thousands)):
        for mark in marks:
            if len(mark) != 1:
                raise table.problem(f"{key}: expected one character in quotes, found {mark!r}")
            if mark.isalnum() or mark in "+-()":
                raise table.problem(f'{key}: "{mark}" cannot be a mark in a number')
    for mark in numbers.thousands:
        if kin(mark) == kin(numbers.decimal):
            raise table.problem(f'thousands: is "{mark}", and so is decimal')
    table.close()
    return numbers


def kin(mark: str) -> str:
    """Return the mark that stands for all marks of its kind."""
    if mark.isspace():
        return " "
    return "'" if mark in APOSTROPHES else mark


def read_dates(table: Section) -> Dates:
    """Read the table `[dates]`.

    Raises:
        ProfileError: when there is no format, one cannot be read or leaves the day open, or a locale or a zone is
            not known.
    """
    times = table.section("times")
    dates = Dates(
        formats=table.one_or_more("format", REQUIRED),
        locale=_read_locale(table),
        zone=_read_zone(table, "zone"),
        books_zone=_read_zone(table, "books-zone"),
        book_on=table.choice("book-on", ("ordered", "settled", "paid-out"), "ordered"),
        times={heading: times.one_or_more(heading) for heading in times.free()},
    )
    for layout in dates.formats:
        _require_readable(layout, table)
        timed = re.search("%[HI]", layout)
        if dates.books_zone and not dates.zone and timed and not re.search("%[zZ]", layout):
            raise table.problem(f'books-zone: needs the zone of times like "{layout}": the key zone, or %z there')
    table.close()
    return dates


def _require_readable(layout: str, table: Section) -> None:
    directives = set(re.findall("%(.)", layout))
    if not (directives & set("Yy") and directives & set("mbB") and "d" in directives):
        raise table.problem(f'format: expected year, month and day like "%Y-%m-%d", found "{layout}"')
    if "I" in directives and "p" not in directives:
        raise table.problem(f'format: expected %p with %I, to tell morning from evening, found "{layout}"')
    if "Z" in directives and not layout.endswith("%Z"):
        raise table.problem(f'format: expected %Z at the end, found "{layout}"')
    moment = datetime.datetime(2026, 1, 31, tzinfo=datetime.UTC)
    try:
        datetime.datetime.strptime(moment.strftime(layout), layout)  # noqa: DTZ007  # only whether it can
    except (ValueError, re.error):
        raise table.problem(f'format: expected one that Python\'s strptime reads, found "{layout}"') from None


def _read_locale(table: Section) -> str:
    name = table.text("locale", "en")
    if "locale" in table:
        # Only a profile with names of months pays for the import.
        from babel import Locale, UnknownLocaleError  # noqa: PLC0415

        try:
            return str(Locale.parse(name.replace("-", "_")))
        except (UnknownLocaleError, ValueError):
            raise table.problem(f'locale: expected a language like "de" or "pt_BR", found "{name}"') from None
    return name


def _read_zone(table: Section, key: str) -> ZoneInfo | None:
    name = table.text(key, "")
    if not name:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise table.problem(f'{key}: expected a zone like "UTC" or "Europe/Vienna", found "{name}"') from None
