"""One mistake, one message: at the line that asked, saying what was found and what is left.

The money of that line is booked all the same and its goods are left out, so that every other figure stands.
"""

from __future__ import annotations

import io
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from beancount import loader
from beancount.parser import printer

from .books import ACCOUNTS, PLUGIN, SHELF, LoadedBooks, load, states

if TYPE_CHECKING:
    from pathlib import Path


def test_asking_for_more_than_is_left(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-02 * "too much" ^order-2
      Income:Sales  -99 CEDARHOUR @@ 200.00 USD  ; blamed
      Assets:Bank  200.00 USD

    2026-02-03 * "sale" ^order-3
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    message = faulty.error()
    assert states(message, "99", "95", "CEDARHOUR")
    assert faulty.left() == {"CH-1": 90}
    assert faulty.balance("Income:Sales") == Decimal("-224.00")
    assert faulty.balance("Expenses:CostOfGoods:Fragrance") == Decimal("12.96")


def test_asking_for_more_than_is_left_in_a_named_bottle(faulty: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD

    2026-02-02 * "too much" ^order-2
      Income:Sales  -51 CEDARHOUR @@ 100.00 USD  ; blamed
        bottle: "CH-2"
      Assets:Bank  100.00 USD
    """
    assert states(faulty.error(), "51", "50", "CH-2")
    assert faulty.left() == {"CH-1": 100, "CH-2": 50}


def test_an_overdraw_offers_the_stocktake_that_would_cure_it(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "too much" ^order-2
      Income:Sales  -101 CEDARHOUR @@ 200.00 USD  ; blamed
      Assets:Bank  200.00 USD
    """
    assert 'custom "stocktake" "CH-1"' in faulty.error()


def test_what_waits_to_be_poured_is_part_of_the_stocktake_that_cures() -> None:
    text = """
2026-02-01 * "waits" #to-pour
  Income:Sales  -60 CEDARHOUR @@ 60.00 USD
  Assets:Marketplace:Lantern  60.00 USD
2026-02-03 * "sale"
  Income:Sales  -50 CEDARHOUR @@ 50.00 USD  ; blamed
  Assets:Marketplace:Lantern  50.00 USD
"""
    # Of 100 mL, 60 are sold and still in the bottle; to sell 50 more, 110 have to be in it.
    advice = '2026-02-03 custom "stocktake" "CH-1" 110 CEDARHOUR'
    assert load(text).error().endswith(advice)
    assert load(f"{text}{advice}\n").messages == []



def test_the_day_of_pouring_on_a_line_is_an_error(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "sale" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD  ; blamed
        poured: 2026-02-04
      Assets:Bank  12.00 USD
    """
    assert faulty.error().endswith("first line of the order: poured: 2026-02-04")
    assert faulty.balance("Income:Sales") == Decimal("-12.00")


def test_the_other_lines_of_an_order_are_booked(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "two lines" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -99 CEDARHOUR @@ 200.00 USD  ; blamed
      Expenses:Samples  1 CEDARHOUR
      Assets:Bank  212.00 USD
    """
    assert states(faulty.error(), "99")
    assert faulty.left() == {"CH-1": 94}
    assert faulty.balance("Income:Sales") == Decimal("-212.00")
    assert faulty.balance("Expenses:Samples") == Decimal("1.296")


def test_two_mistakes_are_two_messages(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "too much" ^order-2
      Income:Sales  -101 CEDARHOUR @@ 200.00 USD
      Assets:Bank  200.00 USD

    2026-02-03 * "too much again" ^order-3
      Income:Sales  -102 CEDARHOUR @@ 200.00 USD
      Assets:Bank  200.00 USD
    """
    first, second = faulty.messages
    assert states(first, "101", "100")
    assert states(second, "102", "100")


def test_taking_too_much_for_oneself(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "kept"
      Equity:PersonalUse  101 CEDARHOUR  ; blamed
    """
    assert states(faulty.error(), "101", "100")
    assert faulty.left() == {"CH-1": 100}
    assert faulty.balance("Equity:PersonalUse") == 0


def test_a_loss_the_owner_wrote_can_overdraw(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -99 CEDARHOUR @@ 150.00 USD  ; blamed
        loss: 1.5
      Assets:Bank  150.00 USD
    """
    assert states(faulty.error(), "1.5")
    assert faulty.balance("Income:Sales") == Decimal("-150.00")


def test_an_unknown_bottle(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "sale" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD  ; blamed
        bottle: "CH-9"
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "CH-9", "CH-1")
    assert faulty.left() == {"CH-1": 100}
    assert faulty.balance("Income:Sales") == Decimal("-12.00")


def test_an_unknown_fragrance(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "sale" ^order-2
      Income:Sales  -5 CEDARHUOR @@ 12.00 USD  ; blamed
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "CEDARHUOR")
    assert faulty.left() == {"CH-1": 100}


def test_a_bottle_of_another_fragrance(faulty: LoadedBooks) -> None:
    """
    2026-01-06 * "second fragrance"
      Assets:Stock:QuietReed  50 QUIETREED {{80.00 USD, "QR-1"}}
      Assets:Bank  -80.00 USD

    2026-02-02 * "sale" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD  ; blamed
        bottle: "QR-1"
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "QR-1", "QUIETREED", "CEDARHOUR")
    assert faulty.left() == {"CH-1": 100, "QR-1": 50}


def test_a_sale_without_a_price(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "no price" ^order-2
      Income:Sales  -5 CEDARHOUR  ; blamed
    """
    assert states(faulty.error(), "5", "CEDARHOUR", "price")
    assert faulty.left() == {"CH-1": 100}


def test_a_sale_without_a_price_beside_its_money(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "no price" ^order-2
      Income:Sales  -5 CEDARHOUR  ; blamed
      Income:Sales  -12.00 USD
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "5", "CEDARHOUR", "price")
    assert faulty.left() == {"CH-1": 100}
    assert faulty.balance("Income:Sales") == Decimal("-12.00")


def test_a_price_where_none_belongs(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "priced sample"
      Expenses:Samples  5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  -12.00 USD
    """
    assert states(faulty.error(), "5", "CEDARHOUR", "price")
    assert faulty.left() == {"CH-1": 100}
    assert faulty.balance("Assets:Bank") == Decimal("-141.60")


def test_a_cost_where_none_belongs(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "cost on the sales account" ^order-2
      Income:Sales  -5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"}  ; blamed
      Assets:Bank  6.48 USD
    """
    assert states(faulty.error(), "5", "CEDARHOUR")
    assert faulty.left() == {"CH-1": 100}


def test_goods_on_an_account_that_takes_none(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "claim" ^order-2
      Equity:Contributed  -5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "5", "CEDARHOUR")
    assert faulty.left() == {"CH-1": 100}
    assert faulty.balance("Equity:Contributed") == Decimal("-12.00")


def test_a_quantity_of_zero(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "nothing" ^order-2
      Expenses:Samples  0 CEDARHOUR  ; blamed
      Income:Sales  -12.00 USD
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "0", "CEDARHOUR")
    assert faulty.left() == {"CH-1": 100}


def test_a_missing_minus_says_how_a_sale_is_written(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "sale" ^order-2
      Income:Sales  5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank
    """
    assert states(faulty.error(), "5", "minus")
    assert faulty.left() == {"CH-1": 100}


def test_a_label_used_twice(faulty: LoadedBooks) -> None:
    """
    2026-01-06 * "same label"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-1"}}  ; blamed
      Assets:Bank  -80.00 USD

    2026-02-02 * "sale" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "CH-1", "2026-01-05")
    assert faulty.balance("Expenses:CostOfGoods:Fragrance") == Decimal("6.48")
    assert faulty.balance("Assets:Bank") == Decimal("-197.60")


def test_a_label_used_for_two_fragrances(faulty: LoadedBooks) -> None:
    """
    2026-01-06 * "same label"
      Assets:Stock:QuietReed  50 QUIETREED {{80.00 USD, "CH-1"}}  ; blamed
      Assets:Bank  -80.00 USD
    """
    assert states(faulty.error(), "CH-1", "CEDARHOUR")


def test_a_cost_in_another_currency() -> None:
    books = load(
        """
        2026-01-06 * "abroad"
          Assets:Stock:QuietReed  50 QUIETREED {{80.00 EUR, "QR-1"}}  ; blamed
          Assets:Cash  -80.00 EUR

        2026-02-02 * "sale" ^order-2
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
        """,
        f"{SHELF}\n2020-01-01 open Assets:Cash EUR",
    )
    assert states(books.error(), "EUR", "USD")
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("6.48")


ABROAD = """
2020-01-01 open Assets:Abroad
2020-01-01 open Income:Sales:Abroad
2020-01-01 open Income:Refunds:Abroad
2026-02-01 * "sale" ^order-1
  Income:Sales:Abroad  -5 CEDARHOUR @@ 11.10 {currency}{blamed}
  Assets:Abroad  11.10 {currency}
"""


def test_a_sale_priced_in_another_currency_says_how_to_write_it() -> None:
    books = load(ABROAD.format(currency="EUR", blamed="  ; blamed"))
    assert states(books.error(), "-5 CEDARHOUR @@ ... USD", "11.10 EUR @@ ... USD")
    assert books.left() == {"CH-1": 100}


def test_a_sale_in_another_currency_is_written_with_what_it_came_to() -> None:
    text = ABROAD.format(currency="EUR", blamed="")
    books = load(text.replace("@@ 11.10 EUR", "@@ 12.00 USD").replace("  11.10 EUR", "  11.10 EUR @@ 12.00 USD"))
    assert books.messages == []
    assert books.balance("Income:Sales:Abroad") == Decimal("-12.00")


def test_a_refund_priced_in_another_currency_is_an_error_too() -> None:
    back = """
2026-02-03 * "back" ^order-1
  Income:Refunds:Abroad  5 CEDARHOUR @@ 11.10 EUR  ; blamed
  Assets:Abroad  -11.10 EUR
"""
    books = load(ABROAD.format(currency="USD", blamed="") + back)
    assert states(books.error(), "USD", "EUR")
    assert books.left() == {"CH-1": 95}


def test_a_reduction_by_hand_below_zero(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-02 * "by hand"
      Assets:Stock:CedarHour  -99 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"}  ; blamed
      Expenses:Loss  128.304 USD
    """
    assert states(faulty.error(), "CH-1", "99", "95")
    assert faulty.balance("Expenses:CostOfGoods:Fragrance") == Decimal("6.48")


def test_a_reduction_by_hand_at_a_cost_that_is_not_the_lots(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "by hand"
      Assets:Stock:CedarHour  -5 CEDARHOUR {2.00 USD, 2026-01-05, "CH-1"}  ; blamed
      Expenses:Loss  10.00 USD
    """
    assert states(faulty.error(), "CH-1", "1.296")


def test_a_reduction_by_hand_of_no_lot(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "by hand"
      Assets:Stock:CedarHour  -5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-9"}  ; blamed
      Expenses:Loss  6.48 USD
    """
    assert states(faulty.error(), "CH-9")


def test_stock_without_cost(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "by hand"
      Assets:Stock:CedarHour  -5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "5", "CEDARHOUR", "cost")
    assert faulty.balance("Assets:Bank") == Decimal("-117.60")


def test_a_bottle_bought_without_braces(faulty: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR @@ 80.00 USD  ; blamed
      Assets:Bank  -80.00 USD

    2026-02-02 * "sale" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert states(faulty.error(), "50", "CEDARHOUR", "cost")
    assert faulty.balance("Expenses:CostOfGoods:Fragrance") == Decimal("6.48")


def test_a_blank_leg_that_booking_filled_with_goods_is_never_a_draw(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "blank expense"
      Equity:PersonalUse  5 CEDARHOUR
      Expenses:Loss  ; blamed
    """
    assert states(faulty.error(), "Expenses:Loss", "blank")
    assert faulty.postings("Expenses:Loss") == []
    assert faulty.balance("Equity:PersonalUse") == Decimal("6.48")


def test_a_blank_stock_leg_that_mirrors_no_draw(faulty: LoadedBooks) -> None:
    """
    2026-01-20 * "owned before, no braces"
      Equity:Contributed  -50 CEDARHOUR @@ 60.00 USD  ; blamed
      Assets:Bank  60.00 USD
      Assets:Stock:CedarHour
    """
    faulty.error()
    assert faulty.left() == {"CH-1": 100}


def test_an_entry_that_booking_refused_gets_no_second_message() -> None:
    strict = SHELF.replace(' "NONE"', "")
    books = load(
        """
        2026-02-02 * "by hand"
          Assets:Stock:CedarHour  -5 CEDARHOUR {2.00 USD, 2026-01-05, "CH-1"}
          Expenses:Loss  10.00 USD

        2026-02-03 * "sale" ^order-2
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
        """,
        strict,
    )
    assert len(books.errors) == 1
    assert books.left() == {"CH-1": 95}


@pytest.mark.parametrize(
    ("line", "fact"),
    [
        ('custom "pour-loss"', "pour-loss"),
        ('custom "pour-loss" "much"', "pour-loss"),
        ('custom "pour-loss" -0.1', "pour-loss"),
        ('custom "millilot-account" "sales"', "sales"),
        ('custom "millilot-account" "sales" "Income:Sales"', "Income:Sales"),
        ('custom "millilot-account"', "millilot-account"),
    ],
)
def test_a_setting_that_cannot_be_read_shows_the_expected_line(line: str, fact: str) -> None:
    books = load(
        f"""
        2026-01-01 {line}  ; blamed

        2026-02-02 * "sale" ^order-2
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
        """
    )
    assert fact in books.error()
    assert books.left() == {"CH-1": 95}


def test_the_unit_of_a_commodity_is_one_of_two(faulty: LoadedBooks) -> None:
    """
    2026-01-01 commodity CEDARHOUR  ; blamed
      unit: "litre"
    """
    assert states(faulty.error(), "litre", "mL", "each")


def test_an_error_names_the_included_file(tmp_path: Path) -> None:
    sales = tmp_path / "sales.beancount"
    sales.write_text(
        '\n2026-02-02 * "too much" ^order-2\n'
        "  Income:Sales  -101 CEDARHOUR @@ 200.00 USD\n"
        "  Assets:Bank  200.00 USD\n"
    )
    main = tmp_path / "main.beancount"
    main.write_text(f'{PLUGIN}\ninclude "sales.beancount"\n{SHELF}')
    _, errors, _ = loader.load_file(str(main))
    assert [(error.source["filename"], error.source["lineno"]) for error in errors] == [(str(sales), 3)]


def test_every_error_can_be_printed(faulty: LoadedBooks) -> None:
    """
    2026-01-01 custom "pour-loss"

    2026-02-01 * "back"
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD

    2026-02-02 * "too much" ^order-2
      Income:Sales  -101 CEDARHOUR @@ 200.00 USD
      Assets:Bank  200.00 USD

    2026-02-03 * "unknown bottle" ^order-3
      bottle: "CH-9"
      Expenses:Samples  1 CEDARHOUR
    """
    output = io.StringIO()
    printer.print_errors(faulty.errors, file=output)
    assert len(faulty.errors) == 4
    assert all(message in output.getvalue() for message in faulty.messages)


def test_books_without_stock_are_left_alone() -> None:
    books = load('2026-02-01 * "food"\n  Assets:Bank  -3.00 USD\n  Expenses:Loss  3.00 USD\n', ACCOUNTS)
    assert books.messages == []
    assert books.lines("food") == ["Assets:Bank -3.00 USD", "Expenses:Loss 3.00 USD"]


def test_money_that_names_a_bottle_there_is_not(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "empty bottle"
      Income:Sales  -15.00 USD  ; blamed
        bottle: "CH-9"
      Assets:Bank  15.00 USD
    """
    assert states(faulty.error(), "CH-9")
    assert faulty.balance("Income:Sales") == Decimal("-15.00")


def test_goods_taken_at_cost_that_are_not_there_leave_the_books_as_they_were(faulty: LoadedBooks) -> None:
    """
    2026-02-02 * "more than it holds"
      Assets:Stock:CedarHour  -700 CEDARHOUR {1.296 USD, "CH-1"}  ; blamed
      Assets:Bank  907.20 USD
    """
    assert states(faulty.error(), "CH-1", "700")
    assert faulty.left()["CH-1"] > 0


def test_private_cash_of_another_currency_is_no_goods() -> None:
    books = load(
        """
        2020-01-01 open Assets:Cash
        2020-01-01 open Equity:PersonalUse:Private
        2026-02-02 * "to the wallet"
          Equity:PersonalUse:Private  50.00 EUR
          Assets:Cash  -50.00 EUR
        """,
    )
    assert books.messages == []
