"""Payouts: what each paid, and whether the bank had it."""

from __future__ import annotations

import datetime
import json
from decimal import Decimal
from pathlib import Path
from textwrap import dedent
from typing import TYPE_CHECKING, NamedTuple

import pytest
from beancount.core.number import ZERO
from click.testing import CliRunner
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from millilot.ledger.channels import read_channels
from millilot.reports.command import main
from millilot.reports.commands.payouts import COLUMNS
from millilot.reports.payouts import Payout, Settled, payouts, settle
from millilot.reports.tables import WIDTH, display_width

from .books import HEAD, SHELF, read
from .test_check import remarked

if TYPE_CHECKING:
    from millilot.ledger.records import Books


#: Accounts of these tests beside the usual ones.
MORE = """
2020-01-01 open Assets:Marketplace:Lantern:Reserve USD
2020-01-01 open Assets:Marketplace:Purse USD
2020-01-01 open Assets:Bank:Euro EUR
2020-01-01 open Expenses:Selling:Exchange USD
2020-01-01 open Income:RoundedUp USD
2020-01-01 open Liabilities:SalesTax USD
2020-01-01 open Equity:Owner USD
"""


def books_of(text: str) -> Books:
    return read(MORE + dedent(text))


def sale(day: str, order: str, net: str, links: str = "", *, tags: str = "", meta: str = "") -> str:
    """Return an order that leaves so much with the channel."""
    lines = f"{meta}\n" if meta else ""
    return (
        f'{day} * "sale" ^order-{order} {links} {tags}\n{lines}'
        f"  Income:Postage  -{net} USD\n  Assets:Marketplace:Lantern  {net} USD\n"
    )


def event(day: str, narration: str, account: str, amount: str, links: str = "", *, tags: str = "") -> str:
    """Return something the channel took (or gave, below nought)."""
    return (
        f'{day} * "{narration}" {links} {tags}\n'
        f"  {account}  {amount} USD\n  Assets:Marketplace:Lantern  {-Decimal(amount)} USD\n"
    )


def payout(day: str, amount: str, link: str = "", to: str = "Assets:Bank") -> str:
    return f'{day} * "payout" {link}\n  Assets:Marketplace:Lantern  {-Decimal(amount)} USD\n  {to}  {amount} USD\n'


TRANSIT = "Assets:Marketplace:Lantern:Transit"


def deposit(day: str, amount: str, link: str = "") -> str:
    return f'{day} * "deposit" {link}\n  {TRANSIT}  {-Decimal(amount)} USD\n  Assets:Bank  {amount} USD\n'


def settled(text: str) -> list[Settled]:
    """Return the payouts of the one channel in some books."""
    [settlement] = settle(books_of(text))
    return list(settlement.payouts)


def figures(row: Payout) -> tuple[str, str, str, str | None]:
    """Return amount, state, difference and the day in the bank."""
    return str(row.amount), row.state.value, str(row.difference), row.bank_date and str(row.bank_date)


def orders(row: Payout) -> set[str]:
    return {order.removeprefix("order-") for order in row.orders}


# --- By the payout's number --------------------------------------------------------------------------------


def test_events_with_the_link_are_what_it_paid() -> None:
    [one] = settled(
        sale("2026-03-01", "1", "10.00", "^payout-1")
        + sale("2026-03-02", "2", "6.49", "^payout-1")
        + payout("2026-03-05", "16.49", "^payout-1"),
    )
    assert figures(one.payout) == ("16.49", "matched", "0.00", "2026-03-05")
    assert one.payout.payout == "payout-1"
    assert orders(one.payout) == {"1", "2"}
    assert one.notes == ()


def test_a_refund_without_the_link_explains_the_difference() -> None:
    # 17.06 + 11.74 are linked; 28.80 - 14.31 = 14.49 were paid.
    [one] = settled(
        sale("2026-03-01", "1", "17.06", "^payout-1")
        + sale("2026-03-02", "2", "11.74", "^payout-1")
        + event("2026-03-03", "refund", "Income:Refunds", "14.31", "^order-0")
        + payout("2026-03-05", "14.49", "^payout-1"),
    )
    assert figures(one.payout) == ("14.49", "explained", "-14.31", "2026-03-05")
    assert one.notes == ("paid besides: refund 0 of 2026-03-03 -14.31",)
    assert one.unexplained == 0


