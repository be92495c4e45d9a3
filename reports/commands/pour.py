"""`millilot pour`: what waits to be poured, from which bottle, and whether all is there for it."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from millilot.reports.clock import this_day
from millilot.reports.commands.options import Format, read, report_options_with, show
from millilot.reports.pour import to_pour as report
from millilot.reports.pour_words import CAUTION, called, in_words, of_stuck, runs_short, to_thousandth
from millilot.reports.sheet import render
from millilot.reports.tables import WIDTH, Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from millilot.reports.pour import BottlePours, ToPour
    from millilot.reports.vials import Vials

HTML = "html"

COLUMNS = (
    "bottle", "fragrance", "order", "what", "ordered", "days", "vials", "ml", "loss", "state", "place",
)

_WAITS, _SHORT = "waits", "short"


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
        case _ if style == HTML:
            click.echo(_page(waiting, day, books.currency), nl=False)
        case _:
            _print(waiting, wide=wide)


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
            "ml": to_thousandth(each.ml),
            "ml_of_bottle": to_thousandth(each.of(bottle)),
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
        if words := runs_short(bottle):
            yield f"\n{words}"
    for stuck in (*waiting.stuck, *waiting.called_off):
        yield f"\n{of_stuck(stuck)}"


def _page(waiting: ToPour, day: datetime.date, currency: str) -> str:
    bottles = [
        {
            "name": f"{bottle.bottle}, {bottle.fragrance}",
            "words": (
                f"{in_words(bottle.vials, bottle.bottle)}: {bottle.ml:f} mL with loss; {bottle.held:f} mL in it, "
                f"{bottle.after:f} after."
            ),
            "short": runs_short(bottle),
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
        caution=CAUTION,
        remarks=[of_stuck(stuck) for stuck in (*waiting.stuck, *waiting.called_off)],
    )
