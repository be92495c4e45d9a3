"""Payouts: what each paid, and whether the bank had it.

What a payout paid is read from links where the books give them: events with its `^payout-` link are what it
paid. Events whose link belongs to no payout of the books stand together as one, since their file says so. The
rest, and payouts without events of their own, are left to `millilot.reports.solver`: unpaid events in the order
in which they became available (`settled:`, else their day), amounts in whole minor units. When and how the bank
had the money is found by `millilot.reports.deposits`.

States. A payout is

- *matched* when the events it paid come to it, by their links or by the only explanation there is, and all of it
  reached the bank;
- *explained* when there is a difference, and named things account for it: events without a link (a refund, a
  label, a correction, money held back), a cost on the way, or that it came back;
- *open* otherwise: nothing fits, more than one thing fits, or the bank has not had all of it.

`difference` is what reached the bank less what its events come to; those are the events with its link or, when
there are none, those that were found. While several explanations fit, they come to the payout, so there is no
difference on that side. `orders` are those that are certain: of events of the same amount that could stand for
each other none is named, though the payout is matched.

Payments from person to person stand in the books as entries of a payment service, which is a channel like any
other, or of a bank. On a channel they need neither fee nor order: one without an order is an event by its day
and text; one with two orders is one payment for both; what a buyer rounds up is part of the event, whatever
account it is booked on. What is paid straight to a bank never was a channel's money, and no payout is looked
for.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.channels import read_channels
from millilot.ledger.kept import once_per_books
from millilot.ledger.money import minor_digits, minor_unit
from millilot.plugins.order import in_order, natural
from millilot.reports import rounding, solver
from millilot.reports.deposits import name_of, sendings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from millilot.ledger.channels import Channel, Event, Transfer
    from millilot.ledger.records import Books
    from millilot.reports.deposits import Sending

#: A payout is in the bank within so many days, or something is wrong.
DAYS = 7

_LIMITS = solver.Limits()

#: So many of a long list are named.
_NAMED = 4


class State(StrEnum):
    """How well a payout is accounted for."""

    MATCHED = "matched"
    EXPLAINED = "explained"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Payout:
    """A payout, in the operating currency.

    Attributes:
        payout: its link without the caret, None when the books give it none.
        channel: the channel's name.
        date: the day it left the channel.
        amount: what the channel paid out; below nought when it collected what it was owed.
        orders: the links of the orders it certainly paid, without the caret.
        state: how well it is accounted for.
        bank_date: the day the bank had it, None while it has not.
        difference: what reached the bank, less what the events it paid come to.
    """

    payout: str | None
    channel: str
    date: datetime.date
    amount: Decimal
    orders: tuple[str, ...]
    state: State
    bank_date: datetime.date | None
    difference: Decimal


@dataclass(frozen=True, slots=True)
class Settled:
    """A payout and how it came to its state.

    Attributes:
        payout: its figures.
        events: what it paid; of events of the same amount, the first, unless more than one explanation fits.
        notes: what explains the difference, or what is open, in words.
        unexplained: the part of the difference that is neither explained nor merely on its way.
        linked: whether events carry its number.
        ambiguous: whether more than one explanation fits.
        late: whether part of it should be in the bank and is not.
        sending: the entries that make it up.
    """

    payout: Payout
    events: tuple[Event, ...]
    notes: tuple[str, ...]
    unexplained: Decimal
    linked: bool
    ambiguous: bool
    late: bool
    sending: Sending


@dataclass(frozen=True, slots=True)
class Settlement:
    """A channel's payouts by day, the events that no payout certainly paid, and deposits of no known payout."""

    channel: Channel
    payouts: tuple[Settled, ...]
    unpaid: tuple[Event, ...]
    strays: tuple[Transfer, ...]


def settle(
    books: Books,
    days: int = DAYS,
    limits: solver.Limits = _LIMITS,
    last: datetime.date | None = None,
) -> Sequence[Settlement]:
    """Match every channel's payouts with what they paid and with the bank.

    Args:
        books: the books.
        days: a payout is in the bank within so many days.
        limits: how far the solver goes.
        last: the day to which ages are counted; without one, the last day of the books.
    """
    return _settled_by(books, days, limits, last or books.last or datetime.date.min)


