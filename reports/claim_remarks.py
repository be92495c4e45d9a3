"""What looks odd about claims in books that are otherwise right: promises that cannot be kept, links left out."""

from __future__ import annotations

import datetime
from itertools import groupby
from operator import attrgetter
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.claims import Promises, SplitBottle
from millilot.ledger.records import Kind

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from decimal import Decimal

    from millilot.ledger.records import Books, Record

DAY = datetime.timedelta(days=1)


class ClaimRemark(NamedTuple):
    """A remark on a transaction."""

    record: Record
    message: str


def claim_remarks(books: Books) -> Iterator[ClaimRemark]:
    """Yield draws that leave less in a bottle than is claimed of it, and pours without the link of their split."""
    claims = list(books.settings.claims)
    if not claims:
        return
    promises = Promises(books)
    for day, of_day in groupby(books.records, key=attrgetter("date")):
        while claims and claims[0].day <= day:
            claim = claims.pop(0)
            promises.advance(claim.day)
            promises.add(claim)
        promises.advance(day)
        records = list(of_day)
        for record in records:
            yield from _unlinked(promises, record)
        yield from _left_short(promises, day, records)


def _unlinked(promises: Promises, record: Record) -> Iterator[ClaimRemark]:
    if not any(money.role is Role.CLAIMS and money.amount > 0 for money in record.money):
        return
    links = {"", *(record.entry.links or ())}
    sold = dict.fromkeys(move.bottle for move in record.moves if move.kind is Kind.SOLD and move.quantity < 0)
    for bottle in sold:
        splits = sorted(part.split for part in promises.of if part.bottle == bottle)
        if splits and not links & set(splits):
            yield ClaimRemark(
                record,
                f"This sale from {bottle} is paid from claims, but has not the link of a split that claims it, so "
                f"it meets no claim; expected: {' or '.join(f'^{split}' for split in splits)}",
            )


def _left_short(promises: Promises, day: datetime.date, records: Sequence[Record]) -> Iterator[ClaimRemark]:
    """Enter the transactions of a day; yield those that take what is claimed, though they do not pour it."""
    before = {part.bottle: _missing(promises, part.bottle) for part in promises.of}
    poured = [promises.poured(record) for record in records]
    promises.advance(day + DAY)
    for bottle, missed in before.items():
        missing = _missing(promises, bottle)
        if missing <= missed:
            continue
        for record, met in zip(records, poured, strict=True):
            beside = _drawn(record, bottle) - _met(met, bottle)
            # What is lost in pouring claims is said once; every other draw could have been left.
            if beside > 0 and not (missed and _met(met, bottle)):
                yield ClaimRemark(
                    record,
                    f"On the evening of {day}, {promises.holds(bottle)} mL are left in {bottle} and "
                    f"{promises.open(bottle)} mL of it are claimed: {missing} mL too little.",
                )


def _missing(promises: Promises, bottle: str) -> Decimal:
    """Return the mL by which a bottle falls short of its claims."""
    return max(promises.open(bottle) - (promises.holds(bottle) or ZERO), ZERO)


def _drawn(record: Record, bottle: str) -> Decimal:
    return -sum((move.quantity for move in record.moves if move.bottle == bottle), ZERO)


def _met(met: Mapping[SplitBottle, Decimal], bottle: str) -> Decimal:
    return sum((quantity for part, quantity in met.items() if part.bottle == bottle), ZERO)
