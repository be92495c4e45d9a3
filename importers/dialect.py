"""How a channel's file is written: the tables `[file]`, `[numbers]` and `[dates]` of a profile.

What the keys mean, and an example of each, stands with all other keys in `millilot.importers.profile`.
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

if TYPE_CHECKING:
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
    """

    formats: tuple[str, ...]
    locale: str = "en"
    zone: ZoneInfo | None = None
    books_zone: ZoneInfo | None = None
    book_on: str = "ordered"


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
        order_suffix=_read_suffix(table),
        totals=tuple(text.strip().casefold() for text in table.texts("totals")),
        end=tuple(text.strip().casefold() for text in table.texts("end")),
        balance=table.choice("balance", ("rising", "falling"), "") if "balance" in table else "",
    )
    if shape.encoding:
        try:
            codecs.lookup(shape.encoding)
        except LookupError:
            raise table.problem(f'encoding: there is no encoding "{shape.encoding}"') from None
    table.close()
    return shape
