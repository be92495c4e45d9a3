"""`millilot pack`: a year's records in a folder, for whoever prepares the return."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millilot.importers.problems import BooksError, InputError
from millilot.reports.commands.options import books_option, day, load, show
from millilot.reports.days import last_of_year
from millilot.reports.filed import file_year, filed_line
from millilot.reports.forms import FormError, find_form, read_forms
from millilot.reports.pack import Outside, pack
from millilot.reports.pack.folder import FolderError, check, put
from millilot.reports.pack.manifest import read_digests
from millilot.reports.pack.span import Span
from millilot.reports.thresholds import read_thresholds
from millilot.reports.year_statement import CAUTION

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


#: Spreadsheets know no earlier one.
_FIRST_YEAR = 1900


def _choices(_ctx: click.Context, _option: click.Parameter, values: Sequence[str]) -> dict[str, str]:
    """Return choices written as `losses=stock`."""
    for value in values:
        if "=" not in value:
            raise click.BadParameter(f"{value!r} is no choice; expected one like losses=stock.")
    return dict(value.split("=", 1) for value in values)


@click.command("pack")
@click.argument("number", metavar="YEAR", type=click.IntRange(_FIRST_YEAR, datetime.MAXYEAR - 1))
@click.option(
    "-o", "--output", "folder", required=True, type=click.Path(path_type=Path), metavar="DIR",
    help="The folder to make; an earlier pack in it is replaced.",
)
@click.option(
    "--form", "names", multiple=True, default=("plain",), show_default=True, metavar="NAME",
    help="The form to fill; may be given more than once.",
)
@click.option(
    "--choose", "choices", multiple=True, callback=_choices, metavar="CHOICE=OPTION",
    help="Take another option of a form, such as losses=stock.",
)
@click.option(
    "--from", "first", callback=day, metavar="DATE",
    help="Begin on this day of the year, for another than the calendar's; it ends on --to, or a year later.",
)
@click.option("--to", callback=day, metavar="DATE", help="End on this day.")
@click.option("--filed", is_flag=True, help="Write into the books that the year is handed in with these figures.")
@books_option
def pack_command(
    *,
    number: int,
    folder: Path,
    names: tuple[str, ...],
    choices: Mapping[str, str],
    first: datetime.date | None,
    to: datetime.date | None,
    filed: bool,
    path: Path,
) -> None:
    """Write a year's records into DIR: a workbook, the same as CSV files, a page to print, a manifest."""
    start = first or datetime.date(number, 1, 1)
    end = to or last_of_year(start)
    if not start <= end or not start.year <= number <= end.year:
        raise click.UsageError(f"{start} to {end} is not the year {number}.")
    try:
        outside = _outside(names, choices, path, end)
        check(folder)
        span = _span(path, start, end, number)
        if filed:
            _file(span, path)
            # The manifest is of the books as they are now.
            span = _span(path, start, end, number)
        files = pack(span, outside)
        put(files, folder)
    except (InputError, BooksError, FolderError, OSError) as error:
        raise click.ClickException(str(error)) from None
    show(f"{folder}: {len(files)} files of {span.name}")
    if span.errors:
        show(f"Errors in the books: {len(span.errors)}. They are on the sheet Exceptions.", err=True)
    show(f"\n{CAUTION}")


def _span(path: Path, start: datetime.date, end: datetime.date, number: int) -> Span:
    loaded = load(path)
    files = read_digests(loaded.options_map)
    return Span(loaded.entries, loaded.errors, loaded.options_map, start, end, number, files)


def _outside(names: Sequence[str], choices: Mapping[str, str], path: Path, end: datetime.date) -> Outside:
    """Return the forms that were asked for, and the thresholds; the owner's own lie beside the books.

    Raises:
        FormError: a file cannot be read, or there is no such form or choice.
    """
    known = read_forms(path.parent / "forms")
    forms = [find_form(known, name, end) for name in dict.fromkeys(names)]
    there = {choice.name for form in forms for choice in form.choices}
    for name in choices:
        if name not in there:
            raise FormError(f"No form asked for has a choice {name!r}; their choices: {', '.join(sorted(there))}.")
    return Outside(forms, choices, read_thresholds(path.parent / "thresholds"))


def _file(span: Span, path: Path) -> None:
    """Write into the books that a year is handed in, on the day after its last: no clock is asked.

    Raises:
        BooksError: the books cannot be written, or have errors.
    """
    if span.errors:
        count = len(span.errors)
        raise BooksError(f"Nothing is filed while there are errors in the books: {count}. See `millilot check`.")
    if span.end == datetime.date.max:
        raise BooksError(f"No day comes after {span.end} to file the year on.")
    after = span.end + datetime.timedelta(days=1)
    file_year(path, filed_line(span.closing, span.start, span.end, after))
