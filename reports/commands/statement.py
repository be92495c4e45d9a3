"""How a year is printed as a statement, with what stands behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from millilot.reports.days import is_calendar_year, last_of_year
from millilot.reports.tables import Column, to_table
from millilot.reports.year_statement import STATEMENT

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence

    from millilot.reports.cutoff import CutOff
    from millilot.reports.year import Year


def title_of(start: datetime.date, end: datetime.date) -> str:
    """Return what a range of days is called."""
    if is_calendar_year(start, end):
        return str(start.year)
    if (start.month, start.day) == (1, 1) and end < last_of_year(start):
        return f"{start.year}, up to {end}"
    return f"{start} to {end}"


def statement(title: str, currency: str, year: Year) -> str:
    """Return the year as a statement: lines in the left column, totals in the right one."""
    rows: list[tuple[str, object, object]] = []
    for part in STATEMENT:
        if rows:
            rows.append(("", None, None))
        for line in part:
            figure = getattr(year, line.name)
            rows.append((line.caption, None, figure) if line.is_total else (line.caption, figure, None))
    columns = (Column(title, right=False), Column(currency), Column("Total"))
    return to_table(columns, rows)


def contributed_table(rows: list[dict[str, Any]]) -> str:
    """Return the bottles whose cost no receipt of the year proves."""
    columns = (
        Column("Bottle", right=False, flexible=True),
        Column("Fragrance", right=False, flexible=True),
        Column("mL"),
        Column("Cost"),
        Column("Paid"),
        Column("Market value"),
        Column("", right=False),
    )
    return to_table(
        columns,
        [
            [
                row["bottle"],
                row["fragrance"],
                row["ml"],
                row["cost"],
                row["paid"],
                row["market_value"],
                "estimated" if row["estimated"] else None,
            ]
            for row in rows
        ],
    )


def cut_off_table(across: Sequence[CutOff]) -> str:
    """Return the orders that lie across the end of a year."""
    columns = (
        Column("Order", right=False, flexible=True),
        Column("What", right=False, flexible=True),
        Column("Paid", right=False),
        Column("Poured", right=False),
        Column("Amount"),
        Column("Receipt", right=False),
    )
    body = [
        [
            (each.order or "").removeprefix("order-"),
            each.what,
            each.paid,
            each.poured or "waits",
            each.amount,
            each.counted,
        ]
        for each in across
    ]
    return to_table(columns, body)
