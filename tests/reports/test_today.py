"""What is to be done this week."""

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
from millilot.reports.command import main
from millilot.reports.tables import WIDTH, display_width
from millilot.reports.today import Task, today

from .books import HEAD, SHELF, load, read

if TYPE_CHECKING:
    from click.testing import Result

    from millilot.ledger.records import Books

DAY = datetime.date(2026, 3, 1)
TAXED = HEAD + "2020-01-01 open Liabilities:SalesTax USD\n"


def day(text: str) -> datetime.date:
    return datetime.date.fromisoformat(text)


def tasks(text: str, on: datetime.date = DAY, late_after: int = 3) -> dict[str, Task]:
    return {task.key: task for task in today(read(SHELF + text, TAXED), on, late_after)}


def read_anyway(text: str) -> Books:
    """Read books in which something is wrong."""
    entries, errors, options = load(SHELF + text, TAXED)
    assert errors
    return read_books(entries, options)


def figures(task: Task) -> tuple[int, Decimal | None, str | None, datetime.date | None]:
    return task.count, task.amount, task.unit, task.oldest


def waiting(number: int, date: str, ml: str, account: str = "CEDARHOUR") -> str:
    return (
        f'{date} * "Lantern" "sale {number}" ^order-lantern-{number} #to-pour\n'
        f"  Income:Sales  -{ml} {account} @@ 12.00 USD\n  Assets:Marketplace:Lantern\n"
    )


def test_books_without_anything_to_do() -> None:
    assert today(read("", TAXED), DAY) == []
    assert tasks("") == {}


def test_orders_wait_and_are_late_beyond_some_days() -> None:
    text = waiting(2, "2026-02-26", "2") + waiting(1, "2026-02-25", "5")
    text += waiting(3, "2026-03-01", "1", "QUIETREED")
    both = """
2026-02-27 * "Lantern" "two fragrances" ^order-lantern-4 #to-pour
  Income:Sales  -1 CEDARHOUR @@ 12.00 USD
  Income:Sales  -1 QUIETREED @@ 12.00 USD
  Assets:Marketplace:Lantern
"""
    got = tasks(text + both)
    # 5 + 2 + 1 + 1 + 1 mL in four orders; on 1 March, 25 February is 4 days ago and 26 February 3.
    assert figures(got["to-pour"]) == (4, 10, "mL", day("2026-02-25"))
    assert got["to-pour"].names == ("lantern-1", "lantern-2", "lantern-4", "lantern-3")
    assert figures(got["late"]) == (1, 5, "mL", day("2026-02-25"))
    assert (got["late"].names, got["late"].what) == (("lantern-1",), "Late, over 3 days")
    assert figures(tasks(text, late_after=2)["late"]) == (2, 7, "mL", day("2026-02-25"))
    assert "late" not in tasks(text, late_after=4)


def test_an_order_that_no_bottle_can_serve_yet_waits_too() -> None:
    got = tasks("""
2026-02-01 * "Lantern" "Mystery" ^order-lantern-1 #to-pour
  Income:Unsorted  -9.00 USD
  Assets:Marketplace:Lantern
""")
    assert figures(got["to-pour"]) == (1, 0, "mL", day("2026-02-01"))
    assert figures(got["unsorted"]) == (1, 9, "USD", day("2026-02-01"))
    assert (got["unsorted"].names, got["unsorted"].command) == (("lantern-1",), "millilot sort")


def test_what_is_unsorted_in_another_currency_is_no_amount_of_the_operating_one() -> None:
    head = TAXED.replace("Income:Unsorted USD", "Income:Unsorted") + "2020-01-01 open Assets:Abroad EUR\n"
    books = read(SHELF + """
2026-02-01 * "Lantern" "Two mysteries" ^order-lantern-1
  Income:Unsorted  -9.00 USD
  Income:Unsorted  -7.00 EUR
  Assets:Marketplace:Lantern  9.00 USD
  Assets:Abroad  7.00 EUR

2026-01-31 * "Lantern" "A third one" ^order-lantern-2
  Income:Unsorted  -5.00 EUR
  Assets:Abroad  5.00 EUR
""", head)
    [got] = [task for task in today(books, DAY) if task.key == "unsorted"]
    # Three rows, the oldest wholly in EUR; only the 9.00 are in USD.
    assert figures(got) == (3, Decimal("9.00"), "USD", day("2026-01-31"))
    assert got.names[0] == "lantern-2"


