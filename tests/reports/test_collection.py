"""The collection as a whole."""

from __future__ import annotations

from dataclasses import asdict
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.reports.collection import collection

from .books import by_bottle, read
from .test_year import TWO_YEARS, of_year

if TYPE_CHECKING:
    from millilot.ledger.records import Books


def test_a_collection_worked_out_by_hand() -> None:
    totals = collection(read(TWO_YEARS)).rounded("USD")
    assert {name: str(value) for name, value in asdict(totals).items()} == {
        "put_in": "259.60",  # 129.60 + 100 + 30 for vials
        "got_back": "47.80",  # 40 + 5 + 18 + 45 - 40 + 6 - 4.50 - 5.50 - 7 - 9.20
        "held": "13.00",
        "held_for_claims": "0.00",
        "unallocated": "20.30",  # 18 + 6 - 2 - 1.70
        "stock_value": "223.68",  # 80 at 1.296, 20 at 2, 50, 30
        "supplies_on_hand": "27.90",
        "worn": "19.44",
        "contributed": "50.00",
        "swaps_in": "30.00",
        "swaps_out": "30.00",
        "result": "9.22",
    }


def test_the_result_is_the_profit_of_all_years() -> None:
    books = read(TWO_YEARS)
    profit = sum((of_year(books, number).business_profit for number in (2026, 2027)), Decimal(0))
    assert abs(collection(books).result - profit) < Decimal("1E-18")


def test_unallocated_is_the_net_of_the_row_without_a_bottle() -> None:
    books = read(TWO_YEARS)
    assert collection(books).rounded("USD").unallocated == by_bottle(books)[None]["net"]


def test_channels_hold_what_they_have_not_paid_out(books: Books) -> None:
    """
    2026-02-01 * "Lantern" "sale" ^order-1
      Income:Sales  -10 CEDARHOUR @@ 40.00 USD
      Assets:Marketplace:Lantern
    2026-02-05 * "payout" ^payout-1
      Assets:Marketplace:Lantern  -30.00 USD
      Assets:Marketplace:Lantern:Transit  30.00 USD
    2026-02-07 * "at the bank" ^payout-1
      Assets:Marketplace:Lantern:Transit  -25.00 USD
      Assets:Bank
    """
    assert collection(books).held == 15
