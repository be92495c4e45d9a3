"""How a cost came about, line by line: of an order, of a bottle, or of all bottles of a batch.

Every step says in which file and line it is written. An order shows what it took out of which bottle, what was
used to pack it, and the money in and out as it is shared by its bottles; its steps add up to its net and its
profit. A bottle shows what it cost, every movement with what was left after it, and every order poured from it, so
that buyers can be told if something is wrong with a batch.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import groupby
from typing import TYPE_CHECKING, Any

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.annotations import ORDER
from millilot.ledger.money import minor_unit
from millilot.ledger.records import ACQUIRED, Kind, Money, Move
from millilot.plugins.landed_cost import BEFORE_INBOUND
from millilot.reports import rounding
from millilot.reports.allocation import SIGN_IN_NET, Share, allocate
from millilot.reports.bottles import plain
from millilot.reports.check import place
from millilot.reports.measured import arrival
from millilot.reports.names import UnknownNameError, near

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from millilot.ledger.records import Books, Bottle, Record

_FOUR_DIGITS = Decimal("0.0001")

#: What left a bottle for an order and bears on its profit.
_SPENT = frozenset({Kind.SOLD, Kind.POUR_LOSS, Kind.SAMPLED, Kind.LOST, Kind.USED})
#: What went to somebody who could be told of a faulty batch.
_HANDED_OUT = frozenset({Kind.SOLD, Kind.SAMPLED, Kind.LOST})


@dataclass(frozen=True, slots=True)
class Step:
    """One line of a trace.

    Attributes:
        part: of an order: money, supplies, goods, other, result; of a bottle: cost, movements, orders.
        date: the day; None for a result.
        what: what happened.
        bottle: the bottle or the pack of supplies.
        order: the order, without the caret.
        quantity: mL or pieces; of a bottle, positive when they came in.
        cost_per_unit: cost per mL or piece, 4 digits.
        amount: in minor units of the operating currency; what an order earned is positive and what it cost
            negative, what came into a bottle positive and what left it negative.
        left: what was left in the bottle after it.
        place: the file and line.
    """

    part: str
    date: datetime.date | None
    what: str
    bottle: str | None = None
    order: str | None = None
    quantity: Decimal | None = None
    cost_per_unit: Decimal | None = None
    amount: Decimal | None = None
    left: Decimal | None = None
    place: str | None = None


def trace(books: Books, name: str) -> list[Step]:
    """Return the steps of an order, of a bottle, or of each bottle of a batch.

    Args:
        books: the books.
        name: an order's link, with or without its caret and its `order-`; or a bottle, or a batch code.

    Raises:
        UnknownNameError: nothing has this name; the message names the nearest.
    """
    orders = {record.order for record in books.records if record.order is not None}
    for order in (name.removeprefix("^"), f"{ORDER}{name}"):
        if order in orders:
            return _order(books, order)
    if name in books.bottles:
        return trace_bottle(books, books.bottles[name])
    of_batch = [bottle for bottle in books.bottles.values() if bottle.batch and bottle.batch == name]
    if of_batch:
        return [step for bottle in of_batch for step in trace_bottle(books, bottle)]
    raise UnknownNameError(_unknown(books, name, orders))


def _unknown(books: Books, name: str, orders: Iterable[str]) -> str:
    known = {order.removeprefix(ORDER) for order in orders} | set(books.bottles)
    known |= {bottle.batch for bottle in books.bottles.values() if bottle.batch}
    return f"There is no order, bottle or batch {name!r}.{near(name.removeprefix('^').removeprefix(ORDER), known)}"


# -- an order


def _order(books: Books, order: str) -> list[Step]:
    records = [record for record in books.records if record.order == order]
    steps = [*_money(books, records), *_taken(books, records)]
    unit = minor_unit(books.currency)
    rounded: list[Step] = []
    for _, group in groupby(steps, key=lambda step: step.part if step.part != "money" else step.place):
        rounded += _rounded(list(group), unit)
    net = sum((step.amount or ZERO for step in rounded if step.part in {"money", "supplies"}), ZERO)
    profit = net + sum((step.amount or ZERO for step in rounded if step.part == "goods"), ZERO)
    results = [Step("result", None, "net", amount=net), Step("result", None, "profit", amount=profit)]
    return [replace(step, order=order) for step in (*rounded, *results)]


def _money(books: Books, records: Iterable[Record]) -> Iterator[Step]:
    """Yield the money of an order, each amount as it is shared by bottles."""
    own = {id(record.entry) for record in records}
    for share in allocate(books):
        if id(share.entry) in own and share.column in SIGN_IN_NET and isinstance(share.of, Money):
            yield Step(
                "money",
                share.date,
                share.column.replace("_", " "),
                share.bottle,
                quantity=_poured(share),
                amount=SIGN_IN_NET[share.column] * share.amount,
                place=place(share.of.meta),
            )


def _poured(share: Share) -> Decimal | None:
    """Return the mL that the price of a line is for, as far as they came from the bottle of a share."""
    line = share.of.line if isinstance(share.of, Money) else None
    if line is None:
        return None
    return plain(sum((quantity for bottle, quantity in line.parts if bottle == share.bottle), ZERO))


def _taken(books: Books, records: Sequence[Record]) -> Iterator[Step]:
    """Yield what an order took out of packs of supplies, then what it took out of bottles."""
    own = {id(record.entry) for record in records}
    in_net: dict[int, Decimal] = defaultdict(Decimal)
    for share in allocate(books):
        if id(share.entry) in own and share.column in SIGN_IN_NET and isinstance(share.of, Move):
            in_net[id(share.of)] += SIGN_IN_NET[share.column] * share.amount
    moves = [move for record in records for move in record.moves]
    supplies = [move for move in moves if id(move) in in_net]
    goods = [move for move in moves if move.bottle in books.fragrances and move.kind in _SPENT]
    counted = set(map(id, (*supplies, *goods)))
    other = [move for move in moves if id(move) not in counted]
    for part, of_part in (("supplies", supplies), ("goods", goods), ("other", other)):
        for move in of_part:
            yield Step(
                part,
                move.date,
                _what(books, move),
                move.bottle,
                quantity=plain(-move.quantity),
                cost_per_unit=_per_unit(move.cost, move.quantity),
                amount=in_net.get(id(move), move.cost),
                place=place(move.meta),
            )


def _what(books: Books, move: Move) -> str:
    """Return what happened to a bottle, or the name of a supply."""
    commodity = books.bottles[move.bottle].commodity
    return _how(move) if commodity.is_fragrance else commodity.name


def _how(move: Move) -> str:
    """Return what happened to a lot."""
    if move.kind in _HANDED_OUT and move.quantity > 0:
        return "came back"
    if move.kind in {Kind.SOLD, Kind.USED} and not move.quantity:
        return "late, of what is gone"
    return str(move.kind)


def _per_unit(cost: Decimal, quantity: Decimal) -> Decimal | None:
    return rounding.nearest(cost / quantity, _FOUR_DIGITS) if quantity else None


def _rounded(steps: Sequence[Step], unit: Decimal) -> list[Step]:
    """Round the amounts of steps so that they add up to their rounded total."""
    amounts = rounding.shares([step.amount or ZERO for step in steps], unit)
    return [replace(step, amount=amount) for step, amount in zip(steps, amounts, strict=True)]


# -- a bottle


def trace_bottle(books: Books, bottle: Bottle) -> list[Step]:
    """Return what a bottle cost, every movement of it, and the orders poured from it."""
    moves = [
        (record, move) for record in books.records for move in record.moves if move.bottle == bottle.name
    ]
    # Of one day, what comes in is first, as it is booked.
    moves.sort(key=lambda item: (item[1].date, item[0].entry is not bottle.source))
    unit = minor_unit(books.currency)
    own = [move for _, move in moves]
    return [
        *_rounded(list(_cost(books, bottle, own)), unit),
        _in_all(bottle, own, unit),
        *_rounded(list(_movements(bottle, moves)), unit),
        *_orders(bottle, moves),
    ]


def _cost(books: Books, bottle: Bottle, moves: Sequence[Move]) -> Iterator[Step]:
    """Yield what a bottle cost: as written, its share of inbound, and what came later or went back."""
    posting = arrival(bottle)
    meta: Mapping[str, Any] = posting.meta or {}
    before = meta.get(BEFORE_INBOUND)
    for move in moves:
        if move.kind not in ACQUIRED:
            continue
        is_arrival = move.meta is posting.meta and move.quantity > 0
        written = before.number * move.quantity if is_arrival and before is not None else move.cost
        yield _of_bottle("cost", bottle, move, amount=written)
        if written != move.cost:
            yield Step(
                "cost", move.date, "inbound share", bottle.name,
                amount=move.cost - written, place=_place_of_inbound(books, bottle),
            )


def _in_all(bottle: Bottle, moves: Iterable[Move], unit: Decimal) -> Step:
    """Return what a bottle cost in all, and per mL."""
    came = [move for move in moves if move.kind in ACQUIRED]
    quantity, cost = sum((move.quantity for move in came), ZERO), sum((move.cost for move in came), ZERO)
    return Step(
        "cost", None, "in all", bottle.name,
        quantity=plain(quantity), cost_per_unit=_per_unit(cost, quantity), amount=rounding.nearest(cost, unit),
    )


def _place_of_inbound(books: Books, bottle: Bottle) -> str:
    """Return where the inbound costs of a purchase are written."""
    roles = books.settings.roles.on(bottle.bought)
    written = (posting for posting in bottle.source.postings if roles.role(posting.account) is Role.INBOUND)
    first = next(written, None)
    return place(first.meta if first is not None else bottle.source.meta)


def _movements(bottle: Bottle, moves: Iterable[tuple[Record, Move]]) -> Iterator[Step]:
    left = ZERO
    for record, move in moves:
        left += move.quantity
        yield replace(_of_bottle("movements", bottle, move), order=record.order, left=plain(left))


def _of_bottle(part: str, bottle: Bottle, move: Move, amount: Decimal | None = None) -> Step:
    amount = move.cost if amount is None else amount
    return Step(
        part,
        move.date,
        _how(move),
        bottle.name,
        quantity=plain(move.quantity),
        cost_per_unit=_per_unit(amount, move.quantity),
        amount=amount,
        place=place(move.meta),
    )


def _orders(bottle: Bottle, moves: Iterable[tuple[Record, Move]]) -> Iterator[Step]:
    """Yield each order poured from a bottle with the mL still out; what names no order stands by itself."""
    by_order: dict[object, list[tuple[Record, Move]]] = defaultdict(list)
    for record, move in moves:
        if move.kind in _HANDED_OUT and move.quantity and (record.order or move.kind is not Kind.LOST):
            by_order[record.order or id(record.entry)].append((record, move))
    for of_order in by_order.values():
        record, first = of_order[0]
        out = -sum((move.quantity for _, move in of_order), ZERO)
        yield Step(
            "orders",
            first.date,
            first.kind if out else "came back",
            bottle.name,
            record.order,
            quantity=plain(out),
            place=place(first.meta),
        )
