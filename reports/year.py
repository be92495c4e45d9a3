"""A year's totals: receipts, cost of goods sold and expenses, as a year-end form asks for them.

Cost of goods sold is worked out the way such forms do, from opening stock, what came in and closing stock;
because every mL that left is in the books, it equals what the books charged. Nothing here is tax advice.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.kept import once_per_books
from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.year_lines import FORM_LINES, PAID, TOTALS, YEAR_LINES, parts, totals

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping

    from millilot.ledger.records import Books

#: Lines that may have a fraction of a cent, because they hold goods at cost.
_MOVABLE = (
    "personal_use",
    "samples",
    "losses",
    "supplies",
    "packing",
    "other_expenses",
    "other_costs",
    "contributed",
    "purchases",
)


@dataclass(frozen=True, slots=True)
class Year:
    """The totals of a range of days, in the operating currency.

    Lines taken away (refunds, personal_use, samples, losses, closing_stock, all expenses) are positive.
    """

    gross_receipts: Decimal
    refunds: Decimal
    net_receipts: Decimal
    opening_stock: Decimal
    purchases: Decimal
    contributed: Decimal
    personal_use: Decimal
    supplies: Decimal
    other_costs: Decimal
    closing_stock: Decimal
    supplies_on_hand_open: Decimal
    supplies_on_hand_close: Decimal
    cost_of_goods_sold: Decimal
    gross_profit: Decimal
    fees: Decimal
    postage: Decimal
    packing: Decimal
    ads: Decimal
    exchange: Decimal
    samples: Decimal
    losses: Decimal
    other_expenses: Decimal
    other_income: Decimal
    hobby_income: Decimal
    business_profit: Decimal
    transactions: int
    claims_held_open: Decimal
    claims_held_close: Decimal
    receipts_if_counted_when_paid: Decimal

    def rounded(self, currency: str) -> Year:
        """Return the totals in minor units of a currency, every sum of them right.

        Stock is rounded by itself, so that it opens as it closed the year before. Other lines of cost that
        are not whole go up or down so that cost of goods and profit are right too.
        """
        lines = {
            field.name: getattr(self, field.name)
            for field in fields(self)
            if field.name not in TOTALS and field.name != "transactions"
        }

        def results(lines: Mapping[str, Decimal]) -> tuple[Decimal, Decimal]:
            of = totals(lines)
            return of["cost_of_goods_sold"], of["business_profit"]

        rounded = rounding.schedule(lines, _MOVABLE, results, minor_unit(currency))
        return _schedule({**rounded, "transactions": Decimal(self.transactions)})


def year(books: Books, start: datetime.date, end: datetime.date) -> Year:
    """Return the exact totals of a year, or of any range of days.

    Args:
        books: books read up to the last day or later.
        start: the first day.
        end: the last day, itself included.
    """
    lines = line_sums(books, start, end)
    return _schedule({line: lines[line] for line in YEAR_LINES})


@once_per_books
def line_sums(books: Books, start: datetime.date, end: datetime.date) -> Mapping[str, Decimal]:
    """Return every line of a range of days, exact, those that only forms ask for among them."""
    sums = dict.fromkeys((*YEAR_LINES, *FORM_LINES), ZERO)
    for part in parts(books, start, end):
        sums[part.line] += part.amount
        if part.is_money and f"{part.line}{PAID}" in sums:
            sums[f"{part.line}{PAID}"] += part.amount
    return sums


def _schedule(lines: Mapping[str, Decimal]) -> Year:
    amounts = {**lines, **totals(lines)}
    transactions = int(amounts.pop("transactions"))
    return Year(**amounts, transactions=transactions)
