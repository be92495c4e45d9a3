"""The unsorted lines of the books: income whose fragrance is not known yet."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from beancount.core.data import Transaction

from millilot.importers.problems import InputError
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import EVENT, ORDER, links_of
from millilot.ledger.money import weight

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Sequence
    from decimal import Decimal

    from beancount.core.data import Directive, Posting

    from millilot.ledger.accounts import AccountRoles


class SortError(InputError):
    """A line that cannot be sorted as asked."""


@dataclass(frozen=True, slots=True)
class UnsortedLine:
    """Income whose fragrance is not known.

    Attributes:
        name: what to call it by: its order's link without `order-`; with `:2` behind it for the second posting
            of an order in which several are unsorted; file and line for one without an order.
        order: the number of the order alone, or empty.
        channel: the channel's name as in links, or empty.
        date: the day of its transaction.
        title: what the channel called it; the text of the transaction where nothing else is known.
        sku: what the channel had in the column for it, or empty.
        quantity: how many of it.
        price: what was charged for all of them.
        currency: of the price.
        account: the account it stands on.
        file: the file it stands in.
        line: its line there.
        head: the line its transaction begins on.
    """

    name: str
    order: str
    channel: str
    date: datetime.date
    title: str
    sku: str
    quantity: int
    price: Decimal
    currency: str
    account: str
    file: str
    line: int
    head: int

    @property
    def place(self) -> str:
        """Its file and line."""
        return f"{Path(self.file).name}:{self.line}"


def unsorted_lines(entries: Iterable[Directive], roles: AccountRoles) -> list[UnsortedLine]:
    """Return the unsorted lines of loaded books, by day."""
    numbered = [
        (_read(entry, posting), number)
        for entry in entries
        if isinstance(entry, Transaction)
        for number, posting in enumerate(entry.postings, 1)
        if roles.on(entry.date).role(posting.account) is Role.UNSORTED and weight(posting).number <= 0
    ]
    of_order = Counter(line.name for line, _ in numbered)
    lines = [
        line if of_order[line.name] == 1 else replace(line, name=f"{line.name}:{number}")
        for line, number in numbered
    ]
    # Two transactions of one order may have it at the same place.
    of_name = Counter(line.name for line in lines)
    named = [line if line.name and of_name[line.name] == 1 else replace(line, name=line.place) for line in lines]
    return sorted(named, key=lambda line: line.date)


def find(lines: Sequence[UnsortedLine], name: str) -> UnsortedLine:
    """Return the line of a name: as listed, as a link, the number of its order alone, or its file and line.

    Raises:
        SortError: when there is none, or several.
    """
    wanted = name.removeprefix("^").removeprefix(ORDER)
    found = [line for line in lines if line.name == wanted]
    if not found:
        found = [line for line in lines if wanted in {line.order, line.name.rpartition(":")[0], line.place}]
    if len(found) == 1:
        return found[0]
    if found:
        raise SortError(f"{name}: expected one line, found {', '.join(line.name for line in found)}")
    raise SortError(f"{name}: expected an unsorted line, found none of this name; `millilot sort` lists them")


def _read(entry: Transaction, posting: Posting) -> UnsortedLine:
    meta = posting.meta or {}
    amount = weight(posting)
    key = entry.meta.get(EVENT)
    channel, _, order = (*key.split("/", 2), "", "", "")[:3] if isinstance(key, str) else ("", "", "")
    links = links_of(entry, ORDER)
    quantity = str(meta.get("quantity", ""))
    return UnsortedLine(
        name=links[0].removeprefix(ORDER) if links else "",
        order=order,
        channel=channel,
        date=entry.date,
        title=str(meta.get("title", entry.narration or "")),
        sku=str(meta.get("sku", "")),
        quantity=int(quantity) if quantity.isdecimal() and int(quantity) else 1,
        price=-amount.number,
        currency=amount.currency,
        account=posting.account,
        file=str(meta.get("filename", entry.meta["filename"])),
        line=int(meta.get("lineno") or entry.meta["lineno"]),
        head=int(entry.meta["lineno"]),
    )
