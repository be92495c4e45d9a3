"""What makes an imported event the same event again: its channel, its kind and its number.

A sale is known by the order's number, other events by their own or by a digest of what they cannot do without. An
entry carries the event in its metadata and the order in its link. Amounts are no part of it, since the entry
a reader sees in the loaded books is the one the plugin has completed.
"""

from __future__ import annotations

import hashlib
import re
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.data import Transaction

from millilot.ledger.accounts import Role
from millilot.ledger.annotations import EVENT, ORDER
from millilot.ledger.money import weight

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator

    from beancount.core.data import Directive

    from millilot.ledger.accounts import AccountRoles, RoleMap

#: Metadata: the numbers of the events that a sale is made of.
REFERENCES = "references"


#: What a link can hold.
_SAFE = re.compile("[A-Za-z0-9_/.-]*")
_UNSAFE = re.compile("[^A-Za-z0-9_/.-]+")
#: The day in the number of a further sale.
_DAY = re.compile(r"/\d{4}-\d\d-\d\d$")


def event_key(slug: str, kind: str, number: str) -> str:
    """Return the identity of an event, such as `lantern/sale/1001`."""
    return f"{slug}/{kind}/{number}"


def sale_number(order: str, day: datetime.date) -> str:
    """Return the number of an order's further sale, on a later day."""
    return f"{order}/{day}"


def order_of_sale(number: str) -> str:
    """Return the number of the order, from that of a sale in a ledger."""
    return _DAY.sub("", number)


# One row asks for the link of its order more than once, and many rows for that of their payout.
@lru_cache(maxsize=1024)
def link(kind: str, slug: str, number: str) -> str:
    """Return a link such as `order-lantern-1001`, for any number a channel may write.

    Args:
        kind: how the links of its kind begin, such as `order-`.
        slug: the channel's name as it stands in links.
        number: what the channel writes.

    Characters that a link cannot hold become hyphens, and a digest keeps two such numbers apart.
    """
    if not _SAFE.fullmatch(number):
        number = f"{_UNSAFE.sub('-', number)}.{hashlib.sha256(number.encode()).hexdigest()[:8]}"
    return f"{kind}{slug}-{number}"


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
        self._roles = roles
        self._imported: dict[str, list[Transaction]] = {}
        self._of_order: dict[str, list[Transaction]] = {}
        self._sales: dict[tuple[str, str], str] = {}
        for entry in entries:
            if isinstance(entry, Transaction):
                self.add(entry)

    def add(self, entry: Transaction) -> None:
        """Take in an entry that is in the books, or is to be."""
        for name in entry.links or ():
            if name.startswith(ORDER):
                self._of_order.setdefault(name, []).append(entry)
        key = entry.meta.get(EVENT)
        if not isinstance(key, str):
            return
        self._imported.setdefault(key, []).append(entry)
        slug, _, rest = key.partition("/")
        if not rest.startswith("sale/"):
            return
        number = rest.removeprefix("sale/")
        if _DAY.search(number):
            # The number of an order may be that of another event, that of a further sale is its own.
            self._sales[slug, number] = number
        references = entry.meta.get(REFERENCES)
        for reference in references.split() if isinstance(references, str) else ():
            self._sales[slug, reference] = number

    def imported(self, key: str) -> Booked | None:
        """Return what an earlier import booked of an event, or None."""
        entries = self._imported.get(key)
        return Booked(entries) if entries else None

    def sale_of(self, slug: str, reference: str) -> str:
        """Return the number of the sale that an event belongs to, by the event's number; or nothing."""
        return self._sales.get((slug, reference), "")

    def written(self, kind: str, order_link: str) -> Booked | None:
        """Return what the owner wrote of an order by hand, by its link; None when there is nothing."""
        of_order = self._of_order.get(order_link)
        if of_order is None:
            return None
        entries = [
            entry
            for entry in of_order
            if not isinstance(entry.meta.get(EVENT), str) and self._tells(entry, kind)
        ]
        return Booked(entries) if entries else None

    def tell(self, kind: str, order_link: str) -> bool:
        """Whether the books tell of a sale or a refund of an order, imported or written by hand."""
        return any(self._tells(entry, kind) for entry in self._of_order.get(order_link, ()))

    def held(self, order_link: str, account: str) -> Decimal:
        """Return what an account holds back for an order."""
        amounts = (
            weight(posting).number
            for entry in self._of_order.get(order_link, ())
            for posting in entry.postings
            if posting.account == account
        )
        return sum(amounts, Decimal(0))

    def same(self, entry: Transaction) -> Transaction | None:
        """Return the first entry in the books of the event that an entry of ours is about, or None."""
        key = entry.meta[EVENT]
        _, kind, _ = key.split("/", 2)
        orders = [name for name in entry.links if name.startswith(ORDER)]
        booked = self.imported(key) or (self.written(kind, orders[0]) if orders else None)
        return booked.entries[0] if booked else None

    def _tells(self, entry: Transaction, kind: str) -> bool:
        return kind in _kinds(entry, self._roles.on(entry.date))


def _kinds(entry: Transaction, roles: RoleMap) -> Iterator[str]:
    """Yield what an entry says of its order: sale, refund or both."""
    for posting in entry.postings:
        role = roles.role(posting.account)
        if role not in {Role.SALES, Role.UNSORTED, Role.REFUNDS}:
            continue
        yield "refund" if role is Role.REFUNDS or weight(posting).number > 0 else "sale"
