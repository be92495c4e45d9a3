"""The lots on one day of the walk through the books: what is left of each and at what cost.

A lot is an ordered list of layers (quantity, cost per unit). Most have one. A return after the lot was re-costed
adds one, since what comes back has the cost it left at.
"""

from __future__ import annotations

from bisect import insort
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.goods import EXACT
from millilot.plugins.landed_cost import BEFORE_INBOUND

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Mapping
    from decimal import Decimal

    from beancount.core.data import Transaction
    from beancount.core.position import Cost

    from millilot.plugins.lots import Arrival


class Piece(NamedTuple):
    """A quantity taken from one layer of a lot.

    Attributes:
        lot: the lot.
        quantity: mL or pieces, above nought.
        cost: the cost it left at, as Beancount writes it.
    """

    lot: Lot
    quantity: Decimal
    cost: Cost


@dataclass(slots=True)
class Layer:
    """A quantity at one cost per unit."""

    quantity: Decimal
    cost: Cost


@dataclass(slots=True, eq=False)
class Lot:
    """A bottle or a pack of supplies while the books are walked through.

    Attributes:
        name: the lot label.
        commodity: what is in it.
        account: the stock account it stands in.
        cost: as it came in, inbound included; the lot with the oldest date is drawn from first.
        rank: its place in that order.
        entry: the transaction that brought it.
        meta: of the posting that brought it.
        received: the quantity that came in, less what went back to the supplier.
        bought_quantity: the quantity it was bought with.
        written: cost per unit as the owner wrote it, before inbound.
        landed: cost per unit with all inbound so far.
        countable: False when its cost was refused; nothing more is said of it then.
        left: what is left in it: the sum of its layers, kept because every draw asks for it.
    """

    name: str
    commodity: str
    account: str
    cost: Cost
    rank: int
    entry: Transaction
    meta: Mapping[str, Any]
    received: Decimal
    bought_quantity: Decimal
    written: Decimal
    landed: Decimal
    countable: bool = True
    left: Decimal = ZERO
    layers: list[Layer] = field(default_factory=list)

    @classmethod
    def from_arrival(cls, arrival: Arrival, currency: str | None) -> Lot:
        """Make the lot that a posting brings.

        Args:
            arrival: the posting.
            currency: the operating currency, which its cost should be in; None when the books set none.
        """
        _, entry, stock = arrival
        before = stock.meta.get(BEFORE_INBOUND)
        return cls(
            name=stock.cost.label or "",
            commodity=stock.commodity,
            account=stock.account,
            cost=stock.cost,
            rank=arrival.rank,
            entry=entry,
            meta=stock.meta,
            received=stock.quantity,
            bought_quantity=stock.quantity,
            written=before.number if before is not None else stock.cost.number,
            landed=stock.cost.number,
            countable=currency is None or stock.cost.currency == currency,
            left=stock.quantity,
            layers=[Layer(stock.quantity, stock.cost)],
        )

    @property
    def bought(self) -> datetime.date:
        """The day it came in."""
        return self.entry.date

    def cost_at(self, number: Decimal) -> Cost:
        """Return the cost of what stands in it at a cost per unit, with the date and label of the lot."""
        return self.cost._replace(number=number)

    def take(self, quantity: Decimal) -> list[Piece]:
        """Take a quantity that is there, from the first layer on."""
        self.left -= quantity
        pieces = []
        while quantity:
            layer = self.layers[0]
            if layer.quantity > quantity:
                layer.quantity -= quantity
                pieces.append(Piece(self, quantity, layer.cost))
                break
            pieces.append(Piece(self, layer.quantity, layer.cost))
            quantity -= layer.quantity
            del self.layers[0]
        return pieces

    def holds_at(self, cost: Decimal, quantity: Decimal) -> bool:
        """Whether the layer of one cost per unit holds a quantity."""
        return any(
            abs(layer.cost.number - cost) < EXACT and layer.quantity >= quantity for layer in self.layers
        )

    def take_at(self, cost: Decimal, quantity: Decimal) -> Piece | None:
        """Take a quantity from the layer of one cost per unit; None if it does not hold as much."""
        for place, layer in enumerate(self.layers):
            if abs(layer.cost.number - cost) < EXACT and layer.quantity >= quantity:
                layer.quantity -= quantity
                self.left -= quantity
                if not layer.quantity:
                    del self.layers[place]
                return Piece(self, quantity, layer.cost)
        return None

    def put(self, quantity: Decimal, cost: Cost) -> None:
        """Put back a quantity at the cost it left at."""
        self.left += quantity
        for layer in self.layers:
            if layer.cost == cost:
                layer.quantity += quantity
                return
        self.layers.append(Layer(quantity, cost))


def take(lots: Iterable[Lot], quantity: Decimal) -> list[Piece]:
    """Take a quantity that is there from lots in turn."""
    pieces: list[Piece] = []
    for lot in lots:
        if not quantity:
            break
        taken = min(quantity, lot.left)
        pieces += lot.take(taken)
        quantity -= taken
    return pieces


class Shelf:
    """All lots that have come in so far."""

    def __init__(self) -> None:
        self._by_name: dict[str, Lot] = {}
        self._by_commodity: dict[str, list[Lot]] = {}
        self._by_link: dict[str, list[Lot]] = {}
        # The lots before this place of a commodity's list are empty.
        self._first: dict[str, int] = {}

    def add(self, lot: Lot) -> None:
        """Put a lot that came in on the shelf."""
        self._by_name[lot.name] = lot
        insort(self._by_commodity.setdefault(lot.commodity, []), lot, key=lambda lot: lot.rank)
        self._first[lot.commodity] = 0
        for link in lot.entry.links or ():
            self._by_link.setdefault(link, []).append(lot)

    def get(self, name: str | None) -> Lot | None:
        """Return the lot of a name, if it has come in."""
        return self._by_name.get(name or "")

    def of_links(self, links: Iterable[str]) -> list[Lot]:
        """Return the lots that came in under any of these links, oldest first."""
        lots = {lot.name: lot for link in links for lot in self._by_link.get(link, ())}
        return sorted(lots.values(), key=lambda lot: lot.rank)

    def of_commodity(self, commodity: str) -> list[Lot]:
        """Return all lots of a commodity, the empty ones too, oldest first."""
        return self._by_commodity.get(commodity, [])

    def serving(self, commodity: str, wanted: Decimal, entry: Transaction) -> list[Lot]:
        """Return the oldest lots that hold what is wanted, or all there are if they hold less.

        None that this very transaction brings is among them.
        """
        lots = self._by_commodity.get(commodity, [])
        start = self._first.get(commodity, 0)
        while start < len(lots) and not lots[start].layers:
            start += 1
        self._first[commodity] = start
        if start < len(lots) and lots[start].left >= wanted and lots[start].entry is not entry:
            return [lots[start]]
        serving = []
        for place in range(start, len(lots)):
            lot = lots[place]
            if lot.layers and lot.entry is not entry:
                serving.append(lot)
                wanted -= lot.left
                if wanted <= 0:
                    break
        return serving

    def give_back(self, piece: Piece) -> None:
        """Put a piece back into its lot, at the cost it left at."""
        piece.lot.put(piece.quantity, piece.cost)
        self._first[piece.lot.commodity] = 0