def test_a_difference_nothing_explains_is_open() -> None:
    [one] = settled(
        sale("2026-03-01", "1", "17.06", "^payout-1")
        + event("2026-03-03", "refund", "Income:Refunds", "5.00", "^order-0")
        + payout("2026-03-05", "16.71", "^payout-1"),
    )
    assert figures(one.payout) == ("16.71", "open", "-0.35", "2026-03-05")
    assert one.unexplained == Decimal("-0.35")
    assert "nothing explains the -0.35 that its own events leave" in one.notes[0]


def test_two_things_that_explain_a_difference_are_both_told() -> None:
    [one] = settled(
        sale("2026-03-01", "1", "20.00", "^payout-1")
        + event("2026-03-02", "label", "Expenses:Selling:Postage", "5.00")
        + event("2026-03-03", "advertising", "Expenses:Selling:Ads", "2.00")
        + event("2026-03-03", "store fee", "Expenses:Selling:Fees", "3.00")
        + payout("2026-03-05", "15.00", "^payout-1"),
    )
    assert figures(one.payout) == ("15.00", "open", "-5.00", "2026-03-05")
    assert one.ambiguous
    assert orders(one.payout) == {"1"}
    assert 'ads "advertising" of 2026-03-03 -2.00' in one.notes[0]
    assert 'label "label" of 2026-03-02 -5.00' in one.notes[0]


def test_events_of_a_number_whose_payout_has_none_stay_together() -> None:
    # The file says what L-1 and L-2 paid; the owner wrote the payouts without a link.
    first, second = settled(
        sale("2026-03-01", "1", "10.00", "^payout-L-1")
        + sale("2026-03-01", "2", "7.00", "^payout-L-2")
        + sale("2026-03-02", "3", "5.00", "^payout-L-1")
        + payout("2026-03-05", "15.00")
        + payout("2026-03-06", "7.00"),
    )
    assert (orders(first.payout), orders(second.payout)) == ({"1", "3"}, {"2"})
    assert [each.payout.payout for each in (first, second)] == [None, None]


# --- Without a number --------------------------------------------------------------------------------------

#: Three weeks, paid out on Fridays for what was sold until the Friday before; one order of the first week is held.
WEEKS = (
    sale("2026-03-02", "1", "10.17")
    + sale("2026-03-04", "2", "6.49", tags="#hold")
    + sale("2026-03-05", "3", "17.06")
    + sale("2026-03-09", "4", "7.39")
    + sale("2026-03-11", "5", "19.83")
    + payout("2026-03-13", "27.23")  # 10.17 + 17.06
    + sale("2026-03-16", "6", "13.58")
    + payout("2026-03-20", "33.71")  # 6.49 + 7.39 + 19.83
    + payout("2026-03-27", "13.58")
)


def test_payouts_held_over_a_week_are_found() -> None:
    found = [each.payout for each in settled(WEEKS)]
    assert [orders(row) for row in found] == [{"1", "3"}, {"2", "4", "5"}, {"6"}]
    assert [row.state for row in found] == ["matched"] * 3


def test_a_short_payout_is_open_with_its_nearest_candidate() -> None:
    # 10.17 + 17.06 = 27.23, but 26.88 were paid: 0.35 too little.
    text = WEEKS.replace("27.23", "26.88").replace("6.49", "6.48").replace("33.71", "33.70")
    first, _, third = settled(text)
    assert figures(first.payout)[1:3] == ("open", "-0.35")
    assert "nearest" in first.notes[0]
    assert "differs by -0.35" in first.notes[0]
    assert first.payout.orders == ()
    assert orders(third.payout) == {"6"}


def test_two_explanations_are_told_and_none_is_picked() -> None:
    # 10.00 + 20.00, or 30.00.
    [one] = settled(
        sale("2026-03-01", "1", "10.00")
        + sale("2026-03-02", "2", "20.00")
        + sale("2026-03-03", "3", "30.00")
        + payout("2026-03-05", "30.00"),
    )
    assert figures(one.payout) == ("30.00", "open", "0.00", "2026-03-05")
    assert one.ambiguous
    assert one.payout.orders == ()
    assert one.notes[0] == (
        "2 explanations fit it: sale 1 of 2026-03-01 10.00, sale 2 of 2026-03-02 20.00; "
        "or sale 3 of 2026-03-03 30.00"
    )
    assert one.unexplained == 0


