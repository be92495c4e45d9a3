"""Forms beside each other: each of our lines with its amount, and where each form puts it.

It shows what differs between a hobby and a business, say, and not which of the two it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from millilot.reports.filled import figures_of, places
from millilot.reports.year_lines import FORM_LINES, YEAR_LINES

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from millilot.ledger.records import Books
    from millilot.reports.filled import FilledForm

#: Shown only where a form has a place for it.
_ASIDE = frozenset({"transactions", "supplies_on_hand_open", "supplies_on_hand_close", "claims_held_open"})


@dataclass(frozen=True, slots=True)
class Beside:
    """One of our lines in several forms.

    Attributes:
        line: its key.
        amount: in minor units; None where the books do not know it.
        places: for each form, the numbers of its lines with a minus where it is taken away, or empty.
    """

    line: str
    amount: Decimal | None
    places: tuple[str, ...]


def side_by_side(books: Books, forms: Sequence[FilledForm]) -> list[Beside]:
    """Return each of our lines that a form has a place for, or that is not nought.

    Args:
        books: books read up to the last day or later.
        forms: filled for the same days.
    """
    figures = figures_of(books, forms[0].start, forms[0].end)
    found = [places(each.form, {taken.choice: taken.option for taken in each.taken}) for each in forms]
    rows = []
    for line in (*YEAR_LINES, *FORM_LINES):
        where = tuple(
            ", ".join(f"{'-' if sign < 0 else ''}{number}" for number, sign in of_form.get(line, ()))
            for of_form in found
        )
        if any(where) or (line in YEAR_LINES and line not in _ASIDE and figures[line]):
            rows.append(Beside(line, figures[line], where))
    return rows
