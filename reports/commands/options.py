"""What the commands share: their options, how books are loaded, and how a report is written out."""

from __future__ import annotations

import datetime
from enum import StrEnum
from inspect import cleandoc
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import click
from beancount import loader

from millilot.ledger.reading import read_books
from millilot.reports.check import place
from millilot.reports.clock import this_day
from millilot.reports.tables import printable

if TYPE_CHECKING:
    from collections.abc import Callable

    from beancount.core.data import BeancountError, Directives

    from millilot.ledger.records import Books

    Command = TypeVar("Command", bound=Callable[..., object])


ON_ERRORS = (
    "Errors in the books are shown on the standard error stream, and the figures are those of what could be "
    "booked. The exit status is 0 all the same: that of `millilot check` tells whether the books are right."
)


class Format(StrEnum):
    """How a report is written out."""

    TABLE = "table"
    CSV = "csv"
    JSON = "json"


class Loaded(NamedTuple):
    """Books as Beancount loaded them."""

    entries: Directives
    errors: list[BeancountError]
    options_map: dict[str, Any]


def day(_ctx: click.Context, _option: click.Parameter, value: str | None) -> datetime.date | None:
    """Return the day that was asked for, written as in the books."""
    if value is None:
        return None
    try:
        return datetime.date.fromisoformat(value)
    except ValueError as error:
        raise click.BadParameter(f"{value!r} is not a day; expected one like 2026-12-31.") from error


def day_or_today(ctx: click.Context, option: click.Parameter, value: str | None) -> datetime.date:
    """Return the day that was asked for, or else today."""
    return day(ctx, option, value) or this_day()


books_option = click.option(
    "-b",
    "--books",
    "path",
    type=click.Path(exists=True, dir_okay=False, readable=True, path_type=Path),
    default="main.beancount",
    show_default=True,
    help="The file with the books.",
)


def report_options(command: Command) -> Command:
    """Add the options that every report has, and what its help says of errors."""
    return report_options_with()(command)


def report_options_with(*others: str) -> Callable[[Command], Command]:
    """Return what adds the options of a report that can be written out in other ways too."""

    def add(command: Command) -> Command:
        command.__doc__ = f"{cleandoc(command.__doc__ or '')}\n\n{ON_ERRORS}"
        for option in (
            click.option("--wide", is_flag=True, help="Show all columns, however wide the table gets."),
            click.option("--to", callback=day, metavar="DATE", help="Show the state at the end of this day."),
            click.option(
                "--format",
                "style",
                type=click.Choice([*(style.value for style in Format), *others]),
                default=Format.TABLE.value,
                show_default=True,
                help="How to write the figures.",
            ),
            books_option,
        ):
            command = option(command)
        return command

    return add


def load(path: Path) -> Loaded:
    """Load books.

    Raises:
        click.ClickException: the file cannot be read.
    """
    try:
        # The public function may answer from a cache, which does not notice that the plugin has changed.
        return Loaded(*loader._load([(str(path.absolute()), True)], None, None, None))
    except (OSError, UnicodeDecodeError, ArithmeticError) as error:
        raise click.ClickException(clean(f"The books cannot be read: {path}: {error}")) from error


def read(path: Path, to: datetime.date | None) -> Books:
    """Load and read books for a report; errors in them are shown, and the report is made all the same."""
    loaded = load(path)
    for error in loaded.errors:
        show(f"{place(error.source)}: {error.message}", err=True)
    return read_books(loaded.entries, loaded.options_map, to)


def show(message: str, *, err: bool = False) -> None:
    """Print a message that may quote the books, on the standard error stream if asked to."""
    click.echo(clean(message), err=err)


def clean(message: str) -> str:
    """Return a message of several lines that cannot steer a terminal."""
    return "\n".join(map(printable, message.splitlines()))
