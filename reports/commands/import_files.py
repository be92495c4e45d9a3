"""`millilot import`: a channel's files into the books."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millilot.importers.batch import Batch, Outcome
from millilot.importers.booking import open_books
from millilot.importers.channel import choose_profile, require_fit
from millilot.importers.problems import InputError
from millilot.importers.profile import read_profile
from millilot.importers.text import format_entries
from millilot.reports.commands.options import books_option, clean, show
from millilot.reports.commands.progress import progress
from millilot.reports.commands.writing import count, profile_paths, refuse

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from millilot.importers.batch import Fate, ImportResult
    from millilot.importers.profile import Profile

WIDTH = 80


@click.command("import")
@click.argument("files", nargs=-1, required=True, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--profile", "profile_path", type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The profile of the files; otherwise the one in profiles/ beside the books that fits.",
)
@books_option
@click.option("--dry-run", is_flag=True, help="Show what would be written, and write nothing.")
@click.option(
    "--format", "layout", type=click.Choice(["table", "json"]), default="table", show_default=True,
    help="How to show the outcome.",
)
def import_files(
    files: tuple[Path, ...], profile_path: Path | None, path: Path, dry_run: bool, layout: str,
) -> None:
    """Book a channel's sales and refunds from its FILES.

    Everything is written, or nothing. A file that was imported before adds nothing. The exit status is 1 when
    a row was refused, or when the books would get a new error.
    """
    try:
        profiles = [read_profile(each) for each in profile_paths(profile_path, path)]
        sources = list(_sources(files, profiles, chosen=profile_path is not None))
        with open_books(path) as books:
            batch = Batch(books.entries)
            for file, profile in sources:
                with progress(file) as advance:
                    batch.add(file, profile, advance)
            # Days in order, whatever the order of the files.
            entries = sorted(batch.new, key=lambda entry: entry.date)
            problems = books.append(entries, dry_run=dry_run)
    except InputError as error:
        raise click.ClickException(clean(str(error))) from None
    result = batch.result()
    refuse(problems, path)
    text = format_entries(entries) if dry_run else None
    if layout == "json":
        click.echo(_as_json(result, text))
    else:
        show(_as_table(result, text))
    if result.refused:
        raise click.exceptions.Exit(1)


def _sources(
    files: Iterable[Path], profiles: list[Profile], *, chosen: bool,
) -> Iterator[tuple[Path, Profile]]:
    for path in files:
        if chosen:
            require_fit(path, profiles[0])
            yield path, profiles[0]
        else:
            yield path, choose_profile(path, profiles)


def _as_json(result: ImportResult, text: str | None) -> str:
    values = result.as_dict()
    if text is not None:
        values["text"] = text
    return json.dumps(values, indent=2)


def _as_table(result: ImportResult, text: str | None) -> str:
    counts = ", ".join(f"{getattr(result, outcome)} {outcome}" for outcome in Outcome)
    lines = [f"{count(result.rows, 'row')}: {counts}"]
    shown = [fate for fate in result.fates if fate.reason or text is not None]
    for file in dict.fromkeys(fate.file for fate in shown):
        lines += ["", file, *_fate_lines([fate for fate in shown if fate.file == file])]
    for currency, money in result.as_dict()["money"].items():
        sums = ", ".join(f"{name} {amount}" for name, amount in money.items())
        lines += ["", *textwrap.wrap(f"{currency}: {sums}", WIDTH)]
    return "\n".join(([text] if text else []) + lines)


def _fate_lines(fates: list[Fate]) -> Iterator[str]:
    """Yield a line for each fate, with long reasons going on below."""
    order_width = min(max(len("order"), *(len(fate.order) for fate in fates)), 20)
    head = f"{'row':>6}  {'fate':<8}  {'order':<{order_width}}  "
    yield f"{head}reason"
    for fate in fates:
        reason = textwrap.wrap(fate.reason, max(WIDTH - len(head), 20)) or [""]
        yield f"{fate.row:>6}  {fate.fate:<8}  {fate.order[:order_width]:<{order_width}}  {reason[0]}".rstrip()
        for line in reason[1:]:
            yield " " * len(head) + line
