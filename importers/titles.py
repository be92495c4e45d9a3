"""From a title or SKU to what was poured: fragrance, mL and vials; nothing where there is doubt.

A reading is as certain as the share of words that it and the title have in common; the size counts as one word.
Plain words, such as "decant", count for neither. Only a certain reading, at 100 %, is booked: the title names
one fragrance, in one piece, and one size, and says nothing else. What the profile states is always certain.
Anything below is a suggestion to the owner::

    2 x Cedar Hour EDP 5ml sprayer     CEDARHOUR 5 mL x 2, 100 %
    Cedar Hour Intense 5 mL            CEDARHOUR 5 mL, 75 %: "intense" is not in the books

Where the name of one fragrance holds that of another, a title that fits the longer name means the longer. Names
are compared as whole words; an unknown word is never passed over.
"""

from __future__ import annotations

import re
from collections import defaultdict
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, NamedTuple

from millilot.importers.sizes import read_size
from millilot.importers.spelling import fold, plain
from millilot.importers.title_rules import Pour

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from millilot.importers.sizes import Size
    from millilot.importers.title_rules import Bundle, TitleRules
    from millilot.ledger.directives import Commodity

#: What a reading must reach to be booked, in %.
CERTAIN = 100
#: What a suggestion can reach, and must reach to be worth showing.
_LIKELY, _REMOTE = 90, 30

#: Characters a title may have; what is longer is a text of some other kind.
_LONGEST = 500

#: Words of a title that do not tell one fragrance from another, nor a decant from anything else; without accents,
#: in the languages of the headings that `millilot profile` knows.
_PLAIN_WORDS = frozenset(
    """
    a atomiser atomizer dabber decant decanted decants fragrance glass hand in of perfume poured rebottled sample
    samples scent size spray sprayer sprays the travel vial vials
    abfullung abgefullt duft duftprobe flakon im mit parfumprobe probe proben reisegrosse zerstauber
    decante echantillon echantillons en flacon vapo vaporisateur
    atomizador frasco muestra vaporizador
    atomizzatore campioncino campione flacone profumo spruzzo vaporizzatore
    flesje geur met proefje staaltje verstuiver
    """.split(),  # noqa: SIM905  # a list of fifty quoted words is no easier to read
)
#: How strengths are written, the longer ways first.
_STRENGTHS: dict[tuple[str, ...], str] = {
    ("eau", "de", "toilette"): "edt",
    ("eau", "de", "parfum"): "edp",
    ("eau", "de", "cologne"): "edc",
    ("extrait", "de", "parfum"): "extrait",
    ("parfum", "extrait"): "extrait",
    ("extrait",): "extrait",
    ("edt",): "edt",
    ("edp",): "edp",
    ("edc",): "edc",
    ("parfum",): "parfum",
    ("cologne",): "cologne",
}
_STRENGTH_WORDS = frozenset(_STRENGTHS.values())

#: Words, and marks between them; a full stop and a hyphen within a word join what a comma keeps apart.
_TOKEN = re.compile(r"(?P<joint>(?<!\s)[-\N{HYPHEN}](?!\s)|[.'\"])|[^\W_]+(?:'[^\W_]+)*|[^\w\s]|_")
_BREAK = "|"


class _Token(NamedTuple):
    text: str
    start: int
    end: int


class _Named(NamedTuple):
    """The name of a fragrance in a title: the first of its words, the first one behind, and the codes it has."""

    start: int
    end: int
    codes: frozenset[str]


class Guess(NamedTuple):
    """What one item may take out of a bottle; ml is None when the title does not say."""

    fragrance: str
    ml: Decimal | None
    vials: int = 1

    def __str__(self) -> str:
        size = "? mL" if self.ml is None else f"{self.ml:f} mL"
        return f"{self.fragrance} {size}" if self.vials == 1 else f"{self.fragrance} {size} x {self.vials}"


class Suggestion(NamedTuple):
    """A way to read a title: what it takes out of one bottle, or of several, and how certain that is, in %."""

    parts: tuple[Guess, ...]
    certainty: int

    def __str__(self) -> str:
        return " + ".join(map(str, self.parts))


