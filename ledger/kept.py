"""Figures that many reports ask for are worked out once: books never change, so what follows from them is kept."""

from __future__ import annotations

import inspect
from functools import lru_cache, partial, wraps
from threading import RLock
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

    from millilot.ledger.records import Books

P = ParamSpec("P")
T = TypeVar("T")

#: Of a function that takes a day or a range besides, as many as somebody goes back and forth between.
_MOST = 8


class Kept:
    """What was worked out from some books, by function and arguments."""

    def __init__(self) -> None:
        self._functions: dict[object, Callable[..., Any]] = {}
        # One thread works it out, and others wait: all have the same result. Functions ask for one another.
        self._lock = RLock()

    def once(self, books: Books, work: Callable[..., T], arguments: tuple[Any, ...]) -> T:
        """Return what a function makes of the books and some arguments."""
        with self._lock:
            known = self._functions.get(work)
            if known is None:
                known = self._functions[work] = lru_cache(_MOST)(partial(work, books))
            result: T = known(*arguments)
            return result


def once_per_books(work: Callable[Concatenate[Books, P], T]) -> Callable[Concatenate[Books, P], T]:
    """Let a pure function of books keep what it returned, for as long as the books are there.

    Args:
        work: takes books, and besides only what can be hashed; nobody may change what it returns.
    """
    signature = inspect.signature(work)

    @wraps(work)
    def kept(books: Books, /, *args: P.args, **kwargs: P.kwargs) -> T:
        # However a call is written, it is the same call.
        bound = signature.bind(books, *args, **kwargs)
        bound.apply_defaults()
        return books.kept.once(books, work, bound.args[1:])

    return kept
