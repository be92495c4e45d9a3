"""A transaction while its draws are being booked, and how it is written down in the end.

What the owner wrote stays, in its order, and comes first; pairs for the lots follow in the order of the lines.
A line that fails keeps its money and leaves its goods out, so that Beancount has nothing to add.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.amount import Amount
from beancount.core.data import Posting
from beancount.core.interpolate import AUTOMATIC_META, compute_residual
from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.money import minor_unit, snap, weight
from millilot.plugins.asks import Ask, Way, read_asks
from millilot.plugins.landed_cost import generated_meta
from millilot.plugins.problems import DrawError

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator

    from beancount.core.data import Transaction
    from millilot.ledger.accounts import RoleMap
    from millilot.ledger.goods import StockPosting
    from millilot.plugins.opening import Accounts
    from millilot.plugins.problems import Problem
    from millilot.plugins.stock import Piece

ZERO = Decimal(0)


class _Served(NamedTuple):
    """A line that was served: the pieces, what was lost in the pour, and where the cost goes."""

    ask: Ask
    pieces: list[Piece]
    lost: list[Piece]
    account: str


class Draft:
    """A transaction in goods while it is booked.

    Attributes:
        entry: the transaction as it came.
        roles: the roles of accounts on its day.
        asks: its draws and returns that are written well.
        stock: its stock postings at cost.
        errors: what was found wrong.
    """

    def __init__(self, entry: Transaction, roles: RoleMap, codes: Collection[str]) -> None:
        self.entry = entry
        self.roles = roles
        asked = read_asks(entry, roles, codes)
        self.asks = asked.asks
        self.stock = list(goods.stock_postings(entry.postings, roles))
        self.errors: list[Problem] = []
        self._mirrors = set(asked.mirrors)
        self._failed: list[int] = []
        self._served: dict[int, _Served] = {}
        self._kept_stock: dict[int, list[Posting]] = {}
        self._generated: list[Posting] = []
        for place, message in asked.refused:
            self.fail(place, DrawError, message)

    # -- what the walk tells it

    def fail(self, place: int, problem: type[Problem], message: str) -> None:
        """Refuse a line: its money stays, its goods are left out."""
        self.report(self.entry.postings[place].meta, problem, message)
        self.leave_out(place)

    def report(self, meta: dict[str, Any] | None, problem: type[Problem], message: str) -> None:
        """Report something wrong with the transaction."""
        self.errors.append(problem(dict(meta or self.entry.meta), message, self.entry))

    def leave_out(self, place: int) -> None:
        """Leave the goods of a line out without a word, because its lot was refused already."""
        self._failed.append(place)

    def serve(self, ask: Ask, pieces: list[Piece], lost: list[Piece], role: Role) -> None:
        """Book a draw: the pieces it got, and what was lost in the pour.

        Args:
            ask: the line.
            pieces: where its goods came from.
            lost: what was lost in the pour, from the same lots.
            role: where the cost of goods sold of this commodity belongs.
        """
        account = self.roles.account(role) if ask.way.is_priced else ask.account
        self._served[ask.place] = _Served(ask, pieces, lost, account)

    def keep_stock(self, stock: StockPosting, pieces: list[Piece], sign: int) -> None:
        """Keep a stock posting that already stands at cost, at the cost and date of its lot."""
        posting = self.entry.postings[stock.place]
        kept = [
            posting._replace(
                units=Amount(sign * piece.quantity, stock.commodity), cost=piece.lot.cost(piece.cost),
            )
            for piece in pieces
        ]
        if kept == [posting]:
            return
        self._kept_stock[stock.place] = kept
        if stock.partner is None:
            # Sent back at the price paid: the inbound the supplier does not refund is lost.
            lost = stock.value - sum((weight(new).number for new in kept), ZERO)
            if lost:
                account = self.roles.account(Role.OTHER_COSTS)
                meta = generated_meta(dict(stock.meta), goods.INBOUND)
                amount = Amount(snap(lost, stock.cost.currency), stock.cost.currency)
                self._generated.append(Posting(account, amount, None, None, None, meta))

    def generate(self, postings: Iterable[Posting]) -> None:
        """Add postings of a stage at the end."""
        self._generated.extend(postings)

    # -- the transaction in the end

    def finish(self, accounts: Accounts) -> Transaction:
        """Write the transaction down, and tell `accounts` which accounts it needs."""
        if not (self._mirrors or self._failed or self._served or self._kept_stock or self._generated):
            return self.entry
        written = dict(self._written())
        pairs = [posting for served in self._served.values() for posting in self._pairs(served)]
        generated = [*pairs, *self._generated]
        if self._failed:
            self._balance(written, generated)
        postings = [*written.values(), *generated]
        for posting in postings:
            accounts.need(posting, self.entry)
        return self.entry._replace(postings=postings)

    def _written(self) -> Iterator[tuple[int | tuple[int, int], Posting]]:
        """Yield what stays of the postings as the owner wrote them, by place."""
        failed = set(self._failed)
        left_out = set(self._mirrors)
        for stock in self.stock:
            if stock.place in failed and stock.partner is not None:
                left_out |= {stock.place, stock.place + 1}
        for place, posting in enumerate(self.entry.postings):
            if place in left_out:
                continue
            served = self._served.get(place)
            if served is not None:
                if served.ask.way.is_priced:
                    yield place, self._price_of(posting, served)
            elif place in self._kept_stock:
                for number, kept in enumerate(self._kept_stock[place]):
                    yield (place, number), kept
            elif place in failed and not self._is_stock_at_cost(posting):
                if posting.price is not None or posting.cost is not None:
                    yield place, _in_money(posting)
            elif posting.meta and AUTOMATIC_META in posting.meta and posting.cost is None:
                # Booking worked this amount out from a 28-digit price.
                yield place, _in_money(posting)
            else:
                yield place, posting

    def _is_stock_at_cost(self, posting: Posting) -> bool:
        return posting.cost is not None and self.roles.role(posting.account) is Role.STOCK

    def _price_of(self, posting: Posting, served: _Served) -> Posting:
        ask = served.ask
        account = posting.account
        if ask.way is Way.SOLD_BACK and self.roles.role(account) is not Role.REFUNDS:
            account = self.roles.account(Role.REFUNDS)
        quantity = ask.quantity if ask.way is Way.SOLD else -ask.quantity
        meta = {**ask.meta, goods.POURED: Amount(quantity, ask.commodity)}
        return _in_money(posting)._replace(account=account, meta=meta)

    def _pairs(self, served: _Served) -> Iterator[Posting]:
        ask = served.ask
        sign = 1 if ask.way.is_return else -1
        for number, piece in enumerate(served.pieces):
            cost_meta = generated_meta(ask.meta, goods.DRAW)
            if not ask.way.is_priced:
                if number == 0:
                    cost_meta = dict(ask.meta)
                cost_meta[goods.POURED] = Amount(-sign * piece.quantity, ask.commodity)
            yield from _pair(piece, sign, served.account, generated_meta(ask.meta, goods.DRAW), cost_meta)
        account = self.roles.account(Role.COST_OF_GOODS)
        for piece in served.lost:
            metas = (generated_meta(ask.meta, goods.POUR_LOSS) for _ in range(2))
            yield from _pair(piece, -1, account, *metas)

    def _balance(self, written: dict[int | tuple[int, int], Posting], generated: list[Posting]) -> None:
        """Book whatever a failed line leaves open on its account, so that one slip gives one message."""
        place = self._failed[0]
        line = self.entry.postings[place]
        for position in compute_residual([*written.values(), *generated]):  # type: ignore[no-untyped-call]
            number, currency = position.units
            if abs(number) < minor_unit(currency):
                continue
            if place in written and weight(written[place]).currency == currency:
                number -= weight(written[place]).number
            written[place] = Posting(
                line.account, Amount(-number, currency), None, None, line.flag, line.meta,
            )


def _in_money(posting: Posting) -> Posting:
    """Return a posting as the money it stands for."""
    number, currency = weight(posting)
    return posting._replace(units=Amount(snap(number, currency), currency), cost=None, price=None)


def _pair(
    piece: Piece, sign: int, account: str, stock_meta: dict[str, Any], cost_meta: dict[str, Any],
) -> Iterator[Posting]:
    """Yield the stock posting of a piece and the posting of its cost.

    The cost is quantity times cost per unit in the default context, as Beancount weighs the stock posting, so
    the two cancel to the last digit.
    """
    lot = piece.lot
    quantity = sign * piece.quantity
    yield Posting(
        lot.account, Amount(quantity, lot.commodity), lot.cost(piece.cost), None, None, stock_meta,
    )
    yield Posting(account, Amount(-(quantity * piece.cost), lot.currency), None, None, None, cost_meta)
