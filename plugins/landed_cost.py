"""A stage: delivery, duty, sales tax and discounts of a purchase become part of what its lots cost.

The owner posts them to the inbound account; they are spread by value over the lots of the same transaction, by
quantity when all lots are at zero. The postings stay as written and a generated one clears the account::

    2026-01-10 * "Two bottles" ^purchase-1
      Assets:Stock:CedarHour   100 CEDARHOUR {{120.00 USD, "CH-1"}}    ; becomes 124.80
      Assets:Stock:SaltMeadow   30 SALTMEADOW {{30.00 USD, "SM-1"}}    ; becomes 31.20
      Assets:Stock:Inbound    6.00 USD
      Assets:Bank          -156.00 USD

A cost that comes later carries the link of the purchase and stands in a transaction without lots. How much of it
belongs to what is left is known only when the draws are booked, so `Late` is handed on to that stage.
"""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple, cast

from beancount.core.amount import Amount
from beancount.core.data import Open, Posting, Transaction
from beancount.core.interpolate import AUTOMATIC_META
from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.directives import read_settings
from millilot.ledger.money import weight
from millilot.plugins.lots import arrivals
from millilot.plugins.opening import are_opened_later
from millilot.plugins.problems import LandedCostError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from beancount.core.data import Directives
    from beancount.core.position import Cost

    from millilot.ledger.accounts import AccountRoles, RoleMap
    from millilot.ledger.goods import StockPosting
    from millilot.plugins.problems import Problem


PURCHASE = "purchase-"
#: Metadata of a lot's posting: its cost per unit before inbound was added.
BEFORE_INBOUND = "before-inbound"


class Inbound(NamedTuple):
    """What a transaction posts to inbound accounts and has not cleared.

    Attributes:
        postings: the postings.
        number: the sum of what they weigh, negative for a discount.
        currency: its currency; several, when they are mixed.
        meta: the metadata of the first.
    """

    postings: tuple[Posting, ...]
    number: Decimal
    currency: str
    meta: dict[str, Any]


def inbound_accounts(
    entries: Directives, roles: AccountRoles, options_map: Mapping[str, Any],
) -> frozenset[str]:
    """Return the accounts for inbound costs that the books open, or use if they are opened later."""
    accounts = {entry.account for entry in entries if isinstance(entry, Open)}
    if are_opened_later(options_map):
        for entry in entries:
            if isinstance(entry, Transaction):
                accounts.update(posting.account for posting in entry.postings)
    return frozenset(account for account in accounts if Role.INBOUND in roles.ever(account))


def inbound_of(entry: Transaction, roles: RoleMap) -> Inbound | None:
    """Return what a transaction leaves on the inbound account, or None."""
    postings = tuple(posting for posting in entry.postings if roles.role(posting.account) is Role.INBOUND)
    if not postings:
        return None
    sums: dict[str, Decimal] = defaultdict(Decimal)
    for posting in postings:
        number, currency = weight(posting)
        sums[currency] += number
    open_sums = {currency: number for currency, number in sums.items() if number}
    if not open_sums:
        return None
    # More than one currency is refused by whoever asks, since no lot costs "EUR and USD".
    meta = dict(postings[0].meta or entry.meta)
    return Inbound(postings, sum(open_sums.values(), ZERO), " and ".join(sorted(open_sums)), meta)


def _uncleared(
    entries: Directives, roles: AccountRoles, options_map: Mapping[str, Any],
) -> dict[int, Inbound]:
    """Return what transactions leave on inbound accounts, by identity of the transaction."""
    accounts = inbound_accounts(entries, roles, options_map)
    found = {}
    for entry in entries if accounts else ():
        if not isinstance(entry, Transaction):
            continue
        for posting in entry.postings:
            if posting.account in accounts:
                inbound = inbound_of(entry, roles.on(entry.date))
                if inbound is not None:
                    found[id(entry)] = inbound
                break
    return found


def clearing_postings(inbound: Inbound) -> list[Posting]:
    """Return the generated postings that take inbound costs off their accounts, one for each that was written."""
    meta = generated_meta(inbound.meta, goods.INBOUND)
    return [posting._replace(units=-cast("Amount", posting.units), meta=meta) for posting in inbound.postings]


def generated_meta(origin: dict[str, Any], mark: str) -> dict[str, Any]:
    """Return metadata for a generated posting: the place it was asked for, and the stage."""
    return {
        "filename": origin["filename"],
        "lineno": origin["lineno"],
        goods.MARK: mark,
        # As for any amount that was worked out: its digits say nothing of the tolerance.
        AUTOMATIC_META: True,
    }


def spread(total: Decimal, values: Sequence[Decimal], quantities: Sequence[Decimal]) -> list[Decimal]:
    """Divide a total in the ratio of values, or of quantities when all values are nought.

    The last share is what the others leave, so the shares add up to the total.
    """
    basis = values if any(values) else quantities
    whole = sum(basis, ZERO)
    shares = [total * part / whole for part in basis[:-1]]
    return [*shares, total - sum(shares, ZERO)]


def spread_inbound(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Spread the inbound costs of each purchase over its lots."""
    settings, _ = read_settings(entries)
    waiting = _uncleared(entries, settings.roles, options_map)
    if not waiting:
        return entries, []
    lots: dict[int, list[StockPosting]] = {}
    for arrival in arrivals(entries, settings.roles):
        lots.setdefault(id(arrival.entry), []).append(arrival.stock)
    errors: list[Problem] = []
    spread_entries: Directives = []
    for entry in entries:
        if id(entry) not in waiting:
            spread_entries.append(entry)
            continue
        inbound = waiting[id(entry)]
        transaction = cast("Transaction", entry)
        # By place in the transaction: the last lot there takes the rest.
        own = sorted(lots.get(id(entry), []), key=lambda stock: stock.place)
        problem = _refusal(transaction, inbound, own)
        if problem is not None:
            errors.append(LandedCostError(inbound.meta, problem, entry))
        elif own:
            transaction = _with_landed_cost(transaction, inbound, own)
        spread_entries.append(transaction)
    return spread_entries, errors


def _refusal(entry: Transaction, inbound: Inbound, lots: Sequence[StockPosting]) -> str | None:
    if not lots:
        if any(link.startswith(PURCHASE) for link in entry.links or ()):
            return None
        account = inbound.postings[0].account
        return (
            f"{inbound.number} {inbound.currency} stands on {account} in a transaction that buys nothing. "
            f"Write it in the purchase, or give it the link of the purchase (^{PURCHASE}...)."
        )
    foreign = {stock.cost.currency for stock in lots} - {inbound.currency}
    if foreign:
        return f"Inbound is in {inbound.currency}, its lots cost {', '.join(sorted(foreign))}."
    cost = sum((stock.value for stock in lots), ZERO)
    if cost + inbound.number < 0:
        return f"A discount of {-inbound.number} {inbound.currency} is above the {cost} the lots cost."
    return None


def _with_landed_cost(entry: Transaction, inbound: Inbound, lots: Sequence[StockPosting]) -> Transaction:
    shares = spread(inbound.number, [lot.value for lot in lots], [lot.quantity for lot in lots])
    postings = list(entry.postings)
    for lot, share in zip(lots, shares, strict=True):
        cost: Cost = lot.cost
        landed = (lot.value + share) / lot.quantity
        written = Amount(cost.number, cost.currency)
        postings[lot.place] = postings[lot.place]._replace(
            cost=cost._replace(number=landed),
            meta={**lot.meta, BEFORE_INBOUND: written},
        )
    postings.extend(clearing_postings(inbound))
    return entry._replace(postings=postings)
