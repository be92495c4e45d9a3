"""What is left, what of it is free, what will run out, and the sheet to count it on."""

from __future__ import annotations

import csv
import datetime
import io
import json
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from millilot.ledger.reading import read_books
from millilot.reports.bottles import bottles, rounded
from millilot.reports.command import main
from millilot.reports.count import count_sheet
from millilot.reports.stock import Stock, stock
from millilot.reports.tables import WIDTH, display_width
from millilot.reports.year import year

from .books import HEAD, SHELF, load, read

if TYPE_CHECKING:
    from millilot.ledger.records import Books

#: What the owner means to keep, what is known of the glass, and what was sold and used.
BUSY = """
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{129.60 USD, "CH-1"}}
    keep: 30
    tare: 120.0
    density: 0.84
    batch: "0417"
  Assets:Bank
2026-01-06 * "bottle"
  Assets:Stock:QuietReed  50 QUIETREED {{100.00 USD, "QR-1"}}
    estimated: TRUE
  Assets:Bank
2026-01-07 * "vials"
  Assets:Stock:Supplies  100 VIAL5 {{10.00 USD, "V-1"}}
  Assets:Bank
2026-02-01 * "Lantern" "sale" ^order-1
  Income:Sales  -5 QUIETREED @@ 20.00 USD
  Assets:Marketplace:Lantern
2026-03-01 * "kept"
  Equity:PersonalUse  10 CEDARHOUR
2026-03-02 custom "stocktake" "CH-1" 88.5 CEDARHOUR
2026-06-01 * "Lantern" "to pour" ^order-2 #to-pour
  Income:Sales  -20 CEDARHOUR @@ 60.00 USD
  Expenses:CostOfGoods:Supplies  4 VIAL5
  Assets:Marketplace:Lantern
2026-06-10 custom "weighing" "CH-1" 191.82
2026-06-30 * "packing"
  Expenses:CostOfGoods:Supplies  2 VIAL5
"""


def by_name(books: Books, to: str | None = None) -> dict[str | None, Stock]:
    """Return the lines of the report by bottle or supply."""
    day = datetime.date.fromisoformat(to) if to else None
    return {line.bottle or line.supply: line for line in stock(books, day)}


def busy(to: str | None = None) -> dict[str | None, Stock]:
    """Return the lines of the busy books at the end of a day."""
    entries, errors, options = load(BUSY)
    assert errors == []
    return by_name(read_books(entries, options, datetime.date.fromisoformat(to) if to else None), to)


def test_what_is_left_measured_reserved_and_free() -> None:
    line = busy()["CH-1"]
    # The weight says 85.5 mL, the 20 mL still to be poured among them.
    assert (line.ml_left, line.measured_ml) == (Decimal("65.5"), Decimal("85.5"))
    assert str(line.measured_on) == "2026-06-10"
    # Of the 30 to keep, 10 were taken; what is to be poured has left the books and is not reserved again.
    assert (line.reserved, line.free) == (20, Decimal("45.5"))
    # What is still to be poured was not poured when it was sold.
    assert (str(line.last_poured), line.days_since) == ("2026-03-01", 121)


def test_what_was_poured_later_was_poured_on_that_day() -> None:
    text = BUSY.replace('"to pour" ^order-2 #to-pour\n', '"poured" ^order-2\n  poured: 2026-06-03\n')
    entries, errors, options = load(text)
    assert errors == []
    for to, last in (("2026-06-30", "2026-06-03"), ("2026-06-02", "2026-03-01")):
        books = read_books(entries, options, datetime.date.fromisoformat(to))
        assert str(by_name(books, to)["CH-1"].last_poured) == last


def test_a_measurement_after_the_day_of_the_report_is_not_known_yet() -> None:
    assert busy("2026-06-09")["CH-1"].measured_ml == Decimal("88.5")
    assert busy("2026-03-01")["CH-1"].measured_ml is None


