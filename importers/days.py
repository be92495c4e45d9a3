"""From text to a day, by what the profile says of the file's dates."""

from __future__ import annotations

import datetime
import re
import unicodedata
from functools import lru_cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from millilot.importers.amounts import UnreadableError, is_nothing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from millilot.importers.dialect import Dates

#: Directives of strptime that stand for words, and those that stand for the same as a number.
_WORDS = {"b": "m", "B": "m", "a": "w", "A": "w"}

#: Shown in messages.
_EXAMPLE = datetime.datetime(2026, 1, 31, 14, 30, tzinfo=datetime.UTC)

_OFFSET = re.compile(r"(?:UTC|GMT|Z)(?:(?P<sign>[+-])(?P<hours>[0-9]{1,2})(?::?(?P<minutes>[0-9]{2}))?)?")

_SHORTEST_PREFIX = 3

#: Names of months that are in use and no beginning of the whole one, by language and form.
MORE_MONTHS = {"de": {"mrz": 3}}


class DayReader:
    """Reads the days of one file."""

    def __init__(self, dates: Dates) -> None:
        self._layouts = [_Layout(layout, dates) for layout in dates.formats]
        # Many rows have the same day.
        self.day = lru_cache(maxsize=4096)(self._day)

    def _day(self, text: str) -> datetime.date | None:
        """Return the day of the books a text is about, None for what stands where there is no day.

        Raises:
            UnreadableError: when it has none of the formats, or two of them that mean different days.
        """
        if is_nothing(text):
            return None
        days = list(dict.fromkeys(day for layout in self._layouts if (day := layout.day(text)) is not None))
        if not days:
            raise UnreadableError(f"a date like {' or '.join(layout.example for layout in self._layouts)}")
        if len(days) > 1:
            raise UnreadableError(f"a date with one meaning, not {' or '.join(map(str, days))}")
        return days[0]


class _Layout:
    """One format. Names become numbers before strptime sees them: it knows those of the process only."""

    def __init__(self, layout: str, dates: Dates) -> None:
        self._dates = dates
        self._layout = layout
        self._names = [(name, layout[end:end + 1] == ".") for name, end in _named(layout)]
        numeric = re.sub("%([aAbB])", lambda match: f"%{_WORDS[match[1]]}", layout)
        self._zoned = numeric.endswith("%Z")
        self._strptime = numeric.removesuffix("%Z").rstrip()
        self._timed = re.search("%[HI]", layout) is not None

    @property
    def example(self) -> str:
        """A day as the format writes it."""
        layout = self._layout
        if self._names:
            from babel import Locale  # noqa: PLC0415

            locale = Locale.parse(self._dates.locale)
            for directive, width in (("b", "abbreviated"), ("B", "wide")):
                layout = layout.replace(f"%{directive}", locale.months["format"][width][_EXAMPLE.month])
            for directive, width in (("a", "abbreviated"), ("A", "wide")):
                layout = layout.replace(f"%{directive}", locale.days["format"][width][_EXAMPLE.weekday()])
        return _EXAMPLE.strftime(layout)

    def day(self, text: str) -> datetime.date | None:
        """Return the day, None when the text has another format."""
        zone = None
        if self._zoned:
            text, _, zone = text.rpartition(" ")
        if self._names:
            text = self._numbered(text)
        if "%p" in self._strptime:
            text = _with_halves(text, self._dates.locale)
        if self._strptime.endswith("%z"):
            # Offsets of whole hours, which strptime wants with their minutes.
            text = re.sub(r"(?<=[0-9])(?<!-)([+-][0-9]{2})$", r"\g<1>00", text)
        try:
            moment = datetime.datetime.strptime(text, self._strptime)  # noqa: DTZ007  # the zone comes now
            return self._in_books(moment, zone)
        except (ValueError, OverflowError):
            return None

    def _in_books(self, moment: datetime.datetime, name: str | None) -> datetime.date:
        """Return the day a moment falls on in the books."""
        if not self._timed or self._dates.books_zone is None:
            return moment.date()
        if name is not None:
            moment = _placed(moment, name, self._dates.zone)
        elif moment.tzinfo is None:
            moment = moment.replace(tzinfo=self._dates.zone)
        return moment.astimezone(self._dates.books_zone).date()

    def _numbered(self, text: str) -> str:
        """Return a text with the names in it replaced by numbers, in the order of the format."""
        text = unicodedata.normalize("NFC", text)
        start = 0
        for directive, dotted in self._names:
            pattern, numbers = _names(self._dates.locale, _WORDS[directive])
            match = pattern.search(text, start)
            if match is None:
                return text
            end = match.end() + (not dotted and text[match.end():match.end() + 1] == ".")
            number = numbers[match[0].casefold()]
            text = text[:match.start()] + number + text[end:]
            start = match.start() + len(number)
        return text


