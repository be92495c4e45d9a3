"""Sheets of labels as data: the paper and the grid on it, in a TOML file each.

A file in `sheets/` beside the books is read as those shipped are, and takes the place of one of the same name. All
its keys; every length is in mm, as a text so that it stays exact::

    name = "a4-65"          # as it is asked for
    title = "A4, 65 labels of 38.1 x 21.2 mm"
    letter = true           # taken by default where paper is cut in inches; absent: false
    width = "210"           # of the paper
    height = "297"
    columns = 5
    rows = 13
    label-width = "38.1"
    label-height = "21.2"
    left = "4.75"           # from the edge of the paper to the first label
    top = "10.7"
    gap-across = "2.5"      # between two columns
    gap-down = "0"          # between two rows
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.importers.problems import InputError
from millilot.reports.data_files import amount_of, read_files, told_as
from millilot.reports.printing import is_letter

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from millilot.importers.section import Section

#: What a label needs at least, in mm, for all that stands on it to be read.
LEAST_WIDTH, LEAST_HEIGHT = Decimal(30), Decimal(17)


class SheetError(InputError):
    """A sheet that cannot be read, or that there is none of."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of labels; see the module for what its parts mean. Lengths are in mm."""

    name: str
    title: str
    is_letter: bool
    width: Decimal
    height: Decimal
    columns: int
    rows: int
    label_width: Decimal
    label_height: Decimal
    left: Decimal
    top: Decimal
    gap_across: Decimal
    gap_down: Decimal

    @property
    def labels(self) -> int:
        """How many labels are on it."""
        return self.columns * self.rows

    @property
    def right(self) -> Decimal:
        """The mm right of the last column."""
        return self.width - self.left - self.columns * self.label_width - (self.columns - 1) * self.gap_across

    @property
    def bottom(self) -> Decimal:
        """The mm below the last row."""
        return self.height - self.top - self.rows * self.label_height - (self.rows - 1) * self.gap_down


def read_sheets(*folders: Path) -> list[Sheet]:
    """Read the sheets that are shipped, then those in folders.

    Args:
        folders: where the owner's own may lie; one that does not exist holds none.

    Raises:
        SheetError: a file cannot be read, or its labels do not fit the paper.
    """
    known: dict[str, Sheet] = {}
    with told_as(SheetError):
        for sheet in map(_sheet, read_files(__package__, folders)):
            known[sheet.name] = sheet
    return list(known.values())


def find_sheet(sheets: Iterable[Sheet], name: str | None, currency: str) -> Sheet:
    """Return the sheet of a name; without one, the first of the paper that goes with a currency.

    Raises:
        SheetError: there is no sheet of this name; the message names those there are.
    """
    sheets = list(sheets)
    if name is None:
        fitting = (sheet for sheet in sheets if sheet.is_letter is is_letter(currency))
        return next(fitting, sheets[0])
    for sheet in sheets:
        if sheet.name == name:
            return sheet
    known = ", ".join(sheet.name for sheet in sheets)
    raise SheetError(f"There is no sheet {name!r}. The sheets are {known}; your own are files in sheets/.")


def _sheet(table: Section) -> Sheet:
    sheet = Sheet(
        name=table.text("name"),
        title=table.text("title"),
        is_letter=table.flag("letter", default=False),
        width=_length(table, "width"),
        height=_length(table, "height"),
        columns=_number(table, "columns"),
        rows=_number(table, "rows"),
        label_width=_length(table, "label-width", LEAST_WIDTH),
        label_height=_length(table, "label-height", LEAST_HEIGHT),
        left=_length(table, "left"),
        top=_length(table, "top"),
        gap_across=_length(table, "gap-across"),
        gap_down=_length(table, "gap-down"),
    )
    table.close()
    if sheet.right < 0 or sheet.bottom < 0:
        over = ((sheet.right, "too wide"), (sheet.bottom, "too high"))
        found = ", ".join(f"{-left:f} mm {way}" for left, way in over if left < 0)
        raise table.problem(f"the labels do not fit the paper: they are {found}")
    return sheet


def _length(table: Section, key: str, least: Decimal = Decimal(0)) -> Decimal:
    length = amount_of(table, key)
    if length is None or not length.is_finite() or length < least:
        found = "nothing" if length is None else f'"{length}"'
        raise table.problem(f'{key}: expected mm in quotes, {least:f} or above, such as "38.1", found {found}')
    return length


def _number(table: Section, key: str) -> int:
    number = table.count(key, 0)
    if not number:
        raise table.problem(f"{key}: expected a whole number above 0")
    return number


