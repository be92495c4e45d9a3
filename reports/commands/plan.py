"""`millilot plan`: what a bottle still has to bring, at which prices, and whether to buy it again."""

from __future__ import annotations

from dataclasses import fields
from decimal import Decimal
from textwrap import wrap
from typing import TYPE_CHECKING

import click

from millilot.reports.channel import UnknownChannelError
from millilot.reports.commands.figures import AMOUNT, MILLILITRES, RATE, SHARE, Figure, require_minor_units
from millilot.reports.commands.options import Format, clean, read, report_options
from millilot.reports.commands.payouts import paragraph
from millilot.reports.lessons import ENOUGH_SALES
from millilot.reports.names import UnknownNameError
from millilot.reports.plan import Plan, Rung
from millilot.reports.plan import plan as report
from millilot.reports.plan_basis import Request
from millilot.reports.prices import NoPriceError
from millilot.reports.tables import WIDTH, Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

COLUMNS = tuple(field.name for field in fields(Plan))
OF_LADDER = tuple(field.name for field in fields(Rung))

_NARROW = {
    "size_ml": "mL",
    "share": "Share",
    "price": "Price",
    "cash": "Cash",
    "margin": "Margin",
    "fills": "Fills",
    "sales": "Sales",
    "ml_needed": "Takes",
    "enough": "Enough",
    "price_at": "Back at",
}
#: What says nothing of a bottle that is paid back.
_UNTIL_PAID_BACK = {"sales", "ml_needed", "enough", "price_at"}
_PARTS = {"share", "margin"}
#: The widest figure of those a plan reckons with leaves this room for where it is from.
_ROOM = 46

_NOT_BELOW_0 = Figure("mL not below 0, such as 30")
_SHARE_OF_SALES = Figure("a share of the sales above 0, such as 3", above=Decimal(0))


def _sizes(ctx: click.Context, option: click.Parameter, values: Sequence[str]) -> dict[Decimal, Decimal]:
    """Return mL in a vial and its share of the sales, each written 5 or 5:3.

    Raises:
        click.BadParameter: one is not written so, or a size is there twice.
    """
    sizes = {}
    for value in values:
        size, colon, share = value.partition(":")
        ml = MILLILITRES.convert(size, option, ctx)
        if ml in sizes:
            raise click.BadParameter(f"{ml:f} mL is there twice; give it once, with its share, such as 5:3.")
        sizes[ml] = _SHARE_OF_SALES.convert(share, option, ctx) if colon else Decimal(1)
    return sizes


@click.command("plan")
@click.argument("name", metavar="BOTTLE")
@click.option("--size", "sizes", callback=_sizes, metavar="ML[:SHARE]", multiple=True,
              help="A size to offer, and its share of the sales: 5:3 and 10:1.")
@click.option("--keep", type=_NOT_BELOW_0, metavar="ML", help="mL to keep of the bottle in all; else its keep:.")
@click.option("--margin", type=SHARE, metavar="FRACTION", help="The part of each price to keep as profit: 0.3.")
@click.option("--profit", type=AMOUNT, metavar="AMOUNT", help="The profit to keep of each sale.")
@click.option("--channel", metavar="ACCOUNT", help="Where it is sold, by name or account; for the fee.")
@click.option("--charge", type=AMOUNT, metavar="POSTAGE", help="What the buyer pays for postage.")
@click.option("--label", type=AMOUNT, metavar="COST", help="What the postage costs you.")
@click.option("--tax", type=RATE, metavar="RATE", default="0", help="The buyer's tax on price and postage: 0.08.")
@click.option("--lost", type=SHARE, metavar="FRACTION", help="The part of price and postage given back.")
@click.option("--paid-back-at", type=MILLILITRES, metavar="ML",
              help="Pay it back with so many more mL sold; by default, with all that is free.")
