"""How text is made to fit a label: in smaller type, over more lines, and cut short at the last.

A page without a script cannot measure its text, so its lines are broken here, by the widths of a common sans-serif
type and something over for those that are wider.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from itertools import product
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

#: A line is so much higher than its type. The page sets it so too.
LINE = Decimal("1.2")

ELLIPSIS = "…"

#: Widths in thousandths of the height of the type, each with the characters that are no wider.
_WIDTHS = {
    280: "ijl'|ftI .,:;!/[]\\",
    360: 'r()-`"·*',
    500: "ckvxyzsJ",
    560: "abdeghnopquL0123456789?_#$",
    670: "FTZABEKPSVXY&+=<>~^",
    780: "wCDHNRUGOQ",
    860: "mM",
    1020: "W@%—…",
}
_OF = {character: Decimal(width) / 1000 for width, characters in _WIDTHS.items() for character in characters}
_OTHER, _WIDE = Decimal("1.1"), Decimal("1.4")
_SLACK = Decimal("1.1")
_BOLD = Decimal("1.08")

#: How large the text of a label is set, and its name beside the text; what is largest together is tried first.
_SCALES = sorted(
    (
        (Decimal(of_text) / 100, Decimal(of_name) / 100)
        for of_text, of_name in product(range(90, 165, 5), range(60, 105, 5))
    ),
    key=lambda scales: (scales[0] * scales[1], scales[1]),
    reverse=True,
)
#: How much of a text is kept at each step of cutting it short.
_SHORTER = Decimal("0.9")


@dataclass(frozen=True, slots=True)
class Part:
    """A paragraph of a label.

    Attributes:
        text: what it says and may be cut short.
        size: the height of its type at the usual scale, in mm.
        before: what stands in front of that, and is never cut.
        behind: what stands behind it, and is never cut.
        bold: whether its type is bold.
        is_name: whether it may be set smaller than the rest.
    """

    text: str
    size: Decimal
    before: str = ""
    behind: str = ""
    bold: bool = False
    is_name: bool = False


@dataclass(frozen=True, slots=True)
class Set:
    """A paragraph as it is set.

    Attributes:
        lines: its lines.
        size: the height of its type, in mm.
        bold: whether its type is bold.
    """

    lines: tuple[str, ...]
    size: Decimal
    bold: bool


def fit(parts: Sequence[Part], width: Decimal, height: Decimal) -> list[Set]:
    """Return the paragraphs of a label in the size in which they fit.

    Args:
        parts: from top to bottom.
        width: room across, in mm.
        height: room down, in mm.

    Raises:
        ValueError: the label is too small for what is never cut.
    """
    while not _fits(smallest := _set(parts, width, *_SCALES[-1]), height):
        longest = max(range(len(parts)), key=lambda place: _width(parts[place].text))
        kept = parts[longest].text.removesuffix(ELLIPSIS)
        if not kept:
            raise ValueError("the label is too small for its text")
        kept = kept[: int(len(kept) * _SHORTER)].rstrip()
        parts = [
            replace(part, text=kept + ELLIPSIS) if place == longest else part for place, part in enumerate(parts)
        ]
    larger = (_set(parts, width, *scales) for scales in _SCALES)
    return next((paragraphs for paragraphs in larger if _fits(paragraphs, height)), smallest)


def _fits(paragraphs: Iterable[Set], height: Decimal) -> bool:
    return sum((each.size * LINE * len(each.lines) for each in paragraphs), Decimal(0)) <= height


def _set(parts: Iterable[Part], width: Decimal, of_text: Decimal, of_name: Decimal) -> list[Set]:
    """Return the paragraphs at the scale of the text and that of the name beside it."""
    paragraphs = []
    for part in parts:
        size = part.size * of_text * (of_name if part.is_name else 1)
        room = width / size / _SLACK / (_BOLD if part.bold else 1)
        lines = tuple(_broken(f"{part.before}{part.text}{part.behind}", room))
        paragraphs.append(Set(lines, size, part.bold))
    return paragraphs


def _broken(text: str, room: Decimal) -> Iterator[str]:
    """Yield a text in lines, filled word by word; a word that is longer than a line is broken anywhere."""
    line, filled = "", Decimal(0)
    for word in text.split():
        longer = filled + (_of_character(" ") if line else 0) + _width(word)
        if longer <= room:
            line, filled = f"{line} {word}" if line else word, longer
            continue
        if line:
            yield line
        line, filled = "", Decimal(0)
        for character in word:
            wide = _of_character(character)
            if line and filled + wide > room:
                yield line
                line, filled = "", Decimal(0)
            line, filled = line + character, filled + wide
    if line:
        yield line


def _width(text: str) -> Decimal:
    return sum(map(_of_character, text), Decimal(0))


@cache
def _of_character(character: str) -> Decimal:
    if unicodedata.category(character) in {"Mn", "Me", "Cf"}:
        return Decimal(0)
    if unicodedata.east_asian_width(character) in {"W", "F"}:
        return _WIDE
    # An accent makes a letter no wider.
    plain = unicodedata.normalize("NFD", character)[0]
    return _OF.get(plain, _OTHER)
