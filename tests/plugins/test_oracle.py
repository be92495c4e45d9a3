"""The lots and costs the plugin finds, against published figures and against Beancount's own booking."""

from __future__ import annotations

import random
from collections import defaultdict
from decimal import Decimal

import pytest
from beancount.core.data import Transaction
from beanquery.query import run_query
from hypothesis import given, settings

from .books import ACCOUNTS, LoadedBooks, load
from .events import DRAW_ACCOUNTS, FRAGRANCES, OPTIONS, Bottle, Events, accounts, events, possible

#: Accounting Principles: A Business Perspective (Global Text, CC BY 3.0), chapter 7, exhibit 49: the purchases and
#: sales of a year. First in, first out it costs 511 to sell, and 179 are left.
PUBLISHED = """
2026-01-01 * "opening"
  Assets:Stock:CedarHour  10 CEDARHOUR {8.00 USD}
  Equity:Contributed  -80.00 USD
2026-03-02 * "purchase"
  Assets:Stock:CedarHour  10 CEDARHOUR {8.50 USD}
  Assets:Bank  -85.00 USD
2026-03-10 * "sale" ^order-1
  Income:Sales  -10 CEDARHOUR @ 12.00 USD
  Assets:Bank  120.00 USD
2026-05-28 * "purchase"
  Assets:Stock:CedarHour  20 CEDARHOUR {8.40 USD}
  Assets:Bank  -168.00 USD
2026-07-14 * "sale" ^order-2
  Income:Sales  -20 CEDARHOUR @ 12.00 USD
  Assets:Bank  240.00 USD
2026-08-12 * "purchase"
  Assets:Stock:CedarHour  10 CEDARHOUR {9.00 USD}
  Assets:Bank  -90.00 USD
2026-09-07 * "sale" ^order-3
  Income:Sales  -10 CEDARHOUR @ 14.00 USD
  Assets:Bank  140.00 USD
2026-10-12 * "purchase"
  Assets:Stock:CedarHour  20 CEDARHOUR {8.80 USD}
  Assets:Bank  -176.00 USD
2026-11-22 * "sale" ^order-4
  Income:Sales  -20 CEDARHOUR @ 14.00 USD
  Assets:Bank  280.00 USD
2026-12-21 * "purchase"
  Assets:Stock:CedarHour  10 CEDARHOUR {9.10 USD}
  Assets:Bank  -91.00 USD
"""


@pytest.fixture(scope="module")
def published() -> LoadedBooks:
    books = load(PUBLISHED, ACCOUNTS)
    assert books.messages == []
    return books


def test_published_cost_of_goods_and_closing_stock(published: LoadedBooks) -> None:
    assert published.balance("Expenses:CostOfGoods:Fragrance") == 511
    assert published.stock_value() == 179
    assert published.balance("Income:Sales") + 511 == -269


@pytest.mark.parametrize(
    ("query", "figure"),
    [
        ("SELECT number(only('USD', sum(position))) WHERE account ~ '^Expenses:CostOfGoods'", 511),
        ("SELECT number(only('USD', cost(sum(position)))) WHERE account ~ '^Assets:Stock'", 179),
        ("SELECT number(only('USD', sum(position))) WHERE account ~ '^Income:Sales'", -780),
        ("SELECT number(only('CEDARHOUR', units(sum(position)))) WHERE account ~ '^Assets:Stock'", 20),
    ],
)
def test_published_figures_through_a_query(published: LoadedBooks, query: str, figure: int) -> None:
    _, rows = run_query(published.entries, published.options, query)
    assert rows == [(figure,)]


def test_published_stock_that_is_left(published: LoadedBooks) -> None:
    assert published.left() == {"CEDARHOUR 2026-10-12": 10, "CEDARHOUR 2026-12-21": 10}


def taken(books: LoadedBooks) -> tuple[dict[str, dict[str, Decimal]], dict[str, Decimal]]:
    """Return the mL each order took from each lot, and what they cost, by the order's link."""
    lots: dict[str, dict[str, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
    costs: dict[str, Decimal] = defaultdict(Decimal)
    for entry in books.entries:
        if isinstance(entry, Transaction):
            [link] = entry.links
            for posting in entry.postings:
                if posting.cost is not None and posting.units.number < 0:
                    lots[link][posting.cost.label] -= posting.units.number
                    costs[link] -= posting.units.number * posting.cost.number
    return lots, costs


def posted_costs(books: LoadedBooks) -> dict[str, Decimal]:
    """Return the cost posted for each order, by its link."""
    costs: dict[str, Decimal] = defaultdict(Decimal)
    for entry in books.entries:
        if isinstance(entry, Transaction):
            [link] = entry.links
            for posting in entry.postings:
                if posting.account in DRAW_ACCOUNTS.values():
                    costs[link] += posting.units.number
    return dict(costs)


def assert_same_lots(happened: Events) -> None:
    """Assert that the plugin takes the lots that Beancount takes by itself."""
    # Written backwards, so that it is the plugin that finds the order.
    ours = load("".join([OPTIONS, *reversed(happened.in_draws())]), accounts("NONE"))
    theirs = LoadedBooks("".join([OPTIONS, *happened.by_hand(), accounts("FIFO")]))
    assert ours.messages == []
    assert theirs.messages == []
    lots, _ = taken(ours)
    expected_lots, expected_costs = taken(theirs)
    assert lots == expected_lots
    posted = posted_costs(ours)
    assert posted.keys() == expected_costs.keys()
    assert all(abs(posted[link] - cost) < Decimal("1E-18") for link, cost in expected_costs.items())
    assert ours.stock() == theirs.stock()


@given(events())
@settings(max_examples=150, deadline=None)
def test_random_books_take_the_lots_of_beancounts_own_booking(happened: Events) -> None:
    assert_same_lots(happened)


def test_two_thousand_sales_over_a_hundred_bottles() -> None:
    chance = random.Random(2000)
    sizes = [Decimal(size) for size in ("30", "50", "75", "90", "100")]
    bottles = [
        Bottle(
            number,
            chance.randrange(120),
            chance.choice(FRAGRANCES),
            chance.choice(sizes),
            Decimal(chance.randrange(3_000, 20_000)) / 100,
        )
        for number in range(1, 101)
    ]
    vials = [Decimal(size) for size in ("1", "2", "2.5", "3", "5")]
    wanted = [
        (
            chance.randrange(120, 480),
            number,
            "Income:Sales",
            [(chance.choice(FRAGRANCES), chance.choice(vials), chance.choice([None, None, None, number]))],
            None,
        )
        for number in range(1, 2_001)
    ]
    happened = possible(bottles, wanted)
    assert len(happened.draws) == 2_000
    assert any(line.bottle for draw in happened.draws for line in draw.lines)
    assert_same_lots(happened)
