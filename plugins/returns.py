"""What went out under a link and can come back.

A return finds its sale by the link they share: the `^order-` link if it has one, else any. It brings goods back
to the very lot, at the very cost, they left; of several, the last to leave comes back first.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import ORDER
from millilot.plugins.asks import Ask, Way
from millilot.plugins.stock import Lot, Piece

if TYPE_CHECKING:
    from collections.abc import Iterable
    from decimal import Decimal

    from beancount.core.data import Transaction
    from beancount.core.position import Cost

    from millilot.ledger.goods import StockPosting
    from millilot.plugins.drafts import Draft


#: Goods with a price went out as sold, all others to the account they were used on.
_SOLD = "sold"


@dataclass(slots=True, eq=False)
class _Out:
    """A piece that went out: its lot, its cost, and how much of it is still out."""

    lot: Lot
    cost: Cost
    quantity: Decimal


class Outstanding:
    """Goods that are out, by link, commodity and where they went; kept only for links that see a return."""

    def __init__(self) -> None:
        self._watched: set[str] = set()
        self._out: dict[tuple[str, str, str], list[_Out]] = defaultdict(list)

    @property
    def watches(self) -> bool:
        """Whether anything in the books may come back."""
        return bool(self._watched)

    @staticmethod
    def links_of(entry: Transaction) -> set[str]:
        """Return the links by which a return finds its sale."""
        links = set(entry.links or ())
        return {link for link in links if link.startswith(ORDER)} or links

    def watch(self, entry: Transaction) -> None:
        """Keep what goes out under the links of a transaction that may bring goods back."""
        self._watched |= self.links_of(entry)

    def note_draw(self, draft: Draft, ask: Ask, pieces: Iterable[Piece]) -> None:
        """Remember what a line took."""
        self._note(draft.entry, _SOLD if ask.way is Way.SOLD else ask.account, pieces)

    def note_written(self, draft: Draft, pieces: Iterable[Piece], stock: StockPosting) -> None:
        """Remember what a pair took that already stands in the books, unless a pour or a kit used it up."""
        if stock.meta.get(goods.MARK) not in {goods.POUR_LOSS, goods.KIT}:
            self._note(draft.entry, _destination(draft, stock), pieces)

    def _note(self, entry: Transaction, destination: str, pieces: Iterable[Piece]) -> None:
        links = self._watched.intersection(entry.links or ())
        if links:
            for piece in pieces:
                out = _Out(piece.lot, piece.cost, piece.quantity)
                for link in links:
                    self._out[link, piece.lot.commodity, destination].append(out)

    def settle(self, draft: Draft, piece: Piece, stock: StockPosting) -> None:
        """Strike off what came back by a pair that already stands in the books."""
        if stock.partner is None:
            return
        quantity = piece.quantity
        for out in self._matching(draft.entry, piece.lot.commodity, _destination(draft, stock)):
            if out.lot is piece.lot and abs(out.cost.number - piece.cost.number) < goods.EXACT:
                taken = min(out.quantity, quantity)
                out.quantity -= taken
                quantity -= taken

    def still_out(self, draft: Draft, ask: Ask) -> Decimal:
        """Return how much could come back for a line."""
        return sum((out.quantity for out in self._candidates(draft, ask)), ZERO)

    def take_back(self, draft: Draft, ask: Ask) -> list[Piece] | None:
        """Return the pieces a line brings back, or None when less than that is out."""
        candidates = self._candidates(draft, ask)
        quantity = ask.quantity
        if quantity > sum((out.quantity for out in candidates), ZERO):
            return None
        pieces = []
        for out in reversed(candidates):
            taken = min(out.quantity, quantity)
            if taken:
                out.quantity -= taken
                quantity -= taken
                pieces.append(Piece(out.lot, taken, out.cost))
        return pieces

    def _candidates(self, draft: Draft, ask: Ask) -> list[_Out]:
        destination = _SOLD if ask.way is Way.SOLD_BACK else ask.account
        matching = self._matching(draft.entry, ask.commodity, destination)
        return [out for out in matching if ask.bottle in {None, out.lot.name}]

    def _matching(self, entry: Transaction, commodity: str, destination: str) -> list[_Out]:
        found: dict[int, _Out] = {}
        for link in sorted(self.links_of(entry)):
            for out in self._out.get((link, commodity, destination), ()):
                found.setdefault(id(out), out)
        return list(found.values())


def _destination(draft: Draft, stock: StockPosting) -> str:
    partner = stock.partner
    if partner is None or draft.roles.role(partner.account) in {Role.COST_OF_GOODS, Role.SUPPLIES_USED}:
        return _SOLD
    return partner.account
