"""From text to an amount, by what the profile says of the file's numbers."""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from millilot.importers.dialect import APOSTROPHES, kin
from millilot.ledger.money import minor_digits

if TYPE_CHECKING:
    from collections.abc import Iterator

    from babel import Locale

    from millilot.importers.dialect import Numbers
    from millilot.importers.direction import Direction

#: Nothing sold here costs more digits, and sums of such amounts stay exact.
MOST_DIGITS = 12

#: No number, however it is grouped and marked, is longer; anything longer need not be looked at.
_MOST_CHARACTERS = 100

_DASHES = (
    "\N{MINUS SIGN}\N{HYPHEN}\N{NON-BREAKING HYPHEN}\N{FIGURE DASH}\N{EN DASH}\N{EM DASH}"
    "\N{SMALL HYPHEN-MINUS}\N{FULLWIDTH HYPHEN-MINUS}"
)

#: Marks of one kind become one mark. Spaces have become plain ones when the cells were read.
_KIN = str.maketrans(dict.fromkeys(_DASHES, "-") | dict.fromkeys(APOSTROPHES, "'"))

#: What channels write where there is nothing to say.
_NOTHING = re.compile("-{0,3}")


class UnreadableError(ValueError):
    """A text that cannot be read; the message says what was expected."""


def is_nothing(text: str) -> bool:
    """Whether a cell is empty, or has dashes only."""
    return _NOTHING.fullmatch(text.translate(_KIN)) is not None


def in_plain_marks(text: str) -> str:
    """Return a text with one mark for all dashes, and one for all apostrophes."""
    return text.translate(_KIN)


def directed(amount: Decimal, text: str, sign: int, says: str) -> Decimal:
    """Return an amount as a word gives it its sign.

    Args:
        amount: what the text was read as.
        text: as it was written.
        sign: 1 for what comes in, -1 for what goes out.
        says: the word, or the column that has it, for a message.

    Raises:
        UnreadableError: when the text has the other sign.
    """
    written = -1 if amount < 0 else int("+" in text)
    if written == -sign:
        side = "comes in" if sign > 0 else "goes out"
        raise UnreadableError(f"no sign, or that of an amount that {side}, as '{says}' says")
    return abs(amount) if sign > 0 else -abs(amount)


class AmountReader:
    """Reads the amounts of one currency and the quantities of one file; behind an amount may stand a word."""

    def __init__(self, numbers: Numbers, currency: str, direction: Direction | None = None) -> None:
        self._numbers = numbers
        self._currency = currency
        self._direction = direction
        self._digits = minor_digits(currency)
        self._number = _number_pattern(numbers)
        self._quantity = re.compile(_signed(self._number))
        fraction = f"{re.escape(numbers.decimal)}[0-9]{{{self._digits}}}" if self._digits else ""
        self._plain = re.compile(f"-?[0-9]{{1,{MOST_DIGITS}}}{fraction}")
        # The same few fees, prices and quantities stand in most rows of a file.
        self.amount = lru_cache(maxsize=4096)(self._amount)
        self.count = lru_cache(maxsize=4096)(self._count)

    def _amount(self, text: str) -> Decimal | None:
        """Return an amount in minor units; None for what stands where there is no amount.

        Raises:
            UnreadableError: when the text is no amount, or finer than the minor unit.
        """
        if not self._numbers.minor_units and self._plain.fullmatch(text):
            # As most are: the shorter way makes a long file twice as fast.
            return Decimal(text.replace(self._numbers.decimal, "."))
        text = text.translate(_KIN)
        if _NOTHING.fullmatch(text):
            return None
        if len(text) > _MOST_CHARACTERS:
            raise UnreadableError(self._expected)
        match = self._quantity.fullmatch(text) or self._marked.fullmatch(text)
        if match is None and self._blank.fullmatch(text):
            return None
        if match is None and self._direction is not None:
            return self._worded(text, self._direction)
        number = _value(match)
        if number is None:
            raise UnreadableError(self._expected)
        return self._in_minor_units(number)

    def _worded(self, text: str, direction: Direction) -> Decimal | None:
        written, word = direction.split(text)
        sign = direction.sign(word) if word else None
        if sign is None:
            raise UnreadableError(f"{self._expected}, behind it {direction.expected}")
        amount = self._amount(written)
        return None if amount is None else directed(amount, written, sign, word)

    def _in_minor_units(self, number: Decimal) -> Decimal:
        decimals = -int(number.as_tuple().exponent)
        if number.adjusted() >= MOST_DIGITS + (self._digits if self._numbers.minor_units else 0):
            raise UnreadableError(f"an amount of at most {MOST_DIGITS} digits")
        if self._numbers.minor_units:
            if decimals > 0:
                raise UnreadableError(self._expected)
            return number.scaleb(-self._digits)
        # Three decimals where there are two: more likely the thousands mark of another country.
        if decimals == 3 and decimals > self._digits:
            raise UnreadableError(self._expected)
        minor = number.quantize(Decimal(1).scaleb(-self._digits))
        if minor != number:
            raise UnreadableError(f"at most {self._digits} decimals")
        return minor

    def _count(self, text: str) -> int:
        """Return a whole number above 0, 1 where there is none.

        Raises:
            UnreadableError: when the text is anything else.
        """
        if is_nothing(text):
            return 1
        text = text.translate(_KIN)
        number = _value(self._quantity.fullmatch(text)) if len(text) <= _MOST_CHARACTERS else None
        if number is None or number < 1 or number != int(number) or number.adjusted() >= MOST_DIGITS:
            raise UnreadableError("a whole number above 0")
        return int(number)

    @cached_property
    def _expected(self) -> str:
        thousands = self._numbers.thousands[0] if self._numbers.thousands else ""
        if self._numbers.minor_units:
            return f"an amount in minor units like {'123450'[:4 + self._digits]}"
        decimals = self._numbers.decimal + "500"[:self._digits] if self._digits else ""
        return f"an amount like 1{thousands}234{decimals}"

    @cached_property
    def _marked(self) -> re.Pattern[str]:
        """An amount with the currency before it, after it, or both; outside of parentheses or within."""
        signed = _signed(self._number, f"(?:{self._marks})?")
        return re.compile(rf"(?:{self._marks} ?(?=\())?{signed}(?:(?<=\)) ?{self._marks})?")

    @cached_property
    def _blank(self) -> re.Pattern[str]:
        """Dashes with the currency, as spreadsheets show nothing."""
        mark = f"(?:{self._marks})?"
        return re.compile(f"{mark} ?-{{1,3}} ?{mark}")

    @cached_property
    def _marks(self) -> str:
        marks = sorted(currency_marks(self._currency), key=len, reverse=True)
        return f"(?i:{'|'.join(map(re.escape, marks))})"


