"""`millilot price`: what to charge for a decant, and what a price leaves."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

import click

from millilot.ledger.money import minor_unit
from millilot.reports import rounding
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
from millilot.reports.decants import bottles_of, decant, find_fragrance
from millilot.reports.fees import fee_of
from millilot.reports.lost_parcels import lost_parcels
from millilot.reports.names import UnknownNameError
from millilot.reports.next_draw import NextDraw
from millilot.reports.prices import NoPriceError, Terms
from millilot.reports.quote import Wish, quote, row, statement
from millilot.reports.tables import Column, printable, to_csv, to_json, to_table

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from millilot.ledger.records import Books
    from millilot.reports.fee_drift import FeeDrift
    from millilot.reports.fees import ChannelFee
    from millilot.reports.quote import Quote

_LINES = (
    ("Price", "price"),
    ("Postage charged", "postage_charged"),
    ("less fee", "fee"),
    ("less supplies", "supplies"),
    ("less postage label", "postage"),
    ("Cash kept", "cash_kept"),
    ("less liquid", "liquid"),
    ("less lost in the pour", "loss"),
    ("less lost parcels", "lost_parcels"),
    ("Profit", "profit"),
    ("Margin", "margin"),
    ("", None),
    ("Buyer's tax", "tax"),
    ("Buyer pays", "buyer_pays"),
)
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


@dataclass(frozen=True, slots=True)
class _Priced:
    """What was reckoned, and what there is to say of it."""

    fragrance: str
    quotes: Sequence[Quote]
    wish: Wish
    fee: ChannelFee
    notes: Sequence[str]

    def rows(self) -> list[dict[str, object]]:
        """Return a row for each size."""
        drift = self.fee.drift.drift if self.fee.drift else None
        return [row(each, self.fragrance, self.fee.channel, drift) for each in self.quotes]


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
    wish = Wish(margin, profit, at, tuple(endings))
    try:
        # Without a day, all that stands in the books counts, the last setting too.
        day = to or datetime.date.max
        fee = fee_of(books, channel, day)
        share, about_lost = _lost(books, lost)
        terms = Terms(minor_unit(books.currency), fee.fee, charge, tax, share)
        fragrance, stock = find_fragrance(books, name), NextDraw(books)
        bottles = bottles_of(books, stock, fragrance, bottle)
        quotes = [
            quote(decant(books, stock, bottles, size, day=day), label, terms, wish)
            for size in sorted(set(sizes))
        ]
    except (UnknownNameError, UnknownChannelError, NoPriceError) as error:
        raise click.ClickException(clean(str(error))) from None
    notes = [*_about(quotes), fee.says, *_drift(fee.drift), about_lost, *_given(quotes[0], wish), *_rule(quotes)]
    priced = _Priced(fragrance.name, quotes, wish, fee, notes)
    rows = priced.rows()
    match style:
        case Format.JSON:
            click.echo(to_json(rows if len(rows) > 1 else rows[0]), nl=False)
        case Format.CSV:
            click.echo(to_csv(rows, list(rows[0])), nl=False)
        case _ if wide:
            click.echo(_wide(rows), nl=False)
        case _:
            table = _ladder(priced) if len(rows) > 1 else _statement(priced)
            lines = [line for note in notes for line in paragraph(note)]
            click.echo(table + "\n" + "\n".join(lines))


def _lost(books: Books, given: Decimal | None) -> tuple[Decimal, str]:
    """Return the share of parcels to allow for, and where it is from."""
    if given is not None:
        return given, f"Lost parcels: {_percent(given)} of price and postage, as given."
    known = lost_parcels(books)
    found = f"Lost parcels: {known.lost or 'none'} of {known.orders} orders"
    if known.share:
        return known.share, f"{found}, so {_percent(known.share)} of price and postage is set aside."
    why = ", too few to tell by" if known.lost else ""
    return known.share, f"{found}{why}; nothing is set aside (--lost)."


def _percent(share: Decimal) -> str:
    return f"{rounding.nearest(share * 100, Decimal('0.01')).normalize():f} %"


def _about(quotes: Sequence[Quote]) -> Iterator[str]:
    """Yield from which bottles the liquid is, and what could not be costed."""
    pieces = {(piece.lot, piece.cost_per_unit): None for each in quotes for piece in each.decant.pieces}
    named = ", ".join(f"{lot} at {rounding.nearest(cost, Decimal('0.0001')):f} a mL" for lot, cost in pieces)
    if named:
        yield f"Liquid: {named}."
    yield from dict.fromkeys(remark for each in quotes for remark in each.decant.remarks)


def _drift(drift: FeeDrift | None) -> Iterator[str]:
    """Yield how the schedule compares with the fees of the books."""
    if drift is None:
        return
    part = "" if drift.drift is None else f" ({abs(drift.drift) * 100:.2f} %)"
    more = f"{abs(drift.difference)} {'more' if drift.difference > 0 else 'less'}{part}"
    yield (
        f"On {drift.orders} orders of {drift.channel} it estimates {drift.estimated}, and the books show "
        f"{drift.taken}: {more if drift.difference else 'no drift'}."
    )


def _given(of: Quote, wish: Wish) -> Iterator[str]:
    """Yield what is worth knowing of the options that were given, or not."""
    if not of.costs.postage:
        yield "No --label is given, so the postage costs nothing here."
    if of.terms.tax:
        yield "The buyer's tax is collected for others and is no income."
    if wish == Wish(endings=wish.endings):
        yield "Neither --margin nor --profit is given, so the price is the break-even price."


def _rule(quotes: Sequence[Quote]) -> Iterator[str]:
    """Yield what the rule of thumb is, and where it falls short."""
    yield (
        "Rule of thumb (common practice, no source): liquid, supplies and label, and the liquid's cost once more."
    )
    for each in quotes:
        leaves = statement(each, each.rule)
        short = leaves.short_of_liquid
        size = f"{each.decant.size_ml} mL: " if len(quotes) > 1 else ""
        gaps = {"fee": leaves.fee, "lost in the pour": leaves.loss, "lost parcels": leaves.lost_parcels}
        why = ", ".join(f"{name} {amount}" for name, amount in gaps.items() if amount)
        falls_short = f" where it means to leave {leaves.liquid}: {short} short ({why})."
        yield f"{size}{leaves.price} by the rule leaves {leaves.profit}" + (
            falls_short if short > 0 else ", as it means to."
        )


def _cell(name: str, value: object) -> object:
    return f"{value * 100:.2f} %" if name in _MARGINS and isinstance(value, Decimal) else value


def _statement(priced: _Priced) -> str:
    """Return one size: its prices side by side."""
    [of] = priced.quotes
    columns = {
        "Break-even": of.break_even,
        _title(priced.wish): of.asked,
        "Finished": of.finished,
        "Rule of thumb": of.rule,
    }
    shown = {title: statement(of, leaves) for title, leaves in columns.items() if leaves is not None}
    title = f"{priced.fragrance}, {of.decant.size_ml} mL"
    return to_table(
        [Column(title, right=False, flexible=True), *map(Column, shown)],
        [
            [caption, *(None if name is None else _cell(name, getattr(each, name)) for each in shown.values())]
            for caption, name in _LINES
        ],
    )


def _title(wish: Wish) -> str:
    """Return what the price that was asked for is called; without a wish, it is the break-even price."""
    match wish:
        case Wish(margin=Decimal() as margin):
            return f"Margin {_percent(margin)}"
        case Wish(profit=Decimal() as profit):
            return f"Profit {profit:f}"
        case Wish(at=Decimal() as price):
            return f"At {price:f}"
        case _:
            return "Break-even"


def _ladder(priced: _Priced) -> str:
    """Return a row for each size."""
    ends = any(each.finished for each in priced.quotes)
    headings = {**_LADDER, **(_AT_FINISHED if ends else _AT_PRICE)}
    table = to_table(
        list(map(Column, headings.values())),
        [[_cell(name, each[name]) for name in headings] for each in priced.rows()],
    )
    postage = statement(priced.quotes[0], priced.quotes[0].asked)
    charged = f"postage charged {postage.postage_charged}, label {postage.postage}"
    return f"{printable(priced.fragrance)}; {charged}\n\n{table}"


def _wide(rows: Sequence[Mapping[str, object]]) -> str:
    return to_table(
        [Column(name, right=name not in _TEXTS) for name in rows[0]],
        [list(each.values()) for each in rows],
        width=None,
    )
