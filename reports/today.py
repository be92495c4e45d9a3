"""What is to be done this week: one line for each kind of thing that waits, with the command that settles it."""

from __future__ import annotations

import datetime
from collections import deque
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.unsorted import unsorted_lines
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import ORDER
from millilot.ledger.directives import EACH, MILLILITRES
from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.bottles import plain
from millilot.reports.payouts import State, settle, title
from millilot.reports.pour import to_pour
from millilot.reports.splits import rounded, splits
from millilot.reports.stock import stock

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from decimal import Decimal

    from millilot.ledger.records import Books, Record
    from millilot.reports.pour import Pour, Stuck, ToPour

#: After so many days an order is late, unless the owner says otherwise; common practice, no source.
LATE_AFTER = 3
#: A supply that runs out within so many days is to be ordered.
REORDER_WITHIN = datetime.timedelta(days=30)


@dataclass(frozen=True, slots=True)
class Task:
    """Something to be done.

    Attributes:
        key: to-pour, late, short, unsorted, payouts, supplies, claims or sales-tax.
        what: the same in words.
        count: how many orders, bottles, rows, payouts, supplies, splits, or entries with tax.
        amount: mL to pour or missing, or money in minor units; None for supplies.
        unit: mL or the currency; None without an amount.
        oldest: since when the oldest of them waits; of supplies, when the first runs out.
        command: the command that settles it, or None.
        names: what they are called, the oldest first.
    """

    key: str
    what: str
    count: int
    amount: Decimal | None
    unit: str | None
    oldest: datetime.date | None
    command: str | None
    names: tuple[str, ...]


def today(books: Books, day: datetime.date, late_after: int = LATE_AFTER) -> list[Task]:
    """Return what is to be done, in the order in which it presses; nothing when there is nothing.

    Args:
        books: read up to the day.
        day: the day of the report.
        late_after: an order is late when it has waited longer than so many days.
    """
    waiting = to_pour(books, day)
    return [
        *_orders(waiting, late_after),
        *_short(waiting),
        *_unsorted(books),
        *_payouts(books, day),
        *_supplies(books, waiting, day),
        *_claims(books),
        *_sales_tax(books, day),
    ]


def _orders(waiting: ToPour, late_after: int) -> Iterator[Task]:
    pours = [pour for bottle in waiting.bottles for pour in bottle.pours]
    tasks = (
        ("to-pour", "Orders to pour", -1),
        ("late", f"Late, over {_count(late_after, 'day')}", late_after),
    )
    for key, what, more_than in tasks:
        chosen = [pour for pour in pours if pour.days > more_than]
        late: list[Pour | Stuck] = [*chosen, *(each for each in waiting.stuck if each.days > more_than)]
        # An order of two bottles stands at both.
        orders = {_name(each): each.ordered for each in sorted(late, key=lambda each: each.ordered, reverse=True)}
        if orders:
            yield Task(
                key,
                what,
                len(orders),
                plain(sum((pour.ml for pour in chosen), ZERO)),
                MILLILITRES,
                min(orders.values()),
                "millilot pour",
                tuple(sorted(orders, key=lambda name: (orders[name], name))),
            )


def _name(waits: Pour | Stuck) -> str:
    # What has no link is called by its place, as `millilot poured` takes it.
    return waits.order.removeprefix(ORDER) if waits.order else Path(waits.place).name


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _short(waiting: ToPour) -> Iterator[Task]:
    short = [bottle for bottle in waiting.bottles if bottle.after < 0]
    if short:
        yield Task(
            "short",
            "Bottles short for them",
            len(short),
            -sum((bottle.after for bottle in short), ZERO),
            MILLILITRES,
            min(pour.ordered for bottle in short for pour in bottle.pours if pour.short),
            "millilot pour",
            tuple(bottle.bottle for bottle in short),
        )


