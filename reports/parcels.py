"""What goes out together: the vials of an order that waits to be poured, or of any order by its name."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.problems import InputError
from millilot.ledger.annotations import ORDER, POURED_ON, day_of
from millilot.ledger.records import Kind
from millilot.reports.names import near
from millilot.reports.pour import to_pour, waits
from millilot.reports.vials import Vials, vials_of, without

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Sequence
    from decimal import Decimal

    from millilot.ledger.records import Books
    from millilot.reports.pour import Pour


class UnknownOrderError(InputError):
    """No order has this name."""


@dataclass(frozen=True, slots=True)
class Parcel:
    """What goes out for an order.

    Attributes:
        order: its link without the caret, or None.
        what: the narration of its first transaction.
        vials: what is in it; what is in no vial goes as it came.
        poured: the day it was poured, the last if there are several; None while some of it waits.
    """

    order: str | None
    what: str
    vials: tuple[Vials, ...]
    poured: datetime.date | None = None

    @property
    def ml(self) -> Decimal:
        """The mL in it, vials and unopened bottles alike."""
        return sum((each.ml * max(each.number, 1) for each in self.vials), ZERO)

    @property
    def largest(self) -> Decimal:
        """The mL in its largest container."""
        return max((each.ml for each in self.vials), default=ZERO)

    @property
    def containers(self) -> int:
        """How many containers are in it; mL in no vial count as one."""
        return sum(max(each.number, 1) for each in self.vials)


def parcels(books: Books, names: Sequence[str] = (), day: datetime.date | None = None) -> list[Parcel]:
    """Return the parcels of orders.

    Args:
        books: read up to the day.
        names: of the orders, with or without the caret and `order-`; none for all that wait to be poured.
        day: the day of the report; the last day of the books unless stated.

    Raises:
        UnknownOrderError: no order has one of the names; the message names the nearest.
    """
    if not names:
        return _waiting(books, day)
    known = {record.order for record in books.records if record.order is not None}
    return [_named(books, order, day) for order in dict.fromkeys(_find(known, name) for name in names)]


def _waiting(books: Books, day: datetime.date | None) -> list[Parcel]:
    """Return the orders that wait, the oldest first."""
    pours = [pour for bottle in to_pour(books, day).bottles for pour in bottle.pours]
    vials: dict[tuple[str | None, str], list[Vials]] = defaultdict(list)
    of_order: dict[tuple[str | None, str], Pour] = {}
    for pour in sorted(pours, key=lambda pour: (pour.ordered, pour.order or "", pour.place)):
        key = (pour.order, "" if pour.order else pour.place)
        of_order.setdefault(key, pour)
        # A vial of two bottles waits for both.
        vials[key] += [each for each in pour.vials if each.parts[0][0] == pour.bottle]
    return [Parcel(pour.order, pour.what, tuple(vials[key])) for key, pour in of_order.items()]


def _named(books: Books, order: str, day: datetime.date | None) -> Parcel:
    """Return an order as it was sold, less what came back; what was poured again counts while it waits."""
    records = [record for record in books.records if record.order == order]
    vials = [
        each
        for record in records
        for each in vials_of(record, books)
        if each.kind is not Kind.LOST or waits(record, day)
    ]
    for record in records:
        for move in record.moves:
            if move.kind is Kind.SOLD and move.quantity > 0 and move.bottle in books.fragrances:
                vials = without(vials, move.bottle, move.quantity)
    poured = None
    if not any(waits(record, day) for record in records):
        days = [day_of(each.entry, POURED_ON) or each.date for each in records if vials_of(each, books)]
        poured = max(days, default=None)
    return Parcel(order, records[0].entry.narration or "", tuple(vials), poured)


def _find(known: Iterable[str], name: str) -> str:
    known = set(known)
    for order in (name.removeprefix("^"), f"{ORDER}{name}"):
        if order in known:
            return order
    shown = {order.removeprefix(ORDER) for order in known}
    hint = near(name.removeprefix("^").removeprefix(ORDER), shown)
    raise UnknownOrderError(f"There is no order {name!r}.{hint}")