def test_one_link_tells_which_it_was() -> None:
    text = (
        sale("2026-03-01", "1", "10.00", "^payout-1")
        + sale("2026-03-02", "2", "20.00")
        + sale("2026-03-03", "3", "30.00")
        + payout("2026-03-05", "30.00", "^payout-1")
    )
    [one] = settled(text)
    assert orders(one.payout) == {"1", "2"}


def test_of_orders_of_one_amount_none_is_named() -> None:
    [one] = settled(
        sale("2026-03-01", "1", "10.00")
        + sale("2026-03-02", "2", "4.00")
        + sale("2026-03-03", "3", "10.00")
        + payout("2026-03-05", "14.00"),
    )
    assert figures(one.payout) == ("14.00", "matched", "0.00", "2026-03-05")
    assert orders(one.payout) == {"2"}
    assert one.notes == ("another of the same amount may stand for sale 1 of 2026-03-01 10.00",)


def test_settled_says_when_it_may_be_paid() -> None:
    # Order 1 was sold first, but settled after the first payout.
    first, second = settled(
        sale("2026-03-01", "1", "10.00", meta="  settled: 2026-03-06")
        + sale("2026-03-02", "2", "10.00", meta="  settled: 2026-03-03")
        + payout("2026-03-05", "10.00")
        + payout("2026-03-09", "10.00"),
    )
    assert (orders(first.payout), orders(second.payout)) == ({"2"}, {"1"})


# --- Money held, disputes, negative payouts, payouts that came back -------------------------------------------


def test_money_moved_to_the_reserve_is_not_paid_until_it_is_released() -> None:
    # 40.00 - 8.00 held = 32.00; then 8.00 released + 5.00 = 13.00.
    reserve = "Assets:Marketplace:Lantern:Reserve"
    first, second = settled(
        sale("2026-03-01", "1", "40.00")
        + event("2026-03-02", "held back", reserve, "8.00", tags="#hold")
        + payout("2026-03-05", "32.00")
        + event("2026-03-20", "released", reserve, "-8.00", tags="#hold")
        + sale("2026-03-21", "2", "5.00")
        + payout("2026-03-25", "13.00"),
    )
    assert [each.payout.state for each in (first, second)] == ["matched", "matched"]
    assert [each.kind for each in first.events] == ["sale", "hold"]
    assert [each.kind for each in second.events] == ["release", "sale"]


def test_a_dispute_after_the_payout_lowers_a_later_one() -> None:
    # Lost: 20.00 back and 15.00 fee; 50.00 - 35.00 = 15.00.
    first, second = settled(
        sale("2026-03-01", "1", "20.00", "^payout-1")
        + payout("2026-03-05", "20.00", "^payout-1")
        + event("2026-03-10", "dispute lost", "Income:Refunds", "20.00", "^order-1")
        + event("2026-03-10", "dispute fee", "Expenses:Selling:Fees", "15.00", "^order-1")
        + sale("2026-03-11", "2", "50.00", "^payout-2")
        + payout("2026-03-15", "15.00", "^payout-2"),
    )
    assert first.payout.state == "matched"
    assert figures(second.payout)[1:3] == ("explained", "-35.00")
    assert {each.kind for each in second.events} == {"sale", "refund", "fee"}


def test_a_channel_that_is_owed_collects() -> None:
    # 5.00 sold, 12.50 refunded: 7.50 are collected from the bank.
    [one] = settled(
        sale("2026-03-01", "1", "5.00")
        + event("2026-03-02", "refund", "Income:Refunds", "12.50", "^order-0")
        + payout("2026-03-05", "-7.50"),
    )
    assert figures(one.payout) == ("-7.50", "matched", "0.00", "2026-03-05")


def test_a_payout_that_came_back_paid_nothing() -> None:
    failed, again = settled(
        sale("2026-03-01", "1", "10.00", "^payout-1")
        + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
        + payout("2026-03-08", "-10.00", "^payout-1", TRANSIT)
        + payout("2026-03-09", "10.00", "^payout-2", TRANSIT)
        + deposit("2026-03-11", "10.00", "^payout-2"),
    )
    assert figures(failed.payout) == ("10.00", "explained", "-10.00", None)
    assert failed.notes == ("came back on 2026-03-08; what it paid waits for another payout",)
    assert figures(again.payout) == ("10.00", "matched", "0.00", "2026-03-11")
    assert orders(again.payout) == {"1"}


