"""The page to print: the year at a glance, with charts; it needs no script, no network and no other file."""

from __future__ import annotations

import datetime
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.reports.pack import charts
from millilot.reports.pack.manifest import books_digest
from millilot.reports.pack.table import Holds
from millilot.reports.printing import paper, templates
from millilot.reports.tables import printable, text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millilot.reports.pack.span import Span
    from millilot.reports.pack.table import Column, Table, Value

_TEMPLATE = "summary.html"

#: What is on the page, beside the statement; the workbook has the rest.
_SHOWN = ("Form ", "Sales by channel", "Fees by kind", "Closing stock", "Supplies on hand", "Exceptions", "Method")


def page(span: Span, tables: Sequence[Table], subtitle: str, caution: str) -> str:
    """Return the page as HTML.

    Args:
        span: the books and the range.
        tables: the sheets of the pack.
        subtitle: whose books and which days.
        caution: what the figures are not.
    """
    by_name = {table.name: table for table in tables}
    statement = by_name["Summary"]
    drawn = [
        charts.waterfall(statement, "amount"), charts.by_month(span), charts.payback(by_name["Bottle results"]),
    ]
    environment = templates("millilot.reports.pack", ["jinja2.ext.loopcontrols"])
    environment.filters["shown"] = _shown
    return environment.get_template(_TEMPLATE).render(
        title=f"Records of {span.name}",
        subtitle=printable(subtitle),
        caution=caution,
        paper=paper(span.currency),
        currency=span.currency,
        year=span.year,
        statement=replace(statement, columns=tuple(each for each in statement.columns if each.name != "line")),
        charts=[chart for chart in drawn if chart is not None],
        width=charts.WIDTH,
        tables=[_without_blanks(table) for table in tables if table.name.startswith(_SHOWN)],
        sheets=[table.name for table in tables],
        digest=books_digest(span.files),
    ) + "\n"


def _without_blanks(table: Table) -> Table:
    """Return a table without the columns that are empty in all rows, as paper is narrow."""
    used = tuple(
        column
        for column in table.columns
        if any(row.cells.get(column.name) not in {None, ""} for row in table.rows)
    )
    return replace(table, columns=used)


def _shown(value: Value, column: Column) -> str:
    """Return a value as it stands on the page."""
    match value:
        case Decimal() if column.kind is Holds.RATIO:
            return f"{value * 100:,.2f} %"
        case Decimal() | int() if column.kind.is_figure:
            return f"{value:,f}" if isinstance(value, Decimal) else f"{value:,}"
        case datetime.date():
            return value.isoformat()
        case _:
            return printable(text(value))
