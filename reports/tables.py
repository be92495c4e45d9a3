"""How figures are written out: as a table for the terminal, as CSV and as JSON.

Figures arrive rounded; here they only become text. Text that came from files is hostile: a table shows no
control characters, and CSV keeps none but line breaks and tabs, and neutralises what a spreadsheet would run as a
formula.
"""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

#: What a terminal shows side by side.
WIDTH = 80

_ELLIPSIS = "…"
_GAP = "  "
#: Text columns are not cut shorter than this.
_SHORTEST = 6
_REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
_LINE_BREAKS_AND_TABS = "\n\r\t"
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a terminal table.

    Attributes:
        heading: its title.
        right: whether it is set flush right, as figures are.
        flexible: whether its text may be cut short to fit the terminal.
    """

    heading: str
    right: bool = True
    flexible: bool = False


def text(value: object) -> str:
    """Return a figure, a date or a text as it is written everywhere; nothing at all for None."""
    if value is None:
        return ""
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def to_json(data: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> str:
    """Return one object or a list of objects as JSON: figures and dates as strings, None as null.

    A cell may be a list itself, of objects or of texts.
    """

    def value(cell: object) -> object:
        if isinstance(cell, list):
            return [row(each) if isinstance(each, Mapping) else value(each) for each in cell]
        return cell if cell is None or isinstance(cell, int) else text(cell)

    def row(cells: Mapping[str, Any]) -> dict[str, object]:
        return {str(name): value(cell) for name, cell in cells.items()}

    plain = row(data) if isinstance(data, Mapping) else [row(cells) for cells in data]
    return json.dumps(plain, indent=2) + "\n"


def to_csv(rows: Sequence[Mapping[str, Any]], columns: Sequence[str]) -> str:
    """Return rows as CSV below a row of headings, safe to open in a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    writer.writerows([_csv_cell(row[name]) for name in columns] for row in rows)
    return out.getvalue()


def _csv_cell(value: object) -> str:
    if not isinstance(value, str):
        return text(value)
    return neutralised("".join(map(_without_control, value)))


def neutralised(value: str) -> str:
    """Return a text so that no spreadsheet takes it for a formula, now or when it is saved and opened again."""
    return f"'{value}" if value.lstrip("\n ").startswith(_FORMULA_STARTS) else value


def _without_control(character: str) -> str:
    is_control = unicodedata.category(character) == "Cc" and character not in _LINE_BREAKS_AND_TABS
    return _REPLACEMENT if is_control else character


def to_table(
    columns: Sequence[Column],
    rows: Sequence[Sequence[object]],
    total: Sequence[object] | None = None,
    width: int | None = WIDTH,
) -> str:
    """Return a table for the terminal.

    Args:
        columns: one for each cell of a row.
        rows: the cells.
        total: a last row below a rule.
        width: cut flexible columns short to fit into so many places; None for as wide as it gets.
    """
    body = [[printable(text(cell)) for cell in row] for row in rows]
    foot = [[printable(text(cell)) for cell in total]] if total is not None else []
    heading = [column.heading for column in columns]
    widths = [max(map(display_width, cells)) for cells in zip(heading, *body, *foot, strict=True)]
    if width is not None:
        widths = _fit(columns, widths, width - len(_GAP) * (len(columns) - 1))
    rule = _GAP.join("-" * places for places in widths)

    def line(cells: Sequence[str]) -> str:
        return _GAP.join(
            _pad(cell, places, right=column.right)
            for cell, places, column in zip(cells, widths, columns, strict=True)
        ).rstrip()

    lines = [line(heading), rule, *map(line, body)]
    if foot:
        lines += [rule, *map(line, foot)]
    return "\n".join(lines) + "\n"


def _fit(columns: Sequence[Column], widths: Sequence[int], room: int) -> list[int]:
    """Take places from the last flexible column, then from those before it, until all columns fit.

    The first column tells the rows apart, so it is cut last.
    """
    fitted = list(widths)
    for place in reversed([place for place, column in enumerate(columns) if column.flexible]):
        excess = sum(fitted) - room
        if excess > 0:
            fitted[place] = max(fitted[place] - excess, min(fitted[place], _SHORTEST))
    return fitted


def display_width(string: str) -> int:
    """Return how many places a terminal needs for a string; wide East Asian characters take two."""
    return sum(map(_places, string))


def _places(character: str) -> int:
    if unicodedata.combining(character) or unicodedata.category(character) in {"Mn", "Me", "Cf"}:
        return 0
    return 2 if unicodedata.east_asian_width(character) in {"W", "F"} else 1


def printable(string: str) -> str:
    """Return a line with every control character replaced, so that text from a file cannot steer a terminal."""
    return "".join(
        character if character.isprintable() else _REPLACEMENT for character in string
    )


def _pad(string: str, places: int, *, right: bool) -> str:
    string = shortened(string, places)
    padding = " " * (places - display_width(string))
    return padding + string if right else string + padding


def shortened(string: str, places: int) -> str:
    """Return a string that takes no more than so many places, cut short with an ellipsis if need be."""
    if display_width(string) <= places:
        return string
    kept = ""
    for character in string:
        if display_width(kept + character) > places - len(_ELLIPSIS):
            break
        kept += character
    return kept + _ELLIPSIS