def test_a_payout_without_a_number_that_came_back_is_known_by_its_amount() -> None:
    failed, again = settled(
        sale("2026-03-01", "1", "10.00")
        + payout("2026-03-05", "10.00")
        + payout("2026-03-08", "-10.00")
        + payout("2026-03-09", "10.00"),
    )
    assert [each.payout.state for each in (failed, again)] == ["explained", "matched"]
    assert orders(again.payout) == {"1"}


def test_a_payout_that_came_back_may_leave_again_the_same_day() -> None:
    failed, again = settled(
        sale("2026-03-01", "1", "10.00")
        + payout("2026-03-05", "10.00")
        + payout("2026-03-08", "-10.00")
        + payout("2026-03-08", "10.00"),
    )
    assert [each.payout.state for each in (failed, again)] == ["explained", "matched"]


def test_what_the_channel_is_owed_since_that_day_is_collected() -> None:
    # The refund of all that was paid out last, collected on the day of the refund: no payout failed.
    paid, collected = settled(
        sale("2026-03-01", "1", "10.00")
        + payout("2026-03-05", "10.00")
        + event("2026-03-08", "refund", "Income:Refunds", "10.00", "^order-1")
        + payout("2026-03-08", "-10.00"),
    )
    assert figures(paid.payout) == ("10.00", "matched", "0.00", "2026-03-05")
    assert figures(collected.payout) == ("-10.00", "matched", "0.00", "2026-03-08")


def test_a_label_voided_later_and_an_adjustment_without_an_order() -> None:
    # 20.00 - 5.00 label; then 5.00 for the label again + 1.25 adjustment + 9.00.
    first, second = settled(
        sale("2026-03-01", "1", "20.00")
        + event("2026-03-02", "label", "Expenses:Selling:Postage", "5.00")
        + payout("2026-03-05", "15.00")
        + event("2026-03-12", "label voided", "Expenses:Selling:Postage", "-5.00")
        + event("2026-03-13", "our mistake", "Equity:Owner", "-1.25")
        + sale("2026-03-14", "2", "9.00")
        + payout("2026-03-19", "15.25"),
    )
    assert [each.payout.state for each in (first, second)] == ["matched", "matched"]
    assert [each.kind for each in second.events] == ["label given back", "adjustment", "sale"]


# --- To the bank ---------------------------------------------------------------------------------------------

EARNED = sale("2026-03-01", "1", "10.00", "^payout-1") + sale("2026-03-02", "2", "7.00", "^payout-2")


def test_a_payout_under_way_is_open_until_the_bank_has_it() -> None:
    [settlement] = settle(
        books_of(
            sale("2025-12-30", "1", "10.00", "^payout-1") + payout("2025-12-31", "10.00", "^payout-1", TRANSIT),
        ),
    )
    [one] = settlement.payouts
    assert figures(one.payout) == ("10.00", "open", "-10.00", None)
    assert one.notes == ("under way for 0 days",)
    assert not one.late
    assert one.unexplained == 0


def test_a_deposit_that_is_short_leaves_the_rest_in_transit() -> None:
    first, _ = settled(
        EARNED
        + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
        + deposit("2026-03-07", "9.65", "^payout-1")
        + payout("2026-03-20", "7.00", "^payout-2"),
    )
    assert figures(first.payout) == ("10.00", "open", "-0.35", "2026-03-07")
    assert first.notes == ("0.35 of it has not reached the bank, 15 days after it left",)
    assert first.unexplained == Decimal("-0.35")


def test_a_cost_on_the_way_explains_what_is_missing() -> None:
    first = settled(
        sale("2026-03-01", "1", "10.00", "^payout-1")
        + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
        + """
2026-03-07 * "deposit" ^payout-1
  Assets:Marketplace:Lantern:Transit  -10.00 USD
  Expenses:Selling:Fees                 0.35 USD
  Assets:Bank                           9.65 USD
""",
    )[0]
    assert figures(first.payout) == ("10.00", "explained", "-0.35", "2026-03-07")
    assert first.notes == ("on the way: fees 0.35",)


