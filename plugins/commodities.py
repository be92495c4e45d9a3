"""Which commodities are goods, and where the cost of each belongs when it is sold."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from beancount.core.data import Transaction

from millilot.ledger.accounts import Role

if TYPE_CHECKING:
    from collections.abc import Iterable

    from beancount.core.data import Directives

    from millilot.ledger.directives import Settings
    from millilot.plugins.lots import Arrival

#: Where only goods and the operating currency belong: a commodity there that is no money is goods, bought or not.
_GOODS_ROLES = frozenset(
    {Role.SALES, Role.SWAPS, Role.REFUNDS, Role.SAMPLES, Role.LOSS, Role.PERSONAL_USE},
)
_MONEY_ROLES = frozenset({Role.BANK, Role.MARKETPLACE, Role.CLAIMS, Role.SALES_TAX})


def goods_codes(
    entries: Directives, settings: Settings, lots: Iterable[Arrival], currency: str | None,
) -> frozenset[str]:
    """Return the commodities that are goods: bought, declared, or standing where only goods can stand."""
    goods_known = settings.declared_goods | {arrival.stock.commodity for arrival in lots}
    # Nearly every posting is in one of these; what is left is looked at closely.
    usual = goods_known | {currency}
    strange: dict[str, set[str]] = defaultdict(set)
    for entry in entries:
        if isinstance(entry, Transaction):
            for posting in entry.postings:
                units = posting.units
                if units is not None and units.currency not in usual:
                    strange[str(units.currency)].add(posting.account)
    if not strange:
        return goods_known
    money = _currencies_of_prices(entries)
    stray = set()
    for code, accounts in strange.items():
        roles = {role for account in accounts for role in settings.roles.ever(account)}
        if code not in money and roles & _GOODS_ROLES and not roles & _MONEY_ROLES and None not in roles:
            stray.add(code)
    return goods_known | stray


def _currencies_of_prices(entries: Directives) -> set[str | None]:
    amounts = [
        amount
        for entry in entries
        if isinstance(entry, Transaction)
        for posting in entry.postings
        for amount in (posting.price, posting.cost)
    ]
    return {amount.currency for amount in amounts if amount is not None}


def cost_roles(codes: Iterable[str], settings: Settings) -> dict[str, Role]:
    """Return, for each commodity of goods, the role of the account its cost goes to when it is sold."""
    return {
        code: Role.COST_OF_GOODS if settings.commodities[code].is_fragrance else Role.SUPPLIES_USED
        for code in codes
    }
