"""From rows to what happened, by the shape of the file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millilot.importers.cells import CellReader
from millilot.importers.events import LeftOut
from millilot.importers.ledger_rows import read_ledger_rows
from millilot.importers.orders import read_orders
from millilot.importers.payout_rows import read_payout_rows
from millilot.importers.totals import check_totals

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from millilot.importers.events import Group
    from millilot.importers.profile import Profile
    from millilot.importers.table import Row


def _of_none(_: str) -> str:
    return ""


def read_events(
    rows: Iterable[Row], profile: Profile, sale_of: Callable[[str], str] = _of_none,
) -> Iterator[Group | LeftOut]:
    """Read what the rows of a file say happened.

    Args:
        rows: the rows of the file.
        profile: what they mean.
        sale_of: tells the number of the sale in the books that an event belongs to, by the event's number; empty
            when there is none.
    """
    skipped: list[Row] = []
    to_book = _without_skipped(check_totals(rows, profile, CellReader(profile)), skipped)
    if profile.file.row == "payout":
        yield from read_payout_rows(to_book, profile)
    elif profile.file.row in {"event", "component"}:
        yield from read_ledger_rows(list(to_book), profile, sale_of)
    else:
        yield from read_orders(to_book, profile)
    for row in skipped:
        yield LeftOut("", {row.number: row.skip}, refused=False, net=None)


def _without_skipped(rows: Iterable[Row], skipped: list[Row]) -> Iterator[Row]:
    """Yield the rows that may be booked, as they are read; the others are added to a list."""
    for row in rows:
        if row.skip:
            skipped.append(row)
        else:
            yield row
