"""What a millilitre of a fragrance costs on a day, as far as the books leave no doubt."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.reading import read_books

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping, Sequence

    from beancount.core.data import Directive

    from millilot.ledger.records import Move

#: Costs that differ by less are the same cost in 28 digits.
_NOISE = Decimal("1E-9")


class Costs:
    """The costs of the bottles in the books, read when they are first asked for.

    Args:
        entries: the loaded books.
    """

    def __init__(self, entries: Sequence[Directive]) -> None:
        self._entries = entries

    def per_ml(self, fragrance: str, day: datetime.date) -> Decimal | None:
        """Return what 1 mL costs at the end of a day.

        Returns:
            None when no bottle holds any, when it cost nothing, or when bottles of different costs hold it:
            which of them an order is poured from depends on all orders that are still to be booked.
        """
        costs = [_cost(moves, day) for moves in self._moves.get(fragrance, {}).values()]
        held = [cost for cost in costs if cost is not None]
        if not held or min(held) <= 0 or max(held) - min(held) > _NOISE:
            return None
        return held[0]

    @cached_property
    def _moves(self) -> Mapping[str, Mapping[str, Sequence[Move]]]:
        """What went into and out of each bottle, by fragrance."""
        # Proportions are wanted, so it makes no difference which currency the books are kept in.
        books = read_books(self._entries, {"operating_currency": []})
        moves: defaultdict[str, defaultdict[str, list[Move]]] = defaultdict(lambda: defaultdict(list))
        for record in books.records:
            for move in record.moves:
                moves[books.bottles[move.bottle].commodity.code][move.bottle].append(move)
        return moves


def _cost(moves: Sequence[Move], day: datetime.date) -> Decimal | None:
    """Return the cost per mL of what a bottle holds at the end of a day, None when it is empty."""
    until = [move for move in moves if move.date <= day]
    left = sum((move.quantity for move in until), ZERO)
    return sum((move.cost for move in until), ZERO) / left if left > 0 else None
