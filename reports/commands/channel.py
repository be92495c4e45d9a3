"""`millilot channel`: one channel's year from gross to bank, and beside the channel's own form."""

from __future__ import annotations

import datetime
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from millilot.reports.channel import UnknownChannelError, statement
from millilot.reports.commands.form import show_form
from millilot.reports.commands.options import Format, read, report_options
from millilot.reports.commands.payouts import days_option, notes, strays
from millilot.reports.tables import Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    from pathlib import Path

    from millilot.reports.channel import ChannelYear


@click.command("channel")
@click.argument("name", metavar="CHANNEL")
@click.argument("number", metavar="YEAR", type=click.IntRange(datetime.MINYEAR + 1, datetime.MAXYEAR - 1))
@click.option("--form", is_flag=True, help="Compare with what the channel's form says of the year.")
@days_option
@report_options
def channel_command(
    path: Path, style: str, to: datetime.date | None, *, name: str, number: int, form: bool, days: int, wide: bool,
) -> None:
    """Show a channel's year: what buyers paid, what was taken from it, and what reached the bank.

    CHANNEL is its name, such as Lantern, or its account.
    """
    books = read(path, to)
    start, end = datetime.date(number, 1, 1), datetime.date(number, 12, 31)
    try:
        if form:
            show_form(books, name, number, style, wide=wide)
            return
        report = statement(books, name, start, end if to is None else min(end, to), days)
    except UnknownChannelError as error:
        raise click.ClickException(str(error)) from None
    lines = asdict(report.year)
    match style:
        case Format.JSON:
            click.echo(to_json(lines), nl=False)
        case Format.CSV:
            click.echo(to_csv([lines], list(lines)), nl=False)
        case _:
            until = "" if to is None or to >= end else f", up to {to}"
            click.echo(_statement(f"{report.channel.name} {number}{until}", books.currency, report.year), nl=False)
            said = [*notes(report.open), *strays(report.channel, report.strays)]
            if said:
                click.echo("\n" + "\n".join(said))


def _statement(title: str, currency: str, year: ChannelYear) -> str:
    """Return the year as a statement: lines in the left column, totals in the right one."""
    rows: list[tuple[str, object, object]] = [
        ("Held by the channel, start", None, year.opening),
        ("", None, None),
        ("Gross: sales and postage charged", year.gross, None),
        ("Sales tax collected", year.tax_collected, None),
        ("less sales tax it handed on", year.tax_remitted, None),
        ("less refunds", year.refunds, None),
        ("less fees", year.fees, None),
        ("less ads", year.ads, None),
        ("less labels", year.labels, None),
        ("less exchange", year.exchange, None),
        ("Compensation", year.compensation, None),
        ("Other", year.other, None),
        ("less paid out", year.paid_out, None),
        ("Held by the channel, end", None, year.held),
        ("of it reserved", year.reserved, None),
        ("", None, None),
        ("Paid out, not in the bank at the end", None, year.in_transit),
        ("Not explained, or overdue", None, year.difference),
        ("Transactions (payments received)", None, year.transactions),
    ]
    return to_table((Column(title, right=False), Column(currency), Column("Total")), rows)
