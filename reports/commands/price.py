"""`millilot price`: what to charge for a decant, and what a price leaves."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import click

from millilot.reports.channel import UnknownChannelError
from millilot.reports.commands.figures import (
    AMOUNT,
    ENDING,
    MILLILITRES,
    RATE,
    SHARE,
    require_minor_units,
)
from millilot.reports.commands.options import Format, clean, read, report_options
from millilot.reports.commands.payouts import paragraph
from millilot.reports.names import UnknownNameError
from millilot.reports.priced import LINES, Priced, Question, priced
from millilot.reports.prices import NoPriceError
from millilot.reports.quote import Wish, statement
from millilot.reports.tables import Column, printable, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping, Sequence
    from pathlib import Path

_LADDER = {
    "size_ml": "mL",
    "liquid": "Liquid",
    "loss": "Loss",
    "supplies": "Supplies",
    "fee": "Fee",
    "break_even": "Break-even",
    "price": "Price",
}
_AT_PRICE = {"profit": "Profit", "margin": "Margin"}
_AT_FINISHED = {"finished": "Finished", "finished_profit": "Profit", "finished_margin": "Margin"}
_MARGINS = {"margin", "finished_margin"}
_TEXTS = {"fragrance", "bottle", "channel"}


@click.command("price")
@click.argument("name", metavar="FRAGRANCE")
@click.option("--size", "sizes", type=MILLILITRES, metavar="ML", multiple=True, required=True,
              help="mL in the vial; several make a ladder.")
@click.option("--channel", metavar="ACCOUNT", help="Where it is sold, by name or account; for the fee.")
@click.option("--charge", type=AMOUNT, metavar="POSTAGE", default="0", help="What the buyer pays for postage.")
@click.option("--label", type=AMOUNT, metavar="COST", default="0", help="What the postage costs you.")
@click.option("--tax", type=RATE, metavar="RATE", default="0", help="The buyer's tax on price and postage.")
@click.option("--lost", type=SHARE, metavar="FRACTION", help="The part of parcels lost; else that of the books.")
@click.option("--margin", type=SHARE, metavar="FRACTION", help="The part of the price to keep as profit: 0.3.")
@click.option("--profit", type=AMOUNT, metavar="AMOUNT", help="The profit to keep.")
@click.option("--at", type=AMOUNT, metavar="PRICE", help="A price to try: what does it leave?")
@click.option("--bottle", metavar="NAME", help="The bottle to pour from; by default, the next in turn.")
@click.option("--ending", "endings", type=ENDING, metavar=".NN", multiple=True,
              help="How the finished price may end: .00, .50, .95.")
@report_options
def price_command(
    path: Path,
    style: str,
    to: datetime.date | None,
    *,
    name: str,
    sizes: Sequence[Decimal],
    channel: str | None,
    charge: Decimal,
    label: Decimal,
    tax: Decimal,
    lost: Decimal | None,
    margin: Decimal | None,
    profit: Decimal | None,
    at: Decimal | None,
    bottle: str | None,
    endings: Sequence[Decimal],
    wide: bool,
) -> None:
    """Reckon what to charge for a decant of FRAGRANCE, by its name or code.

    The price is the least that leaves the margin or the profit, up to the cent; without either, the break-even
    price. With --at, a price is tried. What a buyer pays in tax is collected for others and is no income.
    """
    if sum(wish is not None for wish in (margin, profit, at)) > 1:
        raise click.UsageError("--margin, --profit and --at each ask for another price; give one of them.")
    books = read(path, to)
    require_minor_units(
        books.currency, {"--charge": charge, "--label": label, "--profit": profit, "--at": at}, endings,
    )
    asked = Question(
        name, sizes, Wish(margin, profit, at, tuple(endings)), channel, charge, label, tax, lost, bottle,
    )
    try:
        found = priced(books, asked, to)
    except (UnknownNameError, UnknownChannelError, NoPriceError) as error:
        raise click.ClickException(clean(str(error))) from None
    rows = found.rows()
    match style:
        case Format.JSON:
            click.echo(to_json(rows if len(rows) > 1 else rows[0]), nl=False)
        case Format.CSV:
            click.echo(to_csv(rows, list(rows[0])), nl=False)
        case _ if wide:
            click.echo(_wide(rows), nl=False)
        case _:
            table = _ladder(found) if len(rows) > 1 else _statement(found)
            lines = [line for note in found.notes for line in paragraph(note)]
            click.echo(table + "\n" + "\n".join(lines))


def _cell(name: str, value: object) -> object:
    return f"{value * 100:.2f} %" if name in _MARGINS and isinstance(value, Decimal) else value


def _statement(found: Priced) -> str:
    """Return one size: its prices side by side."""
    [of] = found.quotes
    shown = found.side_by_side(of)
    title = f"{found.fragrance}, {of.decant.size_ml} mL"
    return to_table(
        [Column(title, right=False, flexible=True), *map(Column, shown)],
        [
            [caption, *(None if name is None else _cell(name, getattr(each, name)) for each in shown.values())]
            for caption, name in LINES
        ],
    )


def _ladder(found: Priced) -> str:
    """Return a row for each size."""
    ends = any(each.finished for each in found.quotes)
    headings = {**_LADDER, **(_AT_FINISHED if ends else _AT_PRICE)}
    table = to_table(
        list(map(Column, headings.values())),
        [[_cell(name, each[name]) for name in headings] for each in found.rows()],
    )
    postage = statement(found.quotes[0], found.quotes[0].asked)
    charged = f"postage charged {postage.postage_charged}, label {postage.postage}"
    return f"{printable(found.fragrance)}; {charged}\n\n{table}"


def _wide(rows: Sequence[Mapping[str, object]]) -> str:
    return to_table(
        [Column(name, right=name not in _TEXTS) for name in rows[0]],
        [list(each.values()) for each in rows],
        width=None,
    )
