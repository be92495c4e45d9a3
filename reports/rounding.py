"""The one place where figures are rounded, so that what is printed adds up.

Books are exact; a report rounds once, at its edge. Rounding each figure by itself would print schedules whose
lines miss their total by a cent. Here a list is rounded by largest remainder, a table so that both its rows
and its columns add up, and a schedule so that its totals follow from its lines. No figure moves by a whole
unit or more, a whole figure stays as it is, and the same figures are always rounded the same way.
"""

from __future__ import annotations

from collections import deque
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal
from itertools import product
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence


#: A unit is this many grains: far finer than anything printed and far coarser than the noise of 28 digits.
GRAINS = 10**10

#: Grains of large amounts have more digits than the usual context allows.
_WIDE = Context(prec=60)


def nearest(amount: Decimal, unit: Decimal) -> Decimal:
    """Return the multiple of a unit (0.01, say) nearest to an amount; a tie goes to the even one."""
    return _without_noise(amount, unit).quantize(unit, ROUND_HALF_EVEN, _WIDE) + ZERO


def below(amount: Decimal, unit: Decimal) -> Decimal:
    """Return the greatest multiple of a unit that is not above an amount, but for noise."""
    return _without_noise(amount, unit).quantize(unit, ROUND_FLOOR, _WIDE) + ZERO


def _without_noise(amount: Decimal, unit: Decimal) -> Decimal:
    """Return an amount in whole grains.

    Sums of 28-digit products differ in their last digits with the order of adding; without this step a tie
    would fall to one side or the other by chance.
    """
    return amount.quantize(unit / GRAINS, ROUND_HALF_EVEN, _WIDE)


def shares(amounts: Sequence[Decimal], unit: Decimal, first: int | None = None) -> list[Decimal]:
    """Round amounts so that they add up to their rounded total, by largest remainder.

    Args:
        amounts: exact amounts.
        unit: the smallest amount, such as 0.01.
        first: the place of one that goes to the nearest wherever the others let it.

    Returns:
        An amount in whole units for each, in order; of equal remainders the first is rounded up.
    """
    return shares_of(amounts, nearest(sum(amounts, ZERO), unit), unit, first)


def shares_of(
    amounts: Sequence[Decimal], total: Decimal, unit: Decimal, first: int | None = None,
) -> list[Decimal]:
    """Round amounts so that they add up to a total in whole units, by largest remainder.

    Args:
        amounts: exact amounts.
        total: less than a unit away from their sum.
        unit: the smallest amount, such as 0.01.
        first: the place of one that goes to the nearest wherever the others let it.

    Returns:
        An amount in whole units for each, in order; of equal remainders the first is rounded up.
    """
    rounded = [below(amount, unit) for amount in amounts]
    missing = int((total - sum(rounded, ZERO)) / unit)
    remainders = [_without_noise(amount, unit) - low for amount, low in zip(amounts, rounded, strict=True)]
    if first is not None and remainders[first]:
        # In front of all others, or behind all that are not whole.
        up = nearest(amounts[first], unit) > rounded[first]
        remainders[first] = unit if up else unit / GRAINS
    by_remainder = sorted(range(len(amounts)), key=lambda place: (-remainders[place], place))
    for place in by_remainder[:missing]:
        rounded[place] += unit
    return rounded


