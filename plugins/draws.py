"""Fourth stage: every draw takes its millilitres from a bottle, and their cost goes where they went.

The books are walked through day by day. Within a day lots come in first, then late costs are spread over what
was left, goods come back, bottles that are named give, and at last the oldest lots give. Within each step the
order is that of `millilot.plugins.order`, so the order of writing changes nothing::

    2026-02-01 * "Order 1" ^order-1
      Income:Sales                  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD

becomes::

    2026-02-01 * "Order 1" ^order-1
      Income:Sales                     -12.00 USD
        poured: 5 CEDARHOUR
      Assets:Marketplace:Lantern        12.00 USD
      Assets:Stock:CedarHour               -5 CEDARHOUR {1.296 USD, 2026-01-10, "CH-1"}
        millilot: "draw"
      Expenses:CostOfGoods:Fragrance     6.48 USD
        millilot: "draw"
"""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from itertools import groupby
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from beancount.core.data import Transaction
from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.directives import read_settings
from millilot.ledger.money import operating_currency
from millilot.plugins.asks import Ask, Way, may_return
from millilot.plugins.drafts import Draft, in_order
from millilot.plugins.landed_cost import BEFORE_INBOUND, inbound_accounts, inbound_of
from millilot.plugins.late_cost import book_late_cost
from millilot.plugins.lots import arrivals
from millilot.plugins.opening import Accounts
from millilot.plugins.problems import DrawError, LotError, ReturnError
from millilot.plugins.returns import Outstanding
from millilot.plugins.stock import Layer, Lot, Piece, Shelf

if TYPE_CHECKING:
    from collections.abc import Iterable

    from beancount.core.data import Directives
    from millilot.ledger.directives import Settings
    from millilot.ledger.goods import StockPosting
    from millilot.plugins.lots import Arrival
    from millilot.plugins.problems import Problem

ZERO = Decimal(0)

#: Where only goods and the operating currency belong: a commodity there that is no money is goods, bought or not.
_GOODS_ROLES = frozenset(
    {Role.SALES, Role.SWAPS, Role.REFUNDS, Role.SAMPLES, Role.LOSS, Role.PERSONAL_USE},
)
_MONEY_ROLES = frozenset({Role.BANK, Role.MARKETPLACE, Role.CLAIMS, Role.SALES_TAX})


