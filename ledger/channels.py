"""How a channel's money stands in the books: what it earned, and how it got to the bank.

A channel is an account below the marketplace role, with up to two pockets beside it::

    Assets:Marketplace:Lantern            what may be paid out
    Assets:Marketplace:Lantern:Reserve    what the channel holds back for a while
    Assets:Marketplace:Lantern:Transit    what was paid out and is not in the bank yet

An *event* changes what the channel holds: a sale, a refund, a fee, a label, money held back or released. A
*transfer* takes it from the channel to Transit or to the bank, or from Transit to the bank; with the sign turned
the channel collects what it is owed, or a payout comes back. Any asset account that plays no role counts as a
bank. An entry that sells, refunds or moves goods is an event whatever else it touches.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.annotations import (
    EVENT,
    HOLD,
    ORDER,
    PAYOUT,
    RELEASED,
    SETTLED,
    day_of,
    links_of,
)
from millilot.ledger.kept import once_per_books
from millilot.ledger.money import weight

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Mapping
    from decimal import Decimal

    from millilot.ledger.accounts import RoleMap
    from millilot.ledger.records import Books, Money, Record

class Pocket(StrEnum):
    """Where a channel's money stands; the value is the account's last part."""

    MAIN = ""
    TRANSIT = "Transit"
    RESERVE = "Reserve"


def channel_of(account: str) -> tuple[str, Pocket]:
    """Return the channel's account and the pocket that an account below the marketplace role is."""
    parts = account.split(":")
    for pocket in (Pocket.TRANSIT, Pocket.RESERVE):
        if pocket.value in parts[2:]:
            return ":".join(parts[: parts.index(pocket.value, 2)]), pocket
    return account, Pocket.MAIN


@dataclass(frozen=True, slots=True)
class Event:
    """A change of what a channel holds.

    Attributes:
        date: its day in the books.
        available: the day from which it may be paid out.
        amount: the change of what may be paid out.
        reserve: the change of what is held back.
        orders: the links of its orders, without the caret.
        payouts: the links of the payouts that paid it, without the caret.
        kind: what it is: sale, refund, fee, label, hold, release, dispute, adjustment ...
        held: whether it is tagged as held and nothing says that it was let go.
        record: what the books say of it.
    """

    date: datetime.date
    available: datetime.date
    amount: Decimal
    reserve: Decimal
    orders: tuple[str, ...]
    payouts: tuple[str, ...]
    kind: str
    held: bool
    record: Record


@dataclass(frozen=True, slots=True)
class Transfer:
    """Money on its way between a channel and the bank.

    Attributes:
        date: its day in the books.
        left: what left the channel; negative for what came back to it or was collected.
        transit: the change of what is under way.
        bank: what came to the bank, valued in the operating currency.
        costs: what was lost on the way, each with the name of its role or account.
        payouts: the links of its payouts, without the caret.
        record: what the books say of it.
    """

    date: datetime.date
    left: Decimal
    transit: Decimal
    bank: Decimal
    costs: tuple[tuple[str, Decimal], ...]
    payouts: tuple[str, ...]
    record: Record


@dataclass(frozen=True, slots=True)
class Channel:
    """A channel and all that the books say of its money.

    Attributes:
        account: its account.
        name: the last part of its account, or all of it when two channels share that.
        events: what changed its money, by day.
        transfers: what was paid out, by day.
    """

    account: str
    name: str
    events: tuple[Event, ...]
    transfers: tuple[Transfer, ...]


#: Where an entry posts that is more than money on its way.
_BUSINESS = frozenset(
    {
        Role.SALES,
        Role.POSTAGE_CHARGED,
        Role.UNSORTED,
        Role.REFUNDS,
        Role.SWAPS,
        Role.CLAIMS,
        Role.SALES_TAX,
        Role.COMPENSATION,
        Role.POSTAGE,
        Role.ADS,
    },
)

#: What an event is called by what it posts to, the first that fits.
_KIND_OF_ROLE: tuple[tuple[Role, int, str], ...] = (
    (Role.SALES, -1, "sale"),
    (Role.UNSORTED, -1, "sale"),
    (Role.POSTAGE_CHARGED, -1, "sale"),
    (Role.SWAPS, -1, "swap"),
    (Role.REFUNDS, 1, "refund"),
    (Role.CLAIMS, -1, "claim"),
    (Role.CLAIMS, 1, "claim given back"),
    (Role.POSTAGE, 1, "label"),
    (Role.POSTAGE, -1, "label given back"),
    (Role.ADS, 1, "ads"),
    (Role.FEES, 1, "fee"),
    (Role.FEES, -1, "fee given back"),
    (Role.COMPENSATION, -1, "compensation"),
    (Role.EXCHANGE, 1, "exchange"),
)


