"""The tolerance that exact costs need.

Beancount infers a tolerance only from amounts written with decimals. A cost of 28 digits leaves a residue far
below a cent that would fail without one, so half a minor unit becomes the default for the operating currency and
those of lots, unless the owner chose another. A slip of one cent is still caught.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from millilot.ledger.money import minor_unit

if TYPE_CHECKING:
    from collections.abc import Iterable

HALF = Decimal("0.5")


def allow_residues(options_map: dict[str, Any], currencies: Iterable[str | None]) -> None:
    """Set the default tolerance of currencies that have none to half their minor unit."""
    defaults = options_map["inferred_tolerance_default"]
    if "*" in defaults:
        return
    for currency in currencies:
        if currency is not None:
            defaults.setdefault(currency, minor_unit(currency) * HALF)
