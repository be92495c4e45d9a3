"""What waits to be poured, and whether bottles and vials will do."""

from __future__ import annotations

import csv
import datetime
import io
import json
from decimal import Decimal
from pathlib import Path

import pytest
from beancount import loader
from click.testing import CliRunner

from millilot.ledger.reading import read_books
from millilot.reports.command import main
from millilot.reports.pour import ToPour, to_pour
from millilot.reports.tables import WIDTH, display_width

from .books import HEAD, SHELF, load, read

DAY = datetime.date(2026, 3, 1)

KITS = """
2026-01-02 * "vials"
  Assets:Stock:Supplies  4 VIAL5 {{4.00 USD}}
  Assets:Bank
2026-01-01 custom "kit" "5 mL" 1 VIAL5
2026-01-01 custom "pour-loss" 0.1
"""


def order(number: int, day: str, line: str = "-5 CEDARHOUR @@ 12.00 USD", *, tag: str = "#to-pour") -> str:
    meta = "".join(f"\n    {each}" for each in line.split("\n")[1:])
    return f"""
{day} * "Order {number}" ^order-lantern-{number} {tag}
  Income:Sales  {line.splitlines()[0]}{meta}
  Assets:Bank
"""


def waiting(text: str, day: datetime.date = DAY, head: str = SHELF) -> ToPour:
    return to_pour(read(head + text), day)


def rows(found: ToPour) -> list[tuple[str | None, str, Decimal, Decimal, int]]:
    return [
        (pour.order and pour.order.rpartition("-")[2], pour.bottle, pour.ml, pour.loss, pour.days)
        for bottle in found.bottles
        for pour in bottle.pours
    ]


def test_orders_are_grouped_by_bottle_and_the_oldest_is_first() -> None:
    found = waiting(
        KITS
        + order(3, "2026-02-10")
        + order(2, "2026-02-20", "-10 QUIETREED @@ 30.00 USD\nvials: 2")
        + order(1, "2026-02-03", "-5 QUIETREED @@ 15.00 USD")
        + order(4, "2026-02-01", "-3 CEDARHOUR @@ 9.00 USD", tag=""),
    )
    five = Decimal(5)
    tenth = Decimal("0.1")
    assert rows(found) == [
        # From the 3rd of February to the 1st of March are 26 days.
        ("1", "QR-1", five, tenth, 26),
        ("2", "QR-1", Decimal(10), 2 * tenth, 9),
        ("3", "CH-1", five, tenth, 19),
    ]
    reed, cedar = found.bottles
    # 50 mL; nothing of it was poured yet. 100 less the 3.1 of order 4.
    assert (reed.ml, reed.held, reed.after) == (Decimal("15.3"), Decimal(50), Decimal("34.7"))
    assert (cedar.ml, cedar.held, cedar.after) == (Decimal("5.1"), Decimal("96.9"), Decimal("91.8"))


def test_what_a_day_counts_from_is_the_day_it_was_ordered() -> None:
    text = order(1, "2026-02-20").replace("#to-pour", "#to-pour\n  ordered: 2026-02-18")
    [pour] = waiting(text).bottles[0].pours
    assert (pour.ordered, pour.days) == (datetime.date(2026, 2, 18), 11)


def test_what_is_dated_ahead_has_not_waited_yet() -> None:
    sorted_, unsorted = order(1, "2026-03-05"), order(2, "2026-03-06", "-9.00 USD")
    found = waiting(sorted_ + unsorted.replace("Sales", "Unsorted"))
    assert [pour.days for pour in found.bottles[0].pours] == [0]
    assert [stuck.days for stuck in found.stuck] == [0]


def test_a_line_from_two_bottles_shows_in_both() -> None:
    second = """
2026-01-08 * "bottle"
  Assets:Stock:CedarHour  30 CEDARHOUR {{30.00 USD, "CH-2"}}
  Assets:Bank
"""
    found = waiting(second + order(1, "2026-02-01", "-97 CEDARHOUR @@ 9.00 USD", tag="") + order(2, "2026-02-02"))
    assert [(name, ml) for _, name, ml, _, _ in rows(found)] == [("CH-1", Decimal(3)), ("CH-2", Decimal(2))]
    assert [pour.vials[0].number for bottle in found.bottles for pour in bottle.pours] == [1, 1]


