"""An amount is shared to the last minor unit."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millilot.importers.sharing import share


@given(
    st.decimals(-(10**6), 10**6, places=2),
    st.lists(st.decimals("0.01", 10**4, places=2), min_size=1, max_size=8),
)
def test_shares_add_up_and_are_less_than_a_unit_off(amount: Decimal, weights: list[Decimal]) -> None:
    unit = Decimal("0.01")
    shares = share(amount, weights, "USD")
    assert sum(shares) == amount
    for part, weight in zip(shares, weights, strict=True):
        assert part == part.quantize(unit)
        assert abs(part - amount * weight / sum(weights)) < unit


@pytest.mark.parametrize(
    ("amount", "weights", "currency", "shares"),
    [
        # 3.333, 3.333 and 3.333: of equal remainders the first.
        ("10.00", ("1", "1", "1"), "USD", ("3.34", "3.33", "3.33")),
        # 0.166, 0.333 and 0.5: the largest remainder, not the first.
        ("1.00", ("1", "2", "3"), "USD", ("0.17", "0.33", "0.50")),
        ("0.05", ("3", "2", "2"), "USD", ("0.02", "0.02", "0.01")),
        ("-10.00", ("1", "1", "1"), "USD", ("-3.34", "-3.33", "-3.33")),
        # By nothing: alike.
        ("9.00", ("0", "0"), "USD", ("4.50", "4.50")),
        ("100", ("1", "2"), "JPY", ("33", "67")),
    ],
)
def test_shares_by_hand(amount: str, weights: tuple[str, ...], currency: str, shares: tuple[str, ...]) -> None:
    assert share(Decimal(amount), [*map(Decimal, weights)], currency) == [*map(Decimal, shares)]
