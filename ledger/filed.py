"""A year that was handed in, and what it said.

That is its closing stock and its cost of goods sold::

2027-02-01 custom "filed" 2026 135.11 USD 24.89 USD
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.amount import Amount

if TYPE_CHECKING:
    from beancount.core.data import Custom

#: What a filed year may say beside its two figures, in its metadata.
NET_RECEIPTS = "net_receipts"
BUSINESS_PROFIT = "business_profit"


class Filed(NamedTuple):
    """A year that was handed in, and what it said.

    Attributes:
        day: when it was written.
        first: the first day of the year.
        last: the last day of the year.
        closing_stock: fragrance at cost, in a currency's minor units.
        cost_of_goods: cost of goods sold; it may be negative.
        currency: of both.
        net_receipts: if it is recorded, else None.
        business_profit: if it is recorded, else None.
        entry: the directive.
    """

    day: datetime.date
    first: datetime.date
    last: datetime.date
    closing_stock: Decimal
    cost_of_goods: Decimal
    currency: str
    net_receipts: Decimal | None
    business_profit: Decimal | None
    entry: Custom


def read_filed(entry: Custom) -> Filed | str:
    """Return a filed year, or what is wrong with it."""
    match [value.value for value in entry.values or []]:
        case [
            Decimal() as number,
            Amount(number=Decimal() as closing, currency=str(currency)),
            Amount(number=Decimal() as cost, currency=str(other)),
        ] if closing >= 0 and currency == other:
            try:
                first, last = _days_filed(entry, number)
                receipts, profit = (
                    _figure_filed(entry, key, currency) for key in (NET_RECEIPTS, BUSINESS_PROFIT)
                )
            except ValueError as problem:
                return str(problem)
            return Filed(entry.date, first, last, closing, cost, currency, receipts, profit, entry)
    return (
        "A filed year has its number, its closing stock, not below 0, and its cost of goods in the same currency; "
        f'expected: {entry.date} custom "filed" {entry.date.year - 1} 135.11 USD 24.89 USD'
    )


def _days_filed(entry: Custom, number: Decimal) -> tuple[datetime.date, datetime.date]:
    """Return the first and last day of a filed year, the calendar's unless the directive says otherwise."""
    if number % 1 or not datetime.MINYEAR <= number <= datetime.MAXYEAR:
        raise ValueError(f"A filed year is a whole number such as {entry.date.year - 1}, not {number:f}.")
    year = int(number)
    first = entry.meta.get("from", datetime.date(year, 1, 1))
    last = entry.meta.get("to", datetime.date(year, 12, 31))
    days = isinstance(first, datetime.date) and isinstance(last, datetime.date)
    if not days or first > last or year not in {first.year, last.year}:
        raise ValueError(
            f"The year {year} cannot run from {first} to {last}; from: is its first day and to: its last, without "
            f"quotes, such as to: {year}-12-31.",
        )
    if entry.date <= last:
        raise ValueError(f"A year is filed after its last day, {last}, and not on {entry.date}.")
    return first, last


def _figure_filed(entry: Custom, key: str, currency: str) -> Decimal | None:
    match entry.meta.get(key):
        case None:
            return None
        case Amount(number=Decimal() as number, currency=of) if of == currency:
            return number
        case value:
            raise ValueError(f"{key}: is an amount in {currency}, such as 100.00 {currency}, not {value}.")
