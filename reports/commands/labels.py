"""`millilot labels`: a sheet of labels to print, one for each vial."""

from __future__ import annotations

from dataclasses import asdict, fields
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millilot.importers.problems import InputError
from millilot.ledger.annotations import ORDER
from millilot.reports import rounding
from millilot.reports.bottles import plain
from millilot.reports.clock import this_day
from millilot.reports.commands.figures import Figure
from millilot.reports.commands.options import ON_ERRORS, Format, books_option, clean, day, read, show
from millilot.reports.commands.payouts import paragraph
from millilot.reports.commands.writing import count, write_file
from millilot.reports.figures import Bounds
from millilot.reports.labels import NOT_COMPLETE, SOMEBODY, Label, LabelError, of_bottle, of_parcels
from millilot.reports.labels.page import labels_page
from millilot.reports.labels.sheets import find_sheet, read_sheets
from millilot.reports.parcels import parcels
from millilot.reports.pour import to_pour
from millilot.reports.tables import Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Sequence

    from millilot.ledger.records import Books

COLUMNS = tuple(field.name for field in fields(Label))

_HEADINGS = {
    "order": "Order", "fragrance": "Fragrance", "strength": "Strength", "ml": "mL", "batch": "Batch",
    "bottles": "Bottle",
}
#: More vials than anybody pours ahead in one go.
_MOST = 1000
_HUNDREDTH = Decimal("0.01")
#: What a label can show.
VIAL = Figure(Bounds("mL of a vial, 0.01 or more, such as 2.5", above=Decimal("0.009")))


@click.command("labels", epilog=ON_ERRORS)
@click.argument("orders", nargs=-1, metavar="[ORDER]...")
@click.option("--bottle", metavar="NAME", help="Labels for vials poured ahead from this bottle; with --size.")
@click.option("--size", "ml", type=VIAL, metavar="ML", help="mL in each of these vials.")
@click.option(
    "--count", "number", type=click.IntRange(1, _MOST), help="How many of them; one unless stated.",
)
@click.option("--sheet", "sheet_name", metavar="NAME", help="The sheet, such as a4-65 or letter-30, or your own.")
@click.option("--skip", type=click.IntRange(0), default=0, help="So many labels of the first sheet are used.")
@click.option("--by", default="", metavar="NAME", help="Who poured them.")
@click.option(
    "--on", callback=day, metavar="DATE",
    help="The day of pouring; else the day the books have it poured on, or today while it waits.",
)
@click.option(
    "-o", "--output", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
    help="Write the page to print into this file.",
)
@click.option("--force", is_flag=True, help="Replace the file of -o if it is there already.")
@click.option(
    "--format", "style", type=click.Choice([style.value for style in Format]), default=Format.TABLE.value,
    show_default=True, help="How to list the labels.",
)
@books_option
def labels_command(
    *,
    orders: tuple[str, ...],
    bottle: str | None,
    ml: Decimal | None,
    number: int | None,
    sheet_name: str | None,
    skip: int,
    by: str,
    on: datetime.date | None,
    output: Path | None,
    force: bool,
    path: Path,
    style: str,
) -> None:
    """Print a label for each vial of the orders that wait to be poured, or of each ORDER.

    The page is HTML in millimetres: open it in a browser and print it at 100 %. Without -o the labels are listed.
    """
    ahead = bottle is not None and ml is not None
    if (not ahead and any(each is not None for each in (bottle, ml, number))) or (ahead and orders):
        raise click.UsageError("Expected orders, or --bottle with --size, or nothing.")
    books = read(path, None)
    try:
        if bottle is not None and ml is not None:
            labels = of_bottle(books, bottle, ml, number or 1, on or this_day())
        else:
            labels = of_parcels(parcels(books, orders), books, this_day(), on)
            if not orders:
                _warn(books)
        sheet = find_sheet(read_sheets(path.parent / "sheets"), sheet_name, books.currency)
        if output is None:
            click.echo(_listed(labels, style), nl=False)
            return
        if not labels:
            raise LabelError("There is no vial to label.")
        write_file(output, labels_page(labels, sheet, by, skip), force=force)
    except InputError as error:
        raise click.ClickException(clean(str(error))) from None
    sheets = -(-(skip + len(labels)) // sheet.labels)
    show(f"{output}: {count(len(labels), 'label')} on {count(sheets, 'sheet')}")
    show(sheet.title)
    if not by:
        show(f"They say that {SOMEBODY} poured; --by NAME says who.")
    show("\n" + "\n".join(paragraph(NOT_COMPLETE)))


def _warn(books: Books) -> None:
    """Name the orders that wait and of which no vial is known."""
    stuck = [each.order.removeprefix(ORDER) if each.order else each.place for each in to_pour(books).stuck]
    if stuck:
        show(f"Not known what to pour, see `millilot pour`: {', '.join(stuck)}", err=True)


def _listed(labels: Sequence[Label], style: str) -> str:
    rows = [_row(each) for each in labels]
    match style:
        case Format.JSON:
            return to_json([{**_row(each), "bottles": list(each.bottles)} for each in labels])
        case Format.CSV:
            return to_csv(rows, COLUMNS)
        case _ if not rows:
            return "There is no vial to label.\n"
        case _:
            return _table(rows)


def _row(label: Label) -> dict[str, object]:
    ml = plain(rounding.nearest(label.ml, _HUNDREDTH))
    return {**asdict(label), "ml": ml, "bottles": " ".join(label.bottles)}


def _table(rows: Iterable[dict[str, object]]) -> str:
    columns = [
        Column(heading, right=name == "ml", flexible=name not in {"ml", "batch"})
        for name, heading in _HEADINGS.items()
    ]
    cells = [
        [str(row["order"] or "").removeprefix("order-") if name == "order" else row[name] for name in _HEADINGS]
        for row in rows
    ]
    return to_table(columns, cells)