def test_several_transactions_of_an_order_are_one_line() -> None:
    found = waiting(order(1, "2026-02-01") + order(1, "2026-02-05", "-10 CEDARHOUR @@ 20.00 USD"))
    assert rows(found) == [("1", "CH-1", Decimal(15), 0, 28)]


def test_samples_that_go_with_an_order_are_poured_too() -> None:
    text = """
2026-02-01 * "Order" ^order-1 #to-pour
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Expenses:Samples  1 QUIETREED
  Assets:Bank  12.00 USD
"""
    assert [(name, ml) for _, name, ml, _, _ in rows(waiting(text))] == [("CH-1", 5), ("QR-1", 1)]


def test_goods_that_came_back_are_not_poured() -> None:
    back = """
2026-02-05 * "Changed their mind" ^order-lantern-1
  Income:Refunds  5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  -12.00 USD
"""
    both = order(1, "2026-02-01") + order(2, "2026-02-02", "-10 CEDARHOUR @@ 24.00 USD\nvials: 2")
    found = waiting(KITS + both + back + back.replace("lantern-1", "lantern-2"))
    # One vial of two is left of order 2, and so is its loss.
    assert rows(found) == [("2", "CH-1", Decimal(5), Decimal("0.1"), 27)]
    assert [stuck.order for stuck in found.called_off] == ["order-lantern-1"]
    # The loss of what came back is in the books and not in a bin.
    assert found.bottles[0].held == 100


@pytest.mark.parametrize("refund", ["#cancelled\n  Income:Refunds  5.00", "\n  Income:Refunds  12.00"])
def test_an_order_called_off_or_refunded_whole_is_not_poured(refund: str) -> None:
    text = f"""
2026-02-05 * "Refund" ^order-lantern-1 {refund} USD
  Assets:Bank
"""
    found = waiting(order(1, "2026-02-01") + order(2, "2026-02-02") + text)
    assert rows(found) == [("2", "CH-1", Decimal(5), 0, 27)]
    assert [(stuck.order, stuck.why) for stuck in found.called_off] == [("order-lantern-1", "called off")]
    # Its 5 mL have not left the bottle.
    assert found.bottles[0].held == 100


def test_an_order_whose_goods_all_came_back_is_called_off_whatever_was_refunded() -> None:
    text = """
2026-02-05 * "Back, for most of the money" ^order-lantern-1
  Income:Refunds  5 CEDARHOUR @@ 10.00 USD
  Assets:Bank
"""
    found = waiting(order(1, "2026-02-01") + text)
    assert (found.bottles, [stuck.why for stuck in found.called_off]) == ((), ["called off"])


def test_an_order_without_goods_is_not_passed_over() -> None:
    text = """
2026-02-05 * "Empty bottle" ^order-lantern-1 #to-pour
  Income:Sales  -15.00 USD
    bottle: "CH-1"
  Assets:Bank
"""
    assert [stuck.why for stuck in waiting(text).stuck] == ["no goods"]


@pytest.mark.parametrize(("day", "waits"), [("2026-02-09", True), ("2026-02-10", False)])
def test_what_was_poured_later_waited_on_the_day(day: str, waits: bool) -> None:
    text = order(1, "2026-02-01", tag="\n  poured: 2026-02-10")
    found = waiting(text, datetime.date.fromisoformat(day))
    assert [bottle.held for bottle in found.bottles] == ([100] if waits else [])


def test_an_order_refunded_in_part_is_poured() -> None:
    text = '\n2026-02-05 * "Late" ^order-lantern-1\n  Income:Refunds  3.00 USD\n  Assets:Bank\n'
    assert len(rows(waiting(order(1, "2026-02-01") + text))) == 1


