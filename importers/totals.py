"""Totals rows, against which a file is checked before they are left out."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.table import TOTALS_ROW, RowError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from decimal import Decimal

    from millilot.importers.cells import CellReader
    from millilot.importers.profile import Profile
    from millilot.importers.table import Row


def check_totals(rows: Iterable[Row], profile: Profile, cells: CellReader) -> Iterator[Row]:
    """Yield rows; a totals row that is not the sum of the rows comes out as a problem.

    It is the sum of the rows above it, of those since the totals row before, or, where it comes first, of all
    below. So it may come out later than where it stands.
    """
    if not profile.file.totals:
        yield from rows
        return
    whole, section = _Sums(profile, cells), _Sums(profile, cells)
    early = []
    for row in rows:
        if row.skip != TOTALS_ROW:
            if not row.skip:
                whole.add(row)
                section.add(row)
            yield row
            continue
        if whole.empty:
            early.append(row)
            continue
        yield row if not section.difference(row) else _checked(row, whole)
        section = _Sums(profile, cells)
    for row in early:
        yield _checked(row, whole)


def _checked(row: Row, sums: _Sums) -> Row:
    difference = sums.difference(row)
    return dataclasses.replace(row, skip="", problem=difference) if difference else row


class _Sums:
    """The sums of the columns of some rows.

    Where the rows of an order repeat its amounts, a totals row may count them once an order or once a row. Where a
    word says which way an amount went, it may be the sum of all, or what came in less what went out.
    """

    def __init__(self, profile: Profile, cells: CellReader) -> None:
        self._profile = profile
        self._headings = profile.amounts
        self._of_items = {profile.columns.price, profile.columns.quantity}
        self._cells = cells
        self._directed = profile.columns.amount if profile.direction else ""
        self._every: defaultdict[str, Decimal] = defaultdict(lambda: ZERO)
        self._once: defaultdict[str, Decimal] = defaultdict(lambda: ZERO)
        self._orders: set[str] = set()
        self._unknown: set[str] = set()
        self.empty = True

    def add(self, row: Row) -> None:
        """Add the amounts of a row; a column with one that cannot be read has no sum."""
        shape = self._profile.file
        first = True
        if shape.row == "item" and shape.order_amounts == "repeated":
            order = row[self._profile.columns.order]
            first = order not in self._orders
            self._orders.add(order)
        self.empty = False
        for heading in self._headings:
            try:
                amount = None if row.problem else self._cells.amount(row, heading) or ZERO
                moved = self._cells.directed(row, heading) if amount and heading == self._directed else amount
            except RowError:
                amount = moved = None
            if amount is None or moved is None:
                self._unknown.add(heading)
                continue
            self._every[heading] += amount
            if first or heading in self._of_items:
                self._once[heading] += moved

    def difference(self, row: Row) -> str:
        """Return where a totals row differs from the sums, or nothing."""
        for heading in sorted(self._headings - self._unknown):
            try:
                stated = self._cells.amount(row, heading)
            except RowError:
                # A word, such as the one that says it is a totals row.
                continue
            if stated is not None and stated not in {self._every[heading], self._once[heading]}:
                expected = f"{self._every[heading]} as the sum of the rows"
                return f"column '{heading}': expected {expected}, found {stated}"
        return ""