@once_per_books
def _settled_by(books: Books, days: int, limits: solver.Limits, last: datetime.date) -> Sequence[Settlement]:
    return tuple(
        settle_channel(channel, books.currency, last, days, limits) for channel in read_channels(books).values()
    )


def settlement_of(books: Books, account: str, days: int = DAYS) -> Settlement:
    """Return how the payouts of the channel on an account are settled, as `settle` does."""
    return next(each for each in settle(books, days) if each.channel.account == account)


def settle_channel(
    channel: Channel, currency: str, last: datetime.date, days: int = DAYS, limits: solver.Limits = _LIMITS,
) -> Settlement:
    """Match the payouts of one channel.

    Args:
        channel: what the books say of its money.
        currency: the operating currency.
        last: the day to which ages are counted.
        days: a payout is in the bank within so many days.
        limits: how far the solver goes.
    """
    return _Settling(channel, currency, last, days).settle(limits)


def payouts(books: Books, days: int = DAYS) -> list[Payout]:
    """Return all payouts by day."""
    found = [each.payout for settlement in settle(books, days) for each in settlement.payouts]
    return sorted(found, key=lambda payout: (payout.date, payout.channel))


@dataclass(frozen=True, slots=True)
class _Item:
    """What is solved for: an event, or all events of a payout number that no payout of the books has."""

    events: tuple[Event, ...]
    amount: int
    available: datetime.date
    held: bool = False
    link: str = ""


@dataclass(slots=True)
class _Found:
    """What is known of a payout's events: those by link, those found, and explanations if there are several."""

    linked: list[Event]
    found: Sequence[_Item] = ()
    ways: Sequence[Sequence[_Item]] = ()
    alike: Sequence[_Item] = ()
    nearest: Sequence[_Item] = ()
    solved: bool = False
    bounded: bool = False


class _Leg(NamedTuple):
    """One half of a payout's way: from its events to the channel's door, or from there to the bank.

    Attributes:
        difference: what came out of it, less what went in.
        unexplained: the part of that which is neither explained nor merely on its way.
        state: how well it is accounted for.
        notes: what explains it, or is open, in words.
    """

    difference: Decimal
    unexplained: Decimal
    state: State
    notes: tuple[str, ...]