def test_a_payout_into_another_currency_has_a_line_for_the_conversion() -> None:
    # 10.00 USD leave; 8.82 EUR arrive, worth 9.80 USD; 0.20 is what conversion cost.
    [one] = settled(
        sale("2026-03-01", "1", "10.00")
        + """
2026-03-05 * "payout"
  Assets:Marketplace:Lantern  -10.00 USD
  Expenses:Selling:Exchange     0.20 USD
  Assets:Bank:Euro              8.82 EUR @@ 9.80 USD
""",
    )
    assert figures(one.payout) == ("9.80", "explained", "-0.20", "2026-03-05")
    assert one.notes == ("on the way: exchange 0.20",)


@pytest.mark.parametrize(("day", "expected"), [("2026-03-12", "matched"), ("2026-03-13", "open")])
def test_a_deposit_without_a_link_is_looked_for_within_seven_days(day: str, expected: str) -> None:
    [one] = settled(
        sale("2026-03-01", "1", "10.00", "^payout-1")
        + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
        + deposit(day, "10.00"),
    )
    assert one.payout.state == expected


def test_a_window_of_other_days_can_be_asked_for() -> None:
    text = (
        sale("2026-03-01", "1", "10.00", "^payout-1")
        + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
        + deposit("2026-03-19", "10.00")
    )
    [one] = payouts(books_of(text), days=14)
    assert (one.state, str(one.bank_date)) == ("matched", "2026-03-19")


@pytest.mark.parametrize("link", ["", "^payout-1 ^payout-2"])
def test_one_deposit_for_two_payouts(link: str) -> None:
    found = settled(
        EARNED
        + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
        + payout("2026-03-06", "7.00", "^payout-2", TRANSIT)
        + deposit("2026-03-09", "17.00", link),
    )
    assert [figures(each.payout) for each in found] == [
        ("10.00", "matched", "0.00", "2026-03-09"),
        ("7.00", "matched", "0.00", "2026-03-09"),
    ]
    assert found[0].notes == ("came in one deposit with 2",)


def test_a_deposit_that_fits_two_sets_of_payouts_is_left_open() -> None:
    # 10.00 + 7.00 = 17.00, and so is the third.
    found = settled(
        EARNED
        + sale("2026-03-03", "3", "17.00", "^payout-3")
        + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
        + payout("2026-03-05", "7.00", "^payout-2", TRANSIT)
        + payout("2026-03-05", "17.00", "^payout-3", TRANSIT)
        + deposit("2026-03-09", "17.00"),
    )
    assert [each.payout.state for each in found] == ["open"] * 3
    assert "the deposit of 17.00 on 2026-03-09 fits more than once: 3 or 1 + 2" in found[0].notes


def test_a_deposit_that_names_only_one_of_its_payouts() -> None:
    first, second = settled(
        EARNED
        + payout("2026-03-04", "10.00", "^payout-1", TRANSIT)
        + payout("2026-03-05", "7.00", "^payout-2", TRANSIT)
        + deposit("2026-03-06", "17.00", "^payout-1"),
    )
    assert figures(first.payout) == ("10.00", "matched", "0.00", "2026-03-06")
    assert figures(second.payout) == ("7.00", "matched", "0.00", "2026-03-06")
    assert second.notes == ("came in one deposit with 1",)


def test_what_a_deposit_has_too_much_of_stays_with_the_payout_it_names() -> None:
    # 17.00 for 10.00 while 7.00 and 7.00 are under way: it could be either.
    first, second, third = settled(
        EARNED
        + sale("2026-03-02", "3", "7.00", "^payout-3")
        + payout("2026-03-04", "10.00", "^payout-1", TRANSIT)
        + payout("2026-03-05", "7.00", "^payout-2", TRANSIT)
        + payout("2026-03-05", "7.00", "^payout-3", TRANSIT)
        + deposit("2026-03-06", "17.00", "^payout-1"),
    )
    assert figures(first.payout) == ("10.00", "open", "7.00", "2026-03-06")
    assert [each.payout.bank_date for each in (second, third)] == [None, None]


def test_the_nearest_deposit_is_named() -> None:
    [one] = settled(
        sale("2026-03-01", "1", "10.00", "^payout-1")
        + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
        + deposit("2026-03-07", "9.65"),
    )
    assert one.payout.state == "open"
    assert one.notes == ("under way for 2 days; deposits near it: 9.65 on 2026-03-07",)


