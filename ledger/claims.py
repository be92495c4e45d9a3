"""Claims: mL of a bottle that are promised before they are poured.

::

    2026-03-01 custom "claim" "CH-7" 30 CEDARHOUR 45.00 USD
      split: "split-2026-03"

- A claim is made on the morning of its day, as a stocktake is: what happens on that day comes after it, but a
  bottle that comes in on that day is there.
- Its price is all that is owed for it, so postage too if that is paid beforehand.
- The money paid for it is a debt, on the claims account, until the pour or the refund::

      2026-03-04 * "Claim paid" ^split-2026-03 ^order-anna-1 #split
        Assets:Bank          45.00 USD
        Liabilities:Claims  -45.00 USD

- It is met by a sale from its bottle, on its day or later, that is paid from the claims account in a transaction
  with the split's link. A share given away, at no price, needs the link only. Neither can meet more than is
  still open; what goes beyond that is a sale like any other.
- Such a sale that comes back to the claims account opens the claim again. One that is refunded otherwise leaves
  it met: the goods are back, and nobody waits for them.
- A claim outside any split is met by a sale from its bottle that is paid from the claims account.
- A drop-out takes a claim back, with a minus; a split that is not filled takes all back. What nobody claimed is
  the host's own, and stays stock.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.records import Kind

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping
    from decimal import Decimal

    from millilot.ledger.directives import Claim
    from millilot.ledger.records import Books, Record


class SplitBottle(NamedTuple):
    """A bottle in a split; the split is "" for claims outside any."""

    split: str
    bottle: str


@dataclass(slots=True)
class Promise:
    """What is promised of a bottle in a split.

    Attributes:
        commodity: the fragrance.
        claimed: mL claimed, less what was taken back.
        price: what is owed for it in all.
        poured: mL of it that were poured.
    """

    commodity: str
    claimed: Decimal = ZERO
    price: Decimal = ZERO
    poured: Decimal = ZERO

    @property
    def open(self) -> Decimal:
        """The mL claimed and not yet poured."""
        return self.claimed - self.poured


class Promises:
    """All promises on one morning of a walk through the books, and what the bottles hold.

    It is told of the claims day by day, and has the transactions before each day entered.

    Args:
        books: the books.

    Attributes:
        of: the promises by split and bottle, in the order in which they were first made.
    """

    def __init__(self, books: Books) -> None:
        self.of: dict[SplitBottle, Promise] = {}
        self._records = books.records
        self._entered = 0
        self._left: dict[str, Decimal] = {}
        self._coming = {
            move.bottle: move.quantity
            for record in books.records
            for move in record.moves
            if move.quantity > 0 and books.bottles[move.bottle].source is record.entry
        }
        self._commodities = {name: bottle.commodity.code for name, bottle in books.bottles.items()}

    def add(self, claim: Claim) -> None:
        """Make a claim, or take one back."""
        self.expect(claim)
        promise = self.of.setdefault(SplitBottle(claim.split, claim.bottle), Promise(claim.commodity))
        promise.claimed += claim.quantity
        promise.price += claim.price

    def expect(self, claim: Claim) -> None:
        """Remember the size a claim gives for a bottle that is not in the books."""
        if claim.size is not None and claim.bottle not in self._commodities:
            self._coming[claim.bottle] = claim.size

    def advance(self, day: datetime.date | None = None) -> None:
        """Enter all transactions before a day, or all there are."""
        end = len(self._records)
        if day is not None:
            end = bisect_left(self._records, day, key=attrgetter("date"))
        for record in self._records[self._entered : end]:
            self._enter(record)
        self._entered = end

    def _enter(self, record: Record) -> None:
        for move in record.moves:
            self._left[move.bottle] = self._left.get(move.bottle, ZERO) + move.quantity
        for part, quantity in self.poured(record).items():
            self.of[part].poured += quantity

    def poured(self, record: Record) -> Mapping[SplitBottle, Decimal]:
        """Return what a transaction pours of the claims that are open; below nought for one it opens again."""
        if not self.of:
            return {}
        paid = {money.amount > 0 for money in record.money if money.role is Role.CLAIMS and money.amount}
        free = not any(money.role is Role.SALES and money.amount for money in record.money)
        poured: dict[SplitBottle, Decimal] = {}
        for bottle, quantity in _sold(record).items():
            part = self._promised(record, bottle)
            if part is None:
                continue
            promise = self.of[part]
            if quantity > 0 and (True in paid or (free and part.split)):
                poured[part] = min(quantity, promise.open)
            elif quantity < 0 and False in paid:
                poured[part] = max(quantity, -promise.poured)
        return poured

    def open(self, bottle: str) -> Decimal:
        """Return the mL of a bottle that are claimed and not yet poured."""
        return sum((promise.open for part, promise in self.of.items() if part.bottle == bottle), ZERO)

    def holds(self, bottle: str) -> Decimal | None:
        """Return the mL a bottle has left, or will come in with; None for one that nothing is known of."""
        return self._left.get(bottle, self._coming.get(bottle))

    def has_come_in(self, bottle: str) -> bool:
        """Whether a bottle is there."""
        return bottle in self._left

    def commodity(self, bottle: str) -> str | None:
        """Return what a bottle holds, or is to hold by the claims so far."""
        claimed = (promise.commodity for part, promise in self.of.items() if part.bottle == bottle)
        return self._commodities.get(bottle) or next(claimed, None)

    def _promised(self, record: Record, bottle: str) -> SplitBottle | None:
        """Return which promise a sale from a bottle may meet: of a split it has the link of, else outside any."""
        parts = (SplitBottle(split, bottle) for split in (*sorted(record.entry.links or ()), ""))
        return next((part for part in parts if part in self.of), None)


def read_promises(books: Books) -> Promises:
    """Return the promises as they stand in the end."""
    promises = Promises(books)
    for claim in books.settings.claims:
        promises.advance(claim.day)
        promises.add(claim)
    promises.advance()
    return promises


def _sold(record: Record) -> Mapping[str, Decimal]:
    """Return the mL sold from each bottle; below nought for what came back."""
    sold: dict[str, Decimal] = {}
    for move in record.moves:
        if move.kind is Kind.SOLD and move.quantity:
            sold[move.bottle] = sold.get(move.bottle, ZERO) - move.quantity
    return sold
