"""Amounts, counts and dates are read by what the profile says, and by nothing else."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any

import pytest

from millilot.importers.cells import CellReader
from millilot.importers.dialect import Dates, Numbers
from millilot.importers.profile import Columns, Profile
from millilot.importers.table import Row, RowError

if TYPE_CHECKING:
    from decimal import Decimal


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


@pytest.mark.parametrize("text", ["", "-", "--", "\N{EN DASH}"])
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


def test_thousands_in_the_wrong_place_are_refused() -> None:
    with pytest.raises(RowError, match=r"expected an amount like 1,234\.50, found '12,34'"):
        amount("12,34", thousands=(",",))


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


@pytest.mark.parametrize(
    ("text", "layout"),
    [("2026-01-31", "%Y-%m-%d"), ("31.01.2026", "%d.%m.%Y"), ("Jan 31, 2026 11:59 PM", "%b %d, %Y %I:%M %p")],
)
def test_dates(text: str, layout: str) -> None:
    read = reader(formats=(layout,)).date(Row(2, {"Date": text}), "Date")
    assert read == datetime.date(2026, 1, 31)


def test_a_date_of_another_form_is_refused() -> None:
    with pytest.raises(RowError) as caught:
        reader(formats=("%d/%m/%Y",)).date(Row(12, {"Date": "31/1"}), "Date")
    assert str(caught.value) == "column 'Date': expected a date like 31/01/2026, found '31/1'"
