"""In which order events are booked, and which plugins may stand behind ours."""

from __future__ import annotations

from decimal import Decimal

import pytest

from .books import ACCOUNTS, SHELF, LoadedBooks, load, states

#: Two bottles, and three orders of one day of which one gets the end of the first bottle.
DAY = [
    """
2026-01-06 * "second bottle" ^purchase-2
  Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
  Assets:Bank  -80.00 USD
""",
    """
2026-02-01 * "nine" ^order-9
  Income:Sales  -98 CEDARHOUR @@ 200.00 USD
  Assets:Bank  200.00 USD
""",
    """
2026-02-01 * "ten" ^order-10
  Income:Sales  -2 CEDARHOUR @@ 6.00 USD
  Assets:Bank  6.00 USD
""",
    """
2026-02-01 * "eleven" ^order-11
  Income:Sales  -3 CEDARHOUR @@ 8.00 USD
  Assets:Bank  8.00 USD
""",
]


def test_a_purchase_serves_the_draws_of_its_day_wherever_it_is_written() -> None:
    books = load(
        """
        2026-01-05 * "sale" ^order-1
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD

        2026-01-05 * "bottle"
          Assets:Stock:CedarHour  100 CEDARHOUR {{129.60 USD, "CH-1"}}
          Assets:Bank  -129.60 USD
        """,
        ACCOUNTS,
    )
    assert books.messages == []
    assert books.left() == {"CH-1": 95}


def test_a_draw_before_the_purchase_is_an_error(faulty: LoadedBooks) -> None:
    """
    2026-01-04 * "too early" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "5", "CEDARHOUR")
    assert faulty.left() == {"CH-1": 100}
    assert faulty.balance("Income:Sales") == Decimal("-12.00")
    assert faulty.balance("Expenses") == 0


def test_a_named_bottle_drawn_before_its_purchase_is_an_error(faulty: LoadedBooks) -> None:
    """
    2026-01-04 * "too early" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD  ; blamed
        bottle: "CH-1"
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "CH-1", "2026-01-05")
    assert faulty.left() == {"CH-1": 100}


@pytest.mark.parametrize("order", [DAY, DAY[::-1], [DAY[2], DAY[0], DAY[3], DAY[1]]])
def test_the_orders_of_a_day_are_poured_in_the_natural_order_of_their_links(order: list[str]) -> None:
    books = load("".join(order))
    assert books.messages == []
    assert books.lines("ten")[2].startswith("Assets:Stock:CedarHour -2 CEDARHOUR {1.296 USD")
    assert books.lines("eleven")[2].startswith("Assets:Stock:CedarHour -3 CEDARHOUR {1.60 USD")


def test_two_bottles_of_a_day_are_drawn_in_the_same_order_however_they_are_written() -> None:
    bottles = [
        f"""
2026-01-05 * "bottle" ^purchase-{number}
  Assets:Stock:CedarHour  50 CEDARHOUR {{{{{number}0.00 USD, "CH-{number}"}}}}
  Assets:Bank  -{number}0.00 USD
"""
        for number in (9, 10)
    ]
    sale = """
2026-02-01 * "sale" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  12.00 USD
"""
    forwards = load("".join([*bottles, sale]), ACCOUNTS)
    backwards = load("".join([*bottles, sale][::-1]), ACCOUNTS)
    assert forwards.messages == []
    assert forwards.left() == backwards.left()


def test_two_bottles_of_one_transaction_are_drawn_as_they_are_written() -> None:
    books = load(
        """
        2026-01-05 * "two"
          Assets:Stock:CedarHour  50 CEDARHOUR {{90.00 USD, "Z"}}
          Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "A"}}
          Assets:Bank  -170.00 USD

        2026-02-01 * "sale" ^order-1
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
        """,
        ACCOUNTS,
    )
    assert books.messages == []
    assert books.left() == {"Z": 45, "A": 50}


