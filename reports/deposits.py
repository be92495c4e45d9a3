"""From a channel to the bank: which payouts are one, which came back, and when the bank had the money.

Entries with one `^payout-` link are one payout, whether they leave the channel, come back to it or reach the
bank. Without a link, an entry that leaves the channel is a payout of its own. What comes back without a link
within a month, with the same amount and while the channel is owed nothing, is the latest such payout that failed;
all else that comes back is a payout below nought, by which the channel collects what it is owed.

A payout that went to Transit is in the bank by the deposit of its link; what is left of a deposit then may be of
payouts that it does not name, if just one set of them explains it. A deposit without a link is taken for the
payouts under way that add up to it, up to three of them, none of which left more than `days` before. If several
such sets fit, the deposit is left open and said so; payouts of the same amount are taken in the order they left.
A deposit that no payout fits is stray; it is named beside those under way that it is near, however late it came
if it is of the very amount.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.plugins.order import content_key, natural

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from decimal import Decimal

    from millilot.ledger.channels import Channel, Transfer

#: A deposit may be for so many payouts.
TOGETHER = 3

#: What comes back without a link left within so many days before.
_RETURNS = datetime.timedelta(days=31)


class Part(NamedTuple):
    """What a deposit brought of one payout, and what was lost of it on the way, by name."""

    deposit: Transfer
    share: Decimal
    costs: tuple[tuple[str, Decimal], ...]


@dataclass(eq=False, slots=True)
class Sending:
    """A payout: the entries that make it up.

    Attributes:
        links: its links, without the caret; none if the books give it none.
        transfers: its entries that touch the channel, by day.
        deposits: the deposits of it, each with its share.
        came_back: the day it came back, None when it stands.
        nearest: deposits that are like it, when none is its own.
        notes: what is to be said of its deposit.
    """

    links: tuple[str, ...]
    transfers: list[Transfer]
    deposits: list[Part] = field(default_factory=list)
    came_back: datetime.date | None = None
    nearest: list[Transfer] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def date(self) -> datetime.date:
        """The day it left the channel, for good if it did so more than once."""
        if self.came_back is not None:
            return self.transfers[0].date
        sign = self.left
        return next(each.date for each in reversed(self.transfers) if not sign or each.left * sign > 0)

    @property
    def left(self) -> Decimal:
        """What left the channel; of a payout that came back, what had left."""
        if self.came_back is not None:
            return self.transfers[0].left
        return sum((transfer.left for transfer in self.transfers), ZERO)

    @property
    def amount(self) -> Decimal:
        """What the channel paid out: what left it, less what it took for that in the same entry."""
        leaving = self.transfers[:1] if self.came_back is not None else self.transfers
        return self.left - sum((cost for transfer in leaving for _, cost in transfer.costs), ZERO)

    @property
    def under_way(self) -> Decimal:
        """What stands in Transit of it."""
        sent = sum((transfer.transit for transfer in self.transfers), ZERO)
        return sent - sum((part.share for part in self.deposits), ZERO)

    @property
    def costs(self) -> list[tuple[str, Decimal]]:
        """What was lost on the way, by name."""
        own = [cost for transfer in self.transfers for cost in transfer.costs]
        return own + [cost for part in self.deposits for cost in part.costs]

    @property
    def arrived(self) -> Decimal:
        """What of it reached the bank."""
        direct = sum((transfer.bank for transfer in self.transfers), ZERO)
        lost = sum((amount for part in self.deposits for _, amount in part.costs), ZERO)
        return direct + sum((part.share for part in self.deposits), ZERO) - lost

    @property
    def bank_date(self) -> datetime.date | None:
        """The day the bank had the last of it, None while it is under way."""
        days = [part.deposit.date for part in self.deposits]
        days += [transfer.date for transfer in self.transfers if transfer.bank]
        return max(days, default=None) if self.came_back is None else None


def sendings(channel: Channel, days: int) -> tuple[list[Sending], list[Transfer]]:
    """Return the payouts of a channel by day, each with its deposits, and the stray deposits."""
    by_link: dict[str, Sending] = {}
    found: list[Sending] = []
    for transfer in sorted(channel.transfers, key=_order):
        if not transfer.left:
            continue
        known = next((by_link[link] for link in transfer.payouts if link in by_link), None)
        if known is None and not transfer.payouts:
            known = _failed(found, transfer, channel)
        if known is None:
            known = Sending(transfer.payouts, [])
            found.append(known)
        known.transfers.append(transfer)
        known.links = tuple(sorted({*known.links, *transfer.payouts}, key=natural))
        by_link.update(dict.fromkeys(known.links, known))
    for sending in found:
        if len(sending.transfers) > 1 and not sum(each.left for each in sending.transfers):
            sending.came_back = sending.transfers[-1].date
    strays = _bring([each for each in channel.transfers if not each.left], found, datetime.timedelta(days=days))
    return sorted(found, key=lambda sending: (sending.date, [natural(link) for link in sending.links])), strays


def _bring(
    deposits: Iterable[Transfer], found: Sequence[Sending], window: datetime.timedelta,
) -> list[Transfer]:
    """Give each deposit to the payouts it is for, and return those that fit none."""
    by_link = {link: sending for sending in found for link in sending.links}
    unlinked, uneven = [], []
    for deposit in sorted(deposits, key=_order):
        named = list(dict.fromkeys(by_link[link] for link in deposit.payouts if link in by_link))
        if not named:
            unlinked.append(deposit)
        elif sum((sending.under_way for sending in named), deposit.transit):
            uneven.append((deposit, named))
        else:
            _share(deposit, named)
    for deposit, named in uneven:
        _share(deposit, [*_besides(deposit, named, found, window), *named])
    return [deposit for deposit in unlinked if not _find(deposit, found, window)]


def _order(transfer: Transfer) -> tuple[object, ...]:
    # What leaves comes before what comes back or arrives on the same day.
    return transfer.date, transfer.left <= 0, content_key(transfer.record.entry)


def _failed(found: Iterable[Sending], transfer: Transfer, channel: Channel) -> Sending | None:
    """Return the payout that an entry without a link brings back, None when it brings back none."""
    if transfer.left >= 0 or _held(channel, transfer.date) < 0:
        return None
    earned_then = sum((each.amount + each.reserve for each in channel.events if each.date == transfer.date), ZERO)
    if _held(channel, transfer.date) + earned_then <= transfer.left:
        # The channel collects what the day itself made it owed.
        return None
    fitting = [
        sending
        for sending in found
        if sending.left == -transfer.left and transfer.date - sending.date <= _RETURNS
    ]
    # One that leaves on the day on which another comes back takes its place.
    return max(fitting, key=lambda sending: (sending.date < transfer.date, sending.date), default=None)


def _held(channel: Channel, morning: datetime.date) -> Decimal:
    """Return what a channel held on a morning."""
    earned = sum((event.amount + event.reserve for event in channel.events if event.date < morning), ZERO)
    return earned - sum((each.left for each in channel.transfers if each.date < morning), ZERO)


def _share(deposit: Transfer, named: Sequence[Sending]) -> None:
    """Give a deposit to the payouts it names; what is missing, or too much, is with the last of them."""
    left = -deposit.transit
    for sending in named[:-1]:
        share = sending.under_way
        sending.deposits.append(Part(deposit, share, ()))
        left -= share
    named[-1].deposits.append(Part(deposit, left, deposit.costs))
    if len(named) > 1:
        for sending in named:
            others = [name_of(other) for other in named if other is not sending]
            sending.notes.append(f"came in one deposit with {' and '.join(others)}")


def _besides(
    deposit: Transfer, named: Sequence[Sending], found: Sequence[Sending], window: datetime.timedelta,
) -> Sequence[Sending]:
    """Return the payouts that came with those a deposit names, if one set of them explains the rest of it."""
    rest = -sum((sending.under_way for sending in named), deposit.transit)
    others = [sending for sending in _waiting(deposit, found, window) if sending not in named]
    fitting = list(_adding_up(others, rest, TOGETHER - len(named)))
    return fitting[0] if len(fitting) == 1 else ()


def _waiting(deposit: Transfer, found: Iterable[Sending], window: datetime.timedelta) -> list[Sending]:
    """Return the payouts under way that left so long before a deposit at most."""
    return [
        sending
        for sending in found
        if sending.came_back is None
        and sending.under_way
        and datetime.timedelta() <= deposit.date - sending.date <= window
    ]


def _adding_up(among: Sequence[Sending], total: Decimal, most: int) -> Iterator[tuple[Sending, ...]]:
    """Yield the sets of a few payouts that add up to an amount."""
    for count in range(1, most + 1):
        for chosen in combinations(among, count):
            if sum((sending.under_way for sending in chosen), ZERO) == total:
                yield chosen


def _find(deposit: Transfer, found: Sequence[Sending], window: datetime.timedelta) -> bool:
    """Give a deposit without a link to the payouts it is for, if there is one answer; False if none fits."""
    total = -deposit.transit
    within = _waiting(deposit, found, window)
    fitting = list(_adding_up(within, total, TOGETHER))
    if fitting and all(len(chosen) == 1 for chosen in fitting):
        [first] = fitting[0]
        if len(fitting) > 1:
            first.notes.append(
                f"{len(fitting)} payouts of this amount were under way; they are taken in the order they left",
            )
        first.deposits.append(Part(deposit, total, deposit.costs))
    elif len(fitting) == 1:
        _share(deposit, fitting[0])
    elif fitting:
        ways = " or ".join(" + ".join(map(name_of, chosen)) for chosen in fitting[:TOGETHER])
        for sending in dict.fromkeys(sending for chosen in fitting for sending in chosen):
            sending.notes.append(f"the deposit of {total} on {deposit.date} fits more than once: {ways}")
    else:
        for sending in _waiting(deposit, found, datetime.timedelta.max):
            if sending in within or sending.under_way == total:
                sending.nearest.append(deposit)
    return bool(fitting)


def name_of(sending: Sending) -> str:
    """Return what a payout is called in a sentence."""
    if sending.links:
        return " and ".join(link.removeprefix("payout-") for link in sending.links)
    return f"the payout of {sending.amount} on {sending.date}"

