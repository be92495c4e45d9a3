"""Exact books: nothing is rounded, nothing is left over, and a slip of one cent is still caught."""

from __future__ import annotations

from decimal import Decimal

import pytest

from .books import ACCOUNTS, LoadedBooks, load

BARE_ACCOUNTS = "\n".join(line for line in ACCOUNTS.splitlines() if not line.startswith("option"))

#: 100.00 over 30 mL: a cost per mL of 28 digits.
UNEVEN_BOTTLE = """
    2026-01-05 * "bottle"
      Assets:Stock:QuietReed  30 QUIETREED {{100.00 USD, "QR-1"}}
      Assets:Bank  -100.00 USD
"""


def test_a_cost_that_does_not_divide_evenly_needs_no_option() -> None:
    books = load(
        f"""{UNEVEN_BOTTLE}
    2026-02-01 * "sale" ^order-1
      Income:Sales  -7 QUIETREED @@ 30 USD
      Assets:Bank  30 USD
        """,
        BARE_ACCOUNTS,
    )
    assert books.messages == []
    assert books.left() == {"QR-1": 23}


def test_a_bottle_sold_in_parts_leaves_nothing_over() -> None:
    sales = "".join(
        f"""
    2026-02-0{day} * "sale" ^order-{day}
      Income:Sales  -{quantity} QUIETREED @@ 30.00 USD
      Assets:Bank  30.00 USD
        """
        for day, quantity in enumerate((7, 7, "6.5", "9.5"), start=1)
    )
    books = load(UNEVEN_BOTTLE + sales, ACCOUNTS)
    assert books.messages == []
    assert books.stock().is_empty()
    assert abs(books.balance("Expenses:CostOfGoods:Fragrance") - 100) < Decimal("1E-18")


def test_a_generated_cost_is_exactly_quantity_times_cost() -> None:
    books = load(
        f"""{UNEVEN_BOTTLE}
    2026-02-01 * "sale" ^order-1
      Income:Sales  -7 QUIETREED @@ 30.00 USD
      Assets:Bank  30.00 USD
        """,
        ACCOUNTS,
    )
    assert books.messages == []
    [cost] = books.postings("Expenses:CostOfGoods:Fragrance")
    assert cost.units.number == 7 * (Decimal(100) / 30)


@pytest.mark.parametrize(("currency", "half"), [("USD", "0.005"), ("JPY", "0.5"), ("KWD", "0.0005")])
def test_the_tolerance_is_half_a_minor_unit_of_the_lots_currency(currency: str, half: str) -> None:
    books = load(
        f"""
        option "operating_currency" "{currency}"

        2020-01-01 open Assets:Bank
        2020-01-01 open Assets:Stock:QuietReed "NONE"

        2026-01-05 * "bottle"
          Assets:Stock:QuietReed  30 QUIETREED {{{{100 {currency}, "QR-1"}}}}
          Assets:Bank  -100 {currency}
        """,
        "",
    )
    assert books.messages == []
    assert books.options["inferred_tolerance_default"][currency] == Decimal(half)


def test_a_tolerance_the_owner_set_stays() -> None:
    books = load(f'option "inferred_tolerance_default" "USD:0.001"\n{UNEVEN_BOTTLE}', BARE_ACCOUNTS)
    assert books.options["inferred_tolerance_default"]["USD"] == Decimal("0.001")


def test_a_slip_of_one_cent_is_caught(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1  ; blamed
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.01 USD
    """
    assert "balance" in faulty.error()


def test_a_total_price_that_does_not_divide_evenly_is_the_income(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -3 CEDARHOUR @@ 10.00 USD
      Assets:Bank  10.00 USD
    """
    assert books.balance("Income:Sales") == Decimal("-10.00")
    assert str(books.postings("Income:Sales")[0].units) == "-10.00 USD"


def test_a_printed_price_of_28_digits_is_the_amount_it_was(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -3 CEDARHOUR @ 3.333333333333333333333333333 USD
      Assets:Bank  10.00 USD
    """
    assert str(books.postings("Income:Sales")[0].units) == "-10.00 USD"


def test_a_price_per_millilitre_is_taken_as_it_stands(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -2.5 CEDARHOUR @ 2.375 USD
      Assets:Bank  5.9375 USD
    """
    assert books.balance("Income:Sales") == Decimal("-5.9375")


def test_the_owners_money_is_never_rescaled(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -3 CEDARHOUR @@ 10.00 USD
      Income:Sales  -3 CEDARHOUR @@ 10.01 USD
      Expenses:Selling:Fees  1.81 USD
      Assets:Marketplace:Lantern  18.20 USD
    """
    assert books.lines("sale")[:4] == [
        "Income:Sales -10.00 USD [3 CEDARHOUR]",
        "Income:Sales -10.01 USD [3 CEDARHOUR]",
        "Expenses:Selling:Fees 1.81 USD",
        "Assets:Marketplace:Lantern 18.20 USD",
    ]


def test_a_worked_out_exchange_stays_in_its_own_currency() -> None:
    books = load(
        """
        2026-01-01 open Assets:Bank:Euro EUR

        2026-02-02 * "sale paid into another account" ^order-2
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank:Euro  10.00 EUR @ USD
        """,
    )
    assert books.messages == []
    [posting] = books.postings("Assets:Bank:Euro")
    assert (posting.units.currency, posting.price.currency) == ("EUR", "USD")


def test_the_few_digits_of_a_generated_cost_do_not_hide_a_slip() -> None:
    books = load(
        """
        2026-01-05 * "bottle at 1.3 a mL"
          Assets:Stock:QuietReed  100 QUIETREED {1.3 USD, "QR-1"}
          Assets:Bank  -130.00 USD
        2026-02-01 * "sale" ^order-1  ; blamed
          Income:Sales  -5 QUIETREED @@ 12.00 USD
          Assets:Bank  12.01 USD
        """,
    )
    assert "balance" in books.error()


def test_a_blank_money_line_gets_the_amount_that_was_charged(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -3 CEDARHOUR @@ 10.00 USD
      Assets:Bank
    """
    assert books.lines("sale")[:2] == ["Income:Sales -10.00 USD [3 CEDARHOUR]", "Assets:Bank 10.00 USD"]


def test_a_written_amount_keeps_its_digits(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -3 CEDARHOUR @@ 10.00 USD
      Assets:Bank  10 USD
    """
    assert books.lines("sale")[1] == "Assets:Bank 10 USD"


def test_a_blank_money_line_has_no_noise_where_no_tolerance_is_set() -> None:
    books = load(
        f"""{UNEVEN_BOTTLE}
    2026-02-01 * "sale" ^order-1
      Income:Sales  -3 QUIETREED @@ 10 USD
      Assets:Bank
        """,
        BARE_ACCOUNTS,
    )
    assert books.messages == []
    assert books.lines("sale")[1] == "Assets:Bank 10.00 USD"
