"""A channel's year: from gross to bank."""

from __future__ import annotations

import datetime
import json
from dataclasses import asdict
from decimal import Decimal
from pathlib import Path
from textwrap import dedent

import pytest
from beancount.core.data import Transaction
from beancount.core.number import ZERO
from click.testing import CliRunner
from hypothesis import given, settings

from millilot.ledger.money import weight
from millilot.ledger.reading import read_books
from millilot.reports.channel import COLUMNS, SIGNS, ChannelYear, UnknownChannelError, statement
from millilot.reports.command import main
from millilot.reports.tables import WIDTH, display_width

from .books import HEAD, SHELF, load, read
from .test_payouts import MORE, STATEMENT, TRANSIT, Truth, channels, deposit, event, payout, sale

RESERVE = "Assets:Marketplace:Lantern:Reserve"


def year(text: str, number: int = 2026, name: str = "Lantern") -> ChannelYear:
    books = read(MORE + dedent(text))
    return statement(books, name, datetime.date(number, 1, 1), datetime.date(number, 12, 31)).year


def shown(lines: ChannelYear) -> dict[str, str]:
    """Return the lines that are not nought."""
    return {name: str(value) for name, value in asdict(lines).items() if value}


def identity(lines: ChannelYear) -> Decimal:
    """Return what the channel should hold by the lines."""
    return (
        lines.opening + lines.gross + lines.tax_collected - lines.tax_remitted - lines.refunds - lines.fees
        - lines.ads - lines.labels - lines.exchange + lines.compensation + lines.other - lines.paid_out
    )  # fmt: skip


def test_the_worked_statement() -> None:
    # Gross 12.00 + 4.95 + 21.00 + 4.95 + 15.50; fees 2.20 + 3.37 + 2.02 - 1.56; labels 4.35 + 5.12;
    # paid out 19.86 + 11.04: 58.40 - 12.00 - 6.03 - 9.47 - 30.90 = 0.
    lines = year(SHELF + STATEMENT)
    assert shown(lines) == {
        "gross": "58.40",
        "tax_collected": "1.60",
        "tax_remitted": "1.60",
        "refunds": "12.00",
        "fees": "6.03",
        "labels": "9.47",
        "paid_out": "30.90",
        "transactions": "3",
    }
    assert lines.held == identity(lines) == 0


def test_every_kind_of_line() -> None:
    lines = year(
        SHELF
        + """
2026-01-10 * "Claim paid" ^order-c
  Liabilities:Claims  -30.00 USD
  Assets:Marketplace:Lantern  30.00 USD
2026-02-01 * "Damaged by the channel" ^order-0 ^payout-1
  Income:Compensation  -7.00 USD
  Assets:Marketplace:Lantern  7.00 USD
2026-02-02 * "Tax we hand on ourselves" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Liabilities:SalesTax  -0.96 USD
  Assets:Marketplace:Lantern  12.96 USD
2026-02-03 * "Refund with its tax" ^order-1
  Income:Refunds  6.00 USD
  Liabilities:SalesTax  0.48 USD
  Assets:Marketplace:Lantern  -6.48 USD
2026-02-04 * "Mystery vial" ^order-2
  Income:Unsorted  -9.00 USD
  Assets:Marketplace:Lantern  9.00 USD
2026-02-05 * "Promotion"
  Expenses:Selling:Ads  2.50 USD
  Assets:Marketplace:Lantern  -2.50 USD
2026-02-06 * "A bottle bought from the balance" ^purchase-9
  Assets:Stock:CedarHour  50 CEDARHOUR {{20.00 USD, "CH-9"}}
  Assets:Marketplace:Lantern  -20.00 USD
2026-02-07 * "Payout in another currency" ^payout-1
  Assets:Marketplace:Lantern  -7.00 USD
  Expenses:Selling:Exchange  0.20 USD
  Assets:Bank:Euro  6.12 EUR @@ 6.80 USD
""",
    )
    assert shown(lines) == {
        "gross": "21.00",  # 12.00 + 9.00
        "tax_collected": "0.48",  # 0.96 - 0.48
        "refunds": "6.00",
        "ads": "2.50",
        "exchange": "0.20",
        "compensation": "7.00",
        "other": "10.00",  # 30.00 - 20.00
        "paid_out": "6.80",
        "held": "22.98",  # 21 + 0.48 - 6 - 2.50 - 0.20 + 7 + 10 - 6.80
        "transactions": "2",
    }
    assert lines.held == identity(lines) == Decimal("22.98")


