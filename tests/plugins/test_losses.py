"""What is lost: in the pour, before a sale, and on the way."""

from __future__ import annotations

from decimal import Decimal

import pytest

from .books import ACCOUNTS, BLAMED, LoadedBooks, load, states

#: A bottle of 10 mL at 1.00, of which 0.1 mL is lost in every pour.
TEN = f"""{ACCOUNTS}
2020-01-01 open Income:Compensation USD
2020-01-01 custom "pour-loss" 0.1
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  10 CEDARHOUR {{{{10.00 USD, "CH-1"}}}}
  Assets:Bank  -10.00 USD
"""
COST = "Expenses:CostOfGoods:Fragrance"

FIRST = """
2026-02-01 * "first" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  12.00 USD
"""


def second(quantity: str, says: str = "") -> LoadedBooks:
    """Load books in which 5 mL were sold before, and so much is sold now."""
    text = (
        f'{FIRST}2026-02-02 * "second" ^order-2\n  Income:Sales  -{quantity} CEDARHOUR @@ 12.00 USD  {BLAMED}\n'
        f"{says}  Assets:Bank  12.00 USD\n"
    )
    return load(text, TEN)


def test_the_default_loss_is_a_pair_of_its_own() -> None:
    books = load(FIRST, TEN)
    assert books.messages == []
    assert books.lines("first")[2:] == [
        'Assets:Stock:CedarHour -5 CEDARHOUR {1.00 USD, 2026-01-05, "CH-1"} [draw]',
        f"{COST} 5.00 USD [draw]",
        'Assets:Stock:CedarHour -0.1 CEDARHOUR {1.00 USD, 2026-01-05, "CH-1"} [loss]',
        f"{COST} 0.100 USD [loss]",
    ]


def test_a_second_pour_of_what_is_left_empties_the_bottle() -> None:
    books = second("4.9")
    assert books.messages == []
    assert books.left() == {}
    # The default loss takes what is left, which is nothing.
    assert books.balance(COST) == 10
    assert len(books.lines("second")) == 4


def test_a_second_pour_of_as_much_is_refused_for_what_the_first_lost() -> None:
    books = second("5")
    assert states(books.error(), "4.9 left", "asks for 5")
    assert books.left() == {"CH-1": Decimal("4.9")}


def test_the_default_loss_takes_no_more_than_is_left() -> None:
    books = second("4.85")
    assert books.messages == []
    assert books.left() == {}
    assert books.balance(COST) == 10


def test_a_loss_that_is_written_counts_as_asked_for() -> None:
    assert second("4.5", "    loss: 0.4\n").left() == {}
    books = second("4.5", "    loss: 0.5\n")
    assert states(books.error(), "4.9 left", "asks for 5.0", "0.5 lost in the pour")


def test_a_loss_of_nought_is_written_against_the_default() -> None:
    books = second("4", "    loss: 0\n")
    assert books.messages == []
    assert books.left() == {"CH-1": Decimal("0.9")}


@pytest.mark.parametrize(("vials", "left"), [("0", "5"), ("1", "4.9"), ("3", "4.7")])
def test_the_default_is_lost_once_a_vial(vials: str, left: str) -> None:
    books = load(FIRST.replace("USD\n  Assets", f"USD\n    vials: {vials}\n  Assets", 1), TEN)
    assert books.messages == []
    assert books.left() == {"CH-1": Decimal(left)}


def test_nothing_is_lost_in_what_is_not_sold() -> None:
    books = load('2026-02-01 * "kept"\n  Equity:PersonalUse  2 CEDARHOUR\n  Expenses:Samples  1 CEDARHOUR\n', TEN)
    assert books.left() == {"CH-1": 7}


def test_the_default_changes_on_its_day() -> None:
    later = FIRST.replace("02-01", "02-02").replace("-5 CEDARHOUR", "-2 CEDARHOUR")
    books = load(f'2026-02-02 custom "pour-loss" 0.3\n{FIRST}{later}', TEN)
    assert books.messages == []
    assert books.left() == {"CH-1": Decimal("2.6")}


def test_breakage_is_a_loss_at_cost() -> None:
    books = load('2026-02-01 * "broke"\n  Expenses:Loss  10 CEDARHOUR\n', TEN)
    assert books.messages == []
    assert books.lines("broke") == [
        'Assets:Stock:CedarHour -10 CEDARHOUR {1.00 USD, 2026-01-05, "CH-1"} [draw]',
        "Expenses:Loss 10.00 USD [10 CEDARHOUR]",
    ]


def test_a_lost_parcel_refunded_stays_sold() -> None:
    books = load(
        f"""{FIRST}
2026-02-10 * "lost, refunded" ^order-1
  Income:Refunds  12.00 USD
  Assets:Bank  -12.00 USD
2026-02-20 * "the carrier paid" ^order-1
  Income:Compensation  -9.00 USD
  Assets:Bank  9.00 USD
""",
        TEN,
    )
    assert books.messages == []
    assert books.left() == {"CH-1": Decimal("4.9")}
    assert books.lines("lost, refunded") == ["Income:Refunds 12.00 USD", "Assets:Bank -12.00 USD"]
    assert books.balance(COST) == Decimal("5.10")
    assert books.balance("Income:Compensation") == -9


def test_a_lost_parcel_poured_again_is_sold_once_and_lost_once() -> None:
    books = load(f'{FIRST}2026-02-10 * "again" ^order-1\n  Expenses:Loss  3 CEDARHOUR\n', TEN)
    assert books.messages == []
    assert books.left() == {"CH-1": Decimal("1.9")}
    assert books.balance("Income:Sales") == -12
    assert (books.balance(COST), books.balance("Expenses:Loss")) == (Decimal("5.10"), 3)
