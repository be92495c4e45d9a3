"""Amounts, counts and dates are read by what the profile says, and by nothing else."""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from millilot.importers.cells import CellReader
from millilot.importers.dialect import Dates, Numbers
from millilot.importers.direction import read_direction
from millilot.importers.problems import ProfileError
from millilot.importers.profile import Columns, FeeColumn, Profile
from millilot.importers.section import Section
from millilot.importers.table import Row, RowError
from millilot.ledger.accounts import Role


def reader(**changes: Any) -> CellReader:
    """Return a reader for a profile that differs from the plainest in some keys of its tables."""
    currency = changes.pop("currency", "USD")
    keys = {"decimal", "thousands", "minor_units"} & changes.keys()
    numbers = Numbers(**{key: changes.pop(key) for key in keys})
    dates = Dates(**{"formats": ("%Y-%m-%d",), **changes})
    return CellReader(Profile("x", "X", currency, Columns("Order", "Date"), dates, numbers=numbers))


def amount(text: str, **changes: Any) -> Decimal | None:
    return reader(**changes).amount(Row(7, {"Fee": text}), "Fee")


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("12", "12.00"),
        ("12.5", "12.50"),
        (".50", "0.50"),
        ("-1.95", "-1.95"),
        ("\N{MINUS SIGN}1.95", "-1.95"),
        ("1.95-", "-1.95"),
        ("(1.95)", "-1.95"),
        ("+3.00", "3.00"),
        ("$12.00", "12.00"),
        ("-$12.00", "-12.00"),
        ("$-12.00", "-12.00"),
        ("12.00 USD", "12.00"),
        ("USD 12.00", "12.00"),
        ("0.00", "0.00"),
    ],
)
def test_amounts(text: str, number: str) -> None:
    assert str(amount(text)) == number


def directed(text: str, word: str | None = None, **words: list[str]) -> Decimal | None:
    """Return an amount of a profile whose words stand in a column of their own if one is given, else behind."""
    columns = Columns(amount="Amount", direction="Side" if word is not None else "")
    section = Section(words or {"in": ["CR", "+"], "out": ["DR", "Paid out"]}, Path("x.toml"))
    direction = read_direction(section, is_behind=word is None)
    profile = Profile("x", "X", "USD", columns, Dates(("%Y-%m-%d",)), direction=direction)
    return CellReader(profile).directed(Row(7, {"Amount": text, "Side": word or ""}), "Amount")


@pytest.mark.parametrize(
    ("text", "word", "number"),
    [
        ("12.00", "CR", "12.00"),
        ("12.00", "dr", "-12.00"),
        ("12.00", "PAID OUT", "-12.00"),
        ("12.00", "+", "12.00"),
        ("-12.00", "DR", "-12.00"),
        ("(12.00)", "DR", "-12.00"),
        ("+12.00", "CR", "12.00"),
        ("0.00", "DR", "0.00"),
        ("0.00", "", "0.00"),
        ("12.00 CR", None, "12.00"),
        ("12.00DR", None, "-12.00"),
        ("$12.00 dr", None, "-12.00"),
        ("12.00 USD DR", None, "-12.00"),
        ("-12.00 DR", None, "-12.00"),
        ("12.00 Paid out", None, "-12.00"),
        ("12.00+", None, "12.00"),
    ],
)
def test_amounts_with_a_direction(text: str, word: str | None, number: str) -> None:
    assert str(directed(text, word)) == number


def test_no_word_means_a_direction_where_the_profile_says_so() -> None:
    words = {"in": ["CR"], "out": [""]}
    assert [str(directed(text, **words)) for text in ("12.00", "12.00 CR")] == ["-12.00", "12.00"]
    assert [str(directed("12.00", word, **words)) for word in ("", "CR")] == ["-12.00", "12.00"]
    assert directed("", "CR") is None
    assert directed("-- DR") is None


@pytest.mark.parametrize(
    ("text", "word", "message"),
    [
        ("12.00", "up", "column 'Side': expected one of CR, [+], DR, Paid out, found 'up'"),
        ("12.00", "", "column 'Side': expected one of CR, [+], DR, Paid out, found nothing"),
        ("0.00", "up", "column 'Side': expected one of CR"),
        ("12.00-", "CR", "expected no sign, or that of an amount that comes in, as 'Side' says, found '12.00-'"),
        ("+12.00", "DR", "expected no sign, or that of an amount that goes out, as 'Side' says, found '[+]12.00'"),
        ("12.00 DR", "DR", "column 'Amount': expected an amount like 1234.50, found '12.00 DR'"),
        ("12.00", None, "column 'Amount': expected one of CR, [+], DR, Paid out behind it, found '12.00'"),
        ("12.00 up", None, "expected an amount like 1234.50, behind it one of CR, [+], DR, Paid out, found"),
        ("-12.00 CR", None, "expected no sign, or that of an amount that comes in, as 'CR' says, found"),
        ("12.00 USDR", None, "expected an amount like 1234.50, behind it"),
        ("12.005 DR", None, "expected an amount like 1234.50, found '12.005 DR'"),
    ],
)
def test_no_amounts_with_a_direction(text: str, word: str | None, message: str) -> None:
    with pytest.raises(RowError, match=message):
        directed(text, word)