def test_a_dispute_is_held_and_then_lost_with_a_fee() -> None:
    text = sale("2026-03-01", "1", "20.00") + event(
        "2026-03-10", "dispute", RESERVE, "20.00", "^order-1", tags="#hold",
    )
    held = year(text)
    assert (held.held, held.reserved, held.refunds) == (Decimal("20.00"), Decimal("20.00"), 0)
    lost = year(
        text
        + f"""
2026-03-20 * "dispute lost" ^order-1
  Income:Refunds  20.00 USD
  {RESERVE}  -20.00 USD
"""
        + event("2026-03-20", "dispute fee", "Expenses:Selling:Fees", "15.00"),
    )
    assert (lost.held, lost.reserved, lost.refunds, lost.fees) == (
        Decimal("-15.00"), 0, Decimal("20.00"), Decimal("15.00"),
    )
    assert identity(lost) == lost.held


def test_a_dispute_that_is_won_changes_nothing() -> None:
    won = year(
        sale("2026-03-01", "1", "20.00")
        + event("2026-03-10", "dispute", RESERVE, "20.00", "^order-1", tags="#hold")
        + event("2026-04-10", "dispute won", RESERVE, "-20.00", "^order-1", tags="#hold"),
    )
    assert shown(won) == {"gross": "20.00", "held": "20.00", "transactions": "1"}


@pytest.mark.parametrize(
    ("tags", "meta", "reserved"),
    [("#hold", "", "20.00"), ("#hold", "  released: 2026-03-09", "0.00"), ("", "", "0.00")],
)
def test_money_may_be_held_by_a_tag_alone(tags: str, meta: str, reserved: str) -> None:
    lines = year(sale("2026-03-01", "1", "20.00", tags=tags, meta=meta))
    assert (str(lines.held), str(lines.reserved)) == ("20.00", reserved)


def test_money_held_by_a_tag_is_no_longer_so_when_it_was_paid() -> None:
    held = sale("2026-03-01", "1", "20.00", "^payout-1", tags="#hold")
    lines = year(held + payout("2026-03-05", "20.00", "^payout-1"))
    assert (lines.held, lines.reserved) == (0, 0)


TURN = (
    sale("2025-12-20", "1", "10.00", "^payout-1")
    + payout("2025-12-31", "10.00", "^payout-1", TRANSIT)
    + deposit("2026-01-02", "10.00", "^payout-1")
    + sale("2026-01-10", "2", "7.00", "^payout-2")
    + payout("2026-01-15", "7.00", "^payout-2", TRANSIT)
    + deposit("2026-01-17", "6.65", "^payout-2")
    + sale("2026-01-20", "3", "4.00")
)


def test_a_payout_under_way_at_the_turn_of_the_year() -> None:
    first, second = year(TURN, 2025), year(TURN, 2026)
    assert (str(first.in_transit), str(first.difference)) == ("10.00", "0.00")
    assert (str(second.in_transit), str(second.difference)) == ("0.35", "-0.35")
    assert shown(second) == {
        "gross": "11.00",
        "paid_out": "7.00",
        "in_transit": "0.35",
        "held": "4.00",
        "difference": "-0.35",
        "transactions": "2",
    }


def test_what_comes_short_after_the_turn_of_the_year_counts_where_it_is_found() -> None:
    short = TURN.replace(deposit("2026-01-02", "10.00", "^payout-1"), deposit("2026-01-02", "9.75", "^payout-1"))
    assert [str(year(short, number).difference) for number in (2025, 2026)] == ["0.00", "-0.60"]
    assert str(year(short, 2026).in_transit) == "0.60"


def test_a_payout_that_came_back_was_not_paid_out() -> None:
    lines = year(
        sale("2026-03-01", "1", "10.00", "^payout-1")
        + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
        + payout("2026-03-08", "-10.00", "^payout-1", TRANSIT),
    )
    assert shown(lines) == {"gross": "10.00", "held": "10.00", "transactions": "1"}


def test_swaps_and_sales_elsewhere_are_not_the_channels() -> None:
    lines = year(
        SHELF
        + """
2026-02-01 * "To the bank" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  12.00 USD
"""
        + sale("2026-03-01", "2", "10.00"),
    )
    assert lines.gross == Decimal("10.00")


@settings(max_examples=25, deadline=None)
@given(channels())
def test_the_lines_add_up_over_years_and_to_the_account(truth: Truth) -> None:
    # The weeks are moved so that they lie across the year's end.
    text = truth.text.replace("2026-01", "2025-12").replace("2026-02", "2026-01")
    entries, errors, options = load(text)
    assert errors == []
    books = read_books(entries, options)
    years = [
        statement(books, "Lantern", datetime.date(number, 1, 1), datetime.date(number, 12, 31)).year
        for number in (2025, 2026)
    ]
    for lines in years:
        assert lines.held == identity(lines)
    assert years[0].opening == 0
    assert years[1].opening == years[0].held
    both = statement(books, "Lantern", datetime.date(2025, 1, 1), datetime.date(2026, 12, 31)).year
    for name in SIGNS:
        if name != "opening":
            assert getattr(both, name) == sum(getattr(lines, name) for lines in years)
    on_account = sum(
        (
            weight(posting).number
            for entry in entries
            if isinstance(entry, Transaction)
            for posting in entry.postings
            if posting.account == "Assets:Marketplace:Lantern"
        ),
        ZERO,
    )
    assert years[1].held == on_account == truth.left


