"""A sale that a later file tells differently.

What the channel takes for a sale may change after it is in the books: then only the difference is booked, as an
event of its own. What the buyer paid does not change; a file that says so contradicts the books.
"""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from millilot.importers.events import Correction, Fee
from millilot.ledger.accounts import Role
from millilot.ledger.money import snap, weight

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from beancount.core.data import Transaction

    from millilot.importers.events import Sale
    from millilot.ledger.accounts import AccountRoles

ZERO = Decimal(0)

_PART_OF_ROLE = {
    Role.SALES: "price",
    Role.UNSORTED: "price",
    Role.POSTAGE_CHARGED: "postage",
    Role.SALES_TAX: "tax",
}
_FEE_ROLES = (Role.FEES, Role.ADS, Role.POSTAGE)


class Difference(NamedTuple):
    """How a sale in a file differs from the books.

    Attributes:
        contradiction: what the buyer paid by the books and by the file, or empty.
        correction: fees to be booked, or None.
        superseded: whether the fees are those before a correction that is booked.
    """

    contradiction: str = ""
    correction: Correction | None = None
    superseded: bool = False


def compare(
    sale: Sale,
    booked: Sequence[Transaction],
    corrections: Sequence[Sequence[Transaction]],
    roles: AccountRoles,
    currency: str,
) -> Difference:
    """Return how a sale differs from its entries in the books.

    Args:
        sale: as the file tells it.
        booked: the entries of the sale.
        corrections: the entries of each correction of its fees, in their order.
        roles: of the accounts.
        currency: of the sale.
    """
    parts = _parts(booked, roles, currency)
    paid = {"price": sale.price, "postage": sale.postage, "tax": sale.tax - sale.remitted}
    for name, amount in paid.items():
        if parts[name] != amount:
            return Difference(f"expected the {name} of {parts[name]} {currency} as in the books, found {amount}")
    taken: defaultdict[Role, Decimal] = defaultdict(lambda: ZERO)
    for fee in sale.fees:
        taken[fee.role] += fee.amount
    stand = {role: parts[role] for role in _FEE_ROLES}
    stands = [dict(stand)]
    for entries in corrections:
        change = _parts(entries, roles, currency)
        stand = {role: stand[role] + change[role] for role in _FEE_ROLES}
        stands.append(stand)
    told = {role: taken[role] for role in _FEE_ROLES}
    if told in stands:
        return Difference(superseded=told != stand)
    fees = tuple(
        Fee("correction", role, told[role] - stand[role]) for role in _FEE_ROLES if told[role] != stand[role]
    )
    correction = Correction(
        number=f"{sale.number}/{len(corrections) + 1}",
        order=sale.order,
        date=max(sale.date, *(day for day in sale.dates if day is not None)),
        titles=tuple(item.title for item in sale.items),
        fees=fees,
    )
    return Difference(correction=correction)


def _parts(
    entries: Sequence[Transaction], roles: AccountRoles, currency: str,
) -> Mapping[str, Decimal]:
    """Return what entries say of price, postage, tax that stays with the channel, and fees by their role."""
    parts: defaultdict[str, Decimal] = defaultdict(lambda: ZERO)
    for entry in entries:
        known = roles.on(entry.date)
        for posting in entry.postings:
            role = known.role(posting.account)
            if role not in _PART_OF_ROLE and role not in _FEE_ROLES:
                continue
            number, of_currency = weight(posting)
            if of_currency != currency:
                continue
            if role in _PART_OF_ROLE:
                parts[_PART_OF_ROLE[role]] -= snap(number, currency)
            else:
                parts[role] += snap(number, currency)
    return parts
