"""The workbook: a sheet a table, its sums as formulas that show their value before anything is calculated."""

from __future__ import annotations

import datetime
import io
from decimal import Decimal
from textwrap import wrap
from typing import TYPE_CHECKING, NamedTuple

from xlsxwriter import Workbook
from xlsxwriter.utility import xl_rowcol_to_cell

from millilot.ledger.money import minor_digits
from millilot.reports.pack.table import Holds
from millilot.reports.printing import is_letter
from millilot.reports.tables import neutralised

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

    from millilot.reports.pack.table import Column, Row, Table, Value

#: Above the rows: title, what and when, the note, the headings.
_HEADINGS = 3
_FIRST = _HEADINGS + 1

#: The first day a spreadsheet's calendar has.
_FIRST_DAY = datetime.date(1900, 1, 1)
#: A cell holds no longer text.
_LONGEST = 32_767

_LETTER, _A4 = 1, 9

#: Widths are in characters, heights in points.
_WIDTHS = {Holds.DATE: 12, Holds.MONEY: 10, Holds.UNIT_COST: 10, Holds.QUANTITY: 9, Holds.COUNT: 9, Holds.RATIO: 9}
_WIDEST, _WIDEST_OF_FEW, _WIDEST_OF_MANY = 42, 90, 24
_FEW_COLUMNS, _MANY_COLUMNS = 3, 13
_LINE = 15
#: A row is no higher than so many lines.
_MOST_LINES = 20
#: What a page holds, upright or across, before its print becomes too small to read.
_UPRIGHT, _ACROSS = 100, 210


def workbook(tables: Sequence[Table], subtitle: str, caution: str, currency: str, day: datetime.date) -> bytes:
    """Return tables as an Office Open XML workbook; the same tables give the same bytes.

    Args:
        tables: one for each sheet.
        subtitle: whose books and which days, below each title.
        caution: for the foot of each printed page.
        currency: of the amounts.
        day: the day the workbook says it was made on; no clock is asked.
    """
    out = io.BytesIO()
    book = Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties(
        {"title": subtitle, "created": datetime.datetime(day.year, day.month, day.day)},  # noqa: DTZ001
    )
    book.set_calc_mode("auto")
    styles = _Styles(book, currency)
    for table in tables:
        sheet = book.add_worksheet(table.name)
        written = _Sheet(sheet, table, styles)
        written.write(subtitle)
        written.set_up_print(caution, currency)
    book.close()
    return out.getvalue()


class _Look(NamedTuple):
    """How a cell looks."""

    kind: Holds
    sum: bool = False
    foot: bool = False


