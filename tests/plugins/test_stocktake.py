"""What was counted or weighed in the morning, against what the books have left."""

from __future__ import annotations

import io
from decimal import Decimal

import pytest
from beancount.parser import printer

from .books import BLAMED, PLUGIN, SHELF, LoadedBooks, dated, load, states

SHRINKAGE = "2020-01-01 open Expenses:CostOfGoods:Shrinkage USD\n"

#: A bottle of 100 mL at 1.00, with room for what its posting says about it.
WEIGHED = (
    SHELF.split("2026-01-05", maxsplit=1)[0]
    + SHRINKAGE
    + """
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{{{100.00 USD, "CH-1"}}}}
    {says}
  Assets:Bank  -100.00 USD
2026-02-10 custom "weighing" "CH-1" {grams}  ; blamed
"""
)


def weigh(grams: str, says: str, fragrance: str = "") -> LoadedBooks:
    """Load books in which a bottle of 100 mL is weighed; its posting and its fragrance say something."""
    return load(fragrance, WEIGHED.format(grams=grams, says=says))


def words(books: LoadedBooks) -> str:
    """Return the narration of the one entry a stocktake made."""
    [entry] = [entry for entry in books.transactions if str(entry.narration).startswith("Stocktake")]
    return str(entry.narration)


def line_of(books: LoadedBooks, text: str) -> int:
    [number] = [number for number, line in enumerate(books.text.splitlines(), start=1) if text in line]
    return number


# By volume.


def test_less_than_the_books_say_is_shrinkage_at_cost(books: LoadedBooks) -> None:
    """
    2020-01-01 open Expenses:CostOfGoods:Shrinkage USD
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-03-01 custom "stocktake" "CH-1" 91.5 CEDARHOUR
    """
    narration = "Stocktake of CH-1: 91.5 CEDARHOUR counted, 95 CEDARHOUR expected"
    assert books.lines(narration) == [
        'Assets:Stock:CedarHour -3.5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [stocktake]',
        "Expenses:CostOfGoods:Shrinkage 4.5360 USD [stocktake]",
    ]
    assert books.left() == {"CH-1": Decimal("91.5")}


def test_the_entry_is_of_the_day_before_and_points_at_the_directive(books: LoadedBooks) -> None:
    """
    2020-01-01 open Expenses:CostOfGoods:Shrinkage USD
    2026-03-01 custom "stocktake" "CH-1" 98 CEDARHOUR  ; here
    """
    entry = books.transaction("Stocktake of CH-1: 98 CEDARHOUR counted, 100 CEDARHOUR expected")
    here = line_of(books, "; here")
    assert str(entry.date) == "2026-02-28"
    assert entry.meta["lineno"] == here
    assert [posting.meta["lineno"] for posting in entry.postings] == [here, here]


