"""`millilot year`: a year's totals, laid out as a statement."""

from __future__ import annotations

import datetime
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from millilot.reports.commands.options import Format, read, report_options
from millilot.reports.contributed import contributed
from millilot.reports.tables import Column, to_csv, to_json, to_table
from millilot.reports.year import year as report

if TYPE_CHECKING:
    from pathlib import Path

    from millilot.reports.year import Year

CAUTION = "Records, not tax advice; local rules and a licensed preparer have the say."


@click.command("year")
@click.argument("number", metavar="YEAR", type=click.IntRange(datetime.MINYEAR, datetime.MAXYEAR))
@report_options
def year_command(
    number: int, path: Path, style: str, to: datetime.date | None, *, wide: bool,  # noqa: ARG001
) -> None:
    """Show the totals of a calendar year: receipts, cost of goods sold, expenses and profit."""
    books = read(path, to)
    start, end = datetime.date(number, 1, 1), datetime.date(number, 12, 31)
    totals = report(books, start, end if to is None else min(end, to)).rounded(books.currency)
    lines = asdict(totals)
    unproven = contributed(books, start, end)
    match style:
        case Format.JSON:
            click.echo(to_json({**lines, "contributed_bottles": unproven}), nl=False)
        case Format.CSV:
            click.echo(to_csv([lines], list(lines)), nl=False)
        case _:
            until = "" if to is None or to >= end else f", up to {to}"
            click.echo(_statement(f"{number}{until}", books.currency, totals), nl=False)
            if unproven:
                click.echo(f"\nOwned before, or at an estimated cost\n\n{_schedule(unproven)}", nl=False)
            click.echo(f"\n{CAUTION}")


def _statement(title: str, currency: str, year: Year) -> str:
    """Return the year as a statement: lines in the left column, totals in the right one."""
    rows: list[tuple[str, object, object]] = [
        ("Gross receipts", year.gross_receipts, None),
        ("less refunds", year.refunds, None),
        ("Net receipts", None, year.net_receipts),
        ("", None, None),
        ("Opening stock", year.opening_stock, None),
        ("Purchases", year.purchases, None),
        ("Contributed (owned before)", year.contributed, None),
        ("less personal use", year.personal_use, None),
        ("less samples", year.samples, None),
        ("less losses", year.losses, None),
        ("Supplies", year.supplies, None),
        ("Other costs", year.other_costs, None),
        ("less closing stock", year.closing_stock, None),
        ("Cost of goods sold", None, year.cost_of_goods_sold),
        ("", None, None),
        ("Gross profit", None, year.gross_profit),
        ("Other income", None, year.other_income),
        ("Hobby income", None, year.hobby_income),
        ("", None, None),
        ("Fees", year.fees, None),
        ("Postage", year.postage, None),
        ("Packing", year.packing, None),
        ("Ads", year.ads, None),
        ("Exchange", year.exchange, None),
        ("Samples", year.samples, None),
        ("Losses", year.losses, None),
        ("Other expenses", year.other_expenses, None),
        ("Business profit", None, year.business_profit),
        ("", None, None),
        ("Supplies on hand, start", year.supplies_on_hand_open, None),
        ("Supplies on hand, end", year.supplies_on_hand_close, None),
        ("Claims held, start", year.claims_held_open, None),
        ("Claims held, end", year.claims_held_close, None),
        ("Receipts if counted when paid", None, year.receipts_if_counted_when_paid),
        ("Transactions (payments received)", None, year.transactions),
    ]
    columns = (Column(title, right=False), Column(currency), Column("Total"))
    return to_table(columns, rows)


def _schedule(rows: list[dict[str, Any]]) -> str:
    """Return the bottles whose cost no receipt of the year proves."""
    columns = (
        Column("Bottle", right=False, flexible=True),
        Column("Fragrance", right=False, flexible=True),
        Column("mL"),
        Column("Cost"),
        Column("Paid"),
        Column("Market value"),
        Column("", right=False),
    )
    return to_table(
        columns,
        [
            [
                row["bottle"],
                row["fragrance"],
                row["ml"],
                row["cost"],
                row["paid"],
                row["market_value"],
                "estimated" if row["estimated"] else None,
            ]
            for row in rows
        ],
    )
