"""Currencies and amounts."""

from __future__ import annotations

from decimal import Decimal

import pytest
from babel.numbers import get_currency_precision, list_currencies

from millilot.ledger.money import minor_digits, minor_unit, operating_currency, snap

#: Where everyday use, which the locale data follow, drops a minor unit that ISO 4217 has.
UNUSED_MINOR_UNITS = {
    "ADP", "AFN", "ALL", "BYR", "CLF", "COP", "ESP", "HUF", "IDR", "IQD", "IRR", "ITL", "KPW", "LAK", "LBP",
    "LUF", "MGA", "MGF", "MMK", "MRO", "RSD", "SLL", "SOS", "STD", "SYP", "TMM", "TRL", "UYI", "UYW", "YER",
    "ZMK", "ZWD",
}  # fmt: skip


@pytest.mark.parametrize("currency", sorted(list_currencies() - UNUSED_MINOR_UNITS))
def test_minor_digits_are_those_of_the_locale_data(currency: str) -> None:
    assert minor_digits(currency) == get_currency_precision(currency)


def test_minor_units() -> None:
    assert [minor_unit(currency) for currency in ("USD", "JPY", "KWD")] == [
        Decimal("0.01"),
        Decimal(1),
        Decimal("0.001"),
    ]


def test_the_noise_of_a_long_price_is_snapped_to_the_amount_written() -> None:
    price = Decimal("10.00") / 3
    assert str(snap(-3 * price, "USD")) == "-10.00"


def test_an_amount_that_is_no_whole_cent_is_left_as_it_is() -> None:
    assert snap(Decimal("9.999"), "USD") == Decimal("9.999")


def test_the_operating_currency_is_the_first() -> None:
    assert operating_currency({"operating_currency": ["EUR", "USD"]}) == "EUR"
    assert operating_currency({"operating_currency": []}) is None
