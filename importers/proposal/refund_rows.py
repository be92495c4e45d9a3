"""Rows of a file of orders that give back what the same order was sold for in another row."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from millilot.importers.proposal.evidence import Column, Evidence
    from millilot.importers.proposal.findings import Draft
    from millilot.importers.proposal.roles import Assigned

#: Columns that are below 0 where a sale is given back; the net amount is so for other reasons as well.
_SOLD = ("price", "unit_price", "amount", "gross")
#: How many rows are named.
_NAMED = 10


def find_refund_rows(numbers: Sequence[str], roles: Assigned) -> frozenset[int]:
    """Return the places of the rows below 0 that are no discount on another row of their order.

    What was sold may stand in the file of an earlier month. Where most rows are below 0, that says nothing.

    Args:
        numbers: the order of each row.
        roles: the columns by role.
    """
    amounts = [column for role in _SOLD for column in roles.all(role)] or list(roles.all("net"))
    above: defaultdict[str, list[int]] = defaultdict(list)
    below: list[int] = []
    for row, number in enumerate(numbers):
        found = [column.numbers[row] or 0 for column in amounts if column.numbers]
        if any(amount > 0 for amount in found):
            above[number].append(row)
        elif any(amount < 0 for amount in found):
            below.append(row)
    if len(below) >= sum(map(len, above.values())):
        return frozenset()
    title, day = roles.one("title"), roles.one("ordered") or roles.one("date")
    return frozenset(
        row
        for row in below
        if numbers[row] not in above
        or any(_differs(day, row, sold) or not _differs(title, row, sold) for sold in above[numbers[row]])
    )


def _differs(column: Column | None, row: int, other: int) -> bool:
    return column is not None and column.cells[row] != column.cells[other]


def tell_refund_rows(rows: Iterable[int], evidence: Evidence, draft: Draft) -> None:
    """Put down that no such row can be booked, and what to do."""
    lines = [evidence.lines[row] for row in sorted(rows)]
    if not lines:
        return
    named = ", ".join(map(str, lines[:_NAMED])) + (" and more" if len(lines) > _NAMED else "")
    refused = (
        "each is refused with the rest of its order: take these rows out of the file"
        if draft.value("file.row") == "item"
        else "they are refused, the sales are not"
    )
    draft.gap(
        f"{len(lines)} row(s) have amounts below 0 beside the number of an order: row {named}. "
        f"They look like refunds, and a file of orders cannot have those in rows of their own; {refused}. Enter "
        "the refunds by hand, or use a file of the channel that has a row for each movement of money.",
    )
