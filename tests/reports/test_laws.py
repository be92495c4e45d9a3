"""The laws that all books obey, on random ones."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from beancount.parser import printer
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from millilot.ledger.reading import read_books
from millilot.reports.allocation import SIGN_IN_NET, allocate
from millilot.reports.bottles import bottles, rounded, rows_of
from millilot.reports.collection import collection
from millilot.reports.year import Year, year

from .books import HEAD, load, net_profit

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from millilot.ledger.records import Books

EXACT = Decimal("1E-18")
CENT = Decimal("0.01")
YEARS = (2026, 2027)

cents = st.integers(0, 9999).map(lambda number: Decimal(number) / 100)
days = st.integers(0, 640).map(lambda number: datetime.date(2026, 1, 20) + datetime.timedelta(days=number))


@st.composite
def histories(draw: Callable[..., Any]) -> list[str]:
    """Random entries: two fragrances in lots whose cost does not divide, and all that may befall them."""
    entries = []
    for name, account in (("CEDARHOUR", "CedarHour"), ("QUIETREED", "QuietReed")):
        for number in range(draw(st.integers(1, 3))):
            size = draw(st.sampled_from([70, 90, 110]))
            other = draw(st.sampled_from(["Assets:Bank", "Equity:Contributed"]))
            entries.append(
                f'2026-01-0{number + 1} * "bottle"\n'
                f'  Assets:Stock:{account}  {size} {name} {{{{{draw(cents)} USD, "{name} {number}"}}}}\n'
                f"  {other}\n",
            )
    entries.append(
        '2026-01-05 * "vials"\n  Assets:Stock:Supplies  70 VIAL5 {{10.00 USD, "V"}}\n  Assets:Bank\n',
    )
    for number in range(draw(st.integers(0, 10))):
        day, name = draw(days), draw(st.sampled_from(["CEDARHOUR", "QUIETREED"]))
        size, price, fee = draw(st.sampled_from(["0.7", "1", "2.5"])), draw(cents), draw(cents)
        entries.append(draw(st.sampled_from(_EVENTS)).format(
            day=day, later=day + datetime.timedelta(days=40), name=name, size=size, price=price, fee=fee, n=number,
        ))
    return entries


_SALE = """{day} * "Lantern" "sale {n}" ^order-{n}
  Income:Sales  -{size} {name} @@ {price} USD
  Income:Sales  -1 QUIETREED @@ 3.01 USD
  Income:Postage  -{fee} USD
  Expenses:Selling:Fees  1.01 USD
  Assets:Marketplace:Lantern
"""
_EVENTS = (
    _SALE,
    _SALE + """{later} * "Lantern" "back {n}" ^order-{n}
  Income:Refunds  {size} {name} @@ {price} USD
  Assets:Marketplace:Lantern
""",
    _SALE + """{later} * "refund {n}" ^order-{n}
  Income:Refunds  {fee} USD
  Assets:Marketplace:Lantern
""",
    '{day} * "sample {n}"\n  Expenses:Samples  {size} {name}\n',
    '{day} * "spilt {n}"\n  Expenses:Loss  {size} {name}\n',
    '{day} * "kept {n}"\n  Equity:PersonalUse  {size} {name}\n',
    '{day} * "in the parcels {n}"\n  Expenses:Selling:Packing  {size} {name}\n  Expenses:Selling:Ads  1 {name}\n',
    '{day} * "stocktake {n}"\n  Expenses:CostOfGoods:Shrinkage  {size} {name}\n',
    """{day} * "vials {n}"
  Expenses:CostOfGoods:Supplies  1 VIAL5
  Expenses:CostOfGoods:Other  1 VIAL5
  Expenses:Selling:Packing  1 VIAL5
  Expenses:Selling:Software  1 VIAL5
  Expenses:Samples  1 VIAL5
  Equity:PersonalUse  1 VIAL5
""",
    '{day} * "advert {n}"\n  Expenses:Selling:Ads  {fee} USD\n  Assets:Bank\n',
    '{day} * "not known {n}" ^order-{n}\n  Income:Unsorted  -{price} USD\n  Assets:Bank\n',
    """{day} * "swap {n}"
  Income:Swaps  -{size} {name} @@ {price} USD
  Assets:Stock:CedarHour  7 CEDARHOUR {{{{{price} USD, "IN {n}"}}}}
