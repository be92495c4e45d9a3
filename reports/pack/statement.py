"""The summary: the year's statement beside that of the year before."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millilot.reports.pack.table import Column, Holds, Row, Table, Term, minus, plus
from millilot.reports.year_lines import TOTALS

if TYPE_CHECKING:
    from millilot.reports.pack.span import Span


#: The lines of the statement in their order, and what they are called; samples and losses stand in it twice.
_LINES = (
    ("gross_receipts", "Gross receipts"),
    ("refunds", "less refunds"),
    ("net_receipts", "Net receipts"),
    ("opening_stock", "Opening stock"),
    ("purchases", "Purchases, with delivery, duty and tax"),
    ("contributed", "Contributed (owned before)"),
    ("personal_use", "less personal use"),
    ("samples", "less samples"),
    ("losses", "less losses"),
    ("supplies", "Supplies used (vials, labels)"),
    ("other_costs", "Other costs"),
    ("closing_stock", "less closing stock"),
    ("cost_of_goods_sold", "Cost of goods sold"),
    ("gross_profit", "Gross profit"),
    ("other_income", "Other income (compensation)"),
    ("hobby_income", "Hobby income"),
    ("fees", "Fees"),
    ("postage", "Postage"),
    ("packing", "Packing"),
    ("ads", "Ads"),
    ("exchange", "Exchange"),
    ("samples", "Samples"),
    ("losses", "Losses"),
    ("other_expenses", "Other expenses"),
    ("business_profit", "Business profit"),
    ("supplies_on_hand_open", "Supplies on hand, start"),
    ("supplies_on_hand_close", "Supplies on hand, end"),
    ("claims_held_open", "Claims held, start"),
    ("claims_held_close", "Claims held, end"),
    ("receipts_if_counted_when_paid", "Receipts if counted when paid"),
)


def summary(span: Span) -> Table:
    """Return the statement of the range and of the one before it."""
    now, before = span.year, span.year_before
    seen: set[str] = set()
    rows = []
    for line, caption in _LINES:
        amount, amount_before = getattr(now, line), getattr(before, line)
        cells = {
            "line": line, "caption": caption, "amount": amount, "year_before": amount_before,
            "change": amount - amount_before,
        }
        of = tuple(Term(sign, name) for name, sign in TOTALS.get(line, {}).items())
        # Sums go by the first of two rows of one line, which has the same amount.
        rows.append(Row(cells, "" if line in seen else line, of))
        seen.add(line)
    return Table(
        "Summary",
        f"Summary of {span.name}",
        (
            Column("caption", "Line"),
            Column("amount", span.name, Holds.MONEY),
            Column("year_before", "Year before", Holds.MONEY),
            Column("change", "Change", Holds.MONEY, of=(*plus("amount"), *minus("year_before"))),
            Column("line", "Its name in Millilot"),
        ),
        tuple(rows),
        f"Payments received: {now.transactions}, the year before {before.transactions}. "
        "Hobby income takes off nothing but cost of goods; business profit takes off all expenses. "
        "Which applies is not decided here.",
    )
