"""What left without a sale: losses, swaps, samples, own use and gifts."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import zip_longest
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.money import weight
from millilot.ledger.records import Kind
from millilot.reports import rounding
from millilot.reports.bottles import GIVEN, plain
from millilot.reports.pack.table import Column, Holds, Row, Table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterator, Sequence
    from decimal import Decimal

    from millilot.ledger.records import Move, Record
    from millilot.reports.pack.span import Span
    from millilot.reports.pack.table import Value

_IN_GOODS = {Kind.POUR_LOSS: "stayed in the syringe", Kind.SHRINKAGE: "missing when counted"}


def losses(span: Span) -> Table:
    """Return all that was lost: on the loss account one by one, in cost of goods by bottle."""
    rows = sorted([*_lost(span), *_compensated(span)], key=lambda row: row[0])
    return Table(
        "Losses",
        f"Losses, {span.name}",
        (
            Column("date", "Date", Holds.DATE),
            Column("what", "What"),
            Column("bottle", "Bottle"),
            Column("fragrance", "Fragrance"),
            Column("order", "Order"),
            Column("ml", "mL", Holds.QUANTITY, total=True),
            Column("losses", "Losses, at cost", Holds.MONEY, total=True),
            Column("in_cost_of_goods", "In cost of goods", Holds.MONEY, total=True),
            Column("compensation", "Compensation", Holds.MONEY, total=True),
        ),
        (*(Row({"date": day, **cells}) for day, cells in rows), *map(Row, _lost_in_goods(span))),
        "A lost parcel that was refunded stays sold: its goods are in cost of goods and its refund in refunds. "
        "One that was poured again is a loss. What stayed in the syringe, and what was missing when counted, is "
        "in cost of goods.",
    )


def _lost(span: Span) -> Iterator[tuple[datetime.date, dict[str, Value]]]:
    """Yield what went to the loss account, each with its day; the costs add up to the year's line."""
    fragrances = span.closing.fragrances
    found = [
        (record, move)
        for record in span.records
        for move in record.moves
        if move.kind is Kind.LOST and move.bottle in fragrances
    ]
    costs = rounding.shares_of([-move.cost for _, move in found], span.year.losses, span.unit)
    for (record, move), cost in zip(found, costs, strict=True):
        yield record.date, {
            "what": "poured again" if record.order is not None else record.entry.narration or "lost",
            "bottle": move.bottle,
            "fragrance": fragrances[move.bottle].commodity.name,
            "order": record.order,
            "ml": plain(-move.quantity),
            "losses": cost,
        }


def _compensated(span: Span) -> Iterator[tuple[datetime.date, dict[str, Value]]]:
    for record in span.records:
        compensation = -sum((money.amount for money in record.money if money.role is Role.COMPENSATION), ZERO)
        if compensation:
            amount = rounding.nearest(compensation, span.unit)
            yield record.date, {"what": "compensation", "order": record.order, "compensation": amount}


def _lost_in_goods(span: Span) -> list[dict[str, Value]]:
    """Return what stayed in the syringe and what was missing, by bottle."""
    fragrances = span.closing.fragrances
    moves: dict[tuple[str, Kind], list[Move]] = defaultdict(list)
    for record in span.records:
        for move in record.moves:
            if move.kind in _IN_GOODS and move.bottle in fragrances:
                moves[move.bottle, move.kind].append(move)
    groups = [(bottle, kind) for bottle in fragrances for kind in _IN_GOODS if (bottle, kind) in moves]
    costs = rounding.shares([-sum((move.cost for move in moves[group]), ZERO) for group in groups], span.unit)
    return [
        {
            "what": _IN_GOODS[kind],
            "bottle": bottle,
            "fragrance": fragrances[bottle].commodity.name,
            "ml": plain(-sum((move.quantity for move in moves[bottle, kind]), ZERO)),
            "in_cost_of_goods": cost,
        }
        for (bottle, kind), cost in zip(groups, costs, strict=True)
    ]


@dataclass(slots=True)
class _Exchange:
    """What left and what came in with one line of the table; exact amounts."""

    record: Record
    what: str
    gone: Move | None = None
    came: Move | None = None
    value_out: Decimal | None = None
    cash: Decimal | None = None


