"""Entries as text for the books.

Beancount's own printer turns `@@ 10.00` over 3 mL into a price of 28 digits for one; here a total stays the
total that was charged, in minor units, and every posting has its number.
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, cast

from millilot.ledger.money import minor_unit

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from beancount.core.data import Posting, Transaction

#: Metadata that says where an entry stands, rather than what it is.
_PLACE = frozenset({"filename", "lineno"})


def format_entries(transactions: Iterable[Transaction]) -> str:
    """Return transactions as Beancount text, a blank line between them."""
    return "\n".join(map(format_entry, transactions))


def format_entry(transaction: Transaction) -> str:
    """Return a transaction without payee, of plain and priced postings, as text that ends in a line break."""
    return "\n".join([*_lines(transaction), ""])


def _lines(transaction: Transaction) -> Iterator[str]:
    head = [transaction.date.isoformat(), str(transaction.flag), _quoted(transaction.narration or "")]
    head.extend(f"#{tag}" for tag in sorted(transaction.tags))
    head.extend(f"^{link}" for link in sorted(transaction.links))
    yield " ".join(head)
    yield from metadata_text(transaction.meta, "  ")
    left = [(posting.account, *units_text(posting)) for posting in transaction.postings]
    width = max(len(account) for account, _, _ in left)
    digits = max(len(number) for _, number, _ in left)
    for posting, (account, number, rest) in zip(transaction.postings, left, strict=True):
        yield f"  {account:<{width}}  {number:>{digits}} {rest}"
        yield from metadata_text(posting.meta or {}, "    ")


def units_text(posting: Posting) -> tuple[str, str]:
    """Return the number of a posting and what follows it."""
    # Ours have every number; Beancount's types allow for entries that booking is to complete.
    number, currency = cast("tuple[Decimal, str]", posting.units)
    if posting.price is None:
        return str(number.quantize(minor_unit(currency))), currency
    price, of_price = cast("tuple[Decimal, str]", posting.price)
    total = (abs(number) * price).quantize(minor_unit(of_price))
    return _plain(number), f"{currency} @@ {total} {of_price}"


def _plain(number: Decimal) -> str:
    """Return a quantity without trailing zeros."""
    return f"{number.normalize():f}"


def metadata_text(meta: dict[str, Any], indent: str) -> Iterator[str]:
    """Yield the lines of metadata that say what an entry is."""
    for key, value in meta.items():
        if key not in _PLACE and not key.startswith("__"):
            yield f"{indent}{key}: {_value(value)}"


def _value(value: object) -> str:
    if isinstance(value, Decimal):
        return _plain(value)
    if isinstance(value, datetime.date):
        return value.isoformat()
    return _quoted(str(value))


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
