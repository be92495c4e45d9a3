"""`millilot check`: everything wrong or odd in the books, with file and line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from millilot.ledger.reading import read_books
from millilot.reports.check import plugin_order, problems, remarks
from millilot.reports.commands.options import books_option, load, show
from millilot.reports.filed import moved_years

if TYPE_CHECKING:
    from pathlib import Path


@click.command("check")
@books_option
@click.pass_context
def check_command(ctx: click.Context, path: Path) -> None:
    """Print every problem and every remark; the exit status is 1 if there is a problem."""
    entries, errors, options_map = load(path)
    books = read_books(entries, options_map)
    wrong = [*plugin_order(options_map), *problems(entries, errors), *moved_years(entries, books)]
    odd = remarks(entries, books)
    for problem in wrong:
        show(f"{problem.place}: {problem.message}")
    for remark in odd:
        show(f"{remark.place}: remark: {remark.message}")
    if not wrong and not odd:
        click.echo("No problems and no remarks.")
    ctx.exit(1 if wrong else 0)