def test_a_bottle_that_was_measured_runs_short() -> None:
    # Of 100 mL, 90 are worn and 10 wait. 8 were counted; not 2 of them can be missing, and the books say so.
    poured = '2026-02-01 * "own use"\n  Equity:PersonalUse  90 CEDARHOUR\n'
    text = poured + waiting(1, "2026-02-20", "5") + waiting(2, "2026-02-21", "5")
    assert "short" not in tasks(text)
    counted = text + '2026-02-22 custom "stocktake" "CH-1" 8 CEDARHOUR\n'
    [got] = [task for task in today(read_anyway(counted), DAY) if task.key == "short"]
    assert figures(got) == (1, 2, "mL", day("2026-02-21"))
    assert (got.names, got.command) == (("CH-1",), "millilot pour")


PAID = """
2026-01-10 * "Lantern" "sale" ^order-1 ^payout-lantern-P1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Marketplace:Lantern
2026-02-01 * "Payout" ^payout-lantern-P1
  Assets:Marketplace:Lantern  -12.00 USD
  Assets:Marketplace:Lantern:Transit
"""


def test_a_payout_is_late_when_the_bank_should_have_it() -> None:
    # Seven days are usual.
    assert "payouts" not in tasks(PAID, day("2026-02-08"))
    got = tasks(PAID, day("2026-02-09"))["payouts"]
    assert figures(got) == (1, 12, "USD", day("2026-02-01"))
    assert (got.names, got.command) == (("lantern-P1",), "millilot payouts")
    arrived = """
2026-02-10 * "Bank" ^payout-lantern-P1
  Assets:Marketplace:Lantern:Transit  -{} USD
  Assets:Bank
"""
    assert "payouts" not in tasks(PAID + arrived.format("12.00"))
    assert figures(tasks(PAID + arrived.format("11.50"))["payouts"])[:2] == (1, Decimal("0.50"))


SUPPLIES = """
2026-01-01 custom "kit" "5 mL" 1 VIAL5
2026-01-02 * "vials"
  Assets:Stock:Supplies  {} VIAL5 {{{{10.00 USD, "V"}}}}
  Assets:Bank
"""


@pytest.mark.parametrize(("bought", "is_due"), [(4, True), (5, False)])
def test_a_supply_is_to_be_ordered_30_days_before_it_runs_out(bought: int, *, is_due: bool) -> None:
    sales = "".join(
        f'2026-01-{date} * "sale"\n  Income:Sales  -5 CEDARHOUR @@ 12.00 USD\n  Assets:Bank\n'
        for date in ("07", "08", "09")
    )
    got = tasks(SUPPLIES.format(bought) + sales, day("2026-03-07"))
    # 3 in the 60 days from 7 January: the one left of 4 lasts for 20 days, the two left of 5 for 40.
    assert ("supplies" in got) is is_due
    if is_due:
        assert figures(got["supplies"]) == (1, None, None, day("2026-03-27"))
        assert got["supplies"].names == ("Vial of 5 mL",)


def test_a_supply_that_ran_out_long_ago_is_not_asked_for_again() -> None:
    sale = '2026-01-07 * "sale"\n  Income:Sales  -5 CEDARHOUR @@ 12.00 USD\n  Assets:Bank\n'
    text = SUPPLIES.format(1) + sale
    assert "supplies" in tasks(text)
    assert "supplies" not in tasks(text, day("2027-01-07"))


def test_money_for_claims_is_owed_until_the_pour() -> None:
    text = """
2026-02-01 custom "claim" "CH-1" 10 CEDARHOUR 20.00 USD
  split: "split-1"
2026-02-02 * "Claim paid" ^split-1 ^order-anna-1
  Assets:Bank          20.00 USD
  Liabilities:Claims  -20.00 USD
"""
    poured = """
2026-02-20 * "Poured" ^split-1 ^order-anna-1
  Liabilities:Claims  20.00 USD
  Income:Sales  -10 CEDARHOUR @@ 20.00 USD
"""
    got = tasks(text)["claims"]
    assert figures(got) == (1, 20, "USD", day("2026-02-02"))
    assert (got.names, got.command) == (("split-1",), "millilot splits")
    assert "claims" not in tasks(text + poured)
    later = """
2026-02-01 custom "claim" "CH-1" 15 CEDARHOUR 30.00 USD
  split: "split-1"
2026-02-09 * "Another paid" ^split-1 ^order-ben-1
  Assets:Bank          30.00 USD
  Liabilities:Claims  -30.00 USD
"""
    assert figures(tasks(text + later)["claims"]) == (1, 50, "USD", day("2026-02-02"))
    # What was paid first is poured, so what is held since the 9th is the oldest.
    assert figures(tasks(text + later + poured)["claims"]) == (1, 30, "USD", day("2026-02-09"))


def taxed(date: str, tax: str) -> str:
    return f'{date} * "tax"\n  Assets:Bank  {tax} USD\n  Liabilities:SalesTax\n'


