"""`millilot payouts`: has the money arrived?"""

from __future__ import annotations

import datetime
from dataclasses import asdict, fields
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click
from beancount.core.number import ZERO

from millilot.reports.channel import UnknownChannelError, find
from millilot.reports.commands.options import Format, read, report_options
from millilot.reports.payouts import DAYS, Payout, describe, settle, title
from millilot.reports.solver import Limits
from millilot.reports.tables import WIDTH, Column, printable, to_csv, to_json, to_table

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from millilot.ledger.channels import Channel, Transfer
    from millilot.reports.payouts import Settled, Settlement

COLUMNS = tuple(field.name for field in fields(Payout))

_TEXTS = {"payout", "channel", "date", "orders", "state", "bank_date"}


days_option = click.option(
    "--days", type=click.IntRange(0), default=DAYS, show_default=True,
    help="A payout is in the bank within so many days.",
)


@click.command("payouts")
@click.option("--channel", "channel", metavar="C", help="Only this channel, by its name or account.")
@click.option(
    "--year", type=click.IntRange(datetime.MINYEAR, datetime.MAXYEAR), help="Only what was paid out in this year.",
)
@days_option
@click.option(
    "--held-back", type=click.IntRange(0, 3), default=Limits().held_back, show_default=True,
    help="How many events a payout without a number may have left out.",
)
@report_options
def payouts_command(
    path: Path,
    style: str,
    to: datetime.date | None,
    *,
    channel: str | None,
    year: int | None,
    days: int,
    held_back: int,
    wide: bool,
) -> None:
    """Show what each payout paid, when the bank had it, and what is open."""
    settlements = settle(read(path, to), days, Limits(held_back=held_back))
    if channel is not None:
        try:
            chosen = find((settlement.channel for settlement in settlements), channel)
        except UnknownChannelError as error:
            raise click.ClickException(str(error)) from None
        settlements = [settlement for settlement in settlements if settlement.channel is chosen]
    settled = [
        each
        for settlement in settlements
        for each in settlement.payouts
        if year is None or each.payout.date.year == year
    ]
    settled.sort(key=lambda each: (each.payout.date, each.payout.channel))
    match style:
        case Format.JSON:
            click.echo(to_json([_row(each.payout, listed=True) for each in settled]), nl=False)
        case Format.CSV:
            click.echo(to_csv([_row(each.payout) for each in settled], COLUMNS), nl=False)
        case _:
            click.echo(_wide(settled) if wide else _narrow(settled), nl=False)
            said = notes(settled)
            if year is None:
                said += [*_unpaid(settlements)]
                said += [line for each in settlements for line in strays(each.channel, each.strays)]
            if said:
                click.echo("\n" + "\n".join(said))


def _row(payout: Payout, *, listed: bool = False) -> dict[str, Any]:
    cells = asdict(payout)
    cells["orders"] = list(payout.orders) if listed else " ".join(payout.orders)
    cells["state"] = payout.state.value
    return cells


def _narrow(settled: Sequence[Settled]) -> str:
    if not settled:
        return "No payouts.\n"
    columns = (
        Column("Payout", right=False, flexible=True),
        Column("Date", right=False),
        Column("Amount"),
        Column("Orders"),
        Column("State", right=False),
        Column("Bank date", right=False),
        Column("Differs"),
    )
    rows = [
        [
            title(each),
            each.payout.date,
            each.payout.amount,
            len(each.payout.orders),
            each.payout.state.value,
            each.payout.bank_date,
            each.payout.difference or None,
        ]
        for each in settled
    ]
    total = sum((each.payout.amount for each in settled), ZERO)
    differs = sum((each.payout.difference for each in settled), ZERO)
    return to_table(columns, rows, ["Total", None, total, None, None, None, differs or None])


def _wide(settled: Sequence[Settled]) -> str:
    """Return all columns under the names they have everywhere."""
    rows = [list(_row(each.payout).values()) for each in settled]
    return to_table([Column(name, right=name not in _TEXTS) for name in COLUMNS], rows, width=None)


def notes(settled: Iterable[Settled]) -> list[str]:
    """Return what is to be said of the payouts that are not plainly matched, in lines that fit the terminal."""
    lines = []
    for each in settled:
        if each.notes:
            name = title(each)
            if each.payout.payout is None:
                name += f", {each.payout.date}"
            lines += paragraph(f"{name}: {'; '.join(each.notes)}.")
    return lines


def paragraph(text: str) -> list[str]:
    """Return a sentence in lines that fit the terminal."""
    return wrap(
        printable(text), WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False,
    )


def strays(channel: Channel, deposits: Iterable[Transfer]) -> list[str]:
    """Return, in lines that fit the terminal, what reached the bank from a channel for no known payout."""
    named = ", ".join(f"{-deposit.transit} on {deposit.date}" for deposit in deposits)
    return paragraph(f"{channel.name}: in the bank for no known payout: {named}.") if named else []


def _unpaid(settlements: Iterable[Settlement]) -> Iterable[str]:
    """Yield what no payout paid yet."""
    for settlement in settlements:
        events = settlement.unpaid
        if events:
            total = sum((event.amount for event in events), ZERO)
            named = ", ".join(f"{describe(event)} {event.amount}" for event in events[:3])
            more = f" and {len(events) - 3} more" if len(events) > 3 else ""
            name = settlement.channel.name
            yield from paragraph(f"{name}: not paid out yet, or not known to be: {total} ({named}{more}).")
