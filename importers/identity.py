"""What makes an imported event the same event again: its channel, its kind and the order's number.

An entry carries the event in its metadata and the order in its link. Amounts are no part of it, since the entry
a reader sees in the loaded books is the one the plugin has completed.
"""

from __future__ import annotations

import hashlib
import re
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.data import Transaction

from millilot.ledger.accounts import Role
from millilot.ledger.money import weight

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from beancount.core.data import Directive

    from millilot.ledger.accounts import AccountRoles, RoleMap

EVENT = "event"
ORDER = "order"
PAYOUT = "payout"


def event_key(slug: str, kind: str, order: str) -> str:
    """Return the identity of an event, such as `lantern/sale/1001`."""
    return f"{slug}/{kind}/{order}"


def link(kind: str, slug: str, number: str) -> str:
    """Return a link such as `order-lantern-1001`, for any number a channel may write.

    Characters that a link cannot hold become hyphens, and a digest keeps two such numbers apart.
    """
    safe = re.sub("[^A-Za-z0-9_/.-]+", "-", number)
    if safe != number:
        safe += "." + hashlib.sha256(number.encode()).hexdigest()[:8]
    return f"{kind}-{slug}-{safe}"


class Booked(NamedTuple):
    """An event that is in the books: its entries, and what they changed on an account."""

    entries: list[Transaction]

    def change(self, account: str, currency: str) -> Decimal | None:
        """Return the change of an account, None when the entries do not touch it."""
        amounts = [
            weight(posting)
            for entry in self.entries
            for posting in entry.postings
            if posting.account == account
        ]
        if not amounts:
            return None
        return sum((amount.number for amount in amounts if amount.currency == currency), Decimal(0))


class BookedEvents:
    """All events that are in the books, imported or written by hand."""

    def __init__(self, entries: Iterable[Directive], roles: AccountRoles) -> None:
        self._imported: dict[str, Booked] = {}
        self._written: dict[tuple[str, str], Booked] = {}
        for entry in entries:
            if not isinstance(entry, Transaction):
                continue
            key = entry.meta.get(EVENT)
            if isinstance(key, str):
                self._imported.setdefault(key, Booked([])).entries.append(entry)
                continue
            orders = [name for name in entry.links or () if name.startswith(f"{ORDER}-")]
            kinds = set(_kinds(entry, roles.on(entry.date))) if orders else ()
            for name in orders:
                for kind in kinds:
                    self._written.setdefault((kind, name), Booked([])).entries.append(entry)

    def imported(self, key: str) -> Booked | None:
        """Return what an earlier import booked of an event, or None."""
        return self._imported.get(key)

    def written(self, kind: str, order_link: str) -> Booked | None:
        """Return what the owner wrote of an order by hand, by its link; None when there is nothing."""
        return self._written.get((kind, order_link))

    def same(self, entry: Transaction) -> Transaction | None:
        """Return the first entry in the books of the event that an entry of ours is about, or None."""
        key = entry.meta[EVENT]
        _, kind, _ = key.split("/", 2)
        orders = [name for name in entry.links if name.startswith(f"{ORDER}-")]
        booked = self.imported(key) or self.written(kind, orders[0])
        return booked.entries[0] if booked else None


def _kinds(entry: Transaction, roles: RoleMap) -> Iterator[str]:
    """Yield what an entry without metadata of ours says of its order: sale, refund or both."""
    for posting in entry.postings:
        role = roles.role(posting.account)
        if role not in {Role.SALES, Role.UNSORTED, Role.REFUNDS}:
            continue
        yield "refund" if role is Role.REFUNDS or weight(posting).number > 0 else "sale"