""",
)

#: The options of the usual head, which printing leaves out.
HEADLESS = "".join(line for line in HEAD.splitlines(keepends=True) if line.startswith("option"))

random_books = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def read(entries: Sequence[str]) -> Books:
    loaded, errors, options = load("\n".join(entries))
    assert [error.message for error in errors] == []
    return read_books(loaded, options)


def of_year(books: Books, number: int) -> Year:
    return year(books, datetime.date(number, 1, 1), datetime.date(number, 12, 31))


@random_books
@given(histories())
def test_ml_and_cost_are_conserved_and_both_meanings_of_payback_reconcile(history: list[str]) -> None:
    frame = bottles(read(history))
    for row in rows_of(frame):
        came_in = row["ml_bought"] + row["ml_found"]
        assert came_in == (
            row["ml_sold"] + row["ml_sampled"] + row["ml_lost"] + row["ml_kept"] + row["ml_left"]
        )
    for row, tolerance in [(row, EXACT) for row in rows_of(frame)] + [
        (row, Decimal(0)) for row in rows_of(rounded(frame, "USD"))
    ]:
        gone = row["cost_of_goods"] + row["cost_sampled"] + row["cost_lost"] + row["cost_kept"]
        assert abs(row["cost"] - gone - row["stock_value"]) <= tolerance
        left = row["net"] - row["cost"] - (row["profit"] - row["stock_value"] - row["cost_kept"])
        assert abs(left) <= tolerance


@random_books
@given(histories())
def test_money_columns_add_up_to_the_years(history: list[str]) -> None:
    books = read(history)
    years = [of_year(books, number).rounded("USD") for number in YEARS]
    frame = rounded(bottles(books), "USD")
    assert sum(frame["sales"]) + sum(frame["postage_charged"]) == sum(year.gross_receipts for year in years)
    assert sum(frame["refunds"]) == sum(year.refunds for year in years)
    assert sum(frame["fees"]) == sum(year.fees + year.ads for year in years)
    assert sum(frame["stock_value"]) == years[-1].closing_stock


@random_books
@given(histories())
def test_profit_is_favas_and_the_collections(history: list[str]) -> None:
    entries, errors, options = load("\n".join(history))
    assert errors == []
    books = read_books(entries, options)
    profits = []
    for number in YEARS:
        exact = of_year(books, number)
        profits.append(exact.business_profit)
        of = [entry for entry in entries if entry.date.year == number]
        assert abs(exact.business_profit - net_profit(of)) < EXACT
        result = exact.rounded("USD")
        # Opening and closing stock are each rounded by half a cent at most, so that one year's end is the next
        # one's beginning; where no other line can give way, the profit is off by what both come to.
        assert abs(result.business_profit - exact.business_profit) <= CENT
        assert abs(result.cost_of_goods_sold - exact.cost_of_goods_sold) <= CENT
    assert abs(collection(books).result - sum(profits)) < EXACT
    assert of_year(books, 2027).rounded("USD").opening_stock == of_year(books, 2026).rounded("USD").closing_stock


@random_books
@given(histories())
def test_shares_lose_nothing(history: list[str]) -> None:
    books = read(history)
    assert all(share.amount for share in allocate(books))
    net = sum((SIGN_IN_NET.get(share.column, 0) * share.amount for share in allocate(books)), Decimal(0))
    years = [of_year(books, number) for number in YEARS]
    posted = sum((
        year.net_receipts + year.other_income - year.fees - year.ads - year.postage - year.supplies - year.packing
        for year in years
    ), Decimal(0))
    assert abs(net - posted) < EXACT


@random_books
@given(histories())
def test_books_printed_without_the_plugin_read_the_same(history: list[str]) -> None:
    entries, errors, options = load("\n".join(history))
    assert errors == []
    printed, errors, _ = load("".join(map(printer.format_entry, entries)), head=HEADLESS)
    assert [error.message for error in errors] == []
    assert rows_of(bottles(read_books(printed, options))) == rows_of(bottles(read_books(entries, options)))


@random_books
@given(histories(), st.data())
def test_the_order_of_writing_changes_no_figure(history: list[str], data: st.DataObject) -> None:
    shuffled = read(data.draw(st.permutations(history)))
    books = read(history)
    assert rows_of(rounded(bottles(books), "USD")) == rows_of(rounded(bottles(shuffled), "USD"))
    assert of_year(books, 2026).rounded("USD") == of_year(shuffled, 2026).rounded("USD")