@pytest.mark.parametrize("text", ["", "-", "--", "---", "\N{EN DASH}", "\N{EM DASH}", "$ -", "-- USD"])
def test_no_amount(text: str) -> None:
    assert amount(text) is None


@pytest.mark.parametrize(
    ("text", "decimal", "thousands", "number"),
    [
        ("1.234,56", ",", ".", "1234.56"),
        ("1,234.56", ".", ",", "1234.56"),
        ("1 234,56", ",", "\N{NARROW NO-BREAK SPACE}", "1234.56"),
        ("1'234.56", ".", "'", "1234.56"),
        ("1234,56", ",", ".", "1234.56"),
        ("1.234.567", ",", ".", "1234567.00"),
        ("12,34,567.8", ".", ",", "1234567.80"),
        ("1,23,456", ".", ",", "123456.00"),
    ],
)
def test_marks(text: str, decimal: str, thousands: str, number: str) -> None:
    assert str(amount(text, decimal=decimal, thousands=(thousands,))) == number


@pytest.mark.parametrize(
    "text",
    [
        "12,00", "1,234.56", "1.234", "12.000", "twelve", "1..2", "5.", ".", "--5", "(5", "-(5)", "1e3", "=1+1",
        "\N{ARABIC-INDIC DIGIT ONE}",
    ],
)
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(RowError, match=r"column 'Fee': expected an amount like 1234\.50, found") as caught:
        amount(text)
    assert caught.value.row == 7


@pytest.mark.parametrize("text", ["9" * 29, "9" * 29 + ".99", "1" + "0" * 12])
def test_an_amount_beyond_reason_is_refused(text: str) -> None:
    with pytest.raises(RowError, match="expected an amount of at most 12 digits"):
        amount(text)


@pytest.mark.parametrize(
    "text", ["12,34", "1,2345", "0,123", "1,23,45", "1,234,56,789", "1'234,567", "1,,234", ",123"],
)
def test_thousands_in_the_wrong_place_are_refused(text: str) -> None:
    with pytest.raises(RowError, match=r"expected an amount like 1,234\.50, found"):
        amount(text, thousands=(",", "'"))


@pytest.mark.parametrize(
    "text", ["(-5)", "-5-", "- $-5", "(5", "5)", "-(5)", "(5)-", "\u20ac5", "\u00a35", "5 EUR", "$$5", "$", "USD"],
)
def test_two_signs_or_another_currency_are_refused(text: str) -> None:
    with pytest.raises(RowError, match="expected an amount like"):
        amount(text)


def test_more_decimals_than_the_currency_has() -> None:
    assert str(amount("12.0000")) == "12.00"
    assert str(amount("12.500", currency="KWD")) == "12.500"
    for text in ("12.3456", "0.30000000000000004"):
        with pytest.raises(RowError, match="expected at most 2 decimals"):
            amount(text)


def test_minor_units() -> None:
    assert [str(amount(text, minor_units=True)) for text in ("1250", "-5", "(1250)", "$ 7")] == [
        "12.50", "-0.05", "-12.50", "0.07",
    ]
    assert str(amount("1250", minor_units=True, currency="JPY")) == "1250"
    for text in ("12.50", "1250.0"):
        with pytest.raises(RowError, match=f"expected an amount in minor units like 123450, found '{text}'"):
            amount(text, minor_units=True)


def test_a_currency_without_minor_units() -> None:
    assert str(amount("500", currency="JPY")) == "500"
    assert str(amount("500.00", currency="JPY")) == "500"
    with pytest.raises(RowError, match=r"expected at most 0 decimals, found '500\.50'"):
        amount("500.50", currency="JPY")


def test_an_amount_that_must_not_be_below_nothing() -> None:
    with pytest.raises(RowError, match="expected an amount, 0 or above, found '-1'"):
        reader().amount_above(Row(2, {"Fee": "-1"}), "Fee")


def test_counts() -> None:
    read = reader()
    assert [read.count(Row(2, {"Q": text}), "Q") for text in ("3", "2.0", "")] == [3, 2, 1]
    assert read.count(Row(2, {}), "") == 1
    for text in ("0", "-1", "1.5", "x", "9" * 29):
        with pytest.raises(RowError, match="expected a whole number above 0"):
            read.count(Row(2, {"Q": text}), "Q")


