"""Payback over time: what share of its cost each bottle had brought back by each day."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pandas as pd
from beancount.core.number import ZERO

from millilot.reports.allocation import allocate
from millilot.reports.bottles import net_by_day
from millilot.reports.rounding import nearest

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping

    from millilot.ledger.records import Books
    from millilot.reports.allocation import Share

COLUMNS = ("date", "bottle", "payback")

_FOUR_DIGITS = Decimal("0.0001")


def payback_over_time(
    books: Books,
    costs: Mapping[str, Decimal],
    since: datetime.date | None = None,
    until: datetime.date | None = None,
) -> pd.DataFrame:
    """Return the payback of bottles on the days on which it changed, and on the last day.

    Args:
        books: the books, up to the last day.
        costs: what each of the bottles that are wanted cost; never nought, which has no payback.
        since: leave out the days before it. A bottle that was there by then starts with what it had earned.
        until: the last day; otherwise that of the books.

    Returns:
        A frame with COLUMNS, by date and bottle: payback is net / cost to 4 digits (Decimal).
    """
    shares: dict[str | None, list[Share]] = defaultdict(list)
    for share in allocate(books):
        shares[share.bottle].append(share)
    last = until or books.last
    rows: list[dict[str, Any]] = []
    for name, cost in costs.items():
        points = {books.bottles[name].bought: ZERO}
        points.update((day, nearest(net / cost, _FOUR_DIGITS)) for day, net in net_by_day(shares[name]))
        for day in filter(None, (since, last)):
            # What a bottle had earned by a day stands until the next change.
            before = [earlier for earlier in points if earlier < day]
            if before:
                points.setdefault(day, points[max(before)])
        rows += (
            {"date": day, "bottle": name, "payback": payback}
            for day, payback in points.items()
            if since is None or day >= since
        )
    rows.sort(key=lambda row: (row["date"], row["bottle"]))
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
