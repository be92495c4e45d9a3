"""A year's totals."""

from __future__ import annotations

import datetime
from dataclasses import asdict, fields
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.ledger.reading import read_books
from millilot.reports.year import Year, year

from .books import SHELF, load, net_profit, read

if TYPE_CHECKING:
    from millilot.ledger.records import Books


def of_year(books: Books, number: int) -> Year:
    return year(books, datetime.date(number, 1, 1), datetime.date(number, 12, 31))


#: "Accounting Principles: A Business Perspective" (Global Text), chapter 7, Exhibit 49: first in, first out.
TEXTBOOK = """
2025-12-31 * "in"
  Assets:Stock:CedarHour  10 CEDARHOUR {8.00 USD}
  Assets:Bank
2026-03-02 * "in"
  Assets:Stock:CedarHour  10 CEDARHOUR {8.50 USD}
  Assets:Bank
2026-03-10 * "out" ^order-1
  Income:Sales  -10 CEDARHOUR @ 12 USD
  Assets:Bank
2026-05-28 * "in"
  Assets:Stock:CedarHour  20 CEDARHOUR {8.40 USD}
  Assets:Bank
2026-07-14 * "out" ^order-2
  Income:Sales  -20 CEDARHOUR @ 12 USD
  Assets:Bank
2026-08-12 * "in"
  Assets:Stock:CedarHour  10 CEDARHOUR {9.00 USD}
  Assets:Bank
2026-09-07 * "out" ^order-3
  Income:Sales  -10 CEDARHOUR @ 14 USD
  Assets:Bank
2026-10-12 * "in"
  Assets:Stock:CedarHour  20 CEDARHOUR {8.80 USD}
  Assets:Bank
2026-11-22 * "out" ^order-4
  Income:Sales  -20 CEDARHOUR @ 14 USD
  Assets:Bank
2026-12-21 * "in"
  Assets:Stock:CedarHour  10 CEDARHOUR {9.10 USD}
  Assets:Bank
"""


def test_the_textbook_year() -> None:
    totals = of_year(read(TEXTBOOK), 2026).rounded("USD")
    assert totals.gross_receipts == 780
    assert totals.opening_stock == 80
    assert totals.purchases == 610
    assert totals.cost_of_goods_sold == 511
    assert totals.closing_stock == 179
    assert totals.gross_profit == 269
    assert totals.transactions == 4


TWO_YEARS = (
    SHELF
    + """
2026-01-07 * "vials"
  Assets:Stock:Supplies  100 VIAL5 {{30.00 USD, "V-1"}}
  Assets:Bank
2026-01-08 * "owned before"
  Assets:Stock:CedarHour  40 CEDARHOUR {{50.00 USD, "CH-0"}}
    paid: 60.00 USD
    market-value: 50.00 USD
  Equity:Contributed
2026-02-01 * "Lantern" "sale" ^order-1
  Income:Sales  -10 CEDARHOUR @@ 40.00 USD
    bottle: "CH-1"
  Income:Postage  -5.00 USD
  Expenses:Selling:Fees  4.50 USD
  Expenses:Selling:Postage  5.50 USD
  Assets:Marketplace:Lantern  35.00 USD
  Assets:Stock:Supplies  -2 VIAL5 {0.30 USD, 2026-01-07, "V-1"}
  Expenses:CostOfGoods:Supplies  0.60 USD
  Assets:Stock:Supplies  -1 VIAL5 {0.30 USD, 2026-01-07, "V-1"}
  Expenses:Selling:Packing  0.30 USD
2026-02-05 * "sample"
  Expenses:Samples  2 CEDARHOUR
    bottle: "CH-1"
2026-02-06 * "spilt"
  Expenses:Loss  3 CEDARHOUR
    bottle: "CH-1"
2026-02-07 * "kept"
  Equity:PersonalUse  15 CEDARHOUR
    bottle: "CH-1"
2026-03-01 * "swap"
  Income:Swaps  -10 QUIETREED @@ 30.00 USD
  Assets:Stock:CedarHour  20 CEDARHOUR {{30.00 USD, "CH-2"}}
2026-03-02 * "Lantern" "not known yet" ^order-2
  Income:Unsorted  -18.00 USD
  Assets:Marketplace:Lantern
2026-03-03 * "gloves, and vials that broke"
  Expenses:CostOfGoods:Other  7.00 USD
  Assets:Bank  -7.00 USD
  Assets:Stock:Supplies  -4 VIAL5 {0.30 USD, 2026-01-07, "V-1"}
  Expenses:CostOfGoods:Shrinkage  1.20 USD
2026-03-04 * "cards in every parcel, an app, tissue, an ad"
  Expenses:Samples  2.50 USD
  Expenses:Selling:Software  3.00 USD
  Expenses:Selling:Packing  1.70 USD
  Expenses:Selling:Ads  2.00 USD
  Assets:Bank
2026-03-05 * "insurance"
  Income:Compensation  -6.00 USD
  Assets:Bank
2026-12-20 * "claims paid"
  Liabilities:Claims  -45.00 USD
  Assets:Bank
2027-01-10 * "Lantern" "goods back" ^order-1
  Income:Refunds  10 CEDARHOUR @@ 40.00 USD
  Assets:Marketplace:Lantern
2027-01-11 * "claim poured" ^order-3
  Income:Sales  -20 QUIETREED @@ 45.00 USD
  Liabilities:Claims  45.00 USD
"""
)


