"""From loaded entries to records: the one place where booked transactions are interpreted.

It reads what stands in the books after the plugin ran, by the rule of `millilot.ledger.goods`; books printed
and loaded again, or pairs an owner wrote by hand, read the same.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any, cast

from beancount.core.amount import Amount
from beancount.core.data import Transaction
from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import order_of
from millilot.ledger.directives import read_settings
from millilot.ledger.kept import once_per_books
from millilot.ledger.money import Weight, operating_currency, weight
from millilot.ledger.records import Books, Bottle, Foreign, Kind, Line, Money, Move, Record

if TYPE_CHECKING:
    import datetime
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

    from beancount.core.data import Directive, Posting
    from beancount.core.position import Cost

    from millilot.ledger.accounts import RoleMap
    from millilot.ledger.directives import Settings
    from millilot.ledger.goods import StockPosting

#: Roles whose money postings no report asks for: stock is read as lots, inbound is nought in any transaction.
_UNREAD_ROLES = frozenset({Role.STOCK, Role.INBOUND, Role.BANK})

_KIND_OF_ROLE = {
    Role.COST_OF_GOODS: Kind.SOLD,
    Role.SHRINKAGE: Kind.SHRINKAGE,
    Role.OTHER_COSTS: Kind.SHRINKAGE,
    Role.LOSS: Kind.LOST,
    Role.PERSONAL_USE: Kind.KEPT,
    # Goods that left for an account that is private are the owner's own.
    None: Kind.KEPT,
}

#: Where supplies go when they are used up.
_USED_UP = frozenset({Role.COST_OF_GOODS, Role.SUPPLIES_USED, Role.PACKING})


def read_books(
    entries: Iterable[Directive],
    options_map: Mapping[str, Any],
    to: datetime.date | None = None,
) -> Books:
    """Read the records from loaded entries.

    Args:
        entries: all entries as Beancount returns them, in order of date.
        options_map: Beancount's options.
        to: leave out what is dated after this day.
    """
    entries = list(entries)
    settings, _ = read_settings(entries)
    claims = [claim for claim in settings.claims if not claim.refused and (to is None or claim.day <= to)]
    settings = replace(settings, claims=tuple(claims))
    reader = _Reader(settings, operating_currency(options_map) or _commonest_cost_currency(entries))
    transactions = [
        entry
        for entry in entries
        if isinstance(entry, Transaction) and (to is None or entry.date <= to) and goods.is_booked(entry)
    ]
    stock = [list(goods.stock_postings(entry.postings, settings.roles.on(entry.date))) for entry in transactions]
    # All lots first, so that a line may name a bottle that comes in further down.
    for entry, of_entry in zip(transactions, stock, strict=True):
        reader.meet(entry, of_entry)
    for entry, of_entry in zip(transactions, stock, strict=True):
        reader.read(entry, of_entry)
    bottles = dict(sorted(reader.bottles.items(), key=lambda item: (item[1].bought, item[0])))
    return Books(reader.currency, settings, bottles, tuple(reader.records), tuple(reader.foreign))


@once_per_books
def until(books: Books, day: datetime.date) -> Books:
    """Return what `read_books` would read up to a day, from books that were read further.

    Args:
        books: read from all entries.
        day: leave out what is dated after it.
    """
    bottles = {name: bottle for name, bottle in books.bottles.items() if bottle.bought <= day}
    later = books.bottles.keys() - bottles.keys()
    records = books.records[: bisect_right(books.records, day, key=lambda record: record.date)]
    if later:
        records = tuple(record for record in (_without(record, later) for record in records) if record)
    claims = tuple(claim for claim in books.settings.claims if claim.day <= day)
    foreign = tuple(item for item in books.foreign if item.entry.date <= day)
    return Books(books.currency, replace(books.settings, claims=claims), bottles, records, foreign)


def _without(record: Record, later: Collection[str]) -> Record | None:
    """Return a record that knows nothing of some bottles, None when nothing is left of it."""
    moves = tuple(move for move in record.moves if move.bottle not in later)
    money = tuple(replace(item, bottle=None) if item.bottle in later else item for item in record.money)
    if moves == record.moves and money == record.money:
        return record
    return replace(record, moves=moves, money=money) if moves or money else None


def _commonest_cost_currency(entries: Iterable[Directive]) -> str:
    """Return the currency most lots cost, for books that set no operating currency."""
    currencies = Counter(
        cast("Cost", posting.cost).currency
        for entry in entries
        if isinstance(entry, Transaction)
        for posting in entry.postings
        if posting.cost is not None
    )
    return max(currencies, key=lambda currency: (currencies[currency], currency), default="USD")


class _Reader:
    """Collects bottles and records, one transaction at a time."""

    def __init__(self, settings: Settings, currency: str) -> None:
        self.settings = settings
        self.currency = currency
        self.bottles: dict[str, Bottle] = {}
        self.records: list[Record] = []
        self.foreign: list[Foreign] = []

    def meet(self, entry: Transaction, stock: Sequence[StockPosting]) -> None:
        """Make the records of the lots a transaction brings."""
        both_ways = goods.both_ways(stock)
        for item in stock:
            if item.cost.label not in both_ways:
                self._meet(entry, item)

    def read(self, entry: Transaction, stock: Sequence[StockPosting]) -> None:
        """Make the record of a transaction."""
        roles = self.settings.roles.on(entry.date)
        late = _late_shares(entry.postings)
        moves = tuple(self._moves(entry, stock, late, roles)) if stock or late else ()
        lines = _lines(entry.postings, stock, roles)
        money = tuple(self._money(entry, stock, lines, roles))
        if moves or money:
            self.records.append(
                Record(entry.date, order_of(entry), tuple(lines.values()), moves, money, entry),
            )

    def _meet(self, entry: Transaction, item: StockPosting) -> None:
        """Make the record of a lot when it is first seen."""
        name = item.cost.label
        if item.quantity <= 0 or name is None or name in self.bottles:
            return
        if item.cost.currency != self.currency:
            self.foreign.append(Foreign(item.account, item.value, item.cost.currency, entry))
            return

        def number(key: str) -> Decimal | None:
            value = item.meta.get(key)
            if isinstance(value, Amount):
                value = value.number
            return value if isinstance(value, Decimal) else None

        self.bottles[name] = Bottle(
            name=name,
            commodity=self.settings.commodities[item.commodity],
            bought=entry.date,
            account=item.account,
            source=entry,
            keep=number("keep") or ZERO,
            tare=number("tare"),
            full=number("full"),
            batch=str(item.meta.get("batch") or ""),
            estimated=item.meta.get("estimated") is True,
            paid=number("paid"),
            market_value=number("market-value"),
        )

    def _moves(
        self,
        entry: Transaction,
        stock: Sequence[StockPosting],
        late: Mapping[str, tuple[Decimal, Mapping[str, Any]]],
        roles: RoleMap,
    ) -> Iterator[Move]:
        # A lot that is empty has no postings of its own when a late cost of it is booked.
        recosted: dict[str, tuple[Decimal, Decimal, Mapping[str, Any]]] = {
            name: (ZERO, ZERO, meta) for name, (_, meta) in late.items() if name in self.bottles
        }
        both_ways = goods.both_ways(stock)
        for item in stock:
            bottle = self.bottles.get(item.cost.label or "")
            if bottle is None:
                continue
            to = None
            if bottle.source is entry and item.quantity > 0:
                kind = _arrival(entry.postings, roles)
            elif item.partner is not None:
                to = roles.role(item.partner.account)
                kind = _departure(item.partner, to, bottle)
            elif bottle.name in both_ways:
                quantity, value, _ = recosted.get(bottle.name, (ZERO, ZERO, item.meta))
                recosted[bottle.name] = quantity + item.quantity, value + item.value, item.meta
                continue
            else:
                kind = Kind.SUPPLIER_RETURN
            yield Move(entry.date, bottle.name, kind, item.quantity, item.value, to, item.meta)
        for name, (quantity, value, meta) in recosted.items():
            # The share of a late cost whose mL are gone stands beside the lot as cost of goods.
            gone, _ = late.get(name, (ZERO, meta))
            if quantity:
                # What was found costs nothing but the noise of the last digit.
                yield Move(entry.date, name, Kind.FOUND, quantity, value, meta=meta)
            elif value + gone:
                yield Move(entry.date, name, Kind.LATE_COST, ZERO, value + gone, meta=meta)
            if gone:
                fragrance = self.bottles[name].commodity.is_fragrance
                kind, to = (Kind.SOLD, Role.COST_OF_GOODS) if fragrance else (Kind.USED, Role.SUPPLIES_USED)
                yield Move(entry.date, name, kind, ZERO, -gone, to, meta)

    def _money(
        self,
        entry: Transaction,
        stock: Sequence[StockPosting],
        lines: Mapping[int, Line],
        roles: RoleMap,
    ) -> Iterator[Money]:
        partners = {item.place + 1 for item in stock if item.partner is not None}
        of_transaction = None if lines else entry.meta.get("bottle")
        for index, posting in enumerate(entry.postings):
            role = roles.role(posting.account)
            if role is None or role in _UNREAD_ROLES or posting.cost is not None or index in partners:
                continue
            meta = posting.meta or {}
            if meta.get(goods.MARK) == goods.RECOST:
                continue
            amount = weight(posting)
            if amount.currency != self.currency:
                self.foreign.append(Foreign(posting.account, amount.number, amount.currency, entry))
                continue
            line = lines.get(index)
            bottle = meta.get("bottle", of_transaction) if line is None else None
            named = bottle if bottle in self.bottles else None
            refused = meta.get(goods.MARK) == goods.REFUSED
            yield Money(role, posting.account, amount.number, named, line, refused, meta)


def _arrival(postings: Sequence[Posting], roles: RoleMap) -> Kind:
    """Return how the lots of a transaction came in, from what stands against them."""
    present = {roles.role(posting.account) for posting in postings}
    if Role.CONTRIBUTED in present:
        return Kind.CONTRIBUTED
    return Kind.SWAPPED_IN if Role.SWAPS in present else Kind.BOUGHT


def _departure(partner: Posting, role: Role | None, bottle: Bottle) -> Kind:
    """Return why goods left, from where their cost went."""
    if role is Role.COST_OF_GOODS and (partner.meta or {}).get(goods.MARK) == goods.POUR_LOSS:
        return Kind.POUR_LOSS
    if not bottle.commodity.is_fragrance and role in _USED_UP:
        return Kind.USED
    # Any other account of the activity: given away to sell more.
    return _KIND_OF_ROLE.get(role, Kind.SAMPLED)


def _late_shares(postings: Sequence[Posting]) -> dict[str, tuple[Decimal, Mapping[str, Any]]]:
    """Return the late costs of mL that are gone, by bottle, each with the metadata of its posting."""
    shares: dict[str, tuple[Decimal, Mapping[str, Any]]] = {}
    for posting in postings:
        meta = posting.meta
        if meta and meta.get(goods.MARK) == goods.RECOST and posting.cost is None and "bottle" in meta:
            share, _ = shares.get(meta["bottle"], (ZERO, meta))
            shares[meta["bottle"]] = share + weight(posting).number, meta
    return shares


def _lines(
    postings: Sequence[Posting], stock: Sequence[StockPosting], roles: RoleMap,
) -> dict[int, Line]:
    """Find the priced lines of a transaction and the lots that served each, by place in the transaction.

    A written line keeps `poured:`. The pairs that serve it follow in the order of the lines and add up to it,
    so quantities alone tell which pair belongs to which line.
    """
    written = [
        (index, posting, Weight(*posting.meta[goods.POURED]))
        for index, posting in enumerate(postings)
        if posting.meta
        and posting.cost is None
        and isinstance(posting.meta.get(goods.POURED), Amount)
        and not goods.carries_cost(posting.account, roles)
    ]
    if not written:
        return {}
    pairs = [
        _Pair(item.commodity, item.cost.label or "", -item.quantity)
        for item in stock
        if item.partner is not None
        and item.meta.get(goods.MARK) == goods.DRAW
        and goods.POURED not in (item.partner.meta or {})
    ]
    lines = {}
    for index, posting, poured in written:
        role = roles.role(posting.account)
        if role is not None:
            parts = tuple(_take(pairs, poured))
            lines[index] = Line(role, -weight(posting).number, parts)
    return lines


@dataclass(slots=True)
class _Pair:
    """What one pair of postings has left to give to the lines of its transaction."""

    commodity: str
    bottle: str
    quantity: Decimal


def _take(pairs: Iterable[_Pair], poured: Weight) -> Iterator[tuple[str, Decimal]]:
    """Yield the (bottle, quantity) a line was served from, and take them off the pairs."""
    wanted = poured.number
    for pair in pairs:
        if not wanted:
            return
        if pair.commodity == poured.currency and pair.quantity * wanted > 0:
            taken = min(pair.quantity, wanted, key=abs)
            pair.quantity -= taken
            wanted -= taken
            yield pair.bottle, taken
