"""Fees as the owner noted them, and as the books show them."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest

from millilot.ledger.fee_schedule import NO_FEE, Fee, FeeBase
from millilot.reports.channel import UnknownChannelError
from millilot.reports.fee_drift import fee_drift
from millilot.reports.fees import fee_of
from millilot.reports.lost_parcels import ENOUGH_ORDERS, lost_parcels

from .books import HEAD, SHELF, read
from .test_check import remarked

DAY = datetime.date(2026, 12, 31)

SCHEDULE = '2026-01-01 custom "fee-schedule" Assets:Marketplace:Lantern "item+postage+tax" 0.13 0.40 USD\n'


def sale(number: int, fee: str, more: str = "", day: str = "2026-02-01") -> str:
    """Return an order of 20.00 with 5.00 of postage and 2.00 of tax, on whose 27.00 a fee was taken."""
    return f"""
{day} * "Lantern" "sold" ^order-{number}{more}
  Income:Sales  -2 CEDARHOUR @@ 20.00 USD
  Income:Postage  -5.00 USD
  Liabilities:SalesTax  -2.00 USD
  Liabilities:SalesTax  2.00 USD
  Expenses:Selling:Fees  {fee} USD
  Assets:Marketplace:Lantern
"""


TAXED = HEAD + "2020-01-01 open Liabilities:SalesTax USD\n"


def test_a_schedule_is_held_against_the_fees_of_the_same_orders() -> None:
    # 13 % of 27.00 and 0.40 are 3.91; twice that are 7.82.
    [drift] = fee_drift(read(SHELF + SCHEDULE + sale(1, "3.91") + sale(2, "4.31"), TAXED))
    assert (drift.channel, drift.orders) == ("Lantern", 2)
    assert (drift.estimated, drift.taken, drift.difference) == (Decimal("7.82"), Decimal("8.22"), Decimal("0.40"))
    # 0.40 / 7.82 = 0.05115
    assert drift.drift == Decimal("0.0512")


def test_a_fee_in_an_entry_of_its_own_belongs_to_its_order() -> None:
    later = """
2026-02-03 * "Lantern" "a fee" ^order-1
  Expenses:Selling:Fees  0.91 USD
  Assets:Marketplace:Lantern
"""
    [drift] = fee_drift(read(SHELF + SCHEDULE + sale(1, "3.00") + later, TAXED))
    assert drift.difference == 0


def test_what_was_refunded_or_sold_elsewhere_or_before_is_not_compared() -> None:
    refund = """
2026-02-03 * "Lantern" "a refund" ^order-2
  Income:Refunds  25.00 USD
  Expenses:Selling:Fees  -3.51 USD
  Assets:Marketplace:Lantern
"""
    elsewhere = """
2026-02-04 * "by hand" ^order-3
  Income:Sales  -2 CEDARHOUR @@ 20.00 USD
  Assets:Bank
