"""What a channel is taken to charge, for reckoning a price."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.fee_schedule import NO_FEE, Fee, FeeBase
from millilot.reports import rounding
from millilot.reports.channel import find
from millilot.reports.fee_drift import FeeDrift, channels_of, fee_drift, schedule_of
from millilot.reports.orders import channel_orders

if TYPE_CHECKING:
    import datetime

    from millilot.ledger.records import Books


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
    channels = channels_of(books)
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
    orders = [order for order in channel_orders(books) if order.account == channel.account]
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
