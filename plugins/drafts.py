"""A transaction while its draws are being booked, and how it is written down in the end.

What the owner wrote stays, in its order, and comes first; pairs for the lots follow in the order of the lines.
A line that fails keeps its money and leaves its goods out, so that Beancount has nothing to add.
"""

from __future__ import annotations

from collections import Counter
from functools import lru_cache
from itertools import chain
from typing import TYPE_CHECKING, Any, TypeAlias, cast

from beancount.core.amount import Amount
from beancount.core.data import Posting, Transaction
from beancount.core.interpolate import AUTOMATIC_META, compute_residual
from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.money import minor_unit, snap, weight
from millilot.plugins.asks import Ask, Way, read_asks
from millilot.plugins.landed_cost import generated_meta
from millilot.plugins.order import in_order
from millilot.plugins.problems import DrawError

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable
    from decimal import Decimal

    from millilot.ledger.accounts import RoleMap
    from millilot.ledger.goods import StockPosting
    from millilot.plugins.opening import Accounts
    from millilot.plugins.problems import Problem
    from millilot.plugins.stock import Piece


#: A line that was served: the ask, its pieces, what was lost in the pour, and where the cost goes. A plain tuple,
#: as one is made for every sale.
_Served: TypeAlias = "tuple[Ask, list[Piece], list[Piece], str]"


