"""From rows to what happened, by the shape of the file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millilot.importers.ledger_rows import read_ledger_rows
from millilot.importers.orders import read_orders
from millilot.importers.payout_rows import read_payout_rows

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from millilot.importers.events import Group, LeftOut
    from millilot.importers.profile import Profile
    from millilot.importers.table import Row


def _of_none(_: str) -> str:
    return ""


def read_events(
    rows: Sequence[Row], profile: Profile, sale_of: Callable[[str], str] = _of_none,
) -> Iterator[Group | LeftOut]:
    """Read what the rows of a file say happened.

    Args:
        rows: the rows of the file.
        profile: what they mean.
        sale_of: tells the number of the sale in the books that an event belongs to, by the event's number; empty
            when there is none.
    """
    if profile.file.row == "payout":
        return read_payout_rows(rows, profile)
    if profile.file.row in {"event", "component"}:
        return read_ledger_rows(rows, profile, sale_of)
    return read_orders(rows, profile)
