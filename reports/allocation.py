"""Which bottle earned or cost what: the one place where amounts of an order are shared out.

An amount that names a bottle belongs to it, and the price of a line to what the line was poured from.
Anything else (postage, fees, supplies, a refund) is shared by price over the lines of its own transaction or,
when that has none, over all lines of its order; a line's share divides over its bottles by mL. What finds no
bottle stays unallocated, so nothing is lost: the shares of an amount add up to it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.kept import once_per_books
from millilot.ledger.records import Kind

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from beancount.core.data import Transaction

    from millilot.ledger.records import Books, Line, Money, Move, Record


class Column(StrEnum):
    """The money columns of a bottle; all are positive in the usual case."""

    SALES = "sales"
    SWAPS = "of_which_swaps"
    POSTAGE_CHARGED = "postage_charged"
    REFUNDS = "refunds"
    FEES = "fees"
    POSTAGE = "postage"
    SUPPLIES = "supplies"
    COMPENSATION = "compensation"


#: What a column adds to the net of a bottle. Swaps stand beside sales, which hold them already.
SIGN_IN_NET: Mapping[Column, int] = {
    Column.SALES: 1,
    Column.POSTAGE_CHARGED: 1,
    Column.REFUNDS: -1,
    Column.FEES: -1,
    Column.POSTAGE: -1,
    Column.SUPPLIES: -1,
    Column.COMPENSATION: 1,
}

_COLUMNS_OF_ROLE: Mapping[Role, tuple[Column, ...]] = {
    Role.SALES: (Column.SALES,),
    Role.SWAPS: (Column.SALES, Column.SWAPS),
    Role.UNSORTED: (Column.SALES,),
    Role.POSTAGE_CHARGED: (Column.POSTAGE_CHARGED,),
    Role.REFUNDS: (Column.REFUNDS,),
    Role.FEES: (Column.FEES,),
    Role.ADS: (Column.FEES,),
    Role.EXCHANGE: (Column.FEES,),
    Role.POSTAGE: (Column.POSTAGE,),
    Role.SUPPLIES_USED: (Column.SUPPLIES,),
    Role.PACKING: (Column.SUPPLIES,),
    Role.COMPENSATION: (Column.COMPENSATION,),
}

#: Roles whose accounts are credited when the column grows.
_INCOME = frozenset(
    {Role.SALES, Role.SWAPS, Role.UNSORTED, Role.POSTAGE_CHARGED, Role.COMPENSATION},
)


class Share(NamedTuple):
    """The part of an amount that belongs to one bottle.

    Attributes:
        date: the day of the amount.
        bottle: the bottle's name, or None for what no bottle can be found for.
        column: where it counts.
        amount: exact, in the operating currency, with the sign of the column.
        entry: the transaction it comes from.
        of: the posting of money, or the supplies, it is a share of.
    """

    date: datetime.date
    bottle: str | None
    column: Column
    amount: Decimal
    entry: Transaction
    of: Money | Move


class Weight(NamedTuple):
    """A claim of one bottle (None: of no bottle) on whatever is shared."""

    bottle: str | None
    size: Decimal


def supplies_drawn(record: Record, books: Books) -> Iterator[tuple[Role, Move]]:
    """Yield the moves that took supplies out for the activity, each with the role that bears their cost."""
    for move in record.moves:
        if move.to is None or move.kind is Kind.KEPT or books.bottles[move.bottle].commodity.is_fragrance:
            continue
        yield move.to, move


@once_per_books
def allocate(books: Books) -> Sequence[Share]:
    """Share every amount that bottles earn or cost.

    Returns:
        Shares by day; those of one amount add up to it exactly, the last share taking what division leaves.
    """
    return tuple(_allocated(books))


def _allocated(books: Books) -> Iterator[Share]:
    fragrances = frozenset(books.fragrances)
    by_order: dict[str, list[Record]] = defaultdict(list)
    for record in books.records:
        if record.order is not None:
            by_order[record.order].append(record)
    weights_of_order: dict[str, list[Weight]] = {}
    for record in books.records:
        weights = _own_weights(record, fragrances)
        if not weights and record.order is not None:
            if record.order not in weights_of_order:
                weights_of_order[record.order] = _sale_weights(by_order[record.order], fragrances)
            weights = weights_of_order[record.order]
        for money in record.money:
            yield from _shares(record, money, (money.role, money.amount), _claims(money, weights, fragrances))
        sold = Counter((name, -quantity) for line in record.lines for name, quantity in line.parts)
        for role, move in supplies_drawn(record, books):
            # Vials sold empty serve no bottle, whatever else the order holds; they stand before those of a kit.
            part = (move.bottle, move.quantity)
            claims = [] if sold[part] > 0 else weights
            sold[part] -= 1
            yield from _shares(record, move, (role, -move.cost), claims)


def _shares(
    record: Record, of: Money | Move, shared: tuple[Role, Decimal], weights: Sequence[Weight],
) -> Iterator[Share]:
    role, amount = shared
    columns = _COLUMNS_OF_ROLE.get(role)
    if columns is None or not amount:
        return
    if role in _INCOME:
        amount = -amount
    for bottle, part in _divide(amount, weights):
        for column in columns:
            yield Share(record.date, bottle, column, part, record.entry, of)


def _claims(money: Money, weights: Sequence[Weight], fragrances: frozenset[str]) -> Sequence[Weight]:
    """Return who shares a money posting."""
    if money.bottle is not None:
        return [Weight(money.bottle if money.bottle in fragrances else None, Decimal(1))]
    if money.line is not None:
        return _line_weights(money.line, fragrances)
    return [] if money.refused or money.role is Role.UNSORTED else weights


def _divide(amount: Decimal, weights: Sequence[Weight]) -> Iterator[tuple[str | None, Decimal]]:
    """Yield the exact parts of an amount; without weights all of it belongs to no bottle."""
    if not weights:
        yield None, amount
        return
    total = sum((weight.size for weight in weights), ZERO)
    left = amount
    for weight in weights[:-1]:
        part = amount * weight.size / total
        left -= part
        yield weight.bottle, part
    yield weights[-1].bottle, left


def _own_weights(record: Record, fragrances: frozenset[str]) -> list[Weight]:
    """Return the claims of a record's sale lines, of its returns when it has no sale."""
    sales = _sale_weights([record], fragrances)
    if sales:
        return sales
    returned = [line for line in record.lines if line.price < 0]
    if returned:
        return _price_weights(returned, fragrances)
    return [] if record.lines else _sold_weights([record], fragrances, returned=True)


