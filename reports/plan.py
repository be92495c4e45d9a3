"""A plan for a bottle: what is free of it, at which prices it is offered, and how many sales pay it back.

A bottle is paid back when its net reaches its cost, as the bottles report has it. A sale brings it nearer by what
it leaves in cash: price and postage charged, less fee, supplies, label and an allowance for refunds. The liquid is
paid for already: it is part of a price, of a profit and of a margin, and of no cash. Then, by definition::

    sales until it is paid back = to_recover / cash of a sale, rounded up
    price at which n vials pay it back = the least one whose cash is to_recover / n or more

Each sale is taken for an order of its own, with a parcel kit and a label.
"""

from __future__ import annotations

import datetime
from contextlib import suppress
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.bottles import bottles, plain, rounded_bottles, rows_of
from millilot.reports.decants import decant
from millilot.reports.lessons import lessons, sizes_sold
from millilot.reports.names import UnknownNameError, near
from millilot.reports.next_draw import next_draw
from millilot.reports.plan_basis import offer, reckoning
from millilot.reports.prices import Costs, NoPriceError, outcome, solve
from millilot.reports.stock import stock

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from millilot.ledger.records import Books, Bottle
    from millilot.reports.bottles import Row
    from millilot.reports.lessons import Lessons
    from millilot.reports.plan_basis import Basis, Reckoning, Request

_FOUR_DIGITS = Decimal("0.0001")
_HUNDREDTH = Decimal("0.01")
_TENTH = Decimal("0.1")
_WHOLE = Decimal(1)

#: What a plan shows as the bottles report does.
_OF_BOTTLE = ("bought", "cost", "net", "to_recover", "payback", "paid_back_on", "ml_left", "ml_kept")


