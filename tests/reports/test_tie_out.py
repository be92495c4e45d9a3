"""A channel's form beside the books."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from textwrap import dedent
from typing import Any

import pytest
from click.testing import CliRunner

from millilot.reports.command import main
from millilot.reports.tables import WIDTH, display_width
from millilot.reports.tie_out import CurrencyError, TieOut, tie_out, verdict

from .books import HEAD, SHELF, load, read
from .test_payouts import MORE, payout, sale

LANTERN = "Assets:Marketplace:Lantern"


def compare(text: str, year: int = 2026) -> TieOut:
    return tie_out(read(MORE + dedent(text)), "Lantern", year)


def form(gross: str, *meta: str, year: int = 2026, currency: str = "USD") -> str:
    """Return what a form says, written below nothing else."""
    below = "".join(f"  {line}\n" for line in meta)
    return f'{year}-12-31 custom "annual-gross" {LANTERN} {year} {gross} {currency}\n{below}'


#: The check worked by hand: 1,000.00 in the books (of which 29.00 are last year's claims poured now), 72.00 tax,
#: 20.00 of coupons, 30.00 cancelled but captured, 45.00 of claims open, 36.00 private: 1,174.00 on the form.
BY_HAND = (
    SHELF
    + """
2025-11-02 * "Claim paid last year" ^order-c1 ^split-1
  Liabilities:Claims  -29.00 USD
  Assets:Marketplace:Lantern  29.00 USD
2026-01-20 * "Poured now" ^order-c1 ^split-1
  Income:Sales  -10 QUIETREED @@ 29.00 USD
  Liabilities:Claims  29.00 USD
2026-02-01 * "Sales with tax" ^order-1
  Income:Sales  -80 CEDARHOUR @@ 900.00 USD
    discount: 20.00 USD
  Income:Postage  -71.00 USD
  Liabilities:SalesTax  -72.00 USD
  Liabilities:SalesTax  72.00 USD
  Expenses:Selling:Fees  100.00 USD
  Assets:Marketplace:Lantern  871.00 USD
2026-03-01 * "Cancelled, but the payment was taken" ^order-2 #cancelled
  Income:Sales  -30.00 USD
  Assets:Marketplace:Lantern  30.00 USD
2026-03-02 * "and given back" ^order-2 #cancelled
  Income:Refunds  30.00 USD
  Assets:Marketplace:Lantern  -30.00 USD
2026-04-01 * "Claim paid" ^order-c2 ^split-2
  Liabilities:Claims  -45.00 USD
  Assets:Marketplace:Lantern  45.00 USD
2026-05-01 * "My old lamp"
  Equity:Owner  -36.00 USD
  Assets:Marketplace:Lantern  36.00 USD
2026-06-01 * "Refund" ^order-1
  Income:Refunds  15.00 USD
  Liabilities:SalesTax  1.20 USD
  Liabilities:SalesTax  -1.20 USD
  Assets:Marketplace:Lantern  -15.00 USD
2026-06-02 * "Elsewhere" ^order-3
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  12.00 USD
"""
)


def test_the_check_worked_by_hand() -> None:
    report = compare(BY_HAND + form("1174.00"))
    bridge = report.chosen.bridge
    assert bridge.gross_receipts == Decimal("1000.00")
    assert bridge.tax_collected == Decimal("72.00")
    assert bridge.discounts == Decimal("20.00")
    assert bridge.cancelled == Decimal("30.00")
    assert bridge.claims_paid == Decimal("45.00")
    assert bridge.claims_poured == Decimal("-29.00")
    assert bridge.private == Decimal("36.00")
    assert bridge.overpaid == bridge.unsorted == bridge.other_side == bridge.currency == 0
    assert bridge.expected == Decimal("1174.00")
    assert verdict(report) == "fits"
    assert [(each.basis, each.tax) for each in report.fitting] == [("order", True)]
    # Without the tax it is 72.00 less, which is printed all the same.
    assert [str(each.difference) for each in report.candidates] == ["0.00", "72.00"]
    assert report.untried == (
        "Lantern cannot be tried by the day it settled: no order has settled:",
        "Lantern cannot be tried by the day it was paid out: no order has paid-out: or is known to be in a payout",
    )


def test_the_year_before_has_the_claim_that_was_poured_later() -> None:
    report = compare(BY_HAND + form("29.00", year=2025), 2025)
    assert report.chosen.bridge.claims_paid == Decimal("29.00")
    assert report.chosen.expected == Decimal("29.00")


def test_a_claim_paid_and_poured_in_one_year_is_a_sale() -> None:
    report = compare(
        SHELF
        + """
