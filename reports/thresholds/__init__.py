"""How far a year is from what somebody reports or taxes: thresholds as data, each with its years and source.

A file in `thresholds/` beside the books is read as those shipped are; a threshold of it takes the place of one of
the same name that begins on the same day. All keys::

    [[thresholds]]
    name = "us-1099-k"
    title = "Form 1099-K"
    from = 2025-01-01           # the first day it applies on; absent: from the beginning
    to = 2025-12-31             # the last; absent: until another begins
    books = ["USD"]             # shown for books in one of these currencies; absent: for all
    currency = "USD"            # of the amount
    measure = "gross_receipts"  # a line of `millilot year`
    per-channel = true          # for each channel by itself; receipts only
    amount = "20000.00"
    count = 200                 # payments received; absent: the amount alone counts
    reached = "above both"      # "above" or "from" the amount; with a count "above both" or "above either"
    count-reached = "above"     # or "from", of the count
    source = "..."
    checked = 2026-11-25        # or false
    note = "..."
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.ledger.accounts import Role
from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.data_files import amount_of, checked_of, read_tables, told_as
from millilot.reports.filled import UNCHECKED
from millilot.reports.forms import FormError
from millilot.reports.year import year
from millilot.reports.year_lines import PAYMENT_ROLES, TOTALS, YEAR_LINES, payment_parts

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from millilot.importers.section import Section
    from millilot.ledger.records import Books, Record

ABOVE, FROM, BOTH, EITHER = "above", "from", "above both", "above either"

#: Parts of a channel's account that hold money of its own.
_PARTS_OF_CHANNEL = (":Transit", ":Reserve")


@dataclass(frozen=True, slots=True)
class Threshold:
    """A threshold; see the module for what its parts mean."""

    name: str
    title: str
    begins: datetime.date | None
    ends: datetime.date | None
    books: tuple[str, ...]
    currency: str
    measure: str
    per_channel: bool
    amount: Decimal
    count: int | None
    reached: str
    count_reached: str
    source: str
    checked: datetime.date | None
    note: str


@dataclass(frozen=True, slots=True)
class Distance:
    """How far a year is from a threshold.

    Attributes:
        threshold: its name.
        title: what it is.
        channel: the channel's account it is looked at for, or None.
        amount: what counts towards it, in minor units; None when the books have another currency.
        limit: the threshold, in `currency`.
        left: what is left up to it, negative beyond it; None when the books have another currency.
        count: payments received, None when they do not count.
        count_limit: the threshold for them, or None.
        count_left: what is left up to it, or None.
        reached: whether it is reached, or None when that cannot be told.
        currency: of the limit.
        mark: "?" when it was not checked, else "".
        source: where it was read.
        note: what has to be known about it.
    """

    threshold: str
    title: str
    channel: str | None
    amount: Decimal | None
    limit: Decimal
    left: Decimal | None
    count: int | None
    count_limit: int | None
    count_left: int | None
    reached: bool | None
    currency: str
    mark: str
    source: str
    note: str


def read_thresholds(*folders: Path) -> list[Threshold]:
    """Read the thresholds that are shipped, then those in folders.

    Args:
        folders: where the owner's own may lie; one that does not exist holds none.

    Raises:
        FormError: a file cannot be read.
    """
    known: dict[tuple[str, datetime.date | None], Threshold] = {}
    with told_as(FormError):
        for threshold in map(_threshold, read_tables(__name__, folders, "thresholds")):
            known[threshold.name, threshold.begins] = threshold
    return list(known.values())


def thresholds(
    books: Books, start: datetime.date, end: datetime.date, known: Iterable[Threshold],
) -> list[Distance]:
    """Return how far a range of days is from each threshold in force on its last day.

    Args:
        books: books read up to the last day or later.
        start: the first day.
        end: the last day, itself included.
        known: the thresholds; those for books in another currency are left out.
    """
    in_force = [
        each
        for each in known
        if (each.begins is None or each.begins <= end)
        and (each.ends is None or end <= each.ends)
        and (not each.books or books.currency in each.books)
    ]
    # Of one name, the latest to begin.
    latest: dict[str, Threshold] = {}
    for each in sorted(in_force, key=lambda each: each.begins or datetime.date.min):
        latest[each.name] = each
    whole = year(books, start, end).rounded(books.currency)
    channels = list(_by_channel(books, start, end))
    distances = []
    for each in latest.values():
        measured: Sequence[tuple[str | None, Decimal, int]] = (
            channels if each.per_channel else [(None, asdict(whole)[each.measure], whole.transactions)]
        )
        distances += [_distance(each, books.currency, *amounts) for amounts in measured]
    return distances


def _distance(
    threshold: Threshold, currency: str, channel: str | None, amount: Decimal, count: int,
) -> Distance:
    same = currency == threshold.currency
    by_amount = _is_reached(amount, threshold.amount, threshold.reached) if same else None
    by_count = None
    if threshold.count is not None:
        by_count = _is_reached(Decimal(count), Decimal(threshold.count), threshold.count_reached)
    return Distance(
        threshold=threshold.name,
        title=threshold.title,
        channel=channel,
        amount=amount if same else None,
        limit=threshold.amount,
        left=threshold.amount - amount if same else None,
        count=None if threshold.count is None else count,
        count_limit=threshold.count,
        count_left=None if threshold.count is None else threshold.count - count,
        reached=_together(by_amount, by_count, threshold),
        currency=threshold.currency,
        mark=UNCHECKED if threshold.checked is None else "",
        source=threshold.source,
        note=threshold.note,
    )


def _is_reached(amount: Decimal, limit: Decimal, how: str) -> bool:
    return amount >= limit if how == FROM else amount > limit


def _together(by_amount: bool | None, by_count: bool | None, threshold: Threshold) -> bool | None:
    """Return whether a threshold is reached, None when it depends on an amount that is not known."""
    if threshold.count is None:
        return by_amount
    # One that is missed settles both, and one that is reached settles either.
    settles = threshold.reached == EITHER
    if settles in {by_amount, by_count}:
        return settles
    return None if by_amount is None else not settles


def _by_channel(
    books: Books, start: datetime.date, end: datetime.date,
) -> Iterator[tuple[str, Decimal, int]]:
    """Yield the receipts of each channel that were paid in money, and how many payments they were."""
    receipts: dict[str, Decimal] = defaultdict(Decimal)
    payments: dict[str, int] = defaultdict(int)
    records = [record for record in books.records if start <= record.date <= end]
    counted = {id(part.entry) for part in payment_parts(records)}
    for record in records:
        channel = _channel(record)
        if channel is None:
            continue
        receipts[channel] -= sum(
            (money.amount for money in record.money if money.role in PAYMENT_ROLES), Decimal(0),
        )
        payments[channel] += id(record.entry) in counted
    for channel in sorted(receipts):
        yield channel, rounding.nearest(receipts[channel], minor_unit(books.currency)), payments[channel]


def _channel(record: Record) -> str | None:
    """Return the account of the channel an entry belongs to, None when it is of none or of several."""
    accounts = set()
    for money in record.money:
        if money.role is Role.MARKETPLACE:
            account = money.account
            for part in _PARTS_OF_CHANNEL:
                account = account.removesuffix(part)
            accounts.add(account)
    return accounts.pop() if len(accounts) == 1 else None


def _threshold(table: Section) -> Threshold:
    count: int | None = table.get("count", int, "a whole number", None)
    amount = amount_of(table, "amount")
    if amount is None:
        raise table.problem('the key amount is missing; expected one such as "1000.00"')
    ways = (ABOVE, FROM) if count is None else (BOTH, EITHER)
    threshold = Threshold(
        name=table.text("name"),
        title=table.text("title"),
        begins=table.get("from", datetime.date, "a day such as 2026-01-01", None),
        ends=table.get("to", datetime.date, "a day such as 2026-12-31", None),
        books=table.texts("books"),
        currency=table.text("currency"),
        measure=table.choice("measure", [*YEAR_LINES, *TOTALS], "gross_receipts"),
        per_channel=table.flag("per-channel", default=False),
        amount=amount,
        count=count,
        reached=table.choice("reached", ways, ways[0]),
        count_reached=table.choice("count-reached", (ABOVE, FROM), ABOVE),
        source=table.text("source"),
        checked=checked_of(table, None),
        note=table.text("note", ""),
    )
    table.close()
    return threshold
