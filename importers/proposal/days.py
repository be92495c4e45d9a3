"""How days are written: the layouts that fit a text, and the one that fits a whole file.

A text such as 03/04/2026 has two layouts. Which one the file means is found from all of its texts together;
where they all fit both, from the order of the rows and from what lies between two columns; else it stays open.
"""

from __future__ import annotations

import datetime
import itertools
import re
from collections import defaultdict
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from babel.dates import get_day_names, get_month_names

from millilot.importers.days import MORE_MONTHS
from millilot.importers.proposal.headings import normalise

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

LANGUAGES = ("en", "de", "fr", "es", "it", "nl", "pt")
#: Years in which somebody may have sold something with a computer.
_YEARS = range(1995, 2080)
#: Days that lie between an order and what is done about it.
_LONGEST_LAG = 62

_TIME = re.compile(
    r"(?P<gap>T|,? (?:um |at |à |a las )?|,)(?P<hour>\d{1,2})(?P<colon>[:.h])\d{2}"
    r"(?P<second>:\d{2}|\.\d{2}(?!\d))?(?P<fraction>\.\d{1,6})?"
    r"(?P<space>\s?)(?P<half>[AaPp]\.?[Mm]\.?)?(?P<gap_zone>\s?)(?P<zone>Z|[+-]\d{2}:?\d{2}|[A-Z]{3,4})?$",
)
_NUMERIC = re.compile(r"(\d{1,4})([-/. ]{1,2})(\d{1,2})\2(\d{4}|\d{1,2})")
_NAMED = re.compile(
    r"(?:(?P<weekday>[^\W\d_]+\.?)(?P<comma>,? ))?"
    r"(?:(?P<day>\d{1,2})(?P<after_day>\.?[ -]?(?:de )?)(?P<month>[^\W\d_]+\.?)(?P<after_month>[ ,-]+(?:de )?)"
    r"(?P<year>\d{4}|\d{2})"
    r"|(?P<month2>[^\W\d_]+\.?)(?P<after_month2>[ -])(?P<day2>\d{1,2})(?P<after_day2>,? |-)"
    r"(?P<year2>\d{4}|\d{2}))",
)


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read a text as a day.

    Attributes:
        layout: for strptime.
        day: the day it then is.
        languages: those whose name of the month it has; empty when the month is a number.
    """

    layout: str
    day: datetime.date
    languages: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Days:
    """How the days of a file are written.

    Attributes:
        formats: the layouts, the most frequent first; empty when they are open.
        locale: the language of the months' names.
        sure: whether the texts leave no other reading.
        because: why.
        open: the layouts between which the file does not tell.
        problem: what contradicts itself, or empty.
        zoned: whether the texts name a zone or an offset.
    """

    formats: tuple[str, ...] = ()
    locale: str = "en"
    sure: bool = False
    because: str = ""
    open: tuple[str, ...] = ()
    problem: str = ""
    zoned: bool = False


@lru_cache(maxsize=1)
def _names() -> dict[str, dict[str, list[tuple[str, int]]]]:
    """Return months and weekdays by plain name: the languages that have it, with its number."""
    months: defaultdict[str, list[tuple[str, str, int]]] = defaultdict(list)
    days: defaultdict[str, list[tuple[str, int]]] = defaultdict(list)
    for language in LANGUAGES:
        for context in ("format", "stand-alone"):
            for width, directive in (("abbreviated", "%b"), ("wide", "%B")):
                for number, name in get_month_names(width, context, locale=language).items():  # type: ignore[arg-type]
                    months[_plain(name)].append((language, directive, number))
                for number, name in get_day_names(width, context, locale=language).items():  # type: ignore[arg-type]
                    days[_plain(name)].append((f"{language} {'%a' if width == 'abbreviated' else '%A'}", number))
        for name, number in MORE_MONTHS.get(language, {}).items():
            months[name].append((language, "%b", number))
    found: dict[str, dict[str, list[tuple[str, int]]]] = {"months": {}, "days": {}}
    for name, readings in months.items():
        found["months"][name] = [(f"{language} {directive}", number) for language, directive, number in readings]
    found["days"].update(days)
    return found


def _plain(name: str) -> str:
    return normalise(name).replace(" ", "")


@lru_cache(maxsize=100_000)
def readings(text: str) -> tuple[Reading, ...]:
    """Return every way to read a text as a day; none when it is no day."""
    if not 6 <= len(text) <= 48 or not any(map(str.isdigit, text)):
        return ()
    layout_of_time = ""
    date = text
    match = _TIME.search(text)
    if match is not None and match.start() >= 6:
        date = text[: match.start()]
        layout_of_time = _time_layout(match)
    found = [*_numeric(date), *_named(date)]
    return tuple(
        Reading(reading.layout + layout_of_time, reading.day, reading.languages)
        for reading in found
        if reading.day.year in _YEARS
    )


def _time_layout(match: re.Match[str]) -> str:
    colon = match["colon"]
    layout = match["gap"] + ("%I" if match["half"] else "%H") + colon + "%M"
    if match["second"]:
        layout += match["second"][0] + "%S"
    if match["fraction"]:
        layout += ".%f"
    if match["half"]:
        layout += match["space"] + "%p"
    if match["zone"]:
        gap = match["gap_zone"] if match["half"] else match["space"]
        layout += gap + ("%Z" if match["zone"].isalpha() and match["zone"] != "Z" else "%z")
    return layout


def _numeric(text: str) -> list[Reading]:
    if re.fullmatch(r"\d{8}", text):
        return _dated([("%Y%m%d", text[:4], text[4:6], text[6:]), ("%d%m%Y", text[4:], text[2:4], text[:2])])
    match = _NUMERIC.fullmatch(text)
    if match is None:
        return []
    first, mark, second, third = match.groups()
    candidates = []
    if len(first) == 4 and len(third) <= 2:
        candidates = [(f"%Y{mark}%m{mark}%d", first, second, third)]
    elif len(first) <= 2 and len(third) in {2, 4}:
        year, directive = (third, "%Y") if len(third) == 4 else (f"20{third}", "%y")
        candidates = [
            (f"%d{mark}%m{mark}{directive}", year, second, first),
            (f"%m{mark}%d{mark}{directive}", year, first, second),
        ]
        if len(first) == len(third) == 2:
            candidates.append((f"%y{mark}%m{mark}%d", f"20{first}", second, third))
    return _dated(candidates)


def _dated(candidates: Iterable[tuple[str, str, str, str]]) -> list[Reading]:
    found = []
    for layout, year, month, day in candidates:
        try:
            found.append(Reading(layout, datetime.date(int(year), int(month), int(day))))
        except ValueError:
            continue
    return found


def _named(text: str) -> list[Reading]:
    match = _NAMED.fullmatch(text)
    if match is None:
        return []
    names = _names()
    month, year, day = (
        (match["month"], match["year"], match["day"])
        if match["day"]
        else (match["month2"], match["year2"], match["day2"])
    )
    of_directive: defaultdict[tuple[str, int], set[str]] = defaultdict(set)
    for key, number in names["months"].get(_plain(month), ()):
        language, directive = key.split(" ")
        of_directive[directive, number].add(language)
    weekday = ""
    if match["weekday"]:
        keys = [key for key, _ in names["days"].get(_plain(match["weekday"]), ())]
        if not keys:
            return []
        weekday = f"{keys[0].split(' ')[1]}{match['comma']}"
    found = []
    for (directive, number), languages in of_directive.items():
        years = "%Y" if len(year) == 4 else "%y"
        layout = (
            f"%d{match['after_day']}{directive}{match['after_month']}{years}"
            if match["day"]
            else f"{directive}{match['after_month2']}%d{match['after_day2']}{years}"
        )
        full = int(year) if len(year) == 4 else 2000 + int(year)
        try:
            date = datetime.date(full, number, int(day))
        except ValueError:
            continue
        found.append(Reading(weekday + layout, date, frozenset(languages)))
    return found


def is_day(text: str) -> bool:
    """Whether a text can be read as a day."""
    return bool(readings(text))


def find_days(
    columns: Mapping[str, Sequence[str]],
    context: Sequence[str] = (),
    *,
    day_first: str = "",
) -> Days:
    """Return how the columns of a file write days.

    Args:
        columns: the texts of each column, row by row, by heading; empty where there is none.
        context: other texts that may name the days the file is about.
        day_first: why the day is likely to come before the month, or empty.
    """
    shapes: defaultdict[str, list[tuple[str, str]]] = defaultdict(list)
    for heading, texts in columns.items():
        for text in dict.fromkeys(texts):
            if readings(text):
                shapes[_shape(text)].append((heading, text))
    if not shapes:
        return Days()
    judged = [
        _judge_shape(texts, columns, context, day_first)
        for texts in sorted(shapes.values(), key=len, reverse=True)
    ]
    return _join(judged)


def _shape(text: str) -> str:
    """Return how a text looks whatever day it is."""
    match = _TIME.search(text)
    start = match.start() if match and match.start() >= 6 else len(text)
    date = re.sub(r"\d{4}", "9999", re.sub(r"(?<!\d)\d{1,2}(?!\d)", "9", text[:start]))
    return re.sub(r"[^\W\d_]+\.?", "a", date) + (_time_layout(match) if match and start < len(text) else "")


def _judge_shape(
    texts: list[tuple[str, str]],
    columns: Mapping[str, Sequence[str]],
    context: Sequence[str],
    day_first: str,
) -> Days:
    by_layout: defaultdict[str, dict[str, Reading]] = defaultdict(dict)
    for _, text in texts:
        for reading in readings(text):
            by_layout[reading.layout][text] = reading
    every = {text for _, text in texts}
    fitting = [layout for layout, found in by_layout.items() if len(found) == len(every)]
    named = any(reading.languages for found in by_layout.values() for reading in found.values())
    if named:
        return _judge_names(fitting, by_layout, every)
    if len(fitting) == 1:
        others = [
            text for layout, found in by_layout.items() if layout != fitting[0] for text in every - set(found)
        ]
        telling = next(iter(others), "" if order_of(fitting[0]) == "year first" else min(every))
        because = f'"{telling}" can be nothing else' if telling else "years first"
        return Days(tuple(fitting), sure=True, because=because, zoned=_zoned(fitting))
    if not fitting:
        return _contradiction(texts, by_layout)
    return _break_tie(fitting, by_layout, columns, context, day_first)


def _zoned(layouts: Iterable[str]) -> bool:
    return any(re.search("%[zZ]", layout) for layout in layouts)


def _judge_names(fitting: list[str], by_layout: Mapping[str, dict[str, Reading]], every: set[str]) -> Days:
    """Judge texts with the name of a month, which leave the order of day and month in no doubt."""
    # A short name that is a whole one as well, such as May, fits both.
    layouts = fitting[:1] if fitting else sorted(by_layout, key=lambda each: -len(by_layout[each]))[:2]
    for wide in fitting:
        if "%B" in wide and len(fitting) > 1:
            layouts = [layout for layout in fitting if "%B" not in layout][:1] or [wide]
    languages = [
        language
        for language in LANGUAGES
        if all(
            any(language in found[text].languages for found in by_layout.values() if text in found)
            for text in every
        )
    ]
    covered = {text for layout in layouts for text in by_layout[layout]}
    problem = "" if languages and covered == every else "the names of the months are of several languages"
    locale = languages[0] if languages else "en"
    return Days(
        tuple(layouts),
        locale=locale,
        sure=bool(languages),
        because="the names of the months",
        problem=problem,
        zoned=_zoned(layouts),
    )


def _contradiction(texts: list[tuple[str, str]], by_layout: Mapping[str, dict[str, Reading]]) -> Days:
    """Return what to say where no layout fits all: two orders of day and month in one file."""
    layouts = sorted(by_layout, key=lambda layout: -len(by_layout[layout]))[:2]
    first, second = layouts
    examples = []
    for layout, other in ((first, second), (second, first)):
        only = next(
            (
                (heading, text)
                for heading, text in texts
                if text in by_layout[layout] and text not in by_layout[other]
            ),
            None,
        )
        if only is not None:
            examples.append(f'"{only[1]}" in {only[0]} is {order_of(layout)}')
    return Days(
        (),
        open=(first, second),
        problem=", but ".join(examples) or "no layout fits all texts",
        because="days are written in two orders",
        zoned=_zoned(layouts),
    )


def order_of(layout: str) -> str:
    """Return in words which part of a date comes first."""
    places = {
        name: layout.find(directive)
        for name, directive in (
            ("day first", "%d"),
            ("month first", "%m"),
            ("year first", "%Y"),
            ("year first ", "%y"),
        )
    }
    present = {name.strip(): place for name, place in places.items() if place >= 0}
    return min(present, key=lambda name: present[name])


def _break_tie(
    fitting: list[str],
    by_layout: Mapping[str, dict[str, Reading]],
    columns: Mapping[str, Sequence[str]],
    context: Sequence[str],
    day_first: str,
) -> Days:
    days = {layout: {text: reading.day for text, reading in by_layout[layout].items()} for layout in fitting}
    if all(len({of_layout[text] for of_layout in days.values()}) == 1 for text in days[fitting[0]]):
        return Days(
            (),
            open=tuple(fitting),
            because="every day has the number of its month",
            zoned=_zoned(fitting),
        )
    votes: dict[str, list[str]] = {layout: [] for layout in fitting}
    for judge in (_by_context, _by_lags, _by_order):
        layout, because = judge(days, columns, context)
        if layout:
            votes[layout].append(because)
    chosen = [layout for layout in fitting if votes[layout]]
    if len(chosen) > 1:
        reasons = [f"{order_of(layout)} because {votes[layout][0]}" for layout in chosen[:2]]
        return Days(
            (),
            open=tuple(fitting),
            problem=", but ".join(reasons),
            zoned=_zoned(fitting),
            because="the evidence on day and month contradicts itself",
        )
    if not chosen and "." in re.sub(r"%[HIMSf].*", "", fitting[0]):
        chosen = [layout for layout in fitting if layout.startswith("%d")]
        votes[chosen[0]].append("with dots, days come first")
    if not chosen and day_first:
        chosen = [layout for layout in fitting if layout.startswith("%d")]
        votes[chosen[0]].append(day_first)
    if chosen:
        return Days(
            (chosen[0],),
            because="; ".join(votes[chosen[0]]),
            open=tuple(fitting),
            zoned=_zoned(chosen),
        )
    return Days((), open=tuple(fitting), because="all days fit both", zoned=_zoned(fitting))


_DaysOf = dict[str, dict[str, datetime.date]]


def _by_context(
    days: _DaysOf,
    columns: Mapping[str, Sequence[str]],
    context: Sequence[str],
) -> tuple[str, str]:
    """Judge by days elsewhere in the file that can be read in one way: a period, or another column."""
    certain = set()
    for text in itertools.chain(context, *columns.values()):
        for part in re.findall(r"\d{4}-\d{2}-\d{2}|\d{1,2}\.? [^\W\d_]+\.? \d{4}", text):
            found = {reading.day for reading in readings(part)}
            if len(found) == 1:
                certain |= found
    months = {match for text in context for match in re.findall(r"(?<!\d)(20\d{2})[-_](\d{2})(?![-_]?\d)", text)}
    if len(certain) >= 2:
        first, last = min(certain), max(certain)
        slack = datetime.timedelta(days=3)
        inside = [
            layout
            for layout, found in days.items()
            if all(first - slack <= day <= last + slack for day in found.values())
        ]
        if len(inside) == 1:
            return inside[0], f"other days of the file are from {first} to {last}"
    if len(months) == 1:
        year, month = map(int, next(iter(months)))
        inside = [
            layout
            for layout, found in days.items()
            if all((day.year, day.month) == (year, month) for day in found.values())
        ]
        if len(inside) == 1:
            return inside[0], f"the file is about {year}-{month:02}"
    return "", ""


def _by_lags(
    days: _DaysOf,
    columns: Mapping[str, Sequence[str]],
    context: Sequence[str],  # noqa: ARG001
) -> tuple[str, str]:
    """Judge by the time between two columns: what follows an order does so within weeks."""
    good: dict[str, bool] = {}
    for layout, found in days.items():
        lags = []
        for first, second in itertools.combinations(columns.values(), 2):
            pairs = [(found[a], found[b]) for a, b in zip(first, second, strict=True) if a in found and b in found]
            lags.append([(b - a).days for a, b in pairs])
        lags = [each for each in lags if len(each) >= 3]
        if not lags:
            return "", ""
        good[layout] = all(
            (min(each) >= 0 or max(each) <= 0) and max(map(abs, each)) <= _LONGEST_LAG for each in lags
        )
    fit = [layout for layout, is_good in good.items() if is_good]
    return (fit[0], "only so the columns of days lie in order and close together") if len(fit) == 1 else ("", "")


def _by_order(
    days: _DaysOf,
    columns: Mapping[str, Sequence[str]],
    context: Sequence[str],  # noqa: ARG001
) -> tuple[str, str]:
    """Judge by the order of the rows: exports are sorted by some day."""
    for texts in columns.values():
        rising = []
        for layout, found in days.items():
            listed = [found[text] for text in texts if text in found]
            if len(set(listed)) < 5:
                continue
            if listed in (sorted(listed), sorted(listed, reverse=True)):
                rising.append(layout)
        if len(rising) == 1:
            return rising[0], "only so the rows are in the order of their days"
    return "", ""


def _join(judged: list[Days]) -> Days:
    """Return what all shapes of texts say together."""
    settled = [days for days in judged if days.formats]
    unsettled = [days for days in judged if not days.formats]
    orders = {order_of(days.formats[0]) for days in settled if "%b" not in days.formats[0].lower()}
    orders.discard("year first")
    problems = [days.problem for days in judged if days.problem]
    formats: list[str] = [layout for days in settled for layout in days.formats]
    open_layouts: list[str] = [layout for days in unsettled for layout in days.open]
    because = [days.because for days in judged[:1]]
    sure = all(days.sure for days in judged)
    if unsettled and len(orders) == 1 and not problems:
        # The other dates of the file tell in which order this one has day and month.
        order = next(iter(orders))
        formats += [layout for layout in open_layouts if order_of(layout) == order]
        open_layouts, sure = [], False
        because = [f"other days of the file have the {order}"]
    if len(orders) > 1 and not problems:
        # One file rarely has both; the importer refuses what then means two days.
        problems = ["some columns have the day first, others the month"]
    if open_layouts:
        formats = []
    alternatives = tuple(dict.fromkeys(open_layouts)) or next((days.open for days in judged if days.open), ())
    return Days(
        tuple(dict.fromkeys(formats)),
        locale=next((days.locale for days in judged if days.locale != "en"), "en"),
        sure=sure and not problems,
        because=because[0],
        open=alternatives,
        problem="; ".join(problems),
        zoned=any(days.zoned for days in judged),
    )