@dataclass(frozen=True, slots=True)
class Rung:
    """A size on the price ladder, or the mix of all sizes.

    Attributes:
        size_ml: mL in a vial; None for the mix.
        share: its part of the sales; 4 digits when rounded.
        price: what it is offered at; of the mix, on average.
        cash: what a sale leaves, liquid not counted.
        profit: the same less the liquid and the mL lost, at cost.
        margin: profit / price, 4 digits when rounded; None at no price.
        fills: how many vials, each with its loss, what is free fills; None for the mix.
        sales: sales until the bottle is paid back, 0 when it is; None when no number of them does it.
        ml_needed: mL they take, the loss included.
        enough: whether what is free suffices for them.
        vials_at: how many vials are sold when it shall be paid back; None for the mix.
        price_at: the price at which it is paid back then; None when it is already, without a vial to sell, and
            where fees and refunds leave nothing of any price.
    """

    size_ml: Decimal | None
    share: Decimal
    price: Decimal
    cash: Decimal
    profit: Decimal
    margin: Decimal | None
    fills: int | None
    sales: int | None
    ml_needed: Decimal | None
    enough: bool
    vials_at: int | None
    price_at: Decimal | None


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan for a bottle, rounded. What other reports show too is theirs.

    Attributes:
        bottle: the bottle.
        fragrance: the name of what is in it.
        date: the day of the plan.
        estimated: whether the cost is not proven.
        bought: the day it came in.
        cost: what it cost.
        net: what it has taken in, as the bottles report has it.
        to_recover: what is missing until it is paid back.
        payback: net / cost; None at cost 0.
        paid_back_on: since when it is paid back.
        ml_left: mL in it.
        ml_kept: mL kept so far.
        keep: mL to keep of it in all.
        reserved: mL still to keep, and mL claimed.
        free: mL free to sell.
        paid_back_at: mL, sold from now on, by which it shall be paid back; None for all that is free.
        sizes_from: where the sizes and their shares are from.
        prices_from: where the prices are from.
        months: until the mix has paid it back at the pace so far; 1 digit, None when that is not known or what is
            free does not suffice.
        days: from the purchase until it was paid back, else until today.
        ml_sold_share: the part of the mL bought that was sold, 4 digits.
        cost_per_ml: what a mL of it cost, 4 digits.
        latest_bottle: the bottle of the fragrance that was bought last at a cost; None when there is none.
        latest_bought: the day it was bought.
        latest_cost_per_ml: what a mL of that cost, 4 digits.
        profit: earned so far.
        basis: what is reckoned with.
        ladder: the sizes, the smallest first, and last the mix.
        remarks: where more is asked for than there is, and what could not be costed as the books would book it.
    """

    bottle: str
    fragrance: str
    date: datetime.date
    estimated: bool
    bought: datetime.date
    cost: Decimal
    net: Decimal
    to_recover: Decimal
    payback: Decimal | None
    paid_back_on: datetime.date | None
    ml_left: Decimal
    ml_kept: Decimal
    keep: Decimal
    reserved: Decimal
    free: Decimal
    paid_back_at: Decimal | None
    sizes_from: str
    prices_from: str
    months: Decimal | None
    days: int
    ml_sold_share: Decimal | None
    cost_per_ml: Decimal | None
    latest_bottle: str | None
    latest_bought: datetime.date | None
    latest_cost_per_ml: Decimal | None
    profit: Decimal
    basis: tuple[Basis, ...]
    ladder: tuple[Rung, ...]
    remarks: tuple[str, ...]


def plan(books: Books, name: str, asked: Request, day: datetime.date | None = None) -> Plan:
    """Return the plan for a bottle.

    Args:
        books: read up to the day.
        name: the bottle.
        asked: what the owner asks.
        day: the day of the plan; the last day of the books unless stated.

    Raises:
        UnknownNameError: no bottle of fragrance has this name; the message names those of the fragrance that
            has, else the nearest.
        UnknownChannelError: there is no such channel.
        NoPriceError: no price leaves the margin that is asked for.
    """
    bottle = books.fragrances.get(name)
    if bottle is None:
        raise UnknownNameError(f"There is no bottle {name!r}.{_meant(books, name)}")
    today = day or books.last or bottle.bought
    # Without a day, all that stands in the books counts, the last setting too.
    of_settings = day or datetime.date.max
    if asked.keep is not None:
        bottle = replace(bottle, keep=asked.keep)
        books = replace(books, bottles={**books.bottles, name: bottle})
    exact = {row["bottle"]: row for row in rows_of(bottles(books))}
    rows = {row["bottle"]: row for row in rows_of(rounded_bottles(books))}
    [held] = [line for line in stock(books, today) if line.bottle == name]
    free = held.free or ZERO
    taught = lessons(books, exact[name], today)
    reckoned = reckoning(books, taught, asked, of_settings)
    sizes = offer(books, bottle, asked, of_settings)
    prices_from, price_of = _pricing(books, name, taught, asked, reckoned)
    whole = _Bottle(reckoned, free, rows[name]["to_recover"], asked.paid_back_at)
    on_shelf = next_draw(books)
    exact_ladder = []
    remarks = dict.fromkeys(_beyond(rows[name], free, asked))
    for size, share in sizes.shares.items():
        poured = decant(books, on_shelf, [name], size, day=of_settings, loss=reckoned.loss)
        costs = Costs(poured.liquid, poured.loss, poured.supplies, reckoned.label)
        exact_ladder.append(_rung(whole, size, share, costs, price_of(size, costs)))
        # A bottle that cannot give a vial has no need to say so for each size.
        remarks.update(dict.fromkeys(poured.remarks if free >= size else ()))
    mix = _mix(whole, exact_ladder)
    unit = minor_unit(books.currency)
    return Plan(
        bottle=name,
        fragrance=bottle.commodity.name,
        date=today,
        estimated=bottle.estimated,
        **{key: rows[name][key] for key in _OF_BOTTLE},
        keep=plain(bottle.keep),
        reserved=held.reserved or ZERO,
        free=free,
        paid_back_at=asked.paid_back_at,
        sizes_from=sizes.source,
        prices_from=prices_from,
        months=_months(mix, sizes.shares, taught),
        **_again(books, bottle, rows, today),
        basis=reckoned.basis,
        ladder=tuple(_rounded(rung, unit) for rung in (*exact_ladder, mix)),
        remarks=tuple(remarks),
    )


def _meant(books: Books, name: str) -> str:
    """Return a sentence with the bottles of the fragrance of a name or code, else with the nearest bottles."""
    same = [
        each
        for each in books.fragrances.values()
        if name.casefold() in {each.commodity.code.casefold(), each.commodity.name.casefold()}
    ]
    if not same:
        return near(name, books.fragrances)
    return f" Bottles of {same[0].commodity.name}: {', '.join(each.name for each in same)}."


def _beyond(row: Row, free: Decimal, asked: Request) -> Iterator[str]:
    """Yield where more of a bottle is asked for than there is."""
    if asked.keep is not None and asked.keep - row["ml_kept"] > row["ml_left"]:
        kept = f", beside {row['ml_kept']} kept already" if row["ml_kept"] else ""
        yield f"{asked.keep:f} mL to keep were asked for; only {row['ml_left']} are left{kept}."
    if row["to_recover"] and asked.paid_back_at is not None and asked.paid_back_at > free:
        yield f"{asked.paid_back_at:f} mL more to sell were asked for; only {free} mL are free."


def times(amount: Decimal, each: Decimal) -> int | None:
    """Return how many times something brings an amount or more; None when no number of times does."""
    if amount <= 0:
        return 0
    return -int(rounding.below(-amount / each, _WHOLE)) if each > 0 else None


def _pricing(
    books: Books, name: str, taught: Lessons, asked: Request, reckoned: Reckoning,
) -> tuple[str, Callable[[Decimal, Costs], Decimal]]:
    """Return what the prices are, in words, and how that of a size and its costs is found."""
    terms = reckoned.terms
    if asked.margin is not None or asked.profit is not None:
        margin, profit = asked.margin or ZERO, asked.profit or ZERO
        words = f"a margin of {plain(margin * 100)} %" if margin else f"a profit of {profit:f} a sale"
        return f"as asked, with {words}", lambda _, costs: solve(costs, terms, margin, profit)
    if taught.enough and taught.price_per_ml is not None:
        vials, per_ml = sizes_sold(books, {name}), taught.price_per_ml

        def average(size: Decimal, _: Costs) -> Decimal:
            return rounding.nearest(vials[size].price if size in vials else per_ml * size, terms.unit)

        return f"as it sold on average, measured from {taught.sales} sales", average
    return (
        "assumed, with a profit as high as the cost of the liquid",
        lambda _, costs: solve(costs, terms, profit=costs.liquid),
    )


class _Bottle(NamedTuple):
    """What is the same for all sizes: how it is sold, what is free, and what is missing until it is paid back."""

    reckoned: Reckoning
    free: Decimal
    recover: Decimal
    paid_back_at: Decimal | None


def _rung(of: _Bottle, size: Decimal, share: Decimal, costs: Costs, price: Decimal) -> Rung:
    """Return the exact figures of a size."""
    terms = of.reckoned.terms
    found = outcome(price, costs, terms)
    cash = found.cash_kept - found.allowance
    drawn = size + of.reckoned.loss
    fills = int(rounding.below(of.free / drawn, _WHOLE))
    sales = times(of.recover, cash)
    vials_at = fills if of.paid_back_at is None else int(of.paid_back_at // size)
    price_at = None
    if of.recover > 0 and vials_at:
        # What is paid already is no cost of a sale to come.
        to_pay = Costs(ZERO, ZERO, costs.supplies, costs.postage)
        # Measured fees and refunds may leave nothing of any price; the rest of the plan holds all the same.
        with suppress(NoPriceError):
            price_at = solve(to_pay, terms, profit=of.recover / vials_at)
    return Rung(
        size_ml=size,
        share=share,
        price=price,
        cash=cash,
        profit=found.profit,
        margin=found.margin,
        fills=fills,
        sales=sales,
        ml_needed=None if sales is None else sales * drawn,
        enough=sales is not None and sales <= fills,
        vials_at=vials_at,
        price_at=price_at,
    )


def _mix(of: _Bottle, ladder: Sequence[Rung]) -> Rung:
    """Return a sale on average, and how many of them it takes."""
    price = sum((rung.share * rung.price for rung in ladder), ZERO)
    cash = sum((rung.share * rung.cash for rung in ladder), ZERO)
    profit = sum((rung.share * rung.profit for rung in ladder), ZERO)
    sizes = [(rung.share, rung.size_ml) for rung in ladder if rung.size_ml is not None]
    drawn = sum((share * (size + of.reckoned.loss) for share, size in sizes), ZERO)
    sales = times(of.recover, cash)
    return Rung(
        size_ml=None,
        share=sum((rung.share for rung in ladder), ZERO),
        price=price,
        cash=cash,
        profit=profit,
        margin=profit / price if price else None,
        fills=None,
        sales=sales,
        ml_needed=None if sales is None else sales * drawn,
        enough=sales is not None and sales <= rounding.below(of.free / drawn, _WHOLE),
        vials_at=None,
        price_at=None,
    )


def _rounded(rung: Rung, unit: Decimal) -> Rung:
    return replace(
        rung,
        share=rounding.nearest(rung.share, _FOUR_DIGITS),
        price=rounding.nearest(rung.price, unit),
        cash=rounding.nearest(rung.cash, unit),
        profit=rounding.nearest(rung.profit, unit),
        margin=None if rung.margin is None else rounding.nearest(rung.margin, _FOUR_DIGITS),
        ml_needed=None if rung.ml_needed is None else plain(rounding.nearest(rung.ml_needed, _HUNDREDTH)),
    )


def _months(mix: Rung, shares: Mapping[Decimal, Decimal], taught: Lessons) -> Decimal | None:
    """Return how long the sales of the mix take at the pace so far; None when it cannot pay the bottle back."""
    if not (mix.sales and mix.enough and taught.enough and taught.ml_per_month):
        return None
    sold = mix.sales * sum((size * share for size, share in shares.items()), ZERO)
    return rounding.nearest(sold / taught.ml_per_month, _TENTH)


def _again(
    books: Books, bottle: Bottle, rows: Mapping[str, Row], today: datetime.date,
) -> dict[str, Any]:
    """Return what speaks for buying it again."""
    row = rows[bottle.name]
    bought_at_a_cost = [
        each
        for each in books.fragrances.values()
        if each.commodity.code == bottle.commodity.code and rows[each.name]["cost"] > 0
    ]
    latest = bought_at_a_cost[-1] if bought_at_a_cost else None
    share = row["ml_sold"] / row["ml_bought"] if row["ml_bought"] else None
    return {
        # What cost nothing had nothing to pay back.
        "days": (((row["cost"] and row["paid_back_on"]) or today) - bottle.bought).days,
        "ml_sold_share": None if share is None else rounding.nearest(share, _FOUR_DIGITS),
        "cost_per_ml": row["cost_per_ml"],
        "latest_bottle": latest and latest.name,
        "latest_bought": latest and latest.bought,
        "latest_cost_per_ml": latest and rows[latest.name]["cost_per_ml"],
        "profit": row["profit"],
    }