class TitleReader:
    """Knows the fragrances of the books and the rules of a profile."""

    def __init__(self, rules: TitleRules, commodities: Iterable[Commodity]) -> None:
        self._rules = rules
        self._known: dict[tuple[str, str, int], Pour | Bundle | None] = {}
        self._sets = {fold(name): bundle for name, bundle in rules.sets.items()}
        self._ignored = [_words(words) for words in rules.ignore]
        self._strength: dict[str, frozenset[str]] = {}
        codes: defaultdict[tuple[str, ...], set[str]] = defaultdict(set)
        for commodity in commodities:
            if commodity.is_fragrance:
                self._strength[commodity.code] = frozenset(_canonical(_words(fold(commodity.strength))))
                codes[_words(fold(commodity.name))].add(commodity.code)
                codes[_words(fold(commodity.code))].add(commodity.code)
        for other, code in rules.names.items():
            codes[_words(other)] = {code}
        codes.pop((), None)
        self._codes = {name: frozenset(named) for name, named in codes.items()}
        self._lengths = sorted({len(name) for name in self._codes})

    def read(self, sku: str, title: str, quantity: int = 1) -> Pour | Bundle | None:
        """Return what one item of this title takes out of its bottle or bottles, None when that is not certain.

        Args:
            sku: what the channel has in the column for it, or empty.
            title: what the channel calls it.
            quantity: how many of it were sold; a title that begins with the same number is in doubt.
        """
        try:
            return self._known[sku, title, quantity]
        except KeyError:
            sold = self._known[sku, title, quantity] = self._read(sku, title, quantity)
            return sold

    def suggest(self, sku: str, title: str, quantity: int = 1, most: int = 3) -> list[Suggestion]:
        """Return the best ways to read a title, the most certain first; the certain one stands alone."""
        sold = self.read(sku, title, quantity)
        if sold is not None:
            pours = (sold,) if isinstance(sold, Pour) else tuple(part.pour for part in sold.parts)
            return [Suggestion(tuple(Guess(pour.fragrance, pour.ml, pour.vials) for pour in pours), CERTAIN)]
        if len(title) > _LONGEST:
            return []
        likely = sorted(self._likely(fold(title), quantity), key=lambda each: (-each.certainty, each.parts))
        return likely[:most]

    def doubt(self, sku: str, title: str, quantity: int = 1) -> str:
        """Return why a title is not certain, in words; empty for one that is."""
        return "" if self.read(sku, title, quantity) is not None else next(self._doubts(fold(title), quantity))

    def _doubts(self, title: str, quantity: int) -> Iterator[str]:
        """Yield what keeps a title from being certain, the plainest first."""
        size, tokens = read_size(title), _tokens(title)
        names = list(self._names(tokens))
        if not title:
            yield "it has no title"
        if self._rules.pattern is not None:
            yield "its title does not fit the pattern with a fragrance of the books"
        if len(names) != 1:
            yield f"its title names {'several fragrances' if names else 'no fragrance of the books'}"
        if size.ml is None:
            yield "its title names no size in mL"
        if not _is_settled(size, quantity):
            yield "its title leaves open how many vials of which size it is"
        [named] = names
        rest = [token for place, token in enumerate(tokens) if not named.start <= place < named.end]
        if words := sorted(self._telling(rest, size)):
            quoted = ", ".join(f'"{word}"' for word in words)
            yield f"its title has {quoted}, which may mean another fragrance; if not, add it to [titles] ignore"
        yield "its title fits several fragrances of the books"

    def in_the_way(self, title: str) -> Iterator[tuple[str, frozenset[str]]]:
        """Yield the fragrance that a title names, with the words in the way of being certain.

        Nothing where the title does not name one fragrance and one size, or is certain.
        """
        if len(title) > _LONGEST:
            return
        folded = fold(title)
        size = read_size(folded)
        tokens = _tokens(folded)
        names = list(self._names(tokens))
        if len(names) != 1 or size.ml is None or not size.certain or self.read("", title) is not None:
            return
        [named] = names
        rest = [token for place, token in enumerate(tokens) if not named.start <= place < named.end]
        words = frozenset(self._telling(rest, size) - _STRENGTH_WORDS)
        known = {word for name in self._codes for word in name} | set().union(*self._strength.values())
        if len(named.codes) == 1 and words and not words & known:
            yield min(named.codes), words

    def _read(self, sku: str, title: str, quantity: int) -> Pour | Bundle | None:
        stated = self._rules.skus.get(sku) or self._rules.sets.get(sku)
        if stated is not None or len(title) > _LONGEST:
            return stated
        folded = fold(title)
        stated = self._rules.items.get(folded) or self._sets.get(folded)
        if stated is not None:
            return stated
        if self._rules.pattern is not None:
            return self._by_pattern(self._rules.pattern, plain(title))
        return self._by_words(folded, quantity)

    def _by_pattern(self, pattern: re.Pattern[str], title: str) -> Pour | None:
        match = pattern.fullmatch(title)
        if match is None:
            return None
        found = match.groupdict()
        tokens = _tokens(fold(found["name"] or ""))
        ignored = self._ignored_places(tokens)
        name = [token.text for place, token in enumerate(tokens) if place not in ignored]
        codes = self._codes.get(_without_edges(name), frozenset())
        return _pour(min(codes), found["ml"], found.get("vials")) if len(codes) == 1 else None

    def _by_words(self, title: str, quantity: int) -> Pour | None:
        size = read_size(title)
        tokens = _tokens(title)
        names = list(self._names(tokens))
        if size.ml is None or not _is_settled(size, quantity) or len(names) != 1:
            return None
        [named] = names
        if any(_overlap(tokens[place], size) for place in range(named.start, named.end)):
            return None
        rest = [token for place, token in enumerate(tokens) if not named.start <= place < named.end]
        codes = self._of_strength(named.codes, self._telling(rest, size))
        return Pour(min(codes), size.ml, size.vials) if len(codes) == 1 else None

    def _names(self, tokens: Sequence[_Token]) -> Iterator[_Named]:
        """Yield the names in a title that are no part of a longer one."""
        texts = tuple(token.text for token in tokens)
        spans = [
            (start, start + length)
            for start in range(len(texts))
            for length in self._lengths
            if start + length <= len(texts) and texts[start : start + length] in self._codes
        ]
        for start, end in spans:
            if not any(a <= start and end <= b and (a, b) != (start, end) for a, b in spans):
                yield _Named(start, end, self._codes[texts[start:end]])

    def _telling(self, tokens: Sequence[_Token], size: Size) -> set[str]:
        """Return the words, other than names, that say something; strengths in one way of writing."""
        ignored = self._ignored_places(tokens)
        words = [
            token.text
            for place, token in enumerate(tokens)
            if place not in ignored and token.text != _BREAK and not _overlap(token, size)
        ]
        return set(_canonical(words)) - _PLAIN_WORDS

    def _ignored_places(self, tokens: Sequence[_Token]) -> set[int]:
        texts = tuple(token.text for token in tokens)
        return {
            place
            for words in self._ignored
            for start in range(len(texts))
            if texts[start : start + len(words)] == words
            for place in range(start, start + len(words))
        }

    def _of_strength(self, codes: Iterable[str], said: set[str]) -> set[str]:
        """Return the fragrances of one name that the other words of a title fit."""
        generic = {"cologne"}
        exact = {code for code in codes if self._strength.get(code, frozenset()) == said}
        if exact and said:
            return exact
        fitting = set()
        for code in codes:
            strength = self._strength.get(code, frozenset())
            special = strength - _STRENGTH_WORDS
            others = said - _STRENGTH_WORDS
            stated = said & _STRENGTH_WORDS - generic
            if special == others and (not stated or not strength & _STRENGTH_WORDS or stated <= strength):
                fitting.add(code)
        return fitting

    def _likely(self, title: str, quantity: int) -> Iterator[Suggestion]:
        """Yield the fragrances that share a word with a title, each with its most certain name."""
        size = read_size(title)
        said = self._telling(_tokens(title), size)
        settled = _is_settled(size, quantity)
        best: dict[str, int] = {}
        for name, codes in self._codes.items():
            words = set(_canonical(name)) - {_BREAK}
            if not words & said:
                continue
            for code in codes:
                strength = self._strength.get(code, frozenset())
                special = strength if said & _STRENGTH_WORDS or len(codes) > 1 else strength - _STRENGTH_WORDS
                meant = words | special
                common = len(said & meant) + settled
                share = 100 * common // (len(said | meant) + 1)
                best[code] = max(best.get(code, 0), min(share, _LIKELY))
        for code, certainty in best.items():
            if certainty >= _REMOTE:
                yield Suggestion((Guess(code, size.ml, size.vials),), certainty)


