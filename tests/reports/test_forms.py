"""Year-end forms: what they ask for, filled from the books and worked out by hand."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given

from millilot.reports.filled import fill, trace_form
from millilot.reports.forms import FormError, PeriodError, find_form, read_forms
from millilot.reports.side_by_side import side_by_side
from millilot.reports.year import year

from .books import HEAD, SHELF, read
from .test_laws import EXACT, YEARS, histories, random_books
from .test_laws import read as read_history
from .test_year import TEXTBOOK, TWO_YEARS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from millilot.ledger.records import Books
    from millilot.reports.filled import FilledForm
    from millilot.reports.forms import Form

FIRST, LAST = datetime.date(2026, 1, 1), datetime.date(2026, 12, 31)
#: The books of two years up to the end of a UK year: all of the first but its last claim.
UK = datetime.date(2025, 4, 6), datetime.date(2026, 4, 5)
FORMS = read_forms()


def form(name: str, day: datetime.date = LAST) -> Form:
    return find_form(FORMS, name, day)


def filled(
    name: str, books: str, days: tuple[datetime.date, datetime.date] = (FIRST, LAST), **choices: str,
) -> dict[str, str | None]:
    """Return the amounts of a form by line, but for noughts."""
    return amounts(fill(form(name), read(books), *days, choices))


def amounts(of: FilledForm) -> dict[str, str | None]:
    return {
        line.line: None if line.amount is None else str(line.amount)
        for line in of.lines
        if line.amount is None or line.amount
    }


# Published figures.


def test_the_textbook_in_schedule_c() -> None:
    """Accounting Principles (Global Text, CC BY 3.0), ch. 7, Exhibit 49: first in, first out."""
    assert filled("us-schedule-c", TEXTBOOK) == {
        "1": "780.00", "3": "780.00", "4": "511.00", "5": "269.00", "7": "269.00", "31": "269.00",
        "35": "80.00", "36": "610.00", "40": "690.00", "41": "179.00", "42": "511.00",
    }


def test_the_textbook_as_a_hobby() -> None:
    """Accounting Principles (Global Text, CC BY 3.0), ch. 7, Exhibit 49: first in, first out."""
    assert filled("us-hobby", TEXTBOOK) == {
        "a": "780.00", "c": "780.00", "d": "80.00", "e": "610.00", "h": "179.00", "i": "511.00", "8j": "269.00",
    }


#: Accounting Principles (Global Text, CC BY 3.0), ch. 7, Exhibits 33, 35 and 38: transport and discounts.
#: Purchases of 167,000 less 3,000 of discounts and with 10,000 of transport make 174,000 mL cost 1.00 each.
HANLON = """
2025-12-31 * "on hand"
  Assets:Stock:CedarHour  24000 CEDARHOUR {{24000.00 USD}}
  Assets:Bank
2026-03-01 * "bought" ^purchase-1
  Assets:Stock:CedarHour  174000 CEDARHOUR {{167000.00 USD, "H"}}
  Assets:Stock:Inbound   -3000.00 USD
  Assets:Stock:Inbound   10000.00 USD
  Assets:Bank
2026-04-01 * "sent back"
  Assets:Stock:CedarHour  -8000 CEDARHOUR {1.00 USD, "H"}
  Assets:Bank  8000.00 USD
2026-06-01 * "sold" ^order-1
  Income:Sales  -159000 CEDARHOUR @@ 282000.00 USD
  Assets:Bank
2026-07-01 * "discounts" ^order-1
  Income:Refunds  5000.00 USD
  Assets:Bank
2026-08-01 * "allowances" ^order-1
  Income:Refunds  15000.00 USD
  Assets:Bank
