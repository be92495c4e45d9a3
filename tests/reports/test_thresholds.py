"""How far a year is from what is reported or taxed."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from millilot.reports.forms import FormError
from millilot.reports.thresholds import read_thresholds, thresholds

from .books import HEAD, SHELF, read
from .test_year import TWO_YEARS

if TYPE_CHECKING:
    from pathlib import Path

    from millilot.reports.thresholds import Distance

YEAR_2026 = datetime.date(2026, 1, 1), datetime.date(2026, 12, 31)


def distances(
    books: str, days: tuple[datetime.date, datetime.date] = YEAR_2026, *, currency: str = "USD",
) -> dict[tuple[str, str | None], Distance]:
    read_as = read(books.replace("USD", currency), HEAD.replace("USD", currency))
    return {(each.threshold, each.channel): each for each in thresholds(read_as, *days, read_thresholds())}


LANTERN = "Assets:Marketplace:Lantern"


def sales(number: int, price: str, year: int = 2026) -> str:
    """Return orders on a channel: each a sale at a price."""
    return SHELF.replace("2026-01-0", f"{year}-01-0") + "".join(
        f'{year}-02-01 * "Lantern" "sale {n}" ^order-{n}\n  Income:Sales  -0.1 CEDARHOUR @@ {price} USD\n'
        f"  Expenses:Selling:Fees  1.00 USD\n  {LANTERN}\n"
        for n in range(number)
    )


def test_a_reporting_form_counts_what_a_channel_took_before_fees() -> None:
    got = distances(TWO_YEARS)["us-1099-k", LANTERN]
    # Not the swap, which no channel saw, nor the claim, which is no sale yet.
    assert (got.amount, got.limit, got.left) == (63, 20000, Decimal("19937.00"))
    assert (got.count, got.count_limit, got.count_left) == (2, 200, 198)
    assert (got.reached, got.mark) == (False, "")


@pytest.mark.parametrize(
    ("number", "price", "reached"),
    [(201, "100.00", True), (200, "101.00", False), (201, "99.00", False), (200, "100.00", False)],
)
def test_from_2025_amount_and_number_must_both_be_passed(number: int, price: str, reached: bool) -> None:
    # IRS FS-2025-08: above 20,000 USD and above 200 transactions.
    assert distances(sales(number, price))["us-1099-k", LANTERN].reached is reached


def test_in_2024_the_amount_alone_counted() -> None:
    days = datetime.date(2024, 1, 1), datetime.date(2024, 12, 31)
    got = distances(sales(2, "2500.01", 2024), days)["us-1099-k", LANTERN]
    assert (got.limit, got.count, got.reached, got.title) == (5000, None, True, "Form 1099-K, 2024")


def test_before_any_year_that_is_known_nothing_is_said() -> None:
    days = datetime.date(2023, 1, 1), datetime.date(2023, 12, 31)
    assert not [name for name, _ in distances(SHELF, days) if name == "us-1099-k"]


@pytest.mark.parametrize(("fee", "reached"), [("0.00", True), ("0.01", False)])
def test_self_employment_begins_at_its_threshold(fee: str, reached: bool) -> None:
    books = SHELF + f"""
2026-02-01 * "an empty bottle" ^order-1
  Income:Sales  -400.00 USD
  Expenses:Selling:Fees  {fee} USD
  Assets:Bank
"""
    got = distances(books)["us-self-employment", None]
    assert (got.reached, got.mark) == (reached, "?")


def test_a_british_seller_sees_the_allowance_and_the_platforms() -> None:
    got = distances(TWO_YEARS, currency="GBP")
    assert set(got) == {("uk-trading-allowance", None), ("platform-reporting", LANTERN)}
    allowance = got["uk-trading-allowance", None]
    # 93 of receipts, and a claim of 45 paid, which the cash basis counts.
    assert (allowance.amount, allowance.left, allowance.reached) == (138, 862, False)


def test_an_amount_in_another_currency_is_not_compared() -> None:
    few = distances(sales(29, "2.00"), currency="GBP")["platform-reporting", LANTERN]
    assert (few.amount, few.left, few.currency, few.reached) == (None, None, "EUR", None)
    # The number of sales alone settles it.
    assert distances(sales(30, "2.00"), currency="GBP")["platform-reporting", LANTERN].reached is True


@pytest.mark.parametrize(
    ("number", "price", "reached"), [(29, "2.00", False), (30, "2.00", True), (1, "2000.01", True)],
)
def test_a_platform_reports_from_either(number: int, price: str, reached: bool) -> None:
    # HMRC IEIM901630: left out only under 30 sales and not above 2,000 EUR.
    got = distances(sales(number, price), currency="EUR")["platform-reporting", LANTERN]
    assert got.reached is reached


OWN = """
[[thresholds]]
name = "us-1099-k"
title = "My state's"
from = 2026-01-01
currency = "USD"
amount = "1000.00"
source = "my notes"
"""


def test_an_owners_threshold_comes_after_those_shipped(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(OWN, encoding="utf-8")
    known = read_thresholds(tmp_path)
    [mine] = [each for each in thresholds(read(TWO_YEARS), *YEAR_2026, known) if each.threshold == "us-1099-k"]
    assert (mine.title, mine.amount, mine.mark) == ("My state's", 93, "?")
    days = datetime.date(2025, 1, 1), datetime.date(2025, 12, 31)
    assert "My state's" not in {each.title for each in thresholds(read(TWO_YEARS), *days, known)}


@pytest.mark.parametrize(
    ("instead_of", "written", "expected"),
    [
        ('amount = "1000.00"', "", "amount is missing"),
        ('amount = "1000.00"', "amount = 1000.00", "expected a text in quotes"),
        ('name = "us-1099-k"', 'name = "x"\nmeasure = "turnover"', 'found "turnover"'),
        ('name = "us-1099-k"', 'name = "x"\ncount = 3\nreached = "above"', '"above both" or "above either"'),
        ("from = 2026-01-01", 'from = "2026"', "a day such as 2026-01-01"),
        ("[[thresholds]]", "[[threshold]]", "the key threshold is not known"),
    ],
)
def test_a_slip_in_a_threshold_names_the_file(
    tmp_path: Path, instead_of: str, written: str, expected: str,
) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(OWN.replace(instead_of, written), encoding="utf-8")
    with pytest.raises(FormError) as error:
        read_thresholds(tmp_path)
    assert str(error.value).startswith(str(file))
    assert expected in str(error.value)