def test_a_deposit_of_no_known_payout_is_a_difference() -> None:
    # 10.00 left, and 9.65 came without a link: 0.35 of it is missing.
    lines = year(
        sale("2026-03-01", "1", "10.00")
        + payout("2026-03-05", "10.00", to=TRANSIT)
        + deposit("2026-03-07", "9.65")
        + sale("2026-03-20", "2", "1.00"),
    )
    assert (lines.in_transit, lines.difference) == (Decimal("0.35"), Decimal("-0.35"))


def test_a_channel_that_is_not_there() -> None:
    with pytest.raises(UnknownChannelError, match='There is no channel "Moon"; the books have Lantern'):
        year(TURN, name="Moon")
    with pytest.raises(UnknownChannelError, match="the books have no channel"):
        year("", name="Lantern")


@pytest.fixture
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("main.beancount").write_text(HEAD + MORE + TURN, encoding="utf-8")


@pytest.mark.usefixtures("_in_a_folder")
@pytest.mark.parametrize("name", ["Lantern", "lantern", "Assets:Marketplace:Lantern"])
def test_the_command_finds_a_channel_by_name_or_account(name: str) -> None:
    result = CliRunner().invoke(main, ["channel", name, "2026", "--format", "json"])
    lines = json.loads(result.stdout)
    assert tuple(lines) == COLUMNS
    assert (lines["opening"], lines["held"], lines["in_transit"]) == ("0.00", "4.00", "0.35")
    assert lines["transactions"] == 2


@pytest.mark.usefixtures("_in_a_folder")
def test_the_command_shows_a_statement_and_what_is_open() -> None:
    result = CliRunner().invoke(main, ["channel", "lantern", "2026"])
    lines = result.stdout.splitlines()
    assert lines[0].split() == ["Lantern", "2026", "USD", "Total"]
    assert lines[-1] == "2: 0.35 of it has not reached the bank, 5 days after it left."
    assert max(map(display_width, lines)) <= WIDTH


@pytest.mark.usefixtures("_in_a_folder")
def test_the_bank_may_take_longer_when_asked() -> None:
    late = payout("2026-03-05", "4.00", to=TRANSIT) + deposit("2026-03-15", "4.00")
    Path("main.beancount").write_text(HEAD + MORE + sale("2026-03-01", "1", "4.00") + late, encoding="utf-8")
    usual, longer = (
        CliRunner().invoke(main, ["channel", "lantern", "2026", *more]).stdout for more in ([], ["--days", "14"])
    )
    assert "2026-03-05: under way for 10 days" in " ".join(usual.split())
    assert "Paid out, not in the bank" in longer
    assert "under way for" not in longer


@pytest.mark.usefixtures("_in_a_folder")
def test_a_slip_on_the_command_line_ends_in_a_message() -> None:
    result = CliRunner().invoke(main, ["channel", "moon", "2026"])
    assert (result.exit_code, result.stderr) == (1, 'Error: There is no channel "moon"; the books have Lantern.\n')


@pytest.mark.usefixtures("_in_a_folder")
def test_the_state_at_a_day() -> None:
    result = CliRunner().invoke(main, ["channel", "lantern", "2026", "--to", "2026-01-16", "--format", "json"])
    lines = json.loads(result.stdout)
    assert (lines["in_transit"], lines["held"], lines["difference"]) == ("7.00", "0.00", "0.00")


def test_the_open_payouts_are_those_of_the_channel() -> None:
    attic = "2020-01-01 open Assets:Marketplace:Attic"
    accounts = f"{attic} USD\n{attic}:Transit USD\n"
    text = "".join(
        f"""
2026-02-01 * "sale on {name}"
  Income:Sales  -{amount} USD
  Assets:Marketplace:{name}
2026-03-01 * "payout of {name}" ^payout-{name.lower()}
  Assets:Marketplace:{name}  -{amount} USD
  Assets:Marketplace:{name}:Transit
"""
        for name, amount in (("Attic", "10.00"), ("Lantern", "7.00"))
    )
    books = read(accounts + text)
    assert books.last is not None
    for name, amount in (("Attic", "10.00"), ("Lantern", "7.00")):
        found = statement(books, name, datetime.date(2026, 1, 1), books.last)
        assert [str(each.payout.amount) for each in found.open] == [amount]
        assert (str(found.year.paid_out), str(found.year.in_transit)) == (amount, amount)
