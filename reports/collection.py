"""Does the collection pay for itself: what was put in, what came back, and what is still there."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.money import minor_unit
from millilot.ledger.records import Kind
from millilot.reports import rounding
from millilot.reports.allocation import SIGN_IN_NET, allocate, supplies_drawn

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from decimal import Decimal

    from millilot.ledger.records import Books, Move, Record

#: Money on these roles came back to the owner or, when it was spent, did not.
_CASH_ROLES = (
    Role.SALES,
    Role.POSTAGE_CHARGED,
    Role.UNSORTED,
    Role.REFUNDS,
    Role.COMPENSATION,
    Role.FEES,
    Role.ADS,
    Role.EXCHANGE,
    Role.POSTAGE,
    Role.PACKING,
    Role.SUPPLIES_USED,
    Role.OTHER_EXPENSES,
    Role.OTHER_COSTS,
    Role.COST_OF_GOODS,
    Role.SHRINKAGE,
    Role.SAMPLES,
    Role.LOSS,
)


@dataclass(frozen=True, slots=True)
class Collection:
    """The whole collection to date, in the operating currency.

    Attributes:
        put_in: paid for bottles and supplies, delivery and duty included.
        got_back: money taken, less refunds, fees, postage and every other expense paid.
        held: what channels hold now, payouts under way included.
        held_for_claims: money taken for mL not yet poured.
        unallocated: what of the net no bottle could be found for.
        stock_value: fragrance left, at cost.
        supplies_on_hand: supplies left, at cost.
        worn: the cost of what the owner kept.
        contributed: the cost of bottles owned before.
        swaps_in: the value of bottles that came in by swap.
        swaps_out: the value of mL that left by swap.
        result: what the collection earned; the profit of all years together.
    """

    put_in: Decimal
    got_back: Decimal
    held: Decimal
    held_for_claims: Decimal
    unallocated: Decimal
    stock_value: Decimal
    supplies_on_hand: Decimal
    worn: Decimal
    contributed: Decimal
    swaps_in: Decimal
    swaps_out: Decimal
    result: Decimal

    def rounded(self, currency: str) -> Collection:
        """Return the figures in minor units of a currency; the result follows from the others."""
        lines = asdict(self)
        lines.pop("result")
        return _with_result(
            rounding.schedule(
                lines, ("worn", "put_in", "contributed"), lambda lines: (_result(lines),), minor_unit(currency),
            ),
        )


def collection(books: Books) -> Collection:
    """Return the exact figures of the whole collection."""
    money = _amounts_by_role(books.records, books)
    moves = list(_moves_of(books.records))
    cash = sum(
        (
            posting.amount
            for record in books.records
            for posting in record.money
            if posting.role in _CASH_ROLES
        ),
        ZERO,
    )
    unallocated = (
        SIGN_IN_NET.get(share.column, 0) * share.amount for share in allocate(books) if share.bottle is None
    )
    return _with_result(
        {
            "put_in": _cost_of(moves, {Kind.BOUGHT, Kind.LATE_COST, Kind.SUPPLIER_RETURN}),
            "got_back": -cash,
            "held": money[Role.MARKETPLACE],
            "held_for_claims": -money[Role.CLAIMS],
            "unallocated": sum(unallocated, ZERO),
            "stock_value": _stock_value(books.records, books, fragrance=True),
            "supplies_on_hand": _stock_value(books.records, books, fragrance=False),
            "worn": -_cost_of(moves, {Kind.KEPT}),
            "contributed": _cost_of(moves, {Kind.CONTRIBUTED}),
            "swaps_in": _cost_of(moves, {Kind.SWAPPED_IN}),
            "swaps_out": -money[Role.SWAPS],
        },
    )


def _amounts_by_role(records: Iterable[Record], books: Books) -> Mapping[Role, Decimal]:
    """Return what stands on the accounts of each role: money as posted, and supplies at cost.

    Fragrance is not in it: it is read as mL that left a bottle. A role without an amount has nought.
    """
    amounts: dict[Role, Decimal] = defaultdict(lambda: ZERO)
    for record in records:
        for money in record.money:
            amounts[money.role] += money.amount
        for role, move in supplies_drawn(record, books):
            amounts[role] -= move.cost
    return amounts


def _moves_of(records: Iterable[Record]) -> Iterator[Move]:
    """Yield all moves of some records."""
    for record in records:
        yield from record.moves


def _cost_of(moves: Iterable[Move], kinds: Iterable[Kind]) -> Decimal:
    """Return the cost that came in (positive) or left (negative) for some reasons."""
    wanted = frozenset(kinds)
    return sum((move.cost for move in moves if move.kind in wanted), ZERO)


def _stock_value(records: Iterable[Record], books: Books, *, fragrance: bool) -> Decimal:
    """Return the cost of all fragrance, or of all supplies, that is left after some records."""
    return sum(
        (
            move.cost
            for move in _moves_of(records)
            if books.bottles[move.bottle].commodity.is_fragrance is fragrance
        ),
        ZERO,
    )


def _result(lines: Mapping[str, Decimal]) -> Decimal:
    return (
        lines["got_back"]
        + lines["swaps_out"]
        + lines["stock_value"]
        + lines["supplies_on_hand"]
        + lines["worn"]
        - lines["put_in"]
        - lines["contributed"]
        - lines["swaps_in"]
    )


def _with_result(lines: Mapping[str, Decimal]) -> Collection:
    return Collection(**lines, result=_result(lines))
