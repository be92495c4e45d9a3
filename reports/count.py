"""A count sheet: the bottles to measure, those longest unmeasured first, with a blank for what is found."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.reports.bottles import plain
from millilot.reports.measured import measurements

if TYPE_CHECKING:
    import datetime

    from millilot.ledger.records import Books


@dataclass(frozen=True, slots=True)
class Line:
    """A bottle to measure.

    Attributes:
        bottle: its name.
        fragrance: the name of what is in it.
        batch: the maker's batch code, None when there is none.
        tare: g of the empty bottle, None when it is not known.
        last_ml: mL last measured, None when it never was.
        last_on: the morning of that day.
        found: left blank, to fill in.
    """

    bottle: str
    fragrance: str
    batch: str | None
    tare: Decimal | None
    last_ml: Decimal | None
    last_on: datetime.date | None
    found: None = None


def count_sheet(books: Books, to: datetime.date | None = None) -> list[Line]:
    """Return the bottles that have something left, in the order in which to measure them.

    What the books expect is left out, so that it does not guide the eye.

    Args:
        books: read up to the day.
        to: leave out what was measured after this day.
    """
    left: dict[str, Decimal] = defaultdict(Decimal)
    for record in books.records:
        for move in record.moves:
            left[move.bottle] += move.quantity
    measured = measurements(books, to)
    lines = []
    for name, bottle in books.fragrances.items():
        if left[name] > ZERO:
            last = measured[name][-1] if measured[name] else None
            lines.append(
                Line(
                    bottle=name,
                    fragrance=bottle.commodity.name,
                    batch=bottle.batch or None,
                    tare=bottle.tare,
                    last_ml=plain(last.quantity) if last else None,
                    last_on=last.day if last else None,
                ),
            )
    # Never measured comes first; among equals, the order of purchase stays.
    return sorted(lines, key=lambda line: (line.last_on is not None, line.last_on or 0))
