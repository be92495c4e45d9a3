"""From what happened on the channel to Beancount entries.

An order is one transaction. The channel's account takes what is left of price and postage after fees, always as
a written number::

    2026-03-04 * "Cedar Hour 5 mL" ^order-lantern-1001
      event: "lantern/sale/1001"
      Income:Sales                 -5 CEDARHOUR @@ 12.00 USD
      Income:Postage                              -4.00 USD
      Expenses:Selling:Fees                        1.95 USD
        fee: "commission"
      Assets:Marketplace:Lantern                  14.05 USD

What the buyer paid besides, such as gift wrap, is a sale of no goods (`Income:Sales  -1.50 USD`, with `charge:`).
Tax that the channel hands on itself enters and leaves as a pair. An item whose fragrance is not certain is
income on the unsorted account, and the transaction is flagged. A sale that was called off has no goods.

Everything else that moves money is a transaction of two accounts, the one it goes to or comes from and the
channel's::

    2026-03-31 * "Payout P-9" ^payout-lantern-P-9
      event: "lantern/payout/P-9"
      Assets:Marketplace:Lantern:Transit   40.00 USD
      Assets:Marketplace:Lantern          -40.00 USD

Narrations are our own words, numbers, and titles of goods: other texts of a file may name people.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core import data, flags
from beancount.core.amount import Amount

from millilot.importers import identity
from millilot.importers.event_rules import Kind
from millilot.importers.events import FEE_ROLES, Movement, Refund, Sale
from millilot.importers.movements import HELD, about, narration_of, other_account
from millilot.importers.pours import Sold, draws
from millilot.importers.profile import slug
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import (
    CANCELLED,
    EVENT,
    HOLD,
    ORDER,
    ORDERED,
    PAID_OUT,
    PAYOUT,
    SETTLED,
    TO_POUR,
)
from millilot.ledger.channels import Pocket
from millilot.ledger.money import minor_unit

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping
    from decimal import Decimal

    from beancount.core.data import Posting, Transaction

    from millilot.importers.costs import Costs
    from millilot.importers.events import Correction, Dates, Event, Fee, Item
    from millilot.importers.profile import Profile
    from millilot.importers.titles import TitleReader
    from millilot.ledger.accounts import AccountRoles, RoleMap

#: The metadata of the days of `Dates`, in their order.
_DAYS = (ORDERED, SETTLED, PAID_OUT)


class Built(NamedTuple):
    """An entry, and the rows of it whose fragrance is not known."""

    transaction: Transaction
    unsorted: Mapping[int, str]


class Builder:
    """Makes the entries of one file."""

    def __init__(
        self, profile: Profile, roles: AccountRoles, titles: TitleReader, costs: Costs, filename: str,
    ) -> None:
        self._profile = profile
        self._currency = profile.currency
        self._slug = profile.slug
        self._roles = roles
        self._titles = titles
        self._costs = costs
        self._filename = filename

    def channel_account(self, event: Event) -> str:
        """Return the account that holds the channel's money on the day of an event."""
        if self._profile.account:
            return self._profile.account
        return f"{self._roles.on(event.date).account(Role.MARKETPLACE)}:{self._profile.channel}"

    def order_link(self, order: str) -> str:
        """Return the link of an order."""
        return identity.link(ORDER, self._slug, order)

    def build(self, event: Event, row: int) -> Built:
        """Return the entry of an event that stands on a row."""
        roles = self._roles.on(event.date)
        if isinstance(event, Sale):
            return self._sale(event, roles, row)
        if isinstance(event, Refund):
            transaction = self._refund(event, roles, row)
        elif isinstance(event, Movement):
            transaction = self._movement(event, roles, row)
        else:
            transaction = self._correction(event, roles, row)
        return Built(transaction, MappingProxyType({}))

    def _sale(self, sale: Sale, roles: RoleMap, row: int) -> Built:
        unsorted: dict[int, str] = {}
        postings = []
        for item in sale.items:
            lines = self._lines(item, sale, roles)
            if lines is None:
                unsorted[item.row] = self._doubt(item)
                lines = [self._unsorted_line(item, roles)]
            if item.discount:
                meta = {**(lines[0].meta or {}), "discount": self._text(item.discount)}
                lines[0] = lines[0]._replace(meta=meta)
            postings.extend(lines)
        # Money alone: what is paid for wrapping draws nothing from a bottle.
        postings.extend([
            self._posting(roles.account(Role.SALES), -extra.amount, charge=extra.charge) for extra in sale.extras
        ])
        if sale.postage:
            postings.append(self._posting(roles.account(Role.POSTAGE_CHARGED), -sale.postage))
        postings.extend(self._fees(sale.fees, roles))
        if sale.tax or sale.remitted:
            postings.extend(self._tax(roles, sale.tax, sale.remitted))
        postings.append(self._posting(self.channel_account(sale), sale.net))
        meta = _days(sale.dates)
        if sale.references:
            meta[identity.REFERENCES] = " ".join(sale.references)
        if sale.buyer:
            meta["buyer"] = sale.buyer
        titles = tuple(item.title for item in sale.items)
        tags = [tag for tag, holds in ((TO_POUR, sale.to_pour), (CANCELLED, sale.cancelled)) if holds]
        flag = flags.FLAG_WARNING if unsorted else flags.FLAG_OKAY
        transaction = self._transaction(
            sale, row, narration_of(sale.order, titles), self._links(sale.order, sale.payout), postings,
            flag=flag, tags=tags, meta=meta,
        )
        return Built(transaction, unsorted)

    def _refund(self, refund: Refund, roles: RoleMap, row: int) -> Transaction:
        postings = []
        if refund.amount:
            postings.append(self._posting(roles.account(Role.REFUNDS), refund.amount))
        postings.extend(self._fees(refund.fees, roles))
        postings.extend(self._tax(roles, -refund.tax, -refund.remitted))
        postings.append(self._posting(self.channel_account(refund), refund.net))
        return self._transaction(
            refund, row, f"Refund: {narration_of(refund.order, refund.titles)}",
            self._links(refund.order, refund.payout), postings,
            tags={CANCELLED} if refund.cancelled else (), meta=_days(refund.dates),
        )

    def _correction(self, correction: Correction, roles: RoleMap, row: int) -> Transaction:
        postings = self._fees(correction.fees, roles)
        postings.append(self._posting(self.channel_account(correction), correction.net))
        narration = f"Fees corrected: {narration_of(correction.order, correction.titles)}"
        return self._transaction(correction, row, narration, self._links(correction.order, ""), postings)

    def _movement(self, movement: Movement, roles: RoleMap, row: int) -> Transaction:
        kind, channel = movement.rule.kind, self.channel_account(movement)
        postings = []
        if movement.held:
            postings.append(self._posting(roles.account(Role.REFUNDS), movement.held))
            postings.append(self._posting(f"{channel}:{Pocket.RESERVE}", -movement.held))
        if movement.amount:
            meta = {"fee": movement.rule.fee or "refunded"} if kind in FEE_ROLES else {}
            if kind is Kind.EXTRA:
                meta = {"charge": movement.rule.fee}
            postings.append(self._posting(other_account(movement, channel, roles), -movement.amount, **meta))
        postings.extend(self._fees(movement.fees, roles))
        if movement.net:
            postings.append(self._posting(channel, movement.net))
        made_of = {name: self._text(amount) for name, amount in movement.made_of.items()}
        links = self._links(movement.order, movement.payout, self._payer(movement))
        return self._transaction(
            movement, row, about(movement), links, postings,
            tags={HOLD} if kind in HELD else (), meta={**_days(movement.dates), **made_of},
        )

    def _payer(self, movement: Movement) -> str:
        """Return, as it stands in links, the channel that a movement's payout is of."""
        rule = movement.rule
        if rule.kind is not Kind.DEPOSIT:
            return self._slug
        return slug(rule.channel or rule.account.removesuffix(f":{Pocket.TRANSIT}").rpartition(":")[2])

    def _links(self, order: str, payout: str, payer: str = "") -> list[str]:
        links = []
        if order:
            links.append(identity.link(ORDER, self._slug, order))
        if payout:
            links.append(identity.link(PAYOUT, payer or self._slug, payout))
        return links

    def _fees(self, fees: Iterable[Fee], roles: RoleMap) -> list[Posting]:
        return [self._posting(roles.account(fee.role), fee.amount, fee=fee.kind) for fee in fees]

    def _transaction(
        self,
        event: Event,
        row: int,
        narration: str,
        links: Iterable[str],
        postings: list[Posting],
        *,
        flag: str = flags.FLAG_OKAY,
        tags: Collection[str] = (),
        meta: Mapping[str, Any] = MappingProxyType({}),
    ) -> Transaction:
        key = identity.event_key(self._slug, event.kind, event.number)
        whole = data.new_metadata(self._filename, row, {EVENT: key, **meta})
        return data.Transaction(
            whole, event.date, flag, None, narration,
            frozenset(tags) if tags else data.EMPTY_SET, frozenset(links), postings,
        )

    def _lines(self, item: Item, sale: Sale, roles: RoleMap) -> list[Posting] | None:
        """Return the draws of an item, None when it is not certain what it is."""
        if sale.cancelled:
            return [self._posting(roles.account(Role.SALES), -item.price)]
        pours = self._titles.read(item.sku, item.title, item.quantity)
        if pours is None:
            return None
        sold = Sold(item.quantity, item.price, self._currency, sale.date)
        return draws(pours, sold, roles.account(Role.SALES), self._costs)

    def _doubt(self, item: Item) -> str:
        """Return why it is not certain what an item is."""
        doubt = self._titles.doubt(item.sku, item.title, item.quantity)
        return doubt or "it is a set shared by cost, and the cost of its parts is not certain"

    def _unsorted_line(self, item: Item, roles: RoleMap) -> Posting:
        meta: dict[str, Any] = {"title": item.title}
        if item.sku:
            meta["sku"] = item.sku
        if item.quantity != 1:
            meta["quantity"] = str(item.quantity)
        return self._posting(roles.account(Role.UNSORTED), -item.price, **meta)

    def _tax(self, roles: RoleMap, tax: Decimal, remitted: Decimal) -> Iterator[Posting]:
        account = roles.account(Role.SALES_TAX)
        if tax:
            yield self._posting(account, -tax)
        if remitted:
            yield self._posting(account, remitted)

    def _text(self, amount: Decimal) -> str:
        # Like a number, an amount in metadata does not survive Fava's import page.
        return f"{amount.quantize(minor_unit(self._currency))} {self._currency}"

    def _posting(self, account: str, amount: Decimal, **meta: Any) -> Posting:
        return data.Posting(account, Amount(amount, self._currency), None, None, None, meta)


def _days(dates: Dates) -> dict[str, Any]:
    """Return the days a file gives, as metadata."""
    return {key: day for key, day in zip(_DAYS, dates, strict=True) if day is not None}