"""


def test_a_landed_cost_year_in_schedule_c() -> None:
    """Accounting Principles (Global Text, CC BY 3.0), ch. 7, Exhibits 33, 35 and 38."""
    assert filled("us-schedule-c", HANLON) == {
        "1": "282000.00", "2": "20000.00", "3": "262000.00", "4": "159000.00", "5": "103000.00",
        "7": "103000.00", "31": "103000.00",
        "35": "24000.00", "36": "166000.00", "40": "190000.00", "41": "31000.00", "42": "159000.00",
    }


def test_a_landed_cost_year_as_a_hobby() -> None:
    """Accounting Principles (Global Text, CC BY 3.0), ch. 7, Exhibits 33, 35 and 38."""
    assert filled("us-hobby", HANLON) == {
        "a": "282000.00", "b": "20000.00", "c": "262000.00", "d": "24000.00", "e": "166000.00",
        "h": "31000.00", "i": "159000.00", "8j": "103000.00",
    }


def test_only_cost_of_goods_is_taken_off_a_hobbys_receipts() -> None:
    """A preparer's article, read second-hand: receipts 10,000, cost of goods 8,000, other costs 3,000."""
    books = """
        2026-01-05 * "bought"
          Assets:Stock:CedarHour  8000 CEDARHOUR {{8000.00 USD}}
          Assets:Bank
        2026-06-01 * "sold" ^order-1
          Income:Sales  -8000 CEDARHOUR @@ 10000.00 USD
          Assets:Bank
        2026-06-02 * "fees and postage"
          Expenses:Selling:Fees  2000.00 USD
          Expenses:Selling:Postage  1000.00 USD
          Assets:Bank
    """
    got = filled("us-hobby", books)
    assert (got["8j"], got["not-taken-off"]) == ("2000.00", "3000.00")


# By hand: see the same year in test_year.


def test_schedule_c_by_hand() -> None:
    assert filled("us-schedule-c", TWO_YEARS) == {
        "1": "93.00", "3": "93.00", "4": "41.76", "5": "51.24", "6": "6.00", "7": "57.24",
        "8": "2.00", "10": "4.50", "18": "5.50", "22": "2.00",
        "V-samples": "2.59", "V-losses": "3.89", "V-other": "5.50", "27": "11.98", "28": "25.98", "31": "31.26",
        "36": "283.68",  # 259.60 + 50 - 19.44 - 2.59 - 3.89
        "38": "0.60", "39": "8.20", "40": "292.48", "41": "250.72", "42": "41.76",
        "claims": "45.00",
    }


def test_losses_and_samples_are_in_cost_of_goods_or_in_part_v_and_never_in_both() -> None:
    apart = filled("us-schedule-c", TWO_YEARS)
    stock = filled("us-schedule-c", TWO_YEARS, losses="stock", samples="stock")
    assert (stock["36"], stock["42"], stock["27"]) == ("290.16", "48.24", "5.50")
    assert stock["31"] == apart["31"]


def test_the_cash_method_counts_claims_when_they_are_paid() -> None:
    got = filled("us-schedule-c", TWO_YEARS, basis="paid")
    assert (got["1"], got["31"]) == ("138.00", "76.26")


@pytest.mark.parametrize(
    ("choices", "income"),
    [
        ({}, "57.24"),
        ({"vials": "out"}, "57.84"),
        ({"losses": "stock"}, "53.35"),
        ({"vials": "out", "losses": "stock"}, "53.95"),
    ],
)
def test_a_hobby_with_and_without_vials_and_losses(choices: Mapping[str, str], income: str) -> None:
    assert filled("us-hobby", TWO_YEARS, **choices)["8j"] == income


def test_the_other_options_are_worked_out_beside_those_taken() -> None:
    got = fill(form("us-hobby"), read(TWO_YEARS), FIRST, LAST, {"vials": "out"})
    assert [(taken.choice, taken.option) for taken in got.taken] == [("vials", "out"), ("losses", "apart")]
    assert [(other.choice, other.option, other.compared) for other in got.alternatives] == [
        ("vials", "in", (("8j", Decimal("57.24")),)),
        ("losses", "stock", (("8j", Decimal("53.95")),)),
    ]


def test_the_uk_on_the_cash_basis() -> None:
    assert filled("uk-sa103s", TWO_YEARS, UK) == {
        "9": "93.00", "10": "6.00",
        "11": "277.16",  # bottles 259.60, vials 30.00, gloves 7.00, less own use at cost
        "18": "7.20",  # postage 5.50, wrapping 1.70
        "19": "12.00",  # fees 4.50, ads 2.00, cards 2.50, an app 3.00
        "20": "296.36", "22": "197.36", "own-use": "19.44",
    }


def test_on_the_cash_basis_own_use_of_a_bottle_owned_before_was_no_purchase() -> None:
    books = SHELF + """
2026-01-07 * "my own"
  Assets:Stock:CedarHour  10 CEDARHOUR {{8.00 USD, "CH-0"}}
  Equity:Contributed
2026-02-01 * "worn"
  Equity:PersonalUse  5 CEDARHOUR
    bottle: "CH-0"
2026-02-02 * "worn"
  Equity:PersonalUse  10 CEDARHOUR
    bottle: "CH-1"
"""
    before = Decimal(filled("uk-sa103s", SHELF, UK)["11"] or 0)
    got = filled("uk-sa103s", books, UK)
    # 10 mL of CH-1 at 1.296; the 4.00 of CH-0 never went in.
    assert Decimal(got["11"] or 0) == before - Decimal("12.96")
    assert got["own-use"] == "16.96"


