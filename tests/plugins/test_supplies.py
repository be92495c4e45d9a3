"""Kits: the supplies that vials and parcels use."""

from __future__ import annotations

import io
from collections import Counter, defaultdict
from decimal import Decimal
from textwrap import dedent

import pytest
from beancount.parser import printer
from hypothesis import given, settings
from hypothesis import strategies as st

from millilot.ledger.directives import read_settings
from millilot.plugins.problems import SupplyError

from .books import PLUGIN, SHELF, LoadedBooks, dated, load

CODES = ("VIAL2", "VIAL3", "VIAL4", "VIAL5", "LABEL", "MAILER", "TAPE")

#: Accounts for supplies, a first bottle, and no supplies.
BARE = "\n".join(
    [
        SHELF,
        '2020-01-01 open Assets:Stock:Supplies "NONE"',
        "2020-01-01 open Expenses:CostOfGoods:Supplies USD",
        "2020-01-01 open Expenses:Selling:Packing USD",
        *(f'2020-01-01 commodity {code}\n  unit: "each"' for code in CODES),
    ],
)

#: Enough of some supplies, and three kits.
STORE = f"""{BARE}
2026-01-05 * "supplies"
  Assets:Stock:Supplies  100 VIAL5 {{{{30.00 USD, "V5-1"}}}}
  Assets:Stock:Supplies  100 VIAL4 {{{{25.00 USD, "V4-1"}}}}
  Assets:Stock:Supplies  200 LABEL {{{{8.00 USD, "L-1"}}}}
  Assets:Stock:Supplies  50 MAILER {{{{20.00 USD, "M-1"}}}}
  Assets:Stock:Supplies  2 TAPE {{{{8.00 USD, "T-1"}}}}
  Assets:Bank  -91.00 USD
2026-01-05 custom "kit" "5 mL" 1 VIAL5 1 LABEL
2026-01-05 custom "kit" "4 mL" 1 VIAL4 2 LABEL
2026-01-05 custom "kit" "parcel" 1 MAILER 0.02 TAPE
"""


@pytest.fixture
def faulty(request: pytest.FixtureRequest) -> LoadedBooks:
    """The test's own docstring as books, with enough of the usual supplies and their kits."""
    return load(request.function.__doc__, STORE)


def used(books: LoadedBooks) -> dict[str, Decimal]:
    """Return how much of each supply kits took."""
    taken: dict[str, Decimal] = defaultdict(Decimal)
    for posting in books.postings("Assets:Stock:Supplies"):
        if posting.meta.get("millilot") == "kit":
            taken[posting.units.currency] -= posting.units.number
    return dict(taken)


def printed(books: LoadedBooks) -> LoadedBooks:
    """Return the books as Beancount prints them, loaded again."""
    output = io.StringIO()
    printer.print_entries(books.entries, file=output)
    options = "\n".join(line for line in books.text.splitlines() if line.startswith("option"))
    return LoadedBooks(f"{PLUGIN}\n{options}\n{output.getvalue()}")


# What a sale takes.


