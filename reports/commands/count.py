"""`millilot count`: a sheet to fill in while bottles are measured."""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import TYPE_CHECKING

import click

from millilot.reports.commands.options import Format, read, report_options
from millilot.reports.count import Line, count_sheet
from millilot.reports.tables import WIDTH, Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from pathlib import Path

COLUMNS = tuple(field.name for field in fields(Line))

_BLANK = "_" * 10
_SHEET = (
    Column("Bottle", right=False, flexible=True),
    Column("Fragrance", right=False, flexible=True),
    Column("Batch", right=False, flexible=True),
    Column("Tare g"),
    Column("Last mL"),
    Column("on"),
    Column("mL or g now", right=False),
)


@click.command("count")
@report_options
def count_command(path: Path, style: str, to: datetime.date | None, *, wide: bool) -> None:
    """Print a count sheet: every bottle with something left, the one longest unmeasured first."""
    lines = count_sheet(read(path, to), to)
    match style:
        case Format.JSON:
            click.echo(to_json([asdict(line) for line in lines]), nl=False)
        case Format.CSV:
            click.echo(to_csv([asdict(line) for line in lines], COLUMNS), nl=False)
        case _:
            rows = [
                [line.bottle, line.fragrance, line.batch, line.tare, line.last_ml, line.last_on, _BLANK]
                for line in lines
            ]
            click.echo(to_table(_SHEET, rows, width=None if wide else WIDTH), nl=False)
            click.echo(
                "\nWrite what was found, in mL or in g, dated the morning it was measured:\n"
                '  DATE custom "stocktake" "BOTTLE" 41.5 FRAGRANCE\n'
                '  DATE custom "weighing" "BOTTLE" 187.4',
            )
