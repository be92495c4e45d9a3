"""`millilot pour`: what waits to be poured, from which bottle, and whether all is there for it."""

from __future__ import annotations

from dataclasses import asdict
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from millilot.ledger.annotations import ORDER
from millilot.ledger.records import ZERO, Kind
from millilot.reports import rounding
from millilot.reports.bottles import plain
from millilot.reports.commands.options import Format, read, report_options_with, show, this_day
from millilot.reports.commands.writing import count
from millilot.reports.pour import to_pour as report
from millilot.reports.sheet import render
from millilot.reports.tables import WIDTH, Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterator, Sequence

    from millilot.reports.pour import BottlePours, Stuck, ToPour
    from millilot.reports.vials import Vials

HTML = "html"

COLUMNS = (
    "bottle", "fragrance", "order", "what", "ordered", "days", "vials", "ml", "loss", "state", "place",
)

_WAITS, _SHORT = "waits", "short"
_THOUSANDTH = Decimal("0.001")

_ADVICE = {
    "not sorted": "`millilot sort` says which fragrance it was",
    "no bottle": "no bottle in the books could give it, see `millilot check`",
    "no goods": "nothing in it is poured; take off #to-pour",
    "called off": (
        "called off or refunded, so it is not poured; take off #to-pour, and if its mL have left the bottle in "
        "the books, write the refund as goods that came back"
    ),
}


@click.command("pour")
@report_options_with(HTML)
def pour_command(path: Path, style: str, to: datetime.date | None, *, wide: bool) -> None:
    """List the orders to be poured, by bottle, the oldest first, and what of bottles and vials is short.

    `--format html` writes a page to print and tick: millilot pour --format html > pour.html
    """
    day = to or this_day()
    books = read(path, to)
    waiting = report(books, day)
    match style:
        case Format.JSON:
            click.echo(to_json(_objects(waiting)), nl=False)
        case Format.CSV:
            click.echo(to_csv(list(_rows(waiting)), COLUMNS), nl=False)
        case "html":
            click.echo(_page(waiting, day, books.currency), nl=False)
        case _:
            _print(waiting, wide=wide)


def called(order: str | None, place: str) -> str:
    """Return what to call an order by: its link without `order-`, else where it is written."""
    return order.removeprefix(ORDER) if order else Path(place).name


def in_words(vials: Sequence[Vials], bottle: str) -> str:
    """Return vials as a pourer reads them, such as `2 x 5 mL`."""
    return ", ".join(_in_words(each, bottle) for each in vials)


def _in_words(vials: Vials, bottle: str) -> str:
    size = f"{_size(vials.ml):f} mL"
    if not vials.number:
        # Sold as it came; a sample or a gift of so many mL.
        return f"{size} unopened" if vials.kind is Kind.SOLD else f"{size} {vials.kind}"
    own = vials.of(bottle) / vials.number
    words = f"{vials.number} x {size}"
    if vials.kind is not Kind.SOLD:
        words += f" {vials.kind}"
    return words if own == vials.ml else f"{words}, {_size(own):f} mL of it"


def _size(ml: Decimal) -> Decimal:
    return plain(rounding.nearest(ml, _THOUSANDTH))


def _rows(waiting: ToPour) -> Iterator[dict[str, Any]]:
    for bottle in waiting.bottles:
        for pour in bottle.pours:
            row = asdict(pour)
            row["vials"] = in_words(pour.vials, pour.bottle)
            yield {**row, "state": _SHORT if pour.short else _WAITS}
    for stuck in (*waiting.stuck, *waiting.called_off):
        yield {**dict.fromkeys(COLUMNS), **asdict(stuck), "state": stuck.why}


def _objects(waiting: ToPour) -> dict[str, Any]:
    return {
        "bottles": [
            {
                **asdict(bottle),
                "pours": [{**asdict(pour), "vials": _vials(pour.vials, pour.bottle)} for pour in bottle.pours],
                "vials": _vials(bottle.vials, bottle.bottle),
            }
            for bottle in waiting.bottles
        ],
        "stuck": [asdict(stuck) for stuck in waiting.stuck],
        "called_off": [asdict(stuck) for stuck in waiting.called_off],
        "supplies": [asdict(supply) for supply in waiting.supplies],
    }


def _vials(vials: Sequence[Vials], bottle: str) -> list[dict[str, Any]]:
    return [
        {
            "kind": str(each.kind),
            "number": each.number,
            "ml": _size(each.ml),
            "ml_of_bottle": _size(each.of(bottle)),
        }
        for each in vials
    ]