@report_options
def plan_command(
    path: Path,
    style: str,
    to: datetime.date | None,
    *,
    name: str,
    sizes: Mapping[Decimal, Decimal],
    keep: Decimal | None,
    margin: Decimal | None,
    profit: Decimal | None,
    channel: str | None,
    charge: Decimal | None,
    label: Decimal | None,
    tax: Decimal,
    lost: Decimal | None,
    paid_back_at: Decimal | None,
    wide: bool,
) -> None:
    """Plan how BOTTLE is paid back: prices by size, sales that takes, and whether to buy it again.

    What is not asked for is measured from the bottle's own sales, or assumed while they are few; each figure says
    where it is from. CSV is the price ladder.
    """
    if margin is not None and profit is not None:
        raise click.UsageError("--margin and --profit each ask for another price; give one of them.")
    books = read(path, to)
    require_minor_units(books.currency, {"--profit": profit, "--charge": charge, "--label": label})
    asked = Request(sizes, keep, margin, profit, channel, charge, label, tax, lost, paid_back_at)
    try:
        plan = report(books, name, asked, to)
    except (UnknownNameError, UnknownChannelError, NoPriceError) as error:
        raise click.ClickException(clean(str(error))) from None
    ladder = [{name: getattr(rung, name) for name in OF_LADDER} for rung in plan.ladder]
    match style:
        case Format.JSON:
            lists = {
                "ladder": ladder,
                "basis": [each._asdict() for each in plan.basis],
                "remarks": list(plan.remarks),
            }
            click.echo(to_json({name: lists.get(name, getattr(plan, name)) for name in COLUMNS}), nl=False)
        case Format.CSV:
            click.echo(to_csv(ladder, OF_LADDER), nl=False)
        case _:
            click.echo(_page(plan, ladder, books.currency, wide=wide), nl=False)


def _page(plan: Plan, ladder: Sequence[Mapping[str, object]], currency: str, *, wide: bool) -> str:
    """Return the plan: what is missing and free, the ladder, what it rests on, and whether to buy it again."""
    names = {name: name for name in OF_LADDER} if wide else _NARROW
    if not (wide or plan.to_recover):
        names = {name: heading for name, heading in names.items() if name not in _UNTIL_PAID_BACK}
    table = to_table(
        list(map(Column, names.values())),
        [[_cell(rung, name, wide=wide) for name in names] for rung in ladder[:-1]],
        [_cell(ladder[-1], name, wide=wide) for name in names],
        None if wide else WIDTH,
    )
    parts = (
        _lines([f"{plan.bottle}, {plan.fragrance}, on {plan.date}, in {currency}", *_state(plan)]),
        _lines([f"Sizes: {plan.sizes_from}. Prices {plan.prices_from}."]),
        table,
        _lines([*_explained(plan), *plan.remarks]),
        f"Reckoned with\n\n{_basis(plan)}",
        _lines(["Buy it again?", *_again(plan)]),
    )
    return "\n".join(parts)


def _lines(sentences: Iterable[str]) -> str:
    return "".join(f"{line}\n" for sentence in sentences for line in paragraph(sentence))


def _cell(rung: Mapping[str, object], name: str, *, wide: bool) -> object:
    value = rung[name]
    if name == "size_ml" and value is None:
        return "Mix"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name in _PARTS and isinstance(value, Decimal) and not wide:
        return f"{value * 100:.1f} %"
    return value


def _state(plan: Plan) -> Iterator[str]:
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


def _explained(plan: Plan) -> Iterator[str]:
    """Yield what the ladder says."""
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


def _basis(plan: Plan) -> str:
    """Return the figures it is reckoned with; where one is from may take several lines."""
    rows: list[tuple[object, ...]] = []
    for what, value, source in plan.basis:
        first, *others = wrap(source, _ROOM, break_on_hyphens=False)
        rows += [(what, value, first), *((None, None, line) for line in others)]
    return to_table(
        (Column("Figure", right=False), Column("Value"), Column("From", right=False, flexible=True)), rows,
    )


def _again(plan: Plan) -> Iterator[str]:
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
    if not any(source.startswith("measured") for _, _, source in plan.basis):
        yield f"From {ENOUGH_SALES} sales on, what is measured takes the place of what is assumed."


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"
