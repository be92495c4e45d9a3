"""Where what the plugin makes is posted, and what happens when that account is not open."""

from __future__ import annotations

import io
import re
from decimal import Decimal

import pytest
from beancount import loader
from beancount.parser import printer

from millilot.ledger.reading import read_books
from millilot.reports.bottles import bottles

from .books import ACCOUNTS, PLUGIN, SHELF, LoadedBooks, load, states

SALE = """
2026-02-01 * "sale" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  12.00 USD
"""


def without(account: str, books: str = SHELF) -> str:
    """Return the books without the line that opens an account."""
    kept = [line for line in books.splitlines() if f" open {account}" not in line]
    assert len(kept) == len(books.splitlines()) - 1
    return "\n".join(kept)


def test_an_account_that_is_not_open_is_one_error_at_the_first_line_that_needs_it() -> None:
    books = load(
        """
        2026-02-01 * "first" ^order-1
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD  ; blamed
          Assets:Bank  12.00 USD

        2026-02-02 * "second" ^order-2
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
        """,
        without("Expenses:CostOfGoods:Fragrance"),
    )
    assert "open Expenses:CostOfGoods:Fragrance" in books.error()
    assert books.balance("Income:Sales") == Decimal("-24.00")


def test_the_open_line_of_the_message_can_be_pasted() -> None:
    rest = without("Expenses:CostOfGoods:Fragrance")
    [message] = load(SALE, rest).messages
    line = message[message.index("open Expenses:CostOfGoods:Fragrance") - len("2026-01-01 ") :].splitlines()[0]
    books = load(SALE, f"{rest}\n{line.rstrip('.')}")
    assert books.messages == []
    assert books.left() == {"CH-1": 95}


def test_the_refunds_account_is_asked_for_when_a_return_needs_it() -> None:
    books = load(
        f"""{SALE}
2026-02-09 * "back" ^order-1
  Income:Sales  5 CEDARHOUR @@ 12.00 USD  ; blamed
  Assets:Bank  -12.00 USD
        """,
        without("Income:Refunds"),
    )
    assert "open Income:Refunds" in books.error()


def test_a_forgotten_plugin_line_is_an_error_at_every_sale() -> None:
    _, errors, _ = loader.load_string(f"{SALE}{SALE}{SHELF}")
    assert len(errors) == 2
    assert all("Income:Sales" in error.message for error in errors)


def test_stock_leaves_the_account_its_lot_stands_in() -> None:
    books = load(
        """
        2026-01-07 * "cellar"
          Assets:Stock:Cellar  50 CEDARHOUR {{80.00 USD, "CH-2"}}
          Assets:Bank  -80.00 USD

        2026-02-01 * "sale" ^order-1
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
            bottle: "CH-2"
          Assets:Bank  12.00 USD
        """,
        f'{SHELF}\n2020-01-01 open Assets:Stock:Cellar "NONE"',
    )
    assert books.messages == []
    assert [str(posting.units) for posting in books.postings("Assets:Stock:Cellar")] == [
        "50 CEDARHOUR",
        "-5 CEDARHOUR",
    ]


def test_the_oldest_lot_is_found_in_whatever_stock_account() -> None:
    books = load(
        """
        2026-01-04 * "cellar"
          Assets:Stock:Cellar  50 CEDARHOUR {{80.00 USD, "CH-0"}}
          Assets:Bank  -80.00 USD

        2026-02-01 * "sale" ^order-1
          Income:Sales  -55 CEDARHOUR @@ 120.00 USD
          Assets:Bank  120.00 USD
        """,
        f'{SHELF}\n2020-01-01 open Assets:Stock:Cellar "NONE"',
    )
    assert books.messages == []
    assert books.left() == {"CH-1": 95}


def test_a_stock_account_without_none_gives_the_same_books() -> None:
    strict = SHELF.replace(' "NONE"', "")
    assert strict != SHELF
    books = load(SALE, strict)
    assert books.messages == []
    assert books.balances() == load(SALE).balances()


def test_all_stock_in_one_account() -> None:
    shelf = SHELF.replace("Assets:Stock:CedarHour", "Assets:Stock")
    books = load(SALE, shelf)
    assert books.messages == []
    assert books.left() == {"CH-1": 95}


def test_sub_accounts_play_the_part_of_the_account_above() -> None:
    books = load(
        """
        2026-02-01 * "sale" ^order-1
          Income:Sales:CedarHour  -5 CEDARHOUR @@ 12.00 USD
          Expenses:Samples:Cards  1 CEDARHOUR
          Equity:PersonalUse:Spouse  2 CEDARHOUR
          Assets:Marketplace:Lantern  12.00 USD

        2026-02-09 * "back" ^order-1
          Income:Refunds:Lantern  5 CEDARHOUR @@ 12.00 USD
          Assets:Marketplace:Lantern  -12.00 USD
        """,
        f"""{SHELF}
2020-01-01 open Income:Sales:CedarHour USD
2020-01-01 open Income:Refunds:Lantern USD
2020-01-01 open Expenses:Samples:Cards USD
2020-01-01 open Equity:PersonalUse:Spouse USD
""",
    )
    assert books.messages == []
    assert books.left() == {"CH-1": 97}
    assert books.balance("Income:Sales:CedarHour") == Decimal("-12.00")
    assert books.balance("Income:Refunds:Lantern") == Decimal("12.00")
    assert books.balance("Expenses:Samples:Cards") == Decimal("1.296")
    assert books.balance("Equity:PersonalUse:Spouse") == Decimal("2.592")


