"""Payback over time: what share of its cost each bottle had brought back by each day."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pandas as pd

from millilot.ledger.goods import EXACT
from millilot.reports.allocation import allocate
from millilot.reports.bottles import net_by_day
from millilot.reports.rounding import nearest

if TYPE_CHECKING:
    import datetime

    from millilot.ledger.records import Books
    from millilot.reports.allocation import Share

COLUMNS = ("date", "bottle", "payback")

_FOUR_DIGITS = Decimal("0.0001")


def payback_over_time(books: Books, costs: dict[str, Decimal], since: datetime.date | None = None) -> pd.DataFrame:
    """Return every day on which the payback of a bottle changed.

    Args:
        books: the books.
        costs: what each bottle cost; one that cost nothing has no payback.
        since: leave out the days before it. A bottle that had earned something by then starts with what it had.

    Returns:
        A frame with COLUMNS, by date and bottle: payback is net / cost to 4 digits (Decimal).
    """
    shares: dict[str, list[Share]] = defaultdict(list)
    for share in allocate(books):
        if share.bottle is not None:
            shares[share.bottle].append(share)
    rows: list[dict[str, Any]] = []
    for name, bottle in books.fragrances.items():
        cost = costs[name]
        if cost < EXACT:
            continue
        points = {bottle.bought: Decimal(0)}
        points.update((day, nearest(net / cost, _FOUR_DIGITS)) for day, net in net_by_day(shares[name]))
        if since is not None:
            before = [day for day in points if day < since]
            points = {
                **({since: points[max(before)]} if before else {}),
                **{day: payback for day, payback in points.items() if day >= since},
            }
        rows += ({"date": day, "bottle": name, "payback": payback} for day, payback in points.items())
    rows.sort(key=lambda row: (row["date"], row["bottle"]))
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