2026-02-02 * "Claim paid" ^order-c1
  Liabilities:Claims  -29.00 USD
  Assets:Marketplace:Lantern  29.00 USD
2026-03-20 * "Poured" ^order-c1
  Income:Sales  -10 QUIETREED @@ 29.00 USD
  Liabilities:Claims  29.00 USD
"""
        + form("29.00"),
    )
    bridge = report.chosen.bridge
    assert (bridge.gross_receipts, bridge.claims_paid, bridge.claims_poured) == (Decimal("29.00"), 0, 0)
    assert report.payments == 1


def test_a_claim_counts_by_the_days_of_its_payment_and_its_pour_by_none() -> None:
    # By settlement 2026 has the 100.00; the 29.00 settled in 2025, the 45.00 and the 12.00 settle in 2027.
    text = (
        SHELF
        + """
2025-11-02 * "Claim paid" ^order-c1
  settled: 2025-11-05
  Liabilities:Claims  -29.00 USD
  Assets:Marketplace:Lantern  29.00 USD
2026-01-20 * "Poured" ^order-c1
  Income:Sales  -10 QUIETREED @@ 29.00 USD
  Liabilities:Claims  29.00 USD
2026-02-01 * "Sale" ^order-1
  settled: 2026-02-03
  Income:Sales  -10 CEDARHOUR @@ 100.00 USD
  Assets:Marketplace:Lantern  100.00 USD
2026-12-29 * "Claim paid" ^order-c2
  settled: 2027-01-02
  Liabilities:Claims  -45.00 USD
  Assets:Marketplace:Lantern  45.00 USD
2026-12-30 * "Claim paid" ^order-c3
  settled: 2027-01-02
  Liabilities:Claims  -12.00 USD
  Assets:Marketplace:Lantern  12.00 USD
2026-12-31 * "Poured" ^order-c3
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Liabilities:Claims  12.00 USD
"""
    )
    by_order, by_settlement = (
        {year: compare(text + form(gross, year=year), year) for year, gross in grosses.items()}
        for grosses in ({2025: "29.00", 2026: "157.00", 2027: "0.00"}, {2026: "100.00", 2027: "57.00"})
    )
    for report in by_order.values():
        assert "order" in [candidate.basis for candidate in report.fitting]
    for report in by_settlement.values():
        assert [candidate.basis for candidate in report.fitting if not candidate.shift] == ["settled"] * 2
    bridge = by_settlement[2026].chosen.bridge
    assert (bridge.gross_receipts, bridge.claims_paid, bridge.claims_poured, bridge.other_side) == (
        Decimal("141.00"), Decimal("45.00"), Decimal("-29.00"), Decimal("-57.00"),
    )
    assert [(each.order, str(each.amount)) for each in by_settlement[2026].chosen.orders] == [
        ("c2", "-45.00"), ("c3", "-12.00"),
    ]
    assert by_settlement[2026].payments == 1


def test_what_buyers_rounded_up_and_what_is_unsorted_have_their_lines() -> None:
    report = compare(
        """
        2026-02-02 * "Mystery" ^order-1
          Income:Unsorted  -9.00 USD
          Income:RoundedUp  -0.50 USD
          Assets:Marketplace:Lantern  9.50 USD
        """
        + form("9.50"),
    )
    bridge = report.chosen.bridge
    assert (str(bridge.gross_receipts), str(bridge.unsorted), str(bridge.overpaid)) == ("0.00", "9.00", "0.50")
    assert report.chosen.difference == 0


#: 10.00 ordered and settled in 2025 and paid out in 2026; 20.00 ordered in 2025 and settled in 2026;
#: 40.00 all in 2026; 80.00 ordered in 2026 and settled in 2027, and 5.00 tax on the 40.00.
TURN = (
    sale("2025-12-20", "1", "10.00", "^payout-1", meta="  ordered: 2025-12-20\n  settled: 2025-12-27")
    + sale("2025-12-31", "2", "20.00", "^payout-1", meta="  ordered: 2025-12-31\n  settled: 2026-01-04")
    + payout("2026-01-08", "30.00", "^payout-1")
    + """