def test_a_role_can_be_given_to_another_account() -> None:
    books = load(
        """
        2026-01-01 custom "millilot-account" "sales" Income:Decants
        2026-01-01 custom "millilot-account" "cost-of-goods" Expenses:Poured

        2026-02-01 * "sale" ^order-1
          Income:Decants  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
        """,
        f"{SHELF}\n2020-01-01 open Income:Decants USD\n2020-01-01 open Expenses:Poured USD",
    )
    assert books.messages == []
    assert books.balance("Income:Decants") == Decimal("-12.00")
    assert books.balance("Expenses:Poured") == Decimal("6.48")


def test_a_role_changes_from_its_date_on() -> None:
    books = load(
        """
        2026-03-01 custom "millilot-account" "cost-of-goods" Expenses:Poured

        2026-02-28 * "before" ^order-1
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD

        2026-03-01 * "from" ^order-2
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
        """,
        f"{SHELF}\n2020-01-01 open Expenses:Poured USD",
    )
    assert books.messages == []
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("6.48")
    assert books.balance("Expenses:Poured") == Decimal("6.48")


def test_another_stock_account() -> None:
    shelf = SHELF.replace("Assets:Stock", "Assets:Shelf")
    books = load(f'2020-01-01 custom "millilot-account" "stock" Assets:Shelf\n{SALE}', shelf)
    assert books.messages == []
    assert sum(posting.units.number for posting in books.postings("Assets:Shelf:CedarHour")) == 95


MOVED_STOCK = """
2026-02-01 custom "millilot-account" "stock" Assets:Shelf
2020-01-01 open Assets:Shelf:CedarHour "NONE"
2026-02-02 * "second bottle"
  Assets:Shelf:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
  Assets:Bank  -80.00 USD
"""


def test_a_bottle_stays_stock_when_the_role_moves_to_another_account() -> None:
    books = load(
        f"""{MOVED_STOCK}
2026-02-03 * "sale" ^order-1
  Income:Sales  -98 CEDARHOUR @@ 200.00 USD
  Assets:Bank  200.00 USD
2026-02-04 * "back" ^order-1
  Income:Refunds  98 CEDARHOUR @@ 200.00 USD
  Assets:Bank  -200.00 USD
2026-02-05 * "to the supplier"
  Assets:Stock:CedarHour  -100 CEDARHOUR {{1.296 USD, "CH-1"}}
  Assets:Bank  129.60 USD
        """,
    )
    assert books.messages == []
    assert [str(posting.units.number) for posting in books.postings("Assets:Stock:CedarHour")] == [
        "100", "-98", "98", "-100",
    ]


def test_what_comes_into_the_former_stock_account_is_not_stock() -> None:
    books = load(
        f"""{MOVED_STOCK}
2026-02-01 * "shares"
  Assets:Stock:CedarHour  3 SHARE {{10.00 USD}}
  Assets:Bank  -30.00 USD
        """,
    )
    assert books.messages == []
    [share] = [posting for posting in books.postings("Assets:Stock") if posting.units.currency == "SHARE"]
    assert share.cost.label is None


MOVE = """
2020-01-01 open Assets:Stock:Cellar "NONE"
2026-02-01 * "sale" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  12.00 USD
2026-02-02 * "to the cellar"
  Assets:Stock:CedarHour  {taken} CEDARHOUR {{{cost} USD, 2026-01-05, "CH-1"}}{blamed}
  Assets:Stock:Cellar  {put} CEDARHOUR {{{cost} USD, 2026-01-05, "CH-1"}}
2026-02-02 * "sale of that day" ^order-2
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  12.00 USD
"""


def test_a_bottle_that_was_moved_is_drawn_from_where_it_stands() -> None:
    books = load(MOVE.format(taken=-95, put=95, cost="1.296", blamed=""))
    assert books.messages == []
    assert [posting.units.number for posting in books.postings("Assets:Stock:CedarHour")] == [100, -5, -95]
    assert [posting.units.number for posting in books.postings("Assets:Stock:Cellar")] == [95, -5]


@pytest.mark.parametrize(("taken", "put", "cost"), [(-50, 50, "1.296"), (-95, 94, "1.296"), (-95, 95, "1.30")])
def test_a_bottle_is_moved_whole_and_at_its_cost(taken: int, put: int, cost: str) -> None:
    books = load(MOVE.format(taken=taken, put=put, cost=cost, blamed="  ; blamed"))
    assert states(books.error(), "Assets:Stock:CedarHour -95 CEDARHOUR {1.296 USD, 2026-01-05", "CH-1")
    assert books.left() == {"CH-1": 90}
    assert books.balance("Assets:Stock:Inbound") == 0