def _print(waiting: ToPour, *, wide: bool) -> None:
    if not waiting.bottles:
        show("Nothing waits to be poured from a bottle.")
    else:
        click.echo(_orders(waiting, None if wide else WIDTH))
        click.echo(_bottles(waiting.bottles, wide=wide), nl=False)
    if waiting.supplies:
        click.echo("\n" + _supplies(waiting), nl=False)
    for remark in _remarks(waiting):
        show(remark)


def _orders(waiting: ToPour, width: int | None) -> str:
    columns = [
        Column("Bottle", right=False, flexible=True),
        Column("Order", right=False, flexible=True),
        Column("Ordered", right=False),
        Column("Days"),
        Column("mL"),
        Column("Loss"),
        Column("Vials", right=False, flexible=True),
        Column("Mark", right=False),
    ]
    rows = [
        [
            pour.bottle if pour is bottle.pours[0] else "",
            called(pour.order, pour.place),
            pour.ordered,
            pour.days,
            pour.ml,
            pour.loss,
            in_words(pour.vials, pour.bottle),
            _SHORT if pour.short else "",
        ]
        for bottle in waiting.bottles
        for pour in bottle.pours
    ]
    return to_table(columns, rows, width=width)


def _bottles(bottles: Sequence[BottlePours], *, wide: bool) -> str:
    columns = [
        Column("Bottle", right=False, flexible=True),
        Column("Fragrance", right=False, flexible=True),
        Column("To pour"),
        Column("In it"),
        Column("After"),
        Column("Vials", right=False, flexible=True),
        *([Column("Measured"), Column("on")] if wide else []),
    ]
    rows = [
        [
            each.bottle,
            each.fragrance,
            each.ml,
            each.held,
            each.after,
            in_words(each.vials, each.bottle),
            *([each.measured_ml, each.measured_on] if wide else []),
        ]
        for each in bottles
    ]
    return to_table(columns, rows, width=None if wide else WIDTH)


def _supplies(waiting: ToPour) -> str:
    columns = [
        Column("Supply", right=False, flexible=True), Column("Needed"), Column("There"), Column("Short"),
    ]
    rows = [[each.supply, each.needed, each.held, each.short or None] for each in waiting.supplies]
    return to_table(columns, rows)


def _remarks(waiting: ToPour) -> Iterator[str]:
    for bottle in waiting.bottles:
        if words := _runs_short(bottle):
            yield f"\n{words}"
    for stuck in (*waiting.stuck, *waiting.called_off):
        yield f"\n{_of_stuck(stuck)}"


def _of_stuck(stuck: Stuck) -> str:
    waited = count(stuck.days, "day")
    return f"{called(stuck.order, stuck.place)} ({waited}): {stuck.why}; {_ADVICE[stuck.why]}."


def _runs_short(bottle: BottlePours) -> str:
    """Return how a bottle runs short, with where that is known from; nothing if it will do."""
    short = next((pour for pour in bottle.pours if pour.short), None)
    if short is None:
        return ""
    told = "by the books"
    if bottle.measured_on is not None:
        told = f"by the {bottle.measured_ml:f} mL measured on {bottle.measured_on} and what was poured since"
    return (
        f"{bottle.bottle} runs short at {called(short.order, short.place)}: {bottle.ml:f} mL to pour, and {told} "
        f"{max(bottle.held, ZERO):f} mL are in it."
    )


def _page(waiting: ToPour, day: datetime.date, currency: str) -> str:
    bottles = [
        {
            "name": f"{bottle.bottle}, {bottle.fragrance}",
            "words": (
                f"{in_words(bottle.vials, bottle.bottle)}: {bottle.ml:f} mL with loss; {bottle.held:f} mL in it, "
                f"{bottle.after:f} after."
            ),
            "short": _runs_short(bottle),
            "rows": [
                {
                    "order": called(pour.order, pour.place),
                    "vials": in_words(pour.vials, pour.bottle),
                    "ml": pour.ml,
                    "loss": pour.loss,
                    "ordered": pour.ordered,
                    "days": pour.days,
                    "what": pour.what,
                    "mark": _SHORT if pour.short else "",
                }
                for pour in bottle.pours
            ],
        }
        for bottle in waiting.bottles
    ]
    return render(
        "pour.html",
        currency,
        title="To pour",
        subtitle=f"On {day}; the oldest order of a bottle first.",
        bottles=bottles,
        supplies=[asdict(supply) for supply in waiting.supplies],
        remarks=[_of_stuck(stuck) for stuck in (*waiting.stuck, *waiting.called_off)],
    )
