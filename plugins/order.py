"""Which of two transactions of one day comes first, whatever the order in which they were written.

Beancount knows days, not hours, and its owner may sort a file as he likes. So that no figure depends on it,
transactions of one day are taken in the natural order of their links, payee and narration (order 9 before
order 10), then of their postings.
"""

from __future__ import annotations

import re
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING, TypeAlias, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from beancount.core.data import Posting, Transaction

Key: TypeAlias = tuple[object, ...]
T = TypeVar("T")

_DIGITS = re.compile(r"(\d+)")


def natural(text: str) -> Key:
    """Return a sort key under which numbers within text count as numbers."""
    parts: list[object] = _DIGITS.split(text)
    # By length, then by digits: a number of any length, without the limits of turning text into one.
    parts[1::2] = [(len(digits), digits) for digits in (str(number).lstrip("0") for number in parts[1::2])]
    return tuple(parts)


def link_key(entry: Transaction) -> Key:
    """Return a sort key from the links of a transaction."""
    return tuple([natural(link) for link in sorted(entry.links or ())])


def content_key(entry: Transaction) -> Key:
    """Return a sort key from what a transaction says, not from where it stands."""
    return (
        link_key(entry),
        natural(entry.payee or ""),
        natural(entry.narration or ""),
        [
            (posting.account, str(posting.units), str(posting.cost), str(posting.price), _wishes(posting))
            for posting in entry.postings
        ],
    )


def in_order(items: Iterable[T], entry_of: Callable[[T], Transaction]) -> list[T]:
    """Return what belongs to transactions in the order of their contents.

    Args:
        items: of one day, each of a transaction of its own.
        entry_of: gives the transaction.
    """
    keyed = sorted(((link_key(entry_of(item)), item) for item in items), key=itemgetter(0))
    ordered: list[T] = []
    for _, same in groupby(keyed, key=itemgetter(0)):
        ties = [item for _, item in same]
        if len(ties) > 1:
            # The links hardly ever leave it open; only then is the rest looked at.
            ties.sort(key=lambda item: content_key(entry_of(item)))
        ordered += ties
    return ordered


def _wishes(posting: Posting) -> list[str]:
    """Return what the metadata of a line asks for."""
    meta = posting.meta or {}
    return [str(meta.get(key)) for key in ("bottle", "vials", "loss")]
