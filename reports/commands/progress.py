"""A bar that shows how far the reading of a long file has come, on a terminal only."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from millilot.reports.tables import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

#: Lines from which a file is long.
LONG = 1000

_BLOCK = 1 << 20


@contextmanager
def progress(path: Path) -> Iterator[Callable[[int], None]]:
    """Yield a function that is told of each number of rows that is done; the bar goes to the error stream."""
    length = _lines(path) if sys.stderr.isatty() else 0
    if length < LONG:
        yield lambda rows: None  # noqa: ARG005
        return
    steps = length // 200
    label = printable(path.name)
    with click.progressbar(length=length, label=label, file=sys.stderr, update_min_steps=steps) as bar:
        yield bar.update
        # Cells with line breaks make fewer rows than lines.
        bar.finish()
        bar.render_progress()


def _lines(path: Path) -> int:
    with path.open("rb") as file:
        return sum(block.count(b"\n") for block in iter(lambda: file.read(_BLOCK), b""))
