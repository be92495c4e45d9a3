"""What entries say beside their amounts: links, tags and metadata, by the owner's hand or an importer's.

::

    2026-03-04 * "Cedar Hour 5 mL" ^order-lantern-1001 ^payout-lantern-P-9 #to-pour
      event: "lantern/sale/1001"
      ordered: 2026-03-03
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from beancount.core.data import Transaction

#: How the links of orders and of payouts begin.
ORDER = "order-"
PAYOUT = "payout-"

#: The tag of an order that waits to be poured, and the metadata that takes its place when it was.
TO_POUR = "to-pour"
POURED_ON = "poured"
#: The tag of money a channel holds back, and the metadata that says when it let go of it.
HOLD = "hold"
RELEASED = "released"
#: The tag of an order that was called off after its payment was taken, and of its refund.
CANCELLED = "cancelled"

#: The metadata of a line: how many vials it was poured into.
VIALS = "vials"

#: The metadata of an order's days.
ORDERED = "ordered"
SETTLED = "settled"
PAID_OUT = "paid-out"
#: The metadata that makes an imported event the same again.
EVENT = "event"


def links_of(entry: Transaction, kind: str) -> tuple[str, ...]:
    """Return the links of a transaction that begin so (`order-`, `payout-`), sorted."""
    return tuple(sorted(link for link in entry.links or () if link.startswith(kind)))


def order_of(entry: Transaction) -> str | None:
    """Return the order a transaction belongs to: its first `^order-` link, without the caret."""
    return next(iter(links_of(entry, ORDER)), None)


def day_of(entry: Transaction, key: str) -> datetime.date | None:
    """Return a date from the metadata of a transaction, None when it is none."""
    value = entry.meta.get(key)
    if isinstance(value, str):
        # Fava's import page turns dates in metadata into text.
        try:
            return datetime.date.fromisoformat(value)
        except ValueError:
            return None
    return value if isinstance(value, datetime.date) else None


def written_vials(meta: Mapping[str, Any], default: Decimal) -> Any:
    """Return what a line says of its vials, whether or not it makes sense."""
    value = meta.get(VIALS, default)
    # Fava's import page can save no number in metadata, so importers write one as text.
    return Decimal(value) if isinstance(value, str) and value.isdecimal() else value


def vials_of(meta: Mapping[str, Any], default: Decimal) -> Decimal:
    """Return how many vials a line was poured into, the default where it says nothing that makes sense."""
    value = written_vials(meta, default)
    return value if isinstance(value, Decimal) and value >= 0 else default