def test_no_more_is_reserved_than_is_left(books: Books) -> None:
    """
    2026-02-01 * "bottle"
      Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "CH-2"}}
        keep: 8
      Assets:Bank
    2026-02-02 * "spilt"
      Expenses:Loss  7 CEDARHOUR
        bottle: "CH-2"
    """
    line = by_name(books)["CH-2"]
    assert (line.reserved, line.free) == (3, 0)


CLAIMED = SHELF + """
2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
2026-02-01 custom "claim" "CH-1" 10 CEDARHOUR 15.00 USD
2026-02-03 * "paid" ^order-7
  Assets:Bank  45.00 USD
  Liabilities:Claims
2026-02-09 * "poured" ^order-7
  Income:Sales  -30 CEDARHOUR @@ 45.00 USD
  Liabilities:Claims  45.00 USD
"""


def test_claims_that_are_open_are_reserved() -> None:
    books = read(CLAIMED)
    line = by_name(books)["CH-1"]
    assert (line.ml_left, line.reserved, line.free) == (70, 10, 60)


def test_a_tenth_left_is_low(books: Books) -> None:
    """
    2026-02-01 * "most of it"
      Equity:PersonalUse  90 CEDARHOUR
      Equity:PersonalUse  44.9 QUIETREED
    """
    lines = by_name(books)
    assert (lines["CH-1"].low, lines["QR-1"].low) == (True, False)


@pytest.mark.parametrize(("to", "slow"), [("2026-07-31", False), ("2026-08-01", True)])
def test_a_bottle_not_poured_for_half_a_year_is_slow(to: str, slow: bool) -> None:
    line = busy(to)["QR-1"]
    assert str(line.last_poured) == "2026-02-01"
    assert line.slow is slow


def test_a_bottle_never_poured_is_as_slow_as_its_purchase_is_old(books: Books) -> None:
    """
    2026-02-01 * "spilt"
      Expenses:Loss  1 CEDARHOUR
    """
    line = by_name(books, "2026-07-05")["CH-1"]
    assert (line.last_poured, line.days_since, line.slow) == (None, 181, True)


def test_an_empty_bottle_is_not_slow(books: Books) -> None:
    """
    2026-02-01 * "all of it"
      Equity:PersonalUse  100 CEDARHOUR
    """
    assert not by_name(books, "2027-02-01")["CH-1"].slow


def test_an_estimated_cost_is_marked() -> None:
    lines = busy()
    assert (lines["CH-1"].estimated, lines["QR-1"].estimated) == (False, True)


def test_the_pace_of_a_supply_and_the_day_it_runs_out() -> None:
    line = busy()["Vial of 5 mL"]
    # 6 in the 30 days from the first use on: 0.2 a day, and 94 are left.
    assert (line.left, line.used_per_month) == (94, Decimal("6.1"))
    assert line.runs_out_on == datetime.date(2026, 6, 30) + datetime.timedelta(days=470)
    assert (line.unit, line.stock_value, line.low) == ("each", Decimal("9.40"), False)


def test_use_is_measured_over_the_last_180_days() -> None:
    line = busy("2026-12-20")["Vial of 5 mL"]
    # Only the 2 of 30 June are among the last 180 days.
    assert line.used_per_month == Decimal("0.3")
    long_after = busy("2027-12-20")["Vial of 5 mL"]
    assert (long_after.used_per_month, long_after.runs_out_on) == (0, None)


def test_a_supply_never_used_has_no_pace() -> None:
    line = busy("2026-01-31")["Vial of 5 mL"]
    assert (line.left, line.used_per_month, line.runs_out_on) == (100, None, None)


def test_a_supply_is_low_by_the_last_pack_bought(books: Books) -> None:
    """
    2026-02-01 * "vials"
      Assets:Stock:Supplies  1000 VIAL5 {{90.00 USD}}
      Assets:Bank
    2026-02-02 * "vials"
      Assets:Stock:Supplies  100 VIAL5 {{10.00 USD}}
      Assets:Bank
    2026-02-03 * "packing"
      Expenses:CostOfGoods:Supplies  1089 VIAL5
    """
    [line] = [line for line in stock(books) if line.supply]
    assert (line.left, line.low) == (11, False)


