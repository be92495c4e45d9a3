"""How amounts are written: the decimal mark, the marks between thousands, and what stands around the digits."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from millilot.importers.amounts import currency_marks
from millilot.importers.proposal.words import side_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

_APOSTROPHES = "'\u2019\u2018\u02bc"
#: What stands for no amount.
NOTHING = frozenset({"", "-", "--", "\u2013", "\u2014"})
_CODES = (
    "USD|EUR|GBP|CHF|CAD|AUD|NZD|SEK|NOK|DKK|PLN|CZK|HUF|JPY|CNY|SGD|HKD|INR|BRL|MXN|ZAR|KRW|TRY|ILS|RON|ISK|THB|AED"
    "|KWD|BHD"
)
#: A currency, but not the letters of a number such as CAD-12.
CODE = re.compile(rf"(?<![A-Za-z])({_CODES})(?![A-Za-z]|-\d)")
_USUAL = tuple(_CODES.split("|"))
#: A word behind an amount, perhaps with a currency between.
_WORD_BEHIND = re.compile(
    rf"(?P<amount>.*\d\)?(?: ?(?:{_CODES}|[^\w\s.,'()+-]))?) ?(?P<word>[^\W\d_]+(?: [^\W\d_]+)?)"
)
#: No amount is longer.
_LONGEST = 40
_PLAIN = re.compile(r"[-+(]?[\d.,' ]+\)?-?")
#: A number with something before or behind it.
_AROUND = re.compile(
    r"[-+(]*(?P<before>[^-+()\d]*?) ?[-+(]*[.,]?\d(?:[\d.,' ]*\d)?[-+)]* ?(?P<behind>[^-+()\d]*)[-+)]*"
)
_BODY = re.compile(r"\d(?:[\d.,' ]*\d)?|[.,]\d+")


@dataclass(frozen=True, slots=True)
class Marks:
    """The marks of a file's numbers.

    Attributes:
        decimal: the decimal mark.
        thousands: the marks between thousands.
        sure: whether the numbers leave no other reading.
        because: why, in words.
        problem: what contradicts it, or empty.
    """

    decimal: str = "."
    thousands: tuple[str, ...] = ()
    sure: bool = False
    because: str = ""
    problem: str = ""


def word_behind(text: str) -> str:
    """Return the word, or the two, behind an amount that say which way it went, or nothing."""
    match = _WORD_BEHIND.fullmatch(text) if len(text) <= _LONGEST else None
    sign, of_bank = side_of(match["word"]) if match else (0, False)
    if match is None or not sign:
        return ""
    # A number with a letter, or with a word that is used of goods, is more likely that of something.
    telling = of_bank and len(match["word"]) > 1
    return match["word"] if telling or re.search(r"[.,]\d\d\b", match["amount"]) else ""


@lru_cache(maxsize=200_000)
def bare(text: str) -> tuple[str, bool] | None:
    """Return the digits and marks of a number and whether it is below 0; None when it is no number."""
    if not any(map(str.isdigit, text)) or len(text) > _LONGEST:
        return None
    word = word_behind(text)
    text = text.removesuffix(word).replace("\N{MINUS SIGN}", "-")
    for apostrophe in _APOSTROPHES:
        text = text.replace(apostrophe, "'")
    text = CODE.sub("", text)
    if not _PLAIN.fullmatch(text):
        text = text.replace(_sign_in(text), "", 1).strip()
    text = text.strip()
    negative = False
    if text.startswith("(") and text.endswith(")"):
        negative, text = True, text[1:-1].strip()
    if text.startswith(("-", "+")):
        negative, text = text[0] == "-", text[1:].strip()
    elif text.endswith("-"):
        negative, text = True, text[:-1].strip()
    sign = side_of(word)[0]
    if (negative and sign > 0) or not (_BODY.fullmatch(text) and text.isascii()):
        return None
    return text, negative or sign < 0


def currencies_of(text: str) -> tuple[str, ...]:
    """Return the currencies an amount may be in by its code or its sign, the usual ones first."""
    if match := CODE.search(text):
        return (match[1],)
    return _signs().get(_sign_in(text), ()) if any(map(str.isdigit, text)) and len(text) <= _LONGEST else ()


def usual(currencies: Iterable[str]) -> tuple[str, ...]:
    """Return those of some currencies that files are usually in, or all if there is none of them."""
    currencies = tuple(currencies)
    return tuple(code for code in currencies if code in _USUAL) or currencies


def _sign_in(text: str) -> str:
    """Return the sign of a currency that stands before or behind a number, or nothing."""
    match = _AROUND.fullmatch(text)
    return next((sign for sign in match.groups() if sign in _signs() and _marks(sign, text)), "") if match else ""


def _marks(sign: str, text: str) -> bool:
    """Whether a sign is meant as one: letters are more likely part of a number of something, such as R100."""
    letters = sign.removesuffix(".")
    if not letters.isalpha() or not letters.isascii():
        return True
    is_usual = any(code in _USUAL for code in _signs()[sign])
    if re.search(r"\d[.,]\d\d(?!\d)", text):
        return is_usual or len(letters) > 1
    return is_usual and len(letters) > 1 and (text.startswith(f"{sign} ") or text.endswith(sign))


@cache
def tender() -> frozenset[str]:
    """Return the codes of the currencies that are tender anywhere today."""
    # Only a file that names a currency pays for the import.
    from babel.core import get_global  # noqa: PLC0415

    return frozenset(
        code
        for currencies in get_global("territory_currencies").values()
        for code, _, end, used in currencies
        if end is None and used
    )


@cache
def _signs() -> Mapping[str, tuple[str, ...]]:
    """Return the currencies that are tender anywhere by the signs the importer reads, those of files first."""
    signs: dict[str, tuple[str, ...]] = {}
    for code in (*_USUAL, *sorted(tender().difference(_USUAL))):
        for mark in currency_marks(code) - {code}:
            signs[mark] = (*signs.get(mark, ()), code)
    return signs


def find_marks(texts: Iterable[str]) -> Marks:
    """Return the marks that the amounts of a file have in common."""
    decimals: Counter[str] = Counter()
    thousands: Counter[str] = Counter()
    either: Counter[str] = Counter()
    examples: dict[str, str] = {}
    for text in texts:
        number = bare(text)
        if number is None:
            continue
        body = number[0]
        marks = re.findall("[.,' ]", body)
        if not marks:
            continue
        last, tail = marks[-1], re.split("[.,' ]", body)[-1]
        kinds = set(marks)
        if len(kinds) > 1 and marks.count(last) == 1:
            decimals[last] += 1
            examples.setdefault(last, text)
            thousands.update(kinds - {last})
        elif len(marks) > 1 or last in "' ":
            thousands[last] += 1
        elif len(tail) != 3 or re.match(r"0[.,]|[.,]", body):
            decimals[last] += 1
            examples.setdefault(last, text)
        else:
            either[last] += 1
    return _judge(decimals, thousands, either, examples)


def _judge(
    decimals: Counter[str],
    thousands: Counter[str],
    either: Counter[str],
    examples: dict[str, str],
) -> Marks:
    if len(decimals) > 1:
        (first, one), (second, other) = decimals.most_common(2)
        problem = (
            f'decimals are written both ways: "{examples[first]}" ({one} times), "{examples[second]}" ({other})'
        )
        return Marks(first, (), sure=False, because="the mark of most amounts", problem=problem)
    if decimals:
        decimal = next(iter(decimals))
        marks = dict.fromkeys([*thousands, *either])
        marks.pop(decimal, None)
        problem = ""
        if thousands[decimal]:
            problem = f'"{decimal}" stands between thousands and before decimals'
        return Marks(
            decimal,
            tuple(marks),
            sure=not problem,
            because=f'amounts like "{examples[decimal]}"',
            problem=problem,
        )
    if thousands or either:
        marks = dict.fromkeys([*thousands, *either])
        decimal = "," if "." in marks else "."
        surely = not either
        because = "no amount has decimals" if surely else "marks before three digits, and no decimals anywhere"
        if len({*thousands, *either} & {".", ","}) > 1:
            return Marks(
                decimal, (), sure=False, because=because, problem='"." and "," both stand before three digits'
            )
        return Marks(decimal, tuple(marks), sure=surely, because=because)
    return Marks(".", (), sure=False, because="no amount has decimals or thousands")


def parse(text: str, marks: Marks) -> Decimal | None:
    """Return the number a cell says, None when it says none."""
    number = bare(text)
    if number is None:
        return None
    body, negative = number
    for mark in marks.thousands:
        mark_of = " " if mark.isspace() else "'" if mark in _APOSTROPHES else mark
        if re.fullmatch(rf"\d{{1,3}}(?:{re.escape(mark_of)}\d{{3}})+(?:{re.escape(marks.decimal)}\d*)?", body):
            body = body.replace(mark_of, "")
    match = re.fullmatch(rf"(\d*)(?:{re.escape(marks.decimal)}(\d+))?", body)
    if match is None:
        return None
    value = Decimal(f"{match[1] or '0'}.{match[2] or '0'}")
    return -value if negative else value
