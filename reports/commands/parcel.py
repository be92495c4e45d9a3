"""`millilot parcel`: how much flammable liquid is in a parcel, beside figures to ask the carrier about."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

import click

from millilot.importers.problems import InputError
from millilot.reports import rounding
from millilot.reports.bottles import plain
from millilot.reports.commands.options import Format, clean, read, report_options
from millilot.reports.commands.payouts import paragraph
from millilot.reports.parcels import parcels
from millilot.reports.shipping import AT_HOME, CARRIER, PARCEL, beside, in_force, read_limits
from millilot.reports.tables import Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence
    from pathlib import Path

    from millilot.reports.parcels import Parcel
    from millilot.reports.shipping import Limit

COLUMNS = ("order", "what", "containers", "ml", "largest_ml", "above")

_HEADINGS = {
    "order": "Order",
    "what": "What",
    "containers": "Pieces",
    "ml": "mL",
    "largest_ml": "Largest",
    "above": "Above",
}
_TEXTS = {"order", "what", "above"}
_FLEXIBLE = {"order", "what"}
_HUNDREDTH = Decimal("0.01")


@click.command("parcel")
@click.argument("orders", nargs=-1, metavar="[ORDER]...")
@report_options
def parcel_command(
    orders: tuple[str, ...], path: Path, style: str, to: datetime.date | None, *, wide: bool,
) -> None:
    """Show how many mL are in the parcel of each ORDER, or of those that wait, beside what carriers go by.

    It does not say that a parcel may be sent: the carrier and local rules have the say.
    """
    books = read(path, to)
    try:
        found = parcels(books, orders, to)
        day = to or books.last
        limits = in_force(read_limits(path.parent / "shipping"), books.currency, day) if day else []
    except InputError as error:
        raise click.ClickException(clean(str(error))) from None
    rows = [_row(parcel, limits) for parcel in found]
    match style:
        case Format.JSON:
            full = [{**row, "limits": _limits(each, limits)} for row, each in zip(rows, found, strict=True)]
            click.echo(to_json([{**row, "above": row["above"].split()} for row in full]), nl=False)
        case Format.CSV:
            click.echo(to_csv(rows, COLUMNS), nl=False)
        case _:
            click.echo(_table(rows, wide=wide) if rows else "No order waits to be poured.\n", nl=False)
            click.echo("\n" + _notes(limits))


def _row(parcel: Parcel, limits: Sequence[Limit]) -> dict[str, Any]:
    return {
        "order": parcel.order,
        "what": parcel.what,
        "containers": parcel.containers,
        "ml": _shown(parcel.ml),
        "largest_ml": _shown(parcel.largest),
        "above": " ".join(each.limit.name for each in beside(parcel, limits) if each.above),
    }


def _limits(parcel: Parcel, limits: Sequence[Limit]) -> list[dict[str, Any]]:
    return [
        {
            "limit": each.limit.name,
            "title": each.limit.title,
            "figure": each.limit.figure or None,
            "limit_ml": each.limit.ml,
            "ml": None if each.ml is None else _shown(each.ml),
            "above": each.above,
            "note": each.limit.note,
            "source": each.limit.source,
            "checked": each.limit.checked,
        }
        for each in beside(parcel, limits)
    ]


def _shown(ml: Decimal) -> Decimal:
    return plain(rounding.nearest(ml, _HUNDREDTH))


def _table(rows: Sequence[dict[str, Any]], *, wide: bool) -> str:
    names = COLUMNS if wide else _HEADINGS
    columns = [
        Column(name if wide else _HEADINGS[name], right=name not in _TEXTS, flexible=name in _FLEXIBLE)
        for name in names
    ]
    cells = [
        [
            (row[name] or "").removeprefix("order-") if name == "order" and not wide else row[name]
            for name in names
        ]
        for row in rows
    ]
    return to_table(columns, cells, **({"width": None} if wide else {}))


def _notes(limits: Sequence[Limit]) -> str:
    """Return what carriers go by, and what is to be said of it, in lines that fit the terminal."""
    lines = []
    for each in limits:
        of = "of all in it" if each.measure == PARCEL else "of the largest piece"
        figure = f" {each.figure}, {of} ({each.name})." if each.figure else ""
        checked = f"checked {each.checked}" if each.checked else "not checked ?"
        lines += paragraph(f"{each.title}:{figure} {each.note} [{each.source}; {checked}]")
    return "\n".join([*lines, "", *paragraph(CARRIER), *paragraph(AT_HOME)])
