"""One channel and one year: from what buyers paid to what reached the bank.

The lines are what the year's events post beside the channel's account, and `other` is what is left of them:
claims paid and given back, private money, what was bought from the balance. Money held back stays with the
channel, so what moves between its account and `:Reserve` is no line. With the lines the year opens as the one
before it ended::

    opening + gross + tax_collected - tax_remitted - refunds - fees - ads - labels - exchange
        + compensation + other - paid_out = held
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.channels import Pocket, changes_of, read_channels
from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.payouts import DAYS, State, settle_channel, settlement_of
from millilot.reports.year_lines import payments

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from decimal import Decimal

    from millilot.ledger.channels import Channel, Transfer
    from millilot.ledger.records import Books, Record
    from millilot.reports.payouts import Settled, Settlement

#: Receipts, as in the totals of the year.
RECEIPTS = frozenset({Role.SALES, Role.POSTAGE_CHARGED, Role.UNSORTED, Role.SWAPS})

#: The line an amount stands in, and the sign with which it does.
_LINES: Mapping[Role, tuple[str, int]] = {
    **dict.fromkeys(RECEIPTS, ("gross", -1)),
    Role.REFUNDS: ("refunds", 1),
    Role.FEES: ("fees", 1),
    Role.ADS: ("ads", 1),
    Role.POSTAGE: ("labels", 1),
    Role.EXCHANGE: ("exchange", 1),
    Role.COMPENSATION: ("compensation", -1),
}

DAY = datetime.timedelta(days=1)

#: The line of what was taken from a payout on its way, by the name of its role.
_COSTS: Mapping[str, str] = {role.value: line for role, (line, _) in _LINES.items()}

#: The sign of each line in what the channel holds.
SIGNS: Mapping[str, int] = {
    "opening": 1,
    "gross": 1,
    "tax_collected": 1,
    "tax_remitted": -1,
    "refunds": -1,
    "fees": -1,
    "ads": -1,
    "labels": -1,
    "exchange": -1,
    "compensation": 1,
    "other": 1,
    "paid_out": -1,
}


class UnknownChannelError(Exception):
    """The books have no channel of this name."""

    def __init__(self, name: str, known: Iterable[str]) -> None:
        names = ", ".join(known)
        there = f"the books have {names}" if names else "the books have no channel"
        super().__init__(f'There is no channel "{name}"; {there}.')


@dataclass(frozen=True, slots=True)
class ChannelYear:
    """The totals of a channel's year, in the operating currency.

    Attributes:
        opening: what the channel held when the year began.
        gross: receipts, before refunds and without tax.
        tax_collected: sales tax that buyers paid.
        tax_remitted: sales tax the channel handed on itself.
        refunds: what went back to buyers, without tax.
        fees: the channel's fees.
        ads: what it took for advertising.
        labels: postage bought from the balance.
        exchange: what conversion cost.
        compensation: what the channel paid for damage.
        other: everything else.
        paid_out: what was paid out, less what came back.
        in_transit: what was paid out and not in the bank when the year ended.
        held: what the channel held then.
        reserved: how much of that it held back.
        difference: what the year's end finds in payouts that is neither explained nor on its way, and in deposits
            of no known payout, less what its beginning found.
        transactions: payments received.
    """

    opening: Decimal
    gross: Decimal
    tax_collected: Decimal
    tax_remitted: Decimal
    refunds: Decimal
    fees: Decimal
    ads: Decimal
    labels: Decimal
    exchange: Decimal
    compensation: Decimal
    other: Decimal
    paid_out: Decimal
    in_transit: Decimal
    held: Decimal
    reserved: Decimal
    difference: Decimal
    transactions: int


@dataclass(frozen=True, slots=True)
class Statement:
    """A channel's year, the payouts that were open when it ended, and deposits of no known payout."""

    channel: Channel
    year: ChannelYear
    open: tuple[Settled, ...]
    strays: tuple[Transfer, ...]


def find(channels: Iterable[Channel], name: str) -> Channel:
    """Return the channel of a name or an account.

    Raises:
        UnknownChannelError: there is none.
    """
    channels = list(channels)
    for channel in channels:
        if name == channel.account or name.casefold() == channel.name.casefold():
            return channel
    raise UnknownChannelError(name, (channel.name for channel in channels))


