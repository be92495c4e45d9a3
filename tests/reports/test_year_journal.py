"""Which account's own journal adds up to a line of the year."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from millilot.ledger.reading import read_books
from millilot.reports.filled import figures_of
from millilot.reports.year_journal import Accounts, journals

from .books import load

START, END = date(2025, 1, 1), date(2025, 12, 31)

SOLD = """
2024-12-01 * "A bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{129.60 USD, "CH-1"}}
  Assets:Bank
2025-01-10 * "Sold"
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Expenses:Selling:Fees  1.50 USD
  Assets:Bank
"""


def found(text: str) -> dict[str, str]:
    entries, errors, options = load(text)
    assert errors == []
    books = read_books(entries, options)
    return journals(Accounts(entries, "USD", START, END), books, END, figures_of(books, START, END))


def test_an_account_that_comes_to_the_figure_is_named() -> None:
    assert found(SOLD) == {
        "gross_receipts": "Income:Sales",
        "cost_of_goods_sold": "Expenses:CostOfGoods",
        "fees": "Expenses:Selling:Fees",
    }


def test_a_journal_that_shows_rounded_changes_is_not_named() -> None:
    odd = """
2025-01-11 * "Sold"
  Income:Sales  -{0} CEDARHOUR @@ 8.00 USD
  Assets:Bank
2025-01-12 * "Sold"
  Income:Sales  -{0} CEDARHOUR @@ 8.00 USD
  Assets:Bank
"""
    # Twice 3 mL at 1.296 are 7.776, shown as 3.89 each, which is 7.78; twice 5 mL are 12.96, shown as they are.
    assert "cost_of_goods_sold" not in found(SOLD + odd.format(3))
    assert found(SOLD + odd.format(5))["cost_of_goods_sold"] == "Expenses:CostOfGoods"


def test_receipts_in_two_accounts_are_in_no_single_journal() -> None:
    charged = """
2025-01-10 * "Postage"
  Income:Postage  -4.00 USD
  Assets:Bank
"""
    assert "gross_receipts" not in found(SOLD + charged)


def test_equity_that_held_something_before_is_not_named() -> None:
    kept = """
{day} * "Kept"
  Equity:PersonalUse  5 CEDARHOUR
"""
    now = kept.format(day="2025-06-01")
    assert found(SOLD + now)["personal_use"] == "Equity:PersonalUse"
    assert "personal_use" not in found(SOLD + kept.format(day="2024-12-20") + now)


def test_an_account_with_another_currency_is_not_named() -> None:
    abroad = """
2025-02-01 open Expenses:Selling:Fees:Abroad EUR
2025-02-01 open Assets:Bank:Abroad EUR
2025-02-02 * "Fee"
  Expenses:Selling:Fees:Abroad  1.00 EUR
  Assets:Bank:Abroad
"""
    assert "fees" not in found(SOLD + abroad)


def test_accounts_below_count_and_others_of_like_names_do_not() -> None:
    entries, _, _ = load(SOLD)
    accounts = Accounts(entries, "USD", START, END)
    cent = Decimal("0.01")
    assert accounts.comes_to("Expenses:Selling", Decimal("1.50"), cent)
    assert accounts.comes_to("Income:Sales", Decimal("12.00"), cent)
    assert not accounts.comes_to("Expenses:Sell", Decimal("1.50"), cent)
    assert not accounts.comes_to("Expenses:Selling:Fees", Decimal("1.51"), cent)
