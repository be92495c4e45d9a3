"""The rule of thumb for prices, and where it falls short.

Common practice, no source: the liquid at cost, the vial and the postage, and the liquid's cost once more. Where
nothing is taken from the price and nothing is lost, half a bottle sold so pays for the whole bottle. What a
channel takes, the mL lost in the pour and lost parcels are not in it, so it leaves that much less.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING

from millilot.ledger.records import ZERO
from millilot.reports.prices import outcome

if TYPE_CHECKING:
    from millilot.reports.prices import Costs, Outcome, Terms


@dataclass(frozen=True, slots=True)
class RuleOfThumb:
    """A price by the rule of thumb.

    Attributes:
        meant: what it means to leave as profit: the liquid's cost once more.
        leaves: what it leaves in fact.
    """

    meant: Decimal
    leaves: Outcome

    @property
    def short(self) -> Decimal:
        """How much less it leaves than it means to; below 0 when it leaves more."""
        return self.meant - self.leaves.profit


def rule_of_thumb(costs: Costs, terms: Terms) -> RuleOfThumb:
    """Return the price by the rule, to the minor unit above, less what the buyer pays for postage anyway."""
    all_told = 2 * costs.liquid + costs.supplies + costs.postage
    price = max(all_told - terms.charge, ZERO).quantize(terms.unit, ROUND_CEILING)
    return RuleOfThumb(costs.liquid, outcome(price, costs, terms))