"""
    late = SCHEDULE.replace("2026-01-01", "2026-02-01")
    books = read(
        SHELF + late + sale(1, "3.91") + sale(2, "3.91") + refund + elsewhere + sale(4, "9.00", day="2026-01-31"),
        TAXED,
    )
    assert [(drift.orders, drift.taken) for drift in fee_drift(books)] == [(1, Decimal("3.91"))]


def test_a_new_schedule_begins_anew() -> None:
    new = '2026-03-01 custom "fee-schedule" Assets:Marketplace:Lantern "item" 0.15 0 USD\n'
    books = read(SHELF + SCHEDULE + new + sale(1, "3.91") + sale(2, "3.20", day="2026-03-01"), TAXED)
    [drift] = fee_drift(books)
    assert (drift.orders, drift.estimated, drift.taken) == (1, Decimal("3.00"), Decimal("3.20"))
    [before] = fee_drift(books, datetime.date(2026, 2, 28))
    assert before.orders == 2


@pytest.mark.parametrize(
    ("fee", "orders", "remarks"),
    # Where the books show no fees at all, they do not tell against the schedule.
    [("4.31", 10, 1), ("4.31", 9, 0), ("4.10", 10, 0), ("0.00", 10, 0)],
)
def test_a_considerable_drift_is_remarked_on(fee: str, orders: int, remarks: int) -> None:
    # 4.31 instead of 3.91 is 10.2 % more, and 4.10 4.9 % more.
    sales = "".join(sale(number, fee) for number in range(orders))
    found = remarked(SHELF + SCHEDULE + sales, TAXED)
    assert len(found) == remarks
    for line, message in found:
        assert line == SCHEDULE.strip()
        assert "10 orders of Lantern cost 39.10 in fees, and the books show 43.10." in message


def test_the_schedule_of_the_day_is_the_fee() -> None:
    books = read(SHELF + SCHEDULE + sale(1, "3.91"), TAXED)
    fee = fee_of(books, "lantern", DAY)
    assert fee.fee == Fee(FeeBase.TAX, Decimal("0.13"), Decimal("0.40"))
    assert fee.drift is not None
    assert fee.says == "Fee of Lantern: 13 % of item + postage + tax and 0.40, by its schedule of 2026-01-01."
    assert fee_of(books, "Assets:Marketplace:Lantern", DAY) == fee
    # The only channel needs no naming.
    assert fee_of(books, None, DAY).fee == fee.fee
    assert "Lantern, the only channel" in fee_of(books, None, DAY).says


def test_without_a_schedule_the_books_tell_the_rate() -> None:
    books = read(SHELF + sale(1, "3.00") + sale(2, "4.00"), TAXED)
    fee = fee_of(books, "Lantern", DAY)
    # 7.00 of 50.00.
    assert fee.fee == Fee(FeeBase.POSTAGE, Decimal("0.14"), Decimal(0))
    assert fee.says == "Lantern has no fee schedule; 2 of its orders paid 14 % of item + postage."


def test_a_schedule_in_another_currency_is_left_out_and_said() -> None:
    books = read(SHELF + SCHEDULE.replace("USD", "EUR") + sale(1, "3.00"), TAXED)
    assert fee_drift(books) == []
    fee = fee_of(books, "Lantern", DAY)
    assert fee.fee.rate == Decimal("0.12")
    assert "has no fee schedule in USD (that of 2026-01-01 is in EUR)" in fee.says


def test_without_either_there_is_no_fee_and_it_is_said() -> None:
    free = fee_of(read(SHELF + sale(1, "0.00"), TAXED), "Lantern", DAY)
    assert (free.fee, free.says) == (
        NO_FEE, "Lantern has no fee schedule, and the books show no fees of its orders: none is counted.",
    )
    none = fee_of(read(SHELF), None, DAY)
    assert (none.channel, none.fee, none.says) == (None, NO_FEE, "No channel, so no fee (there is none).")


def test_among_several_channels_none_is_assumed() -> None:
    other = SCHEDULE.replace("Lantern", "Tallowgate")
    fee = fee_of(read(SHELF + SCHEDULE + other), None, DAY)
    assert (fee.fee, fee.says) == (NO_FEE, "No channel, so no fee (choose from Lantern, Tallowgate).")


def test_a_schedule_is_held_against_the_orders_of_its_own_channel() -> None:
    other = (SCHEDULE + sale(2, "4.31")).replace("Lantern", "Tallowgate")
    head = TAXED + "2020-01-01 open Assets:Marketplace:Tallowgate USD\n"
    books = read(SHELF + SCHEDULE + sale(1, "3.91") + other, head)
    # 4.31 less 3.91.
    drifts = [fee_of(books, name, DAY).drift for name in ("Lantern", "Tallowgate")]
    assert [drift and (drift.channel, drift.difference) for drift in drifts] == [
        ("Lantern", Decimal("0.00")), ("Tallowgate", Decimal("0.40")),
    ]


def test_an_unknown_channel_is_named_with_those_there_are() -> None:
    with pytest.raises(UnknownChannelError, match="the books have Lantern"):
        fee_of(read(SHELF + SCHEDULE), "Lanten", DAY)


REFUND = """
2026-02-05 * "refund" ^order-{0}
  Income:Refunds  {1} USD
  Assets:Marketplace:Lantern
"""


@pytest.mark.parametrize(
    ("what", "lost"),
    [
        (REFUND.format(1, "20.00"), 1),
        (REFUND.format(1, "19.99"), 0),
        # Poured again.
        ('2026-02-05 * "again" ^order-1\n  Expenses:Loss  2 CEDARHOUR\n', 1),
        # Poured again, and then the first came back.
        (
            ('2026-02-05 * "again" ^order-1\n  Expenses:Loss  2 CEDARHOUR\n'
            '2026-02-09 * "taken back" ^order-1\n  Expenses:Loss  -2 CEDARHOUR\n'),
            0,
        ),
        # Came back.
        (
            REFUND.format(1, "2 CEDARHOUR @@ 20.00"),
            0,
        ),
        # The carrier paid for it.
        (
            REFUND.format(1, "20.00")
            + '2026-02-06 * "paid for" ^order-1\n  Income:Compensation  -20.00 USD\n  Assets:Bank\n',
            0,
        ),
    ],
)
def test_an_order_is_lost_when_its_money_or_a_second_pour_is_gone(what: str, lost: int) -> None:
    books = read(SHELF + sale(1, "0.00") + what, TAXED)
    assert lost_parcels(books) == (lost, 1)
    # One order is too few to tell a share by.
    assert lost_parcels(books).share == 0


def test_an_order_that_was_called_off_is_no_order() -> None:
    books = read(SHELF + sale(1, "0.00", " #cancelled") + REFUND.format(1, "20.00"), TAXED)
    assert lost_parcels(books) == (0, 0)


def test_the_share_of_lost_orders() -> None:
    sales = "".join(sale(number, "0.00") for number in range(ENOUGH_ORDERS))
    assert lost_parcels(read(SHELF + sales + REFUND.format(1, "20.00"), TAXED)).share == Decimal("0.05")