def test_a_deposit_of_the_amount_is_named_however_late_it_came() -> None:
    [settlement] = settle(
        books_of(
            sale("2026-03-01", "1", "10.00")
            + payout("2026-03-05", "10.00", to=TRANSIT)
            + deposit("2026-03-15", "10.00")
            + deposit("2026-03-15", "9.65"),
        ),
    )
    [one] = settlement.payouts
    assert one.notes == ("under way for 10 days; deposits near it: 10.00 on 2026-03-15",)
    assert sorted(-stray.transit for stray in settlement.strays) == [Decimal("9.65"), Decimal("10.00")]


def test_a_deposit_that_fits_more_than_once_is_not_stray() -> None:
    # 4.00 + 6.00, or 10.00.
    [settlement] = settle(
        books_of(
            payout("2026-03-02", "4.00", to=TRANSIT)
            + payout("2026-03-03", "6.00", to=TRANSIT)
            + payout("2026-03-04", "10.00", to=TRANSIT)
            + deposit("2026-03-05", "10.00"),
        ),
    )
    assert settlement.strays == ()


# --- From person to person -----------------------------------------------------------------------------------


def test_payments_from_person_to_person() -> None:
    """One without an order, one for two invoices, one rounded up: 12.00 + 25.00 + 15.00 = 52.00 to the bank."""
    [settlement] = settle(
        read(
            MORE
            + SHELF
            + """
2026-03-01 * "From a friend of the circle"
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Marketplace:Purse  12.00 USD
2026-03-02 * "Two invoices in one" ^order-7 ^order-8
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Sales  -5 QUIETREED @@ 13.00 USD
  Assets:Marketplace:Purse  25.00 USD
2026-03-03 * "Rounded up" ^order-9
  Income:Sales  -5 CEDARHOUR @@ 14.50 USD
  Income:RoundedUp  -0.50 USD
  Assets:Marketplace:Purse  15.00 USD
2026-03-04 * "Straight to the bank" ^order-10
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  12.00 USD
2026-03-05 * "To the bank"
  Assets:Marketplace:Purse  -52.00 USD
  Assets:Bank  52.00 USD
""",
        ),
    )
    [one] = settlement.payouts
    assert one.payout.state == "matched"
    assert orders(one.payout) == {"7", "8", "9"}
    assert len(one.events) == 3


# --- A worked statement --------------------------------------------------------------------------------------

#: Two payouts by number. The first pays orders 1 and 2, of which 8.00 are held back:
#:   order 1: 12.00 + 4.95 - 2.20 fees - 4.35 label                       10.40
#:   order 2: 21.00 + 4.95 + 1.60 tax - 1.60 handed on - 3.37 - 5.12      17.46
#:   held back                                                            -8.00
#:   paid out on 9 March                                                  19.86
#: The second pays what was released, order 3, a refund of order 1 and the fee that came back with it:
#:   released 8.00 + order 3 (15.50 - 2.02) 13.48 - refund 12.00 + 1.56   11.04
STATEMENT = """
2026-03-01 * "sale" ^order-1 ^payout-A
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Postage  -4.95 USD
  Expenses:Selling:Fees  2.20 USD
  Expenses:Selling:Postage  4.35 USD
  Assets:Marketplace:Lantern  10.40 USD
2026-03-03 * "sale" ^order-2 ^payout-A
  Income:Sales  -10 CEDARHOUR @@ 21.00 USD
  Income:Postage  -4.95 USD
  Liabilities:SalesTax  -1.60 USD
  Liabilities:SalesTax  1.60 USD
  Expenses:Selling:Fees  3.37 USD
  Expenses:Selling:Postage  5.12 USD
  Assets:Marketplace:Lantern  17.46 USD
2026-03-04 * "held back" ^payout-A #hold
  Assets:Marketplace:Lantern  -8.00 USD
  Assets:Marketplace:Lantern:Reserve  8.00 USD
2026-03-09 * "payout" ^payout-A
  Assets:Marketplace:Lantern  -19.86 USD
  Assets:Bank  19.86 USD
2026-03-12 * "released" #hold
  Assets:Marketplace:Lantern:Reserve  -8.00 USD
  Assets:Marketplace:Lantern  8.00 USD
2026-03-13 * "sale" ^order-3
  Income:Sales  -5 QUIETREED @@ 15.50 USD
  Expenses:Selling:Fees  2.02 USD
  Assets:Marketplace:Lantern  13.48 USD
2026-03-14 * "refund" ^order-1
  Income:Refunds  12.00 USD
  Expenses:Selling:Fees  -1.56 USD
  Assets:Marketplace:Lantern  -10.44 USD
2026-03-16 * "payout"
  Assets:Marketplace:Lantern  -11.04 USD
  Assets:Marketplace:Lantern:Transit  11.04 USD
2026-03-18 * "deposit"
  Assets:Marketplace:Lantern:Transit  -11.04 USD
  Assets:Bank  11.04 USD
"""