class _Settling:
    """The settling of one channel."""

    def __init__(self, channel: Channel, currency: str, last: datetime.date, days: int) -> None:
        self.channel = channel
        self.currency = currency
        self.last = last
        self.days = days
        self.sendings, self.strays = sendings(channel, days)

    def settle(self, limits: solver.Limits) -> Settlement:
        linked, items = self._events()
        found = {id(sending): _Found(linked.get(id(sending), [])) for sending in self.sendings}
        self._solve(found, items, limits)
        settled = [self._settled(sending, found[id(sending)]) for sending in self.sendings]
        paid = {id(event.record.entry) for each in settled for event in each.events}
        unpaid = [event for event in self.channel.events if event.amount and id(event.record.entry) not in paid]
        return Settlement(self.channel, tuple(settled), tuple(unpaid), tuple(self.strays))

    def _minor(self, amount: Decimal) -> int:
        return int(self._rounded(amount).scaleb(minor_digits(self.currency)))

    def _major(self, amount: int) -> Decimal:
        return Decimal(amount).scaleb(-minor_digits(self.currency))

    def _events(self) -> tuple[dict[int, list[Event]], list[_Item]]:
        """Return the events that each payout paid by its link, and what is left to be solved."""
        by_link = {link: sending for sending in self.sendings for link in sending.links}
        linked: dict[int, list[Event]] = defaultdict(list)
        bundles: dict[str, list[Event]] = defaultdict(list)
        items = []
        for event in self.channel.events:
            if not event.amount:
                continue
            known = [by_link[link] for link in event.payouts if link in by_link]
            standing = [sending for sending in known if sending.came_back is None]
            if standing:
                linked[id(standing[0])].append(event)
            elif known:
                # The payout came back, and so did what it paid.
                back = max(sending.came_back or event.available for sending in known)
                items.append(self._item((event,), max(event.available, back)))
            elif event.payouts:
                bundles[event.payouts[0]].append(event)
            else:
                items.append(self._item((event,), event.available))
        for link, events in bundles.items():
            bundle = self._item(tuple(events), max(event.available for event in events))
            items.append(replace(bundle, link=link))
        return linked, [item for item in items if item.amount]

    def _item(self, events: tuple[Event, ...], available: datetime.date) -> _Item:
        amount = sum((event.amount for event in events), ZERO)
        return _Item(events, self._minor(amount), available, all(event.held for event in events))

    def _solve(self, found: Mapping[int, _Found], items: Sequence[_Item], limits: solver.Limits) -> None:
        demands = []
        asked = []
        for sending in self.sendings:
            what = found[id(sending)]
            earned = sum((event.amount for event in what.linked), ZERO)
            missing = self._minor(sending.left - earned)
            if sending.came_back is not None or not missing:
                what.solved = True
                continue
            asked.append(what)
            demands.append(solver.Demand(missing, sending.date.toordinal(), anchored=bool(what.linked)))
        if not demands:
            return
        items = _as_available(items)
        pool = [solver.Item(item.amount, item.available.toordinal(), item.held) for item in items]
        for what, answer in zip(asked, solver.solve(pool, demands, limits), strict=True):
            ways = [[items[place] for place in explanation] for explanation in answer.explanations]
            what.alike = [items[place] for place in answer.alike]
            what.nearest = [items[place] for place in answer.nearest]
            what.bounded = answer.bounded
            if len(ways) == 1:
                what.found, what.solved = ways[0], True
            else:
                what.ways = ways

    def _settled(self, sending: Sending, what: _Found) -> Settled:
        """Return a payout with its state and the words for it."""
        found = what.found or _common(what.ways)
        certain = (*what.linked, *(event for item in _without(found, what.alike) for event in item.events))
        legs = (self._from_events(sending, what), self._to_bank(sending))
        states = {leg.state for leg in legs}
        payout = Payout(
            sending.links[0] if sending.links else None,
            self.channel.name,
            sending.date,
            self._rounded(sending.amount),
            tuple(dict.fromkeys(order for event in certain for order in event.orders)),
            next(state for state in (State.OPEN, State.EXPLAINED, State.MATCHED) if state in states),
            sending.bank_date,
            sum((leg.difference for leg in legs), ZERO),
        )
        return Settled(
            payout,
            (*what.linked, *(event for item in found for event in item.events)),
            (*(note for leg in legs for note in leg.notes), *sending.notes),
            sum((leg.unexplained for leg in legs), ZERO),
            linked=bool(what.linked),
            ambiguous=len(what.ways) > 1,
            late=bool(legs[1].unexplained),
            sending=sending,
        )

    def _from_events(self, sending: Sending, what: _Found) -> _Leg:
        """Return how what left the channel compares with what its events come to."""
        if sending.came_back is not None:
            return _Leg(self._rounded(ZERO), self._rounded(ZERO), State.MATCHED, ())
        earned = sum((event.amount for event in what.linked), ZERO)
        if not what.linked:
            # While something fits, or nobody can say, there is nothing to compare with but the payout itself.
            sure = what.solved or what.ways or what.bounded
            earned = sending.left if sure else self._major(sum(item.amount for item in what.nearest))
        difference = self._rounded(sending.left - earned)
        if what.solved:
            notes = [f"paid besides: {_listed(what.found, self._major)}"] if what.linked and what.found else []
            if what.alike:
                notes.append(f"another of the same amount may stand for {_listed(what.alike, self._major)}")
            state = State.EXPLAINED if difference else State.MATCHED
            return _Leg(difference, self._rounded(ZERO), state, tuple(notes))
        unexplained = ZERO if what.ways or what.bounded else difference
        return _Leg(
            difference, self._rounded(unexplained), State.OPEN, tuple(self._open(sending, what, difference)),
        )

    def _to_bank(self, sending: Sending) -> _Leg:
        """Return how what reached the bank compares with what left the channel."""
        if sending.came_back is not None:
            note = f"came back on {sending.came_back}; what it paid waits for another payout"
            return _Leg(self._rounded(-sending.amount), self._rounded(ZERO), State.EXPLAINED, (note,))
        difference = self._rounded(sending.arrived - sending.left)
        lost = self._rounded(sum((cost for _, cost in sending.costs), ZERO))
        missing = difference + lost
        late = sending.bank_date is not None or (self.last - sending.date).days > self.days
        notes = []
        if lost:
            notes.append(f"on the way: {', '.join(f'{name} {cost}' for name, cost in sending.costs)}")
        if missing:
            notes.append(self._not_in_bank(sending, missing))
        known = State.EXPLAINED if lost else State.MATCHED
        unexplained = missing if late else self._rounded(ZERO)
        return _Leg(difference, unexplained, State.OPEN if missing else known, tuple(notes))

    def _rounded(self, amount: Decimal) -> Decimal:
        return rounding.nearest(amount, minor_unit(self.currency))

    def _open(self, sending: Sending, what: _Found, of_events: Decimal) -> Iterator[str]:
        """Yield what is to be said of a payout whose events are not certain."""
        age = self._age(sending)
        of = f" the {of_events} that its own events leave" if what.linked else " it"
        if what.bounded:
            yield f"too many ways to explain{of}; links of the orders it paid would tell"
        elif what.ways:
            yield f"{len(what.ways)} explanations fit{of}: {self._ways(what.ways)}"
            yield "a link of the payout on one of these events would tell which"
        elif what.nearest:
            near = self._major(sum(item.amount for item in what.nearest))
            yield (
                f"nothing explains{of}, {age} old; nearest: {_listed(what.nearest, self._major)}, together "
                f"{near}, which differs by {of_events}"
            )
        else:
            yield f"nothing explains{of}, {age} old, and no event is near"

    def _age(self, sending: Sending) -> str:
        age = (self.last - sending.date).days
        return f"{age} day" if age == 1 else f"{age} days"

    def _ways(self, ways: Sequence[Sequence[_Item]]) -> str:
        """Return by what the explanations differ: each without what all have in common."""
        common = _common(ways)
        texts = [_listed(_without(way, common), self._major) or "nothing more" for way in ways[:_NAMED]]
        more = len(ways) - len(texts)
        return "; or ".join(texts) + (f"; or {more} more" if more else "")

    def _not_in_bank(self, sending: Sending, missing: Decimal) -> str:
        age = self._age(sending)
        if sending.bank_date is not None:
            if missing > 0:
                return f"{missing} more reached the bank than was paid out"
            return f"{-missing} of it has not reached the bank, {age} after it left"
        near = sorted(
            sending.nearest, key=lambda deposit: (abs(deposit.transit + sending.under_way), deposit.date),
        )
        like = ", ".join(f"{-deposit.transit} on {deposit.date}" for deposit in near[:2])
        return f"under way for {age}" + (f"; deposits near it: {like}" if like else "")


