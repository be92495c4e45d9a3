"""A stage: every draw takes its millilitres from a bottle, and their cost goes where they went.

The books are walked through day by day. A day begins with what was counted that morning; then lots come in, late
costs are spread over what was left, goods come back, bottles that are named give, then the oldest lots give, and
when all is served, kits take the supplies of what was sold. Within each step the order is that of
`millilot.plugins.order`, so the order of writing changes nothing::

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
from beancount.core.number import ZERO

from millilot.ledger.directives import read_settings
from millilot.ledger.money import operating_currency
from millilot.plugins.asks import Ask, may_return
from millilot.plugins.commodities import cost_roles, goods_codes
from millilot.plugins.drafts import Draft, rivals_in_order
from millilot.plugins.explain import Explain
from millilot.plugins.landed_cost import inbound_accounts, inbound_of
from millilot.plugins.late_cost import book_late_cost
from millilot.plugins.lots import arrivals
from millilot.plugins.opening import Accounts
from millilot.plugins.order import content_key
from millilot.plugins.problems import DrawError, ReturnError
from millilot.plugins.returns import Outstanding
from millilot.plugins.stock import Lot, Piece, Shelf, take
from millilot.plugins.stocktake import Stocktakes
from millilot.plugins.supplies import Supplies
from millilot.plugins.written import Written, found_in

if TYPE_CHECKING:
    from beancount.core.data import Directives

    from millilot.ledger.directives import Settings
    from millilot.ledger.goods import StockPosting
    from millilot.plugins.lots import Arrival
    from millilot.plugins.problems import Problem


def book_draws(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Take every draw from its lots, put returns back, and write down the cost of both."""
    settings, _ = read_settings(entries)
    accounts = Accounts(entries, options_map)
    walk = _Walk(entries, settings, options_map, accounts)
    booked: Directives = []
    errors: list[Problem] = []
    for day, of_day in groupby(entries, key=attrgetter("date")):
        whole_day = list(of_day)
        counted, refused = walk.stocktakes.book(day)
        booked += counted
        errors += refused
        drafts = walk.book_day(whole_day)
        for entry in whole_day:
            draft = drafts.get(id(entry))
            if draft is None:
                booked.append(entry)
            else:
                booked.append(draft.finish())
                errors += draft.errors
    booked += accounts.missing
    return booked, [*errors, *accounts.errors]


