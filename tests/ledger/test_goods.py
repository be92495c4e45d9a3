"""How goods are read in a booked transaction."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from beancount.core.amount import Amount
from beancount.core.data import Posting
from beancount.core.position import Cost

from millilot.ledger.accounts import default_roles
from millilot.ledger.goods import stock_postings


@pytest.mark.parametrize(
    ("amount", "is_partner"),
    [
        ("6.48", True),
        ("6.4800000000001", True),
        ("6.4799999999999", True),
        ("6.48000000001", False),
        ("6.47999999999", False),
        ("6.47", False),
    ],
)
def test_a_partner_carries_the_cost_to_within_the_noise_of_28_digits(amount: str, is_partner: bool) -> None:
    cost = Cost(Decimal("1.296"), "USD", datetime.date(2026, 1, 5), "CH-1")
    pair = [
        Posting("Assets:Stock:CedarHour", Amount(Decimal(-5), "CEDARHOUR"), cost, None, None, None),
        Posting("Expenses:Samples", Amount(Decimal(amount), "USD"), None, None, None, None),
    ]
    [stock] = stock_postings(pair, default_roles())
    assert (stock.partner is pair[1]) is is_partner
