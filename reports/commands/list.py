"""`millilot list`: what is for sale, to look at, to paste in a post, or to print."""

from __future__ import annotations

import re
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import click

from millilot.reports.channel import UnknownChannelError
from millilot.reports.clock import this_day
from millilot.reports.commands.figures import AMOUNT, ENDING, MILLILITRES, SHARE, require_minor_units
from millilot.reports.commands.options import Format, clean, read, report_options_with, show
from millilot.reports.commands.payouts import paragraph
from millilot.reports.price_list import last_prices, price_list
from millilot.reports.priced import WishedPrices
from millilot.reports.prices import NoPriceError
from millilot.reports.quote import Wish
from millilot.reports.sheet import render
from millilot.reports.tables import WIDTH, Column, printable, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterator, Sequence
    from decimal import Decimal
    from pathlib import Path

    from millilot.reports.price_list import Listed, Offer


class Style(StrEnum):
    """How a list is written out besides the ways of every report."""

    TEXT = "text"
    MARKDOWN = "markdown"
    HTML = "html"


COLUMNS = (
    "commodity", "fragrance", "strength", "notes", "size_ml", "price", "currency", "free_ml", "vials", "sold_out",
)

_SOLD_OUT = "sold out"
_NO_PRICE = "on request"
_NOTHING = "Nothing is for sale.\n"

#: What Markdown gives a meaning inside a line, and links it makes by itself.
_MARKED = re.compile(r"[\\`*_\[\]<>#|~&$@:]|(?<=www)\.", re.IGNORECASE)


def _sizes(_ctx: click.Context, _option: click.Parameter, values: Sequence[str]) -> tuple[Decimal, ...]:
    return tuple(map(_size, values))


def _size(value: str) -> Decimal:
    return MILLILITRES.convert(value.strip().lower().removesuffix("ml").strip(), None, None)


@click.command("list")
@click.option(
    "--size", "sizes", multiple=True, callback=_sizes, metavar="ML",
    help="Offer this size; may be given more than once. Otherwise the sizes a fragrance was sold in.",
)
@click.option("--margin", type=SHARE, metavar="FRACTION", help="Ask the prices of which this part is profit.")
@click.option("--profit", type=AMOUNT, metavar="AMOUNT", help="Ask the prices that leave this profit.")
@click.option("--channel", metavar="ACCOUNT", help="Where it is sold, for the fee; with --margin or --profit.")
@click.option("--charge", type=AMOUNT, metavar="POSTAGE", default="0", help="What the buyer pays for postage.")
@click.option("--label", type=AMOUNT, metavar="COST", default="0", help="What the postage costs you.")
@click.option("--ending", "endings", type=ENDING, metavar=".NN", multiple=True, help="How a price may end: .50.")
@click.option("--notes", is_flag=True, help="Say the strength and the notes, as the books describe them.")
@report_options_with(*(style.value for style in Style))
def list_command(
    path: Path,
    style: str,
    to: datetime.date | None,
    *,
    sizes: tuple[Decimal, ...],
    margin: Decimal | None,
    profit: Decimal | None,
    channel: str | None,
    charge: Decimal,
    label: Decimal,
    endings: tuple[Decimal, ...],
    notes: bool,
    wide: bool,
) -> None:
    """List what is for sale: what is free of each fragrance, the sizes, and the price each was last sold at.

    With --margin or --profit, prices are reckoned as `millilot price` does, from what each fragrance costs now.

    Free is what is left, less what is kept and claimed. A size is sold out when less is free than a vial of it and
    its loss take. `--format text` is to be pasted in a post, `--format html` is a page to print.
    """
    if margin is not None and profit is not None:
        raise click.UsageError("--margin and --profit each ask for another price; give one of them.")
    books = read(path, to)
    require_minor_units(books.currency, {"--charge": charge, "--label": label, "--profit": profit}, endings)
    wish = Wish(margin, profit, endings=endings)
    if margin is None and profit is None:
        if channel or charge or label or endings:
            raise click.UsageError("--channel, --charge, --label and --ending go with --margin or --profit.")
        listed = price_list(books, last_prices(books), sizes, to)
    else:
        try:
            prices = WishedPrices(books, wish, channel=channel, charge=charge, label=label, to=to)
            listed = price_list(books, prices, sizes, to)
        except (UnknownChannelError, NoPriceError) as error:
            raise click.ClickException(clean(str(error))) from None
        _say_how(prices, listed)
    rows = [_row(each, offer, books.currency) for each in listed for offer in each.offers]
    match style:
        case Format.JSON:
            text = to_json(rows)
        case Format.CSV:
            text = to_csv([{**row, "sold_out": _SOLD_OUT if row["sold_out"] else None} for row in rows], COLUMNS)
        case Style.TEXT:
            text = "".join(_text(each, books.currency, notes=notes) for each in listed) or _NOTHING
        case Style.MARKDOWN:
            text = _markdown(listed, books.currency, notes=notes) if listed else _NOTHING
        case Style.HTML:
            text = _page(listed, to or this_day(), books.currency, notes=notes)
        case _:
            text = _table(listed, notes=notes or wide, width=None if wide else WIDTH)
    click.echo(text, nl=False)


