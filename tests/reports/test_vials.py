"""Which vials a transaction fills, and from which bottles."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millilot.ledger.records import Kind
from millilot.reports.vials import Vials, _filled, in_all, vials_of, without

from .books import SHELF, read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millilot.ledger.records import Books

TWO_BOTTLES = """
2026-01-07 * "bottle"
  Assets:Stock:CedarHour  7 CEDARHOUR {{7.00 USD, "CH-0"}}
    batch: "1"
  Assets:Bank
"""


def filled(text: str, books: str = "") -> list[tuple[str, list[tuple[str, Decimal]], int]]:
    """Return the vials of the last transaction, as kind, parts and number."""
    read_books: Books = read(SHELF + books + text)
    return [
        (str(each.kind), [(name, ml) for name, ml in each.parts], each.number)
        for each in vials_of(read_books.records[-1], read_books)
    ]


def sale(quantity: str, meta: str = "") -> str:
    return f"""
2026-02-01 * "Sale"
  Income:Sales  -{quantity} CEDARHOUR @@ 12.00 USD
{meta}  Assets:Bank  12.00 USD
"""


@pytest.mark.parametrize(
    ("meta", "number", "ml"),
    [
        ("", 1, Decimal(12)),
        ("    vials: 3\n", 3, Decimal(4)),
        ('    vials: "3"\n', 3, Decimal(4)),
        ("    vials: 0\n", 0, Decimal(12)),
    ],
)
def test_a_line_is_poured_into_as_many_vials_as_it_says(meta: str, number: int, ml: Decimal) -> None:
    assert filled(sale("12", meta)) == [("sold", [("CH-1", ml)], number)]


def test_a_vial_may_hold_the_last_of_one_bottle_and_the_first_of_the_next() -> None:
    """CH-0 is the older by the day it cost: 88 mL are sold off CH-1, then 20 in 4 vials of 5.

    CH-1 has 12 left: two vials of 5 and 2 mL of the third; CH-0 gives 3 mL to that and the fourth.
    """
    earlier = sale("88").replace("2026-02-01", "2026-01-20")
    more = TWO_BOTTLES.replace("7 CEDARHOUR {{7.00", "10 CEDARHOUR {{10.00")
    assert filled(sale("20", "    vials: 4\n"), more + earlier) == [
        ("sold", [("CH-1", Decimal(5))], 2),
        ("sold", [("CH-1", Decimal(2)), ("CH-0", Decimal(3))], 1),
        ("sold", [("CH-0", Decimal(5))], 1),
    ]


def test_a_vial_of_two_bottles_is_as_large_as_the_others() -> None:
    """4 mL of CH-1 and 5 of CH-0 in 3 vials of 3: a third of a vial has no end, and 3 mL do."""
    earlier = sale("96").replace("2026-02-01", "2026-01-20")
    assert filled(sale("9", "    vials: 3\n"), TWO_BOTTLES + earlier) == [
        ("sold", [("CH-1", Decimal(3))], 1),
        ("sold", [("CH-1", Decimal(1)), ("CH-0", Decimal(2))], 1),
        ("sold", [("CH-0", Decimal(3))], 1),
    ]


@given(st.lists(st.integers(1, 300), min_size=1, max_size=4), st.integers(1, 12))
def test_the_vials_of_a_line_hold_all_of_it(tenths: list[int], number: int) -> None:
    parts = [(f"B-{place}", Decimal(each) / 10) for place, each in enumerate(tenths)]
    poured = list(_filled(Kind.SOLD, parts, Decimal(number)))
    assert sum(each.number for each in poured) == number
    for bottle, ml in parts:
        assert abs(sum(each.of(bottle) for each in poured) - ml) < Decimal("1E-18")
    size = sum(ml for _, ml in parts) / number
    assert all(abs(each.ml - size) < Decimal("1E-18") for each in poured)


def test_vials_that_are_alike_are_counted_together() -> None:
    lots = vials(("A", 5, 2), ("A", 10, 1), ("A", 5, 1), ("A", 7, 0), ("A", 7, 0))
    assert in_all(lots) == vials(("A", 5, 3), ("A", 10, 1), ("A", 7, 0), ("A", 7, 0))


def test_a_sample_is_not_counted_with_what_was_sold() -> None:
    sold, sampled = (Vials(kind, (("A", Decimal(5)),), 1) for kind in (Kind.SOLD, Kind.SAMPLED))
    assert in_all([sold, sampled, sampled]) == [sold, Vials(Kind.SAMPLED, (("A", Decimal(5)),), 2)]


def test_a_sample_and_a_gift_are_in_no_vial_unless_they_say_so() -> None:
    text = """
2026-02-01 * "Sale"
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Expenses:Samples  1 QUIETREED
  Expenses:Samples  2 QUIETREED
    vials: 2
  Assets:Bank  12.00 USD
"""
    assert filled(text) == [
        ("sold", [("CH-1", Decimal(5))], 1),
        ("sampled", [("QR-1", Decimal(1))], 0),
        ("sampled", [("QR-1", Decimal(1))], 2),
    ]


def test_goods_written_as_a_pair_are_in_no_vial() -> None:
    text = """
2026-02-01 * "Sale, by hand"
  Income:Sales  -12.00 USD
  Assets:Bank  12.00 USD
  Assets:Stock:CedarHour  -5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"}
  Expenses:CostOfGoods:Fragrance  6.48 USD
"""
    assert filled(text) == [("sold", [("CH-1", Decimal(5))], 0)]


def vials(*lots: tuple[str, int, int]) -> list[Vials]:
    return [Vials(Kind.SOLD, ((name, Decimal(ml)),), number) for name, ml, number in lots]


@pytest.mark.parametrize(
    ("back", "left"),
    [
        (5, [("A", 5, 1), ("A", 10, 1)]),
        (10, [("A", 5, 2)]),
        (20, []),
        # 7 are no whole vials: the last vial is short of them.
        (7, [("A", 5, 2), ("A", 3, 1)]),
        (12, [("A", 5, 1), ("A", 3, 1)]),
    ],
)
def test_what_came_back_is_whole_vials_where_it_can_be(back: int, left: Sequence[tuple[str, int, int]]) -> None:
    assert without(vials(("A", 5, 2), ("A", 10, 1)), "A", Decimal(back)) == vials(*left)


def test_a_vial_that_came_back_is_not_made_up_from_smaller_ones() -> None:
    # 12 mL are three vials of 4 as well, but there are only two.
    assert without(vials(("A", 12, 1), ("A", 4, 2)), "A", Decimal(12)) == vials(("A", 4, 2))


def test_a_vial_of_two_bottles_can_lose_the_share_of_one() -> None:
    mixed = Vials(Kind.SOLD, (("A", Decimal(2)), ("B", Decimal(3))), 1)
    assert without([mixed], "A", Decimal(2)) == [Vials(Kind.SOLD, (("B", Decimal(3)),), 1)]


LOTS = st.lists(
    st.tuples(st.sampled_from("AB"), st.integers(1, 30), st.integers(0, 4)), min_size=1, max_size=5,
)


@given(LOTS, st.integers(0, 200))
def test_what_came_back_is_exactly_what_is_struck(lots: list[tuple[str, int, int]], back: int) -> None:
    before = vials(*lots)
    after = without(before, "A", Decimal(back))
    total = sum(each.of("A") for each in before)
    assert sum(each.of("A") for each in after) == max(total - back, 0)
    assert sum(each.of("B") for each in after) == sum(each.of("B") for each in before)
    assert all(each.ml > 0 for each in after)