VALUED = TWO_YEARS.replace(
    "  Equity:PersonalUse  15 CEDARHOUR\n", "  Equity:PersonalUse  15 CEDARHOUR\n    market-value: 30.00 USD\n",
)


def test_the_uk_with_stock_and_own_use_at_market_value() -> None:
    assert filled("uk-sa103s", VALUED, UK, method="traditional") == {
        "9": "93.00", "10": "6.00",
        "11": "67.68",  # 259.60 + 50.00 at market value + 0.60 + 8.20 - 250.72
        "18": "7.50", "19": "12.00", "20": "87.18", "21": "11.82", "27": "30.00", "28": "41.82",
        "own-use": "19.44",
    }


def test_own_use_without_a_market_value_leaves_its_box_open() -> None:
    got = filled("uk-sa103s", TWO_YEARS, UK, method="traditional")
    assert (got["27"], got["28"], got["21"]) == (None, None, "11.82")


def test_a_bottle_owned_before_without_a_market_value_leaves_its_box_open() -> None:
    books = TWO_YEARS.replace("    market-value: 50.00 USD\n", "")
    assert filled("uk-sa103s", books, UK, method="traditional")["11"] is None


def test_own_use_from_two_bottles_is_worth_what_was_written_once() -> None:
    books = SHELF + """
2026-01-08 * "another"
  Assets:Stock:CedarHour  10 CEDARHOUR {{5.00 USD, "CH-2"}}
  Assets:Bank
2026-02-01 * "worn and worn"
  Equity:PersonalUse  105 CEDARHOUR
    market-value: 200.00 USD
"""
    assert filled("uk-sa103s", books, UK, method="traditional")["27"] == "200.00"


def test_the_uk_allowance_is_not_above_the_turnover() -> None:
    got = filled("uk-sa103s", TWO_YEARS, UK, method="allowance")
    assert got == {
        "9": "93.00", "10": "6.00", "10.1": "93.00", "21": "99.00", "28": "6.00", "own-use": "19.44",
    }
    # The cash basis is the default, and a claim is turnover there when it is paid.
    claim = '2026-02-02 * "a claim"\n  Liabilities:Claims  -7.00 USD\n  Assets:Bank\n'
    got = filled("uk-sa103s", TWO_YEARS + claim, UK, method="allowance")
    assert (got["9"], got["10.1"]) == ("100.00", "100.00")
    rich = TWO_YEARS.replace("-10 CEDARHOUR @@ 40.00", "-10 CEDARHOUR @@ 1940.00").replace("  35.00 USD", "")
    got = filled("uk-sa103s", rich, UK, method="allowance")
    assert (got["9"], got["10.1"], got["28"]) == ("1993.00", "1000.00", "999.00")


def test_a_line_of_nothing_has_the_digits_of_the_currency() -> None:
    yen = TWO_YEARS.replace("USD", "JPY")
    for books, head, nothing in ((TWO_YEARS, HEAD, "0.00"), (yen, HEAD.replace("USD", "JPY"), "0")):
        got = fill(form("uk-sa103s", UK[1]), read(books, head), *UK, {"method": "allowance"})
        assert {line.number: str(line.amount) for line in got.lines}["11"] == nothing
        assert all("." not in str(line.amount) for line in got.lines) is (nothing == "0")


def test_canada_by_hand() -> None:
    assert filled("ca-t2125", TWO_YEARS) == {
        "3A": "93.00", "8000": "93.00", "8230": "6.00",
        "8320": "287.57",  # losses stay in
        "8450": "8.80", "8500": "250.72", "8518": "45.65", "8519": "47.35",
        "8521": "4.59", "8811": "2.00", "9275": "5.50", "9270": "10.00", "9368": "22.09", "9369": "31.26",
        "claims": "45.00",
    }


def test_the_plain_form_takes_any_days() -> None:
    assert filled("plain", TWO_YEARS, (FIRST, datetime.date(2027, 6, 30)))["16"] == "9.22"  # 31.26 - 22.04


# The year of a form.


def test_a_calendar_year_lies_in_two_uk_years() -> None:
    with pytest.raises(PeriodError, match="--from 2025-04-06 --to 2026-04-05, or for --from 2026-04-06"):
        fill(form("uk-sa103s"), read(SHELF), FIRST, LAST)


