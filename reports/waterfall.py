"""A channel's range of days as steps: from what buyers paid down to what reached the bank.

The steps are the lines of `millilot.reports.channel`, in an order in which each begins where the one before it
ended, so that the last is what is left. Two lines more lead from the channel's door to the bank: what was under
way when the range began and when it ended, and what was lost on the way.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.channels import Pocket
from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.channel import DAY, SIGNS, holds, statement
from millilot.reports.payouts import DAYS

if TYPE_CHECKING:
    import datetime
    from decimal import Decimal

    from millilot.ledger.records import Books
    from millilot.reports.channel import ChannelYear, Statement


class Step(NamedTuple):
    """A step of the way.

    Attributes:
        line: its key: a line of the channel's year, or one of those named in `waterfall`.
        start: the level it begins at; nought for a total.
        end: the level it ends at.
        is_total: whether it stands for all before it.
    """

    line: str
    start: Decimal
    end: Decimal
    is_total: bool

    @property
    def amount(self) -> Decimal:
        """What it adds, below nought when it takes away."""
        return self.end - self.start


class Waterfall(NamedTuple):
    """A channel's steps, and the statement they are made from."""

    statement: Statement
    steps: tuple[Step, ...]


def waterfall(
    books: Books,
    name: str,
    start: datetime.date,
    end: datetime.date,
    days: int = DAYS,
) -> Waterfall:
    """Return the way of a channel's money; lines that are nought are left out, all but receipts and totals.

    Lines beside those of the channel's year are `kept` (held at the end), `way_open` and `way_close` (under way at
    the start and at the end), `lost` (on the way) and `bank`.

    Args:
        books: books read up to the last day or later.
        name: of the channel, or its account.
        start: the first day.
        end: the last day, itself included.
        days: a payout is in the bank within so many days.

    Raises:
        UnknownChannelError: there is no such channel.
    """
    report = statement(books, name, start, end, days)
    year, channel, unit = report.year, report.channel, minor_unit(books.currency)
    way_open = rounding.nearest(holds(channel, start - DAY)[Pocket.TRANSIT], unit)
    arrived = (transfer.bank for transfer in channel.transfers if start <= transfer.date <= end)
    bank = rounding.nearest(sum(arrived, ZERO), unit)
    changes = [
        *_of_channel(year),
        ("paid_out", None),
        ("way_open", way_open),
        ("way_close", -year.in_transit),
        ("lost", bank - (year.paid_out + way_open - year.in_transit)),
        ("bank", None),
    ]
    return Waterfall(report, tuple(_steps(changes, year.paid_out)))


def _of_channel(year: ChannelYear) -> list[tuple[str, Decimal | None]]:
    """Return the lines that come to what was paid out, first what buyers paid."""
    lines = ("gross", *(line for line in SIGNS if line not in {"gross", "opening", "paid_out"}))
    of_year: list[tuple[str, Decimal | None]] = [(line, SIGNS[line] * getattr(year, line)) for line in lines]
    return [*of_year, ("opening", year.opening), ("kept", -year.held)]


def _steps(changes: list[tuple[str, Decimal | None]], paid_out: Decimal) -> list[Step]:
    steps, level = [], paid_out - paid_out
    for line, change in changes:
        if change is None:
            steps.append(Step(line, level - level, level, is_total=True))
        elif change or line == "gross":
            steps.append(Step(line, level, level + change, is_total=False))
            level += change
    return steps
