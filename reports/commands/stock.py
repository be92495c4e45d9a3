"""`millilot stock`: what is left, what of it is free, and what will run out."""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import TYPE_CHECKING

import click
from beancount.core.number import ZERO

from millilot.ledger.directives import EACH
from millilot.reports.commands.options import Format, read, report_options
from millilot.reports.stock import SLOW_AFTER, Stock
from millilot.reports.stock import stock as report
from millilot.reports.tables import WIDTH, Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Mapping, Sequence
    from decimal import Decimal
    from pathlib import Path

COLUMNS = tuple(field.name for field in fields(Stock))

#: What the columns are called in the tables, narrow and wide.
_OF_BOTTLES = {
    "bottle": "Bottle",
    "fragrance": "Fragrance",
    "ml_left": "Left",
    "measured_ml": "Measured",
    "reserved": "Reserved",
    "free": "Free",
    "stock_value": "Value",
    "last_poured": "Poured",
    "marks": "Mark",
}
_OF_SUPPLIES = {
    "supply": "Supply",
    "left": "Left",
    "used_per_month": "A month",
    "runs_out_on": "Runs out on",
    "stock_value": "Value",
    "marks": "Mark",
}
_ONLY_BOTTLES = {
    "ml_left", "bottle", "fragrance", "measured_ml", "measured_on", "reserved", "free", "slow", "estimated",
}
_ONLY_SUPPLIES = {"supply", "left", "used_per_month", "runs_out_on"}
_TEXTS = {"bottle", "fragrance", "supply", "marks"}


@click.command("stock")
@report_options
def stock_command(path: Path, style: str, to: datetime.date | None, *, wide: bool) -> None:
    """Show what is left of each bottle and supply, what of it is free, and when a supply runs out."""
    lines = report(read(path, to), to)
    match style:
        case Format.JSON:
            click.echo(to_json([asdict(line) for line in lines]), nl=False)
        case Format.CSV:
            click.echo(to_csv([asdict(line) for line in lines], COLUMNS), nl=False)
        case _:
            click.echo(_wide(lines) if wide else _narrow(lines), nl=False)


def _narrow(lines: Sequence[Stock]) -> str:
    """Return the bottles that hold something and the supplies, with what to look at."""
    bottles, supplies = _by_unit(lines)
    held = [line for line in bottles if line.ml_left or line.reserved]
    text = _table(held, _OF_BOTTLES, WIDTH)
    if len(held) < len(bottles):
        text += f"Empty and not shown: {len(bottles) - len(held)}; --wide shows all.\n"
    slow = [line for line in held if line.slow]
    if slow:
        text += f"Slow, not poured for more than {SLOW_AFTER} days: {len(slow)}, with {_worth(slow):f} tied up.\n"
    return f"{text}\n{_table(supplies, _OF_SUPPLIES, WIDTH)}" if supplies else text


def _wide(lines: Sequence[Stock]) -> str:
    """Return all columns under the names they have everywhere."""
    bottles, supplies = _by_unit(lines)
    text = _table(bottles, {name: name for name in COLUMNS if name not in _ONLY_SUPPLIES}, None)
    of_supplies = {name: name for name in ("supply", *COLUMNS) if name not in _ONLY_BOTTLES}
    return f"{text}\n{_table(supplies, of_supplies, None)}" if supplies else text


def _by_unit(lines: Sequence[Stock]) -> tuple[list[Stock], list[Stock]]:
    bottles = [line for line in lines if line.unit != EACH]
    return bottles, [line for line in lines if line.unit == EACH]


def _table(lines: Sequence[Stock], headings: Mapping[str, str], width: int | None) -> str:
    total = {next(iter(headings)): "Total", "stock_value": _worth(lines)}
    return to_table(
        [Column(heading, right=name not in _TEXTS, flexible=name in _TEXTS) for name, heading in headings.items()],
        [[_cell(line, name) for name in headings] for line in lines],
        [total.get(name) for name in headings],
        width,
    )


def _cell(line: Stock, name: str) -> object:
    if name == "marks":
        return ", ".join(mark for mark in ("low", "slow") if getattr(line, mark))
    value = getattr(line, name)
    return ("yes" if value else None) if isinstance(value, bool) else value


def _worth(lines: Iterable[Stock]) -> Decimal:
    return sum((line.stock_value for line in lines), ZERO)