def _say_how(prices: WishedPrices, listed: Sequence[Listed]) -> None:
    """Say on the standard error stream how the prices are reckoned, as the list itself is for buyers."""
    offers = [(each.commodity.code, offer) for each in listed for offer in each.offers]
    for note in prices.notes([(code, offer.size_ml) for code, offer in offers if not offer.sold_out]):
        show("\n".join(paragraph(note)), err=True)


def _row(listed: Listed, offer: Offer, currency: str) -> dict[str, Any]:
    return {
        "commodity": listed.commodity.code,
        "fragrance": listed.commodity.name,
        "strength": listed.commodity.strength,
        "notes": listed.commodity.notes,
        "size_ml": offer.size_ml,
        "price": offer.price,
        "currency": currency,
        "free_ml": listed.free,
        "vials": offer.vials,
        "sold_out": offer.sold_out,
    }


def _price(offer: Offer, currency: str = "") -> str:
    """Return what is said of a size: its price, or why there is none."""
    if offer.sold_out:
        return _SOLD_OUT
    return _NO_PRICE if offer.price is None else f"{offer.price:f} {currency}".rstrip()


def _table(listed: Sequence[Listed], *, notes: bool, width: int | None) -> str:
    columns = [
        Column("Fragrance", right=False, flexible=True),
        *([Column("Strength", right=False, flexible=True)] if notes else []),
        *([Column("Notes", right=False, flexible=True)] if notes else []),
        Column("Free"),
        Column("Size"),
        Column("Price"),
        Column("Vials"),
    ]
    return to_table(columns, list(_cells(listed, notes=notes)), width=width)


def _cells(listed: Sequence[Listed], *, notes: bool) -> Iterator[list[object]]:
    for each in listed:
        told = [each.commodity.name, *([each.commodity.strength, each.commodity.notes] if notes else [])]
        for offer in each.offers:
            # What is said of a fragrance is said once.
            once = offer is each.offers[0]
            head: list[object] = [*told, each.free] if once else [None] * (len(told) + 1)
            yield [*head, offer.size_ml, _price(offer), offer.vials or None]


def _text(listed: Listed, currency: str, *, notes: bool) -> str:
    """Return a fragrance in a line, and what is told of it in another."""
    offers = ", ".join(f"{offer.size_ml:f} mL {_price(offer, currency)}" for offer in listed.offers)
    text = f"{printable(listed.commodity.name)}: {offers}\n"
    told = "; ".join(filter(None, (listed.commodity.strength, listed.commodity.notes)))
    return f"{text}  {printable(told)}\n" if notes and told else text


def _markdown(listed: Sequence[Listed], currency: str, *, notes: bool) -> str:
    """Return a table with a column a size."""
    sizes = sorted({offer.size_ml for each in listed for offer in each.offers})
    told = ["Strength", "Notes"] if notes else []
    lines = [
        ["Fragrance", *told, *(f"{size:f} mL, {currency}" for size in sizes)],
        ["---", *("---" for _ in told), *("--:" for _ in sizes)],
    ]
    for each in listed:
        offers = {offer.size_ml: _price(offer) for offer in each.offers}
        texts = [each.commodity.name, *([each.commodity.strength, each.commodity.notes] if notes else [])]
        lines.append([*map(_escaped, texts), *(offers.get(size, "") for size in sizes)])
    return "".join(f"| {' | '.join(cells)} |\n" for cells in lines)


def _escaped(text: str) -> str:
    """Return a text that Markdown shows as it is."""
    return _MARKED.sub(lambda match: f"\\{match[0]}", printable(text))


def _page(listed: Sequence[Listed], day: datetime.date, currency: str, *, notes: bool) -> str:
    rows = [
        {
            "fragrance": each.commodity.name if offer is each.offers[0] else "",
            "strength": each.commodity.strength if offer is each.offers[0] else "",
            "notes": each.commodity.notes if offer is each.offers[0] else "",
            "size": offer.size_ml,
            "price": _price(offer),
        }
        for each in listed
        for offer in each.offers
    ]
    subtitle = f"On {day}. Poured by hand from the maker's bottle; not affiliated with any maker."
    return render(
        "list.html", currency, title="For sale", subtitle=subtitle, rows=rows, notes=notes or None,
    )