#: What a move is called that is neither bought nor sold.
_WORDS = {
    **dict.fromkeys(GIVEN, "sample"),
    Kind.KEPT: "kept or given away",
    Kind.CONTRIBUTED: "owned before",
}
_SWAP, _GIFT = "swap", "gift received"

#: The year's lines that the cost of what was given adds up to.
_LINE_OF = {"sample": "samples", "kept or given away": "personal_use"}


def swaps_and_gifts(span: Span) -> Table:
    """Return what left or came in without being sold or bought."""
    found = [exchange for record in span.records for exchange in _exchanges(span, record)]
    costs = _costs_out(span, found)
    rows = []
    for place, each in enumerate(found):
        cells: dict[str, Value] = {"date": each.record.date, "what": each.what, "order": each.record.order}
        if each.gone is not None:
            cells |= {"bottle_out": each.gone.bottle, "ml_out": plain(-each.gone.quantity)}
            cells["cost_out"] = costs[place]
        if each.came is not None:
            cost = rounding.nearest(each.came.cost, span.unit)
            cells |= {"bottle_in": each.came.bottle, "ml_in": plain(each.came.quantity), "value_in": cost}
        for name, amount in (("value_out", each.value_out), ("cash", each.cash)):
            if amount is not None:
                cells[name] = rounding.nearest(amount, span.unit)
        rows.append(Row(cells))
    return Table(
        "Swaps and gifts",
        f"Swaps, samples, own use and gifts, {span.name}",
        (
            Column("date", "Date", Holds.DATE),
            Column("what", "What"),
            Column("order", "With order"),
            Column("bottle_out", "Given"),
            Column("ml_out", "mL given", Holds.QUANTITY, total=True),
            Column("cost_out", "Its cost", Holds.MONEY, total=True),
            Column("value_out", "Its value", Holds.MONEY, total=True),
            Column("bottle_in", "Received"),
            Column("ml_in", "mL received", Holds.QUANTITY, total=True),
            Column("value_in", "Its value", Holds.MONEY, total=True),
            Column("cash", "Cash received", Holds.MONEY, total=True),
        ),
        tuple(rows),
        "A swap is income at the value of what was given; what came in is a purchase at its value. Samples are an "
        "expense at cost. What was kept or given away privately is drawn by the owner at cost.",
    )


def _exchanges(span: Span, record: Record) -> Iterator[_Exchange]:
    moves = [move for move in record.moves if move.bottle in span.closing.fragrances]
    came = [move for move in moves if move.kind is Kind.SWAPPED_IN]
    value = [-money.amount for money in record.money if money.role is Role.SWAPS]
    if came or value:
        gone = [move for move in moves if move.kind is Kind.SOLD]
        sides = [*zip_longest(gone, came)] or [(None, None)]
        lines = [_Exchange(record, _SWAP, *pair) for pair in sides]
        lines[0].value_out, lines[0].cash = sum(value, ZERO), _cash(span, record)
        yield from lines
    for move in moves:
        gift = move.kind is Kind.BOUGHT and move.quantity > 0 and not move.cost
        what = _GIFT if gift else _WORDS.get(move.kind)
        if what is not None:
            # Goods given back are a row with the sign turned.
            leaves = not (gift or move.kind is Kind.CONTRIBUTED)
            yield _Exchange(record, what, gone=move) if leaves else _Exchange(record, what, came=move)


def _costs_out(span: Span, found: Sequence[_Exchange]) -> dict[int, Decimal]:
    """Round the cost of what was given so that samples and own use add up to the year's lines."""
    costs: dict[int, Decimal] = {}
    for what in (_SWAP, *_LINE_OF):
        places = [place for place, each in enumerate(found) if each.what == what and each.gone is not None]
        exact = [-gone.cost for place in places if (gone := found[place].gone) is not None]
        line = _LINE_OF.get(what)
        total = getattr(span.year, line) if line else rounding.nearest(sum(exact, ZERO), span.unit)
        costs |= zip(places, rounding.shares_of(exact, total, span.unit), strict=True)
    return costs


def _cash(span: Span, record: Record) -> Decimal:
    """Return the money that changed hands, positive when it was received; delivery is not part of it."""
    roles = span.closing.settings.roles.on(record.date)
    return sum(
        (
            weight(posting).number
            for posting in record.entry.postings
            if posting.cost is None
            and roles.is_asset(posting.account)
            and roles.role(posting.account) not in {Role.STOCK, Role.INBOUND}
        ),
        ZERO,
    )