def test_the_oldest_lot_is_that_of_the_oldest_cost_date(books: LoadedBooks) -> None:
    """
    2026-01-20 * "owned before"
      Assets:Stock:CedarHour  50 CEDARHOUR {1.10 USD, 2024-06-01, "CH-OLD"}
      Equity:Contributed  -55.00 USD

    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert books.left() == {"CH-1": 100, "CH-OLD": 45}


def test_a_lot_with_an_old_cost_date_cannot_be_drawn_before_it_came_in(books: LoadedBooks) -> None:
    """
    2026-01-20 * "owned before"
      Assets:Stock:CedarHour  50 CEDARHOUR {1.10 USD, 2024-06-01, "CH-OLD"}
      Equity:Contributed  -55.00 USD

    2026-01-19 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert books.left() == {"CH-1": 95, "CH-OLD": 50}


@pytest.mark.parametrize(
    "plugin",
    [
        '"beancount.plugins.coherent_cost"',
        '"beancount.plugins.implicit_prices"',
        '"beancount.plugins.onecommodity"',
        '"beancount.plugins.currency_accounts" "Equity:CurrencyAccounts"',
        '"beancount.plugins.sellgains"',
        '"beancount.plugins.check_closing"',
        '"beancount.plugins.unique_prices"',
        '"beancount.plugins.noduplicates"',
        '"beancount.plugins.auto_accounts"',
    ],
)
def test_plugins_behind_ours_find_nothing_wrong(plugin: str) -> None:
    books = load(f"plugin {plugin}\n{''.join(DAY)}")
    assert books.messages == []
    assert books.left() == {"CH-2": 47}


def test_auto_accounts_opens_what_the_plugin_posts_to() -> None:
    rest = "\n".join(line for line in SHELF.splitlines() if " open " not in line)
    books = load(f'plugin "beancount.plugins.auto_accounts"\n{"".join(DAY)}', rest)
    assert books.messages == []
    assert books.left() == {"CH-2": 47}


def test_a_draw_feeds_nothing_into_the_price_list() -> None:
    books = load(f'plugin "beancount.plugins.implicit_prices"\n{"".join(DAY)}')
    prices = {(entry.date.isoformat(), entry.currency) for entry in books.entries if hasattr(entry, "amount")}
    assert ("2026-02-01", "CEDARHOUR") not in prices


def test_what_a_line_asks_for_decides_between_sales_that_are_alike_else() -> None:
    head = """
        2026-01-01 custom "pour-loss" 0.1
        2026-01-20 * "small bottle, older"
          Assets:Stock:CedarHour  5.05 CEDARHOUR {{5.05 USD, 2025-12-01, "CH-0"}}
          Assets:Bank  -5.05 USD
    """
    poured = """
        2026-02-02 * "alike"
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
    """
    sealed = """
        2026-02-02 * "alike"
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
            vials: 0
          Assets:Bank  12.00 USD
    """
    one, other = load(head + poured + sealed), load(head + sealed + poured)
    assert one.messages == other.messages == []
    assert one.left() == other.left()
    assert one.balance("Expenses:CostOfGoods:Fragrance") == other.balance("Expenses:CostOfGoods:Fragrance")


#: Two purchases of one day that have only their contents to tell them apart, each of two bottles without a name.
UNNAMED = [
    """
2026-01-05 * "Second shop" "bottles"
  Assets:Stock:CedarHour  30 CEDARHOUR {{30.00 USD}}
  Assets:Stock:CedarHour  20 CEDARHOUR {{20.00 USD}}
  Assets:Bank
""",
    """
2026-01-05 * "First shop" "bottles"
  Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD}}
  Assets:Stock:CedarHour  40 CEDARHOUR {{40.00 USD}}
  Assets:Bank
""",
]


@pytest.mark.parametrize("order", [UNNAMED, UNNAMED[::-1]])
def test_unnamed_bottles_of_a_day_are_told_apart_by_what_their_purchases_say(order: list[str]) -> None:
    books = load("".join(order), ACCOUNTS)
    assert books.messages == []
    assert books.left() == {
        "CEDARHOUR 2026-01-05": 10,
        "CEDARHOUR 2026-01-05 2": 40,
        "CEDARHOUR 2026-01-05 3": 30,
        "CEDARHOUR 2026-01-05 4": 20,
    }