def _unsorted(books: Books) -> Iterator[Task]:
    # What is wholly in another currency has no record.
    entries = [*(record.entry for record in books.records), *(item.entry for item in books.foreign)]
    lines = unsorted_lines({id(entry): entry for entry in entries}.values(), books.settings.roles)
    if lines:
        prices = (line.price for line in lines if line.currency == books.currency)
        yield Task(
            "unsorted",
            "Rows unsorted",
            len(lines),
            _money(prices, books),
            books.currency,
            lines[0].date,
            "millilot sort",
            tuple(line.name for line in lines),
        )


def _payouts(books: Books, day: datetime.date) -> Iterator[Task]:
    late = [
        each
        for settlement in settle(books, last=day)
        for each in settlement.payouts
        if each.late and each.payout.state is State.OPEN and each.sending.under_way
    ]
    late.sort(key=lambda each: (each.payout.date, each.payout.channel))
    if late:
        yield Task(
            "payouts",
            "Payouts late",
            len(late),
            _money((each.sending.under_way for each in late), books),
            books.currency,
            late[0].payout.date,
            "millilot payouts",
            tuple(title(each) for each in late),
        )


def _supplies(books: Books, waiting: ToPour, day: datetime.date) -> Iterator[Task]:
    """Yield the supplies that run low or out, and those that orders wait for; not what is no longer used."""
    missing = {supply.supply for supply in waiting.supplies if supply.short}
    until = _later(day, REORDER_WITHIN)
    due = [
        each
        for each in stock(books, day)
        if each.unit == EACH
        and (
            each.supply in missing
            or (each.low and each.used_per_month)
            or (each.runs_out_on is not None and each.runs_out_on <= until)
        )
    ]
    if due:
        due.sort(key=lambda each: (each.runs_out_on or day, each.supply or ""))
        yield Task(
            "supplies",
            "Supplies to reorder",
            len(due),
            None,
            None,
            min((each.runs_out_on for each in due if each.runs_out_on is not None), default=None),
            "millilot stock",
            tuple(each.supply or "" for each in due),
        )


def _later(day: datetime.date, by: datetime.timedelta) -> datetime.date:
    return datetime.date.max if datetime.date.max - day < by else day + by


def _claims(books: Books) -> Iterator[Task]:
    held = [row for row in rounded(splits(books), books.currency) if row.money_held]
    total = sum((row.money_held for row in held), ZERO)
    if total > 0:
        links = {row.split for row in held}
        concerned = [
            record
            for record in books.records
            if None in links or links & (record.entry.links or frozenset())
        ]
        paid = [day for day, _ in _not_settled(concerned, Role.CLAIMS)]
        yield Task(
            "claims",
            "Money held for claims",
            len(held),
            total,
            books.currency,
            min(paid, default=None),
            "millilot splits",
            tuple(row.split or row.bottle or "no split" for row in held),
        )


def _sales_tax(books: Books, day: datetime.date) -> Iterator[Task]:
    owed = _not_settled(books.records, Role.SALES_TAX)
    total = _money((amount for _, amount in owed), books)
    if total > 0:
        yield Task(
            "sales-tax",
            "Sales tax to remit",
            len(owed),
            total,
            books.currency,
            owed[0][0],
            None,
            (books.settings.roles.on(day).account(Role.SALES_TAX),),
        )


def _not_settled(records: Iterable[Record], role: Role) -> Sequence[tuple[datetime.date, Decimal]]:
    """Return what was taken on the accounts of a role and is still owed, by day; what is settled is the oldest."""
    owed: deque[tuple[datetime.date, Decimal]] = deque()
    ahead = ZERO
    for record in records:
        left = ahead - sum((money.amount for money in record.money if money.role is role), ZERO)
        while left < 0 and owed:
            day, amount = owed.popleft()
            left += amount
            if left > 0:
                owed.appendleft((day, left))
                left = ZERO
        if left > 0:
            owed.append((record.date, left))
        ahead = min(left, ZERO)
    return list(owed)


def _money(amounts: Iterable[Decimal], books: Books) -> Decimal:
    return rounding.nearest(sum(amounts, ZERO), minor_unit(books.currency))