def _number_pattern(numbers: Numbers) -> str:
    """Return a pattern with the groups `whole` and `fraction`; a number has one mark for its thousands."""
    decimal = re.escape(kin(numbers.decimal))
    grouped = ""
    if numbers.thousands:
        mark = "|".join(sorted(re.escape(kin(mark)) for mark in numbers.thousands))
        grouped = (
            f"[1-9][0-9]{{0,2}}(?P<mark>{mark})[0-9]{{3}}(?:(?P=mark)[0-9]{{3}})*|"
            # Lakh and crore: 1,23,45,678.
            f"[1-9][0-9]?(?P<lakh>{mark})[0-9]{{2}}(?:(?P=lakh)[0-9]{{2}})*(?P=lakh)[0-9]{{3}}|"
        )
    return f"(?=.?[0-9])(?P<whole>{grouped}[0-9]+)?(?:{decimal}(?P<fraction>[0-9]+))?"


def _signed(number: str, mark: str = "") -> str:
    """Return the pattern of a number with a sign before or after it, or in parentheses; see `_value`."""
    left = rf"(?P<open>\()? ?(?P<before>[-+])? ?{mark} ?(?P<inner>[-+])?"
    right = rf"(?P<after>[-+])? ?{mark} ?(?P<last>[-+])? ?(?P<close>\))?"
    return f"{left} ?{number} ?{right}"


def _value(match: re.Match[str] | None) -> Decimal | None:
    """Return the number that was matched, None if it has two signs or half of a pair of parentheses."""
    if match is None:
        return None
    signs = [match[group] for group in ("open", "before", "inner", "after", "last") if match[group]]
    if len(signs) > 1 or bool(match["open"]) is not bool(match["close"]):
        return None
    whole = re.sub("[^0-9]", "", match["whole"] or "0")
    number = Decimal(f"{whole}.{match['fraction'] or ''}")
    return -number if signs and signs[0] in "-(" else number


@lru_cache
def currency_marks(currency: str) -> frozenset[str]:
    """Return how a currency may be marked: its code, and its symbols in English and where it is the tender."""
    # Only a file that marks its amounts pays for the import.
    from babel import Locale  # noqa: PLC0415

    symbols = {Locale("en").currency_symbols.get(currency, currency)}
    symbols.update(locale.currency_symbols.get(currency, currency) for locale in _locales(currency))
    marks = {currency, *(" ".join(_printable(symbol).split()) for symbol in symbols)}
    for symbol in tuple(marks):
        if len(symbol) == 1 and unicodedata.category(symbol) == "Sc":
            # As in US$ and C$.
            marks.update({currency[:2] + symbol, currency[:1] + symbol})
        elif symbol.isalpha():
            marks.add(symbol + ".")
    return frozenset(marks - {""})


def _locales(currency: str) -> Iterator[Locale]:
    """Yield the locale of each territory that has the currency, in its first official language."""
    from babel import Locale, UnknownLocaleError  # noqa: PLC0415
    from babel.core import get_global  # noqa: PLC0415
    from babel.languages import get_official_languages  # noqa: PLC0415

    for territory, currencies in get_global("territory_currencies").items():
        tender = any(code == currency and end is None and used for code, _, end, used in currencies)
        for language in get_official_languages(territory)[:1] if tender else ():
            try:
                yield Locale.parse(f"{language}_{territory}")
            except (UnknownLocaleError, ValueError):
                continue


def _printable(text: str) -> str:
    return "".join(character if character.isprintable() else " " for character in text)
