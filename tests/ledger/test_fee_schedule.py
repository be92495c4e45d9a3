"""What a channel takes, as the owner writes it."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from beancount import loader

from millilot.ledger.directives import Complaint, Settings, read_settings
from millilot.ledger.fee_schedule import Fee, FeeBase

LANTERN = "Assets:Marketplace:Lantern"
CENT = Decimal("0.01")


def read(text: str) -> tuple[Settings, list[Complaint]]:
    entries, errors, _ = loader.load_string(text)
    assert errors == []
    return read_settings(entries)


@pytest.mark.parametrize("base", list(FeeBase))
def test_a_schedule_is_read(base: FeeBase) -> None:
    settings, complaints = read(f'2026-01-01 custom "fee-schedule" {LANTERN} "{base}" 0.13 0.40 USD')
    assert complaints == []
    [schedule] = settings.fee_schedules
    assert schedule.account == LANTERN
    assert schedule.fee == Fee(base, Decimal("0.13"), Decimal("0.40"))
    assert (schedule.day, schedule.currency) == (datetime.date(2026, 1, 1), "USD")


def test_a_schedule_is_in_force_from_its_day_on_and_for_its_channel() -> None:
    settings, _ = read(f"""
2026-03-01 custom "fee-schedule" {LANTERN} "item" 0.15 0 USD
2026-01-01 custom "fee-schedule" {LANTERN} "item" 0.13 0 USD
""")
    rates = [
        schedule and schedule.fee.rate
        for schedule in (
            settings.fee_schedule(LANTERN, datetime.date(2025, 12, 31)),
            settings.fee_schedule(LANTERN, datetime.date(2026, 1, 1)),
            settings.fee_schedule(LANTERN, datetime.date(2026, 2, 28)),
            settings.fee_schedule(LANTERN, datetime.date(2026, 3, 1)),
            settings.fee_schedule("Assets:Marketplace:Tallowgate", datetime.date(2026, 3, 1)),
        )
    ]
    assert rates == [None, Decimal("0.13"), Decimal("0.13"), Decimal("0.15"), None]


@pytest.mark.parametrize(
    "values",
    [
        f'{LANTERN} "item" 0.13',
        f'{LANTERN} "item" 0.13 0.40 USD 1',
        f'{LANTERN} "item" 13 0.40 USD',
        f'{LANTERN} "item" -0.13 0.40 USD',
        # Beancount reads a rate and an amount with a minus as one amount.
        f'{LANTERN} "item" 0.13 -0.40 USD',
        f'{LANTERN} "item" 0.13 (-0.40) USD',
        f'{LANTERN} "items" 0.13 0.40 USD',
        f'{LANTERN} "item" "0.13" 0.40 USD',
        f'{LANTERN} "item" 0.13 0.40',
        f'"{LANTERN}" "item" 0.13 0.40 USD',
        f'"item" {LANTERN} 0.13 0.40 USD',
        '"item"',
    ],
)
def test_another_shape_is_a_complaint_that_shows_the_expected_line(values: str) -> None:
    settings, [complaint] = read(f'2026-01-01 custom "fee-schedule" {values}')
    assert settings.fee_schedules == ()
    assert complaint.source["lineno"] == 1
    assert complaint.message.endswith(
        f'expected: 2026-01-01 custom "fee-schedule" {LANTERN} "item+postage+tax" 0.13 0.40 USD',
    )
    assert '("item", "item+postage", "item+postage+tax")' in complaint.message


@pytest.mark.parametrize(
    ("base", "fee"),
    # 13 % of 20.00, of 25.00 and of 27.00, each with 0.40.
    [(FeeBase.ITEM, "3.00"), (FeeBase.POSTAGE, "3.65"), (FeeBase.TAX, "3.91")],
)
def test_a_fee_is_taken_on_its_base(base: FeeBase, fee: str) -> None:
    taken = Fee(base, Decimal("0.13"), Decimal("0.40")).on(Decimal(20), Decimal(5), Decimal(2), CENT)
    assert taken == Decimal(fee)


@pytest.mark.parametrize(("item", "fee"), [("0.49", "0.05"), ("0.50", "0.05"), ("0.45", "0.05"), ("0.44", "0.04")])
def test_half_a_cent_of_a_fee_goes_up(item: str, fee: str) -> None:
    taken = Fee(FeeBase.ITEM, Decimal("0.1"), Decimal(0)).on(Decimal(item), Decimal(0), Decimal(0), CENT)
    assert taken == Decimal(fee)
