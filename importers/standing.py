"""Whether a row counts: what its status says, and on which day it is booked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millilot.importers.cells import found
from millilot.importers.events import NothingToBookError
from millilot.importers.table import RowError

if TYPE_CHECKING:
    import datetime
    from collections.abc import Callable

    from millilot.importers.events import Dates
    from millilot.importers.profile import Profile
    from millilot.importers.table import Row


def require_standing(row: Row, status: str, profile: Profile, taken: Callable[[], str]) -> bool:
    """Make sure that a status lets a row count.

    Args:
        row: the row, or the first of the order.
        status: what its status column says.
        profile: what the statuses mean.
        taken: tells the heading of a cell that shows that money was taken; empty when there is none.

    Returns:
        Whether the order was cancelled, and money had been taken for it.

    Raises:
        NothingToBookError: when it does not count, or not yet.
        RowError: when the status is not known, or money was taken where the profile says there is none.
    """
    statuses, heading = profile.statuses, profile.columns.status
    if status in statuses.pending:
        raise NothingToBookError("not settled yet")
    if status in statuses.cancelled:
        if not taken():
            raise NothingToBookError(f"status {status}")
        return True
    if status in statuses.skip:
        if evidence := taken():
            raise RowError(
                row.number,
                f"column '{heading}': {status} is a status to skip, but money was taken: column '{evidence}' "
                f"says {found(row, evidence)}; if such orders were cancelled, list {status} under cancelled",
            )
        raise NothingToBookError(f"status {status}")
    if statuses.book and status not in statuses.book and status not in statuses.to_pour:
        expected = f"one of {', '.join(statuses.known)}"
        raise RowError(row.number, f"column '{heading}': expected {expected}, found {found(row, heading)}")
    return False


def is_in_currency(row: Row, profile: Profile) -> bool:
    """Whether a row names no other currency than the profile's."""
    heading = profile.columns.currency
    return not heading or row[heading].upper() in {"", profile.currency}


def require_currency(row: Row, profile: Profile) -> None:
    """Make sure that a row names no other currency than the profile's.

    Raises:
        RowError: when it does.
    """
    if not is_in_currency(row, profile):
        heading = profile.columns.currency
        raise RowError(row.number, f"column '{heading}': expected {profile.currency}, found {found(row, heading)}")


def money_taken(row: Row, profile: Profile) -> str:
    """Return the heading of a cell that shows that the channel settled or paid out the row, or nothing."""
    columns = profile.columns
    return next((name for name in (columns.settled, columns.paid_out, columns.payout) if name and row[name]), "")


def day_to_book(dates: Dates, first: datetime.date, profile: Profile) -> datetime.date:
    """Return the day an entry is booked on.

    Args:
        dates: the days the row gives.
        first: the day of what happened.
        profile: says which counts.

    Raises:
        NothingToBookError: when that day is not there yet.
    """
    if profile.dates.book_on == "ordered":
        return first
    day, words = {
        "settled": (dates.settled, "settled"), "paid-out": (dates.paid_out, "paid out"),
    }[profile.dates.book_on]
    if day is None:
        raise NothingToBookError(f"not {words} yet")
    return day