2026-06-01 * "sale" ^order-3 ^payout-2
  ordered: 2026-06-01
  settled: 2026-06-05
  Income:Postage  -40.00 USD
  Liabilities:SalesTax  -5.00 USD
  Assets:Marketplace:Lantern  45.00 USD
"""
    + payout("2026-06-08", "45.00", "^payout-2")
    + sale("2026-12-30", "4", "80.00", meta="  ordered: 2026-12-30\n  settled: 2027-01-03")
)


@pytest.mark.parametrize(
    ("gross", "basis", "tax", "orders"),
    [
        ("125.00", "order", True, []),  # 40 + 5 + 80
        ("120.00", "order", False, []),
        ("65.00", "settled", True, [("2", "20.00"), ("4", "-80.00")]),  # 20 + 40 + 5
        ("60.00", "settled", False, [("2", "20.00"), ("4", "-80.00")]),
        ("75.00", "paid-out", True, [("1", "10.00"), ("2", "20.00"), ("4", "-80.00")]),  # 10 + 20 + 40 + 5
        ("70.00", "paid-out", False, [("1", "10.00"), ("2", "20.00"), ("4", "-80.00")]),
    ],
)
def test_the_one_way_that_fits_is_named(gross: str, basis: str, tax: bool, orders: list[tuple[str, str]]) -> None:
    report = compare(TURN + form(gross))
    assert verdict(report) == "fits"
    assert (report.chosen.basis, report.chosen.tax) == (basis, tax)
    assert [(each.order, str(each.amount)) for each in report.chosen.orders] == orders
    # Every way is tried, whichever fits.
    usual = {(each.basis.value, each.tax) for each in report.candidates if not each.shift}
    assert usual == {(basis, tax) for basis in ("order", "settled", "paid-out") for tax in (True, False)}


def test_a_day_earlier_or_later_is_another_time_zone() -> None:
    # The order of 31 December was one of 1 January where the channel is: 20 + 40 + 5 + 80.
    report = compare(TURN + form("145.00"))
    assert (report.chosen.basis, report.chosen.shift, report.chosen.tax) == ("order", 1, True)
    assert [each.order for each in report.chosen.orders] == ["2"]


def test_two_ways_that_fit_are_ambiguous_until_the_books_say_which() -> None:
    text = sale("2026-03-01", "1", "10.00", meta="  settled: 2026-03-04")
    assert verdict(compare(text + form("10.00"))) == "ambiguous"
    assert verdict(compare(text + form("10.00", 'basis: "settled"', 'tax: "in"'))) == "fits"
    assert compare(text + form("10.00", 'basis: "settled"', 'tax: "in"')).chosen.basis == "settled"


def test_no_way_that_fits_shows_the_nearest() -> None:
    report = compare(TURN + form("121.00"))
    assert verdict(report) == "open"
    assert (report.chosen.expected, report.chosen.difference) == (Decimal("120.00"), Decimal("1.00"))


def test_payments_and_months_are_counted_by_the_way_that_fits() -> None:
    report = compare(TURN + form("75.00", "payments: 3", "jan: 30.00", "jun: 44.00"))
    assert report.payments == 3
    months = {month.month: month for month in report.months if month.payments}
    assert {number: (month.payments, str(month.expected)) for number, month in months.items()} == {
        1: (2, "30.00"), 6: (1, "45.00"),
    }  # fmt: skip
    assert months[6].form == Decimal("44.00")


def test_a_form_in_another_currency_needs_its_rate() -> None:
    text = sale("2026-03-01", "1", "10.80")
    with pytest.raises(CurrencyError, match=r"rate: 1\.08 USD"):
        compare(text + form("10.00", currency="EUR"))
    report = compare(text + form("10.00", "rate: 1.08 USD", currency="EUR"))
    assert (report.chosen.bridge.currency, report.chosen.difference) == (Decimal("-0.80"), 0)


@pytest.fixture
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(text: str, *arguments: str) -> Any:
    Path("main.beancount").write_text(HEAD + MORE + text, encoding="utf-8")
    return CliRunner().invoke(main, ["channel", "lantern", "2026", "--form", *arguments])


@pytest.mark.usefixtures("_in_a_folder")
def test_the_page_says_what_fits_and_lists_the_orders() -> None:
    result = run(TURN + form("65.00"))
    assert "It fits to the cent: by the day it settled, tax in." in result.stdout
    assert "4      2026-12-30    2027-01-03   -80.00" in result.stdout
    assert "not tax advice" in result.stdout
    assert max(map(display_width, result.stdout.splitlines())) <= WIDTH


@pytest.mark.usefixtures("_in_a_folder")
def test_the_page_calls_what_is_ambiguous_so() -> None:
    result = run(sale("2026-03-01", "1", "10.00") + form("10.00"))
    assert "Ambiguous: 2 ways meet the form to the cent" in result.stdout
    assert "it makes no difference in this year" in " ".join(result.stdout.split())


@pytest.mark.usefixtures("_in_a_folder")
def test_without_a_form_the_page_says_how_to_write_it() -> None:
    result = run(TURN)
    assert result.exit_code == 0
    assert f'2026-12-31 custom "annual-gross" {LANTERN} 2026 1234.56 USD' in " ".join(result.stdout.split())


@pytest.mark.usefixtures("_in_a_folder")
def test_the_line_to_write_is_in_the_currency_of_the_books() -> None:
    in_euros = (HEAD + MORE + TURN).replace("EUR", "CHF").replace("USD", "EUR")
    Path("main.beancount").write_text(in_euros, encoding="utf-8")
    result = CliRunner().invoke(main, ["channel", "lantern", "2026", "--form"])
    assert "2026 1234.56 EUR" in " ".join(result.stdout.split())


@pytest.mark.usefixtures("_in_a_folder")
def test_the_page_compares_the_number_of_payments() -> None:
    assert "Payments: 1 on the form, 2 in the books." in run(TURN + form("65.00", "payments: 1")).stdout


@pytest.mark.usefixtures("_in_a_folder")
def test_zero_lines_are_shown_when_asked_for() -> None:
    text = TURN + form("65.00")
    assert "Discounts paid by the seller" not in run(text).stdout
    assert "Discounts paid by the seller" in run(text, "--wide").stdout


@pytest.mark.usefixtures("_in_a_folder")
def test_json_has_every_way_and_csv_one_row() -> None:
    text = TURN + form("65.00", "payments: 2")
    report = json.loads(run(text, "--format", "json").stdout)
    assert (report["form"], report["expected"], report["difference"]) == ("65.00", "65.00", "0.00")
    assert (report["basis"], report["tax"], report["verdict"]) == ("settled", "in", "fits")
    assert (report["payments"], report["form_payments"]) == (2, 2)
    assert len(report["candidates"]) >= 6
    assert [order["order"] for order in report["orders"]] == ["2", "4"]
    assert run(text, "--format", "csv").stdout.splitlines()[0].startswith("channel,year,form,gross_receipts")


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        (f"{LANTERN} 2026 -5321.40 USD", "read as one amount"),
        (f"{LANTERN} 5321.40 USD", "expected: 2026-12-31 custom"),
        ('"Lantern" 2026 5321.40 USD', "names the channel's account"),
        (f"{LANTERN} 2026.5 5321.40 USD", "names the channel's account"),
        (f'{LANTERN} 2026 5321.40 USD\n  basis: "shipped"', "basis: is 'order', 'settled', 'paid-out'"),
        (f"{LANTERN} 2026 5321.40 USD\n  tax: TRUE", 'tax: is "in" or "out"'),
        (f"{LANTERN} 2026 5321.40 USD\n  payments: 1.5", "payments: is a whole number"),
        (f'{LANTERN} 2026 5321.40 USD\n  jan: "much"', "jan: is what the form says of that month"),
        (f"{LANTERN} 2026 5321.40 USD\n  rate: 0", "rate: is what one unit"),
    ],
)
def test_a_form_that_cannot_be_read_is_an_error_at_its_line(written: str, expected: str) -> None:
    _, [error], _ = load(f'2026-12-31 custom "annual-gross" {written}\n')
    assert expected in error.message
    assert error.source["lineno"] == HEAD.count("\n") + 1
