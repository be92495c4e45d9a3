"""Sums a ledger gives of itself: its running balance, and the total of each payout."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.cells import found
from millilot.importers.table import RowError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from decimal import Decimal

    from millilot.importers.lines import Line, LineReader
    from millilot.importers.profile import Profile
    from millilot.importers.table import Row


def check_balances(rows: Sequence[Row], lines: Mapping[int, Line], reader: LineReader, profile: Profile) -> None:
    """Give each line a problem whose running balance is not the one before it and its money.

    A row that does not count may have moved its money or not. Behind one that cannot be read, the balance is
    taken as it stands.
    """
    heading = profile.columns.balance
    before: dict[str, Decimal | None] = {}
    for row in rows if profile.file.balance == "rising" else reversed(rows):
        currency = row[profile.columns.currency]
        line = lines.get(row.number)
        try:
            after = reader.cells(row).amount(row, heading)
        except RowError as error:
            if line is not None:
                line.problem = error.reason
            before[currency] = None
            continue
        known = before.get(currency)
        if line is not None and known is not None:
            expected = known + line.net
            if after is not None and after != expected:
                stated = found(row, heading)
                line.problem = f"column '{heading}': expected {expected} after {known}, found {stated}"
            before[currency] = expected if after is None else after
        else:
            before[currency] = after


def check_totals(
    lines: Sequence[Line], left: Mapping[int, Decimal | None], rows: Sequence[Row], profile: Profile,
) -> None:
    """Give each line that sums up a payout a problem when the other rows of the payout do not add up to it.

    Args:
        lines: the rows that count.
        left: the money of the other rows, by row.
        rows: all rows.
        profile: which column has the number of the payout.
    """
    sums: defaultdict[str, Decimal] = defaultdict(lambda: ZERO)
    for line in lines:
        if not line.is_total:
            sums[line.payout] += line.net
    for row in rows:
        sums[row[profile.columns.payout]] += left.get(row.number) or ZERO
    for line in lines:
        if line.is_total and sums[line.payout] != -line.amount:
            line.problem = (
                f"column '{profile.columns.total}': expected {sums[line.payout]} from the rows of the payout, "
                f"found {found(line.row, profile.columns.total)}"
            )
