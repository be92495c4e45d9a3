"""`millilot demo`: the sample books, imported and reported."""

from __future__ import annotations

import datetime
import shlex
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING

import click

from millilot.ledger.templates import FILES, MAIN, sample_books
from millilot.reports.commands.bottles import bottles_command
from millilot.reports.commands.import_files import import_files
from millilot.reports.commands.new import folder_type, lay_down
from millilot.reports.commands.options import read
from millilot.reports.commands.year import year_command

if TYPE_CHECKING:
    from millilot.ledger.records import Books

LOOPBACK = "127.0.0.1"


@click.command("demo")
@click.argument("folder", metavar="[DIR]", required=False, type=folder_type)
@click.option("--serve", is_flag=True, help="Open the books in Fava afterwards, for this machine only.")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=5000, show_default=True,
    help="The port for --serve; 0 takes any that is free.",
)
@click.pass_context
def demo(ctx: click.Context, folder: Path | None, port: int, *, serve: bool) -> None:
    """Lay the books of an invented seller in DIR, import two channels' files, and show what comes out.

    Without DIR they are laid in a new temporary folder.
    """
    if folder is None:
        folder = Path(mkdtemp(prefix="millilot-demo-"))
    lay_down(folder, sample_books())
    books = folder / MAIN
    files = tuple(sorted(folder.joinpath(FILES).glob("*.csv")))
    click.echo(f"The books of an invented seller are in {books}.\n")
    _head(
        "Two channels' files are imported",
        "millilot import", f"-b {_quoted(books)}", f"{_quoted(folder / FILES)}/*.csv",
    )
    ctx.invoke(import_files, files=files, path=books)
    _head("Has each bottle paid for itself?", "millilot bottles", f"-b {_quoted(books)}")
    ctx.invoke(bottles_command, path=books)
    year = latest_full_year(read(books, None))
    _head(f"The year {year}", f"millilot year {year}", f"-b {_quoted(books)}")
    ctx.invoke(year_command, number=year, path=books)
    if serve:
        _serve(books, port)
    else:
        _head("Next, look at them in Fava", "fava", _quoted(books))


def latest_full_year(books: Books) -> int:
    """Return the last calendar year that was over when the books end.

    Raises:
        ValueError: the books are empty.
    """
    if books.last is None:
        raise ValueError("Empty books have no year.")
    return (books.last + datetime.timedelta(days=1)).year - 1


def _head(title: str, *command: str) -> None:
    """Say what comes now, and the command that shows it again."""
    click.echo(f"\n{title}\n$ {' '.join(command)}\n")


def _quoted(path: Path) -> str:
    return shlex.quote(str(path))


def _serve(books: Path, port: int) -> None:
    """Open books in Fava until the keyboard interrupts.

    Raises:
        click.ClickException: the port is taken.
    """
    # Both take long to import, and the other commands need neither.
    from cheroot.wsgi import Server  # noqa: PLC0415
    from fava.application import create_app  # noqa: PLC0415

    server = Server((LOOPBACK, port), create_app([str(books.resolve())]))
    try:
        server.prepare()
    except OSError as error:
        raise click.ClickException(f"Port {port} cannot be used; choose another with --port.") from error
    click.echo(f"\nFava shows the books at http://{LOOPBACK}:{server.bind_addr[1]}/ until you press Ctrl-C.")
    try:
        server.serve()
    except KeyboardInterrupt:
        server.stop()