def test_a_bottle_is_moved_from_where_it_stands() -> None:
    moved = MOVE.format(taken=-95, put=95, cost="1.296", blamed="")
    back = """
2026-02-03 * "once more"
  Assets:Stock:CedarHour  -90 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"}  ; blamed
  Assets:Stock:Cellar  90 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"}
"""
    books = load(moved + back)
    assert "Assets:Stock:Cellar -90 CEDARHOUR" in books.error()
    assert sum(posting.units.number for posting in books.postings("Assets:Stock:Cellar")) == 90


def test_a_line_at_cost_in_an_account_the_bottle_does_not_stand_in_is_an_error(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "to the supplier"
      Assets:Stock:QuietReed  -5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"}  ; blamed
      Assets:Bank  6.48 USD
    """
    assert states(faulty.error(), "CH-1", "Assets:Stock:CedarHour", "Assets:Stock:QuietReed")
    assert faulty.left() == {"CH-1": 100}


@pytest.mark.parametrize(
    ("role", "account", "found"),
    [
        ("sales", "Assets:Shop", "under Income, not by Assets:Shop"),
        ("stock", "Expenses:Shelf", "under Assets, not by Expenses:Shelf"),
        ("personal-use", "Expenses:Private", "under Equity, not by Expenses:Private"),
        ("bank", "Income:Bank", "under Assets or Liabilities, not by Income:Bank"),
    ],
)
def test_a_role_is_played_by_an_account_of_its_kind(role: str, account: str, found: str) -> None:
    books = load(f'2026-01-01 custom "millilot-account" "{role}" {account}  ; blamed\n{SALE}')
    assert found in books.error()
    assert f'expected: 2026-01-01 custom "millilot-account" "{role}"' in books.error()
    assert books.left() == {"CH-1": 95}


def test_a_card_may_be_a_bank() -> None:
    assert load('2026-01-01 custom "millilot-account" "bank" Liabilities:Card').messages == []


@pytest.mark.parametrize(
    "lines",
    [
        ['2026-01-01 custom "millilot-account" "sales" Income:Refunds  ; blamed'],
        [
            '2026-01-01 custom "millilot-account" "sales" Income:Decants',
            '2026-01-01 custom "millilot-account" "swaps" Income:Decants  ; blamed',
        ],
        [
            '2026-01-01 custom "millilot-account" "sales" Income:Decants',
            '2026-01-02 custom "millilot-account" "swaps" Income:Decants  ; blamed',
        ],
        ['2026-01-01 custom "millilot-account" "bank" Assets:Marketplace  ; blamed'],
    ],
)
def test_an_account_has_one_role(lines: list[str]) -> None:
    assert "an account has one role; expected: 2026-01-0" in load("\n".join(lines)).error()


def test_an_account_that_was_replaced_is_free_for_another_role() -> None:
    books = load(
        """
        2026-01-01 custom "millilot-account" "swaps" Income:Sales
        2026-01-01 custom "millilot-account" "sales" Income:Decants
        2026-02-01 custom "millilot-account" "refunds" Income:Swaps
        """,
    )
    assert books.messages == []


def test_the_roots_of_accounts_may_have_other_names() -> None:
    names = {"Assets": "Vermoegen", "Liabilities": "Schulden", "Income": "Ertrag", "Expenses": "Ausgaben"}
    text = f"{SHELF}{SALE}" + """
2026-02-02 * "sample"
  Expenses:Samples  1 CEDARHOUR
2026-02-03 * "back" ^order-1
  Income:Sales  5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  -12.00 USD
2026-02-04 custom "millilot-account" "loss" Expenses:Broken
2020-01-01 open Expenses:Broken
2026-02-05 * "broken"
  Expenses:Broken  2 CEDARHOUR
"""
    for usual, name in names.items():
        text = re.sub(rf"\b{usual}:", f"{name}:", text)
    options = "\n".join(f'option "name_{usual.lower()}" "{name}"' for usual, name in names.items())
    books = load(options, text)
    assert books.messages == []
    assert books.balance("Ausgaben:Samples") == Decimal("1.296")
    assert books.balance("Ertrag:Refunds") == Decimal("12.00")
    [bottle] = bottles(read_books(books.entries, books.options)).to_dict("records")[:1]
    assert (bottle["ml_left"], bottle["ml_sampled"], bottle["ml_lost"]) == (97, 1, 2)
    output = io.StringIO()
    printer.print_entries(books.entries, file=output)
    again = load(options, output.getvalue())
    assert again.messages == []
    assert again.balances() == books.balances()
    assert len(again.entries) == len(books.entries)


def test_a_role_that_does_not_exist_is_one_error(faulty: LoadedBooks) -> None:
    """
    2026-01-01 custom "millilot-account" "selling" Income:Decants  ; blamed

    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "selling", "sales")
    assert faulty.left() == {"CH-1": 95}


def test_the_accounts_of_these_tests_are_in_order() -> None:
    assert load("", ACCOUNTS).messages == []
    assert PLUGIN in load("").text
