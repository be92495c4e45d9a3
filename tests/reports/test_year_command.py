"""`millilot year` on the command line: other years, forms, traces and thresholds."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal
from pathlib import Path

import pytest

from millilot.reports.tables import WIDTH, display_width
from millilot.reports.year import Year

from .test_commands import run
from .test_forms import OWN


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


UK = ("--from", "2025-04-06", "--form", "uk-sa103s")

SHOWN = (
    ("year", "2026", "--form", "us-schedule-c"),
    ("year", "2026", "--form", "us-hobby"),
    ("year", "2026", "--form", "ca-t2125"),
    ("year", "2026", "--form", "plain"),
    ("year", *UK),
    ("year", *UK, "--choose", "method=traditional"),
    ("year", "2026", "--form", "us-hobby", "--form", "us-schedule-c"),
    ("year", "2026", "--form", "us-hobby", "--form", "us-schedule-c", "--form", "plain"),
    ("year", "2026", "--thresholds"),
    ("year", "2026", "--trace", "cost_of_goods_sold"),
    ("year", "2026", "--trace", "36", "--form", "us-schedule-c"),
    ("year", "--from", "2026-04-06", "--to", "2027-04-05"),
)


@pytest.mark.parametrize("command", SHOWN, ids=" ".join)
def test_what_is_shown_fits_the_terminal(command: tuple[str, ...]) -> None:
    result = run(*command)
    assert result.exit_code == 0, result.stderr
    assert max(map(display_width, result.stdout.splitlines())) <= WIDTH


@pytest.mark.parametrize("command", [command for command in SHOWN if "--trace" not in command], ids=" ".join)
def test_what_is_shown_carries_a_caution(command: tuple[str, ...]) -> None:
    assert "not tax advice" in run(*command).stdout


def test_the_keys_of_a_year_are_its_lines_and_what_stands_beside_them() -> None:
    year = json.loads(run("year", "2026", "--format", "json").stdout)
    assert list(year) == [*Year.__dataclass_fields__, "contributed_bottles", "cut_off", "notes"]
    [waiting] = year["cut_off"]
    assert (waiting["paid"], waiting["poured"], waiting["amount"]) == ("2026-12-20", "2027-01-11", "45.00")
    [note] = year["notes"]
    assert note.startswith("The books begin on 2026-01-05, so this is part of a year")


def test_another_year_than_the_calendars() -> None:
    year = json.loads(run("year", "--from", "2026-04-06", "--to", "2027-04-05", "--format", "json").stdout)
    assert (year["opening_stock"], year["business_profit"]) == ("250.72", "-22.04")
    assert json.loads(run("year", "2026", "--from", "2026-04-06", "--format", "json").stdout) == year
    assert run("year", "2026", "--from", "2026-04-06").stdout.startswith("2026-04-06 to 2027-04-05")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("2025",), "The books begin on 2026-01-05, after this year."),
        (("2028",), "The last entry of the books is of 2027-01-11; there is nothing in this year."),
        (("2027",), "The last entry of the books is of 2027-01-11; the year is not closed."),
        (("2026", "--to", "2026-06-30"), "2026-01-01 to 2026-06-30 is not a whole year but 181 days."),
        (("2026", "--to", "2025-06-30"), "On 2025-06-30 the year has not begun."),
        (("9999",), "there is nothing in this year."),
        (("--from", "9999-12-31"), "9999-12-31"),
        (("--from", "2024-02-29"), "2024-02-29 to 2025-02-28"),
    ],
)
def test_a_year_the_books_do_not_wholly_hold_says_so(arguments: tuple[str, ...], words: str) -> None:
    result = run("year", *arguments)
    assert result.exit_code == 0
    assert words in result.stdout


def test_a_whole_and_closed_year_needs_no_note() -> None:
    year = json.loads(run("year", "2026", "--format", "json", books=WHOLE).stdout)
    assert year["notes"] == []


WHOLE = """
2025-12-31 * "bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{129.60 USD, "CH-1"}}
  Assets:Bank
2027-01-01 * "spilt"
  Expenses:Loss  1 CEDARHOUR
"""


def test_empty_books_have_no_year() -> None:
    assert "There is nothing in the books." in run("year", "2026", books="").stdout


def test_amounts_left_out_are_told() -> None:
    books = WHOLE + """
2026-03-01 open Expenses:Selling:Other
2026-03-02 * "an app"
  Expenses:Selling:Other  3.00 EUR
  Equity:Owner  -3.00 EUR
