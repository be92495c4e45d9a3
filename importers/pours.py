"""From what was sold to the lines of the books: one draw for each bottle it was poured from.

The price of a set is shared over its parts in minor units of the currency, by largest remainder, so that the
lines add up to what was charged::

    Income:Sales  -2 CEDARHOUR @@ 5.34 USD
    Income:Sales  -4 QUIETREED @@ 10.66 USD
      vials: "2"
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.amount import Amount
from beancount.core.data import Posting

from millilot.importers.title_rules import Pour
from millilot.ledger.money import minor_unit

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence
    from decimal import Decimal

    from millilot.importers.costs import Costs
    from millilot.importers.title_rules import Bundle


class Sold(NamedTuple):
    """What was charged for a number of one item, and when."""

    quantity: int
    price: Decimal
    currency: str
    date: datetime.date


def draws(pours: Pour | Bundle, sold: Sold, account: str, costs: Costs) -> list[Posting] | None:
    """Return the draws of a sale.

    Args:
        pours: what one of the item takes out of its bottles.
        sold: how many were sold, for how much.
        account: the account of sales.
        costs: what fragrances cost, for a set that is shared by cost.

    Returns:
        Postings whose prices add up to the price; None when the cost of a part is not certain.
    """
    if isinstance(pours, Pour):
        return [_draw(pours, sold.quantity, sold.price, sold.currency, account)]
    weights = _weights(pours, sold, costs)
    if weights is None:
        return None
    prices = share(sold.price, weights, minor_unit(sold.currency))
    return [
        _draw(part.pour, sold.quantity, price, sold.currency, account)
        for part, price in zip(pours.parts, prices, strict=True)
    ]


def share(price: Decimal, weights: Sequence[Decimal], unit: Decimal) -> list[Decimal]:
    """Share a price by weights, by largest remainder; of equal remainders the first is rounded up.

    Args:
        price: what is shared, 0 or above.
        weights: one for each part, above 0.
        unit: the smallest amount, such as 0.01; what is less than that goes to the first part rounded up.
    """
    whole = sum(map(Fraction, weights))
    exact = [Fraction(price) * Fraction(weight) / whole / Fraction(unit) for weight in weights]
    shares = [int(amount) * unit for amount in exact]
    by_remainder = sorted(range(len(exact)), key=lambda place: (int(exact[place]) - exact[place], place))
    left = price - sum(shares)
    for place in by_remainder:
        shares[place] += min(left, unit)
        left -= min(left, unit)
    return shares


def _weights(bundle: Bundle, sold: Sold, costs: Costs) -> list[Decimal] | None:
    if bundle.share == "list":
        return [part.list_price for part in bundle.parts]
    weights = []
    for part in bundle.parts:
        cost = costs.per_ml(part.pour.fragrance, sold.date)
        if cost is None:
            return None
        weights.append(cost * part.pour.total)
    return weights


def _draw(pour: Pour, quantity: int, price: Decimal, currency: str, account: str) -> Posting:
    ml = pour.total * quantity
    vials = pour.vials * quantity
    # As text: a number in metadata does not survive Fava's import page.
    meta = {} if vials == 1 else {"vials": str(vials)}
    return Posting(account, Amount(-ml, pour.fragrance), None, Amount(price / ml, currency), None, meta)
