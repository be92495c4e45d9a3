"""What a preparer asks about."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from millilot.ledger.reading import read_books
from millilot.reports.exceptions import Cause, exceptions

from .books import HEAD, SHELF, load

if TYPE_CHECKING:
    from millilot.reports.exceptions import Exceptional

START, END = datetime.date(2026, 1, 1), datetime.date(2026, 12, 31)


def found(
    text: str, cause: Cause, documented: frozenset[str] = frozenset(), head: str = HEAD,
) -> list[Exceptional]:
    entries, errors, options = load(text, head)
    books = read_books(entries, options, END)
    every = exceptions(entries, errors, books, START, END, documented=documented)
    assert [each.cause for each in every] == sorted((each.cause for each in every), key=list(Cause).index)
    return [each for each in every if each.cause is cause]


def lines(text: str) -> int:
    return (HEAD + text).count("\n")


def test_purchases_without_a_document() -> None:
    books = """
2026-01-05 * "proven" ^purchase-1
  Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "A"}}
    receipt: TRUE
  Assets:Bank
2026-01-06 * "proven too"
  document-2: "invoice.pdf"
  Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "B"}}
  Assets:Bank
2026-01-07 * "by a link" ^purchase-2
  Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "C"}}
  Assets:Bank
2026-01-08 * "not proven"
  receipt: FALSE
  Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "D"}}
  Assets:Stock:Supplies  10 VIAL5 {{2.00 USD}}
  Assets:Bank
2026-01-09 * "a gift needs none"
  Assets:Stock:CedarHour  10 CEDARHOUR {{0.00 USD, "E"}}
2025-01-08 * "another year"
  Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "F"}}
  Assets:Bank
"""
    [each] = found(books, Cause.UNDOCUMENTED, frozenset({"purchase-2"}))
    assert (each.date, each.what, each.amount) == (
        datetime.date(2026, 1, 8), "Cedar Hour, Vial of 5 mL", Decimal("12.00"),
    )


def test_estimated_cost_as_long_as_it_bears_on_the_year() -> None:
    books = """
2025-03-01 * "all gone last year"
  Assets:Stock:CedarHour  1 CEDARHOUR {{1.00 USD, "A"}}
    estimated: TRUE
  Equity:Contributed
2025-03-02 * "gone"
  Expenses:Loss  1 CEDARHOUR
2025-03-03 * "still there"
  Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "B"}}
    estimated: TRUE
  Equity:Contributed
"""
    assert [(each.what, each.amount) for each in found(books, Cause.ESTIMATED)] == [("B", Decimal("10.00"))]


def test_unsorted_sales_and_orders_without_cost() -> None:
    books = SHELF + """
2026-02-01 * "mystery" ^order-1
  Income:Unsorted  -9.00 USD
  Assets:Bank
2026-02-02 * "no goods" ^order-2
  Income:Sales  -8.00 USD
  Assets:Bank
2026-02-03 * "an empty bottle"
  Income:Sales  -3.00 USD
    bottle: "CH-1"
  Assets:Bank
2026-02-04 * "as it should be" ^order-3
  Income:Sales  -5 CEDARHOUR @@ 9.00 USD
  Assets:Bank
2027-02-01 * "later" ^order-4
  Income:Unsorted  -9.00 USD
  Assets:Bank
"""
    assert [(each.what, each.amount) for each in found(books, Cause.UNSORTED)] == [("order-1", Decimal("9.00"))]
    assert [(each.what, each.amount) for each in found(books, Cause.WITHOUT_COST)] == [
        ("order-2", Decimal("8.00")),
    ]


def test_what_the_plugin_refused() -> None:
    books = SHELF + """
2026-02-01 * "more than there is" ^order-1
  Income:Sales  -500 CEDARHOUR @@ 900.00 USD
  Assets:Bank
"""
    [error] = found(books, Cause.ERROR)
    assert error.source["lineno"] == lines(books) - 1
    [sale] = found(books, Cause.WITHOUT_COST)
    assert (sale.what, sale.amount) == ("order-1", Decimal("900.00"))


def test_a_bottle_overdrawn_by_hand() -> None:
    # The plugin refuses it; books in pairs load without the plugin too.
    books = """
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "A"}}
  Assets:Bank
2026-02-05 * "by hand"
  Assets:Stock:CedarHour  -12 CEDARHOUR {1.00 USD, 2026-01-05, "A"}
  Expenses:CostOfGoods:Fragrance  12.00 USD
