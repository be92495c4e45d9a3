"""What is open with the channels, and for how long: payouts, and events that no payout has paid."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.reports import rounding
from millilot.reports.payouts import State

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Sequence
    from decimal import Decimal

    from millilot.ledger.channels import Event
    from millilot.reports.payouts import Settled, Settlement

#: The last day of each age but the oldest, which has none; common practice, no source.
AGES: Sequence[int | None] = (7, 30, 90, None)


class Open(NamedTuple):
    """Something that is open.

    Attributes:
        channel: the channel's name.
        date: the day it was paid out; of an event, the day from which it may be paid out.
        days: its age; nought while that day is still to come.
        amount: of a payout, what it paid; of an event, what it adds to what may be paid out.
        outstanding: what of that the bank has not had. Nought for a payout that arrived and is open because
            its events do not come to it, or might be others.
        payout: the payout, or None.
        event: the event that no payout has paid, or None.
    """

    channel: str
    date: datetime.date
    days: int
    amount: Decimal
    outstanding: Decimal
    payout: Settled | None
    event: Event | None


def open_items(settlements: Iterable[Settlement], last: datetime.date) -> list[Open]:
    """Return all that is open, the oldest first.

    Args:
        settlements: the channels' payouts and unpaid events.
        last: the day to which ages are counted.
    """
    found = []
    for each in settlements:
        name = each.channel.name
        for payout in each.payouts:
            if payout.payout.state is State.OPEN:
                day, sending = payout.payout.date, payout.sending
                lost = sum((cost for _, cost in sending.costs), ZERO)
                missing = sending.left - sending.arrived - lost
                found.append(Open(name, day, (last - day).days, payout.payout.amount, missing, payout, None))
        for event in each.unpaid:
            day = event.available
            found.append(Open(name, day, max((last - day).days, 0), event.amount, event.amount, None, event))
    return sorted(found, key=lambda item: (item.date, item.channel))


def by_age(items: Iterable[Open], unit: Decimal) -> list[Decimal]:
    """Return what is outstanding of each of AGES, in whole units such as 0.01."""
    sums = [ZERO] * len(AGES)
    for item in items:
        place = next(place for place, most in enumerate(AGES) if most is None or item.days <= most)
        sums[place] += item.outstanding
    return [rounding.nearest(amount, unit) for amount in sums]
