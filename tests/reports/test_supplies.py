"""What kits take, as bottles, the year and the collection show it; worked out by hand."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest

from millilot.ledger.reading import read_books
from millilot.reports.collection import collection
from millilot.reports.year import year

from .books import HEAD, SHELF, by_bottle, load, net_profit, read

#: 100 vials at 0.30, 2 rolls of tape at 4.50, of which 0.2 a parcel; delivery of 1.95 makes that 0.315 and 4.725.
WORKED = (
    SHELF
    + """
2026-01-07 * "vials and tape"
  Assets:Stock:Supplies  100 VIAL5 {{30.00 USD, "V-1"}}
  Assets:Stock:Packing  2 TAPE {{9.00 USD, "T-1"}}
  Assets:Stock:Inbound  1.95 USD
  Assets:Bank
2020-01-01 open Assets:Stock:Packing TAPE "NONE"
2020-01-01 commodity TAPE
  unit: "each"
2026-01-07 custom "kit" "5 mL" 1 VIAL5
2026-01-07 custom "kit" "parcel" 0.2 TAPE
2026-02-01 * "Lantern" "two bottles" ^order-1
  Income:Sales  -10 CEDARHOUR @@ 20.00 USD
    vials: 2
  Income:Sales  -5 QUIETREED @@ 40.00 USD
  Assets:Marketplace:Lantern  60.00 USD
2026-02-03 * "Lantern" "one more, in the same parcel" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Marketplace:Lantern  12.00 USD
2027-01-04 * "Lantern" "next year" ^order-2
  Income:Sales  -5 QUIETREED @@ 20.00 USD
  Assets:Marketplace:Lantern  20.00 USD
2027-01-09 * "Lantern" "came back" ^order-2
  Income:Refunds  5 QUIETREED @@ 20.00 USD
  Assets:Marketplace:Lantern  -20.00 USD
"""
)


def test_supplies_are_shared_by_price_over_the_lines() -> None:
    rows = by_bottle(read(WORKED), exact=True)
    # 2 February: 3 vials and tape, 0.945 + 0.945, shared 20 to 40; then a vial more; in 2027 a vial and tape.
    assert {name: row["supplies"] for name, row in rows.items()} == {
        "CH-1": Decimal("0.63") + Decimal("0.315"),
        "QR-1": Decimal("1.26") + Decimal("1.26"),
        None: 0,
    }
    assert rows["CH-1"]["cost_of_goods"] == Decimal("19.44")
    assert rows["CH-1"]["ml_sold"] == 15


@pytest.mark.parametrize(
    ("number", "supplies", "packing", "opening", "closing"),
    [
        # 4 of 100 vials; 0.2 of 2 rolls of tape.
        (2026, "1.26", "0.945", "0", "38.745"),
        (2027, "0.315", "0.945", "38.745", "37.485"),
    ],
)
def test_vials_are_cost_of_goods_and_parcels_a_selling_cost(
    number: int, supplies: str, packing: str, opening: str, closing: str,
) -> None:
    totals = year(read(WORKED), datetime.date(number, 1, 1), datetime.date(number, 12, 31))
    assert (totals.supplies, totals.packing) == (Decimal(supplies), Decimal(packing))
    assert totals.supplies_on_hand_open == Decimal(opening)
    assert totals.supplies_on_hand_close == Decimal(closing)
    # 15 mL at 1.296 and 5 mL at 2.00 left; then 5 mL left and came back.
    liquid = Decimal("29.44") if number == 2026 else 0
    assert totals.cost_of_goods_sold == liquid + totals.supplies
    assert totals.business_profit == totals.net_receipts - totals.cost_of_goods_sold - totals.packing


def test_the_years_earn_what_the_books_say() -> None:
    entries, errors, options = load(WORKED, HEAD)
    assert errors == []
    books = read_books(entries, options)
    whole = year(books, datetime.date(2026, 1, 1), datetime.date(2027, 12, 31))
    assert abs(whole.business_profit - net_profit(entries)) < Decimal("1E-18")


def test_supplies_are_put_in_and_what_is_left_is_on_hand() -> None:
    totals = collection(read(WORKED))
    assert totals.put_in == Decimal("270.55")  # 129.60 + 100 + 40.95
    assert totals.got_back == 72  # nothing is paid when a kit is used
    assert totals.supplies_on_hand == Decimal("37.485")
    assert totals.unallocated == 0
