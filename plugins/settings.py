"""First stage: settings that cannot be read, and the tolerance that exact costs need.

Beancount infers a tolerance only from amounts written with decimals. A cost of 28 digits leaves a residue
far below a cent that would fail without one, so half a minor unit becomes the default for the operating currency
and those of lots, unless the owner chose another.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from beancount.core.data import Custom

from millilot.ledger.directives import read_settings
from millilot.ledger.money import minor_unit, operating_currency
from millilot.plugins.lots import arrivals
from millilot.plugins.problems import SettingError

if TYPE_CHECKING:
    from beancount.core.data import Directive, Directives

    from millilot.plugins.problems import Problem

HALF = Decimal("0.5")


def check_settings(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Report settings that cannot be read, and set the default tolerance."""
    # Beancount leaves out the list of a `custom` without values, and cannot print such a one.
    entries = [_with_values(entry) for entry in entries]
    settings, complaints = read_settings(entries)
    lots = {arrival.stock.cost.currency for arrival in arrivals(entries, settings.roles)}
    for currency in lots | {operating_currency(options_map)}:
        if currency is not None:
            options_map["inferred_tolerance_default"].setdefault(currency, minor_unit(currency) * HALF)
    errors: list[Problem] = [SettingError(*complaint) for complaint in complaints]
    return entries, errors


def _with_values(entry: Directive) -> Directive:
    if isinstance(entry, Custom) and entry.values is None:
        return entry._replace(values=[])
    return entry