def test_a_year_from_april_lies_in_two_us_years() -> None:
    with pytest.raises(PeriodError, match="A year of us-hobby runs from 1 January to 31 December"):
        fill(form("us-hobby"), read(SHELF), *UK)


def test_a_form_of_another_year_says_so() -> None:
    [warning] = fill(form("us-hobby"), read(SHELF), FIRST, LAST).warnings
    assert "no us-hobby for 2026; this is the form of 2025" in warning
    days = datetime.date(2025, 1, 1), datetime.date(2025, 12, 31)
    assert fill(form("us-hobby"), read(SHELF), *days).warnings == ()


def test_the_uk_year_is_called_by_its_last_day() -> None:
    days = datetime.date(2023, 4, 6), datetime.date(2024, 4, 5)
    warnings = fill(form("uk-sa103s", days[1]), read(SHELF), *days).warnings
    assert warnings == ("The form is in GBP, and the books are kept in USD.",)


# What the files say.


@pytest.mark.parametrize("each", FORMS, ids=lambda each: each.name)
def test_every_line_has_a_source_and_is_checked_or_marked(each: Form) -> None:
    got = fill(each, read(SHELF), *(UK if each.begins == (4, 6) else (FIRST, LAST)))
    assert all(line.source and line.caption for line in got.lines)
    assert all((line.mark == "?") is (line.checked is None) for line in got.lines)
    assert each.year is not None or each.name == "plain"


def test_what_was_read_on_a_page_about_the_form_is_marked() -> None:
    marks = {line.line: line.mark for line in fill(form("us-schedule-c"), read(SHELF), FIRST, LAST).lines}
    assert {marks[line] for line in ("35", "36", "38", "39", "40", "41", "42")} == {""}
    assert {marks[line] for line in ("1", "2", "3", "5", "10", "18", "27", "31")} == {"?"}


OWN = """
name = "us-hobby"
title = "Mine"
year = 2026
result = "2"
source = "my notes"

[choices.fees]
default = "off"
off = "fees are taken off"
on = "they are not"

[[lines]]
line = "1"
caption = "In"
sum = ["net_receipts"]

[[lines]]
line = "2"
caption = "Kept"
lines = ["1"]
also = [{ choice = "fees", option = "off", sum = ["-fees"] }]
"""


def own(tmp_path: Path, text: str) -> Form:
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    return find_form(read_forms(tmp_path), "us-hobby", LAST)


def test_an_owners_form_is_read_beside_those_shipped(tmp_path: Path) -> None:
    got = fill(own(tmp_path, OWN), read(TWO_YEARS), FIRST, LAST)
    assert got.warnings == ()
    assert amounts(got) == {"1": "93.00", "2": "88.50"}
    assert {line.mark for line in got.lines} == {"?"}
    # Another year than the owner's is still the shipped one's.
    assert find_form(read_forms(tmp_path), "us-hobby", datetime.date(2025, 6, 1)).title != "Mine"


def test_a_folder_without_forms_is_no_mistake(tmp_path: Path) -> None:
    assert len(read_forms(tmp_path / "forms")) == len(FORMS)


@pytest.mark.parametrize(
    ("instead_of", "written", "expected"),
    [
        ('name = "us-hobby"', "", "the key name is missing"),
        ("year = 2026", 'year = "2026"', "year: expected a year, found '2026'"),
        ('result = "2"', 'result = "3"', 'there is no line "3"'),
        ('"net_receipts"', '"nett_receipts"', 'there is no line "nett_receipts" to take'),
        ('lines = ["1"]', 'lines = ["9"]', 'there is no line "9" to take; there are 1, 2'),
        ('lines = ["1"]', 'lines = ["2"]', "made of each other: 2, 2"),
        ('line = "2"', 'line = "1"', 'there is a line "1" already'),
        ('default = "off"', 'default = "of"', 'expected one of off, on, found "of"'),
        ('option = "off"', 'option = "of"', 'expected off or on, found "of"'),
        ('choice = "fees"', 'choice = "fee"', 'there is no choice "fee"'),
        ("year = 2026", 'year = 2026\nbegins = "02-29"', 'a month and a day such as "04-06", found "02-29"'),
        ("year = 2026", "year = 2026\nchecked = true", "found true"),
        ("year = 2026", "year = 2026\ncheked = false", "the key cheked is not known"),
        ('caption = "In"', 'caption = "In"\nat-most = "much"', 'an amount such as "1000.00", found "much"'),
        ("year = 2026", "year =", "not a TOML file"),
    ],
)
def test_a_slip_in_a_form_names_the_file(tmp_path: Path, instead_of: str, written: str, expected: str) -> None:
    assert instead_of in OWN
    with pytest.raises(FormError) as error:
        own(tmp_path, OWN.replace(instead_of, written, 1))
    assert str(error.value).startswith(str(tmp_path / "own.toml"))
    assert expected in str(error.value)


