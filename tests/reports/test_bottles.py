"""Payback per bottle."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from millilot.reports.bottles import COLUMNS, bottles, rows_of, totals
from millilot.reports.collection import collection

from .books import SHELF, by_bottle, read

if TYPE_CHECKING:
    from millilot.ledger.records import Books

WORKED = (
    SHELF
    + """
2026-02-01 * "Lantern" "sale" ^order-1
  Income:Sales  -10 CEDARHOUR @@ 40.00 USD
  Income:Postage  -5.00 USD
  Expenses:Selling:Fees  4.50 USD
  Expenses:Selling:Postage  5.50 USD
  Assets:Marketplace:Lantern
2026-02-05 * "sample"
  Expenses:Samples  2 CEDARHOUR
2026-02-06 * "spilt"
  Expenses:Loss  3 CEDARHOUR
2026-02-07 * "kept"
  Equity:PersonalUse  15 CEDARHOUR
2026-03-01 * "Lantern" "sale" ^order-2
  Income:Sales  -30 CEDARHOUR @@ 110.00 USD
  Assets:Marketplace:Lantern
2026-03-09 * "refund" ^order-2
  Income:Refunds  10.00 USD
  Assets:Marketplace:Lantern
"""
)


def test_a_bottle_is_reported_on_when_the_stock_role_has_moved_to_another_account() -> None:
    row = by_bottle(
        read(
            SHELF
            + """
2026-02-01 custom "millilot-account" "stock" Assets:Shelf
2026-03-01 * "sale" ^order-1
  Income:Sales  -10 CEDARHOUR @@ 40.00 USD
  Assets:Bank
""",
        ),
    )["CH-1"]
    assert (row["ml_sold"], row["ml_left"], row["cost_of_goods"], row["sales"]) == (
        10, 90, Decimal("12.96"), Decimal("40.00"),
    )


def test_a_bottle_worked_out_by_hand() -> None:
    row = by_bottle(read(WORKED))["CH-1"]
    assert {name: str(value) for name, value in row.items()} == {
        "bottle": "CH-1",
        "fragrance": "Cedar Hour",
        "bought": "2026-01-05",
        "cost": "129.60",
        "ml_bought": "100",
        "cost_per_ml": "1.2960",
        "ml_found": "0",
        "ml_sold": "40",
        "ml_sampled": "2",
        "ml_lost": "3",
        "ml_kept": "15",
        "ml_left": "40",
        "sales": "150.00",
        "of_which_swaps": "0.00",
        "postage_charged": "5.00",
        "refunds": "10.00",
        "fees": "4.50",
        "postage": "5.50",
        "supplies": "0.00",
        "compensation": "0.00",
        "net": "135.00",
        "payback": "1.0417",
        "paid_back_on": "2026-03-01",
        "to_recover": "0.00",
        "cost_of_goods": "51.84",
        "cost_sampled": "2.59",
        "cost_lost": "3.89",
        "cost_kept": "19.44",
        "profit": "76.68",
        "stock_value": "51.84",
    }


def test_the_last_row_has_no_bottle_and_the_first_ones_are_the_oldest(books: Books) -> None:
    """
    2026-01-05 * "same day, earlier name"
      Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "A-1"}}
      Assets:Bank
    2026-02-01 * "Lantern" "shop fee"
      Expenses:Selling:Fees  9.00 USD
      Assets:Marketplace:Lantern
    """
    frame = bottles(books)
    assert list(frame["bottle"]) == ["A-1", "CH-1", "QR-1", None]
    assert tuple(frame.columns) == COLUMNS
    last = by_bottle(books)[None]
    assert (last["fees"], last["net"], last["payback"], last["bought"]) == (9, -9, None, None)


def test_a_bottle_is_paid_back_from_the_day_its_net_stays_at_its_cost(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "sale" ^order-1
      Income:Sales  -10 QUIETREED @@ 100.00 USD
      Assets:Marketplace:Lantern
    2026-02-05 * "refund" ^order-1
      Income:Refunds  1.00 USD
      Assets:Marketplace:Lantern
    2026-02-09 * "Lantern" "sale" ^order-2
      Income:Sales  -5 QUIETREED @@ 1.00 USD
      Assets:Marketplace:Lantern
    """
    assert by_bottle(books)["QR-1"]["paid_back_on"] == datetime.date(2026, 2, 9)
    assert by_bottle(books)["CH-1"]["paid_back_on"] is None
    assert by_bottle(books)["CH-1"]["to_recover"] == Decimal("129.60")


