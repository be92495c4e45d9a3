"""The summary: the year's statement beside that of the year before."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millilot.reports.pack.table import Column, Holds, Row, Table, Term, minus, plus
from millilot.reports.year_lines import TOTALS
from millilot.reports.year_statement import STATEMENT

if TYPE_CHECKING:
    from millilot.reports.pack.span import Span


#: What a preparer is told of a line besides its caption.
_FULLER = {
    "purchases": "Purchases, with delivery, duty and tax",
    "supplies": "Supplies used (vials, labels)",
    "other_income": "Other income (compensation)",
}
#: A number of payments is no amount, and stands below.
_LINES = [line for part in STATEMENT for line in part if line.name != "transactions"]


def summary(span: Span) -> Table:
    """Return the statement of the range and of the one before it."""
    now, before = span.year, span.year_before
    seen: set[str] = set()
    rows = []
    for caption, line, _ in _LINES:
        amount, amount_before = getattr(now, line), getattr(before, line)
        cells = {
            "line": line, "caption": _FULLER.get(line, caption), "amount": amount, "year_before": amount_before,
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
