"""What stands behind a year's costs that no receipt proves: bottles owned before, and estimates."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from millilot.ledger.money import minor_unit
from millilot.ledger.records import ACQUIRED, Kind
from millilot.reports.bottles import plain
from millilot.reports.rounding import nearest

if TYPE_CHECKING:
    import datetime

    from millilot.ledger.records import Books

COLUMNS = ("bottle", "fragrance", "bought", "ml", "cost", "paid", "market_value", "estimated")


def contributed(books: Books, start: datetime.date, end: datetime.date) -> list[dict[str, Any]]:
    """Return the bottles owned before selling began, and those whose cost is an estimate, that came in a range.

    Args:
        books: books read up to the last day or later.
        start: the first day.
        end: the last day, itself included.

    Returns:
        A row with COLUMNS for each, in order of date: what was paid and what it was worth when selling began are
        None where the books do not say; money in minor units of the operating currency.
    """
    unit = minor_unit(books.currency)
    rows = []
    for record in books.records:
        if not start <= record.date <= end:
            continue
        for move in record.moves:
            bottle = books.bottles[move.bottle]
            arrives = move.kind in ACQUIRED and move.quantity > 0 and bottle.source is record.entry
            if arrives and (move.kind is Kind.CONTRIBUTED or bottle.estimated):
                rows.append(
                    {
                        "bottle": bottle.name,
                        "fragrance": bottle.commodity.name,
                        "bought": bottle.bought,
                        "ml": plain(move.quantity),
                        "cost": nearest(move.cost, unit),
                        "paid": bottle.paid,
                        "market_value": bottle.market_value,
                        "estimated": bottle.estimated,
                    },
                )
    return rows