@once_per_books
def read_channels(books: Books) -> Mapping[str, Channel]:
    """Read every channel of the books by its account, in the order of the accounts' names."""
    events: dict[str, list[Event]] = defaultdict(list)
    transfers: dict[str, list[Transfer]] = defaultdict(list)
    for record in books.records:
        changes = changes_of(record.money)
        if not changes:
            continue
        moves = not record.moves and not any(money.role in _BUSINESS for money in record.money)
        roles = books.settings.roles.on(record.date)
        bank, costs = _beside(record, roles, books.currency) if moves else (ZERO, ())
        for account, change in changes.items():
            main, transit, reserve = (change.get(pocket, ZERO) for pocket in Pocket)
            if moves and (transit or bank):
                alone = len(changes) == 1
                transfers[account].append(
                    Transfer(
                        record.date,
                        -main - reserve,
                        transit,
                        bank if alone else -main - reserve - transit,
                        costs if alone else (),
                        links_of(record.entry, PAYOUT),
                        record,
                    ),
                )
            elif main or reserve:
                events[account].append(_event(record, main, reserve))
    accounts = sorted({*events, *transfers})
    last = [account.rpartition(":")[2] for account in accounts]
    return {
        account: Channel(
            account, account if last.count(name) > 1 else name, tuple(events[account]), tuple(transfers[account]),
        )
        for account, name in zip(accounts, last, strict=True)
    }


def changes_of(money: Iterable[Money]) -> dict[str, dict[Pocket, Decimal]]:
    """Return the change of each pocket of each channel."""
    changes: dict[str, dict[Pocket, Decimal]] = {}
    for each in money:
        if each.role is Role.MARKETPLACE:
            account, pocket = channel_of(each.account)
            of_channel = changes.setdefault(account, {})
            of_channel[pocket] = of_channel.get(pocket, ZERO) + each.amount
    return changes


def _beside(
    record: Record, roles: RoleMap, currency: str,
) -> tuple[Decimal, tuple[tuple[str, Decimal], ...]]:
    """Return what a transaction moves on banks, and what else it costs."""
    bank = ZERO
    costs = []
    for posting in record.entry.postings:
        role = roles.role(posting.account)
        if role is Role.MARKETPLACE or posting.cost is not None:
            continue
        number, of = weight(posting)
        if of != currency:
            continue
        if roles.is_bank(posting.account):
            bank += number
        else:
            costs.append((role.value if role is not None else posting.account, number))
    return bank, tuple(costs)


def _event(record: Record, main: Decimal, reserve: Decimal) -> Event:
    entry = record.entry
    tagged = HOLD in (entry.tags or ()) and not reserve
    released = day_of(entry, RELEASED)
    available = day_of(entry, SETTLED) or record.date
    if tagged and released is not None:
        available = max(available, released)
    return Event(
        record.date,
        available,
        main,
        reserve,
        links_of(entry, ORDER),
        links_of(entry, PAYOUT),
        _kind(record, main, reserve),
        tagged and released is None,
        record,
    )


def _kind(record: Record, main: Decimal, reserve: Decimal) -> str:
    named = kind_of_event(record.entry.meta)
    if named:
        return named
    if reserve and main == -reserve:
        return "hold" if reserve > 0 else "release"
    signs = {(money.role, 1 if money.amount > 0 else -1) for money in record.money if money.amount}
    return next((name for role, sign, name in _KIND_OF_ROLE if (role, sign) in signs), "adjustment")


def kind_of_event(meta: Mapping[str, Any]) -> str:
    """Return what an imported entry says it is (`lantern/refund/1001` is a refund), or nothing."""
    parts = str(meta.get(EVENT) or "").split("/", 2)
    return parts[1] if len(parts) == 3 else ""


def slug_of(meta: Mapping[str, Any]) -> str:
    """Return the channel that an imported entry names in its identity, or nothing."""
    parts = str(meta.get(EVENT) or "").split("/", 2)
    return parts[0] if len(parts) == 3 else ""
