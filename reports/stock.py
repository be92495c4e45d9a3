"""What is left: of each bottle, how much of it is promised and how much free; of each supply, for how long.

Reserved is what the owner means to keep (`keep:`) and has not taken yet, and claims that are open. An order still
to be poured is not reserved: it left the bottle in the books when it was sold, so it is in no figure here.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.annotations import POURED_ON, TO_POUR, day_of
from millilot.ledger.claims import Promises
from millilot.ledger.directives import EACH, MILLILITRES
from millilot.ledger.kept import once_per_books
from millilot.ledger.money import minor_unit
from millilot.ledger.records import ACQUIRED, Kind
from millilot.reports import rounding
from millilot.reports.bottles import plain, rounded_bottles, rows_of
from millilot.reports.days import DAYS_A_MONTH
from millilot.reports.measured import measurements

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from millilot.ledger.records import Books, Bottle, Move, Record
    from millilot.reports.bottles import Row
    from millilot.reports.measured import Measured

#: Up to this part of what came in is nearly empty.
LOW = Decimal("0.1")
#: After so many days without a pour, a bottle is a slow mover.
SLOW_AFTER = 180
#: The use of supplies is measured over so many days at most.
USE_OVER = 180

_TENTH = Decimal("0.1")

_POURED = frozenset({Kind.SOLD, Kind.SAMPLED, Kind.KEPT})
_USED = frozenset({Kind.USED, Kind.SOLD, Kind.SAMPLED, Kind.LOST, Kind.KEPT})


@dataclass(frozen=True, slots=True)
class Stock:
    """A bottle of fragrance or a supply; what does not apply to it is None.

    Attributes:
        bottle: the bottle.
        fragrance: the name of what is in it.
        unit: mL for a bottle, each for a supply.
        ml_left: mL the books have left in the bottle.
        measured_ml: mL last measured; orders not yet poured were in it.
        measured_on: the morning of that day.
        reserved: mL to keep and mL claimed.
        free: mL left that are not reserved.
        supply: the name of the supply.
        left: pieces of it left.
        used_per_month: pieces used in a month, at the pace of the last 180 days or less; 1 digit.
        runs_out_on: the day it runs out at that pace.
        stock_value: the cost of what is left, in minor units.
        last_poured: the last day something was poured to be sold, sampled or kept; or the supply was used.
        days_since: days from then, or from the purchase of a bottle never poured, to the day of the report.
        low: whether no more than a tenth is left of the bottle, or of the last pack of the supply.
        slow: whether something is left in a bottle not poured for more than 180 days.
        estimated: whether the cost is not proven.
    """

    bottle: str | None
    fragrance: str | None
    unit: str
    ml_left: Decimal | None
    measured_ml: Decimal | None
    measured_on: datetime.date | None
    reserved: Decimal | None
    free: Decimal | None
    supply: str | None
    left: Decimal | None
    used_per_month: Decimal | None
    runs_out_on: datetime.date | None
    stock_value: Decimal
    last_poured: datetime.date | None
    days_since: int | None
    low: bool
    slow: bool
    estimated: bool


@once_per_books
def stock(books: Books, to: datetime.date | None = None) -> Sequence[Stock]:
    """Return every bottle of fragrance, oldest first, then every supply by name.

    Args:
        books: read up to the day.
        to: the day of the report; the last day of the books unless stated.
    """
    day = to or books.last
    if day is None:
        return ()
    moves: dict[str, list[Move]] = defaultdict(list)
    poured: dict[str, datetime.date] = {}
    for record in books.records:
        poured_on = _poured_on(record, to)
        for move in record.moves:
            moves[move.bottle].append(move)
            if poured_on is not None and move.kind in _POURED and move.quantity < 0:
                poured[move.bottle] = max(poured_on, poured.get(move.bottle, poured_on))
    # The figures of the bottles report, so that a bottle is worth the same wherever it is shown.
    rows = {row["bottle"]: row for row in rows_of(rounded_bottles(books))}
    measured = measurements(books, to)
    claimed = _claimed(books)
    of_bottles = [
        _bottle(
            bottle, rows[name], measured[name], last=poured.get(name), claimed=claimed.get(name, ZERO), day=day,
        )
        for name, bottle in books.fragrances.items()
    ]
    return (*of_bottles, *_supplies(books, moves, day))


def _poured_on(record: Record, to: datetime.date | None) -> datetime.date | None:
    """Return the day on which what a transaction draws was poured, None as long as it is not."""
    if TO_POUR in (record.entry.tags or ()):
        return None
    day = day_of(record.entry, POURED_ON) or record.date
    return day if to is None or day <= to else None


def _claimed(books: Books) -> Mapping[str, Decimal]:
    """Return the mL of each bottle that are claimed and not yet poured."""
    if not books.settings.claims:
        return {}
    promises = Promises(books)
    for claim in sorted(books.settings.claims, key=lambda claim: claim.day):
        promises.advance(claim.day)
        promises.add(claim)
    promises.advance()
    return {name: promises.open(name) for name in books.fragrances}


def _bottle(
    bottle: Bottle, row: Row, measured: Sequence[Measured], *, last: datetime.date | None, claimed: Decimal,
    day: datetime.date,
) -> Stock:
    left: Decimal = row["ml_left"]
    reserved = min(max(bottle.keep - row["ml_kept"], ZERO), left) + claimed
    days = (day - (last or bottle.bought)).days
    return Stock(
        bottle=bottle.name,
        fragrance=bottle.commodity.name,
        unit=MILLILITRES,
        ml_left=left,
        measured_ml=plain(measured[-1].quantity) if measured else None,
        measured_on=measured[-1].day if measured else None,
        reserved=plain(reserved),
        free=plain(max(left - reserved, ZERO)),
        supply=None,
        left=None,
        used_per_month=None,
        runs_out_on=None,
        stock_value=row["stock_value"],
        last_poured=last,
        days_since=days,
        low=left <= LOW * row["ml_bought"],
        slow=left > 0 and days > SLOW_AFTER,
        estimated=bottle.estimated,
    )


def _last(moves: Iterable[Move], kinds: frozenset[Kind]) -> datetime.date | None:
    return max((move.date for move in moves if move.kind in kinds and move.quantity < 0), default=None)


def _supplies(books: Books, moves: Mapping[str, Sequence[Move]], day: datetime.date) -> list[Stock]:
    packs: dict[str, list[Bottle]] = defaultdict(list)
    for bottle in books.bottles.values():
        if not bottle.commodity.is_fragrance:
            packs[bottle.commodity.code].append(bottle)
    of_supplies = [_supply(of_one, moves, day) for of_one in packs.values()]
    of_supplies.sort(key=lambda supply: supply.supply or "")
    values = rounding.shares([supply.stock_value for supply in of_supplies], minor_unit(books.currency))
    return [replace(supply, stock_value=value) for supply, value in zip(of_supplies, values, strict=True)]


def _supply(packs: Sequence[Bottle], moves: Mapping[str, Sequence[Move]], day: datetime.date) -> Stock:
    """Return what is left of all packs of a supply, its value not yet rounded."""
    own = [move for pack in packs for move in moves[pack.name]]
    left = sum((move.quantity for move in own), ZERO)
    last_pack = sum((move.quantity for move in moves[packs[-1].name] if move.kind in ACQUIRED), ZERO)
    last = _last(own, _USED)
    daily = _daily_use(own, day)
    return Stock(
        bottle=None,
        fragrance=None,
        unit=EACH,
        ml_left=None,
        measured_ml=None,
        measured_on=None,
        reserved=None,
        free=None,
        supply=packs[0].commodity.name,
        left=plain(left),
        used_per_month=None if daily is None else rounding.nearest(daily * DAYS_A_MONTH, _TENTH),
        runs_out_on=_after(day, left / daily) if daily and left > 0 else None,
        stock_value=sum((move.cost for move in own), ZERO),
        last_poured=last,
        days_since=None if last is None else (day - last).days,
        low=left <= LOW * last_pack,
        slow=False,
        estimated=any(pack.estimated for pack in packs),
    )


def _daily_use(moves: Iterable[Move], day: datetime.date) -> Decimal | None:
    """Return the pieces used a day since the first use or over the last 180 days; None before any use."""
    used = [move for move in moves if move.kind in _USED]
    first = min((move.date for move in used), default=None)
    if first is None:
        return None
    days = min((day - first).days + 1, USE_OVER)
    start = day - datetime.timedelta(days=days)
    return -sum((move.quantity for move in used if move.date > start), ZERO) / days


def _after(day: datetime.date, days: Decimal) -> datetime.date | None:
    """Return the day that is so many days later; None when the calendar ends before it."""
    try:
        return day + datetime.timedelta(days=int(days))
    except OverflowError:
        return None