def test_what_is_not_sorted_waits_too() -> None:
    text = """
2026-02-01 ! "Mystery" ^order-lantern-9 #to-pour
  Income:Unsorted  -9.00 USD
  Assets:Bank
"""
    [stuck] = waiting(text).stuck
    assert (stuck.order, stuck.why, stuck.days) == ("order-lantern-9", "not sorted", 28)


def test_what_no_bottle_could_give_waits_too() -> None:
    entries, errors, options = load(SHELF + order(1, "2026-02-01", "-500 CEDARHOUR @@ 900.00 USD"))
    assert len(errors) == 1
    [stuck] = to_pour(read_books(entries, options), DAY).stuck
    assert (stuck.order, stuck.why) == ("order-lantern-1", "no bottle")


def test_supplies_the_kits_have_taken_are_still_there() -> None:
    found = waiting(KITS + order(1, "2026-02-01") + order(2, "2026-02-02", tag=""))
    [vial] = found.supplies
    # Four bought, one gone with order 2; one of the three is set aside for order 1.
    assert (vial.supply, vial.needed, vial.held, vial.short) == ("Vial of 5 mL", 1, 3, 0)


def test_a_sample_takes_no_kit() -> None:
    text = """
2026-02-01 * "Order" ^order-1 #to-pour
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Expenses:Samples  5 QUIETREED
    vials: 1
  Assets:Bank  12.00 USD
"""
    [vial] = waiting(KITS + text).supplies
    # Four bought, one set aside for what was sold.
    assert (vial.needed, vial.held) == (1, 4)


def test_supplies_that_ran_out_are_short_until_more_are_bought() -> None:
    orders = KITS + "".join(order(number, f"2026-02-0{number}") for number in range(1, 7))
    entries, errors, options = load(SHELF + orders)
    assert len(errors) == 2
    [vial] = to_pour(read_books(entries, options), DAY).supplies
    assert (vial.needed, vial.held, vial.short) == (6, 4, 2)
    more = '\n2026-02-20 * "vials"\n  Assets:Stock:Supplies  9 VIAL5 {{9.00 USD}}\n  Assets:Bank\n'
    entries, _, options = load(SHELF + orders + more)
    [vial] = to_pour(read_books(entries, options), DAY).supplies
    assert (vial.needed, vial.held, vial.short) == (6, 13, 0)


MEASURED = order(1, "2026-02-01") + order(2, "2026-02-02") + order(3, "2026-02-03", tag="")


def test_a_measurement_that_the_books_accept_agrees_with_them() -> None:
    # 100 less the 5 of order 3 are 95 in the bottle; 94 were counted, one is missing.
    found = waiting(MEASURED + '\n2026-02-10 custom "stocktake" "CH-1" 94 CEDARHOUR\n')
    [bottle] = found.bottles
    assert (bottle.held, bottle.ml, bottle.after) == (94, 10, 84)
    assert (bottle.measured_ml, bottle.measured_on) == (94, datetime.date(2026, 2, 10))


def test_what_was_poured_since_the_measurement_has_left() -> None:
    later = order(4, "2026-02-11", tag="") + order(5, "2026-02-09", tag="\n  poured: 2026-02-10")
    found = waiting(MEASURED + later + '\n2026-02-10 custom "stocktake" "CH-1" 94 CEDARHOUR\n')
    # Both 4 and 5 went after the morning of the 10th.
    assert found.bottles[0].held == 84


def test_what_the_books_date_after_the_measurement_goes_after_it() -> None:
    # The 5 mL of order 4 leave the books on the 11th, whenever they were poured: 94 less 5.
    later = order(4, "2026-02-11", tag="\n  poured: 2026-02-09")
    found = waiting(MEASURED + later + '\n2026-02-10 custom "stocktake" "CH-1" 94 CEDARHOUR\n')
    assert found.bottles[0].held == 89


