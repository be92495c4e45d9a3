"""First stage: settings that cannot be read, and the tolerance that exact costs need.

Beancount infers a tolerance only from amounts written with decimals. A cost of 28 digits leaves a residue
far below a cent that would fail without one, so half a minor unit becomes the default for the operating currency
and those of lots, unless the owner chose another.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from beancount.core.data import Transaction
from millilot.ledger.directives import read_settings
from millilot.ledger.money import minor_unit, operating_currency
from millilot.plugins.problems import SettingError

if TYPE_CHECKING:
    from beancount.core.data import Directives
    from millilot.plugins.problems import Problem

HALF = Decimal("0.5")


def check_settings(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Report settings that cannot be read, and set the default tolerance."""
    _, complaints = read_settings(entries)
    currencies = {
        posting.cost.currency
        for entry in entries
        if isinstance(entry, Transaction)
        for posting in entry.postings
        if posting.cost is not None
    }
    currencies.add(operating_currency(options_map))
    for currency in currencies:
        if isinstance(currency, str):
            options_map["inferred_tolerance_default"].setdefault(currency, minor_unit(currency) * HALF)
    return entries, [SettingError(*complaint) for complaint in complaints]
