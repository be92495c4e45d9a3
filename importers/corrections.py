"""Sales and refunds that a later file tells differently.

What the channel takes for a sale may change after it is in the books, and more may go back to the buyer: then only
the difference is booked, as an event of its own. What the buyer paid does not change; a file that says so
contradicts the books.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.importers.events import Correction, Fee, Refund
from millilot.ledger.accounts import Role
from millilot.ledger.money import snap, weight

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from decimal import Decimal

    from beancount.core.data import Transaction

    from millilot.importers.events import Sale
    from millilot.ledger.accounts import AccountRoles


#: What came from the buyer, or went back, by the roles of its accounts.
_OF_BUYER = {
    Role.SALES: Role.SALES,
    Role.UNSORTED: Role.SALES,
    Role.POSTAGE_CHARGED: Role.POSTAGE_CHARGED,
    Role.SALES_TAX: Role.SALES_TAX,
    Role.REFUNDS: Role.REFUNDS,
}
_WORDS = {Role.SALES: "price", Role.POSTAGE_CHARGED: "postage", Role.SALES_TAX: "tax"}
_FEE_ROLES = (Role.FEES, Role.ADS, Role.POSTAGE)


class Difference(NamedTuple):
    """How a sale or a refund in a file differs from the books.

    Attributes:
        contradiction: what was expected by the books and found in the file, or empty.
        rest: what is to be booked, or None.
        superseded: whether the file says what the books said before they got a difference.
    """

    contradiction: str = ""
    rest: Correction | Refund | None = None
    superseded: bool = False


def compare_sale(
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
    paid = {
        Role.SALES: sale.price,
        Role.POSTAGE_CHARGED: sale.postage,
        Role.SALES_TAX: sale.tax - sale.remitted,
    }
    for role, amount in paid.items():
        if parts[role] != amount:
            expected = f"the {_WORDS[role]} of {parts[role]} {currency} as in the books"
            return Difference(f"expected {expected}, found {amount}")
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
    return Difference(rest=correction)


def compare_refund(
    refund: Refund, booked: Sequence[Sequence[Transaction]], roles: AccountRoles, currency: str,
) -> Difference:
    """Return how a refund, told as all that went back so far, differs from what is booked.

    Args:
        refund: as the file tells it.
        booked: the entries of each refund of the order that an import booked, in their order.
        roles: of the accounts.
        currency: of the refund.
    """
    told = (refund.amount, refund.tax - refund.remitted, sum((fee.amount for fee in refund.fees), ZERO))
    stand = (ZERO, ZERO, ZERO)
    stands = []
    for entries in booked:
        parts = _parts(entries, roles, currency)
        fees = sum((parts[role] for role in _FEE_ROLES), ZERO)
        stand = (stand[0] - parts[Role.REFUNDS], stand[1] - parts[Role.SALES_TAX], stand[2] + fees)
        stands.append(stand)
    if told in stands:
        return Difference(superseded=told != stand)
    amount, tax, fee = (now - before for now, before in zip(told, stand, strict=True))
    for what, change, before, now in (("refunds", amount, stand[0], told[0]), ("tax", tax, stand[1], told[1])):
        if change < 0:
            return Difference(f"expected {what} of at least {before} {currency} as in the books, found {now}")
    further = replace(
        refund,
        number=f"{refund.number}/{len(booked) + 1}",
        amount=amount,
        tax=tax,
        remitted=ZERO,
        fees=(Fee("refunded", Role.FEES, fee),) if fee else (),
    )
    return Difference(rest=further)


def _parts(
    entries: Sequence[Transaction], roles: AccountRoles, currency: str,
) -> Mapping[Role, Decimal]:
    """Return what entries say of price, postage, tax that stays with the channel, and fees by their role."""
    parts: defaultdict[Role, Decimal] = defaultdict(lambda: ZERO)
    for entry in entries:
        known = roles.on(entry.date)
        for posting in entry.postings:
            role = known.role(posting.account)
            if role not in _OF_BUYER and role not in _FEE_ROLES:
                continue
            number, of_currency = weight(posting)
            if of_currency != currency:
                continue
            if role in _OF_BUYER:
                parts[_OF_BUYER[role]] -= snap(number, currency)
            else:
                parts[role] += snap(number, currency)
    return parts