def test_a_bottle_measured_too_low_runs_short_before_the_last_order() -> None:
    text = SHELF + MEASURED + '\n2026-02-10 custom "stocktake" "CH-1" 8 CEDARHOUR\n'
    # Of 100, 85 are sold as well: 5 are left in the books, 10 wait, and 8 were found: not booked, 7 would miss.
    text += order(4, "2026-02-04", "-80 CEDARHOUR @@ 99.00 USD", tag="")
    entries, errors, options = load(text)
    assert len(errors) == 1
    [bottle] = to_pour(read_books(entries, options), DAY).bottles
    assert (bottle.held, bottle.after) == (8, -2)
    assert [pour.short for pour in bottle.pours] == [False, True]


# The command.


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str, books: str) -> str:
    Path("main.beancount").write_text(HEAD + SHELF + KITS + books, encoding="utf-8")
    result = CliRunner().invoke(main, ["pour", "--to", "2026-03-01", *arguments], catch_exceptions=False)
    assert result.exit_code == 0
    return result.stdout


HOSTILE = order(1, "2026-02-01").replace("Order 1", "=1+1 <script>alert('x')</script> \x1b[2J")
SEVERAL = HOSTILE + order(2, "2026-02-02", "-10 QUIETREED @@ 24.00 USD\nvials: 2")


def test_the_table_fits_the_terminal() -> None:
    long = order(3, "2026-02-03").replace("lantern-3", "lantern-" + "1234567890" * 6)
    assert max(map(display_width, run(books=SEVERAL + long).splitlines())) <= WIDTH
    assert "1234567890" * 6 in run("--wide", books=SEVERAL + long)
    shown = run(books=SEVERAL)
    assert "QR-1    lantern-2" in shown
    assert "2 x 5 mL" in shown


def test_nothing_to_pour() -> None:
    assert run(books="") == "Nothing waits to be poured from a bottle.\n"
    assert "Nothing waits" in run("--format", "html", books="")
    assert json.loads(run("--format", "json", books=""))["bottles"] == []


def test_csv_and_json_say_the_same() -> None:
    found = json.loads(run("--format", "json", books=SEVERAL))
    listed = list(csv.DictReader(io.StringIO(run("--format", "csv", books=SEVERAL), newline="")))
    pours = [pour for bottle in found["bottles"] for pour in bottle["pours"]]
    assert [(row["order"], row["ml"], row["loss"], row["days"]) for row in listed] == [
        (pour["order"], pour["ml"], pour["loss"], str(pour["days"])) for pour in pours
    ]
    assert [row["vials"] for row in listed] == ["1 x 5 mL", "2 x 5 mL"]
    assert listed[0]["what"].startswith("'=1+1")


def test_the_page_escapes_what_the_books_say() -> None:
    page = run("--format", "html", books=SEVERAL)
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "\x1b" not in page
    assert page.count('class="tick"') == 3
    assert "size: letter" in page


def test_an_order_without_a_link_is_called_by_its_place() -> None:
    shown = run(books=order(1, "2026-02-01").replace("^order-lantern-1", ""))
    lines = Path("main.beancount").read_text(encoding="utf-8").splitlines()
    [line] = [number for number, text in enumerate(lines, 1) if "Order 1" in text]
    assert f"main.beancount:{line}" in shown


def test_a_bottle_that_runs_short_is_said_with_how_it_is_known() -> None:
    text = MEASURED + order(4, "2026-02-04", "-80 CEDARHOUR @@ 99.00 USD", tag="")
    shown = run(books=text + '\n2026-02-10 custom "stocktake" "CH-1" 8 CEDARHOUR\n')
    # Two pours of 5.1.
    assert (
        "CH-1 runs short at lantern-2: 10.2 mL to pour, and by the 8 mL measured on 2026-02-10 and what was "
        "poured since 8 mL are in it."
    ) in shown


def test_empty_books() -> None:
    entries, _, options = loader.load_string(HEAD)
    assert to_pour(read_books(entries, options)) == ToPour((), (), (), ())