def test_a_year_worked_out_by_hand() -> None:
    totals = of_year(read(TWO_YEARS), 2026).rounded("USD")
    assert {name: str(value) for name, value in asdict(totals).items()} == {
        "gross_receipts": "93.00",  # 40 + 5 + 30 + 18
        "refunds": "0.00",
        "net_receipts": "93.00",
        "opening_stock": "0.00",
        "purchases": "259.60",  # 129.60 + 100 + 30
        "contributed": "50.00",
        "personal_use": "19.44",  # 15 at 1.296
        "supplies": "0.60",
        "other_costs": "8.20",  # 7 + 4 vials
        "closing_stock": "250.72",  # 70 at 1.296, 40 at 2, 50, 30
        "supplies_on_hand_open": "0.00",
        "supplies_on_hand_close": "27.90",  # 93 vials
        "cost_of_goods_sold": "41.76",  # 12.96 + 20 + 0.60 + 8.20
        "gross_profit": "51.24",
        "fees": "4.50",
        "postage": "5.50",
        "packing": "2.00",
        "ads": "2.00",
        "exchange": "0.00",
        "samples": "2.59",
        "losses": "3.89",
        "other_expenses": "5.50",
        "other_income": "6.00",
        "hobby_income": "57.24",
        "business_profit": "31.26",
        "transactions": "2",  # the swap is no payment
        "claims_held_open": "0.00",
        "claims_held_close": "45.00",
        "receipts_if_counted_when_paid": "138.00",
    }


def test_the_keys_come_in_the_order_of_the_statement() -> None:
    assert [field.name for field in fields(Year)] == [
        "gross_receipts", "refunds", "net_receipts", "opening_stock", "purchases", "contributed", "personal_use",
        "supplies", "other_costs", "closing_stock", "supplies_on_hand_open", "supplies_on_hand_close",
        "cost_of_goods_sold", "gross_profit", "fees", "postage", "packing", "ads", "exchange", "samples",
        "losses", "other_expenses", "other_income", "hobby_income", "business_profit", "transactions",
        "claims_held_open", "claims_held_close", "receipts_if_counted_when_paid",
    ]


def test_goods_that_come_back_count_in_the_year_they_do() -> None:
    books = read(TWO_YEARS)
    first, second = of_year(books, 2026).rounded("USD"), of_year(books, 2027).rounded("USD")
    assert second.opening_stock == first.closing_stock
    assert second.supplies_on_hand_open == first.supplies_on_hand_close
    assert (second.gross_receipts, second.refunds) == (45, 40)
    assert second.cost_of_goods_sold == Decimal("27.04")  # 20 at 2, less 10 at 1.296
    assert second.receipts_if_counted_when_paid == 0
    assert second.transactions == 1


def test_profit_is_what_fava_calls_net_profit() -> None:
    entries, errors, options = load(TWO_YEARS)
    assert errors == []
    books = read_books(entries, options)
    for number in (2026, 2027):
        of = [entry for entry in entries if entry.date.year == number]
        assert abs(of_year(books, number).business_profit - net_profit(of)) < Decimal("1E-18")


def test_a_year_before_the_books_begin_is_empty() -> None:
    totals = of_year(read(TWO_YEARS), 2020).rounded("USD")
    assert {value for value in asdict(totals).values() if value} == set()


def test_orders_count_once_however_many_entries_they_have() -> None:
    books = read(
        SHELF
        + """
2026-02-01 * "Lantern" "one order" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Marketplace:Lantern
2026-02-02 * "Lantern" "its postage" ^order-1
  Income:Postage  -3.00 USD
  Assets:Marketplace:Lantern
2026-02-03 * "over the counter"
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
2026-02-03 * "over the counter"
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
2026-02-05 * "refund only" ^order-1
  Income:Refunds  3.00 USD
  Assets:Marketplace:Lantern
""",
    )
    assert of_year(books, 2026).transactions == 3


def test_rounded_lines_foot_and_the_totals_are_right() -> None:
    thirds = SHELF.replace("129.60", "100.00").replace("100 CEDARHOUR", "30 CEDARHOUR")
    books = read(
        thirds
        + """
2026-02-01 * "Lantern" "sale" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 30.00 USD
  Assets:Marketplace:Lantern
2026-02-05 * "sample"
  Expenses:Samples  2 CEDARHOUR
2026-02-06 * "spilt"
  Expenses:Loss  2 CEDARHOUR
2026-02-07 * "kept"
  Equity:PersonalUse  4 CEDARHOUR
""",
    )
    exact = of_year(books, 2026)
    totals = exact.rounded("USD")
    assert totals.cost_of_goods_sold == Decimal("16.67")
    assert totals.business_profit == exact.business_profit.quantize(Decimal("0.01"))
    assert totals.closing_stock == exact.closing_stock.quantize(Decimal("0.01"))
    assert totals.cost_of_goods_sold == (
        totals.purchases - totals.personal_use - totals.samples - totals.losses - totals.closing_stock
    )
