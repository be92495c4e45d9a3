"""A stage: every lot gets a name of its own.

A bottle is called by its lot label. A lot bought without one is called by its commodity and date, with a number
from the second of the day on: `CEDARHOUR 2026-01-10`, `CEDARHOUR 2026-01-10 2`.
"""

from __future__ import annotations

from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.data import Transaction

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.directives import read_settings
from millilot.ledger.money import number_of, operating_currency, snap
from millilot.plugins.order import Key, content_key, natural
from millilot.plugins.problems import LotError
from millilot.plugins.tolerance import allow_residues

if TYPE_CHECKING:
    from collections.abc import Iterator

    from beancount.core.data import Directives
    from beancount.core.position import Cost

    from millilot.ledger.accounts import AccountRoles
    from millilot.ledger.goods import StockPosting
    from millilot.plugins.problems import Problem


class Arrival(NamedTuple):
    """A posting that may bring a lot.

    Attributes:
        rank: its place among all of them, oldest first.
        entry: the transaction it stands in.
        stock: the posting.
    """

    rank: int
    entry: Transaction
    stock: StockPosting


def arrivals(entries: Directives, roles: AccountRoles) -> list[Arrival]:
    """Return every stock posting that may bring a lot, oldest first.

    The oldest has the earliest cost date, then the earliest transaction; of one day, the order is that of labels
    and contents between transactions, and that of the lines within one. Left out are returns (a pair with its
    cost turned back, for a lot that came in elsewhere) and the positive half of a re-costed lot.
    """
    found: list[tuple[Key, Transaction, StockPosting]] = []
    for entry in entries:
        if not isinstance(entry, Transaction):
            continue
        for posting in entry.postings:
            if posting.cost is not None:
                if goods.is_booked(entry):
                    found.extend(_coming(entry, roles))
                break
    whole = {stock.cost.label for _, _, stock in found if stock.partner is None}
    lots = [
        (entry, stock)
        for entry, stock in _in_order(found)
        if stock.partner is None or _is_new(entry, stock, whole)
    ]
    return [Arrival(rank, entry, stock) for rank, (entry, stock) in enumerate(lots)]


def _coming(entry: Transaction, roles: AccountRoles) -> Iterator[tuple[Key, Transaction, StockPosting]]:
    """Yield the positive stock postings of a transaction, each with what tells how old it is."""
    stock = list(goods.stock_postings(entry.postings, roles.on(entry.date)))
    coming = [item for item in stock if item.quantity > 0]
    if not coming:
        return
    leaving = {item.cost.label for item in stock if item.quantity < 0 and item.partner is None} - {None}
    labels = [natural(item.cost.label or "") for item in coming]
    for item in coming:
        if item.cost.label not in leaving:
            yield (item.cost.date, entry.date, labels), entry, item


def _in_order(
    found: list[tuple[Key, Transaction, StockPosting]],
) -> Iterator[tuple[Transaction, StockPosting]]:
    """Yield stock postings oldest first; only those of one day and the same labels are compared by content."""
    found.sort(key=itemgetter(0))
    for _, equals in groupby(found, key=itemgetter(0)):
        same = [(entry, stock) for _, entry, stock in equals]
        if len({id(entry) for entry, _ in same}) > 1:
            same.sort(key=lambda item: (content_key(item[0]), item[1].place))
        yield from same


def _is_new(entry: Transaction, stock: StockPosting, known: set[str | None]) -> bool:
    """Whether a pair brings a lot: an earlier expense turned into stock, rather than goods that came back."""
    cost = stock.cost
    return cost.date == entry.date if cost.label is None else cost.label not in known


def name_lots(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Name the lots that have no label, and refuse labels used twice and costs in another currency."""
    settings, _ = read_settings(entries)
    found = arrivals(entries, settings.roles)
    currency = operating_currency(options_map)
    allow_residues(options_map, {currency, *(arrival.stock.cost.currency for arrival in found)})
    written = {arrival.stock.cost.label for arrival in found}
    errors: list[Problem] = []
    names: dict[str, Arrival] = {}
    renamed: dict[int, dict[int, str]] = {}
    for arrival in sorted(found, key=lambda arrival: (arrival.entry.date, arrival.rank)):
        stock = arrival.stock
        label = stock.cost.label
        if label is None:
            name = _free_name(f"{stock.commodity} {stock.cost.date}", names, written)
        elif label in names:
            first = names[label]
            if stock.cost.date == first.stock.cost.date and arrival.entry.date > first.entry.date:
                continue  # A lot that is known: something comes back to it.
            message = (
                f'The bottle name "{label}" is used twice: it was given on {first.entry.date} to '
                f"{first.stock.quantity} {first.stock.commodity}. Give each bottle a name of its own."
            )
            errors.append(LotError(dict(stock.meta), message, arrival.entry))
            name = _free_name(label, names, written)
        else:
            name = label
        names[name] = arrival
        if name != label:
            renamed.setdefault(id(arrival.entry), {})[stock.place] = name
        dear = _above_both_values(arrival, settings.roles)
        if dear is not None:
            errors.append(LotError(dict(stock.meta), dear, arrival.entry))
        if currency is not None and stock.cost.currency != currency:
            message = (
                f"The books are kept in {currency}, but this cost is in {stock.cost.currency}. Write what it "
                f"came to in {currency}: {stock.quantity} {stock.commodity} "
                f'{{{{... {currency}, "{name}"}}}}.'
            )
            errors.append(LotError(dict(stock.meta), message, arrival.entry))
    if not renamed:
        return entries, errors
    return [_rename(entry, renamed.get(id(entry))) for entry in entries], errors


def _above_both_values(arrival: Arrival, roles: AccountRoles) -> str | None:
    """Return what is wrong with a bottle owned before that comes in at more than it was ever worth."""
    _, entry, stock = arrival
    paid, market_value = (number_of(stock.meta.get(key)) for key in ("paid", "market-value"))
    if paid is None or market_value is None:
        return None
    of_day = roles.on(entry.date)
    if all(of_day.role(posting.account) is not Role.CONTRIBUTED for posting in entry.postings):
        return None
    cost = snap(stock.value, stock.cost.currency)
    if cost <= max(paid, market_value):
        return None
    return (
        f"{stock.cost.label or stock.commodity} comes in at {cost} {stock.cost.currency}, more than was paid "
        f"for it ({paid}) and more than its market value ({market_value}). Write the lower of the two."
    )


def _free_name(base: str, taken: dict[str, Arrival], written: set[str | None]) -> str:
    name, number = base, 1
    while name in taken or name in written:
        number += 1
        name = f"{base} {number}"
    return name


def _rename(entry: Any, names: dict[int, str] | None) -> Any:
    if names is None:
        return entry
    postings = list(entry.postings)
    for place, name in names.items():
        cost: Cost = postings[place].cost
        postings[place] = postings[place]._replace(cost=cost._replace(label=name))
    return entry._replace(postings=postings)
