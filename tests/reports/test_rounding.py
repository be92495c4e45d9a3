"""Rounded figures add up, stay near and leave whole figures alone."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millilot.reports import rounding

if TYPE_CHECKING:
    from collections.abc import Mapping

CENT = Decimal("0.01")

#: Amounts with fractions of a cent that do not end, whole ones and noughts among them.
amounts = st.builds(
    lambda number, divisor: Decimal(number) / divisor,
    st.integers(-100_000, 100_000),
    st.sampled_from([1, 3, 7, 100, 300, 700, 1000, 99_999]),
)
tables = st.integers(1, 5).flatmap(
    lambda width: st.lists(st.lists(amounts, min_size=width, max_size=width), min_size=1, max_size=12),
)


def is_whole(amount: Decimal) -> bool:
    return amount == amount.quantize(CENT)


@given(st.lists(amounts, max_size=20), st.booleans())
def test_shares_add_up_to_the_rounded_total(exact: list[Decimal], one_first: bool) -> None:
    rounded = rounding.shares(exact, CENT, first=-1 if one_first and exact else None)
    assert sum(rounded) == rounding.nearest(sum(exact, Decimal(0)), CENT)
    assert all(is_whole(after) for after in rounded)
    assert all(abs(after - before) < CENT for before, after in zip(exact, rounded, strict=True))
    assert all(after == before for before, after in zip(exact, rounded, strict=True) if is_whole(before))


def test_of_equal_remainders_the_first_is_rounded_up() -> None:
    third = Decimal(10) / 3
    assert rounding.shares([third] * 3, CENT) == [Decimal("3.34"), Decimal("3.33"), Decimal("3.33")]


def test_one_share_goes_to_the_nearest_if_it_is_to_come_first() -> None:
    exact = [Decimal("0.003"), Decimal("0.003"), Decimal("0.004")]
    assert rounding.shares(exact, CENT, first=2) == [Decimal("0.01"), 0, 0]
    exact = [Decimal("0.006"), Decimal("0.008"), Decimal("0.006")]
    assert rounding.shares(exact, CENT, first=2) == [0, Decimal("0.01"), Decimal("0.01")]


def test_a_first_share_gives_way_where_the_others_are_whole() -> None:
    assert rounding.shares([Decimal("0.01"), Decimal("0.007")], CENT, first=1) == [Decimal("0.01")] * 2


@pytest.mark.parametrize(
    ("amount", "even"),
    [("0.005", "0.00"), ("0.015", "0.02"), ("0.025", "0.02"), ("-0.005", "0.00"), ("-0.015", "-0.02")],
)
def test_a_tie_goes_to_the_even_amount(amount: str, even: str) -> None:
    assert rounding.nearest(Decimal(amount), CENT) == Decimal(even)
    assert rounding.shares([Decimal(amount)], CENT) == [Decimal(even)]
    assert rounding.table([[Decimal(amount)]], CENT) == [[Decimal(even)]]


@given(tables)
def test_the_rows_and_columns_of_a_table_add_up(exact: list[list[Decimal]]) -> None:
    rounded = rounding.table(exact, CENT)
    for before, after in zip(exact, rounded, strict=True):
        assert abs(sum(after) - sum(before)) < CENT
        for cell, result in zip(before, after, strict=True):
            assert is_whole(result)
            assert abs(result - cell) < CENT
            assert not is_whole(cell) or result == cell
    for column, result in zip(zip(*exact, strict=True), zip(*rounded, strict=True), strict=True):
        assert abs(sum(result) - sum(column)) < CENT


@given(tables, st.data())
def test_the_column_asked_for_first_has_the_nearest_total(exact: list[list[Decimal]], data: st.DataObject) -> None:
    column = data.draw(st.integers(0, len(exact[0]) - 1))
    rounded = rounding.table(exact, CENT, first=[column])
    total = sum((row[column].quantize(CENT / rounding.GRAINS) for row in exact), Decimal(0))
    assert abs(sum(row[column] for row in rounded) - total) <= CENT / 2 + CENT / 10**8


def test_a_row_that_is_whole_stays_whole() -> None:
    third = Decimal(100) / 3
    cost, other = rounding.table([[third, third * 2], [third * 2, third]], CENT)
    assert sum(cost) == 100
    assert sum(other) == 100
    assert cost[0] + other[0] == 100


def test_noise_is_not_taken_for_a_fraction() -> None:
    noisy = Decimal("33.33333333333333333333333333") * 3
    assert rounding.table([[noisy, Decimal("1E-26")]], CENT) == [[Decimal(100), Decimal(0)]]
    assert rounding.shares([noisy], CENT) == [Decimal(100)]


def test_noise_does_not_decide_a_tie() -> None:
    noise = Decimal("1E-25")
    assert rounding.nearest(Decimal("0.005") + noise, CENT) == 0
    assert rounding.nearest(Decimal("0.015") - noise, CENT) == Decimal("0.02")
    third = Decimal(10) / 3
    assert rounding.shares([third, third + noise, third], CENT)[0] == Decimal("3.34")


def test_large_amounts_have_room() -> None:
    large = Decimal("123456789012345.674")
    assert rounding.nearest(large, CENT) == Decimal("123456789012345.67")
    assert rounding.table([[large, Decimal("0.006")]], CENT) == [[Decimal("123456789012345.67"), Decimal("0.01")]]


def test_a_large_table_adds_up() -> None:
    exact = [[Decimal(row + 1) / 7, Decimal(row) / 3, Decimal(0), Decimal(row) / 11] for row in range(1500)]
    rounded = rounding.table(exact, CENT)
    assert all(row[2] == 0 for row in rounded)
    for column in range(4):
        total = sum((row[column] for row in exact), Decimal(0))
        assert abs(sum(row[column] for row in rounded) - total) < CENT


def sums(lines: Mapping[str, Decimal]) -> tuple[Decimal, Decimal]:
    return lines["a"] + lines["b"] - lines["c"], lines["a"] - lines["c"]


@given(amounts, amounts, amounts)
def test_a_schedule_meets_its_totals_where_lines_may_move(a: Decimal, b: Decimal, c: Decimal) -> None:
    exact = {"a": a, "b": b, "c": c}
    rounded = rounding.schedule(exact, ["a", "b", "c"], sums, CENT)
    assert all(is_whole(amount) for amount in rounded.values())
    assert all(abs(rounded[name] - exact[name]) < CENT for name in exact)
    missed = [abs(got - want) for got, want in zip(sums(rounded), sums(exact), strict=True)]
    assert all(miss < CENT for miss in missed)


def test_a_line_that_may_not_move_goes_to_the_nearest() -> None:
    exact = {"a": Decimal("1.004"), "b": Decimal("1.004"), "c": Decimal("0.003")}
    rounded = rounding.schedule(exact, ["b"], sums, CENT)
    assert rounded == {"a": Decimal("1.00"), "b": Decimal("1.00"), "c": Decimal("0.00")}
    exact = {"a": Decimal("1.004"), "b": Decimal("1.004"), "c": Decimal("0.000")}
    assert rounding.schedule(exact, ["b"], sums, CENT)["b"] == Decimal("1.01")


def test_a_nought_is_never_negative() -> None:
    assert str(rounding.nearest(Decimal("-0.001"), CENT)) == "0.00"
    assert [str(cell) for cell in rounding.shares([Decimal("-0.001")], CENT)] == ["0.00"]
