"""A decant's price with all its parts: break-even, the price that leaves what is wanted, and the rule of thumb."""

from __future__ import annotations

from dataclasses import dataclass, fields
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.reports import rounding
from millilot.reports.prices import Costs, NoPriceError, finished, outcome, solve
from millilot.reports.rule_of_thumb import rule_of_thumb

if TYPE_CHECKING:
    from millilot.reports.decants import Decant
    from millilot.reports.prices import Outcome, Terms

_FOUR_DIGITS = Decimal("0.0001")


@dataclass(frozen=True, slots=True)
class Wish:
    """What the owner wants of a price.

    Attributes:
        margin: the part of the price that shall remain, None when none is asked for.
        profit: the amount that shall remain, None when none is asked for.
        at: a price to try; nothing is solved then.
        endings: how a finished price may end, each from 0 to below 1.
    """

    margin: Decimal | None = None
    profit: Decimal | None = None
    at: Decimal | None = None
    endings: tuple[Decimal, ...] = ()


@dataclass(frozen=True, slots=True)
class Quote:
    """The prices of one decant, exact.

    Attributes:
        decant: what is sold.
        costs: what it costs.
        terms: on which terms it is sold.
        break_even: what the least price leaves that loses nothing; None when there is none.
        asked: what the solved price leaves, or the one to try.
        finished: what the price leaves that ends as the owner likes; None when there is no liking.
        rule: what the price by the rule of thumb leaves.
    """

    decant: Decant
    costs: Costs
    terms: Terms
    break_even: Outcome | None
    asked: Outcome
    finished: Outcome | None
    rule: Outcome


def quote(decant: Decant, label: Decimal, terms: Terms, wish: Wish) -> Quote:
    """Return the prices of a decant.

    Args:
        decant: what it costs before it is posted.
        label: what its postage costs.
        terms: on which terms it is sold.
        wish: what is wanted of the price.

    Raises:
        NoPriceError: no price leaves what is wanted.
    """
    costs = Costs(decant.liquid, decant.loss, decant.supplies, label)
    price = solve(costs, terms, wish.margin or ZERO, wish.profit or ZERO) if wish.at is None else wish.at
    return Quote(
        decant,
        costs,
        terms,
        _break_even(costs, terms),
        outcome(price, costs, terms),
        outcome(finished(price, wish.endings), costs, terms) if wish.endings else None,
        rule_of_thumb(costs, terms),
    )


def _break_even(costs: Costs, terms: Terms) -> Outcome | None:
    try:
        return outcome(solve(costs, terms), costs, terms)
    except NoPriceError:
        return None


@dataclass(frozen=True, slots=True)
class Statement:
    """What one price leaves, line by line, in minor units; the lines add up, but for the margin.

    Attributes:
        price: of the goods.
        postage_charged: what the buyer pays for postage.
        fee: what the channel takes.
        supplies: the kits of the vial and the parcel.
        postage: the label.
        cash_kept: price and postage charged less fee, supplies and postage.
        liquid: the mL sold, at cost.
        loss: the mL lost in the pour, at cost.
        lost_parcels: the allowance for them.
        profit: cash kept less liquid, loss and lost parcels.
        margin: the exact profit as a part of the price, 4 digits; None when nothing is charged.
        tax: the buyer's, collected for others.
        buyer_pays: price, postage charged and tax.
    """

    price: Decimal
    postage_charged: Decimal
    fee: Decimal
    supplies: Decimal
    postage: Decimal
    cash_kept: Decimal
    liquid: Decimal
    loss: Decimal
    lost_parcels: Decimal
    profit: Decimal
    margin: Decimal | None
    tax: Decimal
    buyer_pays: Decimal

    @property
    def short_of_liquid(self) -> Decimal:
        """How much less than the liquid's cost the profit is, which is what the rule of thumb means to leave."""
        return self.liquid - self.profit


def statement(of: Quote, leaves: Outcome) -> Statement:
    """Return one of a quote's prices as a statement; all of them show the same costs."""
    unit = of.terms.unit
    exact = [of.costs.liquid, of.costs.loss, of.costs.supplies, of.costs.postage]
    liquid, loss, supplies, postage = rounding.shares(exact, unit)
    all_costs = rounding.nearest(of.costs.total + leaves.allowance, unit)
    received = leaves.buyer_pays - leaves.tax - leaves.fee
    price, margin = leaves.price.quantize(unit), leaves.margin
    return Statement(
        price=price,
        postage_charged=(leaves.buyer_pays - leaves.tax - leaves.price).quantize(unit),
        fee=leaves.fee,
        supplies=supplies,
        postage=postage,
        cash_kept=received - supplies - postage,
        liquid=liquid,
        loss=loss,
        lost_parcels=all_costs - liquid - loss - supplies - postage,
        profit=received - all_costs,
        margin=None if margin is None else rounding.nearest(margin, _FOUR_DIGITS),
        tax=leaves.tax,
        buyer_pays=leaves.buyer_pays.quantize(unit),
    )


def row(of: Quote, fragrance: str, channel: str | None = None, drift: Decimal | None = None) -> dict[str, object]:
    """Return a quote as one row, rounded: the parts of the price that was asked for, then the other prices.

    Args:
        of: the quote.
        fragrance: its name.
        channel: the name of the channel whose fee is counted.
        drift: how far its fees differ from its schedule.
    """
    asked = statement(of, of.asked)
    ended = None if of.finished is None else statement(of, of.finished)
    ruled = statement(of, of.rule)
    parts = ("liquid", "loss", "supplies", "postage", "fee")
    results = ("price", "profit", "margin")
    others = (field.name for field in fields(Statement) if field.name not in {*parts, *results})
    return {
        "size_ml": of.decant.size_ml,
        **{name: getattr(asked, name) for name in parts},
        "break_even": None if of.break_even is None else of.break_even.price,
        **{name: getattr(asked, name) for name in results},
        **{name: getattr(asked, name) for name in others},
        "finished": None if ended is None else ended.price,
        "finished_profit": None if ended is None else ended.profit,
        "finished_margin": None if ended is None else ended.margin,
        "rule_price": ruled.price,
        "rule_profit": ruled.profit,
        "rule_short": ruled.short_of_liquid,
        "fragrance": fragrance,
        "bottle": " + ".join(of.decant.bottles),
        "channel": channel,
        "fee_drift": drift,
    }
