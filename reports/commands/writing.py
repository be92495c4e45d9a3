"""What the commands share that write to the books."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from millilot.reports.commands.options import show

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from millilot.importers.booking import Problem

#: How many errors are printed; a forgotten account makes one for every sale.
MOST_PROBLEMS = 20


def profile_paths(chosen: Path | None, books: Path) -> list[Path]:
    """Return the profile that was asked for, or all in profiles/ beside the books."""
    return [chosen] if chosen is not None else sorted(books.resolve().parent.glob("profiles/*.toml"))


def refuse(problems: Sequence[Problem], path: Path) -> None:
    """Print the errors that books would newly have, and end.

    Raises:
        click.ClickException: when there are any.
    """
    if not problems:
        return
    for problem in problems[:MOST_PROBLEMS]:
        show(str(problem), err=True)
    if len(problems) > MOST_PROBLEMS:
        click.echo(f"... and {len(problems) - MOST_PROBLEMS} more", err=True)
    raise click.ClickException(f"{path} would get {count(len(problems), 'new error')}; nothing is written.")


def write_file(output: Path, text: str, *, force: bool) -> None:
    """Write a file that was asked for, one that is there already only by force.

    Raises:
        click.ClickException: it is there, or cannot be written.
    """
    try:
        with output.open("w" if force else "x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise click.ClickException(
            f"{output} is there already; nothing is written. --force replaces it."
        ) from None
    except OSError as error:
        raise click.ClickException(f"{output}: cannot be written: {error.strerror}") from None


def count(number: int, noun: str) -> str:
    """Return a number with its noun."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
