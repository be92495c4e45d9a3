"""Sizes and counts in a title: how many mL of one vial, and how many vials.

    5 mL                         one vial of 5 mL
    2 x 5 mL, 5 mL x 2, 2x5ml    two vials of 5 mL
    2 x NAME 5 mL                two vials of 5 mL
    set of 3 x 2 mL              three vials of 2 mL; so are "set of 3 NAME 2 mL" and "three vials of 2 mL"
    10 mL (2 x 5 mL)             two vials of 5 mL: what is said twice must agree
    0.17 fl oz / 5 mL            one vial of 5 mL: the mL are what was poured, and must agree
    0.17 fl oz                   one vial of 5 mL, the only whole number of mL that is written so

US fluid ounces are written rounded or cut off, so on their own they stand for a whole number of mL if there is
just one that fits, and are in doubt otherwise: "1 fl oz" is written of 15 mL as well as of 30. A count of vials
behind the size ("10 mL in 2 vials") may have divided it already and is in doubt, too.
"""

from __future__ import annotations

import re
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

#: 231 cubic inches of 16.387064 mL each are a gallon of 128 fluid ounces.
ML_PER_FLUID_OUNCE = Decimal("29.5735295625")

_TIMES = r"\ ?x\ ?"
#: A count, but not the whole part of a number.
_BEHIND = r"(?P<after>\d{1,3})(?!\w|[.,]\d)"
_MEASURE = re.compile(
    rf"""
    (?<![\w.,'])
    (?:(?P<before>\d{{1,3}}){_TIMES})?
    (?P<number>\d{{1,6}}(?:[.,]\d{{1,6}})?)
    [ -]?
    (?:(?P<ml>mls?|millilit(?:er|re)s?)|(?:us\ )?(?P<fluid>fl(?:uid|\.)?\ ?)?(?:oz\.?|ounces?))
    (?=x\d|\W|$)
    (?:\ ?\(?{_TIMES}{_BEHIND}\)?)?
    """,
    re.VERBOSE,
)
#: A count that stands apart from the size.
_APART = re.compile(rf"(?<![\w.,'])(?:(?P<before>\d{{1,3}}) ?x(?!\w)|x ?{_BEHIND})")
_LEADING = re.compile(r"(\d{1,3}) ?x(?![a-z])")

_WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_COUNT = rf"(?P<count>\d{{1,3}}|{'|'.join(_WORDS)})"
#: Sizes are masked by this mark when counts in words are looked for.
_MASK = "|"
_VIALS = "(?:vials|decants|samples|sprays|sprayers|atomi[sz]ers|pieces|pcs|packs?)"
_IN_WORDS = (
    re.compile(rf"(?<!\w)(?:set|pack|lot|box|bundle) of (?:{_COUNT}(?!\w)|(?=\{_MASK}))"),
    re.compile(rf"(?<![\w.,']){_COUNT}[ -]?{_VIALS}(?!\w)(?: (?:of|x)(?= ))?"),
)
_EACH = re.compile(rf"(?<=\{_MASK}) each(?!\w)")


class Size(NamedTuple):
    """What a title says of its size.

    Attributes:
        ml: of one vial; None when the title says nothing that can be read.
        vials: how many.
        spans: the parts of the title that say so.
        certain: whether there is one way only to read it.
        leads: the count a title begins with ("2 x NAME"), which may repeat the channel's own quantity; or 0.
    """

    ml: Decimal | None
    vials: int = 1
    spans: tuple[tuple[int, int], ...] = ()
    certain: bool = False
    leads: int = 0


class _Measure(NamedTuple):
    """A number with its unit, and the count beside it.

    Attributes:
        number: None when it cannot be read for certain.
        unit: "ml", "fl oz", or "oz", which may be a weight.
        times: the count, 0 where none is given.
        twice: whether there is one on both sides.
        span: its place in the title.
    """

    number: Decimal | None
    unit: str
    times: int
    twice: bool
    span: tuple[int, int]