def book_draws(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Take every draw from its lots, put returns back, and write down the cost of both."""
    settings, _ = read_settings(entries)
    walk = _Walk(entries, settings, operating_currency(options_map))
    accounts = Accounts(entries)
    booked: Directives = []
    errors: list[Problem] = []
    for _, day in groupby(entries, key=attrgetter("date")):
        whole_day = list(day)
        drafts = walk.book_day(whole_day)
        for entry in whole_day:
            draft = drafts.get(id(entry))
            if draft is None:
                booked.append(entry)
            else:
                booked.append(draft.finish(accounts))
                errors += draft.errors
    booked += accounts.missing
    return booked, [*errors, *accounts.errors]


def goods_codes(
    entries: Directives, settings: Settings, lots: Iterable[Arrival], currency: str | None,
) -> frozenset[str]:
    """Return the commodities that are goods: bought, declared, or standing where only goods can stand."""
    goods_known = settings.declared_goods | {arrival.stock.commodity for arrival in lots}
    # Nearly every posting is in one of these; what is left is looked at closely.
    usual = goods_known | {currency}
    strange: dict[str, set[str]] = defaultdict(set)
    for entry in entries:
        if isinstance(entry, Transaction):
            for posting in entry.postings:
                units = posting.units
                if units is not None and units.currency not in usual:
                    strange[str(units.currency)].add(posting.account)
    if not strange:
        return goods_known
    money = _currencies_of_prices(entries)
    stray = set()
    for code, accounts in strange.items():
        roles = {role for account in accounts for role in settings.roles.ever(account)}
        if code not in money and roles & _GOODS_ROLES and not roles & _MONEY_ROLES:
            stray.add(code)
    return goods_known | stray


def _currencies_of_prices(entries: Directives) -> set[str | None]:
    amounts = [
        amount
        for entry in entries
        if isinstance(entry, Transaction)
        for posting in entry.postings
        for amount in (posting.price, posting.cost)
    ]
    return {amount.currency for amount in amounts if amount is not None}


class _Walk:
    """The state of the books on the day that is being booked."""

    def __init__(
        self, entries: Directives, settings: Settings, currency: str | None
    ) -> None:
        found = arrivals(entries, settings.roles)
        codes = goods_codes(entries, settings, found, currency)
        self.settings = settings
        self.currency = currency
        self.cost_roles = {
            code: Role.COST_OF_GOODS if settings.commodities[code].is_fragrance else Role.SUPPLIES_USED
            for code in codes
        }
        self.shelf = Shelf()
        self.outstanding = Outstanding()
        self.coming: dict[str, Arrival] = {}
        self.arriving: dict[int, list[Arrival]] = defaultdict(list)
        for arrival in sorted(found, key=lambda arrival: (arrival.entry.date, arrival.rank)):
            # A later positive posting of a lot already known is something that comes back to it.
            if self.coming.setdefault(arrival.stock.cost.label or "", arrival) is arrival:
                self.arriving[id(arrival.entry)].append(arrival)
        self.codes = codes
        self.inbound = inbound_accounts(entries, settings.roles)
        for entry in entries:
            if isinstance(entry, Transaction):
                for posting in entry.postings:
                    if posting.units is not None and posting.units.currency in codes and may_return(posting):
                        self.outstanding.watch(entry)

    def book_day(self, entries: Directives) -> dict[int, Draft]:
        """Book the entries of one day, one step after the other; return the drafts by identity of the entry."""
        roles = self.settings.roles.on(entries[0].date)
        found = [
            Draft(entry, roles, self.codes)
            for entry in entries
            if isinstance(entry, Transaction) and self._concerns(entry)
        ]
        if not found:
            return {}
        drafts = in_order(found)
        for draft in drafts:
            for arrival in self.arriving.get(id(draft.entry), ()):
                self.shelf.add(self._lot(arrival))
        for draft in drafts:
            self._spread_late_cost(draft)
        self._book_written_pairs(drafts, coming=True)
        self._book_asks(drafts)
        return {id(draft.entry): draft for draft in drafts}

    def _concerns(self, entry: Transaction) -> bool:
        """Whether a transaction moves goods or inbound costs, and is whole."""
        for posting in entry.postings:
            units = posting.units
            if posting.account in self.inbound or (units is not None and units.currency in self.codes):
                return goods.is_booked(entry)
        return False

    def _book_asks(self, drafts: list[Draft]) -> None:
        asks = [(draft, ask) for draft in drafts for ask in draft.asks]
        waiting = [
            (draft, ask) for draft, ask in asks if ask.way.is_return and not self._book_return(draft, ask)
        ]
        self._book_written_pairs(drafts, coming=False)
        # A bottle that is named is taken before the oldest may be, whoever asks.
        for named in (True, False):
            for draft, ask in asks:
                if not ask.way.is_return and (ask.bottle is not None) is named:
                    self._book_draw(draft, ask)
        # What was sold today can come back today.
        for draft, ask in waiting:
            if not self._book_return(draft, ask):
                draft.fail(ask.place, ReturnError, self._no_such_sale(draft, ask))

    def _lot(self, arrival: Arrival) -> Lot:
        stock = arrival.stock
        before = stock.meta.get(BEFORE_INBOUND)
        return Lot(
            name=stock.cost.label or "",
            commodity=stock.commodity,
            account=stock.account,
            cost=stock.cost,
            rank=arrival.rank,
            entry=arrival.entry,
            received=stock.quantity,
            written=before.number if before is not None else stock.cost.number,
            landed=stock.cost.number,
            countable=self.currency is None or stock.cost.currency == self.currency,
            left=stock.quantity,
            layers=[Layer(stock.quantity, stock.cost)],
        )

    def _spread_late_cost(self, draft: Draft) -> None:
        if self.arriving.get(id(draft.entry)):
            return
        inbound = inbound_of(draft.entry, draft.roles) if not draft.asks else None
        if inbound is not None:
            book_late_cost(draft, inbound, self.shelf, self.cost_roles)

    # -- what the owner, or an earlier run, already wrote with its cost

    def _book_written_pairs(self, drafts: list[Draft], *, coming: bool) -> None:
        for draft in drafts:
            if not draft.stock:
                continue
            own = {arrival.stock.place for arrival in self.arriving.get(id(draft.entry), ())}
            for stock in draft.stock:
                written = stock.place not in own and stock.meta.get(goods.MARK) != goods.RECOST
                if written and (stock.quantity > 0) is coming:
                    self._book_written(draft, stock)

    def _book_written(self, draft: Draft, stock: StockPosting) -> None:
        lot = self._written_lot(stock)
        if lot is None:
            draft.fail(stock.place, LotError, self._unknown(stock.cost.label or stock.commodity, stock.commodity))
            return
        if stock.quantity > 0:
            if stock.quantity > lot.received - lot.left:
                message = (
                    f"{stock.quantity} {stock.commodity} come back to {lot.name}, but only "
                    f"{lot.received - lot.left} of its {lot.received} are out."
                )
                draft.fail(stock.place, LotError, message)
                return
            piece = Piece(lot, stock.quantity, lot.cost._replace(number=stock.cost.number))
            self.shelf.give_back(piece)
            self.outstanding.settle(draft, piece, stock)
            draft.keep_stock(stock, [piece], sign=1)
            return
        quantity = -stock.quantity
        if quantity > lot.left:
            message = f"{lot.name} holds {lot.left} {lot.commodity}; this line takes {quantity} out of it."
            draft.fail(stock.place, LotError, message)
            return
        taken = self._take_written(lot, stock, quantity)
        if taken is None:
            costs = ", ".join(str(layer.cost.number) for layer in lot.layers)
            message = (
                f"{lot.name} holds {lot.commodity} at {costs} {lot.cost.currency} each; this line takes some out "
                f"at {stock.cost.number} {stock.cost.currency}."
            )
            draft.fail(stock.place, LotError, message)
            return
        if stock.partner is None:
            lot.received -= quantity
        else:
            self.outstanding.note_written(draft, taken, stock)
        draft.keep_stock(stock, taken, sign=-1)

    def _take_written(self, lot: Lot, stock: StockPosting, quantity: Decimal) -> list[Piece] | None:
        piece = lot.take_at(stock.cost.number, quantity, goods.EXACT)
        if piece is not None:
            return [piece]
        if stock.partner is None and abs(stock.cost.number - lot.written) < goods.EXACT:
            # Back to the supplier at the price paid: the landed cost goes.
            return lot.take(quantity)
        return None

    def _written_lot(self, stock: StockPosting) -> Lot | None:
        lot = self.shelf.get(stock.cost.label)
        if lot is not None:
            return lot if lot.commodity == stock.commodity else None
        if stock.cost.label is not None:
            return None
        same = [
            lot
            for lot in self.shelf.of_commodity(stock.commodity)
            if abs(lot.landed - stock.cost.number) < goods.EXACT
        ]
        dated = [lot for lot in same if lot.cost.date == stock.cost.date]
        return next(iter(dated or same), None)

    # -- draws

    def _book_draw(self, draft: Draft, ask: Ask) -> None:
        wanted = ask.quantity if ask.loss is None else ask.quantity + ask.loss
        lots = self._lots_for(draft, ask, wanted)
        if lots is None:
            return
        if wanted > sum((lot.left for lot in lots), ZERO):
            draft.fail(ask.place, DrawError, self._overdrawn(draft, ask, wanted, lots))
            return
        pieces = _take(lots, ask.quantity)
        if ask.loss is not None:
            lost = _take(lots, ask.loss)
        elif (loss := self._default_loss(draft, ask)):
            # The default takes at most what is left in the bottles poured from, the last one first.
            used = list(dict.fromkeys(piece.lot for piece in reversed(pieces)))
            lost = _take(used, min(loss, sum((lot.left for lot in used), ZERO)))
        else:
            lost = []
        for piece in pieces:
            if not piece.lot.countable:
                draft.leave_out(ask.place)
                return
        draft.serve(ask, pieces, lost, self.cost_roles[ask.commodity])
        self.outstanding.note_draw(draft, ask, pieces)

    def _default_loss(self, draft: Draft, ask: Ask) -> Decimal:
        if not (self.settings.pour_losses and ask.vials and self.settings.commodities[ask.commodity].is_fragrance):
            return ZERO
        return self.settings.pour_loss(draft.entry.date) * ask.vials

    def _lots_for(self, draft: Draft, ask: Ask, wanted: Decimal) -> list[Lot] | None:
        """Return the lots a draw may take from, in order; None when it names one that cannot serve it."""
        if ask.bottle is None:
            return self.shelf.serving(ask.commodity, wanted, draft.entry)
        lot = self.shelf.get(ask.bottle)
        if lot is not None and lot.entry is not draft.entry and lot.commodity == ask.commodity:
            return [lot]
        draft.fail(ask.place, DrawError, self._unknown(ask.bottle, ask.commodity))
        return None

    # -- returns

    def _book_return(self, draft: Draft, ask: Ask) -> bool:
        pieces = self.outstanding.take_back(draft, ask)
        if pieces is None:
            return False
        for piece in pieces:
            self.shelf.give_back(piece)
        draft.serve(ask, pieces, [], self.cost_roles[ask.commodity])
        return True

    # -- words

    def _unknown(self, name: str, commodity: str) -> str:
        """Say why a name serves no draw of a commodity, and which bottles would."""
        lot = self.shelf.get(name)
        coming = self.coming.get(name)
        if lot is not None and lot.commodity != commodity:
            reason = f"{name} holds {lot.commodity}, not {commodity}."
        elif lot is not None:
            reason = f"{name} comes in with this very transaction, so nothing can be drawn from it here."
        elif coming is not None:
            reason = f"{name} was bought on {coming.entry.date}, after this day."
        else:
            reason = f'There is no bottle "{name}" of {commodity}.'
        return f"{reason} {self._what_is_left(commodity)}"

    def _what_is_left(self, commodity: str) -> str:
        lots = [lot for lot in self.shelf.of_commodity(commodity) if lot.layers]
        if lots:
            return f"Left of {commodity}: {_list_lots(lots)}."
        first = min((a.entry.date for a in self.coming.values() if a.stock.commodity == commodity), default=None)
        if first is None:
            return f"{commodity} was never bought."
        if not self.shelf.of_commodity(commodity):
            return f"{commodity} was first bought on {first}, after this day."
        return f"Nothing is left of {commodity}."

    def _overdrawn(self, draft: Draft, ask: Ask, wanted: Decimal, lots: list[Lot]) -> str:
        held = sum((lot.left for lot in lots), ZERO)
        loss = f" ({ask.quantity} and {ask.loss} lost in the pour)" if ask.loss else ""
        what = ask.bottle or ask.commodity
        message = f"{what} has {held} left on {draft.entry.date}; this line asks for {wanted}{loss}."
        if ask.bottle is None:
            return f"{message} {self._what_is_left(ask.commodity)}"
        return message

    def _no_such_sale(self, draft: Draft, ask: Ask) -> str:
        links = " ".join(f"^{link}" for link in sorted(self.outstanding.links_of(draft.entry)))
        out = self.outstanding.still_out(draft, ask)
        written = f"{ask.quantity} {ask.commodity}"
        if not links:
            found = "This transaction has no link, so there is no sale it could belong to."
        elif out:
            found = f"Of {links}, {out} {ask.commodity} are still out; this line brings back {ask.quantity}."
        else:
            found = f"No {ask.commodity} went out under {links} that could come back."
        if ask.way is Way.SOLD_BACK:
            return f"{found} Goods sold are written with a minus: -{written}."
        return f"{found} Goods used are written with a plus: {written}."


def _take(lots: Iterable[Lot], quantity: Decimal) -> list[Piece]:
    """Take a quantity that is there from lots in turn."""
    pieces: list[Piece] = []
    for lot in lots:
        taken = min(quantity, lot.left)
        pieces += lot.take(taken)
        quantity -= taken
        if not quantity:
            break
    return pieces


def _list_lots(lots: list[Lot], most: int = 5) -> str:
    named = ", ".join(f"{lot.name} {lot.left}" for lot in lots[:most])
    return named if len(lots) <= most else f"{named} and {len(lots) - most} more"