def date(text: str, *formats: str, **changes: Any) -> datetime.date | None:
    return reader(formats=formats, **changes).date(Row(12, {"Date": text}), "Date")


@pytest.mark.parametrize(
    ("text", "layout", "locale"),
    [
        ("2026-01-31", "%Y-%m-%d", "en"),
        ("31.01.2026", "%d.%m.%Y", "en"),
        ("31.1.26", "%d.%m.%y", "en"),
        ("Jan 31, 2026 11:59 PM", "%b %d, %Y %I:%M %p", "en"),
        ("January 31, 2026 11:59 p.m.", "%b %d, %Y %I:%M %p", "en"),
        ("31-JAN-2026", "%d-%b-%Y", "en"),
        ("Sat, 31 Jan 2026 12:00:00 +0000", "%a, %d %b %Y %H:%M:%S %z", "en"),
        ("31. J\u00e4nner 2026", "%d. %B %Y", "de_AT"),
        ("31 janv. 2026", "%d %b %Y", "fr"),
        ("31 janv. 2026", "%d %b. %Y", "fr"),
        ("samedi 31 janvier 2026", "%A %d %B %Y", "fr"),
        ("s\u00e1bado, 31 de enero de 2026", "%A, %d de %B de %Y", "es"),
        ("sabado, 31 de ene de 2026", "%A, %d de %B de %Y", "es"),
        ("31 \u044f\u043d\u0432\u0430\u0440\u044f 2026", "%d %B %Y", "ru"),
        ("31 stycznia 2026", "%d %B %Y", "pl"),
        ("31 Ocak 2026", "%d %B %Y", "tr"),
        ("2026\u5e741\u670831\u65e5", "%Y\u5e74%m\u6708%d\u65e5", "ja"),
    ],
)
def test_dates(text: str, layout: str, locale: str) -> None:
    assert date(text, layout, locale=locale) == datetime.date(2026, 1, 31)


def test_every_month_of_a_language() -> None:
    months = ["janv.", "févr.", "mars", "avr.", "mai", "juin", "juil.", "août", "sept.", "oct.", "nov.", "déc."]
    read = [date(f"3 {month} 2026", "%d %b %Y", locale="fr") for month in months]
    assert read == [datetime.date(2026, month, 3) for month in range(1, 13)]
    months = ["Jan", "Feb", "Mär", "Apr", "Mai", "Jun", "Jul", "Aug", "Sep", "Okt", "Nov", "Dez"]
    read = [date(f"3. {month}. 2026", "%d. %b. %Y", locale="de") for month in months]
    assert read == [datetime.date(2026, month, 3) for month in range(1, 13)]


@pytest.mark.parametrize("text", ["3 jui 2026", "3 ja 2026", "3 may 2026", "3 marsouin 2026", "3 03 2026 x"])
def test_a_name_that_is_no_month_is_refused(text: str) -> None:
    with pytest.raises(RowError, match=r"expected a date like 31 janv\. 2026, found"):
        date(text, "%d %b %Y", locale="fr")


@pytest.mark.parametrize("text", ["", "-", "--", "\N{EM DASH}"])
def test_no_date(text: str) -> None:
    assert date(text, "%Y-%m-%d") is None


def test_a_date_of_another_form_is_refused() -> None:
    with pytest.raises(RowError) as caught:
        date("31/1", "%d/%m/%Y")
    assert str(caught.value) == "column 'Date': expected a date like 31/01/2026, found '31/1'"
    with pytest.raises(RowError, match=r"expected a date like 31/01/2026 or 2026-01-31 02:30 PM, found '31/1'"):
        date("31/1", "%d/%m/%Y", "%Y-%m-%d %I:%M %p")


def test_a_date_with_two_meanings_is_refused() -> None:
    formats = ("%d/%m/%Y", "%m/%d/%Y")
    assert date("31/01/2026", *formats) == datetime.date(2026, 1, 31)
    assert date("01/31/2026", *formats) == datetime.date(2026, 1, 31)
    assert date("04/04/2026", *formats) == datetime.date(2026, 4, 4)
    with pytest.raises(RowError) as caught:
        date("03/04/2026", *formats)
    expected = "expected a date with one meaning, not 2026-04-03 or 2026-03-04, found '03/04/2026'"
    assert str(caught.value) == f"column 'Date': {expected}"


NEW_YORK = ZoneInfo("America/New_York")
TOKYO = ZoneInfo("Asia/Tokyo")