def test_more_than_the_books_say_spreads_the_cost_that_is_left(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -20 CEDARHOUR @@ 48.00 USD
      Assets:Bank  48.00 USD
    2026-03-01 custom "stocktake" "CH-1" 81 CEDARHOUR
    2026-03-01 * "sale" ^order-2
      Income:Sales  -27 CEDARHOUR @@ 60.00 USD
      Assets:Bank  60.00 USD
    """
    assert books.lines("Stocktake of CH-1: 81 CEDARHOUR counted, 80 CEDARHOUR expected") == [
        'Assets:Stock:CedarHour -80 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [stocktake]',
        'Assets:Stock:CedarHour 81 CEDARHOUR {1.280 USD, 2026-01-05, "CH-1"} [stocktake]',
    ]
    assert books.left() == {"CH-1": 54}
    # 20 mL at 1.296, then a third of the 103.68 that were left.
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("25.92") + Decimal("34.56")
    assert books.stock_value() == Decimal("69.12")


def test_as_much_as_the_books_say_makes_no_entry(books: LoadedBooks) -> None:
    """
    2026-03-01 custom "stocktake" "CH-1" 100.0 CEDARHOUR
    """
    assert len(books.transactions) == 1


def test_it_means_the_start_of_its_day(books: LoadedBooks) -> None:
    """
    2020-01-01 open Expenses:CostOfGoods:Shrinkage USD
    2026-03-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-03-01 custom "stocktake" "CH-1" 99 CEDARHOUR
    """
    assert states(words(books), "99", "100")
    assert books.left() == {"CH-1": 94}


def test_the_last_drop_can_be_missing(books: LoadedBooks) -> None:
    """
    2020-01-01 open Expenses:CostOfGoods:Shrinkage USD
    2026-03-01 custom "stocktake" "CH-1" 0 CEDARHOUR
    """
    assert books.left() == {}
    assert books.balance("Expenses:CostOfGoods:Shrinkage") == Decimal("129.60")


def test_a_gift_may_hold_more_than_was_thought() -> None:
    books = load(
        """
        2026-01-05 * "gift"
          Assets:Stock:CedarHour  7.5 CEDARHOUR {{0.00 USD, "GIFT"}}
        2026-03-01 custom "stocktake" "GIFT" 8 CEDARHOUR
        """
    )
    assert books.messages == []
    assert books.left()["GIFT"] == 8


def test_two_counts_of_two_mornings_follow_each_other(books: LoadedBooks) -> None:
    """
    2020-01-01 open Expenses:CostOfGoods:Shrinkage USD
    2026-03-01 custom "stocktake" "CH-1" 96 CEDARHOUR
    2026-03-02 custom "stocktake" "CH-1" 99 CEDARHOUR
    """
    assert books.left() == {"CH-1": 99}
    assert abs(books.stock_value() - 96 * Decimal("1.296")) < Decimal("1E-18")


# Orders not yet poured.


def test_what_is_sold_and_not_yet_poured_is_still_in_the_bottle(books: LoadedBooks) -> None:
    """
    2020-01-01 open Expenses:CostOfGoods:Shrinkage USD
    2026-02-27 * "sale" ^order-1 #to-pour
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
        loss: 0.2
      Assets:Bank  12.00 USD
    2026-03-01 custom "stocktake" "CH-1" 99 CEDARHOUR
    """
    assert words(books) == (
        "Stocktake of CH-1: 99 CEDARHOUR counted, 100.0 CEDARHOUR expected (5.2 of it sold and not yet poured)"
    )
    assert books.left() == {"CH-1": Decimal("93.8")}


@pytest.mark.parametrize(("poured", "left"), [("2026-02-28", 99), ("2026-03-01", 94), ("2026-03-02", 94)])
def test_what_was_poured_on_the_day_or_later_was_there_in_the_morning(poured: str, left: int) -> None:
    books = load(
        f"""
        {SHRINKAGE.strip()}
        2026-02-27 * "sale" ^order-1
          poured: {poured}
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
        2026-03-01 custom "stocktake" "CH-1" 99 CEDARHOUR
        """
    )
    assert books.messages == []
    assert books.left() == {"CH-1": left}


def test_an_order_of_the_day_itself_is_not_counted_twice(books: LoadedBooks) -> None:
    """
    2026-03-01 * "sale" ^order-1 #to-pour
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-03-01 custom "stocktake" "CH-1" 100 CEDARHOUR
    """
    assert len(books.transactions) == 2
    assert books.left() == {"CH-1": 95}


def test_an_order_taken_back_before_it_was_poured_waits_no_longer(books: LoadedBooks) -> None:
    """
    2026-02-20 * "sale" ^order-1 #to-pour
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-02-21 * "sale" ^order-2 #to-pour
      Income:Sales  -3 CEDARHOUR @@ 8.00 USD
      Assets:Bank  8.00 USD
    2026-02-22 * "cancelled" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD
    2026-03-01 custom "stocktake" "CH-1" 100 CEDARHOUR
    """
    assert books.left() == {"CH-1": 97}
    assert not [entry for entry in books.transactions if str(entry.narration).startswith("Stocktake")]
    assert dated(reloaded(books).entries) == dated(books.entries)


def test_a_count_that_misses_more_than_is_left_is_refused() -> None:
    books = load(
        f"""
        2026-02-27 * "sale" ^order-1 #to-pour
          Income:Sales  -98 CEDARHOUR @@ 12.00 USD
          Assets:Bank  12.00 USD
        2026-03-01 custom "stocktake" "CH-1" 97 CEDARHOUR  {BLAMED}
        """
    )
    assert states(books.error(), "CH-1", "97 CEDARHOUR counted", "3 would be missing", "only 2 left")
    assert books.left() == {"CH-1": 2}


# What cannot be booked.


def test_more_than_nothing_is_refused(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "spilt"
      Expenses:Loss  100 CEDARHOUR
    2026-03-01 custom "stocktake" "CH-1" 4 CEDARHOUR  ; blamed
    """
    assert states(faulty.error(), "CH-1", "4 CEDARHOUR counted", "0 CEDARHOUR expected", "nothing left in it")
    assert faulty.left() == {}


def test_a_bottle_nobody_knows(faulty: LoadedBooks) -> None:
    """
    2026-03-01 custom "stocktake" "CH-9" 4 CEDARHOUR  ; blamed
    """
    assert faulty.error() == 'There is no bottle "CH-9".'


@pytest.mark.parametrize("day", ["2026-01-04", "2026-01-05"])
def test_a_bottle_that_has_not_come_in_that_morning(day: str) -> None:
    books = load(f'{day} custom "stocktake" "CH-1" 4 CEDARHOUR  {BLAMED}\n')
    assert books.error() == "CH-1 came in on 2026-01-05, which is too late for this."


def test_another_fragrance(faulty: LoadedBooks) -> None:
    """
    2026-03-01 custom "stocktake" "CH-1" 4 QUIETREED  ; blamed
    """
    assert faulty.error() == "CH-1 holds CEDARHOUR, not QUIETREED."


@pytest.mark.parametrize(
    "written",
    [
        '"stocktake"',
        '"stocktake" "CH-1"',
        '"stocktake" "CH-1" 41.5',
        '"stocktake" "CH-1" -1 CEDARHOUR',
        '"stocktake" 41.5 CEDARHOUR "CH-1"',
        '"weighing"',
        '"weighing" "CH-1" 0',
        '"weighing" "CH-1" 187.4 CEDARHOUR',
        '"weighing" 187.4 "CH-1"',
    ],
)
def test_what_is_written_wrong_is_shown_right(written: str) -> None:
    books = load(f"2026-03-01 custom {written}  {BLAMED}\n")
    assert f"expected: 2026-03-01 custom {written.split(maxsplit=1)[0]} " in books.error()
    assert books.left() == {"CH-1": 100}


@pytest.mark.parametrize("other", ['"stocktake" "CH-1" 91 CEDARHOUR', '"weighing" "CH-1" 80'])
def test_a_bottle_measured_twice_in_one_morning(other: str) -> None:
    books = load(
        f"""
        2026-03-01 custom "stocktake" "CH-1" 90 CEDARHOUR
        2026-03-01 custom {other}  {BLAMED}
        """
    )
    assert books.error() == "CH-1 is measured more than once on 2026-03-01, so none of it is booked. Keep one."
    assert books.left() == {"CH-1": 100}


def test_the_account_it_needs_is_one_error_that_cures_it() -> None:
    written = f'2026-03-01 custom "stocktake" "CH-1" 90 CEDARHOUR  {BLAMED}\n'
    message = load(written).error()
    assert message.startswith("Expenses:CostOfGoods:Shrinkage is needed here and is not open. Add: ")
    assert load(f"{written}{message.partition('Add: ')[2]}\n").messages == []


# Padding.


def test_pad_on_a_stock_account_is_refused_and_fills_nothing(faulty: LoadedBooks) -> None:
    """
    2026-02-01 pad Assets:Stock:CedarHour Equity:Contributed  ; blamed
    2026-02-02 balance Assets:Stock:CedarHour 100 CEDARHOUR
    """
    assert states(faulty.error(), "Assets:Stock:CedarHour", '2026-02-01 custom "stocktake"')
    assert faulty.left() == {"CH-1": 100}


def test_after_a_pad_the_balance_speaks_for_itself(faulty: LoadedBooks) -> None:
    """
    2026-02-01 pad Assets:Stock:CedarHour Equity:Contributed
    2026-02-02 balance Assets:Stock:CedarHour 90 CEDARHOUR
    """
    pad, balance = faulty.messages
    assert "stocktake" in pad
    assert states(balance, "90 CEDARHOUR", "100 CEDARHOUR")
    assert faulty.left() == {"CH-1": 100}


def test_pad_on_another_account_is_beancounts(books: LoadedBooks) -> None:
    """
    2026-02-01 pad Assets:Marketplace:Lantern Assets:Bank
    2026-02-02 balance Assets:Marketplace:Lantern 20.00 USD
    """
    assert books.balance("Assets:Marketplace:Lantern") == 20


# By weight.


def test_by_the_weight_of_the_empty_bottle_and_the_density_of_this_one() -> None:
    books = weigh("164.0", "tare: 120.0\n    density: 0.88", "2020-01-01 commodity CEDARHOUR\n  density: 0.84\n")
    assert books.messages == []
    assert words(books) == (
        "Stocktake of CH-1: 164.0 g with tare 120.0 g at 0.88 g/mL are 50.00 CEDARHOUR, 100 CEDARHOUR expected"
    )
    assert books.left() == {"CH-1": 50}


def test_by_the_weight_of_the_sealed_bottle_and_the_density_of_the_fragrance() -> None:
    books = weigh("256.4", "full: 298.4", "2020-01-01 commodity CEDARHOUR\n  density: 0.84\n")
    assert books.messages == []
    assert words(books) == (
        "Stocktake of CH-1: 256.4 g with full weight 298.4 g at 0.84 g/mL are 50.00 CEDARHOUR, "
        "100 CEDARHOUR expected"
    )


def test_the_empty_bottle_says_more_than_the_full_one() -> None:
    books = weigh("163", "tare: 120\n    full: 999\n    density: 0.86")
    assert books.left() == {"CH-1": 50}


@pytest.mark.parametrize(
    ("says", "grams", "found", "least", "most"),
    [("tare: 120.0", "154.0", "40.00", "37.78", "42.50"), ("full: 200.0", "149.0", "40.00", "36.25", "43.33")],
)
def test_an_assumed_density_is_said_with_what_it_might_mean(
    says: str, grams: str, found: str, least: str, most: str,
) -> None:
    books = weigh(grams, says)
    assert books.messages == []
    assert f"at 0.85 g/mL are {found} CEDARHOUR" in words(books)
    assert f"(density assumed; 0.80 to 0.90 g/mL would give {least} to {most})" in words(books)


#: Density of ethanol and water at 20 °C by % vol, from the formula of OIML R 22, and what 30 g then are in mL.
OIML_R22 = {
    100: ("0.78924", "38.01"),
    96: ("0.80742", "37.16"),
    95: ("0.81138", "36.97"),
    90: ("0.82918", "36.18"),
    85: ("0.84485", "35.51"),
    80: ("0.85927", "34.91"),
    75: ("0.87279", "34.37"),
    70: ("0.88556", "33.88"),
    0: ("0.99820", "30.05"),
}


@pytest.mark.parametrize(("density", "millilitres"), OIML_R22.values(), ids=map(str, OIML_R22))
def test_millilitres_of_spirit_by_published_densities(density: str, millilitres: str) -> None:
    books = weigh("150.0", f"tare: 120.0\n    density: {density}")
    assert books.messages == []
    assert books.left() == {"CH-1": Decimal(millilitres)}


def test_the_density_of_spirit_overstates_perfume() -> None:
    [spirit, perfume] = [
        weigh("154.0", f"tare: 120.0\n    density: {density}").left()["CH-1"] for density in ("0.79", "0.85")
    ]
    assert (spirit / perfume - 1).quantize(Decimal("0.001")) == Decimal("0.076")


def test_a_weight_with_nothing_to_compare_it_with() -> None:
    books = weigh("154.0", 'batch: "04321"')
    assert states(books.error(), "CH-1", "tare:", "full:", "154.0 g")
    assert books.left() == {"CH-1": 100}


@pytest.mark.parametrize(("says", "grams"), [("tare: 120.0", "119.9"), ("full: 200.0", "114.9")])
def test_a_weight_below_that_of_the_empty_bottle(says: str, grams: str) -> None:
    books = weigh(grams, says)
    assert states(books.error(), f"{grams} g", "CH-1", says.split()[1])


# Printed and loaded again.


def reloaded(books: LoadedBooks) -> LoadedBooks:
    """Return the books as they load after Beancount printed them."""
    output = io.StringIO()
    printer.print_entries(books.entries, file=output)
    options = "\n".join(line for line in books.text.splitlines() if line.startswith("option"))
    again = LoadedBooks(f"{PLUGIN}\n{options}\n{output.getvalue()}")
    assert again.messages == []
    return again


def test_printed_counts_load_as_the_same_books(books: LoadedBooks) -> None:
    """
    2020-01-01 open Expenses:CostOfGoods:Shrinkage USD
    2026-02-28 * "sale" ^order-1 #to-pour
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    2026-03-01 custom "stocktake" "CH-1" 107 CEDARHOUR
    2026-03-02 custom "stocktake" "CH-1" 91 CEDARHOUR
    2026-03-02 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD
    2026-03-03 custom "stocktake" "CH-1" 92 CEDARHOUR
    2026-03-04 custom "stocktake" "CH-1" 90.5 CEDARHOUR
    """
    assert books.left() == {"CH-1": Decimal("90.5")}
    again = reloaded(books)
    assert dated(again.entries) == dated(books.entries)
    assert dated(reloaded(again).entries) == dated(books.entries)


def test_printed_weights_load_as_the_same_books() -> None:
    books = weigh("154.0", "tare: 120.0")
    assert dated(reloaded(books).entries) == dated(books.entries)


def test_what_was_found_bears_its_part_of_a_late_cost() -> None:
    found = """
    2026-01-06 * "bottle" ^purchase-1
      Assets:Stock:QuietReed  100 QUIETREED {{120.00 USD, "QR-1"}}
      Assets:Bank  -120.00 USD
    2026-02-01 * "sale" ^order-1
      Income:Sales  -40 QUIETREED @@ 90.00 USD
      Assets:Bank  90.00 USD
    2026-03-01 custom "stocktake" "QR-1" 66 QUIETREED
    2026-03-02 * "duty" ^purchase-1
      Assets:Stock:Inbound  10.60 USD
      Assets:Bank  -10.60 USD
    """
    books = load(found)
    for each in (books, reloaded(books)):
        # 0.10 for each of 106 mL: 4.00 for the 40 that are gone.
        assert abs(each.balance("Expenses:CostOfGoods:Fragrance") - 52) < Decimal("1E-18")
        assert abs(each.stock_value() - Decimal("129.60") - Decimal("78.60")) < Decimal("1E-18")


def test_what_was_found_can_leave_and_come_back() -> None:
    found = """
    2026-03-01 custom "stocktake" "CH-1" 110 CEDARHOUR
    2026-03-02 * "all of it" ^order-1
      Income:Sales  -110 CEDARHOUR @@ 200.00 USD
      Assets:Bank  200.00 USD
    2026-03-03 * "back" ^order-1
      Income:Refunds  110 CEDARHOUR @@ 200.00 USD
      Assets:Bank  -200.00 USD
    """
    books = load(found)
    for each in (books, reloaded(books)):
        assert each.messages == []
        assert each.left() == {"CH-1": 110}