"""
    [each] = found(books, Cause.OVERDRAWN, head=HEAD.replace('plugin "millilot.plugins"', ""))
    assert (each.what, each.detail) == ("A", "2 mL more than it held")


def test_balances_on_the_wrong_side() -> None:
    books = """
2026-01-05 open Equity:Owner USD
2026-01-05 * "start"
  Assets:Bank  10.00 USD
  Equity:Owner
2026-02-05 * "drawn too much"
  Assets:Bank  -15.00 USD
  Equity:Owner
2026-02-05 * "given back without having been paid"
  Liabilities:Claims  4.00 USD
  Equity:Owner
2027-02-05 * "put right"
  Assets:Bank  15.00 USD
  Equity:Owner
"""
    assert [(each.what, each.amount) for each in found(books, Cause.NEGATIVE)] == [
        ("Assets:Bank", Decimal("-5.00")), ("Liabilities:Claims", Decimal("4.00")),
    ]


def test_another_currency_is_balanced_by_itself() -> None:
    books = """
2026-01-05 open Equity:Owner
2026-01-05 open Assets:Bank:Euro EUR
2026-01-05 * "bought, 1.10 each"
  Assets:Bank:Euro  100.00 EUR @@ 110.00 USD
  Equity:Owner     -110.00 USD
2026-02-05 * "all spent, 1.20 each"
  Assets:Bank:Euro -100.00 EUR @@ 120.00 USD
  Equity:Owner      120.00 USD
"""
    overdrawn = """
2026-03-05 * "and more"
  Assets:Bank:Euro  -30.00 EUR @@ 36.00 USD
  Equity:Owner       36.00 USD
"""
    assert found(books, Cause.NEGATIVE) == []
    assert [(each.what, each.detail, each.amount) for each in found(books + overdrawn, Cause.NEGATIVE)] == [
        ("Assets:Bank:Euro", "-30.00 EUR at the end of the last day", None),
    ]



@pytest.mark.parametrize(("price", "expected"), [("6.00", ["CH-1"]), ("6.48", []), ("9.00", [])])
def test_a_bottle_last_sold_under_its_cost(price: str, expected: list[str]) -> None:
    # 5 mL cost 6.48.
    books = SHELF + f"""
2026-02-01 * "dearer before" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 20.00 USD
  Assets:Bank
2026-02-02 * "last" ^order-2
  Income:Sales  -5 CEDARHOUR @@ {price} USD
  Assets:Bank
"""
    assert [each.what for each in found(books, Cause.UNDER_COST)] == expected


def test_payouts_that_are_open() -> None:
    books = SHELF + """
2026-02-01 * "sale" ^order-1 ^payout-1
  Income:Sales  -5 CEDARHOUR @@ 20.00 USD
  Assets:Marketplace:Lantern
2026-02-05 * "payout" ^payout-1
  Assets:Marketplace:Lantern  -20.00 USD
  Assets:Marketplace:Lantern:Transit  20.00 USD
2026-12-30 * "sale" ^order-2 ^payout-2
  Income:Sales  -5 CEDARHOUR @@ 10.00 USD
  Assets:Marketplace:Lantern
2026-12-30 * "payout" ^payout-2
  Assets:Marketplace:Lantern  -10.00 USD
  Assets:Marketplace:Lantern:Transit  10.00 USD
"""
    assert [(each.what, each.detail, each.amount) for each in found(books, Cause.OPEN_PAYOUT)] == [
        ("1", "not all of it has reached the bank", Decimal("-20.00")),
        ("2", "under way to the bank", Decimal("-10.00")),
    ]


def test_orders_that_no_payout_has_paid() -> None:
    # What came in after the last payout waits for the next one, and what is held back waits too.
    books = SHELF + """
2026-02-01 * "paid" ^order-1 ^payout-1
  Income:Sales  -5 CEDARHOUR @@ 20.00 USD
  Assets:Marketplace:Lantern
2026-02-02 * "forgotten" ^order-2
  Income:Sales  -5 CEDARHOUR @@ 7.00 USD
  Assets:Marketplace:Lantern
2026-02-03 * "held" ^order-3 #hold
  Income:Sales  -5 CEDARHOUR @@ 8.00 USD
  Assets:Marketplace:Lantern
2026-02-05 * "payout" ^payout-1
  Assets:Marketplace:Lantern  -20.00 USD
  Assets:Bank
2026-02-06 * "not yet" ^order-4
  Income:Sales  -5 CEDARHOUR @@ 9.00 USD
  Assets:Marketplace:Lantern
"""
    assert [(each.what, each.amount) for each in found(books, Cause.UNPAID)] == [("order-2", Decimal("7.00"))]