2020-01-01 open Equity:Owner
"""
    assert "Amounts left out, as they are not in USD: 1." in run("year", "2026", books=books).stdout


def test_a_trace_adds_up_to_its_line() -> None:
    trace = json.loads(run("year", "2026", "--trace", "closing_stock", "--format", "json").stdout)
    assert (trace["amount"], Decimal(trace["sum"])) == ("250.72", Decimal("250.720"))
    assert sum(Decimal(each["amount"]) for each in trace["entries"]) == Decimal(trace["sum"])
    assert [each["detail"] for each in trace["entries"]] == [
        "CH-1, 70 mL left", "QR-1, 40 mL left", "CH-0, 40 mL left", "CH-2, 20 mL left",
    ]
    assert all("main.beancount:" in each["place"] for each in trace["entries"])
    printed = run("year", "2026", "--trace", "closing_stock", "--format", "csv").stdout
    assert list(csv.DictReader(io.StringIO(printed))) == trace["entries"]


def test_a_printed_trace_says_its_sum() -> None:
    lines = run("year", "2026", "--trace", "losses").stdout.splitlines()
    assert lines[0] == "2026: losses"
    assert lines[-1] == "Unrounded 3.888, in the report 3.89."


def test_a_form_as_json() -> None:
    arguments = ("year", "2026", "--form", "us-hobby", "--choose", "vials=out")
    form = json.loads(run(*arguments, "--format", "json").stdout)
    assert (form["form"], form["year"], form["currency"]) == ("us-hobby", 2025, "USD")
    [line] = [line for line in form["lines"] if line["number"] == "8j"]
    assert (line["amount"], line["mark"], bool(line["source"])) == ("57.84", "?", True)
    assert form["choices"][0] == {
        "choice": "vials", "option": "out", "words": "vials and labels used are not taken off",
    }
    assert [other["amount"] for other in form["alternatives"]] == ["57.24", "53.95"]
    assert "form of 2025" in form["warnings"][0]


def test_a_form_as_csv_says_the_same() -> None:
    arguments = ("year", "2026", "--form", "us-schedule-c", "--format")
    form = json.loads(run(*arguments, "json").stdout)
    rows = list(csv.DictReader(io.StringIO(run(*arguments, "csv").stdout)))
    assert [(row["number"], row["amount"], row["mark"]) for row in rows] == [
        (line["number"], line["amount"], line["mark"]) for line in form["lines"]
    ]


def test_forms_side_by_side_show_both_results_and_take_each_its_choices() -> None:
    arguments = ("year", "2026", "--form", "us-hobby", "--form", "us-schedule-c", "--choose", "vials=out")
    output = run(*arguments).stdout
    assert ["Result", "57.84", "31.26"] in [line.split() for line in output.splitlines()]
    assert [form["form"] for form in json.loads(run(*arguments, "--format", "json").stdout)] == [
        "us-hobby", "us-schedule-c",
    ]


def test_the_choice_taken_is_printed_with_what_the_other_would_give() -> None:
    output = " ".join(run("year", "2026", "--form", "us-schedule-c", "--choose", "losses=stock").stdout.split())
    assert "losses=stock: losses stay in cost of goods and are no expense. With losses=apart" in output
    assert "line 42 would be 41.76, line 31 would be 31.26" in output


def test_an_owners_form_lies_beside_the_books() -> None:
    Path("forms").mkdir()
    Path("forms/mine.toml").write_text(OWN, encoding="utf-8")
    output = run("year", "2026", "--form", "us-hobby").stdout
    assert output.startswith("Mine, form of 2026, for 2026\n")


def test_thresholds_as_json_and_csv_say_the_same() -> None:
    rows = json.loads(run("year", "2026", "--thresholds", "--format", "json").stdout)
    [channel] = [row for row in rows if row["channel"]]
    assert (channel["amount"], channel["left"], channel["reached"]) == ("63.00", "19937.00", False)
    printed = list(csv.DictReader(io.StringIO(run("year", "2026", "--thresholds", "--format", "csv").stdout)))
    assert printed == [
        {name: "" if value is None else str(value) for name, value in row.items()} for row in rows
    ]


@pytest.mark.parametrize(
    ("arguments", "status", "expected"),
    [
        (("2026", "--form", "uk-sa103s"), 1, "Ask for --from 2025-04-06 --to 2026-04-05"),
        (("2026", "--form", "us-1040"), 1, "There is no form 'us-1040'. The forms are ca-t2125, plain, "),
        (("2026", "--trace", "profits"), 1, "There is no line 'profits'."),
        (("2026", "--form", "us-hobby", "--choose", "wax=in"), 1, "its choices: vials, losses"),
        (("2026", "--form", "us-hobby", "--form", "plain", "--choose", "wax=in"), 1, "its choices: vials, losses"),
        (("2026", "--form", "us-hobby", "--choose", "vials"), 2, "expected one like losses=stock"),
        (("2026", "--choose", "vials=out"), 2, "name the form with --form"),
        (("2026", "--from", "2024-04-06"), 2, "2024-04-06 to 2025-04-05 is not the year 2026"),
        (("--from", "2026-04-06", "--to", "2026-04-05"), 2, "--to 2026-04-05 is before --from 2026-04-06"),
        (("--from", "April"), 2, "expected one like 2026-12-31"),
    ],
)
def test_a_slip_ends_in_a_message(arguments: tuple[str, ...], status: int, expected: str) -> None:
    result = run("year", *arguments)
    assert (result.exit_code, result.stdout) == (status, "")
    assert expected in " ".join(result.stderr.split())


def test_a_form_that_cannot_be_read_ends_in_a_message() -> None:
    Path("forms").mkdir()
    Path("forms/mine.toml").write_text("name =", encoding="utf-8")
    result = run("year", "2026", "--form", "us-hobby")
    assert result.exit_code == 1
    assert "mine.toml: not a TOML file" in result.stderr


def test_what_an_owners_form_says_cannot_steer_the_terminal() -> None:
    Path("forms").mkdir()
    for text in ('"Mine"', '"In"', '"my notes"'):
        hostile = OWN.replace(text, r'"\u001b[2J"')
        assert hostile != OWN
        Path("forms/mine.toml").write_text(hostile, encoding="utf-8")
        result = run("year", "2026", "--form", "us-hobby")
        assert "\x1b" not in result.output


def test_lines_that_only_forms_ask_for_are_traced_too() -> None:
    assert run("year", "2026", "--trace", "packing_paid").stdout.endswith("Unrounded 1.70, in the report 1.70.\n")
    unknown = run("year", "2026", "--trace", "personal_use_at_market").stdout
    assert unknown.endswith("Unrounded 0, in the report not known.\n")
