"""What channels take of orders: as the owner noted it, and as their files showed it.

An order's fees are all that the books hold under its link on the account of fees, in the entry of the sale or
later. Orders with a refund are left out, as a channel gives part of its fee back with one.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from millilot.ledger.accounts import Role
from millilot.ledger.annotations import CANCELLED
from millilot.ledger.channels import Channel, changes_of, read_channels
from millilot.ledger.fee_schedule import NO_FEE, Fee, FeeBase
from millilot.ledger.money import minor_unit
from millilot.ledger.records import ZERO, Kind
from millilot.reports import rounding
from millilot.reports.channel import find

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from millilot.ledger.fee_schedule import FeeSchedule
    from millilot.ledger.records import Books, Money, Record

#: From so many orders on, the share of those that were lost says something: our choice, no source.
ENOUGH_ORDERS = 20

#: A schedule off by more than this part, over so many orders, wants another look: our choice, no source.
CONSIDERABLE = Decimal("0.05")
_COMPARABLE = 10

_FOUR_DIGITS = Decimal("0.0001")
_SOLD_ON = frozenset({Role.SALES, Role.UNSORTED})


@dataclass(frozen=True, slots=True)
class FeeDrift:
    """The fees of a channel beside its fee schedule, over the same orders.

    Attributes:
        channel: its name.
        account: its account.
        orders: how many orders are compared.
        estimated: what the schedule comes to.
        taken: what the books show.
        difference: taken less estimated.
        drift: difference as a part of estimated, 4 digits; None when nothing was estimated.
    """

    channel: str
    account: str
    orders: int
    estimated: Decimal
    taken: Decimal
    difference: Decimal
    drift: Decimal | None

    @property
    def is_considerable(self) -> bool:
        """Whether the schedule needs another look: it is off by a twentieth, over ten orders that paid fees."""
        far = self.drift is not None and abs(self.drift) > CONSIDERABLE
        return far and self.taken > 0 and self.orders >= _COMPARABLE


class ChannelFee(NamedTuple):
    """What a channel is taken to charge, and how that is known.

    Attributes:
        channel: its name, None when none is meant.
        fee: for estimates.
        says: where it comes from, in a sentence.
        drift: how it compares with the fees the books show; None when they show none.
    """

    channel: str | None
    fee: Fee
    says: str
    drift: FeeDrift | None = None


class Lost(NamedTuple):
    """How many orders were lost on the way, and of how many."""

    lost: int
    orders: int

    @property
    def share(self) -> Decimal:
        """The part of orders that was lost, 0 while there are too few to say."""
        return Decimal(self.lost) / self.orders if self.orders >= ENOUGH_ORDERS else ZERO


class _Order(NamedTuple):
    """An order on a channel: the day of its sale, what the buyer paid and what was taken."""

    day: datetime.date
    account: str
    item: Decimal
    postage: Decimal
    tax: Decimal
    fees: Decimal


def fee_drift(books: Books, day: datetime.date = datetime.date.max) -> list[FeeDrift]:
    """Return how the fees of each channel compare with the fee schedule in force on a day, by account.

    Counted are the orders since that schedule began, without those that were refunded. Each is estimated as a
    channel reckons it, to the minor unit. A channel without a schedule, or without such orders, is not in it.
    """
    unit = minor_unit(books.currency)
    channels = _channels(books)
    schedules = {account: schedule_of(books, account, day) for account in channels}
    compared: dict[str, list[tuple[Decimal, Decimal]]] = defaultdict(list)
    for order in _orders(books):
        schedule = schedules[order.account]
        if schedule is not None and order.day >= schedule.day:
            estimate = schedule.fee.on(order.item, order.postage, order.tax, unit)
            compared[order.account].append((estimate, order.fees))
    return [_drift(channels[account], compared[account], unit) for account in sorted(compared)]


def _drift(channel: Channel, compared: Sequence[tuple[Decimal, Decimal]], unit: Decimal) -> FeeDrift:
    estimated, taken = (rounding.nearest(sum(amounts, ZERO), unit) for amounts in zip(*compared, strict=True))
    difference = taken - estimated
    return FeeDrift(
        channel.name,
        channel.account,
        len(compared),
        estimated,
        taken,
        difference,
        rounding.nearest(difference / estimated, _FOUR_DIGITS) if estimated else None,
    )


def schedule_of(books: Books, account: str, day: datetime.date) -> FeeSchedule | None:
    """Return the fee schedule of a channel on a day, None when there is none in the operating currency."""
    schedule = books.settings.fee_schedule(account, day)
    return schedule if schedule is not None and schedule.currency == books.currency else None


def fee_of(books: Books, name: str | None, day: datetime.date) -> ChannelFee:
    """Return what a channel is taken to charge on a day.

    That is its fee schedule; without one, the share of price and postage that the books show; else nothing. When
    no channel is named and the books have just one, that one is meant.

    Args:
        books: read up to the day.
        name: the channel's name or account; None when none is named.
        day: the day.

    Raises:
        UnknownChannelError: there is no such channel.
    """
    channels = _channels(books)
    if name is None and len(channels) != 1:
        why = f"choose from {', '.join(each.name for each in channels.values())}" if channels else "there is none"
        return ChannelFee(None, NO_FEE, f"No channel, so no fee ({why}).")
    channel = find(channels.values(), name if name is not None else next(iter(channels)))
    assumed = ", the only channel" if name is None else ""
    schedule = schedule_of(books, channel.account, day)
    if schedule is not None:
        drift = next((each for each in fee_drift(books, day) if each.account == channel.account), None)
        says = f"Fee of {channel.name}{assumed}: {_words(schedule.fee)}, by its schedule of {schedule.day}."
        return ChannelFee(channel.name, schedule.fee, says, drift)
    of_channel = f"{channel.name}{assumed} has no fee schedule"
    if (foreign := books.settings.fee_schedule(channel.account, day)) is not None:
        of_channel += f" in {books.currency} (that of {foreign.day} is in {foreign.currency})"
    orders = [order for order in _orders(books) if order.account == channel.account]
    paid = sum((order.item + order.postage for order in orders), ZERO)
    taken = sum((order.fees for order in orders), ZERO)
    if taken > 0:
        fee = Fee(FeeBase.POSTAGE, taken / paid, ZERO)
        says = f"{of_channel}; {len(orders)} of its orders paid {_words(fee)}."
        return ChannelFee(channel.name, fee, says)
    says = f"{of_channel}, and the books show no fees of its orders: none is counted."
    return ChannelFee(channel.name, NO_FEE, says)


def _words(fee: Fee) -> str:
    rate = rounding.nearest(fee.rate * 100, Decimal("0.01")).normalize()
    fixed = f" and {fee.fixed:f}" if fee.fixed else ""
    return f"{rate:f} % of {fee.base.value.replace('+', ' + ')}{fixed}"


def lost_parcels(books: Books) -> Lost:
    """Return how many orders were lost: refunded in full with nothing returned, or poured again.

    A loss the carrier paid for is none, and neither is an order that was called off.
    """
    lost = orders = 0
    for records in _by_order(books):
        money = [each for record in records for each in record.money]
        price = _credited(money, _SOLD_ON)
        if price <= 0 or any(CANCELLED in (record.entry.tags or ()) for record in records):
            continue
        orders += 1
        moves = [move for record in records for move in record.moves if move.bottle in books.fragrances]
        again = any(move.kind is Kind.LOST and move.quantity < 0 for move in moves)
        returned = any(move.kind is Kind.SOLD and move.quantity > 0 for move in moves)
        refunded = sum((each.amount for each in money if each.role is Role.REFUNDS), ZERO)
        paid_for = any(each.role is Role.COMPENSATION for each in money)
        lost += (again or (refunded >= price and not returned)) and not paid_for
    return Lost(lost, orders)


def _channels(books: Books) -> Mapping[str, Channel]:
    """Return all channels by account, also those of which the books have nothing but a fee schedule."""
    channels = read_channels(books)
    for schedule in books.settings.fee_schedules:
        name = schedule.account.rpartition(":")[2]
        channels.setdefault(schedule.account, Channel(schedule.account, name, (), ()))
    return dict(sorted(channels.items()))


def _by_order(books: Books) -> Iterator[Sequence[Record]]:
    """Yield the records of each order; one without a link is an order of its own."""
    orders: dict[str | int, list[Record]] = defaultdict(list)
    for record in books.records:
        orders[record.order or id(record)].append(record)
    yield from orders.values()


def _orders(books: Books) -> Iterator[_Order]:
    """Yield the orders sold on one channel, those with a refund left out."""
    for records in _by_order(books):
        money = [each for record in records for each in record.money]
        accounts = list(changes_of(money))
        item = _credited(money, _SOLD_ON)
        if len(accounts) != 1 or item <= 0 or any(each.role is Role.REFUNDS for each in money):
            continue
        sold = next(record for record in records if _credited(record.money, _SOLD_ON) > 0)
        tax = -sum((min(each.amount, ZERO) for each in money if each.role is Role.SALES_TAX), ZERO)
        fees = sum((each.amount for each in money if each.role is Role.FEES), ZERO)
        postage = _credited(money, frozenset({Role.POSTAGE_CHARGED}))
        yield _Order(sold.date, accounts[0], item, postage, tax, fees)


def _credited(money: Sequence[Money], roles: frozenset[Role]) -> Decimal:
    return -sum((each.amount for each in money if each.role in roles), ZERO)
