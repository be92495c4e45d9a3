"""Which columns of amounts add up to which, and with which signs.

A target is looked for as a sum of some of the other columns, each added, taken off or left out, that holds in
every row. The combinations of one half of the columns are held against those of the other, so sixteen columns
need thousands of sums and not millions.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

#: More columns than these are not combined.
MOST_TERMS = 14
#: Rows that are summed for every combination; what fits them is held against all rows.
_KEY_ROWS = 24
#: The share of the rows in which a sum must hold to be taken for meant.
ENOUGH = 0.8

Vector = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Solution:
    """A way in which columns add up to a target.

    Attributes:
        signs: 1 or -1 by column; columns that are left out are not there.
        penalty: how little the headings agree with it, 0 for entirely.
        failing: places of the rows in which it does not hold.
    """

    signs: Mapping[str, int]
    penalty: float
    failing: tuple[int, ...] = ()


def solve(
    target: Vector,
    columns: Mapping[str, Vector],
    penalty: Callable[[str, int], float],
    fixed: Iterable[str] = (),
) -> list[Solution]:
    """Return the sums that make the target, those that the headings agree with most first.

    Args:
        target: in minor units, row by row.
        columns: the amounts that may be part of it.
        penalty: how little the heading of a column agrees with a sign (1, -1 or 0).
        fixed: columns that must be added.
    """
    fixed = tuple(fixed)
    free = [name for name, amounts in columns.items() if name not in fixed and any(amounts)]
    free = sorted(free, key=lambda name: penalty(name, 0), reverse=True)[:MOST_TERMS]
    rest = _less(target, (columns[name] for name in fixed))
    whole = range(len(target))
    found = {
        tuple(sorted(signs.items())) for signs in _combine(rest, columns, free, _telling(rest, columns, free))
    }
    candidates = _checked(found, rest, columns, whole)
    if not any(not failing for _, failing in candidates):
        # Some rows are odd: what holds in some of the others is held against all.
        for stretch in _stretches(len(target), len(free)):
            found |= {tuple(sorted(signs.items())) for signs in _combine(rest, columns, free, stretch)}
            if len(found) > 3000:
                break
        candidates = _checked(found, rest, columns, whole)
    solutions = []
    for signs, failing in candidates:
        if len(failing) > max((1 - ENOUGH) * len(target), 1 if len(target) >= 4 else 0):
            continue
        cost = sum(penalty(name, dict(signs).get(name, 0)) for name in free)
        cost += 0.01 * len(signs) + 10 * len(failing) / max(len(target), 1)
        solutions.append(Solution({**dict.fromkeys(fixed, 1), **dict(signs)}, cost, failing))
    return sorted(solutions, key=lambda solution: solution.penalty)


def _stretches(rows: int, columns: int) -> Iterator[list[int]]:
    """Yield the places of some rows at a time: of a long file some that follow each other, else all but one."""
    size = max((columns + 1) // 2 + 2, 3)
    if 4 <= rows <= 2 * size:
        yield from ([place for place in range(rows) if place != odd] for odd in range(rows))
    else:
        step = max(size // 2, 1)
        for start in range(0, min(max(rows - size, 0), 40 * size) + 1, step):
            yield list(range(start, min(start + size, rows)))


def _less(target: Vector, amounts: Iterable[Vector]) -> Vector:
    rest = list(target)
    for vector in amounts:
        rest = [left - amount for left, amount in zip(rest, vector, strict=True)]
    return tuple(rest)


def _telling(rest: Vector, columns: Mapping[str, Vector], free: Sequence[str]) -> list[int]:
    """Return the places of rows that differ most in which columns they use."""
    by_use: dict[tuple[bool, ...], int] = {}
    for place in range(len(rest)):
        by_use.setdefault(tuple(bool(columns[name][place]) for name in free), place)
    chosen = list(by_use.values())[: _KEY_ROWS * 2 // 3]
    others = [place for place in range(len(rest)) if place not in set(chosen)]
    step = max(len(others) // max(_KEY_ROWS - len(chosen), 1), 1)
    return sorted(chosen + others[::step][: _KEY_ROWS - len(chosen)])


def _combine(
    rest: Vector,
    columns: Mapping[str, Vector],
    free: Sequence[str],
    places: Sequence[int],
) -> Iterable[dict[str, int]]:
    """Return the signs with which columns add up to what is left, in some rows."""
    half = len(free) // 2
    wanted = tuple(rest[place] for place in places)
    left = _all_sums(
        [(name, tuple(columns[name][place] for place in places)) for name in free[:half]], len(places)
    )
    right = _all_sums(
        [(name, tuple(columns[name][place] for place in places)) for name in free[half:]], len(places)
    )
    by_sum: dict[Vector, list[tuple[int, ...]]] = {}
    for signs, amounts in left:
        by_sum.setdefault(amounts, []).append(signs)
    found = []
    for signs, amounts in right:
        need = tuple(want - amount for want, amount in zip(wanted, amounts, strict=True))
        for other in by_sum.get(need, ()):
            found.append({name: sign for name, sign in zip(free, (*other, *signs), strict=True) if sign})
            if len(found) > 3000:
                return found
    return found


def _all_sums(columns: Sequence[tuple[str, Vector]], rows: int) -> list[tuple[tuple[int, ...], Vector]]:
    sums: list[tuple[tuple[int, ...], Vector]] = [((), (0,) * rows)]
    for _, amounts in columns:
        negative = tuple(-amount for amount in amounts)
        sums = [
            ((*signs, sign), base if not sign else tuple(map(sum, zip(base, part, strict=True))))
            for (signs, base), (sign, part) in itertools.product(
                sums,
                ((0, amounts), (1, amounts), (-1, negative)),
            )
        ]
    return sums


def _checked(
    found: Iterable[tuple[tuple[str, int], ...]],
    rest: Vector,
    columns: Mapping[str, Vector],
    places: Sequence[int],
) -> list[tuple[tuple[tuple[str, int], ...], tuple[int, ...]]]:
    checked = []
    for signs in found:
        failing = tuple(
            place for place in places if sum(sign * columns[name][place] for name, sign in signs) != rest[place]
        )
        checked.append((signs, failing))
    return checked
