"""What a price leaves, and which price leaves what is wanted: arithmetic on the parts of a price.

Forwards: the buyer pays price, postage and tax; the channel takes its fee of that, and the tax, which is collected
for others and is never income. What remains pays for supplies and label (*cash kept*), and after the liquid, the
mL lost in the pour and an allowance for lost parcels it is profit::

    cash kept = price + postage charged - fee - supplies - label
    profit    = cash kept - liquid - loss - allowance
    allowance = share of parcels lost * (price + postage charged)

Backwards: with r the fee's rate, t the tax where it is in the fee's base and else 0, l the share of parcels lost,
m the margin, and c the postage charged, where it is in the base, the price before rounding is::

    price = (costs + fixed + profit + c r (1 + t) - c (1 - l)) / (1 - m - l - r (1 + t))

Tax and fee go to the minor unit, half of one up, as a channel reckons them. A solved price is the least in whole
minor units whose fee, rounded so, leaves what is wanted; so it is never short of it, and above it by less than one
minor unit. All formulas are arithmetic from their definitions, without another source.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.fee_schedule import NO_FEE, Fee, FeeBase

if TYPE_CHECKING:
    from collections.abc import Collection


#: Where less than this of a price is left for its costs, no price is worth naming.
LEAST_LEFT = Decimal("0.0001")


class NoPriceError(ValueError):
    """No price can leave what is wanted; the message says why."""


@dataclass(frozen=True, slots=True)
class Costs:
    """What a decant costs whoever sells it, exact, in the operating currency.

    Attributes:
        liquid: the mL sold, at landed cost.
        loss: the mL lost in the pour, at landed cost.
        supplies: the kit of the vial and that of the parcel, at cost.
        postage: the label.
    """

    liquid: Decimal
    loss: Decimal = ZERO
    supplies: Decimal = ZERO
    postage: Decimal = ZERO

    @property
    def total(self) -> Decimal:
        """All of them."""
        return self.liquid + self.loss + self.supplies + self.postage


@dataclass(frozen=True, slots=True)
class Terms:
    """On which terms it is sold.

    Attributes:
        unit: the currency's smallest amount, such as 0.01.
        fee: what the channel takes.
        charge: what the buyer pays for postage.
        tax: the rate of the buyer's tax on price and postage.
        lost: the share of parcels whose price and postage are given back with nothing returned.
    """

    unit: Decimal
    fee: Fee = NO_FEE
    charge: Decimal = ZERO
    tax: Decimal = ZERO
    lost: Decimal = ZERO

    @property
    def fee_share(self) -> Decimal:
        """The part of each further unit of price that goes to the fee."""
        return self.fee.rate * (1 + self.tax) if self.fee.base is FeeBase.TAX else self.fee.rate


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a price leaves.

    Attributes:
        price: of the goods.
        tax: the buyer's, in minor units.
        buyer_pays: price, postage and tax.
        fee: in minor units.
        allowance: for lost parcels, exact.
        cash_kept: exact.
        profit: exact.
    """

    price: Decimal
    tax: Decimal
    buyer_pays: Decimal
    fee: Decimal
    allowance: Decimal
    cash_kept: Decimal
    profit: Decimal

    @property
    def margin(self) -> Decimal | None:
        """The profit as a part of the price; None when nothing is charged."""
        return self.profit / self.price if self.price else None


def outcome(price: Decimal, costs: Costs, terms: Terms) -> Outcome:
    """Return what a price leaves."""
    received = price + terms.charge
    tax = (received * terms.tax).quantize(terms.unit, ROUND_HALF_UP)
    fee = terms.fee.on(price, terms.charge, tax, terms.unit)
    allowance = received * terms.lost
    kept = received - fee - costs.supplies - costs.postage
    return Outcome(
        price, tax, received + tax, fee, allowance, kept, kept - costs.liquid - costs.loss - allowance,
    )


def solve(costs: Costs, terms: Terms, margin: Decimal = ZERO, profit: Decimal = ZERO) -> Decimal:
    """Return the least price, in whole minor units, that leaves a margin and a profit; by default, breaks even.

    Args:
        costs: what it costs.
        terms: on which terms it is sold.
        margin: the part of the price that shall remain, from 0 to below 1.
        profit: an amount that shall remain beside it.

    Raises:
        NoPriceError: fee, lost parcels and margin leave nothing of a price to pay the costs from.
    """
    before_fee = 1 - margin - terms.lost
    left = before_fee - terms.fee_share
    if left < LEAST_LEFT:
        takers = {"the fee": terms.fee_share, "lost parcels": terms.lost, "the margin": margin}
        taken = " + ".join(f"{_shown(share)} for {name}" for name, share in takers.items() if share)
        raise NoPriceError(f"No price can give that: {taken} of each 1.00 of it leave nothing for the costs.")
    # Rounding may make the fee smaller than the exact one: by half a unit itself, and by the rate on half a unit
    # of tax. No price below this one can do.
    smaller = terms.unit * (1 + terms.fee.rate) / 2
    wanted = _exact(costs, terms, margin, profit) - smaller / left
    # A little below 0 goes up to a nought with a sign; the first of equals is taken, which has none.
    price = max(ZERO.quantize(terms.unit), wanted.quantize(terms.unit, ROUND_CEILING))
    while (short := profit + margin * price - outcome(price, costs, terms).profit) > 0:
        # A unit of price adds at most this much, as the fee never falls with it; so no price that does is passed.
        step = (short / before_fee).quantize(terms.unit, ROUND_CEILING)
        price += max(step, terms.unit)
    return price


def _shown(share: Decimal) -> str:
    return f"{share.quantize(LEAST_LEFT).normalize():f}"


def _exact(costs: Costs, terms: Terms, margin: Decimal, profit: Decimal) -> Decimal:
    """Return the price before anything is rounded; it may be below 0."""
    on_charge = ZERO if terms.fee.base is FeeBase.ITEM else terms.charge * terms.fee_share
    wanted = costs.total + terms.fee.fixed + profit + on_charge - terms.charge * (1 - terms.lost)
    return wanted / (1 - margin - terms.lost - terms.fee_share)


def finished(price: Decimal, endings: Collection[Decimal]) -> Decimal:
    """Return the least price at or above one that ends as the owner likes.

    Args:
        price: in minor units.
        endings: each from 0 to below 1, such as 0.50 or 0.95; without any the price stays as it is.
    """
    whole = price.quantize(Decimal(1), ROUND_FLOOR)
    ends = [whole + more + ending for ending in endings for more in (0, 1)]
    return min((end for end in ends if end >= price), default=price)