class Draft:
    """A transaction in goods while it is booked.

    Attributes:
        entry: the transaction as it came.
        roles: the roles of accounts on its day.
        asks: its draws and returns that are written well.
        stock: its stock postings at cost.
        errors: what was found wrong.
    """

    __slots__ = (
        "_accounts",
        "_failed",
        "_generated",
        "_kept_stock",
        "_mirrors",
        "_served",
        "asks",
        "entry",
        "errors",
        "roles",
        "stock",
    )

    def __init__(
        self, entry: Transaction, roles: RoleMap, codes: Collection[str], currency: str | None, accounts: Accounts,
    ) -> None:
        self._accounts = accounts
        self.entry = entry
        self.roles = roles
        self.errors: list[Problem] = []
        self._failed: list[int] = []
        self._served: dict[int, _Served] = {}
        self._kept_stock: dict[int, list[Posting]] = {}
        self._generated: list[Posting] = []
        self.asks, refused, self._mirrors, at_cost = read_asks(entry, roles, codes, currency)
        self.stock = list(goods.stock_postings(entry.postings, roles)) if at_cost else []
        for place, message in refused:
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

    @property
    def sold(self) -> list[Ask]:
        """The lines sold or swapped away that were served, in their order."""
        return [ask for ask in self.asks if ask.way is Way.SOLD and ask.place in self._served]

    def serve(self, ask: Ask, pieces: list[Piece], lost: list[Piece], role: Role) -> None:
        """Book a draw: the pieces it got, and what was lost in the pour.

        Args:
            ask: the line.
            pieces: where its goods came from.
            lost: what was lost in the pour, from the same lots.
            role: where the cost of goods sold of this commodity belongs.
        """
        currency = pieces[0].cost.currency
        account = self.account(role, currency, ask.meta) if ask.way.is_priced else ask.account
        if lost:
            self.account(Role.COST_OF_GOODS, currency, ask.meta)
        self._served[ask.place] = ask, pieces, lost, account

    def keep_stock(self, stock: StockPosting, pieces: list[Piece], sign: int) -> None:
        """Keep a stock posting that already stands at cost, at the cost and date of its lot."""
        posting = self.entry.postings[stock.place]
        kept = [
            posting._replace(units=Amount(sign * piece.quantity, stock.commodity), cost=piece.cost)
            for piece in pieces
        ]
        if kept == [posting]:
            return
        self._kept_stock[stock.place] = kept
        if stock.partner is None:
            # Sent back at the price paid: the inbound the supplier does not refund is lost.
            lost = stock.value - sum((weight(new).number for new in kept), ZERO)
            if lost:
                account = self.account(Role.OTHER_COSTS, stock.cost.currency, dict(stock.meta))
                meta = generated_meta(dict(stock.meta), goods.INBOUND)
                amount = Amount(snap(lost, stock.cost.currency), stock.cost.currency)
                self._generated.append(Posting(account, amount, None, None, None, meta))

    def account(self, role: Role, currency: str, meta: dict[str, Any]) -> str:
        """Return the account of a role for a posting of ours, and say that it must be open."""
        account = self.roles.account(role)
        self._accounts.need(account, currency, self.entry.date, meta, self.entry)
        return account

    def generate(self, postings: Iterable[Posting]) -> None:
        """Add postings of a stage at the end."""
        self._generated.extend(postings)

    # -- the transaction in the end

    def finish(self) -> Transaction:
        """Write the transaction down."""
        if not (self._mirrors or self._failed or self._served or self._kept_stock or self._generated):
            return self.entry
        written = self._written()
        generated: list[Posting] = []
        # By place: named bottles were served first, and readers go by the order of the lines.
        for place in self._served if len(self._served) < 2 else sorted(self._served):
            generated += self._pairs(self._served[place])
        generated += self._generated
        if self._failed and goods.is_booked(self.entry):
            self._balance(written, generated)
        if self._kept_stock:
            # A stock posting may turn out to stand for several layers of its lot.
            kept = chain.from_iterable(self._kept_stock.get(place, [written[place]]) for place in written)
            postings = [*kept, *generated]
        else:
            postings = [*written.values(), *generated]
        # All fields but the last, which is the postings; `_replace` takes several times as long.
        return Transaction(*self.entry[:-1], postings)

    def _written(self) -> dict[int, Posting]:
        """Return what stays of the postings as the owner wrote them, by place."""
        written = dict(enumerate(self.entry.postings))
        for place, posting in written.items():
            if posting.meta and AUTOMATIC_META in posting.meta and posting.price is None and posting.cost is None:
                # Booking worked this amount out from a 28-digit price.
                written[place] = _in_money(posting)
        for place in self._mirrors:
            del written[place]
        for place, (ask, *_) in self._served.items():
            if ask.way.is_priced:
                written[place] = self._price_of(ask)
            else:
                del written[place]
        if self._failed:
            self._leave_out_failed(written)
        return written

    def _leave_out_failed(self, written: dict[int, Posting]) -> None:
        """Take the goods of failed lines out, and leave their money."""
        pairs = {stock.place for stock in self.stock if stock.partner is not None}
        for place in self._failed:
            posting = self.entry.postings[place]
            if place in pairs:
                del written[place], written[place + 1]
            elif posting.price is None and posting.cost is None:
                del written[place]
            else:
                money = _in_money(posting)
                currency = weight(money).currency
                account = self._account_of_money(posting, currency)
                written[place] = money._replace(account=account, meta=_refused(posting.meta))

    def _price_of(self, ask: Ask) -> Posting:
        """Return a priced line as the money it stands for, with what was poured for it."""
        posting = self.entry.postings[ask.place]
        price, currency = cast("tuple[Decimal, str]", posting.price)
        number = cast("Decimal", ask.units.number) * price
        account = posting.account
        quantity = ask.quantity
        if ask.way is Way.SOLD_BACK:
            quantity = -quantity
            if self.roles.role(account) is not Role.REFUNDS:
                account = self.account(Role.REFUNDS, currency, ask.meta)
        meta = {**ask.meta, goods.POURED: Amount(quantity, ask.commodity)}
        return Posting(account, _money(number, currency), None, None, posting.flag, meta)

    def _pairs(self, served: _Served) -> list[Posting]:
        ask, pieces, lost, account = served
        # One dictionary for all pairs of a line, as booking does for a line it splits.
        meta = generated_meta(ask.meta, goods.DRAW)
        pairs: list[Posting] = []
        for piece in pieces:
            if ask.way.is_priced and len(pieces) == 1:
                # What the line says is what moves; sharing the amount keeps large books small.
                units = ask.units
            else:
                units = Amount(piece.quantity if ask.way.is_return else -piece.quantity, ask.commodity)
            stock, cost = pair(piece, units, account, meta)
            if not ask.way.is_priced:
                # The first cost posting is the line the owner wrote.
                origin = meta if pairs else ask.meta
                cost = cost._replace(meta={**origin, goods.POURED: -units})
            pairs += stock, cost
        if lost:
            meta = generated_meta(ask.meta, goods.POUR_LOSS)
            account = self.roles.account(Role.COST_OF_GOODS)
            for piece in lost:
                pairs += pair(piece, Amount(-piece.quantity, ask.commodity), account, meta)
        return pairs

    def _balance(self, written: dict[int, Posting], generated: list[Posting]) -> None:
        """Book whatever a failed line leaves open on its account, so that one slip gives one message."""
        place = self._failed[0]
        line = self.entry.postings[place]
        for position in compute_residual([*written.values(), *generated]):  # type: ignore[no-untyped-call]
            number, currency = position.units
            if abs(number) < minor_unit(currency):
                continue
            if place in written and weight(written[place]).currency == currency:
                number -= weight(written[place]).number
            account = self._account_of_money(line, currency)
            amount = Amount(-number, currency)
            written[place] = Posting(account, amount, None, None, line.flag, _refused(line.meta))

    def _account_of_money(self, failed: Posting, currency: str) -> str:
        """Return where the money of a failed line stands: where it was written, but on no stock account."""
        if self.roles.role(failed.account) is Role.STOCK or goods.is_in_stock(failed, self.roles):
            return self.account(Role.INBOUND, currency, failed.meta or self.entry.meta)
        return failed.account


