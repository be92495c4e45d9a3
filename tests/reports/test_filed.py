"""A year that was handed in does not move."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from millilot.importers.problems import BooksError
from millilot.ledger.directives import read_settings
from millilot.reports.command import main
from millilot.reports.filed import file_year, filed_line
from millilot.reports.year_notes import year_notes

from .books import HEAD, load
from .test_year import TWO_YEARS, read

if TYPE_CHECKING:
    from pathlib import Path

FIRST, LAST = datetime.date(2026, 1, 1), datetime.date(2026, 12, 31)
FILED = '2027-02-01 custom "filed" 2026 250.72 USD 41.76 USD\n'


def check(tmp_path: Path, books: str) -> tuple[int, str]:
    path = tmp_path / "main.beancount"
    path.write_text(HEAD + books, encoding="utf-8")
    result = CliRunner().invoke(main, ["check", "-b", str(path)])
    return result.exit_code, result.stdout.replace(str(tmp_path), "")


def line_of(books: str, text: str) -> int:
    return (HEAD + books).splitlines().index(text) + 1


def test_a_year_as_it_was_filed_is_no_finding(tmp_path: Path) -> None:
    assert check(tmp_path, TWO_YEARS + FILED) == (0, "No problems and no remarks.\n")


def test_an_entry_written_later_into_a_filed_year_is_named(tmp_path: Path) -> None:
    books = TWO_YEARS + FILED + '2026-11-30 * "found the receipt"\n  Expenses:Loss  10 QUIETREED\n'
    status, output = check(tmp_path, books)
    assert status == 1
    line = line_of(books, FILED.strip())
    assert output.startswith(f"/main.beancount:{line}: 2026 is no longer as it was filed: ")
    assert "closing stock 250.72, and now 230.72 (-20.00)" in output
    assert "cost of goods sold" not in output  # a loss is no cost of goods
    new = line_of(books, '2026-11-30 * "found the receipt"')
    assert f"/main.beancount:{new} (2026-11-30 found the receipt). Without what is new the year is as" in output


def test_a_stocktake_on_the_morning_after_counts_into_the_filed_year(tmp_path: Path) -> None:
    books = TWO_YEARS + FILED + '2027-01-01 custom "stocktake" "QR-1" 35 QUIETREED\n'
    _, output = check(tmp_path, books)
    assert "closing stock 250.72, and now 240.72 (-10.00)" in output
    assert "cost of goods sold 41.76, and now 51.76 (+10.00)" in output
    new = line_of(books, '2027-01-01 custom "stocktake" "QR-1" 35 QUIETREED')
    assert f"/main.beancount:{new} (2026-12-31 Stocktake of QR-1" in output


def test_what_is_dated_in_the_open_year_is_no_finding(tmp_path: Path) -> None:
    books = TWO_YEARS + FILED + '2027-03-01 * "spilt"\n  Expenses:Loss  10 QUIETREED\n'
    assert check(tmp_path, books)[0] == 0


def test_an_entry_put_above_is_found_by_the_difference_it_makes(tmp_path: Path) -> None:
    late = '2026-11-30 * "put above"\n  Equity:PersonalUse  10 QUIETREED\n'
    status, output = check(tmp_path, late + TWO_YEARS + FILED)
    assert status == 1
    assert "Nothing new stands below it." in output
    assert "(2026-11-30 put above)" in output
    assert output.count("(2026-") == 1


def test_what_was_taken_out_cannot_be_named(tmp_path: Path) -> None:
    without = TWO_YEARS.replace("  Expenses:Loss  3 CEDARHOUR", "  Expenses:Loss  4 CEDARHOUR")
    _, output = check(tmp_path, without + FILED)
    assert "Nothing new stands below it, so an entry of the year was changed, taken out or put above." in output


def test_what_is_new_may_not_explain_all_of_it(tmp_path: Path) -> None:
    changed = TWO_YEARS.replace("  Expenses:Loss  3 CEDARHOUR", "  Expenses:Loss  4 CEDARHOUR")
    _, output = check(tmp_path, changed + FILED + '2026-11-30 * "spilt"\n  Expenses:Loss  1 QUIETREED\n')
    assert "(2026-11-30 spilt). That does not explain all of it." in output


def test_the_last_filing_of_a_year_counts(tmp_path: Path) -> None:
    amended = '2027-06-01 custom "filed" 2026 230.72 USD 41.76 USD\n'
    books = TWO_YEARS + FILED + '2026-11-30 * "spilt"\n  Expenses:Loss  10 QUIETREED\n' + amended
    assert check(tmp_path, books)[0] == 0


def test_receipts_and_profit_move_too_when_they_are_filed(tmp_path: Path) -> None:
    filed = FILED + "  net_receipts: 93.00 USD\n  business_profit: 31.26 USD\n"
    books = TWO_YEARS + filed + '2026-12-30 * "a fee"\n  Expenses:Selling:Fees  1.00 USD\n  Assets:Bank\n'
    assert check(tmp_path, TWO_YEARS + filed)[0] == 0
    status, output = check(tmp_path, books)
    assert status == 1
    assert "is no longer as it was filed: business profit 31.26, and now 30.26 (-1.00). " in output
    # Closing stock and cost of goods alone would not have shown it.
    assert check(tmp_path, books.replace("  business_profit: 31.26 USD\n", ""))[0] == 0


def test_a_year_filed_in_another_currency_cannot_be_compared(tmp_path: Path) -> None:
    status, output = check(tmp_path, TWO_YEARS + FILED.replace("USD", "EUR"))
    assert status == 1
    assert "filed in EUR, and the books are kept in USD" in output


def test_the_next_year_explains_another_opening_stock() -> None:
    moved = '2026-11-30 * "spilt"\n  Expenses:Loss  10 QUIETREED\n'
    for late, words in (
        ("", "Opening stock is the closing stock filed for 2026-12-31."),
        (moved, "Opening stock is 230.72, and the closing stock filed for 2026-12-31 is 250.72: a difference of"),
    ):
        notes = [str(note) for note in year_of(TWO_YEARS + FILED + late, 2027)]
        assert any(note.startswith(words) for note in notes), notes


def test_a_filed_year_is_closed() -> None:
    books = TWO_YEARS.partition("2027-01-10")[0]
    assert any("the year is not closed" in note for note in year_of(books, 2026))
    notes = year_of(books + FILED, 2026)
    assert not any("the year is not closed" in note for note in notes)
    assert "Filed on 2027-02-01; the figures are still those that were filed." in notes


def year_of(books: str, number: int) -> list[str]:
    return year_notes(read(books), datetime.date(number, 1, 1), datetime.date(number, 12, 31))


def test_the_line_to_write_is_what_the_books_say() -> None:
    line = filed_line(read(TWO_YEARS), FIRST, LAST, datetime.date(2027, 2, 1))
    assert line == FILED + "  net_receipts: 93.00 USD\n  business_profit: 31.26 USD\n"
    entries, errors, _ = load(line)
    assert errors == []
    [filed] = read_settings(entries)[0].filed
    assert (filed.first, filed.last) == (FIRST, LAST)
    assert (filed.closing_stock, filed.cost_of_goods) == (Decimal("250.72"), Decimal("41.76"))


def test_another_year_than_the_calendars_says_its_days() -> None:
    days = datetime.date(2025, 4, 6), datetime.date(2026, 4, 5)
    entries, errors, _ = load(filed_line(read(TWO_YEARS), *days, datetime.date(2026, 5, 1)))
    assert errors == []
    [filed] = read_settings(entries)[0].filed
    assert (filed.first, filed.last) == days


def test_a_year_is_not_filed_before_it_is_over() -> None:
    with pytest.raises(ValueError, match="2026-12-31"):
        filed_line(read(TWO_YEARS), FIRST, LAST, LAST)


def test_filing_appends_once(tmp_path: Path) -> None:
    path = tmp_path / "main.beancount"
    path.write_text(HEAD + TWO_YEARS, encoding="utf-8")
    for _ in range(2):
        file_year(path, FILED)
    assert path.read_text(encoding="utf-8") == HEAD + TWO_YEARS + "\n" + FILED
    assert [each.name for each in tmp_path.iterdir()] == ["main.beancount"]


def test_filing_nonsense_leaves_the_books_alone(tmp_path: Path) -> None:
    path = tmp_path / "main.beancount"
    path.write_text(HEAD + TWO_YEARS, encoding="utf-8")
    with pytest.raises(BooksError, match="A filed year has its number"):
        file_year(path, '2027-02-01 custom "filed" 2026\n')
    assert path.read_text(encoding="utf-8") == HEAD + TWO_YEARS


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ('2027-02-01 custom "filed"', 'expected: 2027-02-01 custom "filed" 2026 135.11 USD 24.89 USD'),
        ('2027-02-01 custom "filed" 2026 135.11 USD', "its closing stock"),
        ('2027-02-01 custom "filed" "2026" 135.11 USD 24.89 USD', "has its number"),
        ('2027-02-01 custom "filed" 2026 -135.11 USD 24.89 USD', "not below 0"),
        ('2027-02-01 custom "filed" 2026 135.11 USD 24.89 EUR', "in the same currency"),
        ('2027-02-01 custom "filed" 2026.5 135.11 USD 24.89 USD', "a whole number such as 2026, not 2026.5"),
        ('2026-12-31 custom "filed" 2026 135.11 USD 24.89 USD', "after its last day, 2026-12-31"),
        ('2027-02-01 custom "filed" 2026 1 USD 1 USD\n  to: "2026-12-31"', "without quotes"),
        ('2027-02-01 custom "filed" 2024 1 USD 1 USD\n  to: 2023-12-31', "cannot run from 2024-01-01 to 2023"),
        ('2027-02-01 custom "filed" 2026 1 USD 1 USD\n  net_receipts: 3', "such as 100.00 USD, not 3"),
    ],
)
def test_a_slip_in_the_directive_is_an_error_that_shows_the_line(written: str, expected: str) -> None:
    _, [error], _ = load(written)
    assert expected in error.message
    assert error.source["lineno"] == HEAD.count("\n") + 1


def test_cost_of_goods_of_a_year_may_be_negative() -> None:
    entries, errors, _ = load('2027-02-01 custom "filed" 2026 135.11 USD -24.89 USD')
    assert errors == []
    [filed] = read_settings(entries)[0].filed
    assert filed.cost_of_goods == Decimal("-24.89")