def test_stock_is_worth_what_other_reports_say() -> None:
    books = read(BUSY)
    lines = stock(books)
    of_bottles = [line.stock_value for line in lines if line.unit == "mL"]
    assert of_bottles == list(rounded(bottles(books), "USD")["stock_value"])[:-1]
    whole_year = year(books, datetime.date(2026, 1, 1), datetime.date(2026, 12, 31)).rounded("USD")
    assert sum(of_bottles) == whole_year.closing_stock
    assert sum(line.stock_value for line in lines if line.unit == "each") == whole_year.supplies_on_hand_close


def test_empty_books_have_no_stock() -> None:
    assert not stock(read(""))


# The count sheet.


def test_the_bottle_longest_unmeasured_comes_first(books: Books) -> None:
    """
    2026-02-01 * "bottle"
      Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "CH-2"}}
        tare: 88.1
        batch: "0417"
      Assets:Bank
    2026-02-02 * "bottle"
      Assets:Stock:CedarHour  10 CEDARHOUR {{10.00 USD, "EMPTY"}}
      Assets:Bank
    2026-02-03 * "all of it"
      Equity:PersonalUse  10 CEDARHOUR
        bottle: "EMPTY"
    2026-03-01 custom "stocktake" "CH-1" 99 CEDARHOUR
    2026-03-02 custom "stocktake" "QR-1" 49 QUIETREED
    2026-03-05 custom "stocktake" "CH-1" 98.5 CEDARHOUR
    """
    sheet = count_sheet(books)
    assert [line.bottle for line in sheet] == ["CH-2", "QR-1", "CH-1"]
    assert (sheet[0].batch, sheet[0].tare) == ("0417", Decimal("88.1"))
    assert (sheet[0].last_ml, sheet[0].last_on) == (None, None)
    assert (sheet[2].last_ml, str(sheet[2].last_on)) == (Decimal("98.5"), "2026-03-05")


# On the command line.


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str) -> str:
    Path("main.beancount").write_text(HEAD + BUSY, encoding="utf-8")
    result = CliRunner().invoke(main, arguments, catch_exceptions=False)
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


@pytest.mark.parametrize("command", ["stock", "count"])
def test_a_table_fits_the_terminal(command: str) -> None:
    assert max(map(display_width, run(command).splitlines())) <= WIDTH


@pytest.mark.parametrize("command", ["stock", "count"])
def test_csv_and_json_say_the_same(command: str) -> None:
    objects = json.loads(run(command, "--format", "json"))
    rows = list(csv.DictReader(io.StringIO(run(command, "--format", "csv"), newline="")))
    assert objects
    assert rows == [{name: "" if cell is None else str(cell) for name, cell in each.items()} for each in objects]


def test_stock_as_json_is_bottles_then_supplies() -> None:
    objects = json.loads(run("stock", "--format", "json"))
    assert [(each["unit"], each["bottle"], each["supply"]) for each in objects] == [
        ("mL", "CH-1", None), ("mL", "QR-1", None), ("each", None, "Vial of 5 mL"),
    ]
    assert objects[0] | {"ml_left": "65.5", "free": "45.5", "stock_value": "84.89", "slow": False} == objects[0]


def test_what_is_tied_up_is_said() -> None:
    assert "Slow, not poured for more than 180 days: 1, with 90.00 tied up." in run("stock", "--to", "2026-08-01")


def test_wide_says_whose_cost_is_estimated() -> None:
    lines = run("stock", "--wide").splitlines()
    assert lines[0].split()[-1] == "estimated"
    assert [line.split()[0] for line in lines if line.endswith("yes")] == ["QR-1"]


def test_a_count_sheet_has_blanks_and_says_how_to_write_them() -> None:
    text = run("count")
    assert text.count("__________") == 2
    assert 'custom "stocktake"' in text
    assert 'custom "weighing"' in text
    # What the books expect would guide the eye.
    assert "65.5" not in text