def table(rows: Sequence[Sequence[Decimal]], unit: Decimal, first: Sequence[int] = ()) -> list[list[Decimal]]:
    """Round a table so that its rows and its columns both add up to rounded totals.

    Args:
        rows: exact cells; the totals are not among them.
        unit: the smallest amount, such as 0.01.
        first: the columns whose totals come first, in order, when not all totals can be the nearest ones.

    Returns:
        Cells in whole units; each cell and the sum of each row and column is less than a unit away from
        the exact one. Totals are the nearest ones wherever that leaves the sums right.
    """
    if not rows:
        return []
    grain = unit / GRAINS
    cells = [[int(cell / grain) for cell in shares(row, grain)] for row in rows]
    body = _Extended(cells)
    last_row, last_column = len(cells), len(cells[0])
    # Totals come before cells: a reader compares them with other reports.
    for column in (*first, last_column, *range(last_column)):
        body.settle(last_row, column)
    for row in range(last_row):
        body.settle(row, last_column)
    for row in range(last_row):
        for column in range(last_column):
            body.settle(row, column)
    return [[unit * (cell // GRAINS) for cell in row[:-1]] for row in body.cells[:-1]]


class _Extended:
    """A table of grains with a row and a column more, that make every row and every column add up to nought.

    A cell that is not whole shares its row with another such cell, or the row could not add up to a whole
    number; the same holds for columns. So every such cell lies on a closed round of them, along rows and
    columns in turn. Adding and taking an amount by turns along the round changes no sum, and with the right
    amount one more cell is whole.
    """

    def __init__(self, cells: Sequence[Sequence[int]]) -> None:
        self.cells = [[*row, -sum(row)] for row in cells]
        self.cells.append([-sum(column) for column in zip(*self.cells, strict=True)])
        # Dictionaries keep the order of reading, which sets would not.
        self.across: list[dict[int, None]] = [{} for _ in self.cells]
        self.down: list[dict[int, None]] = [{} for _ in self.cells[0]]
        for row, values in enumerate(self.cells):
            for column, value in enumerate(values):
                if value % GRAINS:
                    self.across[row][column] = self.down[column][row] = None

    def settle(self, row: int, column: int) -> None:
        """Make one cell whole, at its nearest whole number."""
        whole, fraction = divmod(self.cells[row][column], GRAINS)
        up = fraction * 2 + whole % 2 > GRAINS
        while column in self.across[row]:
            self._push(list(self._round(row, column)), up=up)

    def _push(self, cells: Sequence[tuple[int, int]], *, up: bool) -> None:
        """Move the cells of a round up and down by turns until one of them is whole."""
        rising, falling = (cells[::2], cells[1::2]) if up else (cells[1::2], cells[::2])
        amount = min(
            *(GRAINS - self.cells[row][column] % GRAINS for row, column in rising),
            *(self.cells[row][column] % GRAINS for row, column in falling),
        )
        for step, moved in ((amount, rising), (-amount, falling)):
            for row, column in moved:
                self.cells[row][column] += step
                if not self.cells[row][column] % GRAINS:
                    del self.across[row][column], self.down[column][row]

    def _round(self, row: int, column: int) -> Iterator[tuple[int, int]]:
        """Yield the cells of a shortest round: the given one first, then by turns along a column and a row."""
        came_from: dict[int, tuple[int, int] | None] = {row: None}
        here = self._reach(row, column, came_from)
        yield row, column
        yield here, column
        while (step := came_from[here]) is not None:
            before, passage = step
            yield here, passage
            yield before, passage
            here = before

    def _reach(self, row: int, column: int, came_from: dict[int, tuple[int, int] | None]) -> int:
        """Search another row of a column, breadth first from a row and not by that column itself."""
        seen = {column}
        queue = deque([row])
        while True:
            here = queue.popleft()
            for passage in self.across[here]:
                if passage in seen:
                    continue
                seen.add(passage)
                for there in self.down[passage]:
                    if there in came_from:
                        continue
                    came_from[there] = (here, passage)
                    if column in self.across[there]:
                        return there
                    queue.append(there)


def schedule(
    lines: Mapping[str, Decimal],
    movable: Sequence[str],
    totals: Callable[[Mapping[str, Decimal]], Sequence[Decimal]],
    unit: Decimal,
) -> dict[str, Decimal]:
    """Round the lines of a schedule so that totals computed from them are right themselves.

    Args:
        lines: exact lines by name.
        movable: lines that may be rounded to either side, if they are not whole; all others go to the nearest.
        totals: computes the totals that shall equal their own rounding wherever the movable lines allow it.
        unit: the smallest amount, such as 0.01.
    """
    rounded = {name: nearest(amount, unit) for name, amount in lines.items()}
    wanted = [nearest(total, unit) for total in totals(lines)]
    free = [name for name in movable if _without_noise(lines[name], unit) != rounded[name]]

    def misfit(choice: Mapping[str, Decimal]) -> tuple[Decimal, Decimal]:
        missed = sum((abs(total - want) for total, want in zip(totals(choice), wanted, strict=True)), ZERO)
        return missed, sum((abs(choice[name] - lines[name]) for name in free), ZERO)

    sides = product(*((below(lines[name], unit), below(lines[name], unit) + unit) for name in free))
    return min(({**rounded, **dict(zip(free, side, strict=True))} for side in sides), key=misfit)
