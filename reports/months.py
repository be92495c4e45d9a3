"""A year by months: receipts, cost of goods and fees, which add up to those of the year to the cent."""

from __future__ import annotations

import datetime
from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.year import year
from millilot.reports.year_lines import TOTALS, parts

if TYPE_CHECKING:
    from collections.abc import Iterator
    from decimal import Decimal

    from millilot.ledger.records import Books

_DAY = datetime.timedelta(days=1)
_STOCK = frozenset({"opening_stock", "closing_stock"})


class Month(NamedTuple):
    """What a month, or the part of one that is in the range, brought and cost, in minor units.

    Attributes:
        first: its first day in the range.
        gross_receipts: before refunds.
        cost_of_goods_sold: negative when more came back than went out.
        fees: what channels took.
    """

    first: datetime.date
    gross_receipts: Decimal
    cost_of_goods_sold: Decimal
    fees: Decimal


def months(books: Books, start: datetime.date, end: datetime.date) -> list[Month]:
    """Return the months of a range of days, from the first to the last that the books have anything in.

    Args:
        books: books read up to the last day or later.
        start: the first day.
        end: the last day, itself included.
    """
    if books.first is None or books.last is None:
        return []
    # Months before the books begin, or after they end, are not months without sales.
    firsts = list(_firsts(max(start, books.first), min(end, books.last)))
    if not firsts:
        return []
    of_month: dict[tuple[str, int], Decimal] = defaultdict(lambda: ZERO)
    for part in parts(books, start, end):
        if part.line in {"gross_receipts", "fees"}:
            of_month[part.line, _number(part.date)] += part.amount
        elif part.line not in _STOCK and part.line in TOTALS["cost_of_goods_sold"]:
            sign = TOTALS["cost_of_goods_sold"][part.line]
            of_month["cost_of_goods_sold", _number(part.date)] += sign * part.amount
    for record in books.records:
        if start <= record.date <= end:
            for move in record.moves:
                if books.bottles[move.bottle].commodity.is_fragrance:
                    # What stock grew by did not become a cost of this month.
                    of_month["cost_of_goods_sold", _number(record.date)] -= move.cost
    totals = year(books, start, end).rounded(books.currency)
    unit = minor_unit(books.currency)
    columns = (
        rounding.shares_of([of_month[line, _number(first)] for first in firsts], getattr(totals, line), unit)
        for line in Month._fields[1:]
    )
    return [Month(*row) for row in zip(firsts, *columns, strict=True)]


def _firsts(start: datetime.date, end: datetime.date) -> Iterator[datetime.date]:
    """Yield a first day, and the first of each month after it up to a last day."""
    day = start
    while day <= end:
        yield day
        if (day.year, day.month) == (datetime.MAXYEAR, 12):
            return
        day = (day.replace(day=28) + 4 * _DAY).replace(day=1)


def _number(day: datetime.date) -> int:
    return day.year * 12 + day.month