@pytest.mark.parametrize(
    ("text", "layout", "zone", "day"),
    [
        # New York is 5 hours behind UTC in winter and 4 in summer; Tokyo 9 hours ahead of it.
        ("2026-02-01 04:59", "%Y-%m-%d %H:%M", ZoneInfo("UTC"), 31),
        ("2026-02-01 05:00", "%Y-%m-%d %H:%M", ZoneInfo("UTC"), 1),
        ("2026-02-01 13:59", "%Y-%m-%d %H:%M", TOKYO, 31),
        ("2026-02-01 04:59 Z", "%Y-%m-%d %H:%M %z", TOKYO, 31),
        ("2026-02-01 05:59 +01:00", "%Y-%m-%d %H:%M %z", TOKYO, 31),
        ("2026-02-01T02:30:00-02", "%Y-%m-%dT%H:%M:%S%z", TOKYO, 31),
        ("2026-02-01 13:59 JST", "%Y-%m-%d %H:%M %Z", TOKYO, 31),
        ("2026-02-01 04:59 GMT", "%Y-%m-%d %H:%M %Z", TOKYO, 31),
        ("2026-02-01 13:59 UTC+9", "%Y-%m-%d %H:%M %Z", None, 31),
        ("2026-02-01 01:29 GMT-03:30", "%Y-%m-%d %H:%M %Z", None, 31),
        ("2026-02-01 13:59 Asia/Tokyo", "%Y-%m-%d %H:%M %Z", None, 31),
        # A day without a time is the same everywhere.
        ("2026-02-01", "%Y-%m-%d", ZoneInfo("UTC"), 1),
    ],
)
def test_days_of_the_books(text: str, layout: str, zone: ZoneInfo | None, day: int) -> None:
    read = date(text, layout, zone=zone, books_zone=NEW_YORK)
    assert read is not None
    assert read.day == day


@pytest.mark.parametrize("text", ["2026-02-01 04:59 CST", "2026-02-01 04:59 Mars/Olympus", "2026-02-01 04:59"])
def test_a_zone_that_is_not_known_for_certain(text: str) -> None:
    layout = "%Y-%m-%d %H:%M %Z"
    with pytest.raises(RowError, match="expected a date like 2026-01-31 14:30 UTC"):
        date(text, layout, zone=TOKYO, books_zone=NEW_YORK)


def test_a_zone_means_nothing_where_the_file_writes_the_day() -> None:
    assert date("2026-02-01 04:59 CST", "%Y-%m-%d %H:%M %Z", zone=TOKYO) == datetime.date(2026, 2, 1)
    assert date("2026-02-01 04:59 +0900", "%Y-%m-%d %H:%M %z", zone=TOKYO) == datetime.date(2026, 2, 1)


def test_a_time_at_the_end_of_the_calendar() -> None:
    with pytest.raises(RowError, match="expected a date like"):
        date("9999-12-31 23:59 -0500", "%Y-%m-%d %H:%M %z", books_zone=TOKYO)


def test_the_word_behind_an_amount_is_known_in_the_spelling_of_the_profile() -> None:
    words = {"in": ["Zufluß"], "out": ["Abfluß"]}
    assert [directed(f"12.00 {word}", **words) for word in ("Abfluß", "ABFLUSS", "Zufluß")] == [-12, -12, 12]


@pytest.mark.parametrize("word", ["2", "1,", "x.", "'"])
def test_a_word_that_could_be_part_of_the_amount_needs_a_column_of_its_own(word: str) -> None:
    with pytest.raises(ProfileError, match="could be a part of the amount"):
        directed("40.02", **{"in": ["up"], "out": [word]})
    assert directed("40.02", word, **{"in": ["up"], "out": [word]}) == -Decimal("40.02")


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("text", "taken"), [("0.50 DR", "0.50"), ("0.50 CR", "-0.50"), ("-0.50 DR", "0.50")])
def test_a_word_behind_a_fee_says_whether_it_was_taken(text: str, taken: str, sign: int) -> None:
    direction = read_direction(Section({"in": ["CR"], "out": ["DR"]}, Path("x.toml")), is_behind=True)
    fees = (FeeColumn("Fee", "fee", Role.FEES, sign),)
    columns, dates = Columns(amount="Amount"), Dates(("%Y-%m-%d",))
    profile = Profile("x", "X", "USD", columns, dates, direction=direction, fees=fees)
    charge = CellReader(profile).charge(Row(7, {"Fee": text}), "Fee")
    assert charge is not None
    assert charge * sign == Decimal(taken)
    # Without a word it is as the column has it.
    assert CellReader(profile).charge(Row(7, {"Fee": "0.50"}), "Fee") == Decimal("0.50")
