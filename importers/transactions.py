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

Tax that the channel hands on itself enters and leaves as a pair. An item whose fragrance is not certain is
income on the unsorted account, and the transaction is flagged.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core import data, flags
from beancount.core.amount import Amount

from millilot.importers import identity
from millilot.importers.events import Refund, Sale
from millilot.importers.pours import Sold, draws
from millilot.ledger.accounts import Role

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from decimal import Decimal

    from beancount.core.data import Posting, Transaction

    from millilot.importers.costs import Costs
    from millilot.importers.events import Event, Item
    from millilot.importers.profile import Profile
    from millilot.importers.titles import TitleReader
    from millilot.ledger.accounts import AccountRoles, RoleMap

#: The tag of an order that waits to be poured.
TO_POUR = "to-pour"


class Built(NamedTuple):
    """An entry, and the rows of it whose fragrance is not known."""

    transaction: Transaction
    unsorted: frozenset[int]


class Builder:
    """Makes the entries of one file."""

    def __init__(
        self, profile: Profile, roles: AccountRoles, titles: TitleReader, costs: Costs, filename: str,
    ) -> None:
        self._profile = profile
        self._roles = roles
        self._titles = titles
        self._costs = costs
        self._filename = filename

    def channel_account(self, event: Event) -> str:
        """Return the account that holds the channel's money on the day of an event."""
        if self._profile.account:
            return self._profile.account
        return f"{self._roles.on(event.date).account(Role.MARKETPLACE)}:{self._profile.channel}"

    def order_link(self, event: Event) -> str:
        """Return the link of the event's order."""
        return identity.link(identity.ORDER, self._profile.slug, event.order)

    def build(self, event: Event, row: int) -> Built:
        """Return the entry of an event that stands on a row."""
        roles = self._roles.on(event.date)
        if isinstance(event, Sale):
            return self._sale(event, roles, row)
        return Built(self._refund(event, roles, row), frozenset())

    def _sale(self, sale: Sale, roles: RoleMap, row: int) -> Built:
        unsorted = set()
        postings = []
        for item in sale.items:
            lines = self._lines(item, sale, roles)
            if lines is None:
                unsorted.add(item.row)
                lines = [self._unsorted_line(item, roles)]
            postings.extend(lines)
        if sale.postage:
            postings.append(self._posting(roles.account(Role.POSTAGE_CHARGED), -sale.postage))
        for column, amount in sale.fees:
            postings.append(self._posting(roles.account(column.role), amount, fee=column.kind))
        postings.extend(self._tax(roles, sale.tax, remitted=sale.tax_remitted))
        postings.append(self._posting(self.channel_account(sale), sale.net))
        meta: dict[str, Any] = {"ordered": sale.ordered}
        if sale.settled is not None:
            meta["settled"] = sale.settled
        links = {self.order_link(sale)}
        if sale.payout:
            links.add(identity.link(identity.PAYOUT, self._profile.slug, sale.payout))
        titles = tuple(item.title for item in sale.items)
        tags = {TO_POUR} if sale.to_pour else set()
        flag = flags.FLAG_WARNING if unsorted else flags.FLAG_OKAY
        transaction = self._transaction(
            sale, row, _narration(sale, titles), links, postings, flag=flag, tags=tags, meta=meta,
        )
        return Built(transaction, frozenset(unsorted))

    def _refund(self, refund: Refund, roles: RoleMap, row: int) -> Transaction:
        postings = []
        if refund.amount:
            postings.append(self._posting(roles.account(Role.REFUNDS), refund.amount))
        if refund.fee:
            postings.append(self._posting(roles.account(Role.FEES), -refund.fee, fee="refunded"))
        postings.extend(self._tax(roles, -refund.tax, remitted=refund.tax_remitted))
        postings.append(self._posting(self.channel_account(refund), refund.net))
        narration = f"Refund: {_narration(refund, refund.titles)}"
        return self._transaction(refund, row, narration, {self.order_link(refund)}, postings)

    def _transaction(
        self,
        event: Event,
        row: int,
        narration: str,
        links: Iterable[str],
        postings: list[Posting],
        *,
        flag: str = flags.FLAG_OKAY,
        tags: Iterable[str] = (),
        meta: Mapping[str, Any] = MappingProxyType({}),
    ) -> Transaction:
        key = identity.event_key(self._profile.slug, event.kind, event.order)
        whole = data.new_metadata(self._filename, row, {identity.EVENT: key, **meta})
        return data.Transaction(
            whole, event.date, flag, None, narration, frozenset(tags), frozenset(links), postings,
        )

    def _lines(self, item: Item, sale: Sale, roles: RoleMap) -> list[Posting] | None:
        """Return the draws of an item, None when it is not certain what it is."""
        pours = self._titles.read(item.sku, item.title, item.quantity)
        if pours is None:
            return None
        sold = Sold(item.quantity, item.price, self._profile.currency, sale.date)
        return draws(pours, sold, roles.account(Role.SALES), self._costs)

    def _unsorted_line(self, item: Item, roles: RoleMap) -> Posting:
        meta: dict[str, Any] = {"title": item.title}
        if item.sku:
            meta["sku"] = item.sku
        if item.quantity != 1:
            meta["quantity"] = str(item.quantity)
        return self._posting(roles.account(Role.UNSORTED), -item.price, **meta)

    def _tax(self, roles: RoleMap, tax: Decimal, *, remitted: bool) -> Iterator[Posting]:
        if tax:
            account = roles.account(Role.SALES_TAX)
            yield self._posting(account, -tax)
            if remitted:
                yield self._posting(account, tax)

    def _posting(self, account: str, amount: Decimal, **meta: Any) -> Posting:
        return data.Posting(account, Amount(amount, self._profile.currency), None, None, None, meta)


def _narration(event: Event, titles: tuple[str, ...]) -> str:
    return "; ".join(title for title in titles if title) or f"Order {event.order}"