def statement(
    books: Books,
    name: str,
    start: datetime.date,
    end: datetime.date,
    days: int = DAYS,
) -> Statement:
    """Return a channel's year, or any range of days.

    Args:
        books: books read up to the last day or later.
        name: of the channel, or its account.
        start: the first day.
        end: the last day, itself included.
        days: a payout is in the bank within so many days.

    Raises:
        UnknownChannelError: there is no such channel.
    """
    known = find(read_channels(books).values(), name)
    last = min(end, books.last or end)
    if last == books.last:
        channel, settlement = known, settlement_of(books, known.account, days)
    else:
        channel, settlement = _state(books, known, last, days)
    _, before_it = _state(books, known, start - DAY, days)
    unit = minor_unit(books.currency)
    lines: dict[str, Decimal] = defaultdict(lambda: ZERO)
    for record in records_of(channel):
        if record.date >= start:
            for line, amount in _lines(record):
                lines[line] += amount
    for transfer in channel.transfers:
        if transfer.date >= start:
            lines["paid_out"] += transfer.left
            for cost, amount in transfer.costs if transfer.left else ():
                lines["paid_out"] -= amount
                lines[_COSTS.get(cost, "other")] += amount
    before = holds(channel, start - DAY)
    after = holds(channel, end)
    amounts = {name: rounding.nearest(lines[name], unit) for name in SIGNS}
    amounts["opening"] = rounding.nearest(before[Pocket.MAIN] + before[Pocket.RESERVE], unit)
    held = rounding.nearest(after[Pocket.MAIN] + after[Pocket.RESERVE], unit)
    # Nothing is lost: what the other lines do not tell, this one does.
    amounts["other"] = held - sum((SIGNS[name] * amounts[name] for name in SIGNS if name != "other"), ZERO)
    unexplained, known_before = (_unexplained(state) for state in (settlement, before_it))
    tagged = sum((event.amount for event in settlement.unpaid if event.held), ZERO)
    return Statement(
        known,
        ChannelYear(
            **amounts,
            in_transit=rounding.nearest(after[Pocket.TRANSIT], unit),
            held=held,
            reserved=rounding.nearest(after[Pocket.RESERVE] + tagged, unit),
            difference=rounding.nearest(unexplained - known_before, unit),
            transactions=payments(record for record in records_of(channel) if record.date >= start),
        ),
        tuple(
            each
            for each in settlement.payouts
            if each.payout.state is State.OPEN and (each.payout.date >= start or each.unexplained)
        ),
        settlement.strays,
    )


def _state(books: Books, channel: Channel, day: datetime.date, days: int) -> tuple[Channel, Settlement]:
    """Return a channel and its payouts as they stood at the end of a day."""
    known = replace(books, records=tuple(record for record in books.records if record.date <= day))
    channel = read_channels(known).get(channel.account, replace(channel, events=(), transfers=()))
    return channel, settle_channel(channel, books.currency, day, days)


def _unexplained(settlement: Settlement) -> Decimal:
    """Return what nothing explains: of payouts, and deposits of no known payout."""
    strays = sum((-deposit.transit for deposit in settlement.strays), ZERO)
    return sum((each.unexplained for each in settlement.payouts), strays)


def records_of(channel: Channel) -> list[Record]:
    """Return the records of a channel's events, by day."""
    return [event.record for event in channel.events]


def holds(channel: Channel, day: datetime.date) -> dict[Pocket, Decimal]:
    """Return what stands in each pocket of a channel at the end of a day."""
    held = dict.fromkeys(Pocket, ZERO)
    for record in (*records_of(channel), *(transfer.record for transfer in channel.transfers)):
        if record.date <= day:
            for pocket, amount in changes_of(record.money)[channel.account].items():
                held[pocket] += amount
    return held


def _lines(record: Record) -> Iterator[tuple[str, Decimal]]:
    """Yield what an event adds to the lines; money of two channels at once tells neither's lines."""
    if len(changes_of(record.money)) > 1:
        return
    backwards = is_refund(record)
    for money in record.money:
        if money.role in _LINES:
            line, sign = _LINES[money.role]
            yield line, sign * money.amount
        elif money.role is Role.SALES_TAX:
            # Of a sale, what is credited was collected; of a refund, what is debited was given back.
            collected = (money.amount < 0) is not backwards
            yield ("tax_collected", -money.amount) if collected else ("tax_remitted", money.amount)


def is_refund(record: Record) -> bool:
    """Whether a record gives money back and sells nothing."""
    sold = any(money.role in RECEIPTS and money.amount < 0 for money in record.money)
    return not sold and any(money.role is Role.REFUNDS and money.amount > 0 for money in record.money)


#: The names of the lines, as in every output.
COLUMNS = tuple(field.name for field in fields(ChannelYear))