def test_a_worked_statement() -> None:
    books = books_of(SHELF + STATEMENT)
    assert [figures(row) for row in payouts(books)] == [
        ("19.86", "matched", "0.00", "2026-03-09"),
        ("11.04", "matched", "0.00", "2026-03-18"),
    ]
    [channel] = read_channels(books).values()
    # All is matched, so nothing is left on the clearing account, nor in its pockets.
    earned = sum(each.amount + each.reserve for each in channel.events)
    assert earned == sum(each.left for each in channel.transfers) == Decimal("30.90")
    assert sum(each.transit for each in channel.transfers) == 0


# --- Laws ----------------------------------------------------------------------------------------------------


class Truth(NamedTuple):
    """Books without numbers, and the orders that each payout paid."""

    text: str
    paid: list[set[str]]
    left: Decimal


@st.composite
def channels(draw: st.DrawFn) -> Truth:
    """Draw weeks of sales and refunds; each payout leaves some out, and the bank has it some days later."""
    day = datetime.date(2026, 1, 5)
    waiting: list[tuple[str, Decimal]] = []
    lines, paid = [MORE], []
    number = 0
    for week in range(draw(st.integers(1, 4))):
        friday = day + datetime.timedelta(days=7 * week + 4)
        fresh = []
        for offset in sorted(draw(st.lists(st.integers(0, 3), min_size=1, max_size=4))):
            number += 1
            cents = draw(st.integers(-1500, 4000).filter(lambda cents: abs(cents) > 100))
            net = Decimal(cents).scaleb(-2)
            on = str(friday - datetime.timedelta(days=4 - offset))
            lines.append(
                sale(on, str(number), str(net))
                if net > 0
                else event(on, "refund", "Income:Refunds", str(-net), f"^order-{number}"),
            )
            fresh.append((str(number), net))
        there = waiting + fresh
        held = draw(st.lists(st.sampled_from(there), max_size=min(2, len(there) - 1), unique=True))
        # What adds up to nothing goes with the first payout that can take it; no amount tells otherwise.
        assume(not held or sum(net for _, net in held))
        chosen = [each for each in there if each not in held]
        waiting = held
        total = sum((net for _, net in chosen), ZERO)
        assume(total)
        paid.append({order for order, _ in chosen})
        late = draw(st.integers(0, 6))
        if late and total > 0:
            lines.append(payout(str(friday), str(total), to=TRANSIT))
            lines.append(deposit(str(friday + datetime.timedelta(days=late)), str(total)))
        else:
            lines.append(payout(str(friday), str(total)))
    return Truth("".join(lines), paid, sum((net for _, net in waiting), ZERO))


@settings(max_examples=60, deadline=None)
@given(channels())
def test_no_payout_is_found_wrong(truth: Truth) -> None:
    books = read(truth.text)
    [settlement] = settle(books)
    for each, paid in zip(settlement.payouts, truth.paid, strict=True):
        # What it says it paid, it paid; what it cannot tell, it says.
        assert orders(each.payout) <= paid
        if each.payout.state != "open" and not any("same amount" in note for note in each.notes):
            assert orders(each.payout) == paid
            assert each.payout.difference == 0
        if each.payout.state == "open":
            assert each.ambiguous or not each.payout.bank_date
    if all(each.payout.state == "matched" for each in settlement.payouts):
        assert sum((each.amount for each in settlement.unpaid), ZERO) == truth.left


@given(st.randoms(use_true_random=False))
@settings(max_examples=15, deadline=None)
def test_the_order_of_writing_changes_nothing(chance: object) -> None:
    blocks = WEEKS.strip().split("\n20")
    entries = [blocks[0], *("20" + block for block in blocks[1:])]
    shuffled = list(entries)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert payouts(books_of("\n".join(shuffled))) == payouts(books_of(WEEKS))