def _sale_weights(records: Iterable[Record], fragrances: frozenset[str]) -> list[Weight]:
    """Return the claims of the sale lines of some records.

    A pair written by hand has no line with a price: there the mL sold are all there is to share by.
    """
    records = list(records)
    priced = [line for record in records for line in record.lines if line.price > 0]
    if priced:
        return _price_weights(priced, fragrances)
    return _sold_weights([record for record in records if not record.lines], fragrances, returned=False)


def _price_weights(lines: Iterable[Line], fragrances: frozenset[str]) -> list[Weight]:
    return [
        Weight(bottle, part)
        for line in lines
        for bottle, part in _divide(abs(line.price), _line_weights(line, fragrances))
    ]


def _line_weights(line: Line, fragrances: frozenset[str]) -> list[Weight]:
    return [
        Weight(bottle if bottle in fragrances else None, abs(quantity))
        for bottle, quantity in line.parts
        if quantity
    ]


def _sold_weights(records: Iterable[Record], fragrances: frozenset[str], *, returned: bool) -> list[Weight]:
    return [
        Weight(move.bottle, abs(move.quantity))
        for record in records
        for move in record.moves
        if move.kind is Kind.SOLD and move.bottle in fragrances and (move.quantity > 0) is returned
        if move.quantity
    ]
