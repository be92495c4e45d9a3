"""Vials, labels, mailers and tape: what is used with each vial and each order.

::

    2026-01-01 custom "kit" "5 mL" 1 VIAL5 1 LABEL
    2026-01-01 custom "kit" "parcel" 1 MAILER 0.02 TAPE

Each vial of a sale or swap takes the kit of its size, so 12 mL in 3 vials take that of 4 mL three times, and what
left unopened (`vials: 0`) takes none. The parcel kit is taken once an order, with the first of its transactions
that sells; an order that was packed by a pair in the books is not packed again. A transaction without an order's
link is an order of its own.

Supplies are lots, and the oldest gives first. What a vial takes is cost of goods, what a parcel takes a selling
cost. A supply that has run out is an error, and the sale is booked without it.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.amount import Amount
from beancount.core.data import Transaction
from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import order_of
from millilot.plugins.drafts import pair
from millilot.plugins.landed_cost import generated_meta
from millilot.plugins.order import in_order
from millilot.plugins.problems import SupplyError
from millilot.plugins.stock import take

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator

    from beancount.core.data import Directives

    from millilot.ledger.directives import Kit, Settings
    from millilot.plugins.asks import Ask
    from millilot.plugins.drafts import Draft
    from millilot.plugins.explain import Explain
    from millilot.plugins.stock import Shelf
    from millilot.plugins.stocktake import Stocktakes


class _Use(NamedTuple):
    """A supply that is used: how much of it leaves, as an amount below nought, and who bears its cost."""

    commodity: str
    quantity: Decimal
    role: Role
    units: Amount


class Supplies:
    """Takes the kits of what was sold.

    Args:
        entries: all entries, for the orders that are packed already.
        settings: what the owner set, with the kits.
        shelf: the lots.
        explain: the words of errors.
        stocktakes: told what an order that is still to be poured took.
    """

    def __init__(
        self, entries: Directives, settings: Settings, shelf: Shelf, explain: Explain, stocktakes: Stocktakes,
    ) -> None:
        self._settings = settings
        self._shelf = shelf
        self._explain = explain
        self._stocktakes = stocktakes
        self._codes = {supply.currency for kit in settings.kits for supply in kit.supplies}
        self._packed = set(_packed_orders(entries, settings)) if settings.kits else set()
        self._empty_since: dict[str, datetime.date] = {}
        # What the vials of a line use, by mL and number of vials, and what a parcel does (None), on this day.
        self._uses: dict[tuple[Decimal, Decimal] | None, list[_Use]] = {}

    def book(self, day: datetime.date, drafts: Iterable[Draft]) -> None:
        """Take the kits of a day, when all its draws are served.

        Args:
            day: the day.
            drafts: its transactions in goods; each gets the pairs of its supplies and the errors.
        """
        if not self._codes:
            return
        selling = [draft for draft in drafts if draft.sold]
        if len(selling) > 1:
            selling = in_order(selling, lambda draft: draft.entry)
        # Kits are in force by day, and a day sells few sizes.
        self._uses.clear()
        for draft in selling:
            parcel = self._parcel(draft)
            for ask in draft.sold:
                self._take(draft, ask, self._vials(draft, ask) + parcel)
                parcel = []
        for code in self._codes:
            if any(lot.left for lot in reversed(self._shelf.of_commodity(code))):
                self._empty_since.pop(code, None)
            else:
                self._empty_since.setdefault(code, day)

    def _vials(self, draft: Draft, ask: Ask) -> list[_Use]:
        """Return what the vials of a line use."""
        if not (ask.vials and self._settings.commodities[ask.commodity].is_fragrance):
            return []
        sold = ask.quantity, ask.vials
        if sold not in self._uses:
            kit = self._settings.kit(ask.quantity / ask.vials, draft.entry.date)
            self._uses[sold] = _uses(kit, ask.vials, Role.SUPPLIES_USED)
        return self._uses[sold]

    def _parcel(self, draft: Draft) -> list[_Use]:
        """Return what the parcel uses, unless its order is packed."""
        order = _order(draft.entry)
        if order in self._packed:
            return []
        self._packed.add(order)
        if None not in self._uses:
            self._uses[None] = _uses(self._settings.parcel_kit(draft.entry.date), Decimal(1), Role.PACKING)
        return self._uses[None]

    def _take(self, draft: Draft, ask: Ask, uses: list[_Use]) -> None:
        """Take what a line uses, and say once what is not there."""
        meta = generated_meta(ask.meta, goods.KIT)
        waits = self._stocktakes.concerns(draft.entry)
        short: list[str] = []
        for commodity, quantity, role, units in uses:
            lots = self._shelf.serving(commodity, quantity, draft.entry)
            held = lots[0].left if len(lots) == 1 else sum((lot.left for lot in lots), ZERO)
            if quantity > held:
                short.append(self._short(draft.entry.date, commodity, quantity, held))
                continue
            pieces = lots[0].take(quantity) if len(lots) == 1 else take(lots, quantity)
            if not all(lot.countable for lot in lots):
                continue  # Its cost was refused; nothing more is said of it.
            account = draft.account(role, pieces[0].cost.currency, ask.meta)
            if len(pieces) == 1:
                draft.generate(pair(pieces[0], units, account, meta))
            else:
                for piece in pieces:
                    draft.generate(pair(piece, Amount(-piece.quantity, commodity), account, meta))
            if waits:
                self._stocktakes.note(draft.entry, pieces)
        if short:
            draft.report(ask.meta, SupplyError, " ".join([*short, "The sale is booked without what is missing."]))

    def _short(self, day: datetime.date, commodity: str, quantity: Decimal, held: Decimal) -> str:
        asked = f"This line uses {quantity} {commodity}"
        if not self._shelf.of_commodity(commodity):
            return f"{asked}. {self._explain.what_is_left(commodity)}"
        return f"{asked}, {held} left: it ran out on {self._empty_since.get(commodity, day)}."


def _uses(kit: Kit | None, times: Decimal, role: Role) -> list[_Use]:
    if kit is None:
        return []
    return [
        _Use(commodity, number * times, role, Amount(-number * times, commodity))
        for number, commodity in kit.supplies
    ]


def _order(entry: Transaction) -> str | int:
    """Return what tells an order from others: its link, or the transaction itself."""
    return order_of(entry) or id(entry)


def _packed_orders(entries: Directives, settings: Settings) -> Iterator[str | int]:
    """Yield the orders with supplies that were packed by a pair in the books, rather than by a line that asks."""
    for entry in entries:
        if not isinstance(entry, Transaction) or all(posting.cost is None for posting in entry.postings):
            continue
        roles = settings.roles.on(entry.date)
        for stock in goods.stock_postings(entry.postings, roles):
            partner = stock.partner
            if (
                partner is not None
                and stock.quantity < 0
                and roles.role(partner.account) is Role.PACKING
                and goods.POURED not in (partner.meta or {})
                and not settings.commodities[stock.commodity].is_fragrance
            ):
                yield _order(entry)
