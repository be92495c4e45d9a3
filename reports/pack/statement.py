"""The summary: the year's statement beside that of the year before."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from millilot.reports.pack.table import Column, Kind, Row, Table, Term, minus, plus

if TYPE_CHECKING:
    from millilot.reports.pack.span import Span


class _Line(NamedTuple):
    """A line of the statement: the year's line it shows, what it is called, and what it is the sum of."""

    name: str
    caption: str
    of: tuple[Term, ...] = ()


#: Fees and what follows, which a business may take off and a hobby may not.
EXPENSES = ("fees", "postage", "packing", "ads", "exchange", "samples", "losses", "other_expenses")

_LINES = (
    _Line("gross_receipts", "Gross receipts"),
    _Line("refunds", "less refunds"),
    _Line("net_receipts", "Net receipts", (*plus("gross_receipts"), *minus("refunds"))),
    _Line("opening_stock", "Opening stock"),
    _Line("purchases", "Purchases, with delivery, duty and tax on them"),
    _Line("contributed", "Contributed (owned before)"),
    _Line("personal_use", "less personal use"),
    _Line("samples", "less samples"),
    _Line("losses", "less losses"),
    _Line("supplies", "Supplies used (vials, labels)"),
    _Line("other_costs", "Other costs"),
    _Line("closing_stock", "less closing stock"),
    _Line(
        "cost_of_goods_sold",
        "Cost of goods sold",
        (
            *plus("opening_stock", "purchases", "contributed"),
            *minus("personal_use", "samples", "losses"),
            *plus("supplies", "other_costs"),
            *minus("closing_stock"),
        ),
    ),
    _Line("gross_profit", "Gross profit", (*plus("net_receipts"), *minus("cost_of_goods_sold"))),
    _Line("other_income", "Other income (compensation)"),
    _Line("hobby_income", "Hobby income", plus("gross_profit", "other_income")),
    _Line("fees", "Fees"),
    _Line("postage", "Postage"),
    _Line("packing", "Packing"),
    _Line("ads", "Ads"),
    _Line("exchange", "Exchange"),
    _Line("samples", "Samples"),
    _Line("losses", "Losses"),
    _Line("other_expenses", "Other expenses"),
    _Line("business_profit", "Business profit", (*plus("hobby_income"), *minus(*EXPENSES))),
    _Line("supplies_on_hand_open", "Supplies on hand, start"),
    _Line("supplies_on_hand_close", "Supplies on hand, end"),
    _Line("claims_held_open", "Claims held, start"),
    _Line("claims_held_close", "Claims held, end"),
    _Line(
        "receipts_if_counted_when_paid",
        "Receipts if counted when paid",
        (*plus("gross_receipts", "claims_held_close"), *minus("claims_held_open")),
    ),
)


def summary(span: Span) -> Table:
    """Return the statement of the range and of the one before it."""
    now, before = span.year, span.year_before
    seen: set[str] = set()
    rows = []
    for line in _LINES:
        amount, amount_before = getattr(now, line.name), getattr(before, line.name)
        cells = {
            "line": line.name, "caption": line.caption, "amount": amount, "year_before": amount_before,
            "change": amount - amount_before,
        }
        # Samples and losses stand in it twice; sums go by the first, which has the same amount.
        rows.append(Row(cells, "" if line.name in seen else line.name, line.of))
        seen.add(line.name)
    return Table(
        "Summary",
        f"Summary of {span.name}",
        (
            Column("caption", "Line"),
            Column("amount", span.name, Kind.MONEY),
            Column("year_before", "Year before", Kind.MONEY),
            Column("change", "Change", Kind.MONEY, of=(*plus("amount"), *minus("year_before"))),
            Column("line", "Its name in Millilot"),
        ),
        tuple(rows),
        f"Payments received: {now.transactions}, the year before {before.transactions}. "
        "Hobby income takes off nothing but cost of goods; business profit takes off all expenses. "
        "Which applies is not decided here.",
    )
