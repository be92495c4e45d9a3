"""Typed records of what the loaded books say, read in one place and shared by every report.

Quantities are in mL for fragrance and in pieces for supplies; money is in the operating currency. Both are
exact: nothing here is rounded.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, Any

from beancount.core.amount import Amount
from beancount.core.number import ONE, ZERO

from millilot.ledger.annotations import vials_of
from millilot.ledger.kept import Kept

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping

    from beancount.core.data import Transaction

    from millilot.ledger.accounts import Role
    from millilot.ledger.directives import Commodity, Settings


class Kind(StrEnum):
    """Why a quantity or a cost entered or left a bottle."""

    BOUGHT = "bought"
    SWAPPED_IN = "swapped in"
    CONTRIBUTED = "contributed"
    LATE_COST = "late cost"
    SUPPLIER_RETURN = "supplier return"
    FOUND = "found"
    SOLD = "sold"
    POUR_LOSS = "pour loss"
    SHRINKAGE = "shrinkage"
    SAMPLED = "sampled"
    LOST = "lost"
    KEPT = "kept"
    USED = "used"


#: Kinds that make up what a bottle cost.
ACQUIRED = frozenset(
    {Kind.BOUGHT, Kind.SWAPPED_IN, Kind.CONTRIBUTED, Kind.LATE_COST, Kind.SUPPLIER_RETURN},
)
#: Kinds whose cost is cost of goods.
COST_OF_GOODS = frozenset({Kind.SOLD, Kind.POUR_LOSS, Kind.SHRINKAGE})


@dataclass(frozen=True, slots=True)
class Move:
    """A change of one lot: the quantity and the cost that came in (positive) or left (negative).

    Attributes:
        date: the day.
        bottle: the lot's name.
        kind: why.
        quantity: mL or pieces; a return has the sign of what comes in.
        cost: in the operating currency, same sign as the quantity.
        to: the role of the account the cost went to; None for what came in and for a private account.
        meta: of the posting that says so, with its file and line.
    """

    date: datetime.date
    bottle: str
    kind: Kind
    quantity: Decimal
    cost: Decimal
    to: Role | None = None
    meta: Mapping[str, Any] = field(default_factory=dict, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Line:
    """A written line with a price: a sale, a swap, or goods that came back.

    Attributes:
        role: the role of the line's account (sales, swaps, refunds).
        price: what was charged; negative for goods that came back.
        parts: (bottle, quantity) it was poured from; negative quantities for goods that came back.
    """

    role: Role
    price: Decimal
    parts: tuple[tuple[str, Decimal], ...]


@dataclass(frozen=True, slots=True)
class Money:
    """A money posting on an account with a role.

    Attributes:
        role: the role of the account.
        account: the account.
        amount: as posted, so income is negative.
        bottle: the bottle it names, or None.
        line: the line it is the price of, or None.
        refused: whether it is the price of a line whose goods were refused; it belongs to no bottle then.
        meta: of the posting, with its file and line.
    """

    role: Role
    account: str
    amount: Decimal
    bottle: str | None = None
    line: Line | None = None
    refused: bool = False
    meta: Mapping[str, Any] = field(default_factory=dict, compare=False, repr=False)

    @property
    def discount(self) -> Decimal:
        """What the seller let off the price, as `discount:` says; the price no longer holds it."""
        value = self.meta.get("discount")
        if isinstance(value, str):
            # Importers write text, as Fava's import page can save no amount in metadata.
            try:
                value = Amount.from_string(value)
            except ValueError:
                return ZERO
        return value.number if isinstance(value, Amount) and isinstance(value.number, Decimal) else ZERO

    @property
    def vials(self) -> Decimal:
        """How many vials a sold line was poured into, as `vials:` says: 1 by default, 0 for what left unopened."""
        return vials_of(self.meta, ONE)


@dataclass(frozen=True, slots=True)
class Record:
    """One transaction of the activity.

    Attributes:
        date: its day.
        order: the order it belongs to (its `^order-` link without the caret), or None.
        lines: its priced lines.
        moves: what it did to lots.
        money: its money postings on accounts with a role.
        entry: the transaction.
    """

    date: datetime.date
    order: str | None
    lines: tuple[Line, ...]
    moves: tuple[Move, ...]
    money: tuple[Money, ...]
    entry: Transaction


@dataclass(frozen=True, slots=True)
class Bottle:
    """A lot: a bottle of fragrance, or a pack of supplies.

    Attributes:
        name: the lot label.
        commodity: what is in it.
        bought: the day it came in.
        account: the stock account it came into.
        source: the transaction that brought it.
        keep: mL the owner means to keep.
        tare: g of the empty bottle, or None.
        full: g of the sealed bottle, or None.
        batch: the maker's batch code.
        estimated: whether its cost is not proven.
        paid: what was paid for a bottle owned before, or None.
        market_value: its market value when selling began, or None.
    """

    name: str
    commodity: Commodity
    bought: datetime.date
    account: str
    source: Transaction
    keep: Decimal = ZERO
    tare: Decimal | None = None
    full: Decimal | None = None
    batch: str = ""
    estimated: bool = False
    paid: Decimal | None = None
    market_value: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Foreign:
    """A money posting on an account of the activity that cannot be counted: its currency is another."""

    account: str
    amount: Decimal
    currency: str
    entry: Transaction


@dataclass(frozen=True)
class Books:
    """All that reports know of the books.

    Attributes:
        currency: the operating currency.
        settings: what the owner set.
        bottles: every lot by name, oldest first.
        records: every transaction of the activity, by day.
        foreign: what could not be counted.
        first: the day of the first record, or None in empty books.
        last: the last day of the records, or None in empty books.
        kept: what was worked out from the books; see `millilot.ledger.kept`.
    """

    currency: str
    settings: Settings
    bottles: Mapping[str, Bottle]
    records: tuple[Record, ...]
    foreign: tuple[Foreign, ...] = field(default=())
    kept: Kept = field(default_factory=Kept, init=False, repr=False, compare=False)

    @property
    def first(self) -> datetime.date | None:
        """The day of the first record."""
        return self.records[0].date if self.records else None

    @property
    def last(self) -> datetime.date | None:
        """The day of the last record."""
        return self.records[-1].date if self.records else None

    @cached_property
    def fragrances(self) -> dict[str, Bottle]:
        """The lots measured in mL, oldest first."""
        return {name: bottle for name, bottle in self.bottles.items() if bottle.commodity.is_fragrance}
