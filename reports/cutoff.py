"""What lies across the end of a year: orders paid on or before its last day and poured after it.

The books count a sale when it is written and a claim when it is poured, so some of these orders are in the year
and some are not. Whoever prepares a return on another basis needs the list.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.annotations import ORDERED, POURED_ON, TO_POUR, day_of
from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.check import place
from millilot.reports.splits import SPLIT
from millilot.reports.year_lines import PAYMENT_ROLES

if TYPE_CHECKING:
    from collections.abc import Iterator
    from decimal import Decimal

    from millilot.ledger.records import Books, Record

BEFORE_YEAR = "before the year"
IN_YEAR = "in the year"
AFTER_YEAR = "after the year"


@dataclass(frozen=True, slots=True)
class CutOff:
    """An order paid on or before the last day of a year and poured after it, or not poured yet.

    Attributes:
        order: its link without the caret, or that of the split, or None.
        what: the narration.
        paid: when it was paid; for claims, the last payment.
        poured: when it was poured, or None if it is still waiting.
        amount: what was paid, in minor units of the operating currency.
        counted: whether the receipts of the year hold it, or those before or after it.
        place: the file and line.
    """

    order: str | None
    what: str
    paid: datetime.date
    poured: datetime.date | None
    amount: Decimal
    counted: str
    place: str


def cut_off(books: Books, start: datetime.date, end: datetime.date) -> list[CutOff]:
    """Return the orders that lie across the last day of a range of days, by the day they were paid.

    Args:
        books: all the books, and not only up to the last day.
        start: the first day; what was paid before it and is still not poured is listed too.
        end: the last day, itself included.
    """
    found = [*_not_poured(books, start, end), *_ordered_before(books, end), *_claims(books, end)]
    unit = minor_unit(books.currency)
    listed = [replace(each, amount=rounding.nearest(each.amount, unit)) for each in found]
    return sorted(listed, key=lambda each: (each.paid, each.order or "", each.place))


def _not_poured(books: Books, start: datetime.date, end: datetime.date) -> Iterator[CutOff]:
    """Yield the sales whose goods went out after the last day; the books draw them on the day of the sale."""
    for record in books.records:
        if record.date <= end and _receipts(record) > 0:
            poured = _poured(record)
            if poured is None or poured > end:
                counted = IN_YEAR if record.date >= start else BEFORE_YEAR
                yield _listed(record, poured, _receipts(record), counted)


def _ordered_before(books: Books, end: datetime.date) -> Iterator[CutOff]:
    """Yield the sales that were ordered on or before the last day and are written after it."""
    for record in books.records:
        if _ordered(record) <= end < record.date and _receipts(record) > 0:
            yield _listed(record, _poured(record), _receipts(record), AFTER_YEAR)


def _listed(record: Record, poured: datetime.date | None, amount: Decimal, counted: str) -> CutOff:
    entry = record.entry
    return CutOff(
        record.order, entry.narration or "", _ordered(record), poured, amount, counted, place(entry.meta),
    )


def _claims(books: Books, end: datetime.date) -> Iterator[CutOff]:
    """Yield the money held for claims on the last day, and when what it was paid for was poured."""
    for link, records in _by_claim(books).items():
        before = [record for record in records if record.date <= end]
        paid = [record for record in before if _on_claims(record) < 0]
        held = -sum(map(_on_claims, before), ZERO)
        if paid and held > 0:
            met = next((each.date for each in records if each.date > end and _on_claims(each) > 0), None)
            yield replace(_listed(paid[-1], met, held, AFTER_YEAR), order=link, paid=paid[-1].date)


def _by_claim(books: Books) -> dict[str | None, list[Record]]:
    """Return the records with money for claims, by order where every pour names its order, else by split.

    Payments into a split may lack the order that the pour has; then only the split ties them together.
    """
    by_split: dict[str | None, list[Record]] = defaultdict(list)
    for record in books.records:
        if _on_claims(record):
            by_split[_split(record)].append(record)
    by_claim: dict[str | None, list[Record]] = defaultdict(list)
    for split, records in by_split.items():
        paid_for = {record.order for record in records if _on_claims(record) < 0}
        tied = all(record.order in paid_for for record in records if _on_claims(record) > 0)
        for record in records:
            by_claim[record.order or split if tied else split].append(record)
    return by_claim


def _on_claims(record: Record) -> Decimal:
    """Return what an entry posts on the claims account: negative when a claim is paid."""
    return sum((money.amount for money in record.money if money.role is Role.CLAIMS), ZERO)


def _split(record: Record) -> str | None:
    return min((link for link in record.entry.links or () if link.startswith(SPLIT)), default=None)


def _receipts(record: Record) -> Decimal:
    """Return the receipts of an entry, but for those that were paid as a claim before."""
    receipts = -sum((money.amount for money in record.money if money.role in PAYMENT_ROLES), ZERO)
    return receipts - max(_on_claims(record), ZERO)


def _poured(record: Record) -> datetime.date | None:
    """Return when the goods of a sale went out, None while they wait."""
    if TO_POUR in (record.entry.tags or ()):
        return None
    poured = record.entry.meta.get(POURED_ON)
    return poured if isinstance(poured, datetime.date) else record.date


def _ordered(record: Record) -> datetime.date:
    return day_of(record.entry, ORDERED) or record.date