def _named(layout: str) -> list[tuple[str, int]]:
    """Return the directives of names in a format, each with the place after it."""
    return [(match[1], match.end()) for match in re.finditer("%(.)", layout) if match[1] in _WORDS]


def _placed(moment: datetime.datetime, name: str, zone: ZoneInfo | None) -> datetime.datetime:
    """Return a moment in the zone that a text names.

    Short names such as CST mean different zones in different countries, so they count for the profile's own zone.

    Raises:
        ValueError: when the name means nothing for certain.
    """
    if match := _OFFSET.fullmatch(name):
        offset = datetime.timedelta(hours=int(match["hours"] or 0), minutes=int(match["minutes"] or 0))
        return moment.replace(tzinfo=datetime.timezone(-offset if match["sign"] == "-" else offset))
    for fold in (0, 1) if zone else ():
        placed = moment.replace(tzinfo=zone, fold=fold)
        if placed.tzname() == name:
            return placed
    if "/" in name:
        try:
            return moment.replace(tzinfo=ZoneInfo(name))
        except (ZoneInfoNotFoundError, OSError):
            pass
    raise ValueError(name)


@lru_cache
def _names(locale: str, directive: str) -> tuple[re.Pattern[str], Mapping[str, str]]:
    """Return a pattern for the names of months (`m`) or weekdays (`w`), and the number of each.

    A name counts in every form babel knows, without its accents, and cut to three letters or more, as far as
    that means one only.
    """
    from babel import Locale  # noqa: PLC0415  # only a profile with names pays for the import

    language = Locale.parse(locale)
    named = language.months if directive == "m" else language.days
    written_forms: set[str] = set()
    forms: dict[str, set[str]] = {}
    shortened: dict[str, set[str]] = {}
    for widths in named.values():
        for width in ("wide", "abbreviated"):
            for number, written in widths[width].items():
                # babel's weekdays begin with 0 for Monday, strptime's with 0 for Sunday.
                digits = f"{number:02}" if directive == "m" else str((number + 1) % 7)
                name = unicodedata.normalize("NFC", written).rstrip(".")
                written_forms.add(name)
                for form in (name.casefold(), _without_accents(name).casefold()):
                    forms.setdefault(form, set()).add(digits)
                    for length in range(_SHORTEST_PREFIX, len(form)):
                        shortened.setdefault(form[:length], set()).add(digits)
    if directive == "m":
        for form, number in MORE_MONTHS.get(language.language, {}).items():
            forms.setdefault(form, set()).add(f"{number:02}")
    numbers = {
        form: digits.copy().pop()
        for form, digits in (shortened | forms).items()
        if len(digits) == 1 and form and not any(character.isdigit() for character in form)
    }
    # Not every letter is found by its folded form, whatever the case.
    written_forms = {form for form in written_forms if form.casefold() in numbers}
    longest_first = sorted(written_forms | numbers.keys(), key=len, reverse=True)
    # A form must not be the beginning of another word.
    letter = r"[^\W\d_]"
    pattern = f"(?<!{letter})(?:{'|'.join(map(re.escape, longest_first))})(?!{letter})"
    return re.compile(pattern, re.IGNORECASE), numbers


def _without_accents(text: str) -> str:
    decomposed = unicodedata.normalize("NFD", text)
    return "".join(character for character in decomposed if not unicodedata.combining(character))


def _with_halves(text: str, locale: str) -> str:
    """Return a text with the halves of the day written as strptime knows them."""
    pattern, halves = _halves(locale)
    return pattern.sub(lambda match: halves.get(match[0].casefold(), f"{match[0][0]}m"), text)


@lru_cache
def _halves(locale: str) -> tuple[re.Pattern[str], Mapping[str, str]]:
    from babel import Locale  # noqa: PLC0415

    halves = {}
    for widths in Locale.parse(locale).day_periods.values():
        for width in ("wide", "abbreviated"):
            for half in ("am", "pm"):
                written = " ".join(widths.get(width, {}).get(half, "").split())
                halves[written.casefold()] = half
    halves.pop("", None)
    written_out = "|".join(map(re.escape, sorted(halves, key=len, reverse=True)))
    return re.compile(rf"(?<![^\W\d_])(?:{written_out}|[ap]\.? ?m\.?)(?![^\W\d_])", re.IGNORECASE), halves