def _as_available(items: Iterable[_Item]) -> list[_Item]:
    """Return what is solved for in the order in which it became available."""

    def key(item: _Item) -> tuple[datetime.date, str]:
        return item.available, item.link

    return [
        item
        for _, same in groupby(sorted(items, key=key), key=key)
        for item in in_order(same, lambda item: item.events[0].record.entry)
    ]


def _common(ways: Sequence[Sequence[_Item]]) -> list[_Item]:
    """Return what is in all explanations."""
    if not ways:
        return []
    return [item for item in ways[0] if all(any(item is other for other in way) for way in ways[1:])]


def _without(items: Iterable[_Item], others: Iterable[_Item]) -> list[_Item]:
    left_out = set(map(id, others))
    return [item for item in items if id(item) not in left_out]


def _listed(items: Iterable[_Item], major: Callable[[int], Decimal]) -> str:
    """Return some events in words."""
    texts = []
    for item in items:
        number = item.link.removeprefix("payout-")
        what = f"all of {number}" if number else describe(item.events[0])
        texts.append(f"{what} {major(item.amount)}")
    more = len(texts) - _NAMED
    return ", ".join(texts[:_NAMED]) + (f" and {more} more" if more > 0 else "")


def describe(event: Event) -> str:
    """Return what an event is called in a sentence."""
    if event.orders:
        what = " and ".join(sorted((order.removeprefix("order-") for order in event.orders), key=natural))
    else:
        entry = event.record.entry
        what = f'"{entry.narration or entry.payee or ""}"'
    return f"{event.kind} {what} of {event.date}"


def title(settled: Settled) -> str:
    """Return what a payout is called in a table."""
    if settled.payout.payout is not None:
        return name_of(settled.sending)
    return f"{settled.payout.channel}, no number"
