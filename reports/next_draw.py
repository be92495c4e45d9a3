"""What a draw would take next: lots of a commodity in the order in which they give, at what stands in them.

The order is the plugin's own: the oldest first. A lot that was measured or had a late cost may hold quantities at
several costs; the first that came in gives first.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.kept import once_per_books
from millilot.plugins.lots import arrivals

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from millilot.ledger.records import Books


class Piece(NamedTuple):
    """A quantity a lot would give.

    Attributes:
        lot: its name.
        quantity: mL or pieces.
        cost_per_unit: landed, in the operating currency.
    """

    lot: str
    quantity: Decimal
    cost_per_unit: Decimal

    @property
    def cost(self) -> Decimal:
        """What it cost, exact."""
        return self.quantity * self.cost_per_unit


class Taken(NamedTuple):
    """What lots would give of a quantity.

    Attributes:
        pieces: in the order they are taken.
        missing: the quantity they do not hold.
        last_cost: what the last unit that moved in the newest lot cost, at which what is missing is valued;
            0 without any lot.
    """

    pieces: tuple[Piece, ...]
    missing: Decimal
    last_cost: Decimal

    @property
    def cost(self) -> Decimal:
        """What the quantity costs, what is missing at the cost of the newest lot."""
        return sum((piece.cost for piece in self.pieces), ZERO) + self.missing * self.last_cost

    @property
    def lots(self) -> tuple[str, ...]:
        """The names of the lots that give, each once."""
        return tuple(dict.fromkeys(piece.lot for piece in self.pieces))


@once_per_books
def next_draw(books: Books) -> NextDraw:
    """Return what every lot holds at the end of some books."""
    return NextDraw(books)


class NextDraw:
    """What every lot holds at the end of some books; read by `next_draw`."""

    def __init__(self, books: Books) -> None:
        roles = books.settings.roles
        # By lot, then by cost per unit in the order in which it came in, or came back after it was used up.
        self._layers: dict[str, dict[Decimal, Decimal]] = defaultdict(dict)
        self._last_cost: dict[str, Decimal] = {}
        for record in books.records:
            for item in goods.stock_postings(record.entry.postings, roles.on(record.date)):
                name, cost = item.cost.label or "", item.cost.number
                if name in books.bottles:
                    layers = self._layers[name]
                    layers[cost] = layers.get(cost, ZERO) + item.quantity
                    self._last_cost[name] = cost
                    if not layers[cost]:
                        del layers[cost]
        self._lots: dict[str, list[str]] = defaultdict(list)
        sources = {id(bottle.source): bottle.source for bottle in books.bottles.values()}
        for arrival in arrivals(list(sources.values()), roles):
            name, of_commodity = arrival.stock.cost.label or "", self._lots[arrival.stock.commodity]
            if name in books.bottles and name not in of_commodity:
                of_commodity.append(name)

    def lots(self, commodity: str) -> Sequence[str]:
        """Return the names of all lots of a commodity, the empty ones too, oldest first."""
        return self._lots.get(commodity, ())

    def take(self, lots: Sequence[str], quantity: Decimal) -> Taken:
        """Return what some lots, in turn, would give of a quantity; nothing is taken from them."""
        pieces = []
        for name in lots:
            for cost, held in self._layers[name].items():
                given = min(held, quantity)
                if given > 0:
                    pieces.append(Piece(name, given, cost))
                    quantity -= given
        return Taken(tuple(pieces), quantity, self._last_cost[lots[-1]] if lots else ZERO)
