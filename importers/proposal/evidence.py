"""What each column of a file holds, by its values: days, amounts, numbers, words, texts."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from millilot.importers.proposal.days import Days, find_days, is_day
from millilot.importers.proposal.headings import meanings
from millilot.importers.proposal.marks import NOTHING, Marks, bare, find_marks, parse

if TYPE_CHECKING:
    from collections.abc import Callable
    from decimal import Decimal

    from millilot.importers.proposal.sheet import Sheet


_SIZE = re.compile(r"\d\s?(?:ml|fl\.? ?oz|oz|cl)\b", re.IGNORECASE)


def names_size(text: str) -> bool:
    """Whether a text names a size in mL or fl oz."""
    return _SIZE.search(text) is not None


class Holds(StrEnum):
    """What the cells of a column are."""

    NOTHING = "nothing"
    DAYS = "days"
    AMOUNTS = "amounts"
    WHOLE = "whole numbers"
    WORDS = "a few words"
    TEXT = "text"


@dataclass(frozen=True, slots=True)
class Column:
    """A column of the file.

    Attributes:
        place: 0 for the first.
        heading: its text.
        cells: texts, row by row.
        holds: what they are.
        meanings: what the heading may mean, with how well it fits.
        numbers: row by row, None where there is none; of a column of amounts or whole numbers.
        bad: rows (by place) whose cell is not what the others are.
    """

    place: int
    heading: str
    cells: tuple[str, ...]
    holds: Holds
    meanings: dict[str, float]
    numbers: tuple[Decimal | None, ...] = ()
    bad: tuple[int, ...] = ()
    values: frozenset[str] = field(default_factory=frozenset)

    @property
    def filled(self) -> int:
        """How many cells hold something."""
        return sum(map(bool, self.cells))

    @property
    def unique(self) -> bool:
        """Whether no text comes twice."""
        return len(self.values) == self.filled

    @property
    def sizes(self) -> float:
        """The share of the cells that name a size in mL or fl oz."""
        return sum(map(names_size, self.cells)) / max(self.filled, 1)

    @property
    def is_zero(self) -> bool:
        """Whether no number differs from 0."""
        return not any(self.numbers)


@dataclass(frozen=True, slots=True)
class Evidence:
    """All columns of a file, how its numbers and days are written, and the lines its rows begin on."""

    columns: tuple[Column, ...]
    marks: Marks
    days: Days
    lines: tuple[int, ...]

    def of(self, heading: str) -> Column:
        """Return the column of a heading."""
        return next(column for column in self.columns if column.heading == heading)


def examine(sheet: Sheet) -> Evidence:
    """Return what the columns of a file are, but for those without a heading of their own."""
    usable = [
        (place, heading, tuple(row.cells[place] for row in sheet.rows))
        for place, heading in enumerate(sheet.headings)
        if heading and heading not in sheet.doubled
    ]
    dated = {heading: cells for _, heading, cells in usable if _mostly(cells, is_day)}
    numeric = [cells for _, heading, cells in usable if heading not in dated and _mostly(cells, _is_number)]
    marks = find_marks(cell for cells in numeric for cell in cells)
    words = {key for heading in sheet.headings for key in meanings(heading)}
    context = [sheet.path.stem, *(cell for record in sheet.preamble for cell in record.cells)]
    day_first = "amounts have a decimal comma" if marks.sure and marks.decimal == "," else ""
    days = find_days(dated, context, day_first=day_first or _by_language(sheet, words))
    columns = tuple(_column(place, heading, cells, heading in dated, marks) for place, heading, cells in usable)
    return Evidence(columns, marks, days, tuple(row.number for row in sheet.rows))


def _by_language(sheet: Sheet, words: set[str]) -> str:
    telling = re.compile(
        r"\b(?:datum|fecha|data|bestell\w*|commande|pedido|ordine|versand\w*|gebühr\w*|frais|prix|precio|prezzo|prijs"
        r"|montant|importe|importo|bedrag|betrag|verzend\w*|comisi[oó]n|commissione)\b",
        re.IGNORECASE,
    )
    found = next((heading for heading in sheet.headings if telling.search(heading)), "")
    return f'the language of "{found}" has days first' if found and words else ""


def _mostly(cells: tuple[str, ...], test: Callable[[str], bool]) -> bool:
    filled = [cell for cell in cells if cell not in NOTHING]
    # A few strange cells do not make another column of it; they will be refused one by one.
    return bool(filled) and sum(map(test, filled)) >= 0.8 * len(filled)


def _is_number(text: str) -> bool:
    return bare(text) is not None


def _column(place: int, heading: str, cells: tuple[str, ...], is_dated: bool, marks: Marks) -> Column:
    values = frozenset(cell for cell in cells if cell)
    means = meanings(heading)
    filled = [cell for cell in cells if cell not in NOTHING]
    if is_dated:
        bad = tuple(row for row, cell in enumerate(cells) if cell and not is_day(cell))
        return Column(place, heading, cells, Holds.DAYS, means, bad=bad, values=values)
    if not filled:
        zeros: tuple[Decimal | None, ...] = (None,) * len(cells)
        return Column(place, heading, cells, Holds.NOTHING, means, numbers=zeros, values=values)
    numbers = tuple(None if cell in NOTHING else parse(cell, marks) for cell in cells)
    read = [number for number in numbers if number is not None]
    if len(read) >= 0.8 * len(filled):
        bad = tuple(row for row, cell in enumerate(cells) if cell not in NOTHING and numbers[row] is None)
        whole = all(cell.lstrip("-").isdigit() for cell in filled)
        holds = Holds.WHOLE if whole else Holds.AMOUNTS
        return Column(place, heading, cells, holds, means, numbers, bad, values)
    counts = Counter(filled)
    few = len(counts) <= max(3, min(25, len(filled) // 2)) and max(map(len, counts)) <= 60
    return Column(place, heading, cells, Holds.WORDS if few else Holds.TEXT, means, values=values)
