"""`millilot poured`: say that orders were poured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from millilot.importers.booking import open_books
from millilot.importers.poured import changes, write
from millilot.importers.problems import InputError
from millilot.reports.commands.options import books_option, clean, day_or_today, show
from millilot.reports.commands.writing import refuse

if TYPE_CHECKING:
    import datetime
    from pathlib import Path


@click.command("poured")
@click.argument("orders", metavar="ORDER...", nargs=-1, required=True)
@click.option("--on", callback=day_or_today, metavar="DATE", help="The day they were poured; today unless stated.")
@click.option("--dry-run", is_flag=True, help="Show what changes, and write nothing.")
@books_option
def poured_command(orders: tuple[str, ...], on: datetime.date, path: Path, *, dry_run: bool) -> None:
    """Say that orders were poured: `poured:` and the day take the place of their tag #to-pour.

    ORDER is the name in the list of `millilot pour`. All of them are marked, or none is.
    """
    try:
        with open_books(path, "update") as books:
            changed = changes(books, orders, on)
            refuse(write(books, changed, on, dry_run=dry_run), path)
    except InputError as error:
        raise click.ClickException(clean(str(error))) from None
    for change in changed:
        if dry_run:
            show(change.place)
            for sign, lines in (("-", change.old), ("+", change.new)):
                for line in lines:
                    show(f"{sign} {line}")
        else:
            show(f"{change.name}: {change.place}, poured {on}")
