"""Names that are in no books, and those they may have been meant for."""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

#: So many near names are told at most.
_NEAR = 5


class UnknownNameError(LookupError):
    """Nothing in the books has this name; the message names the nearest."""


def near(name: str, known: Iterable[str]) -> str:
    """Return a sentence with the known names nearest to a name, to follow what says that it is unknown."""
    by_lower = {each.lower(): each for each in sorted(known)}
    close = get_close_matches(name.lower(), by_lower, n=_NEAR)
    return f" Near it: {', '.join(by_lower[each] for each in close)}." if close else ""
