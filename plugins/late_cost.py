"""Costs of a purchase that come later: duty, cash-back, a voucher.

They carry the purchase's link. Each lot of that purchase bears a share by value. The part of it whose
millilitres are already gone goes to cost of goods on the later day; the rest raises (or lowers) the cost of what
is left, so no earlier day changes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from beancount.core.amount import Amount
from beancount.core.data import Posting

from millilot.ledger import goods
from millilot.plugins.landed_cost import PURCHASE, Inbound, clearing_postings, generated_meta, spread
from millilot.plugins.problems import LandedCostError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from decimal import Decimal

    from millilot.ledger.accounts import Role
    from millilot.plugins.drafts import Draft
    from millilot.plugins.stock import Lot, Shelf


def book_late_cost(draft: Draft, inbound: Inbound, shelf: Shelf, role_of_cost: dict[str, Role]) -> None:
    """Spread a late cost over the lots of its purchase, as they are at the start of that day.

    Args:
        draft: the transaction that posts it.
        inbound: what it leaves on the inbound account.
        shelf: the lots; the cost of those it touches changes.
        role_of_cost: by commodity, where the cost of what is gone belongs.
    """
    links = [link for link in draft.entry.links or () if link.startswith(PURCHASE)]
    if not links:
        return  # Refused when the inbound of purchases was spread.
    lots = shelf.of_links(links)
    problem = _refusal(inbound, lots, links)
    if problem is not None:
        draft.report(inbound.meta, LandedCostError, problem)
        return
    shares = spread(inbound.number, [lot.received * lot.landed for lot in lots], [lot.received for lot in lots])
    for lot, share in zip(lots, shares, strict=True):
        per_unit = share / lot.received
        if any(layer.cost.number + per_unit < 0 for layer in lot.layers):
            message = f"{share} {inbound.currency} off {lot.name} is more than it cost."
            draft.report(inbound.meta, LandedCostError, message)
            return
    draft.generate(clearing_postings(inbound))
    for lot, share in zip(lots, shares, strict=True):
        account = draft.account(role_of_cost[lot.commodity], inbound.currency, inbound.meta)
        draft.generate(_recost(lot, share, inbound, account))


def _refusal(inbound: Inbound, lots: list[Lot], links: list[str]) -> str | None:
    if not lots:
        named = " ".join(f"^{link}" for link in sorted(links))
        return f"No purchase with the link {named} came before this day."
    if any(lot.cost.currency != inbound.currency for lot in lots):
        return f"Inbound is in {inbound.currency}, its lots cost {lots[0].cost.currency}."
    if not all(lot.received for lot in lots):
        return "A lot of this purchase went back to the supplier whole; post this cost to other costs."
    return None


def _recost(lot: Lot, share: Decimal, inbound: Inbound, account: str) -> Iterator[Posting]:
    """Change the cost of what is left of a lot, and yield the postings that say so."""
    per_unit = share / lot.received
    gone = share
    for layer in lot.layers:
        old, new = layer.cost, layer.cost._replace(number=layer.cost.number + per_unit)
        for quantity, cost in ((-layer.quantity, old), (layer.quantity, new)):
            meta = generated_meta(inbound.meta, goods.RECOST)
            yield Posting(lot.account, Amount(quantity, lot.commodity), cost, None, None, meta)
        gone -= layer.quantity * new.number - layer.quantity * old.number
        layer.cost = new
    lot.landed += per_unit
    if gone:
        meta = {**generated_meta(inbound.meta, goods.RECOST), "bottle": lot.name}
        yield Posting(account, Amount(gone, inbound.currency), None, None, None, meta)
