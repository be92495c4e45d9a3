"""How bottles come in that were not simply bought: owned before, used, free, or swapped for."""

from __future__ import annotations

import pytest

from millilot.ledger.reading import read_books

from .books import BLAMED, LoadedBooks, load, states

OWNED = """
2026-01-02 * "owned before"
  Assets:Stock:QuietReed  74 QUIETREED {{{{{cost} USD, "QR-1"}}}}  {blamed}
    paid: {paid}
    market-value: {market_value}
  {source}  -{cost} USD
"""


def owned(cost: str, paid: str = "88.00 USD", market_value: str = "66.60 USD", **says: str) -> LoadedBooks:
    values = {"source": "Equity:Contributed", "blamed": "", **says}
    return load(OWNED.format(cost=cost, paid=paid, market_value=market_value, **values))


@pytest.mark.parametrize("cost", ["0.00", "66.60", "70.00", "88.00"])
def test_a_bottle_owned_before_comes_in_at_no_more_than_the_higher_value(cost: str) -> None:
    books = owned(cost)
    assert books.messages == []
    assert books.left()["QR-1"] == 74


@pytest.mark.parametrize(("paid", "market_value"), [("88.00 USD", "66.60 USD"), ("66.60", "88.00")])
def test_a_cost_above_both_is_an_error(paid: str, market_value: str) -> None:
    books = owned("88.01", paid, market_value, blamed=BLAMED)
    message = books.error()
    assert states(message, "QR-1", "88.01 USD", f"({paid[:5]})", f"({market_value[:5]})")
    assert books.left()["QR-1"] == 74


def test_a_bottle_that_was_bought_may_cost_what_it_did() -> None:
    assert owned("99.00", source="Assets:Bank").messages == []


def test_both_values_are_needed_to_compare() -> None:
    books = load(
        """
        2026-01-02 * "owned before"
          Assets:Stock:QuietReed  74 QUIETREED {{99.00 USD, "QR-1"}}
            paid: 88.00 USD
          Equity:Contributed  -99.00 USD
        """
    )
    assert books.messages == []


@pytest.mark.parametrize(("written", "estimated"), [("TRUE", True), ("FALSE", False)])
def test_an_estimated_cost_is_known_as_one(written: str, estimated: bool) -> None:
    books = load(
        f"""
        2026-01-02 * "no receipt"
          Assets:Stock:QuietReed  74 QUIETREED {{{{66.60 USD, "QR-1"}}}}
            estimated: {written}
          Equity:Contributed  -66.60 USD
        """
    )
    bottles = read_books(books.entries, books.options).bottles
    assert bottles["QR-1"].estimated is estimated
    assert not bottles["CH-1"].estimated


def test_a_partial_costs_what_was_paid_for_what_was_measured(books: LoadedBooks) -> None:
    """
    2026-01-10 * "a used bottle, 62 mL measured"
      Assets:Stock:QuietReed  62 QUIETREED {{52.70 USD, "QR-1"}}
      Assets:Bank  -52.70 USD
    2026-02-01 * "sale" ^order-1
      Income:Sales  -10 QUIETREED @@ 20.00 USD
      Assets:Bank  20.00 USD
    """
    assert books.lines("sale")[2:] == [
        'Assets:Stock:QuietReed -10 QUIETREED {0.85 USD, 2026-01-10, "QR-1"} [draw]',
        "Expenses:CostOfGoods:Fragrance 8.50 USD [draw]",
    ]


def test_a_gift_costs_nothing_and_bears_no_delivery(books: LoadedBooks) -> None:
    """
    2026-01-10 * "a bottle and a gift"
      Assets:Stock:QuietReed  50 QUIETREED {{90.00 USD, "QR-1"}}
      Assets:Stock:CedarHour  7.5 CEDARHOUR {{0.00 USD, "GIFT"}}
      Assets:Stock:Inbound  10.00 USD
      Assets:Bank  -100.00 USD
    2026-02-01 * "sale" ^order-1
      Income:Sales  -2 CEDARHOUR @@ 5.00 USD
        bottle: "GIFT"
      Income:Sales  -5 QUIETREED @@ 15.00 USD
      Assets:Bank  20.00 USD
    """
    assert books.balance("Expenses:CostOfGoods:Fragrance") == 10
    assert books.left() == {"CH-1": 100, "QR-1": 45, "GIFT": 5.5}


def test_a_swap_is_a_sale_and_a_purchase_at_the_same_value(books: LoadedBooks) -> None:
    """
    2026-03-01 * "swap"
      Income:Swaps  -30 CEDARHOUR @@ 60.00 USD
      Assets:Stock:QuietReed  50 QUIETREED {{60.00 USD, "QR-1"}}
    """
    assert books.lines("swap") == [
        "Income:Swaps -60.00 USD [30 CEDARHOUR]",
        'Assets:Stock:QuietReed 50 QUIETREED {1.20 USD, 2026-03-01, "QR-1"}',
        'Assets:Stock:CedarHour -30 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [draw]',
        "Expenses:CostOfGoods:Fragrance 38.880 USD [draw]",
    ]


def test_a_swap_of_one_fragrance_never_takes_from_the_bottle_that_arrives(books: LoadedBooks) -> None:
    """
    2026-03-01 * "swap"
      Income:Swaps  -30 CEDARHOUR @@ 60.00 USD
      Assets:Stock:CedarHour  50 CEDARHOUR {{60.00 USD, 2020-01-01, "OLD"}}
    """
    assert books.left() == {"CH-1": 70, "OLD": 50}


@pytest.mark.parametrize("bottle", ["", '  bottle: "NEW"\n'])
def test_a_swap_cannot_be_met_from_what_it_brings(bottle: str) -> None:
    books = load(
        '2026-03-01 * "swap"\n'
        f"{bottle}"
        f"  Income:Swaps  -101 CEDARHOUR @@ 60.00 USD  {BLAMED}\n"
        '  Assets:Stock:CedarHour  500 CEDARHOUR {{60.00 USD, "NEW"}}\n'
    )
    message = books.error()
    assert ("100 left" in message) if not bottle else ("comes in with this very transaction" in message)
    assert books.left() == {"CH-1": 100, "NEW": 500}
