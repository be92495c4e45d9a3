"""What a plan for a bottle says, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millilot.reports.lessons import ENOUGH_SALES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from millilot.reports.plan import Plan


def state(plan: Plan) -> Iterator[str]:
    """Yield what it has taken in, and what is left of it."""
    part = "" if plan.payback is None else f" ({plan.payback * 100:.2f} %)"
    if plan.to_recover:
        rest = f"{plan.to_recover} to recover"
    else:
        rest = f"{'paid back' if plan.cost else 'nothing to pay back'}; what is sold from now on comes on top"
    yield f"Cost {plan.cost}, net {plan.net}{part}: {rest}."
    if plan.estimated:
        yield "The cost is estimated, and so is all that rests on it."
    if not plan.ml_left:
        yield "The bottle is empty."
        return
    reserved = f", {plan.reserved} to keep or claimed" if plan.reserved else ""
    kept = ""
    if plan.keep and plan.ml_kept:
        kept = f" Of the {plan.keep} mL to keep, {min(plan.ml_kept, plan.keep)} are kept already."
    yield f"{plan.ml_left} mL left{reserved}: {plan.free} free to sell.{kept}"


def explained(plan: Plan) -> Iterator[str]:
    """Yield what the ladder says, and what is to be said of it."""
    yield from _of_ladder(plan)
    yield from plan.remarks


def _of_ladder(plan: Plan) -> Iterator[str]:
    yield "Cash: what a sale leaves, the liquid not counted. Fills: vials that what is free fills."
    if not plan.to_recover:
        return
    mix = plan.ladder[-1]
    if mix.sales is None:
        yield "No number of sales of the mix pays it back: a sale leaves nothing."
    else:
        pace = "" if plan.months is None else f" At the pace so far that takes {plan.months} months."
        enough = "" if mix.enough else ", more than what is free"
        yield f"Sales of the mix until it is paid back: {mix.sales}, with {mix.ml_needed} mL{enough}.{pace}"
    when = "all that is free is" if plan.paid_back_at is None else f"{plan.paid_back_at:f} more mL are"
    yield f"Back at: the price of a size that pays it back by itself when {when} sold."
    if plan.paid_back_at is not None and plan.paid_back_at <= plan.free and any(
        rung.vials_at is not None and rung.fills is not None and rung.vials_at > rung.fills
        for rung in plan.ladder
    ):
        yield f"What is free does not fill {plan.paid_back_at:f} mL of every size."


def again(plan: Plan) -> Iterator[str]:
    """Yield what speaks for buying the fragrance again."""
    if not plan.cost:
        days = f"Bought {_days(plan.days)} ago, for nothing"
    elif plan.paid_back_on is None:
        days = f"Not paid back, {_days(plan.days)} after the purchase"
    else:
        days = f"Paid back on {plan.paid_back_on}, {_days(plan.days)} after the purchase"
    sold = "" if plan.ml_sold_share is None else f"; {plan.ml_sold_share * 100:.2f} % of its mL are sold"
    yield f"{days}{sold}; profit so far {plan.profit}."
    if plan.latest_bottle is None:
        yield "No bottle of it was bought at a cost."
    elif plan.latest_bottle == plan.bottle:
        yield f"A mL cost {plan.cost_per_ml}; no other bottle of {plan.fragrance} was bought later."
    else:
        yield (
            f"A mL cost {plan.cost_per_ml}; of {plan.latest_bottle}, the latest, bought on {plan.latest_bought}, "
            f"{plan.latest_cost_per_ml}."
        )
    if not any(each.source.startswith("measured") for each in plan.basis):
        yield f"From {ENOUGH_SALES} sales on, what is measured takes the place of what is assumed."


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"
