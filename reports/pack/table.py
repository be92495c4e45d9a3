"""The sheets of a pack as typed tables; workbook, CSV and page are only ways to write them.

A table says which of its figures are sums, and of what: at the foot of a column, along a row, or of other rows
above, as in a statement. So the workbook can hold them as formulas beside their values, and a test can add them
up again.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple, TypeAlias

from beancount.core.number import ZERO

Value: TypeAlias = str | Decimal | int | datetime.date | None
Cells: TypeAlias = Mapping[str, Value]


class Holds(StrEnum):
    """What a column holds: money in minor units, mL or pieces, whole numbers, parts of one, ..."""

    TEXT = "text"
    DATE = "date"
    MONEY = "money"
    UNIT_COST = "unit cost"
    QUANTITY = "quantity"
    COUNT = "count"
    RATIO = "ratio"

    @property
    def is_figure(self) -> bool:
        """Whether it is a number."""
        return self not in {Holds.TEXT, Holds.DATE}


class Term(NamedTuple):
    """A part of a sum: a column or a row by name, added (1) or taken away (-1)."""

    sign: int
    name: str


def plus(*names: str) -> tuple[Term, ...]:
    """Return terms that are added."""
    return tuple(Term(1, name) for name in names)


def minus(*names: str) -> tuple[Term, ...]:
    """Return terms that are taken away."""
    return tuple(Term(-1, name) for name in names)


@dataclass(frozen=True, slots=True)
class Column:
    """A column.

    Attributes:
        name: what it is called in the CSV file.
        heading: what it is called on the sheet and on the page.
        kind: what it holds.
        total: whether its sum stands at the foot.
        of: the columns it is the sum of, in each row.
    """

    name: str
    heading: str
    kind: Holds = Holds.TEXT
    total: bool = False
    of: tuple[Term, ...] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """A row.

    Attributes:
        cells: its values by column; a column may be missing.
        key: its name, for rows that are summed in others.
        of: other rows, by key, whose sum its money is.
        spread: the column whose text has the rest of the row to itself, or empty.
    """

    cells: Cells
    key: str = ""
    of: tuple[Term, ...] = ()
    spread: str = ""

    def figure(self, column: str) -> Decimal:
        """Return a figure, nought where there is none."""
        value = self.cells.get(column)
        return Decimal(value) if isinstance(value, Decimal | int) else ZERO


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet of the workbook, a CSV file, and perhaps a table on the page.

    Attributes:
        name: of the sheet; the file is called like it.
        title: its heading.
        columns: from left to right.
        rows: from top to bottom, without the totals at the foot.
        note: what a reader must know of it.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    note: str = ""

    @property
    def file(self) -> str:
        """The name of the CSV file."""
        return f"{self.name.lower().replace(' ', '-')}.csv"

    @property
    def has_foot(self) -> bool:
        """Whether totals stand below the rows."""
        return bool(self.rows) and any(column.total for column in self.columns)

    def is_remark(self, column: Column) -> bool:
        """Whether a column stands behind the figures, and so only remarks on them."""
        figures = [place for place, each in enumerate(self.columns) if each.kind.is_figure]
        return bool(figures) and self.columns.index(column) > figures[-1]

    def total(self, column: Column) -> Decimal | int | None:
        """Return what stands at the foot of a column, None where nothing does."""
        if not column.total:
            return None
        total = sum((row.figure(column.name) for row in self.rows), ZERO)
        return int(total) if column.kind is Holds.COUNT else total
