"""An amount shared over lines, in minor units, so that the shares add up to it."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.ledger.money import minor_unit

if TYPE_CHECKING:
    from collections.abc import Sequence

ZERO = Decimal(0)


def share(amount: Decimal, weights: Sequence[Decimal], currency: str) -> list[Decimal]:
    """Return the share of each weight, rounded by running total; equal shares when all weights are 0."""
    if not any(weights):
        weights = [Decimal(1)] * len(weights)
    whole = sum(weights, ZERO)
    shares, met, given = [], ZERO, ZERO
    for weight in weights:
        met += weight
        upto = (amount * met / whole).quantize(minor_unit(currency))
        shares.append(upto - given)
        given = upto
    return shares
