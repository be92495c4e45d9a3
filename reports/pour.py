"""What waits to be poured, by the bottle it comes from, and whether bottles and vials will do.

An order waits while it is tagged `#to-pour`. Its mL have left the bottle in the books, as its kits have left the
supplies, but they are still there: a bottle holds what the books have left and all that waits. Where it was
measured, that day's figure and what was poured since then say better what it holds.

An order that was called off, or whose price went back in full, is not poured any more.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import CANCELLED, ORDERED, POURED_ON, TO_POUR, day_of
from millilot.ledger.records import Kind
from millilot.reports import rounding
from millilot.reports.bottles import plain
from millilot.reports.check import place
from millilot.reports.measured import measurements
from millilot.reports.vials import Vials, in_all, vials_of, without

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from millilot.ledger.records import Books, Bottle, Record
    from millilot.reports.measured import Measured

_PRICED = frozenset({Role.SALES, Role.SWAPS, Role.UNSORTED})

#: 10 mL in 3 vials have no end.
_THOUSANDTH = Decimal("0.001")


@dataclass(frozen=True, slots=True)
class Pour:
    """What an order wants of a bottle.

    Attributes:
        order: its link without the caret, or None.
        what: its narration.
        ordered: the day it was ordered.
        days: how long it has waited on the day of the report.
        bottle: the bottle.
        fragrance: the name of what is in it.
        vials: what is poured; their parts from other bottles are among them.
        ml: mL of this bottle, without loss.
        loss: mL lost in the pour, as the books expect.
        short: whether the bottle will not do for it once older orders are poured.
        place: the file and line.
    """

    order: str | None
    what: str
    ordered: datetime.date
    days: int
    bottle: str
    fragrance: str
    vials: tuple[Vials, ...]
    ml: Decimal
    loss: Decimal
    short: bool
    place: str


@dataclass(frozen=True, slots=True)
class BottlePours:
    """A bottle and all that waits for it, the oldest order first.

    Attributes:
        bottle: its name.
        fragrance: the name of what is in it.
        pours: what waits.
        vials: the same by size.
        ml: mL to pour, loss included.
        held: mL in the bottle before anything of it is poured.
        after: mL left once all is poured; below nought when it runs short.
        measured_ml: what was last measured, if anything.
        measured_on: on the morning of that day.
    """

    bottle: str
    fragrance: str
    pours: tuple[Pour, ...]
    vials: tuple[Vials, ...]
    ml: Decimal
    held: Decimal
    after: Decimal
    measured_ml: Decimal | None
    measured_on: datetime.date | None


@dataclass(frozen=True, slots=True)
class Stuck:
    """An order that waits and that no bottle in the books is to give.

    Attributes:
        order: its link without the caret, or None.
        what: its narration.
        ordered: the day it was ordered.
        days: how long it has waited on the day of the report.
        why: not sorted, no bottle, or called off.
        place: the file and line.
    """

    order: str | None
    what: str
    ordered: datetime.date
    days: int
    why: str
    place: str


@dataclass(frozen=True, slots=True)
class Supply:
    """What the vials of waiting orders take of a supply.

    Attributes:
        supply: its name.
        needed: pieces the vials take.
        held: pieces that are there: what the books have left, and what they took for these orders.
        short: how many are missing.
    """

    supply: str
    needed: Decimal
    held: Decimal
    short: Decimal


@dataclass(frozen=True, slots=True)
class ToPour:
    """All that waits.

    Attributes:
        bottles: by the oldest order that waits for each.
        stuck: orders that are not sorted, or that the books could give no bottle.
        called_off: orders that are still tagged and need not be poured.
        supplies: what the vials take, by name.
    """

    bottles: tuple[BottlePours, ...]
    stuck: tuple[Stuck, ...]
    called_off: tuple[Stuck, ...]
    supplies: tuple[Supply, ...]


@dataclass(slots=True, eq=False)
class _Order:
    """An order with all its transactions; those that wait and what they pour."""

    name: str | None
    records: list[Record] = field(default_factory=list)
    waiting: list[Record] = field(default_factory=list)
    vials: list[Vials] = field(default_factory=list)

    @property
    def ordered(self) -> datetime.date:
        return min(day_of(record.entry, ORDERED) or record.date for record in self.waiting)

    @property
    def age(self) -> tuple[datetime.date, str, str]:
        """A sort key: the oldest first."""
        first = self.waiting[0].entry
        return self.ordered, self.name or "", place(first.meta)


def waits(record: Record, day: datetime.date | None = None) -> bool:
    """Whether a transaction is still to be poured, or was at the end of a day."""
    if TO_POUR in (record.entry.tags or ()):
        return True
    poured = record.entry.meta.get(POURED_ON)
    return day is not None and isinstance(poured, datetime.date) and poured > day


def to_pour(books: Books, day: datetime.date | None = None) -> ToPour:
    """Return what waits to be poured.

    Args:
        books: read up to the day.
        day: the day of the report, at the end of which it waits; what waits now, seen from the last day of the
            books, unless stated.
    """
    orders = sorted(_orders(books, day), key=lambda order: order.age)
    day = day or books.last or datetime.date.min
    called_off = [order for order in orders if _is_called_off(order, books)]
    active = [order for order in orders if order not in called_off]
    return ToPour(
        bottles=tuple(_bottles(books, active, orders, day)),
        stuck=tuple(
            _stuck(order, day, why) for order in active for why in [_why_stuck(order)] if why
        ),
        called_off=tuple(_stuck(order, day, "called off") for order in called_off),
        supplies=tuple(_supplies(books, active)),
    )


def _orders(books: Books, day: datetime.date | None) -> Iterator[_Order]:
    """Yield the orders of which something waits now, or did at the end of a day."""
    orders: dict[object, _Order] = {}
    for record in books.records:
        order = orders.setdefault(record.order or id(record.entry), _Order(record.order))
        order.records.append(record)
        if waits(record, day):
            order.waiting.append(record)
    for order in orders.values():
        if order.waiting:
            order.vials = _still_to_pour(order, books)
            yield order


def _is_called_off(order: _Order, books: Books) -> bool:
    """Whether an order was called off, or all its goods or its whole price went back before it was poured."""
    if not order.vials and any(vials_of(record, books) for record in order.waiting):
        return True
    if any(CANCELLED in (record.entry.tags or ()) for record in order.records):
        return True
    money = [money for record in order.records for money in record.money]
    price = -sum((each.amount for each in money if each.role in _PRICED), ZERO)
    refunded = sum((each.amount for each in money if each.role is Role.REFUNDS), ZERO)
    return refunded >= price > 0


def _still_to_pour(order: _Order, books: Books) -> list[Vials]:
    """Return the vials of an order that wait, without those whose goods came back to the bottle."""
    vials = [each for record in order.waiting for each in vials_of(record, books)]
    for record in order.records:
        for move in record.moves:
            if move.kind is Kind.SOLD and move.quantity > 0 and move.bottle in books.fragrances:
                vials = without(vials, move.bottle, move.quantity)
    return vials


def _loss(order: _Order, bottle: str, books: Books) -> Decimal:
    """Return the mL of a bottle that an order loses in the pour, as far as it is still to be poured."""
    lost = -sum(
        (
            move.quantity
            for record in order.waiting
            for move in record.moves
            if move.kind is Kind.POUR_LOSS and move.bottle == bottle
        ),
        ZERO,
    )
    sold = sum((each.number for record in order.waiting for each in vials_of(record, books) if each.of(bottle)), 0)
    left = sum(each.number for each in order.vials if each.of(bottle))
    return lost * left / sold if sold else lost


def _bottles(
    books: Books, active: Sequence[_Order], orders: Sequence[_Order], day: datetime.date,
) -> Iterator[BottlePours]:
    """Yield the bottles that something waits for, by the oldest order.

    Args:
        books: the books.
        active: the orders that are poured.
        orders: those too that were called off, whose mL have not left the bottle either.
        day: the day of the report.
    """
    wanted: dict[str, list[_Order]] = defaultdict(list)
    for order in active:
        for name in dict.fromkeys(name for vials in order.vials for name, _ in vials.parts):
            wanted[name].append(order)
    waiting = {id(record) for order in orders for record in order.records if _is_inside(record, order)}
    measured = measurements(books, day)
    for name, of_bottle in wanted.items():
        bottle = books.fragrances[name]
        last = measured[name][-1] if measured[name] else None
        held = left = _held(books, name, waiting, last)
        pours = []
        for order in of_bottle:
            ml = sum((vials.of(name) for vials in order.vials), ZERO)
            loss = _loss(order, name, books)
            left -= ml + loss
            pours.append(_pour(order, bottle, ml, loss, day=day, short=left < -goods.EXACT))
        yield BottlePours(
            bottle=name,
            fragrance=bottle.commodity.name,
            pours=tuple(pours),
            vials=tuple(in_all(vials for pour in pours for vials in pour.vials)),
            ml=_shown(held - left),
            held=_shown(held),
            after=_shown(left),
            measured_ml=plain(last.quantity) if last else None,
            measured_on=last.day if last else None,
        )


def _shown(ml: Decimal) -> Decimal:
    return plain(rounding.nearest(ml, _THOUSANDTH))


def _is_inside(record: Record, order: _Order) -> bool:
    """Whether what a transaction moved has not left its bottle: it waits, or it brings back what waits."""
    if any(record is each for each in order.waiting):
        return True
    return any(move.kind is Kind.SOLD and move.quantity > 0 for move in record.moves)


def _held(books: Books, bottle: str, waiting: Iterable[int], last: Measured | None) -> Decimal:
    """Return the mL that are in a bottle: measured, less what went since then; else all that did not go yet."""
    held = last.quantity if last else ZERO
    for record in books.records:
        if id(record) in waiting:
            continue
        gone = record.entry.meta.get(POURED_ON)
        went = max(gone, record.date) if isinstance(gone, datetime.date) else record.date
        if last is None or went >= last.day:
            held += sum((move.quantity for move in record.moves if move.bottle == bottle), ZERO)
    return held


def _pour(
    order: _Order, bottle: Bottle, ml: Decimal, loss: Decimal, *, day: datetime.date, short: bool,
) -> Pour:
    entry = order.waiting[0].entry
    return Pour(
        order=order.name,
        what=entry.narration or "",
        ordered=order.ordered,
        days=max((day - order.ordered).days, 0),
        bottle=bottle.name,
        fragrance=bottle.commodity.name,
        vials=tuple(vials for vials in order.vials if vials.of(bottle.name)),
        ml=_shown(ml),
        loss=_shown(loss),
        short=short,
        place=place(entry.meta),
    )


def _why_stuck(order: _Order) -> str | None:
    """Return why nothing, or not all, of an order can be poured from a bottle."""
    money = [money for record in order.waiting for money in record.money]
    if any(each.role is Role.UNSORTED and each.amount for each in money):
        return "not sorted"
    if any(each.refused for each in money):
        return "no bottle"
    return None if order.vials else "no goods"


def _stuck(order: _Order, day: datetime.date, why: str) -> Stuck:
    entry = order.waiting[0].entry
    days = max((day - order.ordered).days, 0)
    return Stuck(order.name, entry.narration or "", order.ordered, days, why, place(entry.meta))


def _supplies(books: Books, orders: Iterable[_Order]) -> Iterator[Supply]:
    """Yield what the vials of orders take by the kits of their days, and whether it is there."""
    needed: dict[str, Decimal] = defaultdict(Decimal)
    held: dict[str, Decimal] = defaultdict(Decimal)
    for order in orders:
        day = order.waiting[0].date
        for vials in order.vials:
            kit = books.settings.kit(vials.ml, day) if vials.number and vials.kind is Kind.SOLD else None
            for quantity, commodity in kit.supplies if kit else ():
                needed[commodity] += quantity * vials.number
        for record in order.waiting:
            for move in record.moves:
                if move.kind is Kind.USED and move.to is Role.SUPPLIES_USED:
                    held[books.bottles[move.bottle].commodity.code] -= move.quantity
    for record in books.records:
        for move in record.moves:
            held[books.bottles[move.bottle].commodity.code] += move.quantity
    names: Mapping[str, str] = {code: books.settings.commodities[code].name for code in needed}
    for code in sorted(needed, key=lambda code: names[code]):
        short = max(needed[code] - held[code], ZERO)
        yield Supply(names[code], plain(needed[code]), plain(held[code]), plain(short))
