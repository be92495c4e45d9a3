"""`millilot new`: a folder with books to begin with."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import click
from beancount.core.amount import CURRENCY_RE

from millilot.ledger.templates import FILES, MAIN, sample_books, starter_books

if TYPE_CHECKING:
    from collections.abc import Mapping

DEFAULT_CURRENCY = "USD"

_NEXT = """\
Next:
  read and change  {books}: it says what to write
  look at it       fava {books}
  check it         millilot check -b {books}
  import orders    millilot import -b {books} FILES, with a profile in {profiles}"""

_NEXT_SAMPLE = """\
Next:
  import orders    millilot import -b {books} {files}
  look at it       fava {books}
  check it         millilot check -b {books}"""


class Currency(click.ParamType[str]):
    """A currency, written as in the books."""

    name = "currency"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the currency, or end with a message that shows how one is written."""
        if not re.fullmatch(CURRENCY_RE, value):
            self.fail(f"{value!r} is not a currency; expected one like {DEFAULT_CURRENCY}.", param, ctx)
        return value


folder_type = click.Path(file_okay=False, path_type=Path)


@click.command("new")
@click.argument("folder", metavar="DIR", type=folder_type)
@click.option("--sample", is_flag=True, help="The books of an invented seller instead of empty ones.")
@click.option(
    "--currency", type=Currency(), help=f"The currency of the books; {DEFAULT_CURRENCY} unless stated.",
)
def new(folder: Path, currency: str | None, *, sample: bool) -> None:
    """Make DIR, with books to begin with: accounts, comments that say what to write, and an importer."""
    if sample and currency:
        raise click.UsageError(f"The sample books are in {DEFAULT_CURRENCY}; leave out --currency or --sample.")
    lay_down(folder, sample_books() if sample else starter_books(currency or DEFAULT_CURRENCY))
    click.echo(f"Made {folder / MAIN}.\n")
    text = _NEXT_SAMPLE if sample else _NEXT
    click.echo(
        text.format(
            books=shlex.quote(str(folder / MAIN)),
            files=f"{shlex.quote(str(folder / FILES))}/*.csv",
            profiles=shlex.quote(str(folder / "profiles")),
        ),
    )


def lay_down(folder: Path, texts: Mapping[str, str]) -> None:
    """Write all files of some books, or none.

    Args:
        folder: made if it is not there; empty otherwise.
        texts: the text of each file by its path in the folder.

    Raises:
        click.ClickException: the folder has files, or cannot be written to.
    """
    try:
        there = folder.exists()
        if there and any(folder.iterdir()):
            raise click.ClickException(f"{folder} is not empty; nothing is written. Name a folder that is new.")
        with TemporaryDirectory(prefix=".millilot-", dir=folder if there else folder.parent) as scratch:
            draft = Path(scratch, "books")
            _write(draft, texts)
            if there:
                _move(draft, folder)
            else:
                draft.rename(folder)
    except OSError as error:
        raise click.ClickException(f"{folder} cannot be written: {error.strerror}; nothing is written.") from error


def _write(folder: Path, texts: Mapping[str, str]) -> None:
    folder.joinpath(FILES).mkdir(parents=True)
    for path, text in texts.items():
        file = folder / path
        file.parent.mkdir(exist_ok=True)
        file.write_text(text, encoding="utf-8", newline="\n")


def _move(draft: Path, folder: Path) -> None:
    """Move what a folder holds into another one, or nothing of it.

    The folder itself stays, because somebody may stand in it.
    """
    moved: list[Path] = []
    try:
        for item in sorted(draft.iterdir()):
            moved.append(item.rename(folder / item.name))  # noqa: PERF401  # as far as it came
    except BaseException:
        for item in moved:
            item.rename(draft / item.name)
        raise
