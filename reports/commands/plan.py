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
from millilot.reports.figures import Bounds
from millilot.reports.names import UnknownNameError
from millilot.reports.plan import Plan, Rung
from millilot.reports.plan import plan as report
from millilot.reports.plan_basis import Request
from millilot.reports.plan_words import again, explained, state
from millilot.reports.prices import NoPriceError
from millilot.reports.tables import WIDTH, Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Mapping, Sequence
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

_NOT_BELOW_0 = Figure(Bounds("mL not below 0, such as 30"))
_SHARE_OF_SALES = Figure(Bounds("a share of the sales above 0, such as 3", above=Decimal(0)))


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
                "basis": [{"what": each.what, "value": each.value, "source": each.source} for each in plan.basis],
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
        _lines([f"{plan.bottle}, {plan.fragrance}, on {plan.date}, in {currency}", *state(plan)]),
        _lines([f"Sizes: {plan.sizes_from}. Prices {plan.prices_from}."]),
        table,
        _lines(explained(plan)),
        f"Reckoned with\n\n{_basis(plan)}",
        _lines(["Buy it again?", *again(plan)]),
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


def _basis(plan: Plan) -> str:
    """Return the figures it is reckoned with; where one is from may take several lines."""
    rows: list[tuple[object, ...]] = []
    for each in plan.basis:
        first, *others = wrap(each.source, _ROOM, break_on_hyphens=False)
        rows += [(each.what, each.value, first), *((None, None, line) for line in others)]
    return to_table(
        (Column("Figure", right=False), Column("Value"), Column("From", right=False, flexible=True)), rows,
    )
