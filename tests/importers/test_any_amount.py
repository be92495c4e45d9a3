"""An amount written in any dialect reads back as the same amount."""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from millilot.importers.amounts import AmountReader, UnreadableError
from millilot.importers.dialect import Numbers, kin

#: Amounts in minor units.
UNITS = st.integers(-(10**12) + 1, 10**12 - 1)

#: The thousands mark a profile states, and one that may stand in the file for it, as cells come out.
MARKS = [(",", ","), (".", "."), (" ", " "), ("\N{THIN SPACE}", " "), ("'", "\u2019"), ("\u2019", "'")]

NEGATIVES = ("-{}", "- {}", "{}-", "{} -", "({})", "\N{MINUS SIGN}{}", "{}\N{EN DASH}", "\N{HYPHEN} {}")

AROUND = {
    "USD": ("{}", "${}", "$ {}", "{} $", "{}USD", "USD {}", "US${}", "usd {}", "${} USD"),
    "EUR": ("{}", "\u20ac{}", "{} \u20ac", "EUR {}", "{} eur"),
    "SEK": ("{}", "{} kr", "kr {}", "{} kr.", "SEK{}"),
    "JPY": ("{}", "\u00a5{}", "{} JPY"),
    "KWD": ("{}", "{} KWD", "KWD {}"),
}

DIGITS = {"USD": 2, "EUR": 2, "SEK": 2, "JPY": 0, "KWD": 3}


class Written(NamedTuple):
    """An amount, its text, and what a profile states of it."""

    amount: Decimal
    text: str
    numbers: Numbers
    currency: str


def grouped(whole: str, mark: str, *, indian: bool) -> str:
    """Return digits with a mark between thousands, or between thousands, lakhs, crores and so on."""
    groups, rest = [whole[-3:]], whole[:-3]
    size = 2 if indian else 3
    while rest:
        groups.insert(0, rest[-size:])
        rest = rest[:-size]
    return mark.join(groups)


@st.composite
def written(draw: st.DrawFn) -> Written:
    """Write an amount as some channel may."""
    currency = draw(st.sampled_from(sorted(DIGITS)))
    units, digits = draw(UNITS), DIGITS[currency]
    amount = Decimal(units).scaleb(-digits)
    around = draw(st.sampled_from(AROUND[currency]))
    negative = draw(st.sampled_from(NEGATIVES)) if units < 0 else draw(st.sampled_from(("{}", "+{}")))
    if draw(st.booleans()):
        # The sign stands outside, or the currency does.
        around, negative = negative, around
    if draw(st.booleans()):
        return Written(amount, around.format(negative.format(abs(units))), Numbers(minor_units=True), currency)
    stated, mark = draw(st.sampled_from(MARKS))
    decimal = draw(st.sampled_from([mark_ for mark_ in (".", ",") if mark_ != mark]))
    whole, _, fraction = f"{abs(amount):f}".partition(".")
    if draw(st.booleans()):
        whole = grouped(whole, mark, indian=draw(st.booleans()))
    if draw(st.booleans()):
        fraction = fraction.rstrip("0")
    number = f"{whole}{decimal}{fraction}" if fraction else whole
    return Written(amount, around.format(negative.format(number)), Numbers(decimal, (stated,)), currency)


@given(written())
def test_the_same_amount_comes_back(case: Written) -> None:
    read = AmountReader(case.numbers, case.currency).amount(case.text)
    assert read == case.amount
    assert read is not None
    assert -read.as_tuple().exponent == DIGITS[case.currency]


@given(written(), st.sampled_from(["EUR", "GBP", "\u00a3", "%", "x", "e2", "'", "--", "NaN"]))
def test_nothing_else_may_stand_beside_it(case: Written, more: str) -> None:
    assume(more != case.currency and more not in map(kin, case.numbers.thousands))
    reader = AmountReader(case.numbers, case.currency)
    for text in (f"{more}{case.text}", f"{case.text}{more}"):
        with pytest.raises(UnreadableError, match="an amount"):
            reader.amount(text)


@given(st.text(max_size=30), st.sampled_from(sorted(DIGITS)), st.booleans())
def test_any_text_is_an_amount_or_none(text: str, currency: str, minor: bool) -> None:
    reader = AmountReader(Numbers(thousands=(",", " "), minor_units=minor), currency)
    try:
        read = reader.amount(text)
    except UnreadableError:
        return
    assert read is None or read.is_finite()
