"""`millilot today`: what is to be done this week, on one screen."""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import TYPE_CHECKING

import click

from millilot.reports.commands.options import ON_ERRORS, Format, books_option, day_or_today, read
from millilot.reports.tables import WIDTH, Column, printable, shortened, to_csv, to_json, to_table
from millilot.reports.today import LATE_AFTER, Task
from millilot.reports.today import today as report

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence
    from pathlib import Path

COLUMNS = tuple(field.name for field in fields(Task))

#: What has no command is settled by an entry of the owner's.
_BY_HAND = "(your entry)"
#: So many names are shown of each kind.
_NAMED = 3


@click.command("today", epilog=ON_ERRORS)
@click.option("--on", "on", callback=day_or_today, metavar="DATE", help="The day; today unless stated.")
@click.option(
    "--late", type=click.IntRange(0), default=LATE_AFTER, show_default=True, metavar="DAYS",
    help="An order that waits for longer is late.",
)
@click.option(
    "--format", "style", type=click.Choice([style.value for style in Format]), default=Format.TABLE.value,
    show_default=True, help="How to write it.",
)
@books_option
def today_command(*, on: datetime.date, late: int, style: str, path: Path) -> None:
    """Show what is to be done: pours, shortages, unsorted rows, late payouts, supplies, money owed."""
    tasks = report(read(path, on), on, late)
    match style:
        case Format.JSON:
            click.echo(to_json([{**asdict(task), "names": list(task.names)} for task in tasks]), nl=False)
        case Format.CSV:
            rows = [{**asdict(task), "names": ", ".join(task.names)} for task in tasks]
            click.echo(to_csv(rows, COLUMNS), nl=False)
        case _ if not tasks:
            click.echo(f"{on}: nothing to do.")
        case _:
            click.echo(f"{on}\n\n{_table(tasks)}")
            click.echo("\n".join(_which(task) for task in tasks if task.key != "late"))


def _table(tasks: Sequence[Task]) -> str:
    columns = [
        Column("To do", right=False, flexible=True),
        Column("Count"),
        Column("Amount"),
        Column("", right=False),
        Column("Date", right=False),
        Column("Settle it with", right=False),
    ]
    rows = [
        [task.what, task.count, task.amount, task.unit, task.oldest, task.command or _BY_HAND] for task in tasks
    ]
    return to_table(columns, rows)


def _which(task: Task) -> str:
    """Return, in one line, what some tasks are about."""
    more = f" and {len(task.names) - _NAMED} more" if len(task.names) > _NAMED else ""
    line = printable(f"{task.what}: {', '.join(task.names[:_NAMED])}")
    return shortened(line, WIDTH - len(more)) + more
