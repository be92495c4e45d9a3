"""`millilot check`: everything wrong or odd in the books, with file and line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from millilot.ledger.reading import read_books
from millilot.reports.check import plugin_order, problems, remarks
from millilot.reports.commands.options import books_option, load, show
from millilot.reports.filed import moved_years

if TYPE_CHECKING:
    from millilot.reports.check import Finding


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
        show(f"{_from_here(problem)}: {problem.message}")
    for remark in odd:
        show(f"{_from_here(remark)}: remark: {remark.message}")
    if not wrong and not odd:
        click.echo("No problems and no remarks.")
    ctx.exit(1 if wrong else 0)


def _from_here(finding: Finding) -> str:
    """Return the file and line, with the file as it is called from this folder if it lies in it or below."""
    file, _, line = finding.place.rpartition(":")
    folder = Path.cwd()
    return f"{Path(file).relative_to(folder)}:{line}" if Path(file).is_relative_to(folder) else finding.place
