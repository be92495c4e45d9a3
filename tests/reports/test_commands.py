"""The command line."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from millilot.reports.bottles import COLUMNS
from millilot.reports.command import main
from millilot.reports.tables import WIDTH, display_width

from .books import HEAD
from .test_year import TEXTBOOK, TWO_YEARS

if TYPE_CHECKING:
    from click.testing import Result


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str, books: str = TWO_YEARS) -> Result:
    """Run a command on books that lie where they are looked for by default."""
    Path("main.beancount").write_text(HEAD + books, encoding="utf-8")
    return CliRunner().invoke(main, arguments)


REPORTS = (("bottles",), ("year", "2026"), ("collection",), ("splits",))


@pytest.mark.parametrize("command", REPORTS)
def test_a_table_fits_the_terminal(command: tuple[str, ...]) -> None:
    result = run(*command)
    assert result.exit_code == 0
    assert max(map(display_width, result.stdout.splitlines())) <= WIDTH


@pytest.mark.parametrize("command", REPORTS)
def test_csv_and_json_say_the_same(command: tuple[str, ...]) -> None:
    objects = json.loads(run(*command, "--format", "json").stdout)
    rows = list(csv.DictReader(io.StringIO(run(*command, "--format", "csv").stdout, newline="")))
    listed = objects if isinstance(objects, list) else [objects]
    assert rows == [
        # A list inside an object has no place in a row.
        {
            name: "" if value is None else str(value)
            for name, value in each.items()
            if not isinstance(value, list)
        }
        for each in listed
    ]


def test_the_bottles_table_answers_whether_a_bottle_has_paid_for_itself() -> None:
    lines = run("bottles").stdout.splitlines()
    assert lines[0].split("  ")[-1] == "Paid back on"
    assert "to go" in lines[2]
    assert [line.split()[0] for line in lines if line.startswith(("(", "Total"))] == ["(unallocated)", "Total"]


def test_wide_shows_every_column() -> None:
    assert tuple(run("bottles", "--wide").stdout.splitlines()[0].split()) == COLUMNS


def test_bottles_as_json_end_with_what_is_unallocated() -> None:
    rows = json.loads(run("bottles", "--format", "json").stdout)
    assert [row["bottle"] for row in rows] == ["CH-1", "QR-1", "CH-0", "CH-2", None]
    assert all(tuple(row) == COLUMNS for row in rows)
    assert rows[0]["ml_left"] == "80"


def test_the_textbook_year_on_the_command_line() -> None:
    year = json.loads(run("year", "2026", "--format", "json", books=TEXTBOOK).stdout)
    assert (year["cost_of_goods_sold"], year["closing_stock"], year["gross_profit"]) == (
        "511.00", "179.00", "269.00",
    )
    assert year["transactions"] == 4


def test_a_year_carries_a_caution() -> None:
    assert "not tax advice" in run("year", "2026").stdout


def test_a_report_shows_the_state_at_the_end_of_a_day() -> None:
    rows = json.loads(run("bottles", "--to", "2026-01-05", "--format", "json").stdout)
    assert [row["bottle"] for row in rows] == ["CH-1", None]
    year = json.loads(run("year", "2026", "--to", "2026-02-01", "--format", "json").stdout)
    assert (year["gross_receipts"], year["samples"]) == ("45.00", "0.00")


@pytest.mark.parametrize("command", REPORTS)
def test_before_the_first_entry_everything_is_empty_but_right(command: tuple[str, ...]) -> None:
    result = run(*command, "--to", "2020-01-01", "--format", "json")
    assert result.exit_code == 0
    objects = json.loads(result.stdout)
    [only] = objects if isinstance(objects, list) else [objects]
    # A year says in words that it is empty.
    figures = [value for name, value in only.items() if value is not None and name != "notes"]
    assert all(figure in ("0.00", "0", 0, []) for figure in figures)


def test_errors_in_the_books_are_shown_beside_the_report() -> None:
    result = run("collection", "--format", "json", books=TWO_YEARS + "\n2027-02-01 balance Assets:Bank 1 USD\n")
    assert result.exit_code == 0
    line = (HEAD + TWO_YEARS).count("\n") + 2
    assert f"main.beancount:{line}: Balance failed" in result.stderr
    assert json.loads(result.stdout)["put_in"] == "259.60"


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("bottles", "-b", "missing.beancount"), "missing.beancount"),
        (("bottles", "--to", "31.12.2026"), "expected one like 2026-12-31"),
        (("bottles", "--to", "2026-02-30"), "2026-02-30"),
        (("bottles", "--format", "xml"), "xml"),
        (("year", "last"), "last"),
        (("year", "0"), "0"),
        (("year",), "YEAR"),
    ],
)
def test_a_slip_on_the_command_line_ends_in_a_message(arguments: tuple[str, ...], expected: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert "Error:" in result.stderr
    assert expected in result.stderr


def test_books_that_are_no_text_end_in_a_message() -> None:
    Path("main.beancount").write_bytes(b"\xff\xfe\x00\x01")
    result = CliRunner().invoke(main, ["bottles"])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert "main.beancount" in result.stderr


def test_an_empty_file_is_no_mistake() -> None:
    Path("main.beancount").write_text("", encoding="utf-8")
    result = CliRunner().invoke(main, ["bottles"])
    assert result.exit_code == 0
    assert "Total" in result.stdout


def test_check_names_files_as_they_are_called_from_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    overdrawn = '2026-01-01 * "overdrawn"\n  Expenses:Loss  1 CEDARHOUR\n'
    line = HEAD.count("\n") + 2
    assert run("check", books=overdrawn).stdout.startswith(f"main.beancount:{line}: ")
    below = tmp_path / "below"
    below.mkdir()
    monkeypatch.chdir(below)
    elsewhere = CliRunner().invoke(main, ["check", "-b", "../main.beancount"])
    assert "main.beancount" in elsewhere.stdout.partition(f":{line}: ")[0]


def test_check_of_sound_books_is_one_line() -> None:
    result = run("check")
    assert (result.exit_code, result.stdout) == (0, "No problems and no remarks.\n")


def test_check_prints_remarks_and_succeeds() -> None:
    result = run("check", books="2026-01-01 open Assets:Stock:More\n")
    assert result.exit_code == 0
    assert f"main.beancount:{HEAD.count(chr(10)) + 1}: remark: " in result.stdout


def test_check_prints_problems_and_fails() -> None:
    result = run("check", books='2026-01-01 * "overdrawn"\n  Expenses:Loss  1 CEDARHOUR\n')
    assert result.exit_code == 1
    assert "main.beancount:" in result.stdout
    assert "remark" not in result.stdout


def test_what_the_books_say_cannot_steer_the_terminal() -> None:
    result = run("check", books='2026-01-01 * "x"\n  Expenses:Loss  1 CEDARHOUR\n    bottle: "\x1b[2J"\n')
    assert result.exit_code == 1
    assert "\x1b" not in result.stdout


def test_a_name_near_the_one_asked_for_cannot_steer_the_terminal() -> None:
    result = run("trace", "CH-17", books='2026-01-05 * "bottle"\n  Assets:Stock:CedarHour  1 CEDARHOUR '
                 '{{1.00 USD, "CH-1\x1b[2J"}}\n  Assets:Bank\n')
    assert "Near it: CH-1" in result.stderr
    assert "\x1b" not in result.stderr


@pytest.mark.parametrize("command", ["bottles", "collection", "count", "splits", "stock", "trace", "year"])
def test_the_help_of_a_report_says_what_becomes_of_errors(command: str) -> None:
    words = " ".join(CliRunner().invoke(main, [command, "--help"]).stdout.split())
    assert "Errors in the books are shown on the standard error stream" in words
    assert "The exit status is 0 all the same" in words
