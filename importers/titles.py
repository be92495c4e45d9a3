"""From a title or SKU to what was poured: fragrance, mL and vials; nothing where there is doubt."""

from __future__ import annotations

import re
from collections import defaultdict
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from millilot.importers.spelling import plain
from millilot.importers.title_rules import Pour

if TYPE_CHECKING:
    from collections.abc import Iterable

    from millilot.importers.title_rules import TitleRules
    from millilot.ledger.directives import Commodity

#: Words of a title that do not tell one fragrance from another, nor a decant from anything else.
_PLAIN_WORDS = frozenset(
    {
        "a", "atomiser", "atomizer", "cologne", "de", "decant", "decants", "eau", "fragrance", "glass",
        "hand", "in", "of", "parfum", "perfume", "poured", "sample", "samples", "scent", "size", "spray",
        "sprayer", "the", "travel", "vial", "vials",
    },
)
_SIZE = re.compile(
    r"(?:(?P<before>\d+)\s*[x\N{MULTIPLICATION SIGN}]\s*)?"
    r"(?P<ml>\d+(?:[.,]\d+)?)\s*ml\b"
    r"(?:\s*[x\N{MULTIPLICATION SIGN}]\s*(?P<after>\d+)\b)?",
)
_WORD = re.compile(r"[^\W_]+(?:['\N{RIGHT SINGLE QUOTATION MARK}][^\W_]+)*")


class TitleReader:
    """Knows the fragrances of the books and the rules of a profile."""

    def __init__(self, rules: TitleRules, commodities: Iterable[Commodity]) -> None:
        self._rules = rules
        self._known: dict[tuple[str, str], Pour | None] = {}
        self._codes: defaultdict[str, set[str]] = defaultdict(set)
        self._strength = {}
        for commodity in commodities:
            if commodity.is_fragrance:
                self._strength[commodity.code] = frozenset(_words(commodity.strength))
                self._codes[plain(commodity.name)].add(commodity.code)
                self._codes[plain(commodity.code)].add(commodity.code)
        for name, code in rules.names.items():
            self._codes[name] = {code}

    def pour(self, sku: str, title: str) -> Pour | None:
        """Return what one item of this title takes out of a bottle, None when that is not certain."""
        try:
            return self._known[sku, title]
        except KeyError:
            pour = self._known[sku, title] = self._read(sku, plain(title))
            return pour

    def _read(self, sku: str, title: str) -> Pour | None:
        if sku in self._rules.skus:
            return self._rules.skus[sku]
        if title in self._rules.items:
            return self._rules.items[title]
        if self._rules.pattern is not None:
            return self._by_pattern(self._rules.pattern, title)
        return self._by_words(title)

    def _by_pattern(self, pattern: re.Pattern[str], title: str) -> Pour | None:
        match = pattern.fullmatch(title)
        if match is None:
            return None
        found = match.groupdict()
        name = plain(self._without_ignored(found["name"] or ""))
        codes = set(self._codes.get(name, ()))
        if len(codes) != 1:
            return None
        return _pour(codes.pop(), found["ml"], found.get("vials"))

    def _by_words(self, title: str) -> Pour | None:
        sizes = list(_SIZE.finditer(title))
        if len(sizes) != 1 or (sizes[0]["before"] and sizes[0]["after"]):
            return None
        size = sizes[0]
        # A mark in place of the size keeps the words on its two sides from making a name.
        rest = self._without_ignored(f"{title[:size.start()]} | {title[size.end():]}")
        codes = set()
        for name, named in self._codes.items():
            # Few of the names occur at all, and to look for one is cheap.
            if name not in rest:
                continue
            others, count = re.subn(rf"(?<!\w){re.escape(name)}(?!\w)", " | ", rest)
            if count == 1:
                words = set(_words(others)) - _PLAIN_WORDS
                codes |= {code for code in named if words <= self._strength.get(code, frozenset())}
        if len(codes) != 1:
            return None
        return _pour(codes.pop(), size["ml"], size["before"] or size["after"])

    def _without_ignored(self, text: str) -> str:
        for words in self._rules.ignore:
            text = re.sub(rf"(?<!\w){re.escape(words)}(?!\w)", " ", text)
        return " ".join(text.split())


def _words(text: str) -> list[str]:
    return _WORD.findall(text.casefold())


def _pour(code: str, ml: str | None, vials: str | None) -> Pour | None:
    try:
        size = Decimal((ml or "").replace(",", "."))
        count = int(vials) if vials else 1
    except (InvalidOperation, ValueError):
        return None
    return Pour(code, size, count) if size > 0 and count >= 0 and size.is_finite() else None