class _Styles:
    """The formats of a workbook, each made once."""

    def __init__(self, book: Workbook, currency: str) -> None:
        self._book = book
        digits = minor_digits(currency)
        amount = "#,##0" + (f".{'0' * digits}" if digits else "")
        self._numbers = {
            Holds.DATE: "yyyy-mm-dd",
            Holds.MONEY: f"{amount};-{amount}",
            Holds.UNIT_COST: f"#,##0.{'0' * (digits + 2)}",
            Holds.COUNT: "#,##0",
            Holds.RATIO: "0.00%",
        }
        self._made: dict[_Look, Format] = {}
        self.title = book.add_format({"bold": True, "font_size": 14})
        self.subtitle = book.add_format({"font_color": "#555555"})
        self.note = book.add_format({"italic": True, "text_wrap": True, "valign": "top"})
        self.heading = self._heading({"align": "left", "indent": 1})
        self.figure_heading = self._heading({"align": "right"})

    def _heading(self, align: dict[str, object]) -> Format:
        return self._book.add_format(
            {"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1, "bg_color": "#EEEEEE", **align},
        )

    def cell(self, look: _Look) -> Format:
        """Return the format of a cell."""
        if look not in self._made:
            properties: dict[str, object] = {"valign": "top"}
            if look.kind in self._numbers:
                properties["num_format"] = self._numbers[look.kind]
            if not look.kind.is_figure:
                # A space on the left, or it would touch the figure before it.
                properties |= {"align": "left", "indent": 1, "text_wrap": look.kind is Holds.TEXT}
            if look.sum or look.foot:
                properties["bold"] = True
            if look.foot:
                properties["top"] = 1
            self._made[look] = self._book.add_format(properties)
        return self._made[look]


class _Sheet:
    """One sheet while it is written."""

    def __init__(self, sheet: Worksheet, table: Table, styles: _Styles) -> None:
        self.sheet = sheet
        self.table = table
        self.styles = styles
        self.place = {column.name: place for place, column in enumerate(table.columns)}
        self.widths = [self._width(column) for column in table.columns]
        self.row_of_key = {row.key: _FIRST + place for place, row in enumerate(table.rows) if row.key}

    def write(self, subtitle: str) -> None:
        """Write all of it."""
        sheet, styles = self.sheet, self.styles
        sheet.write_string(0, 0, self.table.title, styles.title)
        sheet.write_string(1, 0, neutralised(subtitle), styles.subtitle)
        self._spread(2, 0, self.table.note, styles.note)
        sheet.set_row(2, _LINE * _lines(self.table.note, sum(self.widths)))
        for place, column in enumerate(self.table.columns):
            heading = styles.figure_heading if column.kind.is_figure else styles.heading
            sheet.write_string(_HEADINGS, place, column.heading, heading)
            sheet.set_column(place, place, self.widths[place])
        headings = [column.heading for column in self.table.columns]
        sheet.set_row(_HEADINGS, _LINE * max(map(_lines, headings, self.widths)))
        for number, row in enumerate(self.table.rows, start=_FIRST):
            self._row(number, row)
        if not self.table.rows:
            sheet.write_string(_FIRST, 0, "None.")
        if self.table.has_foot:
            self._foot(_FIRST + len(self.table.rows))
        sheet.freeze_panes(_FIRST, 1 if len(self.table.columns) > 2 else 0)
        sheet.repeat_rows(0, _HEADINGS)

    def _row(self, number: int, row: Row) -> None:
        widths = list(self.widths)
        for place, column in enumerate(self.table.columns):
            if column.name == row.spread:
                widths[place] = sum(widths[place:])
                self._spread(number, place, str(row.cells[row.spread]), self.styles.cell(_Look(Holds.TEXT)))
                break
            self._cell(number, place, row, column)
        # Not every program works out how high a row of wrapped text has to be.
        texts = [str(row.cells.get(column.name) or "") for column in self.table.columns]
        self.sheet.set_row(number, _LINE * min(max(map(_lines, texts, widths)), _MOST_LINES))

    def _spread(self, number: int, place: int, text: str, style: Format) -> None:
        """Write a text that has the row to itself from a column on."""
        # The library would look into a text given here; written over it, it is a text and nothing else.
        self.sheet.merge_range(number, place, number, len(self.widths) - 1, "", style)
        self._value(number, place, text, style)

    def _cell(self, number: int, place: int, row: Row, column: Column) -> None:
        value = row.cells.get(column.name)
        is_sum = bool(row.of)
        style = self.styles.cell(_Look(column.kind, sum=is_sum and not self.table.is_remark(column)))
        if value is None or not column.kind.is_figure:
            self._value(number, place, value, style)
        elif column.of:
            parts = [(sign, xl_rowcol_to_cell(number, self.place[name])) for sign, name in column.of]
            self._formula(number, place, parts, value, style)
        elif is_sum and column.kind is Holds.MONEY:
            parts = [(sign, xl_rowcol_to_cell(self.row_of_key[name], place)) for sign, name in row.of]
            self._formula(number, place, parts, value, style)
        else:
            self._value(number, place, value, style)

    def _foot(self, number: int) -> None:
        for place, column in enumerate(self.table.columns):
            style = self.styles.cell(_Look(column.kind, foot=True))
            total = self.table.total(column)
            if total is not None:
                first, last = xl_rowcol_to_cell(_FIRST, place), xl_rowcol_to_cell(number - 1, place)
                self.sheet.write_formula(number, place, f"=SUM({first}:{last})", style, total)
            else:
                self._value(number, place, None if place else "Total", style)

    def _formula(
        self, number: int, place: int, parts: Iterable[tuple[int, str]], value: Value, style: Format,
    ) -> None:
        formula = "".join(f"{'+' if sign > 0 else '-'}{cell}" for sign, cell in parts)
        self.sheet.write_formula(number, place, f"={formula.removeprefix('+')}", style, value)

    def _value(self, number: int, place: int, value: Value, style: Format) -> None:
        match value:
            case None | "":
                self.sheet.write_blank(number, place, None, style)
            case str():
                self.sheet.write_string(number, place, neutralised(value)[:_LONGEST], style)
            case Decimal() | int():
                # Its digits are written as they are; the annotation does not know that it takes decimals.
                self.sheet.write_number(number, place, value, style)  # type: ignore[arg-type]
            case _ if value >= _FIRST_DAY:
                day = datetime.datetime(value.year, value.month, value.day)  # noqa: DTZ001
                self.sheet.write_datetime(number, place, day, style)
            case _:
                self.sheet.write_string(number, place, value.isoformat(), style)

    def _width(self, column: Column) -> int:
        # A heading wraps between words only.
        narrowest = max(map(len, column.heading.split())) + 3
        if column.kind is not Holds.TEXT:
            figures = [*(row.cells.get(column.name) for row in self.table.rows), self.table.total(column)]
            longest = max(len(f"{figure:,}") for figure in (0, *figures) if isinstance(figure, Decimal | int))
            return max(_WIDTHS[column.kind], longest + 3, narrowest)
        texts = (row.cells.get(column.name) for row in self.table.rows if row.spread != column.name)
        longest = max((len(str(text or "")) for text in texts), default=0)
        return min(max(longest + 3, narrowest), self._widest())

    def _widest(self) -> int:
        """Return how wide a column of text may be: the more columns, the less, or the print becomes tiny."""
        if len(self.table.columns) <= _FEW_COLUMNS:
            return _WIDEST_OF_FEW
        return _WIDEST if len(self.table.columns) < _MANY_COLUMNS else _WIDEST_OF_MANY

    def set_up_print(self, caution: str, currency: str) -> None:
        """Set paper, margins, scale and footer for printing."""
        sheet, width = self.sheet, sum(self.widths)
        if width > _UPRIGHT:
            sheet.set_landscape()
        if width > _ACROSS:
            # Each page begins with the first column, or its rows could not be told apart.
            sheet.repeat_columns(0, 0)
        sheet.set_paper(_LETTER if is_letter(currency) else _A4)
        sheet.fit_to_pages(-(-width // _ACROSS), 0)
        sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.8)
        sheet.set_footer(f"&L&8{caution.replace('&', '&&')}&R&8&A, page &P of &N")


def _lines(text: str, width: int) -> int:
    """Return about how many lines a text takes, wrapped at words."""
    return max(1, len(wrap(text, max(width - 1, 1))))
