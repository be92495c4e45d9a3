"""An amount shared over lines, in minor units, so that the shares add up to it."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from millilot.ledger.money import minor_unit

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal


def share(amount: Decimal, weights: Sequence[Decimal], currency: str) -> list[Decimal]:
    """Return the share of each weight, by largest remainder; equal shares when all weights are 0.

    Args:
        amount: of a currency; what is less than its minor unit goes to the first share rounded up.
        weights: 0 or above.
        currency: of the amount.

    Returns:
        A share for each weight, in order; of equal remainders the first is rounded up.
    """
    unit = minor_unit(currency)
    parts = list(map(Fraction, weights)) if any(weights) else [Fraction(1)] * len(weights)
    exact = [Fraction(amount) * part / sum(parts) / Fraction(unit) for part in parts]
    # Towards nought, so that the rest has the sign of the amount.
    shares = [int(number) * unit for number in exact]
    rest = amount - sum(shares)
    step = unit.copy_sign(amount)
    for place in sorted(range(len(exact)), key=lambda place: (-abs(exact[place] - int(exact[place])), place)):
        taken = min(rest, step, key=abs)
        shares[place] += taken
        rest -= taken
    return shares