def _is_settled(size: Size, quantity: int) -> bool:
    """Whether a size is certain, given how many items were sold."""
    return size.certain and not (quantity > 1 and size.leads == quantity)


def _tokens(folded: str) -> list[_Token]:
    tokens = []
    for match in _TOKEN.finditer(folded):
        if match["joint"]:
            continue
        text = match[0] if match[0][0].isalnum() else _BREAK
        tokens.append(_Token("and" if match[0] == "&" else text, *match.span()))
    return tokens


def _words(folded: str) -> tuple[str, ...]:
    return _without_edges([token.text for token in _tokens(folded)])


def _without_edges(texts: Sequence[str]) -> tuple[str, ...]:
    """Return words with the marks between them, but none before the first word or after the last."""
    places = [place for place, text in enumerate(texts) if text != _BREAK]
    return tuple(texts[places[0] : places[-1] + 1]) if places else ()


def _overlap(token: _Token, size: Size) -> bool:
    return any(token.start < end and start < token.end for start, end in size.spans)


def _canonical(words: Sequence[str]) -> list[str]:
    """Return words with each way of writing a strength as one word."""
    result = []
    place = 0
    while place < len(words):
        for way, strength in _STRENGTHS.items():
            if tuple(words[place : place + len(way)]) == way:
                result.append(strength)
                place += len(way)
                break
        else:
            result.append(words[place])
            place += 1
    return result


def _pour(code: str, ml: str | None, vials: str | None) -> Pour | None:
    try:
        size = Decimal((ml or "").replace(",", "."))
        count = int(vials) if vials else 1
    except (InvalidOperation, ValueError):
        return None
    return Pour(code, size, count) if size.is_finite() and size > 0 and count >= 0 else None