# --- Remarks and the command line ----------------------------------------------------------------------------


def test_a_payout_the_bank_is_missing_something_of_is_remarked_on() -> None:
    text = (
        sale("2026-03-01", "1", "10.00", "^payout-1")
        + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
        + deposit("2026-03-07", "9.65", "^payout-1")
    )
    [(line, message)] = remarked(text)
    assert line == '2026-03-07 * "deposit" ^payout-1'
    assert "0.35 of it has not reached the bank" in message


def test_a_payout_under_way_is_remarked_on_after_a_week() -> None:
    start = sale("2026-03-01", "1", "10.00", "^payout-1") + payout("2026-03-05", "10.00", "^payout-1", TRANSIT)
    assert remarked(start + sale("2026-03-12", "2", "1.00")) == []
    [(_, message)] = remarked(start + sale("2026-03-13", "2", "1.00"))
    assert "under way for 8 days" in message


def test_books_whose_payouts_nobody_matched_are_left_alone() -> None:
    assert remarked(sale("2026-03-01", "1", "10.00") + payout("2026-03-05", "8.00")) == []
    assert remarked(payout("2026-03-05", "8.00", "^payout-1")) == []


def test_several_explanations_are_no_remark() -> None:
    text = "".join(sale("2026-03-01", str(order), f"{order}0.00") for order in (1, 2, 3))
    assert remarked(text + payout("2026-03-05", "30.00")) == []


def run(*arguments: str, books: str) -> tuple[int, str, str]:
    Path("main.beancount").write_text(HEAD + MORE + books, encoding="utf-8")
    result = CliRunner().invoke(main, arguments)
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.usefixtures("_in_a_folder")
def test_the_command_shows_payouts_and_what_is_open() -> None:
    _, out, _ = run("payouts", books=SHELF + STATEMENT + sale("2026-03-20", "4", "5.00"))
    lines = out.splitlines()
    assert max(map(display_width, lines)) <= WIDTH
    assert [line.split()[-2] for line in lines[2:4]] == ["matched", "matched"]
    assert lines[-1] == "Lantern: not paid out yet, or not known to be: 5.00 (sale 4 of 2026-03-20 5.00)."


@pytest.mark.usefixtures("_in_a_folder")
def test_the_total_has_what_the_payouts_differ_by() -> None:
    # 10.00 left and came back; 10.00 left again and is in the bank.
    text = (
        sale("2026-03-01", "1", "10.00") + payout("2026-03-05", "10.00")
        + payout("2026-03-08", "-10.00") + payout("2026-03-09", "10.00")
    )
    _, out, _ = run("payouts", books=text)
    [total] = [line.split() for line in out.splitlines() if line.startswith("Total")]
    assert total == ["Total", "20.00", "-10.00"]


@pytest.mark.usefixtures("_in_a_folder")
def test_the_command_shows_deposits_of_no_known_payout() -> None:
    _, out, _ = run("payouts", books=sale("2026-03-01", "1", "10.00") + deposit("2026-03-05", "10.00"))
    assert out.splitlines()[0] == "No payouts."
    assert out.splitlines()[-1] == "Lantern: in the bank for no known payout: 10.00 on 2026-03-05."


@pytest.mark.usefixtures("_in_a_folder")
def test_json_has_the_keys_of_the_vocabulary() -> None:
    asked = ("--format", "json", "--channel", "lantern", "--year", "2026")
    _, out, _ = run("payouts", *asked, books=SHELF + STATEMENT)
    first, second = json.loads(out)
    assert tuple(first) == COLUMNS
    assert first == {
        "payout": "payout-A",
        "channel": "Lantern",
        "date": "2026-03-09",
        "amount": "19.86",
        "orders": ["order-1", "order-2"],
        "state": "matched",
        "bank_date": "2026-03-09",
        "difference": "0.00",
    }
    assert second["payout"] is None


@pytest.mark.usefixtures("_in_a_folder")
def test_another_year_has_no_payouts_and_another_channel_is_a_slip() -> None:
    assert json.loads(run("payouts", "--format", "json", "--year", "2025", books=SHELF + STATEMENT)[1]) == []
    status, _, err = run("payouts", "--channel", "Tallowgate", books=SHELF + STATEMENT)
    assert status == 1
    assert err == 'Error: There is no channel "Tallowgate"; the books have Lantern.\n'