def read_size(title: str) -> Size:
    """Read the size of a folded title."""
    measures = list(map(_measure, _MEASURE.finditer(title)))
    if not measures:
        return Size(None)
    masked = _mask(title, (measure.span for measure in measures))
    apart = list(_APART.finditer(masked))
    masked = _mask(masked, (match.span() for match in apart))
    words = list(_in_words(masked, before=measures[0].span[0]))
    spans = (*(measure.span for measure in measures), *(match.span() for match in apart))
    spans += tuple(span for span, _ in words)
    spans += tuple(match.span() for match in _EACH.finditer(masked))
    times = [int(match["before"] or match["after"]) for match in apart]
    leading = _LEADING.match(title)
    leads = int(leading[1]) if leading else 0
    return _settle(measures, times, [count for _, count in words])._replace(spans=spans, leads=leads)


def in_fluid_ounces(ml: Decimal, written: Decimal) -> bool:
    """Whether a size in mL, rounded or cut off to the digits of a number of fluid ounces, is that number."""
    exact = ml / ML_PER_FLUID_OUNCE
    return written in {exact.quantize(written, ROUND_HALF_UP), exact.quantize(written, ROUND_FLOOR)}


def _measure(match: re.Match[str]) -> _Measure:
    whole, mark, part = match["number"].replace(",", ".").partition(".")
    # With three digits behind it, the mark may be one of thousands.
    doubtful = bool(mark) and len(part) >= 3 and int(whole) != 0
    number = None if doubtful else Decimal(whole + mark + part)
    count = int(match["before"] or match["after"] or 0)
    zero = number == 0 or match["before"] == "0" or match["after"] == "0"
    return _Measure(
        None if zero else number,
        "ml" if match["ml"] else "fl oz" if match["fluid"] else "oz",
        count,
        match["before"] is not None and match["after"] is not None,
        match.span(),
    )


def _mask(title: str, spans: Iterable[tuple[int, int]]) -> str:
    for start, end in spans:
        title = title[:start] + _MASK * (end - start) + title[end:]
    return title


def _in_words(masked: str, before: int) -> Iterator[tuple[tuple[int, int], int]]:
    """Yield the counts in words that stand before a place; 0 for a set whose count stands with the size."""
    for pattern in _IN_WORDS:
        for match in pattern.finditer(masked, 0, before + 1):
            if match.end() <= before:
                count = match["count"] or "0"
                yield match.span(), int(count) if count.isdecimal() else _WORDS.index(count) + 1


def _settle(measures: list[_Measure], times: list[int], words: list[int]) -> Size:
    """Return the size that all measures and counts agree on, or a doubtful one."""
    in_ml = [measure for measure in measures if measure.unit == "ml"]
    ounces = [measure for measure in measures if measure.unit != "ml"]
    base = max(in_ml or ounces, key=lambda measure: measure.times)
    others = [measure for measure in in_ml if measure is not base]
    counts = [count for count in (base.times, *times) if count]
    agreed = {*counts, *filter(None, words)}
    vials = max(agreed, default=1)
    ml = base.number if in_ml else _whole_ml(base)
    certain = (
        ml is not None
        and not any(measure.twice for measure in measures)
        and all(times)
        and len(counts) <= 1
        and len(agreed) <= 1
        # "Set of" must go before a count.
        and (0 not in words or bool(counts))
        and all(not other.times and base.times and other.number == ml * vials for other in others)
        and all(measure is base or _agrees(measure, ml, vials) for measure in ounces)
    )
    if ml is None and base.number is not None and not in_ml:
        ml = (base.number * ML_PER_FLUID_OUNCE).quantize(Decimal("0.1"))
    return Size(ml, vials, certain=certain)


def _agrees(ounces: _Measure, ml: Decimal, vials: int) -> bool:
    if ounces.number is None or ounces.times not in {0, vials}:
        return False
    return in_fluid_ounces(ml, ounces.number) or in_fluid_ounces(ml * vials, ounces.number)


def _whole_ml(measure: _Measure) -> Decimal | None:
    """Return the whole number of mL that fluid ounces stand for; None when there are several or none."""
    if measure.number is None or measure.unit != "fl oz":
        return None
    reach = int(Decimal(1).scaleb(int(measure.number.as_tuple().exponent)) * ML_PER_FLUID_OUNCE) + 2
    middle = int(measure.number * ML_PER_FLUID_OUNCE)
    near = map(Decimal, range(max(middle - reach, 1), middle + reach + 1))
    fitting = [ml for ml in near if in_fluid_ounces(ml, measure.number)]
    return fitting[0] if len(fitting) == 1 else None
