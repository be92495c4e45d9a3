"""How many parcels were lost: what a price has to allow for."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.annotations import CANCELLED
from millilot.ledger.records import Kind
from millilot.reports.orders import by_order, sold_for

if TYPE_CHECKING:
    from millilot.ledger.records import Books

#: From so many orders on, the share of those that were lost says something: our choice, no source.
ENOUGH_ORDERS = 20


class Lost(NamedTuple):
    """How many orders were lost on the way, and of how many."""

    lost: int
    orders: int

    @property
    def share(self) -> Decimal:
        """The part of orders that was lost, 0 while there are too few to say."""
        return Decimal(self.lost) / self.orders if self.orders >= ENOUGH_ORDERS else ZERO


def lost_parcels(books: Books) -> Lost:
    """Return how many orders were lost: refunded in full with nothing returned, or poured again.

    A loss the carrier paid for is none, and neither is an order that was called off.
    """
    lost = orders = 0
    for records in by_order(books):
        money = [each for record in records for each in record.money]
        price = sold_for(money)
        if price <= 0 or any(CANCELLED in (record.entry.tags or ()) for record in records):
            continue
        orders += 1
        moves = [move for record in records for move in record.moves if move.bottle in books.fragrances]
        again = sum((move.quantity for move in moves if move.kind is Kind.LOST), ZERO) < 0
        returned = any(move.kind is Kind.SOLD and move.quantity > 0 for move in moves)
        refunded = sum((each.amount for each in money if each.role is Role.REFUNDS), ZERO)
        paid_for = any(each.role is Role.COMPENSATION for each in money)
        lost += (again or (refunded >= price and not returned)) and not paid_for
    return Lost(lost, orders)
