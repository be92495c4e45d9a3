"""What a profile says about titles: the tables under `[titles]`.

The keys are described at the top of `millilot.importers.profile`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.amount import CURRENCY_RE

from millilot.importers.section import REQUIRED
from millilot.importers.spelling import fold

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from millilot.importers.section import Section


@dataclass(frozen=True, slots=True)
class Pour:
    """What one sold item takes out of a bottle: mL of one vial, and how many vials (0: sold unopened)."""

    fragrance: str
    ml: Decimal
    vials: int = 1

    @property
    def total(self) -> Decimal:
        """All mL that leave the bottle."""
        return self.ml * max(self.vials, 1)


class Part(NamedTuple):
    """A part of a set: what it takes out of a bottle, and what it costs on its own (0 when not stated)."""

    pour: Pour
    list_price: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Bundle:
    """A set sold as one item; its price is shared over the parts by `list` price, or by `cost`."""

    parts: tuple[Part, ...]
    share: str = "list"


@dataclass(frozen=True, slots=True)
class TitleRules:
    """How a title or a SKU gives a pour; keys of names and items are folded, those of sets as written."""

    pattern: re.Pattern[str] | None = None
    ignore: tuple[str, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)
    items: Mapping[str, Pour] = field(default_factory=dict)
    skus: Mapping[str, Pour] = field(default_factory=dict)
    sets: Mapping[str, Bundle] = field(default_factory=dict)


def read_titles(table: Section) -> TitleRules:
    """Read the tables under `[titles]`.

    Raises:
        ProfileError: with file and key, when something is unknown or of the wrong kind.
    """
    names = table.section("names")
    items = table.section("items")
    skus = table.section("skus")
    sets = table.section("sets")
    rules = TitleRules(
        pattern=_read_pattern(table),
        ignore=tuple(fold(words) for words in table.texts("ignore")),
        names={key: _read_commodity(names, written) for key, written in _folded(names)},
        items={key: _read_pour(items.section(written)) for key, written in _folded(items)},
        skus={key: _read_pour(skus.section(key)) for key in skus.free()},
        sets={written: _read_set(sets.section(written)) for _, written in _folded(sets)},
    )
    for key in rules.sets:
        if key in rules.skus or fold(key) in rules.items:
            raise sets.problem(f'"{key}" is in [titles.items] or [titles.skus] as well; expected it once')
    table.close()
    return rules


def _read_pattern(table: Section) -> re.Pattern[str] | None:
    pattern = table.pattern("pattern", re.IGNORECASE)
    if pattern is None:
        return None
    if missing := {"name", "ml"} - set(pattern.groupindex):
        expected = " and ".join(f"(?P<{group}>...)" for group in sorted(missing))
        raise table.problem(f"pattern: expected the named group {expected}, found none")
    return pattern


def _folded(table: Section) -> Iterable[tuple[str, str]]:
    """Return the keys of a table as titles are compared, and as they are written."""
    keys: dict[str, str] = {}
    for written in table.free():
        same = keys.setdefault(fold(written), written)
        if same != written:
            raise table.problem(f'"{same}" and "{written}" are the same title; expected one of them')
    return keys.items()


def _read_pour(table: Section) -> Pour:
    pour = _pour_of(table)
    table.close()
    return pour


def _pour_of(table: Section) -> Pour:
    ml = _above_nought(table, "ml", "a number of mL above 0")
    return Pour(_read_commodity(table, "fragrance"), ml, table.count("vials", 1))


def _read_set(table: Section) -> Bundle:
    share = table.choice("share", ("list", "cost"), "list")
    parts = []
    for part in table.sections("parts"):
        pour = _pour_of(part)
        price = _above_nought(part, "list", "a price above 0") if share == "list" else Decimal(0)
        part.close()
        parts.append(Part(pour, price))
    if not parts:
        raise table.problem('parts: expected a list like [{ fragrance = "CEDARHOUR", ml = 2, list = 6.50 }]')
    table.close()
    return Bundle(tuple(parts), share)


def _above_nought(table: Section, key: str, words: str) -> Decimal:
    number = Decimal(table.get(key, (int, Decimal), words, REQUIRED))
    if not number.is_finite() or number <= 0:
        raise table.problem(f"{key}: expected {words}, found {number}")
    return number


def _read_commodity(table: Section, key: str) -> str:
    code = table.text(key)
    if not re.fullmatch(CURRENCY_RE, code):
        raise table.problem(f'{key}: expected a commodity like "CEDARHOUR", found "{code}"')
    return code