def test_a_fall_within_the_day_does_not_count(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "sale" ^order-1
      Income:Sales  -10 QUIETREED @@ 104.00 USD
      Assets:Marketplace:Lantern
    2026-02-03 * "label" ^order-1
      Expenses:Selling:Postage  5.00 USD
      Assets:Marketplace:Lantern
    2026-02-03 * "postage paid by the buyer" ^order-1
      Income:Postage  -2.00 USD
      Assets:Marketplace:Lantern
    """
    assert by_bottle(books)["QR-1"]["paid_back_on"] == datetime.date(2026, 2, 1)


def test_a_bottle_that_cost_nothing_is_paid_back_the_day_it_came(books: Books) -> None:
    """
    2026-01-20 * "gift with a purchase"
      Assets:Stock:CedarHour  5 CEDARHOUR {0 USD, "MINI"}
    2026-02-01 * "Lantern" "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 9.00 USD
        bottle: "MINI"
      Assets:Marketplace:Lantern
    """
    row = by_bottle(books)["MINI"]
    assert row["paid_back_on"] == datetime.date(2026, 1, 20)
    assert row["payback"] is None
    assert (row["net"], row["profit"]) == (9, 9)


def test_goods_that_came_back_are_not_sold(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern
    2026-02-09 * "Lantern" "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern
    """
    row = by_bottle(books)["CH-1"]
    assert (row["ml_sold"], row["ml_left"], row["cost_of_goods"]) == (0, 100, 0)
    assert (row["sales"], row["refunds"], row["net"]) == (12, 12, 0)


def test_a_bottle_sent_back_to_its_supplier_costs_nothing(books: Books) -> None:
    """
    2026-01-20 * "sent back"
      Assets:Stock:QuietReed  -50 QUIETREED {2.00 USD, "QR-1"}
      Assets:Bank  97.00 USD
      Expenses:CostOfGoods:Other  3.00 USD
    """
    row = by_bottle(books)["QR-1"]
    assert (row["cost"], row["ml_bought"], row["cost_per_ml"], row["ml_left"]) == (0, 0, None, 0)


def test_rounded_costs_of_a_bottle_still_add_up_to_its_cost() -> None:
    books = read(
        """
        2026-01-05 * "does not divide"
          Assets:Stock:CedarHour  30 CEDARHOUR {{100.00 USD, "CH-1"}}
          Assets:Bank
        2026-02-01 * "Lantern" "sale" ^order-1
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Marketplace:Lantern
        2026-02-05 * "sample"
          Expenses:Samples  2 CEDARHOUR
        2026-02-07 * "kept"
          Equity:PersonalUse  4 CEDARHOUR
        """,
    )
    exact = by_bottle(books, exact=True)["CH-1"]
    row = by_bottle(books)["CH-1"]
    parts = ("cost_of_goods", "cost_sampled", "cost_lost", "cost_kept", "stock_value")
    assert row["cost"] == 100
    assert sum(row[name] for name in parts) == 100
    assert row["cost_lost"] == 0
    assert all(abs(row[name] - exact[name]) < Decimal("0.01") for name in parts)
    assert row["net"] - row["cost"] == row["profit"] - row["stock_value"] - row["cost_kept"]


def test_a_bottle_sold_out_leaves_no_noise() -> None:
    books = read(
        """
        2026-01-05 * "does not divide"
          Assets:Stock:CedarHour  30 CEDARHOUR {{100.00 USD, "CH-1"}}
          Assets:Bank
        2026-02-01 * "Lantern" "sale" ^order-1
          Income:Sales  -7 CEDARHOUR @@ 33.00 USD
          Assets:Marketplace:Lantern
        2026-02-02 * "Lantern" "sale" ^order-2
          Income:Sales  -11 CEDARHOUR @@ 33.00 USD
          Assets:Marketplace:Lantern
        2026-02-03 * "Lantern" "sale" ^order-3
          Income:Sales  -12 CEDARHOUR @@ 34.00 USD
          Assets:Marketplace:Lantern
        """,
    )
    row = by_bottle(books)["CH-1"]
    assert (row["stock_value"], row["cost_of_goods"], row["profit"]) == (0, 100, 0)
    assert (row["payback"], row["paid_back_on"]) == (1, datetime.date(2026, 2, 3))


def test_totals_are_the_sums_of_the_rows() -> None:
    frame = bottles(read(WORKED))
    total = totals(frame)
    assert total["cost"] == Decimal("229.60")
    assert total["net"] == 135
    assert total["payback"] == Decimal("0.5880")


@pytest.mark.parametrize("currency", ["USD", "JPY", "KWD"])
def test_figures_have_the_minor_digits_of_the_currency(currency: str) -> None:
    from millilot.ledger.money import minor_unit
    from millilot.reports.bottles import MONEY_COLUMNS, rounded

    for row in rows_of(rounded(bottles(read(WORKED)), currency)):
        assert {row[name].as_tuple().exponent for name in MONEY_COLUMNS if row[name] is not None} == {
            minor_unit(currency).as_tuple().exponent,
        }


EMPTY_THEN_DUTY = """
2026-01-05 * "bottle" ^purchase-1
  Assets:Stock:CedarHour  30 CEDARHOUR {{90.00 USD, "CH-1"}}
  Assets:Bank
2026-02-01 * "all of it" ^order-1
  Income:Sales  -30 CEDARHOUR @@ 95.00 USD
  Assets:Bank
2026-07-01 * "duty" ^purchase-1
  Assets:Stock:Inbound  6.00 USD
  Assets:Bank
"""


def test_a_late_cost_of_an_empty_bottle_is_a_cost_all_the_same() -> None:
    from millilot.reports.year import year

    books = read(EMPTY_THEN_DUTY)
    row = by_bottle(books)["CH-1"]
    assert (str(row["cost"]), str(row["cost_of_goods"]), str(row["profit"])) == ("96.00", "96.00", "-1.00")
    assert row["paid_back_on"] is None
    half = year(books, datetime.date(2026, 7, 1), datetime.date(2026, 12, 31))
    assert (half.purchases, half.cost_of_goods_sold, half.business_profit) == (6, 6, -6)


def test_a_bottle_is_paid_back_by_what_it_had_cost_on_the_day() -> None:
    books = read(EMPTY_THEN_DUTY.replace("6.00 USD", "3.00 USD"))
    assert by_bottle(books)["CH-1"]["paid_back_on"] == datetime.date(2026, 2, 1)


def test_rounded_swaps_are_never_above_the_sales_that_hold_them() -> None:
    rows = by_bottle(
        read(
            """
2026-01-05 * "five bottles"
  Assets:Stock:CedarHour  1 CEDARHOUR {{1.00 USD, "CH-1"}}
  Assets:Stock:CedarHour  1 CEDARHOUR {{1.00 USD, "CH-2"}}
  Assets:Stock:CedarHour  3 CEDARHOUR {{3.00 USD, "CH-3"}}
  Assets:Stock:CedarHour  3 CEDARHOUR {{3.00 USD, "CH-4"}}
  Assets:Stock:CedarHour  4 CEDARHOUR {{4.00 USD, "CH-5"}}
  Assets:Bank
2026-02-01 * "swap, half a cent for each bottle"
  Income:Swaps  -2 CEDARHOUR @@ 0.01 USD
  Assets:Stock:QuietReed  1 QUIETREED {{0.01 USD, "QR-1"}}
2026-02-02 * "sale, 0.6, 0.6 and 0.8 cents"
  Income:Sales  -10 CEDARHOUR @@ 0.02 USD
  Assets:Bank  0.02 USD
""",
        ),
    )
    assert all(row["of_which_swaps"] <= row["sales"] for row in rows.values())
    assert sum(row["of_which_swaps"] for row in rows.values()) == Decimal("0.01")
    assert sum(row["sales"] for row in rows.values()) == Decimal("0.03")


def test_what_no_bottle_is_found_for_is_the_same_as_in_the_collection() -> None:
    books = read(
        SHELF
        + """
2026-01-07 * "vials"
  Assets:Stock:Supplies  1000 VIAL5 {{1.00 USD, "V-1"}}
  Assets:Bank
2026-02-01 * "0.3 cents" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Expenses:CostOfGoods:Supplies  3 VIAL5
  Assets:Bank  12.00 USD
2026-02-02 * "0.3 cents" ^order-2
  Income:Sales  -5 QUIETREED @@ 12.00 USD
  Expenses:CostOfGoods:Supplies  3 VIAL5
  Assets:Bank  12.00 USD
2026-02-03 * "0.4 cents, for no order"
  Expenses:CostOfGoods:Supplies  4 VIAL5
""",
    )
    rows = by_bottle(books)
    assert rows[None]["net"] == collection(books).rounded("USD").unallocated == 0
    assert sum(row["supplies"] for row in rows.values()) == Decimal("0.01")
