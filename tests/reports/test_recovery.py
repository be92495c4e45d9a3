"""How many decants are to go. Each test's docstring is its books, below the shelf of `books.py`."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from millilot.reports.bottles import bottles, rows_of
from millilot.reports.recovery import ToGo, to_go
from millilot.reports.stock import stock

from .books import SHELF, read

if TYPE_CHECKING:
    from millilot.ledger.records import Books


def of(books: Books, bottle: str) -> ToGo:
    return to_go(books, rows_of(bottles(books)), stock(books))[bottle]


def test_a_fragrance_never_sold_has_no_usual_size() -> None:
    assert of(read(SHELF), "CH-1") == ToGo(None, None, None, None)


def test_the_size_sold_most_often(books: Books) -> None:
    """
    2026-02-01 * "one order"
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank
    2026-02-02 * "another, less 2.40 for the channel"
      Income:Sales  -5 CEDARHOUR @@ 14.00 USD
      Income:Sales  -10 CEDARHOUR @@ 22.00 USD
      Expenses:Selling:Fees  4.80 USD
      Assets:Bank
    """
    # Of 48.00, 43.20 was left: 0.9. A 5 mL brought 13.00 on average, so it leaves 11.70.
    # 129.60 - 43.20 = 86.40 is 7.38 times that, and 8 of 5 mL can be poured from 80 mL.
    assert of(books, "CH-1") == ToGo(Decimal(5), Decimal("11.70"), 8, is_enough=True)


def test_vials_tell_the_size(books: Books) -> None:
    """
    2026-02-01 * "ten in two vials, and a whole bottle's worth unopened"
      Income:Sales  -10 CEDARHOUR @@ 24.00 USD
        vials: 2
      Income:Sales  -30 CEDARHOUR @@ 40.00 USD
        vials: 0
      Assets:Bank
    """
    # 129.60 - 64.00 = 65.60 at 12.00 each.
    assert of(books, "CH-1") == ToGo(Decimal(5), Decimal(12), 6, is_enough=True)


def test_of_two_sold_as_often_the_larger(books: Books) -> None:
    """
    2026-02-01 * "one of each"
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -2 CEDARHOUR @@ 6.00 USD
      Assets:Bank
    """
    assert of(books, "CH-1").size == 5


def test_the_larger_even_where_it_was_sold_later(books: Books) -> None:
    """
    2026-02-01 * "one of each"
      Income:Sales  -2 CEDARHOUR @@ 6.00 USD
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank
    """
    assert of(books, "CH-1").size == 5


def test_what_is_left_to_the_last_drop_is_enough(books: Books) -> None:
    """
    2026-02-01 * "a tenth of the bottle for a tenth of its cost"
      Income:Sales  -10 CEDARHOUR @@ 12.96 USD
      Assets:Bank
    """
    # 129.60 - 12.96 = 116.64 are 9 times 12.96, and 9 of 10 mL are the 90 mL left.
    assert of(books, "CH-1") == ToGo(Decimal(10), Decimal("12.96"), 9, is_enough=True)


def test_a_price_without_an_end_takes_no_decant_more(books: Books) -> None:
    """
    2026-02-01 * "three for 4.00"
      Income:Sales  -3 QUIETREED @@ 4.00 USD
        vials: 3
      Assets:Bank
    """
    # 100.00 - 4.00 = 96.00 are 72 times 4/3.
    assert of(books, "QR-1") == ToGo(Decimal(1), Decimal(4) / 3, 72, is_enough=False)


def test_a_bottle_never_opened_sells_as_its_fragrance_did(books: Books) -> None:
    """
    2026-01-07 * "a second bottle"
      Assets:Stock:CedarHour  20 CEDARHOUR {{60.00 USD, "CH-2"}}
      Assets:Bank
    2026-02-01 * "from the first"
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Expenses:Selling:Fees  2.00 USD
      Assets:Bank
    """
    # 10.00 each: 6 for 60.00, but 20 mL give only 4 of them.
    assert of(books, "CH-2") == ToGo(Decimal(5), Decimal(10), 6, is_enough=False)


@pytest.mark.parametrize(("keep", "is_enough"), [(6, True), (7, False)])
def test_what_is_kept_and_lost_in_the_pour_is_not_to_be_poured(keep: int, is_enough: bool) -> None:
    books = read(
        SHELF.replace('"CH-1"}}', f'"CH-1"}}}}\n    keep: {keep}', 1)
        + """
2026-01-01 custom "pour-loss" 0.5
2026-02-01 * "half of it is the channel's"
  Income:Sales  -5 CEDARHOUR @@ 16.00 USD
  Expenses:Selling:Fees  8.00 USD
  Assets:Bank
""",
    )
    # 129.60 - 8.00 are 15.2 times 8.00. 16 decants take 88 mL with what is lost, and 94.5 are left.
    assert of(books, "CH-1") == ToGo(Decimal(5), Decimal(8), 16, is_enough)


def test_an_empty_bottle_gives_no_more(books: Books) -> None:
    """
    2026-02-01 * "all of it"
      Income:Sales  -100 CEDARHOUR @@ 60.00 USD
        vials: 20
      Assets:Bank
    """
    assert of(books, "CH-1") == ToGo(Decimal(5), Decimal(3), None, None)


def test_paid_back_has_none_to_go(books: Books) -> None:
    """
    2026-02-01 * "dear"
      Income:Sales  -5 CEDARHOUR @@ 130.00 USD
      Assets:Bank
    """
    assert of(books, "CH-1") == ToGo(Decimal(5), Decimal(130), 0, is_enough=True)


def test_a_decant_that_leaves_nothing_has_no_number(books: Books) -> None:
    """
    2026-02-01 * "the fee is the price"
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Expenses:Selling:Fees  15.00 USD
      Assets:Bank
    """
    # 12.00 of price leaves -3.00.
    assert of(books, "CH-1") == ToGo(Decimal(5), Decimal(-3), None, None)


def test_a_vial_of_two_bottles_is_a_part_of_each(books: Books) -> None:
    """
    2026-01-07 * "nearly empty, and older"
      Assets:Stock:QuietReed  10 QUIETREED {{20.00 USD, 2025-12-01, "QR-0"}}
      Assets:Bank
    2026-02-01 * "from both"
      Income:Sales  -12 QUIETREED @@ 36.00 USD
      Assets:Bank
    """
    assert {of(books, name).size for name in ("QR-0", "QR-1")} == {Decimal(12)}
    assert of(books, "QR-1").net == 36
