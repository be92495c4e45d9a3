"""`millilot splits`: how far is each split, and whose money is held for it?"""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import TYPE_CHECKING

import click
from beancount.core.number import ZERO

from millilot.reports import splits as report
from millilot.reports.commands.options import Format, read, report_options
from millilot.reports.splits import Split
from millilot.reports.tables import Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence
    from pathlib import Path

COLUMNS = tuple(field.name for field in fields(Split))
UNNAMED = "(no split)"

_TEXTS = {"split", "bottle", "fragrance", "state"}
_TOTALS = ("ml_claimed", "ml_poured", "money_held", "money_due")
_NARROW = {
    "split": "Split",
    "bottle": "Bottle",
    "ml_claimed": "Claimed",
    "fill": "Fill",
    "ml_poured": "Poured",
    "ml_unclaimed": "Free",
    "money_held": "Held",
    "money_due": "Due",
    "state": "State",
}


@click.command("splits")
@report_options
def splits_command(path: Path, style: str, to: datetime.date | None, *, wide: bool) -> None:
    """Show what is claimed and poured of each split, and the money held and still due for it."""
    books = read(path, to)
    splits = report.rounded(report.splits(books), books.currency)
    match style:
        case Format.JSON:
            click.echo(to_json([asdict(split) for split in splits]), nl=False)
        case Format.CSV:
            click.echo(to_csv([asdict(split) for split in splits], COLUMNS), nl=False)
        case _:
            click.echo(_wide(splits) if wide else _narrow(splits), nl=False)


def _narrow(splits: Sequence[Split]) -> str:
    """Return the columns a host looks at."""
    rows = [asdict(split) for split in splits]
    for row in rows:
        row["split"] = row["split"] or UNNAMED
        row["fill"] = None if row["fill"] is None else f"{row['fill'] * 100:.2f} %"
    return to_table(
        [
            Column(heading, right=name not in _TEXTS, flexible=name in {"split", "bottle"})
            for name, heading in _NARROW.items()
        ],
        [[row[name] for name in _NARROW] for row in rows],
        _total(tuple(_NARROW), splits),
    )


def _wide(splits: Sequence[Split]) -> str:
    """Return all columns under the names they have everywhere."""
    return to_table(
        [Column(name, right=name not in _TEXTS) for name in COLUMNS],
        [[split.split or UNNAMED, *list(asdict(split).values())[1:]] for split in splits],
        _total(COLUMNS, splits),
        width=None,
    )


def _total(columns: Sequence[str], splits: Sequence[Split]) -> list[object]:
    cells = {name: [getattr(split, name) for split in splits] for name in _TOTALS}
    sums = {name: sum((cell for cell in of_column if cell is not None), ZERO) for name, of_column in cells.items()}
    return ["Total", *(sums.get(name) for name in columns[1:])]
