"""Which way money went, by a word: the table `[direction]` of a profile.

The word stands in a column of its own or, where the profile names none, behind the amount: "12.00 DR". What the
keys mean, and an example of each, stands with all other keys in `millilot.importers.profile`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from millilot.importers.amounts import in_plain_marks

if TYPE_CHECKING:
    from collections.abc import Mapping

    from millilot.importers.section import Section


#: What amounts are written with.
_OF_AMOUNTS = re.compile(r"[\d.,']")


@dataclass(frozen=True, slots=True)
class Direction:
    """The words for what comes in and what goes out.

    Attributes:
        signs: 1 or -1 by the word, in lower case; the empty word stands for none at all.
        behind: finds a word behind an amount; its groups are `amount` and `word`.
        expected: the words as the profile has them, for a message.
    """

    signs: Mapping[str, int]
    behind: re.Pattern[str]
    expected: str

    def sign(self, word: str) -> int | None:
        """Return 1 for what comes in, -1 for what goes out, None for a word of neither."""
        return self.signs.get(in_plain_marks(word).casefold())

    def split(self, text: str) -> tuple[str, str]:
        """Return an amount and the word behind it, which is empty if there is none."""
        match = self.behind.fullmatch(in_plain_marks(text))
        return (match["amount"], match["word"]) if match else (text, "")


def read_direction(table: Section, *, is_behind: bool) -> Direction:
    """Read the table `[direction]`.

    Args:
        table: the table.
        is_behind: whether the words stand behind the amounts.

    Raises:
        ProfileError: when it has no words, one means both, or one could be a part of the amount before it.
    """
    signs: dict[str, int] = {}
    written = []
    spellings: set[str] = set()
    for key, sign in (("in", 1), ("out", -1)):
        for text in table.texts(key, may_be_empty=True):
            word = " ".join(in_plain_marks(text).casefold().split())
            if is_behind and _OF_AMOUNTS.search(word):
                problem = f'{key}: "{text}" could be a part of the amount; [columns] direction names a column'
                raise table.problem(problem)
            spellings |= {word, " ".join(in_plain_marks(text).split())}
            if signs.setdefault(word, sign) != sign:
                raise table.problem(f'out: has "{text}", and so has in')
            written.append(text)
    if not any(signs):
        raise table.problem("expected words under in, out or both, found none")
    table.close()
    words = "|".join(re.escape(word) for word in sorted(spellings, key=len, reverse=True) if word)
    # A word does not begin within another, such as the code of a currency.
    behind = re.compile(rf"(?P<amount>.*?)(?: |(?<![^\W\d_]))(?P<word>{words})", re.IGNORECASE)
    expected = ", ".join(filter(None, written)) + (" or no word" if "" in signs else "")
    return Direction(signs, behind, f"one of {expected}")
