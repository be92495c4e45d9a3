"""Whatever befalls a bottle, in whatever order it is written: no mL and no cost appears or vanishes."""

from __future__ import annotations

import io
from collections import defaultdict
from decimal import Decimal

from beancount.parser import printer
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from .books import PLUGIN, LoadedBooks, dated, load
from .happenings import ACCOUNTS, Life, lives, out_of_stock

EXACT = Decimal("1E-18")
OPTIONS = "".join(line for line in ACCOUNTS.splitlines(keepends=True) if line.startswith("option"))

random_lives = settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def load_life(entries: list[str]) -> LoadedBooks:
    books = load("".join(entries), ACCOUNTS)
    assert books.messages == []
    return books


@random_lives
@given(lives())
def test_what_is_left_is_what_came_in_less_what_went_out(life: Life) -> None:
    assert load_life(life.entries).left() == life.left()


@random_lives
@given(lives())
def test_the_cost_of_a_purchase_is_in_its_bottles_or_where_they_went(life: Life) -> None:
    books = load_life(life.entries)
    rest: dict[str, Decimal] = defaultdict(Decimal, life.paid)
    for entry in books.transactions:
        for label, cost in out_of_stock(entry.postings):
            rest[life.bottles[label].purchase] -= cost
    for position in books.stock():
        rest[life.bottles[position.cost.label].purchase] -= position.units.number * position.cost.number
    assert all(abs(each) < EXACT for each in rest.values()), rest
    assert books.balance("Assets:Stock:Inbound") == 0


@random_lives
@given(lives(), st.data())
def test_the_order_of_writing_changes_nothing(life: Life, data: st.DataObject) -> None:
    shuffled = data.draw(st.permutations(life.entries))
    assert dated(load_life(shuffled).entries) == dated(load_life(life.entries).entries)


@random_lives
@given(lives())
def test_printed_books_load_as_the_same_books(life: Life) -> None:
    books = load_life(life.entries)
    output = io.StringIO()
    printer.print_entries(books.entries, file=output)
    again = LoadedBooks(f"{PLUGIN}\n{OPTIONS}\n{output.getvalue()}")
    assert again.messages == []
    assert dated(again.entries) == dated(books.entries)
