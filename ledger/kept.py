"""Figures that many reports ask for are worked out once: books never change, so what follows from them is kept."""

from __future__ import annotations

from functools import lru_cache, partial, wraps
from typing import TYPE_CHECKING, Concatenate, ParamSpec, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

    from millilot.ledger.records import Books

P = ParamSpec("P")
T = TypeVar("T")

#: Of a function that takes a day or a range besides, more than anybody goes back and forth between.
_MOST = 24


def once_per_books(work: Callable[Concatenate[Books, P], T]) -> Callable[Concatenate[Books, P], T]:
    """Let a pure function of books keep what it returned, for as long as the books are there.

    Args:
        work: takes books, and besides only what can be hashed; nobody may change what it returns.
    """

    @wraps(work)
    def kept(books: Books, /, *args: P.args, **kwargs: P.kwargs) -> T:
        # Kept with the books themselves, so that it goes when they go.
        known = books.kept.get(work)
        if known is None:
            known = books.kept.setdefault(work, lru_cache(_MOST)(partial(work, books)))
        result: T = known(*args, **kwargs)
        return result

    return kept
