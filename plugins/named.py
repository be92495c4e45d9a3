"""A stage: money that names a bottle must name one that there is.

`bottle:` on a posting of money (a fee, a refund, an empty bottle sold) says whose it is, and the reports give it
to that bottle alone. A name that was misspelt would be lost without a word. Draws name their bottle too; of those
the walk through the books speaks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beancount.core.data import Transaction

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.directives import read_settings
from millilot.ledger.money import operating_currency
from millilot.plugins.lots import arrivals
from millilot.plugins.problems import LotError

if TYPE_CHECKING:
    from beancount.core.data import Directives

    from millilot.plugins.problems import Problem

_NO_BOTTLE = frozenset({None, Role.BANK, Role.MARKETPLACE, Role.STOCK, Role.INBOUND, Role.CLAIMS, Role.SALES_TAX})


def check_names(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Refuse names of bottles on money that belong to none."""
    currency = operating_currency(options_map)
    named = [
        (entry, posting)
        for entry in entries
        if isinstance(entry, Transaction)
        for posting in entry.postings
        if posting.meta and "bottle" in posting.meta and goods.MARK not in posting.meta
    ]
    if not named:
        return entries, []
    settings, _ = read_settings(entries)
    known = {arrival.stock.cost.label for arrival in arrivals(entries, settings.roles)}
    errors: list[Problem] = []
    for entry, posting in named:
        meta = posting.meta or {}
        is_money = posting.cost is None and posting.units is not None and posting.units.currency == currency
        role = settings.roles.on(entry.date).role(posting.account)
        if is_money and role not in _NO_BOTTLE and meta["bottle"] not in known:
            message = f'There is no bottle "{meta["bottle"]}", so this amount belongs to none.'
            errors.append(LotError(dict(meta), message, entry))
    return entries, errors