def test_an_unknown_form_is_answered_with_those_there_are() -> None:
    with pytest.raises(FormError, match=r"'us-schedule-d'.* us-hobby, us-schedule-c"):
        form("us-schedule-d")


@pytest.mark.parametrize("choices", [{"wax": "in"}, {"vials": "maybe"}])
def test_an_unknown_choice_is_answered_with_those_there_are(choices: dict[str, str]) -> None:
    with pytest.raises(FormError, match="vials"):
        fill(form("us-hobby"), read(SHELF), FIRST, LAST, choices)


# Side by side and traced.


def test_hobby_and_business_side_by_side() -> None:
    books = read(TWO_YEARS)
    both = [fill(form(name), books, FIRST, LAST) for name in ("us-hobby", "us-schedule-c")]
    beside = {each.line: (each.amount, each.places) for each in side_by_side(books, both)}
    assert beside["gross_receipts"] == (93, ("a", "1"))
    assert beside["fees"] == (Decimal("4.50"), ("", "10"))
    assert beside["personal_use"] == (Decimal("19.44"), ("-e", "-36"))
    assert beside["losses"] == (Decimal("3.89"), ("-e", "-36, V"))


def test_a_line_of_a_form_is_traced_to_entries() -> None:
    parts = trace_form(form("us-schedule-c"), read(TWO_YEARS), (FIRST, LAST), "36")
    assert [(part.what, f"{part.amount:.2f}") for part in parts] == [
        ("bottle", "129.60"), ("bottle", "100.00"), ("swap", "30.00"), ("owned before", "50.00"),
        ("kept", "-19.44"), ("spilt", "-3.89"), ("sample", "-2.59"),
    ]


def test_a_line_held_at_a_limit_is_no_sum_of_entries() -> None:
    with pytest.raises(FormError, match="Line 21 of uk-sa103s is held at a limit"):
        trace_form(form("uk-sa103s"), read(TWO_YEARS), UK, "21")
    assert trace_form(form("uk-sa103s"), read(TWO_YEARS), UK, "20")


def test_an_unknown_line_of_a_form_is_answered_with_those_there_are() -> None:
    with pytest.raises(FormError, match="no line '43' here; its lines are 1, 2, 3"):
        trace_form(form("us-schedule-c"), read(TWO_YEARS), (FIRST, LAST), "43")


def days_of(number: int) -> tuple[datetime.date, datetime.date]:
    return datetime.date(number, 1, 1), datetime.date(number, 12, 31)


def check_schedule_c(books: Books, days: tuple[datetime.date, datetime.date], choices: dict[str, str]) -> None:
    got = fill(form("us-schedule-c"), books, *days, choices)
    line = {each.line: each.amount or Decimal(0) for each in got.lines}
    totals = year(books, *days).rounded("USD")
    assert line["35"] + line["36"] + line["38"] + line["39"] - line["41"] == line["42"] == line["4"]
    assert line["31"] == totals.business_profit
    if not choices:
        assert line["42"] == totals.cost_of_goods_sold
    for name, amount in line.items():
        parts = trace_form(form("us-schedule-c"), books, days, name, choices)
        # Rounded lines that hold goods at cost give way to each other by less than a cent each.
        assert abs(sum((part.amount for part in parts), Decimal(0)) - amount) < Decimal("0.06"), name


@random_books
@given(histories())
def test_schedule_c_foots_and_a_hobbys_line_is_its_income(history: list[str]) -> None:
    books = read_history(history)
    for number in YEARS:
        check_schedule_c(books, days_of(number), {})
        check_schedule_c(books, days_of(number), {"losses": "stock", "samples": "stock"})
        exact = year(books, *days_of(number))
        traced = trace_form(form("us-hobby"), books, days_of(number), "8j")
        assert abs(sum((part.amount for part in traced), Decimal(0)) - exact.hobby_income) < EXACT


@random_books
@given(histories())
def test_one_years_line_41_is_the_next_ones_line_35(history: list[str]) -> None:
    books = read_history(history)
    first, second = (
        {each.line: each.amount for each in fill(form("us-schedule-c"), books, *days_of(number)).lines}
        for number in YEARS
    )
    assert first["41"] == second["35"]
