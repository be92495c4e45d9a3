"""Fee schedules beside the fees that channels really took, as their files showed them."""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.channels import Channel, read_channels
from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.orders import channel_orders

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from millilot.ledger.fee_schedule import FeeSchedule
    from millilot.ledger.records import Books

#: A schedule off by more than this part, over so many orders, wants another look: our choice, no source.
CONSIDERABLE = Decimal("0.05")
_COMPARABLE = 10

_FOUR_DIGITS = Decimal("0.0001")


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


def fee_drift(books: Books, day: datetime.date = datetime.date.max) -> list[FeeDrift]:
    """Return how the fees of each channel compare with the fee schedule in force on a day, by account.

    Counted are the orders since that schedule began, without those that were refunded. Each is estimated as a
    channel reckons it, to the minor unit. A channel without a schedule, or without such orders, is not in it.
    """
    unit = minor_unit(books.currency)
    channels = channels_of(books)
    schedules = {account: schedule_of(books, account, day) for account in channels}
    compared: dict[str, list[tuple[Decimal, Decimal]]] = defaultdict(list)
    for order in channel_orders(books):
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


def channels_of(books: Books) -> Mapping[str, Channel]:
    """Return all channels by account, also those of which the books have nothing but a fee schedule."""
    channels = dict(read_channels(books))
    for schedule in books.settings.fee_schedules:
        name = schedule.account.rpartition(":")[2]
        channels.setdefault(schedule.account, Channel(schedule.account, name, (), ()))
    return dict(sorted(channels.items()))
