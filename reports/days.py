"""Ranges of days that are years, and how long a month is."""

from __future__ import annotations

import datetime
from decimal import Decimal

#: A month on average, for what is said of the pace of things.
DAYS_A_MONTH = Decimal("30.44")


def last_of_year(first: datetime.date) -> datetime.date:
    """Return the last day of the year that begins on a day."""
    if first.year == datetime.MAXYEAR:
        return datetime.date.max
    try:
        after = first.replace(year=first.year + 1)
    except ValueError:
        # It begins on the 29th of February.
        after = datetime.date(first.year + 1, 3, 1)
    return after - datetime.timedelta(days=1)


def year_around(day: datetime.date, month: int, of_month: int) -> tuple[datetime.date, datetime.date]:
    """Return the first and last day of the year that holds a day and begins on a month and day.

    Args:
        day: the day.
        month: 1 to 12.
        of_month: a day that month has in every year.
    """
    first = datetime.date(day.year, month, of_month)
    if first > day and day.year > datetime.MINYEAR:
        first = first.replace(year=day.year - 1)
    return first, last_of_year(first)


def is_calendar_year(first: datetime.date, last: datetime.date) -> bool:
    """Whether a range of days is a whole calendar year."""
    return (first.month, first.day) == (1, 1) and last == last_of_year(first)
