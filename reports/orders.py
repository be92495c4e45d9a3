"""What was sold, order by order: an order is all that the books hold under its link, from the sale on."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.channels import changes_of
from millilot.ledger.kept import once_per_books

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Sequence
    from decimal import Decimal

    from millilot.ledger.records import Books, Money, Record

_SOLD_ON = frozenset({Role.SALES, Role.UNSORTED})
_POSTAGE = frozenset({Role.POSTAGE_CHARGED})


class ChannelOrder(NamedTuple):
    """An order sold on a channel and not refunded.

    Attributes:
        day: of its sale.
        account: the channel's account.
        item: the price of the goods.
        postage: what the buyer paid for it.
        tax: the buyer's, collected for others.
        fees: what was taken on the account of fees, with the sale or later.
    """

    day: datetime.date
    account: str
    item: Decimal
    postage: Decimal
    tax: Decimal
    fees: Decimal


def by_order(books: Books) -> Iterator[Sequence[Record]]:
    """Yield the records of each order; one without a link is an order of its own."""
    orders: dict[str | int, list[Record]] = defaultdict(list)
    for record in books.records:
        orders[record.order or id(record)].append(record)
    yield from orders.values()


def sold_for(money: Iterable[Money]) -> Decimal:
    """Return the price of the goods among some postings; what is not sorted yet counts as well."""
    return _credited(money, _SOLD_ON)


@once_per_books
def channel_orders(books: Books) -> Sequence[ChannelOrder]:
    """Return the orders sold on one channel, without those with a refund, as it gives part of the fee back."""
    return tuple(_channel_orders(books))


def _channel_orders(books: Books) -> Iterator[ChannelOrder]:
    for records in by_order(books):
        money = [each for record in records for each in record.money]
        accounts = list(changes_of(money))
        item = sold_for(money)
        if len(accounts) != 1 or item <= 0 or any(each.role is Role.REFUNDS for each in money):
            continue
        sold = next(record for record in records if sold_for(record.money) > 0)
        tax = -sum((min(each.amount, ZERO) for each in money if each.role is Role.SALES_TAX), ZERO)
        fees = sum((each.amount for each in money if each.role is Role.FEES), ZERO)
        postage = _credited(money, _POSTAGE)
        yield ChannelOrder(sold.date, accounts[0], item, postage, tax, fees)


def _credited(money: Iterable[Money], roles: frozenset[Role]) -> Decimal:
    return -sum((each.amount for each in money if each.role in roles), ZERO)