def test_a_vial_takes_its_kit_and_an_order_its_parcel(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert books.lines("sale") == [
        "Income:Sales -12.00 USD [5 CEDARHOUR]",
        "Assets:Bank 12.00 USD",
        'Assets:Stock:CedarHour -5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [draw]',
        "Expenses:CostOfGoods:Fragrance 6.480 USD [draw]",
        'Assets:Stock:Supplies -1 VIAL5 {0.30 USD, 2026-01-05, "V5-1"} [kit]',
        "Expenses:CostOfGoods:Supplies 0.30 USD [kit]",
        'Assets:Stock:Supplies -1 LABEL {0.04 USD, 2026-01-05, "L-1"} [kit]',
        "Expenses:CostOfGoods:Supplies 0.04 USD [kit]",
        'Assets:Stock:Supplies -1 MAILER {0.40 USD, 2026-01-05, "M-1"} [kit]',
        "Expenses:Selling:Packing 0.40 USD [kit]",
        'Assets:Stock:Supplies -0.02 TAPE {4.00 USD, 2026-01-05, "T-1"} [kit]',
        "Expenses:Selling:Packing 0.0800 USD [kit]",
    ]
    lines = {posting.meta["lineno"] for posting in books.transaction("sale").postings[4:]}
    assert lines == {books.transaction("sale").postings[0].meta["lineno"]}


def test_a_line_in_several_vials_takes_the_kit_of_their_size_for_each(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -12 CEDARHOUR @@ 26.00 USD
        vials: 3
      Assets:Bank  26.00 USD
    """
    assert used(books) == {"VIAL4": 3, "LABEL": 6, "MAILER": 1, "TAPE": Decimal("0.02")}


def test_what_leaves_unopened_is_packed_and_uses_no_vial(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
        vials: 0
      Assets:Bank  12.00 USD
    """
    assert used(books) == {"MAILER": 1, "TAPE": Decimal("0.02")}


def test_a_size_without_a_kit_books_nothing(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -7 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert used(books) == {"MAILER": 1, "TAPE": Decimal("0.02")}


def test_a_swap_uses_a_vial_and_a_parcel(books: LoadedBooks) -> None:
    """
    2026-02-01 * "swap"
      Income:Swaps  -5 CEDARHOUR @@ 12.00 USD
      Assets:Stock:QuietReed  10 QUIETREED {{12.00 USD, "QR-1"}}
    """
    assert used(books) == {"VIAL5": 1, "LABEL": 1, "MAILER": 1, "TAPE": Decimal("0.02")}


def test_what_is_not_sold_uses_nothing(books: LoadedBooks) -> None:
    """
    2026-02-01 * "not sold" ^order-1
      Expenses:Samples  5 CEDARHOUR
      Expenses:Loss  5 CEDARHOUR
      Equity:PersonalUse  5 CEDARHOUR
    """
    assert used(books) == {}


def test_supplies_sold_are_packed_and_poured_into_no_vial(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "kit" "1 mL" 1 VIAL4
    2026-02-01 * "empty vials" ^order-1
      Income:Sales  -1 VIAL5 @@ 1.00 USD
      Assets:Bank  1.00 USD
    """
    assert used(books) == {"MAILER": 1, "TAPE": Decimal("0.02")}
    assert books.left()["V5-1"] == 99


def test_the_oldest_supplies_give_first(books: LoadedBooks) -> None:
    """
    2026-01-20 * "a pack cheaper than the first"
      Assets:Stock:Supplies  50 VIAL5 {{10.00 USD, "V5-2"}}
      Assets:Bank  -10.00 USD
    2026-02-01 * "broken"
      Expenses:Loss  99 VIAL5
    2026-02-02 * "sale" ^order-1
      Income:Sales  -15 CEDARHOUR @@ 30.00 USD
        vials: 3
      Assets:Bank  30.00 USD
    """
    assert books.lines("sale")[4:8] == [
        'Assets:Stock:Supplies -1 VIAL5 {0.30 USD, 2026-01-05, "V5-1"} [kit]',
        "Expenses:CostOfGoods:Supplies 0.30 USD [kit]",
        'Assets:Stock:Supplies -2 VIAL5 {0.20 USD, 2026-01-20, "V5-2"} [kit]',
        "Expenses:CostOfGoods:Supplies 0.40 USD [kit]",
    ]


def test_supplies_bought_on_the_day_serve_its_sales(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -2 CEDARHOUR @@ 5.00 USD
      Assets:Bank  5.00 USD
    2026-02-01 custom "kit" "2 mL" 1 VIAL2
    2026-02-01 * "vials"
      Assets:Stock:Supplies  10 VIAL2 {{2.00 USD, "V2-1"}}
      Assets:Bank  -2.00 USD
    """
    assert books.left()["V2-1"] == 9


def test_what_comes_back_brings_no_supplies_back(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-03 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD
    """
    assert books.left() == {
        "CH-1": 100, "V5-1": 99, "V4-1": 100, "L-1": 199, "M-1": 49, "T-1": Decimal("1.98"),
    }
    assert len(books.lines("back")) == 4


# Which kit is in force.


def test_a_kit_is_in_force_from_its_day_until_another_of_its_size(books: LoadedBooks) -> None:
    """
    2026-02-03 custom "kit" "5.0 mL" 2 LABEL
    2026-02-05 custom "kit" "parcel" 2 MAILER
    2026-01-04 * "before any"
      Income:Sales  -1 QUIETREED @@ 2.00 USD
      Assets:Bank  2.00 USD
    2026-01-03 * "bottle"
      Assets:Stock:QuietReed  50 QUIETREED {{50.00 USD, "QR-1"}}
      Assets:Bank  -50.00 USD
    2026-02-02 * "first" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-03 * "second" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-05 * "third" ^order-3
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    taken = {
        name: [posting.units.to_string() for posting in books.transaction(name).postings[4::2]]
        for name in ("before any", "first", "second", "third")
    }
    assert taken == {
        "before any": [],
        "first": ["-1 VIAL5", "-1 LABEL", "-1 MAILER", "-0.02 TAPE"],
        "second": ["-2 LABEL", "-1 MAILER", "-0.02 TAPE"],
        "third": ["-2 LABEL", "-2 MAILER"],
    }


def test_settings_give_the_kit_of_a_size_and_a_day() -> None:
    books = load(
        """
        2026-02-03 custom "kit" "2.5 mL" 1 VIAL2 0.5 TAPE
        """,
        STORE,
    )
    kits, complaints = read_settings(books.entries)
    assert complaints == []
    day = books.transaction("supplies").date.replace(month=2, day=3)
    kit = kits.kit(Decimal("2.50"), day)
    assert kit is not None
    assert kit.supplies == ((1, "VIAL2"), (Decimal("0.5"), "TAPE"))
    assert kits.kit(Decimal("2.5"), day.replace(day=2)) is None
    assert kits.kit(Decimal(3), day) is None
    parcel = kits.parcel_kit(day)
    assert parcel is not None
    assert [code for _, code in parcel.supplies] == ["MAILER", "TAPE"]


@pytest.mark.parametrize(
    "values",
    [
        "",
        '"5 mL"',
        '"parcel"',
        "1 VIAL5",
        '"5" 1 VIAL5',
        '"5mL" 1 VIAL5',
        '"five mL" 1 VIAL5',
        '"-5 mL" 1 VIAL5',
        '"0 mL" 1 VIAL5',
        '"5 mL" 1',
        '"5 mL" 0 VIAL5',
        '"5 mL" 1 VIAL5 -1 LABEL',
        '"5 mL" 1 VIAL5 "LABEL"',
        '"Parcel" 1 MAILER',
    ],
)
def test_a_kit_that_cannot_be_read(values: str) -> None:
    books = load(f'2026-02-01 custom "kit" {values}  ; blamed', STORE)
    assert books.error() == (
        "A kit names the size of a vial in mL, or the parcel, and the supplies it uses, each above 0; expected: "
        '2026-02-01 custom "kit" "5 mL" 1 VIAL5 1 LABEL or 2026-02-01 custom "kit" "parcel" 1 MAILER'
    )


@pytest.mark.parametrize("code", ["CEDARHOUR", "BOX"])
def test_a_kit_uses_what_is_counted(code: str) -> None:
    books = load(f'2026-02-01 custom "kit" "2 mL" 1 {code}  ; blamed', STORE)
    assert books.error() == (
        f"{code} is measured in mL, and a kit uses supplies, which are counted. If it is one, write "
        f'unit: "each" below the line: 2026-02-01 commodity {code}'
    )


# Once an order.


def test_an_order_of_several_lines_is_packed_once(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -4 CEDARHOUR @@ 10.00 USD
      Assets:Bank  22.00 USD
    """
    assert used(books) == {"VIAL5": 1, "VIAL4": 1, "LABEL": 3, "MAILER": 1, "TAPE": Decimal("0.02")}


def test_an_order_of_several_transactions_is_packed_with_the_first_that_sells(books: LoadedBooks) -> None:
    """
    2026-02-03 * "later" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-01 * "postage" ^order-1
      Expenses:Selling:Fees  1.00 USD
      Assets:Bank  -1.00 USD
    2026-02-01 * "sample" ^order-1
      Expenses:Samples  1 CEDARHOUR
    2026-02-02 * "first" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    packing = [
        entry.narration
        for entry in books.transactions
        for posting in entry.postings
        if posting.account == "Expenses:Selling:Packing"
    ]
    assert packing == ["first", "first"]


def test_transactions_without_a_link_are_packed_one_by_one(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale"
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-01 * "sale too" ^receipt-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert used(books)["MAILER"] == 2


def test_an_order_packed_by_a_pair_is_not_packed_again(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-04 * "packed by hand" ^order-1
      Assets:Stock:Supplies  -2 MAILER {0.40 USD, "M-1"}
      Expenses:Selling:Packing  0.80 USD
    2026-02-05 * "by hand in one" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Stock:Supplies  -1 MAILER {0.40 USD, "M-1"}
      Expenses:Selling:Packing  0.40 USD
      Assets:Bank  12.00 USD
    """
    assert used(books) == {"VIAL5": 2, "LABEL": 2}
    assert books.left()["M-1"] == 47


def test_a_second_mailer_that_is_drawn_does_not_stand_for_the_first(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-04 * "posted once more" ^order-1
      Expenses:Selling:Packing  1 MAILER
    """
    assert used(books)["MAILER"] == 1
    assert books.left()["M-1"] == 48


# Supplies that run out.

SHORT = """
    2026-01-20 custom "kit" "2 mL" 1 VIAL2 1 LABEL
    2026-01-20 * "a few vials"
      Assets:Stock:Supplies  {bought} VIAL2 {{{{1.00 USD, "V2-1"}}}}
      Assets:Bank  -1.00 USD
    2026-02-01 * "sale" ^order-1
      Income:Sales  -4 CEDARHOUR @@ 10.00 USD
        vials: 2
      Assets:Bank  10.00 USD
    2026-02-02 * "more" ^order-2
      Income:Sales  -4 CEDARHOUR @@ 10.00 USD  ; blamed
        vials: 2
      Assets:Bank  10.00 USD
"""


@pytest.mark.parametrize(
    ("bought", "words"),
    [
        (2, "This line uses 2 VIAL2, 0 left: it ran out on 2026-02-01."),
        (3, "This line uses 2 VIAL2, 1 left: it ran out on 2026-02-02."),
    ],
)
def test_a_supply_that_runs_out(bought: int, words: str) -> None:
    books = load(dedent(SHORT.format(bought=bought)), STORE)
    assert books.error() == f"{words} The sale is booked without what is missing."
    assert isinstance(books.errors[0], SupplyError)
    assert books.left()["CH-1"] == 92
    assert books.left().get("V2-1", 0) == bought - 2
    assert books.balance("Income:Sales") == -20
    # The rest of the kit is taken.
    assert used(books) == {"VIAL2": 2, "LABEL": 4, "MAILER": 2, "TAPE": Decimal("0.04")}


def test_a_supply_that_was_counted_out_ran_out_that_day(faulty: LoadedBooks) -> None:
    """
    2026-02-01 open Expenses:CostOfGoods:Shrinkage USD
    2026-02-03 custom "stocktake" "V5-1" 0 VIAL5
    2026-02-05 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  12.00 USD
    """
    assert "1 VIAL5, 0 left: it ran out on 2026-02-03." in faulty.error()


def test_a_supply_that_was_bought_again_ran_out_later(faulty: LoadedBooks) -> None:
    """
    2026-02-03 * "broken"
      Expenses:Loss  100 VIAL5
    2026-02-04 * "vial"
      Assets:Stock:Supplies  1 VIAL5 {{0.50 USD, "V5-2"}}
      Assets:Bank  -0.50 USD
    2026-02-05 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-09 * "next" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  12.00 USD
    """
    assert "1 VIAL5, 0 left: it ran out on 2026-02-05." in faulty.error()


def test_a_supply_never_bought(faulty: LoadedBooks) -> None:
    """
    2026-01-20 custom "kit" "3 mL" 1 VIAL3 1 LABEL
    2026-02-01 * "sale" ^order-1
      Income:Sales  -3 CEDARHOUR @@ 8.00 USD  ; blamed
      Assets:Bank  8.00 USD
    """
    assert faulty.error() == (
        "This line uses 1 VIAL3. VIAL3 was never bought. The sale is booked without what is missing."
    )
    assert used(faulty)["LABEL"] == 1


def test_a_supply_bought_later(faulty: LoadedBooks) -> None:
    """
    2026-01-20 custom "kit" "3 mL" 1 VIAL3
    2026-02-01 * "sale" ^order-1
      Income:Sales  -3 CEDARHOUR @@ 8.00 USD  ; blamed
      Assets:Bank  8.00 USD
    2026-02-02 * "vials"
      Assets:Stock:Supplies  10 VIAL3 {{2.00 USD, "V3-1"}}
      Assets:Bank  -2.00 USD
    """
    assert faulty.error() == (
        "This line uses 1 VIAL3. VIAL3 was first bought on 2026-02-02, after this day. "
        "The sale is booked without what is missing."
    )


def test_a_line_is_blamed_once_for_all_it_lacks(faulty: LoadedBooks) -> None:
    """
    2026-01-20 custom "kit" "3 mL" 1 VIAL3
    2026-01-20 custom "kit" "parcel" 1 VIAL2
    2026-02-01 * "sale" ^order-1
      Income:Sales  -6 CEDARHOUR @@ 8.00 USD  ; blamed
        vials: 2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  20.00 USD
    """
    assert faulty.error() == (
        "This line uses 2 VIAL3. VIAL3 was never bought. This line uses 1 VIAL2. VIAL2 was never bought. "
        "The sale is booked without what is missing."
    )
    assert used(faulty) == {"VIAL5": 1, "LABEL": 1}


def test_a_line_that_is_refused_uses_nothing(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "too much" ^order-1
      Income:Sales  -500 CEDARHOUR @@ 900.00 USD  ; blamed
        vials: 100
      Assets:Bank  900.00 USD
    2026-02-02 * "the rest" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert "500" in faulty.error()
    assert len(faulty.lines("too much")) == 2
    assert used(faulty) == {"VIAL5": 1, "LABEL": 1, "MAILER": 1, "TAPE": Decimal("0.02")}


def test_a_supply_whose_cost_was_refused_is_not_spoken_of_again(faulty: LoadedBooks) -> None:
    """
    2026-01-20 custom "kit" "3 mL" 1 VIAL3
    2026-01-20 open Assets:Cash EUR
    2026-01-21 * "vials from abroad"
      Assets:Stock:Supplies  10 VIAL3 {{2.00 EUR, "V3-1"}}  ; blamed
      Assets:Cash  -2.00 EUR
    2026-02-01 * "sale" ^order-1
      Income:Sales  -3 CEDARHOUR @@ 8.00 USD
      Assets:Bank  8.00 USD
    """
    assert "EUR" in faulty.error()
    assert "VIAL3" not in used(faulty)


def test_an_account_for_supplies_that_is_not_open(faulty: LoadedBooks) -> None:
    """
    2026-01-20 custom "millilot-account" "supplies-used" Expenses:Vials
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  12.00 USD
    """
    expected = "Expenses:Vials is needed here and is not open. Add: 2026-02-01 open Expenses:Vials USD"
    assert faulty.error() == expected


# Orders still to be poured, and late costs.


def test_a_count_of_supplies_knows_the_orders_not_yet_poured(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1 #to-pour
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-03 custom "stocktake" "V5-1" 100 VIAL5
    """
    assert books.left()["V5-1"] == 99


def test_duty_for_vials_already_used_is_cost_of_goods(books: LoadedBooks) -> None:
    """
    2026-01-20 custom "kit" "2 mL" 1 VIAL2
    2026-01-20 * "vials" ^purchase-1
      Assets:Stock:Supplies  10 VIAL2 {{2.00 USD, "V2-1"}}
      Assets:Bank  -2.00 USD
    2026-02-01 * "sale" ^order-1
      Income:Sales  -8 CEDARHOUR @@ 18.00 USD
        vials: 4
      Assets:Bank  18.00 USD
    2026-02-09 * "duty" ^purchase-1
      Assets:Stock:Inbound  1.00 USD
      Assets:Bank  -1.00 USD
    """
    [gone] = [posting for posting in books.transaction("duty").postings if "Supplies" in posting.account][2:]
    assert (gone.account, gone.units.to_string()) == ("Expenses:CostOfGoods:Supplies", "0.40 USD")


# Printed and loaded again.

MIXED = """
    2026-01-20 * "a second pack"
      Assets:Stock:Supplies  3 VIAL5 {{1.00 USD, "V5-0"}}
      Assets:Bank  -1.00 USD
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -12 CEDARHOUR @@ 26.00 USD
        vials: 3
      Assets:Bank  38.00 USD
    2026-02-01 * "sale of vials" ^order-2
      Income:Sales  -1 VIAL5 @@ 1.00 USD
      Expenses:Selling:Packing  1 MAILER
      Assets:Bank  1.00 USD
    2026-02-02 * "the second half" ^order-1 #to-pour
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-03 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD
    2026-02-04 custom "stocktake" "L-1" 190 LABEL
    2020-01-01 open Expenses:CostOfGoods:Shrinkage USD
"""


def test_printed_books_take_no_kit_again() -> None:
    books = load(dedent(MIXED), STORE)
    assert books.messages == []
    again = printed(books)
    assert again.messages == []
    assert dated(again.entries) == dated(books.entries)
    assert used(again) == used(books)


def test_an_order_of_which_a_part_is_written_with_its_pairs_is_packed_once(books: LoadedBooks) -> None:
    """
    2026-02-01 * "not written out" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-02 * "written out" ^order-1
      Income:Sales  -12.00 USD
        poured: 5 CEDARHOUR
      Assets:Bank  12.00 USD
      Assets:Stock:CedarHour  -5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"}
        millilot: "draw"
      Expenses:CostOfGoods:Fragrance  6.48 USD
        millilot: "draw"
      Assets:Stock:Supplies  -1 VIAL5 {0.3 USD, 2026-01-05, "V5-1"}
        millilot: "kit"
      Expenses:CostOfGoods:Supplies  0.3 USD
        millilot: "kit"
      Assets:Stock:Supplies  -1 MAILER {0.4 USD, 2026-01-05, "M-1"}
        millilot: "kit"
      Expenses:Selling:Packing  0.4 USD
        millilot: "kit"
    """
    assert used(books) == {"VIAL5": 2, "LABEL": 1, "MAILER": 1}


@pytest.mark.parametrize("again", [False, True])
def test_what_a_kit_took_cannot_come_back(again: bool) -> None:
    sale = load(
        """
        2026-02-01 * "sale" ^order-1
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
        """,
        STORE,
    )
    text = printed(sale).text if again else sale.text
    books = LoadedBooks(
        text
        + dedent("""
        2026-02-03 * "back" ^order-1
          Income:Refunds  1 VIAL5 @@ 0.50 USD  ; blamed
          Assets:Bank  -0.50 USD
        """),
    )
    assert "No VIAL5 went out under ^order-1 that could come back." in books.error()


# Whatever happens.

KITS = """
2026-01-01 custom "kit" "2 mL" 1 VIAL2 1 LABEL
2026-01-01 custom "kit" "5 mL" 1 VIAL5 1 LABEL 0.3 TAPE
2026-01-01 custom "kit" "parcel" 1 MAILER 0.1 TAPE
"""
OF_KITS = ("VIAL2", "VIAL5", "LABEL", "MAILER", "TAPE")
#: mL of a line, its vials, and what they use.
LINES: dict[tuple[str, str], Counter[str]] = {
    ("2", "1"): Counter({"VIAL2": 10, "LABEL": 10}),
    ("5", "1"): Counter({"VIAL5": 10, "LABEL": 10, "TAPE": 3}),
    ("15", "3"): Counter({"VIAL5": 30, "LABEL": 30, "TAPE": 9}),
    ("6", "3"): Counter({"VIAL2": 30, "LABEL": 30}),
    ("3", "1"): Counter(),
    ("5", "0"): Counter(),
}
PARCEL = Counter({"MAILER": 10, "TAPE": 1})

Pack = tuple[int, str, int, int]
Order = tuple[int, int | None, list[tuple[str, str]]]


def in_books(packs: list[Pack], orders: list[Order]) -> list[str]:
    """Return the entries of packs (day, code, pieces, cents) and orders (day, number, lines)."""
    entries = [KITS]
    for number, (day, code, pieces, cents) in enumerate(packs, start=1):
        cost = Decimal(cents) / 100
        entries.append(
            f'2026-02-{day:02} * "pack {number}"\n'
            f'  Assets:Stock:Supplies  {pieces} {code} {{{{{cost} USD, "P-{number}"}}}}\n'
            f"  Assets:Bank  -{cost} USD\n",
        )
    for number, (day, order, lines) in enumerate(orders, start=1):
        link = "" if order is None else f" ^order-{order}"
        sales = "".join(
            f"  Income:Sales  -{ml} MOREHOUR @@ 10.00 USD\n    vials: {vials}\n" for ml, vials in lines
        )
        entries.append(
            f'2026-02-{day:02} * "sale {number}"{link}\n{sales}  Assets:Bank  {10 * len(lines)}.00 USD\n',
        )
    return entries


MUCH = """
2026-01-02 * "much of it"
  Assets:Stock:CedarHour  100000 MOREHOUR {{100.00 USD, "MORE"}}
  Assets:Bank  -100.00 USD
"""

packs = st.lists(
    st.tuples(st.integers(1, 6), st.sampled_from(OF_KITS), st.integers(1, 12), st.integers(0, 1000)), max_size=12,
)
orders = st.lists(
    st.tuples(
        st.integers(1, 7),
        st.none() | st.integers(1, 4),
        st.lists(st.sampled_from(sorted(LINES)), min_size=1, max_size=3),
    ),
    max_size=10,
)


def load_entries(entries: list[str]) -> LoadedBooks:
    books = LoadedBooks("\n".join([PLUGIN, *entries, BARE, MUCH]))
    assert all(isinstance(error, SupplyError) for error in books.errors)
    return books


@given(packs, orders)
@settings(max_examples=60, deadline=None)
def test_pieces_and_cost_of_supplies_are_conserved(bought: list[Pack], sold: list[Order]) -> None:
    books = load_entries(in_books(bought, sold))
    out: dict[str, Decimal] = defaultdict(Decimal)
    for entry in books.transactions:
        for stock, partner in zip(entry.postings, entry.postings[1:], strict=False):
            if stock.account == "Assets:Stock:Supplies" and stock.units.number < 0:
                assert stock.meta["millilot"] == partner.meta["millilot"] == "kit"
                assert partner.units.number == -stock.units.number * stock.cost.number
                out[stock.cost.label] -= stock.units.number
    left = books.left()
    for number, (_, _, pieces, _) in enumerate(bought, start=1):
        assert out[f"P-{number}"] + left.get(f"P-{number}", 0) == pieces
        assert left.get(f"P-{number}", 0) >= 0
    cost = books.balance("Expenses:CostOfGoods:Supplies") + books.balance("Expenses:Selling:Packing")
    value = sum(
        position.units.number * position.cost.number
        for position in books.stock()
        if position.units.currency in OF_KITS
    )
    spent = sum(Decimal(cents) / 100 for _, _, _, cents in bought)
    assert abs(cost + value - spent) < Decimal("1E-18")
    # The sales themselves stand, whatever ran out.
    assert books.balance("Income:Sales") == -10 * sum(len(lines) for _, _, lines in sold)


@given(orders)
@settings(max_examples=40, deadline=None)
def test_enough_supplies_are_used_as_the_kits_say(sold: list[Order]) -> None:
    stock = [(1, code, 1000, 700) for code in OF_KITS]
    books = load_entries(in_books(stock, sold))
    assert books.messages == []
    expected: Counter[str] = Counter()
    for _, _, lines in sold:
        for line in lines:
            expected += LINES[line]
    parcels = len({number for _, number, _ in sold if number}) + sum(number is None for _, number, _ in sold)
    for _ in range(parcels):
        expected += PARCEL
    assert used(books) == {code: Decimal(tenths) / 10 for code, tenths in expected.items()}


@given(packs, orders)
@settings(max_examples=40, deadline=None)
def test_the_order_of_writing_changes_no_supply(bought: list[Pack], sold: list[Order]) -> None:
    entries = in_books(bought, sold)
    forwards, backwards = load_entries(entries), load_entries(entries[::-1])
    assert dated(forwards.entries) == dated(backwards.entries)
    assert sorted(forwards.messages) == sorted(backwards.messages)


@given(packs, orders)
@settings(max_examples=40, deadline=None)
def test_printed_supplies_load_as_the_same_books(bought: list[Pack], sold: list[Order]) -> None:
    books = load_entries(in_books(bought, sold))
    again = printed(books)
    # What ran out was said when the sale was booked; written out, the sale uses nothing more.
    assert again.messages == []
    assert dated(again.entries) == dated(books.entries)
