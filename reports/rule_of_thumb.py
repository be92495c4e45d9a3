"""The rule of thumb for prices, and where it falls short.

Common practice, no source: the liquid at cost, the vial and the postage, and the liquid's cost once more. Where
nothing is taken from the price and nothing is lost, half a bottle sold so pays for the whole bottle. What a
channel takes, the mL lost in the pour and lost parcels are not in it, so it leaves that much less.
"""

from __future__ import annotations

from decimal import ROUND_CEILING
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.reports.prices import outcome

if TYPE_CHECKING:
    from millilot.reports.prices import Costs, Outcome, Terms


def rule_of_thumb(costs: Costs, terms: Terms) -> Outcome:
    """Return what the price by the rule leaves, where it means to leave the liquid's cost once more.

    The price goes up to the minor unit. What the buyer pays for postage anyway is taken off it.
    """
    all_told = 2 * costs.liquid + costs.supplies + costs.postage
    price = max(all_told - terms.charge, ZERO).quantize(terms.unit, ROUND_CEILING)
    return outcome(price, costs, terms)
