"""Figures as text."""

from __future__ import annotations

import csv
import datetime
import io
import json
from decimal import Decimal

from millilot.reports.tables import WIDTH, Column, display_width, to_csv, to_json, to_table

ROW = {
    "bottle": "=1+1",
    "bought": datetime.date(2026, 1, 5),
    "net": Decimal("-12.50"),
    "ml_left": Decimal("41.5"),
    "payback": None,
    "transactions": 3,
}


def test_json_writes_figures_as_strings_and_nothing_as_null() -> None:
    expected = {
        "bottle": "=1+1",
        "bought": "2026-01-05",
        "net": "-12.50",
        "ml_left": "41.5",
        "payback": None,
        "transactions": 3,
    }
    assert json.loads(to_json(ROW)) == expected
    assert json.loads(to_json([ROW])) == [expected]


def test_json_never_writes_an_exponent() -> None:
    assert json.loads(to_json({"ml": Decimal("1E+2")})) == {"ml": "100"}


def test_csv_neutralises_formulas_in_texts_and_leaves_figures_alone() -> None:
    for start in "=+-@\t\r":
        [row] = csv.DictReader(io.StringIO(to_csv([{**ROW, "bottle": f"{start}x"}], list(ROW)), newline=""))
        assert row["bottle"] == f"'{start}x"
        assert row["net"] == "-12.50"
        assert row["payback"] == ""


def test_csv_quotes_what_holds_a_comma_a_quote_or_a_line_break() -> None:
    text = 'Cedar, "Hour"\nof dusk'
    [row] = csv.DictReader(io.StringIO(to_csv([{**ROW, "bottle": text}], list(ROW)), newline=""))
    assert row["bottle"] == text


def test_csv_keeps_no_control_characters_but_line_breaks_and_tabs() -> None:
    [row] = csv.DictReader(
        io.StringIO(to_csv([{**ROW, "bottle": "\x1b[2J\x00\x7f\x9ba\tb\r\nc\u200d"}], list(ROW)), newline=""),
    )
    assert row["bottle"] == "�[2J���a\tb\r\nc\u200d"


COLUMNS = (Column("Bottle", right=False, flexible=True), Column("Name", right=False, flexible=True), Column("Net"))


def test_a_table_cuts_long_texts_and_no_figure() -> None:
    table = to_table(COLUMNS, [["B" * 70, "N" * 70, Decimal("123456.78")]], ["Total", None, Decimal("123456.78")])
    lines = table.splitlines()
    assert max(map(len, lines)) == WIDTH
    assert lines[2].endswith("  123456.78")
    assert lines[2].count("…") == 2
    assert lines[-1].startswith("Total ")


def test_wide_characters_keep_the_columns_in_line() -> None:
    table = to_table(
        COLUMNS,
        [["香水香水", "e\u0301te\u0301", Decimal("1.00")], ["plain", "text", Decimal("1234.00")]],
    )
    assert len({display_width(line) for line in table.splitlines()}) == 1


def test_a_cut_never_splits_a_wide_character() -> None:
    table = to_table(COLUMNS, [["香" * 60, "x", Decimal("1.00")]])
    assert all(display_width(line) <= WIDTH for line in table.splitlines())
    assert "香…" in table


def test_control_characters_do_not_reach_the_terminal() -> None:
    table = to_table(COLUMNS, [["\x1b[2Jx", "a\nb", Decimal("1.00")]])
    assert "\x1b" not in table
    assert len(table.splitlines()) == 3


def test_all_columns_are_shown_whole_when_there_is_no_limit() -> None:
    table = to_table(COLUMNS, [["B" * 70, "N" * 70, Decimal("1.00")]], width=None)
    assert "B" * 70 in table
    assert "N" * 70 in table
