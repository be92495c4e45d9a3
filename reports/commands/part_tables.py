"""How the entries behind a line are printed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.tables import WIDTH, Column, to_table

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from decimal import Decimal

    from millilot.reports.year_lines import Part

PART_COLUMNS = ("line", "date", "what", "detail", "amount", "place")

#: A table shows so many digits more than a report does.
_MORE_DIGITS = 2


def part_rows(found: Iterable[Part]) -> list[dict[str, Any]]:
    """Return parts as rows with PART_COLUMNS, exact."""
    return [{name: getattr(part, name) for name in PART_COLUMNS} for part in found]


def part_table(found: Sequence[Part], total: Decimal, currency: str, *, wide: bool) -> str:
    """Return the entries behind a line, to some digits more than a report has, adding up to their sum."""
    unit = minor_unit(currency).scaleb(-_MORE_DIGITS)
    amounts = rounding.shares([part.amount for part in found], unit)
    several = len({part.line for part in found}) > 1
    columns = [
        Column("Date", right=False),
        *([Column("Line", right=False, flexible=True)] if several else []),
        Column("Of", right=False, flexible=True),
        Column("What", right=False, flexible=True),
        Column(currency),
        Column("Written in", right=False),
    ]
    body = [
        [
            part.date,
            *([part.line] if several else []),
            part.detail,
            part.what,
            amount,
            part.place if wide else _short(part.place),
        ]
        for part, amount in zip(found, amounts, strict=True)
    ]
    foot = ["Sum", *([""] if several else []), "", "", rounding.nearest(total, unit), ""]
    return to_table(columns, body, foot, width=None if wide else WIDTH)


def _short(place: str) -> str:
    """Return a place without the folder."""
    file, _, line = place.rpartition(":")
    return f"{Path(file).name}:{line}"
