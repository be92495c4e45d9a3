"""Goods that already stand at their cost: what an owner wrote by hand, or an earlier run of the plugin.

Books that were printed, or whose generated postings were copied into the file, are booked again by arithmetic
alone: whatever leaves a lot at cost is taken from it, whatever comes to a lot that is known goes back to it, and a
lot that leaves at one cost and comes back at another in one transaction is re-costed. One that leaves one stock
account and comes to another is moved.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.plugins.problems import LotError
from millilot.plugins.stock import Lot, Piece, Shelf

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from decimal import Decimal

    from millilot.ledger.goods import StockPosting
    from millilot.plugins.drafts import Draft
    from millilot.plugins.explain import Explain
    from millilot.plugins.returns import Outstanding


class Written:
    """Books what stands at cost.

    Args:
        shelf: the lots.
        outstanding: what is out and can come back.
        explain: the words of errors.
    """

    def __init__(self, shelf: Shelf, outstanding: Outstanding, explain: Explain) -> None:
        self._shelf = shelf
        self._outstanding = outstanding
        self._explain = explain

    def book(self, draft: Draft, stock: StockPosting) -> list[Piece]:
        """Book one stock posting at cost that brings no lot; return what it took out to be used or sold."""
        lot = self._lot(stock)
        if lot is None:
            message = self._explain.unknown(stock.cost.label or stock.commodity, stock.commodity)
            draft.fail(stock.place, LotError, message)
            return []
        if stock.account != lot.account:
            message = f"{lot.name} stands in {lot.account}, and this line is on {stock.account}."
            draft.fail(stock.place, LotError, message)
            return []
        if stock.quantity > 0:
            self._put_back(draft, stock, lot)
            return []
        return self._take_out(draft, stock, lot)

    def is_still_in(self, stock: StockPosting) -> bool:
        """Whether a posting brings back more than has left its lot so far."""
        lot = self._lot(stock) if stock.quantity > 0 else None
        return lot is not None and stock.quantity > lot.received - lot.left

    def _put_back(self, draft: Draft, stock: StockPosting, lot: Lot) -> None:
        out = lot.received - lot.left
        if stock.quantity > out:
            message = (
                f"{stock.quantity} {stock.commodity} come back to {lot.name}, but only {out} of its "
                f"{lot.received} are out."
            )
            draft.fail(stock.place, LotError, message)
            return
        piece = Piece(lot, stock.quantity, lot.cost_at(stock.cost.number))
        self._shelf.give_back(piece)
        self._outstanding.settle(draft, piece, stock)
        draft.keep_stock(stock, [piece], sign=1)

    def _take_out(self, draft: Draft, stock: StockPosting, lot: Lot) -> list[Piece]:
        quantity = -stock.quantity
        if quantity > lot.left:
            message = f"{lot.name} holds {lot.left} {lot.commodity}; this line takes {quantity} out of it."
            draft.fail(stock.place, LotError, message)
            return []
        taken = self._pieces(lot, stock, quantity)
        if taken is None:
            costs = ", ".join(str(layer.cost.number) for layer in lot.layers)
            message = (
                f"{lot.name} holds {lot.commodity} at {costs} {lot.cost.currency} each; this line takes some out "
                f"at {stock.cost.number} {stock.cost.currency}."
            )
            draft.fail(stock.place, LotError, message)
            return []
        draft.keep_stock(stock, taken, sign=-1)
        if stock.partner is None:
            lot.received -= quantity
            return []
        self._outstanding.note_written(draft, taken, stock)
        return taken

    @staticmethod
    def _pieces(lot: Lot, stock: StockPosting, quantity: Decimal) -> list[Piece] | None:
        piece = lot.take_at(stock.cost.number, quantity)
        if piece is not None:
            return [piece]
        if stock.partner is None and abs(stock.cost.number - lot.written) < goods.EXACT:
            # Back to the supplier at the price paid: the landed cost goes.
            return lot.take(quantity)
        return None

    def _lot(self, stock: StockPosting) -> Lot | None:
        if stock.cost.label is not None:
            lot = self._shelf.get(stock.cost.label)
            return lot if lot is not None and lot.commodity == stock.commodity else None
        same = [
            lot
            for lot in self._shelf.of_commodity(stock.commodity)
            if abs(lot.landed - stock.cost.number) < goods.EXACT
        ]
        dated = [lot for lot in same if lot.cost.date == stock.cost.date]
        return next(iter(dated or same), None)

    def recost(self, drafts: Iterable[Draft], *, found: bool) -> set[int]:
        """Re-cost the lots that leave at one cost and come back at another in one transaction.

        Of several of one day, one may have to wait for another, so they are tried until none is left.

        Args:
            drafts: of the day.
            found: whether to book those in which more comes back than left, as a stocktake writes them, or the
                others, as a late cost does.

        Returns:
            The stock postings that were booked so, by identity.
        """
        booked: set[int] = set()
        waiting = [
            (draft, halves)
            for draft in drafts
            for halves in goods.both_ways(draft.stock).values()
            if _finds(halves) is found
        ]
        while waiting:
            still = [(draft, halves) for draft, halves in waiting if not self._recost(draft, halves, booked)]
            if len(still) == len(waiting):
                break
            waiting = still
        for draft, halves in waiting:
            self._refuse_move(draft, halves, booked)
        return booked

    def _recost(self, draft: Draft, halves: Sequence[StockPosting], booked: set[int]) -> bool:
        lot = self._lot(halves[0])
        if lot is None:
            return False
        leaving = [stock for stock in halves if stock.quantity < 0]
        coming = [stock for stock in halves if stock.quantity > 0]
        if {stock.account for stock in leaving} != {lot.account}:
            return False
        if not all(lot.holds_at(stock.cost.number, -stock.quantity) for stock in leaving):
            return False
        accounts = {stock.account for stock in coming}
        if accounts != {lot.account}:
            # A lot stands in one account: it is moved whole.
            if len(accounts) > 1 or {_sum(coming), -_sum(leaving)} != {lot.left}:
                return False
            [lot.account] = accounts
        for stock in leaving:
            lot.take_at(stock.cost.number, -stock.quantity)
            draft.keep_stock(stock, [Piece(lot, -stock.quantity, lot.cost_at(stock.cost.number))], sign=-1)
        for stock in coming:
            cost = lot.cost_at(stock.cost.number)
            lot.put(stock.quantity, cost)
            lot.landed = cost.number
            draft.keep_stock(stock, [Piece(lot, stock.quantity, cost)], sign=1)
        lot.received += _sum(halves)
        booked.update(map(id, halves))
        return True

    def _refuse_move(self, draft: Draft, halves: Sequence[StockPosting], booked: set[int]) -> None:
        """Refuse a move of part of a lot to another account, or from one it does not stand in."""
        lot = self._lot(halves[0])
        if lot is None or len({stock.account for stock in halves}) == 1:
            return
        leaving = next(stock for stock in halves if stock.quantity < 0)
        written = " and ".join(
            f'{lot.account} -{layer.quantity} {lot.commodity} {{{layer.cost.number} {layer.cost.currency}, '
            f'{layer.cost.date}, "{lot.name}"}}'
            for layer in lot.layers
        )
        message = (
            f"{lot.name} is moved to another account whole, and at its cost. Expected: {written or 'nothing'}"
        )
        draft.fail(leaving.place, LotError, message)
        for stock in halves:
            if stock is not leaving:
                draft.leave_out(stock.place)
        booked.update(map(id, halves))


def found_in(drafts: Iterable[Draft]) -> set[int]:
    """Return the stock postings, by identity, of lots in which a transaction found more than was left."""
    return {
        id(stock)
        for draft in drafts
        for halves in goods.both_ways(draft.stock).values()
        if _finds(halves)
        for stock in halves
    }


def _finds(halves: Iterable[StockPosting]) -> bool:
    return _sum(halves) > 0


def _sum(stock: Iterable[StockPosting]) -> Decimal:
    return sum((item.quantity for item in stock), ZERO)
