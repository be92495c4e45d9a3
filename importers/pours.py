"""From what was sold to the lines of the books: one draw for each bottle it was poured from.

The price of a set is shared over its parts in minor units of the currency, by largest remainder, so that the
lines add up to what was charged::

    Income:Sales  -2 CEDARHOUR @@ 5.34 USD
    Income:Sales  -4 QUIETREED @@ 10.66 USD
      vials: "2"
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from beancount.core.amount import Amount
from beancount.core.data import Posting

from millilot.importers.sharing import share
from millilot.importers.title_rules import Pour

if TYPE_CHECKING:
    import datetime
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
    prices = share(sold.price, weights, sold.currency)
    return [
        _draw(part.pour, sold.quantity, price, sold.currency, account)
        for part, price in zip(pours.parts, prices, strict=True)
    ]


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