def test_what_is_remitted_of_sales_tax_settles_the_oldest() -> None:
    text = taxed("2026-01-10", "1.00") + taxed("2026-01-20", "2.00") + taxed("2026-02-10", "3.00")
    got = tasks(text)["sales-tax"]
    assert figures(got) == (3, 6, "USD", day("2026-01-10"))
    assert (got.names, got.command) == (("Liabilities:SalesTax",), None)
    # 1.00 + 1.50 of the second are paid: 0.50 of it and the third are left.
    assert figures(tasks(text + taxed("2026-02-20", "-2.50"))["sales-tax"]) == (
        2, Decimal("3.50"), "USD", day("2026-01-20"),
    )
    assert "sales-tax" not in tasks(text + taxed("2026-02-20", "-6.00"))
    # What was remitted too much stands against what is collected next.
    more = taxed("2026-01-05", "-4.00") + text
    assert figures(tasks(more)["sales-tax"]) == (1, 2, "USD", day("2026-02-10"))
    assert "sales-tax" not in tasks(taxed("2026-01-05", "-9.00") + text)


def test_tax_that_a_channel_collects_and_remits_is_nobodys_debt() -> None:
    assert "sales-tax" not in tasks("""
2026-01-10 * "pair"
  Assets:Marketplace:Lantern  2.00 USD
  Liabilities:SalesTax       -2.00 USD
  Liabilities:SalesTax        2.00 USD
  Assets:Marketplace:Lantern
""")


# -- the command


EVIL = '=cmd("x")\x1b[31m' + "a long name " * 12
FULL = (
    waiting(1, "2026-02-01", "60")
    + "".join(waiting(number, "2026-02-20", "1") for number in range(2, 9))
    + '2026-02-22 custom "stocktake" "CH-1" 8 CEDARHOUR\n'
    + f'2026-02-01 * "{EVIL}" "{EVIL}"\n  Income:Unsorted  -9.00 USD\n  Assets:Marketplace:Lantern\n'.replace(
        '=cmd("x")', "=cmd(x)",
    )
    + PAID.replace("lantern-P1", "a-payout-with-a-rather-long-number-" * 4)
    + SUPPLIES.format(1)
    + '2026-02-07 * "sale"\n  Income:Sales  -5 QUIETREED @@ 12.00 USD\n  Assets:Bank\n'
    + '2026-02-01 * "Claim paid"\n  Assets:Bank  9999999.99 USD\n  Liabilities:Claims\n'
    + taxed("2026-01-10", "1.00")
)


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str, books: str = FULL) -> Result:
    Path("main.beancount").write_text(TAXED + SHELF + books, encoding="utf-8")
    return CliRunner().invoke(main, ["today", *arguments])


def test_all_of_it_fits_one_screen() -> None:
    lines = run("--on", "2026-03-01").stdout.splitlines()
    assert [task.key for task in today(read_anyway(FULL), DAY)] == [
        "to-pour", "late", "short", "unsorted", "payouts", "supplies", "claims", "sales-tax",
    ]
    assert len(lines) < 24
    assert max(map(display_width, lines)) <= WIDTH
    assert all(line.isprintable() for line in lines)
    assert any(line.startswith("Orders to pour: lantern-1, lantern-2, lantern-3 and 5 more") for line in lines)


def test_json_has_a_key_for_each_line_and_csv_says_the_same() -> None:
    objects = json.loads(run("--on", "2026-03-01", "--format", "json").stdout)
    rows = list(csv.DictReader(io.StringIO(run("--on", "2026-03-01", "--format", "csv").stdout, newline="")))
    assert [each["key"] for each in objects] == [row["key"] for row in rows]
    assert [each["amount"] or "" for each in objects] == [row["amount"] for row in rows]
    assert objects[0]["names"][:2] == ["lantern-1", "lantern-2"]
    assert objects[-1] == {
        "key": "sales-tax", "what": "Sales tax to remit", "count": 1, "amount": "1.00", "unit": "USD",
        "oldest": "2026-01-10", "command": None, "names": ["Liabilities:SalesTax"],
    }


def test_the_day_and_the_patience_are_the_owners() -> None:
    books = waiting(1, "2026-02-25", "5")
    assert run("--on", "2026-02-24", books=books).stdout == "2026-02-24: nothing to do.\n"
    assert "Late" not in run("--on", "2026-03-01", "--late", "4", books=books).stdout
    assert "Late, over 1 day " in run("--on", "2026-03-01", "--late", "1", books=books).stdout
    assert run("--on", "tomorrow").exit_code == 2


def test_nothing_to_do_is_an_empty_list() -> None:
    assert json.loads(run("--on", "2026-02-24", "--format", "json", books="").stdout) == []
    # Without a day, it is today's.
    assert run(books="").stdout.endswith(": nothing to do.\n")
