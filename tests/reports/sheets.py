"""Packs in tests: made from small books, their sums worked out again."""

from __future__ import annotations

import datetime
import io
import re
from decimal import Decimal
from typing import TYPE_CHECKING

from openpyxl import load_workbook

from millilot.reports.pack.span import Span
from millilot.reports.pack.table import Holds

from .books import HEAD, load

if TYPE_CHECKING:
    from collections.abc import Mapping

    from openpyxl.worksheet.worksheet import Worksheet

    from millilot.reports.pack.table import Table

FILES = {"main.beancount": "0" * 64}

_CELL = re.compile(r"([+-]?)([A-Z]+\d+)")
_SUM = re.compile(r"=SUM\(([A-Z]+)(\d+):([A-Z]+)(\d+)\)")


def span(text: str, year: int = 2026, head: str = HEAD) -> Span:
    """Return a calendar year of books written below the usual head."""
    entries, errors, options = load(text, head)
    return Span(entries, errors, options, datetime.date(year, 1, 1), datetime.date(year, 12, 31), year, FILES)


def by_name(tables: list[Table]) -> dict[str, Table]:
    return {table.name: table for table in tables}


def column(table: Table, name: str) -> list[object]:
    return [row.cells.get(name) for row in table.rows]


def total(table: Table, name: str, **where: str) -> Decimal:
    """Return the sum of a column over the rows with some texts."""
    rows = [row for row in table.rows if all(row.cells.get(key) == text for key, text in where.items())]
    return sum((row.figure(name) for row in rows), Decimal(0))


def assert_sums_hold(table: Table, unit: Decimal = Decimal("0.01")) -> None:
    """Add up again all that a table says is a sum; amounts of money are whole cents."""
    by_key = {row.key: row for row in table.rows if row.key}
    for row in table.rows:
        for each in table.columns:
            value = row.cells.get(each.name)
            if value is None:
                continue
            if each.kind is Holds.MONEY:
                assert value == value.quantize(unit), (table.name, each.name, value)
                assert value.as_tuple().exponent == unit.as_tuple().exponent, (table.name, each.name, value)
            if each.of:
                parts = sum((sign * row.figure(name) for sign, name in each.of), Decimal(0))
                assert abs(parts - value) < Decimal("1E-18"), (table.name, each.name, value, parts)
            elif row.of and each.kind is Holds.MONEY:
                parts = sum((sign * by_key[name].figure(each.name) for sign, name in row.of), Decimal(0))
                assert parts == value, (table.name, row.key, value, parts)


def sheets_of(content: bytes, *, values: bool) -> Mapping[str, Worksheet]:
    """Open a workbook, for its formulas or for the values that stand beside them."""
    book = load_workbook(io.BytesIO(content), data_only=values)
    return {sheet.title: sheet for sheet in book.worksheets}


def calculated(formula: str, values: Worksheet) -> Decimal:
    """Work out a formula from the values of its sheet."""

    def value(cell: str) -> Decimal:
        found = values[cell].value
        return Decimal(0) if found is None else Decimal(str(found))

    summed = _SUM.fullmatch(formula)
    if summed:
        left, first, right, last = summed.groups()
        assert left == right
        return sum((value(f"{left}{row}") for row in range(int(first), int(last) + 1)), Decimal(0))
    parts = _CELL.findall(formula.removeprefix("="))
    assert "".join(sign + cell for sign, cell in parts) == formula.removeprefix("="), formula
    return sum((value(cell) * (-1 if sign == "-" else 1) for sign, cell in parts), Decimal(0))
