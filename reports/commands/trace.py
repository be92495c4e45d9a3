"""`millilot trace`: how the cost of an order or of a bottle came about."""

from __future__ import annotations

from dataclasses import asdict, fields
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millilot.reports.commands.options import Format, clean, read, report_options
from millilot.reports.names import UnknownNameError
from millilot.reports.tables import WIDTH, Column, to_csv, to_json, to_table
from millilot.reports.trace import Step
from millilot.reports.trace import trace as report

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence

COLUMNS = tuple(field.name for field in fields(Step))

_HEADINGS = {
    "date": "Date",
    "what": "What",
    "bottle": "Lot",
    "order": "Order",
    "quantity": "Quantity",
    "cost_per_unit": "Each",
    "amount": "Amount",
    "left": "Left",
    "place": "Written in",
}
#: What the narrow tables show: of an order in one, of a bottle in one a part.
_OF_ORDER = ("date", "what", "bottle", "quantity", "cost_per_unit", "amount", "place")
_OF_PARTS = {
    "cost": ("date", "what", "quantity", "cost_per_unit", "amount", "place"),
    "movements": ("date", "what", "quantity", "amount", "left", "place"),
    "orders": ("date", "what", "quantity", "order", "place"),
}
_TEXTS = {"part", "date", "what", "bottle", "order", "place"}
_FLEXIBLE = {"what", "bottle", "order"}


@click.command("trace")
@click.argument("name", metavar="ORDER-OR-BOTTLE")
@report_options
def trace_command(name: str, path: Path, style: str, to: datetime.date | None, *, wide: bool) -> None:
    """Show how the cost of an order, a bottle or a batch came about, with file and line."""
    try:
        steps = report(read(path, to), name)
    except UnknownNameError as error:
        raise click.ClickException(clean(str(error))) from None
    match style:
        case Format.JSON:
            click.echo(to_json([asdict(step) for step in steps]), nl=False)
        case Format.CSV:
            click.echo(to_csv([asdict(step) for step in steps], COLUMNS), nl=False)
        case _:
            click.echo(_table(steps, COLUMNS, None) if wide else _narrow(steps), nl=False)


def _narrow(steps: Sequence[Step]) -> str:
    if steps[0].part not in _OF_PARTS:
        order = (steps[0].order or "").removeprefix("order-")
        return f"Order {order}\n\n{_table(steps, _OF_ORDER, WIDTH)}"
    tables = [
        f"{bottle}: {part}\n\n{_table(list(of_part), _OF_PARTS[part], WIDTH)}"
        for (bottle, part), of_part in groupby(steps, key=lambda step: (step.bottle, step.part))
    ]
    return "\n".join(tables)


def _table(steps: Sequence[Step], columns: Sequence[str], width: int | None) -> str:
    headings = _HEADINGS if width is not None else {}
    return to_table(
        [
            Column(headings.get(name, name), right=name not in _TEXTS, flexible=name in _FLEXIBLE)
            for name in columns
        ],
        [[_cell(step, name, width) for name in columns] for step in steps],
        width=width,
    )


def _cell(step: Step, name: str, width: int | None) -> object:
    """Return a cell; a narrow table names files without their folder, and orders without what all begin with."""
    value = getattr(step, name)
    if width is None or value is None:
        return value
    if name == "place":
        file, _, line = value.rpartition(":")
        return f"{Path(file).name}:{line}"
    return value.removeprefix("order-") if name == "order" else value
