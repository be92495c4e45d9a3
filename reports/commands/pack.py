"""`millilot pack`: a year's records in a folder, for whoever prepares the return."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from millilot.importers.problems import InputError
from millilot.reports.commands.options import books_option, load, show
from millilot.reports.forms import find_form, read_forms
from millilot.reports.pack import CAUTION, pack
from millilot.reports.pack.folder import FolderError, put
from millilot.reports.pack.manifest import read_digests
from millilot.reports.pack.span import Span

#: Forms of the owner's own lie in this folder beside the books.
_FORMS = "forms"


@click.command("pack")
@click.argument("number", metavar="YEAR", type=click.IntRange(datetime.MINYEAR, datetime.MAXYEAR))
@click.option(
    "-o", "--output", "folder", required=True, type=click.Path(path_type=Path), metavar="DIR",
    help="The folder to make; an earlier pack in it is replaced.",
)
@click.option(
    "--form", "names", multiple=True, default=("plain",), show_default=True, metavar="NAME",
    help="The form to fill; may be given more than once.",
)
@books_option
def pack_command(number: int, folder: Path, names: tuple[str, ...], path: Path) -> None:
    """Write a year's records into DIR: a workbook, the same as CSV files, a page to print, a manifest."""
    loaded = load(path)
    span = Span(
        loaded.entries, loaded.errors, loaded.options_map,
        datetime.date(number, 1, 1), datetime.date(number, 12, 31), number, read_digests(loaded.options_map),
    )
    try:
        known = read_forms(path.parent / _FORMS)
        files = pack(span, [find_form(known, name, number) for name in dict.fromkeys(names)])
        put(files, folder)
    except (InputError, FolderError) as error:
        raise click.ClickException(str(error)) from None
    show(f"{folder}: {len(files)} files of {span.name}")
    if loaded.errors:
        show(f"The books have {len(loaded.errors)} errors; they are on the sheet Exceptions.", err=True)
    show(f"\n{CAUTION}")
