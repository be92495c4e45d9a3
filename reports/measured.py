"""What was measured of each bottle, by volume or by weight, and when."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, cast

from millilot.ledger.directives import Weighing
from millilot.plugins.stocktake import by_weight

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping
    from decimal import Decimal

    from beancount.core.amount import Amount
    from beancount.core.data import Custom, Posting

    from millilot.ledger.directives import Stocktake
    from millilot.ledger.records import Books, Bottle


class Measured(NamedTuple):
    """A stocktake or a weighing, in millilitres.

    Attributes:
        day: the morning it was taken.
        quantity: mL.
        entry: the directive.
    """

    day: datetime.date
    quantity: Decimal
    entry: Custom


def arrival(bottle: Bottle) -> Posting:
    """Return the posting that brought a bottle."""
    return next(
        posting
        for posting in bottle.source.postings
        if posting.cost is not None and posting.cost.label == bottle.name
    )


def measurements(books: Books, to: datetime.date | None = None) -> Mapping[str, list[Measured]]:
    """Return the measurements of each bottle of fragrance, oldest first.

    Args:
        books: the books.
        to: leave out what was measured after this day.
    """
    found: dict[str, list[Measured]] = {name: [] for name in books.fragrances}
    counts: list[Stocktake | Weighing] = [*books.settings.stocktakes, *books.settings.weighings]
    for count in sorted(counts, key=lambda count: count.day):
        bottle = books.fragrances.get(count.bottle)
        if bottle is None or (to is not None and count.day > to):
            continue
        quantity = _millilitres(bottle, count)
        if quantity is not None:
            found[bottle.name].append(Measured(count.day, quantity, count.entry))
    return found


def _millilitres(bottle: Bottle, count: Stocktake | Weighing) -> Decimal | None:
    """Return what was measured in mL, or None for what the plugin has refused."""
    if not isinstance(count, Weighing):
        return count.quantity if count.commodity == bottle.commodity.code else None
    posting = arrival(bottle)
    bought = cast("Decimal", cast("Amount", posting.units).number)
    reading = by_weight(bottle.name, count.grams, posting.meta or {}, bought, bottle.commodity)
    return None if isinstance(reading, str) else reading.quantity