@lru_cache(maxsize=1000)
def _money(number: Decimal, currency: str) -> Amount:
    """Return an amount without the noise of a 28-digit price; vials have few prices, and share theirs."""
    return Amount(snap(number, currency), currency)


def _refused(meta: dict[str, Any] | None) -> dict[str, Any]:
    """Return the metadata of a refused line, marked so that its money is given to no bottle."""
    return {**(meta or {}), goods.MARK: goods.REFUSED}


def _in_money(posting: Posting) -> Posting:
    """Return a posting as the money it stands for."""
    return posting._replace(units=_money(*weight(posting)), cost=None, price=None)


def pair(piece: Piece, units: Amount, account: str, meta: dict[str, Any]) -> tuple[Posting, Posting]:
    """Return the stock posting of a piece and the posting of its cost.

    The cost is quantity times cost per unit in the default context, as Beancount weighs the stock posting, so
    the two cancel to the last digit.

    Args:
        piece: what moves.
        units: its quantity, negative when it leaves.
        account: where the cost goes.
        meta: of both postings.
    """
    lot, _, cost = piece
    number: Decimal = units.number  # type: ignore[assignment]  # it is there, the walk has worked it out
    return (
        Posting(lot.account, units, cost, None, None, meta),
        Posting(account, Amount(-(number * cost.number), cost.currency), None, None, None, meta),
    )


def rivals_in_order(drafts: list[Draft]) -> list[Draft]:
    """Return the drafts of one day in the order of their contents.

    Only drafts that ask for the same commodity can be in each other's way; the others are spared the comparison.
    """
    asked = [ask.commodity for draft in drafts for ask in draft.asks]
    if len(asked) == len(set(asked)):
        return drafts
    asking = Counter(asked)
    alone: list[Draft] = []
    rivals: list[Draft] = []
    for draft in drafts:
        for ask in draft.asks:
            if asking[ask.commodity] > 1:
                rivals.append(draft)
                break
        else:
            alone.append(draft)
    return in_order(rivals, lambda draft: draft.entry) + alone
