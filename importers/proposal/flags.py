"""Columns that say of each order whether it was called off, or paid: by yes and no, or by a day."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from millilot.importers.proposal.evidence import Column, Holds
from millilot.importers.proposal.headings import normalise

if TYPE_CHECKING:
    from collections.abc import Iterable

    from millilot.importers.proposal.findings import Draft

_YES_WORDS = "yes y true 1 x ja j wahr oui o vrai si s sim vero waar"
_NO_WORDS = "no n false 0 nein falsch non faux nee falso onwaar"
_YES, _NO = frozenset(_YES_WORDS.split()), frozenset(_NO_WORDS.split())
_OFF = re.compile(r"\b(?:cancel\w*|void\w*|called off|storn\w*|annul\w*|geannuleerd\w*|anulad\w*)\b")
_PAID = 0.9


def propose_flags(columns: Iterable[Column], draft: Draft, *, has_status: bool) -> set[int]:
    """Put down a column that says which orders do not count; return the rows of those.

    Args:
        columns: of the file.
        draft: takes the findings.
        has_status: whether another column is the status, so that yes and no can be none.
    """
    for column in columns:
        off = _OFF.search(normalise(column.heading)) is not None
        yes, no = _flagged(column)
        if off and (column.holds is Holds.DAYS or (yes and not no)):
            draft.guess("columns.cancelled", column.heading, "its heading; filled where an order was called off")
            return {row for row, cell in enumerate(column.cells) if cell}
        paid = column.meanings.get("paid", 0.0) >= _PAID
        if has_status or not (off or paid) or not no:
            continue
        draft.guess("columns.status", column.heading, "its heading, and yes or no below it")
        counts, not_counted = (no, yes) if off else (yes, no)
        if not_counted:
            draft.guess("status.cancelled" if off else "status.skip", not_counted, "what yes and no mean here")
        draft.guess("status.book", counts, "what yes and no mean here")
        return {row for row, cell in enumerate(column.cells) if cell in not_counted}
    return set()


def _flagged(column: Column) -> tuple[list[str], list[str]]:
    """Return the words of a column for yes and those for no; none of either where it has others."""
    yes = sorted(value for value in column.values if normalise(value) in _YES)
    no = sorted(value for value in column.values if normalise(value) in _NO)
    return (yes, no) if len(yes) + len(no) == len(column.values) else ([], [])
