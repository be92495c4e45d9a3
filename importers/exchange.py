"""Rows in another currency, by what they became in the account's own.

A payment service tells of such a payment in three rows: the payment in its currency, that amount out in the same
currency, and what it became. Together they are one payment in the account's own currency.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.event_rules import Kind
from millilot.ledger.money import minor_unit

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from decimal import Decimal

    from millilot.importers.lines import Line


def in_own_currency(lines: Sequence[Line], currency: str) -> list[Line]:
    """Return the lines with those of other currencies exchanged, and without the rows that tell of it.

    A line whose exchange the file does not have gets a problem. A row of an exchange that belongs to no payment
    in another currency stays, as a cost of exchange.
    """
    if all(line.currency == currency for line in lines):
        return list(lines)
    exchanges = defaultdict(list)
    for line in lines:
        if line.kind is Kind.EXCHANGE and line.parent:
            exchanges[line.parent].append(line)
    absorbed: set[int] = set()
    for line in lines:
        pair = exchanges.get(line.event, [])
        if line.kind is not Kind.EXCHANGE and line.currency != currency and _exchange(line, pair, currency):
            absorbed.update(other.row.number for other in pair)
    kept = [line for line in lines if line.row.number not in absorbed]
    for line in kept:
        if line.currency != currency:
            line.problem = (
                f"is in {line.currency}, and no rows of its exchange into {currency} refer to it; "
                f"write it by hand, in {currency}"
            )
    for line in _other_halves(kept, currency):
        line.problem = "belongs to an exchange that is not complete"
    return kept


def _exchange(line: Line, pair: Iterable[Line], currency: str) -> bool:
    """Turn a line into what it became; return whether the rows of its exchange are complete."""
    away = sum((other.net for other in pair if other.currency == line.currency), ZERO)
    became = sum((other.net for other in pair if other.currency == currency), ZERO)
    if not line.net or away != -line.net or not became or (became > 0) is not (line.net > 0):
        return False
    rate = became / line.net

    def at_rate(amount: Decimal) -> Decimal:
        return (amount * rate).quantize(minor_unit(currency))

    line.fees = tuple(fee._replace(amount=at_rate(fee.amount)) for fee in line.fees)
    line.remitted = at_rate(line.remitted)
    line.extras = tuple(extra._replace(amount=at_rate(extra.amount)) for extra in line.extras)
    line.postage, line.tax, line.discount = at_rate(line.postage), at_rate(line.tax), at_rate(line.discount)
    # What rounding leaves is the price's, so that the whole is what the account got.
    line.amount = became + line.remitted + sum((fee.amount for fee in line.fees), ZERO)
    line.currency = currency
    line.exchange = [other.row.number for other in pair]
    return True


def _other_halves(lines: Iterable[Line], currency: str) -> Iterable[Line]:
    """Yield the rows in the account's own currency of exchanges whose other rows cannot be booked."""
    lines = list(lines)
    foreign = [line for line in lines if line.problem and line.currency != currency]
    names = {name for line in foreign for name in (line.event, line.parent) if name}
    days = {line.date for line in foreign if line.kind is Kind.EXCHANGE}
    for line in lines:
        if line.kind is Kind.EXCHANGE and line.currency == currency and (
            line.parent in names or line.event in names or line.date in days
        ):
            yield line
