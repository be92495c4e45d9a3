"""`millilot bottles`: has each bottle paid for itself?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from millilot.reports import bottles as report
from millilot.reports.commands.options import Format, read, report_options
from millilot.reports.tables import Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from pathlib import Path

    import pandas as pd

UNALLOCATED = "(unallocated)"

_NARROW = (
    Column("Bottle", right=False, flexible=True),
    Column("Fragrance", right=False, flexible=True),
    Column("mL left"),
    Column("Cost"),
    Column("Net"),
    Column("Payback"),
    Column("Paid back on"),
)


@click.command("bottles")
@report_options
def bottles_command(path: Path, style: str, to: datetime.date | None, *, wide: bool) -> None:
    """Show what each bottle cost, what it earned, and whether it has paid for itself."""
    books = read(path, to)
    frame = report.rounded_bottles(books)
    rows = report.rows_of(frame)
    match style:
        case Format.JSON:
            click.echo(to_json(rows), nl=False)
        case Format.CSV:
            click.echo(to_csv(rows, report.COLUMNS), nl=False)
        case _:
            click.echo(_wide(frame, rows) if wide else _narrow(frame, rows), nl=False)


def _narrow(frame: pd.DataFrame, rows: list[dict[str, Any]]) -> str:
    """Return the columns that answer whether a bottle has paid for itself."""

    def cells(row: dict[str, Any]) -> list[object]:
        payback = None if row["payback"] is None else f"{row['payback'] * 100:.2f} %"
        to_go = f"{row['to_recover']:f} to go" if row["to_recover"] else None
        return [row["cost"], row["net"], payback, row["paid_back_on"] or to_go]

    total = report.totals(frame)
    return to_table(
        _NARROW,
        [
            [row["bottle"], row["fragrance"], row["ml_left"], *cells(row)]
            if row["bottle"] is not None
            else [UNALLOCATED, None, None, None, row["net"], None, None]
            for row in rows
        ],
        ["Total", None, None, *cells({**total, "paid_back_on": None, "to_recover": None})],
    )


def _wide(frame: pd.DataFrame, rows: list[dict[str, Any]]) -> str:
    """Return all columns under the names they have everywhere."""
    texts = {"bottle", "fragrance"}
    total = report.totals(frame)
    return to_table(
        [Column(name, right=name not in texts) for name in report.COLUMNS],
        [[row["bottle"] or UNALLOCATED, *(row[name] for name in report.COLUMNS[1:])] for row in rows],
        ["Total", *(total.get(name) for name in report.COLUMNS[1:])],
        width=None,
    )