class _Walk:
    """The state of the books on the day that is being booked."""

    def __init__(
        self, entries: Directives, settings: Settings, options_map: dict[str, Any], accounts: Accounts,
    ) -> None:
        found = arrivals(entries, settings.roles)
        self.settings = settings
        self.currency = operating_currency(options_map)
        self.accounts = accounts
        self.codes = goods_codes(entries, settings, found, self.currency)
        self.cost_roles = cost_roles(self.codes, settings)
        self.may_lose = bool(settings.pour_losses)
        self.inbound = inbound_accounts(entries, settings.roles, options_map)
        self.coming: dict[str, Arrival] = {}
        self.arriving: dict[int, list[Arrival]] = defaultdict(list)
        for arrival in sorted(found, key=lambda arrival: (arrival.entry.date, arrival.rank)):
            # A later positive posting of a lot already known is something that comes back to it.
            if self.coming.setdefault(arrival.stock.cost.label or "", arrival) is arrival:
                self.arriving[id(arrival.entry)].append(arrival)
        self.shelf = Shelf()
        self.explain = Explain(self.shelf, self.coming)
        self.outstanding = Outstanding()
        self.written = Written(self.shelf, self.outstanding, self.explain)
        self.stocktakes = Stocktakes(settings, self.shelf, self.explain, accounts)
        self.supplies = Supplies(entries, settings, self.shelf, self.explain, self.stocktakes)
        self.concerned: set[int] = set()
        # Before any is booked: what may bring goods back has to be known by then.
        for entry in entries:
            if isinstance(entry, Transaction):
                self._look_at(entry)

    def book_day(self, entries: Directives) -> dict[int, Draft]:
        """Book the entries of one day, one step after the other; return the drafts by identity of the entry."""
        roles = self.settings.roles.on(entries[0].date)
        found = [
            Draft(entry, roles, self.codes, self.currency, self.accounts)
            for entry in entries
            if isinstance(entry, Transaction) and id(entry) in self.concerned
        ]
        drafts = rivals_in_order(found)
        for draft in drafts:
            for arrival in self.arriving.get(id(draft.entry), ()):
                self.shelf.add(Lot.from_arrival(arrival, self.currency))
        at_cost = [draft for draft in drafts if draft.stock]
        recosted = self.written.recost(at_cost, found=False) if at_cost else set()
        self._spread_late_costs(drafts)
        if at_cost:
            self._book_written(at_cost, recosted)
        self._book_asks(drafts)
        self.supplies.book(entries[0].date, drafts)
        return {id(draft.entry): draft for draft in drafts}

    def _look_at(self, entry: Transaction) -> None:
        """Note whether a transaction moves goods or inbound costs, and whether it may bring goods back.

        One whose numbers booking has not filled in concerns nobody here.
        """
        concerns = may_bring_back = False
        for posting in entry.postings:
            units = posting.units
            if units is None or not isinstance(units.number, Decimal):
                return
            if units.currency in self.codes:
                concerns = True
                may_bring_back = may_bring_back or may_return(posting)
            elif posting.account in self.inbound:
                concerns = True
        if concerns:
            self.concerned.add(id(entry))
        if may_bring_back:
            self.outstanding.watch(entry)

    def _spread_late_costs(self, drafts: list[Draft]) -> None:
        if not self.inbound:
            return
        late = [
            (draft, inbound)
            for draft in drafts
            if any(posting.account in self.inbound for posting in draft.entry.postings)
            and not self.arriving.get(id(draft.entry))
            and (inbound := inbound_of(draft.entry, draft.roles)) is not None
        ]
        if len(late) > 1:
            late.sort(key=lambda item: content_key(item[0].entry))
        for draft, inbound in late:
            book_late_cost(draft, inbound, self.shelf, self.cost_roles)

    def _book_written(self, drafts: list[Draft], recosted: set[int]) -> None:
        """Book what already stands at its cost: what comes back first, then what leaves, then what was found.

        A stocktake of the next morning wrote down what was found, when all else of the day was booked.
        """
        items = [
            (draft, stock)
            for draft in drafts
            for stock in draft.stock
            if id(stock) not in recosted and not self._brings(draft, stock.place)
        ]
        items.sort(key=lambda item: item[1].quantity < 0)
        found = found_in(drafts)
        waiting = []
        for draft, stock in items:
            if id(stock) not in found:
                # What left today can come back today.
                if self.written.is_still_in(stock):
                    waiting.append((draft, stock))
                else:
                    self._book_at_cost(draft, stock)
        for draft, stock in waiting:
            self._book_at_cost(draft, stock)
        if found:
            found -= self.written.recost(drafts, found=True)
            for draft, stock in items:
                if id(stock) in found:
                    self._book_at_cost(draft, stock)

    def _book_at_cost(self, draft: Draft, stock: StockPosting) -> None:
        pieces = self.written.book(draft, stock)
        if self.stocktakes.concerns(draft.entry):
            self.stocktakes.note(draft.entry, pieces)
        lot = self.shelf.get(stock.cost.label)
        if lot is not None and stock.quantity > 0:
            self.stocktakes.note_return(draft.entry, lot, stock.quantity)

    def _brings(self, draft: Draft, place: int) -> bool:
        return any(arrival.stock.place == place for arrival in self.arriving.get(id(draft.entry), ()))

    def _book_asks(self, drafts: list[Draft]) -> None:
        asks = [(draft, ask) for draft in drafts for ask in draft.asks]
        waiting = [
            (draft, ask) for draft, ask in asks if ask.way.is_return and not self._book_return(draft, ask)
        ]
        # A bottle that is named is taken before the oldest may be, whoever asks.
        for named in (True, False):
            for draft, ask in asks:
                if not ask.way.is_return and (ask.bottle is not None) is named:
                    self._book_draw(draft, ask)
        # What was sold today can come back today.
        for draft, ask in waiting:
            if not self._book_return(draft, ask):
                draft.fail(ask.place, ReturnError, self.explain.no_such_sale(draft, ask, self.outstanding))

    def _book_draw(self, draft: Draft, ask: Ask) -> None:
        wanted = ask.quantity if ask.loss is None else ask.quantity + ask.loss
        lots = self._lots_for(draft, ask, wanted)
        if lots is None:
            return
        held = lots[0].left if len(lots) == 1 else sum((lot.left for lot in lots), ZERO)
        if wanted > held:
            self._refuse(draft, ask, wanted, lots)
            return
        pieces = lots[0].take(ask.quantity) if len(lots) == 1 else take(lots, ask.quantity)
        lost = self._lose(draft, ask, lots, pieces) if self.may_lose or ask.loss is not None else []
        for piece in pieces:
            if not piece.lot.countable:
                draft.leave_out(ask.place)
                return
        draft.serve(ask, pieces, lost, self.cost_roles[ask.commodity])
        if self.outstanding.watches:
            self.outstanding.note_draw(draft, ask, pieces)
        if self.stocktakes.concerns(draft.entry):
            self.stocktakes.note(draft.entry, [*pieces, *lost])

    def _refuse(self, draft: Draft, ask: Ask, wanted: Decimal, lots: list[Lot]) -> None:
        day = draft.entry.date
        # What was sold and not poured yet would be in the bottle when it is measured.
        waiting = {lot.name: self.stocktakes.still_inside(lot, day) for lot in lots if lot.left}
        draft.fail(ask.place, DrawError, self.explain.overdrawn(day, ask, wanted, lots, waiting))

    def _lots_for(self, draft: Draft, ask: Ask, wanted: Decimal) -> list[Lot] | None:
        """Return the lots a draw may take from, in order; None when it names one that cannot serve it."""
        if ask.bottle is None:
            return self.shelf.serving(ask.commodity, wanted, draft.entry)
        lot = self.shelf.get(ask.bottle)
        if lot is not None and lot.entry is not draft.entry and lot.commodity == ask.commodity:
            return [lot]
        draft.fail(ask.place, DrawError, self.explain.unknown(ask.bottle, ask.commodity))
        return None

    def _lose(self, draft: Draft, ask: Ask, lots: list[Lot], pieces: list[Piece]) -> list[Piece]:
        """Take what is lost in the pour: what the line says, else the default as far as there is any left."""
        if ask.loss is not None:
            return take(lots, ask.loss)
        if not (ask.vials and self.settings.commodities[ask.commodity].is_fragrance):
            return []
        loss = self.settings.pour_loss(draft.entry.date) * ask.vials
        # From the bottles poured from, the last one first.
        used = list(dict.fromkeys(piece.lot for piece in reversed(pieces)))
        return take(used, min(loss, sum((lot.left for lot in used), ZERO)))

    def _book_return(self, draft: Draft, ask: Ask) -> bool:
        pieces = self.outstanding.take_back(draft, ask)
        if pieces is None:
            return False
        for piece in pieces:
            self.shelf.give_back(piece)
            self.stocktakes.note_return(draft.entry, piece.lot, piece.quantity)
        draft.serve(ask, pieces, [], self.cost_roles[ask.commodity])
        return True
