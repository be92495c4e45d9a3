"""Today's date: the one place that reads the clock, for the faces that ask for no day."""

from __future__ import annotations

import datetime


def this_day() -> datetime.date:
    """Return today's date where the owner is; for the default of an option or a page, and nowhere else."""
    return datetime.datetime.now().astimezone().date()
