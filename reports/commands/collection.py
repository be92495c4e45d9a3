"""`millilot collection`: does the whole collection pay for itself?"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from millilot.reports.collection import collection as report
from millilot.reports.commands.options import Format, read, report_options
from millilot.reports.tables import Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from pathlib import Path

    from millilot.reports.collection import Collection


@click.command("collection")
@report_options
def collection_command(
    path: Path, style: str, to: datetime.date | None, *, wide: bool,  # noqa: ARG001
) -> None:
    """Show what was put into the collection, what came back, and what is still there."""
    books = read(path, to)
    totals = report(books).rounded(books.currency)
    lines = asdict(totals)
    match style:
        case Format.JSON:
            click.echo(to_json(lines), nl=False)
        case Format.CSV:
            click.echo(to_csv([lines], list(lines)), nl=False)
        case _:
            title = "Collection" if to is None else f"Collection on {to}"
            click.echo(_statement(title, books.currency, totals), nl=False)


def _statement(title: str, currency: str, collection: Collection) -> str:
    rows: list[tuple[str, object]] = [
        ("Got back: sales less refunds and expenses", collection.got_back),
        ("Swaps out", collection.swaps_out),
        ("Stock: fragrance left, at cost", collection.stock_value),
        ("Supplies on hand, at cost", collection.supplies_on_hand),
        ("Worn: kept for yourself, at cost", collection.worn),
        ("less put in: bottles and supplies", collection.put_in),
        ("less contributed: bottles owned before", collection.contributed),
        ("less swaps in", collection.swaps_in),
    ]
    beside: list[tuple[str, object]] = [
        ("", None),
        ("Held by channels", collection.held),
        ("Held for claims", collection.held_for_claims),
        ("Unallocated: in no bottle's figures", collection.unallocated),
    ]
    columns = (Column(title, right=False), Column(currency))
    return to_table(columns, [*rows, ("Result", collection.result), *beside])
