"""What can have happened on a channel, whatever the shape of the file that tells of it.

An order that was sold is a `Sale`, what went back of it a `Refund`; anything else that moved money is a
`Movement`. A file comes out as groups: the rows that tell of the same thing, and what they say happened.

Nothing here changes once it is made. What a long file has of every row is not frozen all the same, since Python
takes three times as long to make what is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar, NamedTuple

from beancount.core.number import ZERO

from millilot.importers.event_rules import PAYOUTS, Kind
from millilot.ledger.accounts import Role

if TYPE_CHECKING:
    import datetime
    from collections.abc import Callable, Iterable, Mapping
    from decimal import Decimal

    from millilot.importers.event_rules import EventRule
    from millilot.importers.profile import FeeColumn


#: The roles of the accounts of what the channel takes.
FEE_ROLES: Mapping[Kind, Role] = {
    Kind.FEE: Role.FEES,
    Kind.ADS: Role.ADS,
    Kind.LABEL: Role.POSTAGE,
    Kind.FEE_REFUND: Role.FEES,
}


class Dates(NamedTuple):
    """The days a file gives of an event besides the one it is booked on; None where it gives none."""

    ordered: datetime.date | None = None
    settled: datetime.date | None = None
    paid_out: datetime.date | None = None


NO_DATES = Dates()


class Extra(NamedTuple):
    """What the buyer paid for something besides goods and postage: what for, how much."""

    charge: str
    amount: Decimal


class Fee(NamedTuple):
    """What the channel took (below 0: gave back): its kind, the role of its account, how much."""

    kind: str
    role: Role
    amount: Decimal


@dataclass(slots=True)
class Item:
    """Something sold: what the channel calls it, how many, the price of all of them, and what came off it.

    The row it stands on is no part of what it is: an order is the same in whichever file it stands.
    """

    row: int = field(compare=False)
    title: str
    sku: str
    quantity: int
    price: Decimal
    discount: Decimal = ZERO


@dataclass(slots=True)
class Sale:
    """An order that was sold; amounts are 0 or above, but a fee given back is below.

    Attributes:
        number: what identifies it: the order's number, with the part of the order if it is one.
        order: the number of the order.
        date: the day it is booked on.
        dates: the other days.
        payout: the number of the payout, or empty.
        items: what was sold.
        postage: what the buyer paid for postage.
        tax: what the buyer paid as tax.
        remitted: what the channel hands on of the tax.
        fees: what the channel took of it.
        to_pour: whether it waits to be poured.
        cancelled: whether no goods left, since it was called off.
        references: the numbers of the events it is made of, where the file has them.
        buyer: who bought it, if the profile asks for it.
        extras: what the buyer paid besides, such as gift wrap.
        price: what the buyer paid for the goods and besides.
        net: what it leaves with the channel.
    """

    number: str
    order: str
    date: datetime.date
    dates: Dates
    payout: str
    items: tuple[Item, ...]
    postage: Decimal
    tax: Decimal
    remitted: Decimal
    fees: tuple[Fee, ...]
    to_pour: bool = False
    cancelled: bool = False
    references: tuple[str, ...] = ()
    buyer: str = ""
    extras: tuple[Extra, ...] = ()
    price: Decimal = field(init=False)
    net: Decimal = field(init=False)

    kind: ClassVar[str] = "sale"

    def __post_init__(self) -> None:
        fees = sum([fee.amount for fee in self.fees], ZERO)
        self.price = sum([item.price for item in self.items], ZERO)
        if self.extras:
            self.price += sum([extra.amount for extra in self.extras], ZERO)
        self.net = self.price + self.postage + self.tax - self.remitted - fees

    def undone(self, date: datetime.date, *, fees_back: bool) -> Refund:
        """Return the refund of all the buyer paid, with or without what the channel took."""
        return Refund(
            number=self.number,
            order=self.order,
            date=date,
            titles=tuple(item.title for item in self.items),
            amount=self.price + self.postage,
            tax=self.tax,
            remitted=self.remitted,
            fees=tuple(Fee("refunded", fee.role, -fee.amount) for fee in self.fees) if fees_back else (),
            cancelled=self.cancelled,
        )


@dataclass(frozen=True, slots=True)
class Refund:
    """Money that went back to the buyer; whether goods came back, no file tells.

    Attributes:
        number: what identifies it.
        order: the number of the order.
        date: the day of the refund.
        dates: the other days.
        payout: the number of the payout, or empty.
        titles: what the order was of.
        amount: what went back, without tax.
        tax: what went back of the tax.
        remitted: what the channel no longer hands on of the tax.
        fees: what the channel took for it; below 0 what it gave back.
        cancelled: whether the order was called off before any goods left.
        so_far: whether it is all that went back until the file was made, rather than one of several refunds.
    """

    number: str
    order: str
    date: datetime.date
    titles: tuple[str, ...]
    amount: Decimal
    tax: Decimal
    remitted: Decimal
    fees: tuple[Fee, ...]
    dates: Dates = NO_DATES
    payout: str = ""
    cancelled: bool = False
    so_far: bool = False

    kind: ClassVar[str] = "refund"

    @property
    def net(self) -> Decimal:
        """What it leaves with the channel, so below 0."""
        return self.remitted - self.amount - self.tax - sum((fee.amount for fee in self.fees), ZERO)


@dataclass(frozen=True, slots=True)
class Movement:
    """Money that moved for a reason of its own.

    Attributes:
        number: what identifies it.
        order: the number of the order it belongs to, or empty.
        date: the day it is booked on.
        dates: the other days.
        rule: what it is, and where the money goes.
        amount: what the account that the file is of got, before `fees`; below 0 what it gave.
        fees: what stands in columns of fees.
        payout: the number of the payout, or empty.
        title: what it is about, or empty.
        held: with a dispute that was lost, what had been held back for it.
        made_of: with a payout, the sums the file gives of what it is made of.
    """

    number: str
    order: str
    date: datetime.date
    dates: Dates
    rule: EventRule
    amount: Decimal
    fees: tuple[Fee, ...] = ()
    payout: str = ""
    title: str = ""
    held: Decimal = ZERO
    made_of: Mapping[str, Decimal] = field(default_factory=dict, hash=False)

    @property
    def kind(self) -> str:
        """What happened, as it stands in the identity."""
        return self.rule.kind.value

    @property
    def net(self) -> Decimal:
        """What it leaves on the account."""
        return self.amount - sum((fee.amount for fee in self.fees), ZERO)

    @property
    def is_payout(self) -> bool:
        """Whether it is money on its way to or from the bank."""
        return self.rule.kind in PAYOUTS

    @property
    def is_lost(self) -> bool:
        """Whether it is the end of a dispute, in which the buyer got the money back."""
        return self.rule.kind is Kind.DISPUTE_LOST


@dataclass(frozen=True, slots=True)
class Correction:
    """Fees of a sale that is in the books, by which a later file differs from them.

    Attributes:
        number: what identifies it.
        order: the number of the order.
        date: the latest day the file gives of the order.
        titles: what the order was of.
        fees: how much more the channel took (below 0: less).
    """

    number: str
    order: str
    date: datetime.date
    titles: tuple[str, ...]
    fees: tuple[Fee, ...]

    kind: ClassVar[str] = "correction"

    @property
    def net(self) -> Decimal:
        """What it leaves with the channel."""
        return -sum((fee.amount for fee in self.fees), ZERO)


Event = Sale | Refund | Movement | Correction


@dataclass(slots=True)
class Group:
    """Rows that belong together, such as those of an order, and what they say happened.

    Attributes:
        order: the number of the order, or empty.
        rows: where they stand, the first first.
        events: what happened, the earliest first.
    """

    order: str
    rows: tuple[int, ...]
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Rows that are not booked.

    Attributes:
        order: the number of their order, or empty.
        reasons: why, by row.
        refused: whether something is wrong, rather than nothing to book.
        net: what the rows say they left with the channel, None when that cannot be read.
        unless_booked: whether something is wrong all the same when the books hold the order.
    """

    order: str
    reasons: dict[int, str]
    refused: bool
    net: Decimal | None
    unless_booked: bool = False


class NothingToBookError(Exception):
    """The profile or the row says that the row is not to be booked; the text says why."""


def fees_from(columns: Iterable[FeeColumn], read: Callable[[str], Decimal | None]) -> tuple[Fee, ...]:
    """Return the fees in columns of fees, those that are there.

    Args:
        columns: the columns of fees.
        read: gives the amount under a heading.
    """
    return tuple([
        Fee(column.kind, column.role, amount * column.sign)
        for column in columns
        if (amount := read(column.column))
    ])
