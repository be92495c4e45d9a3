"""What records say of themselves."""

from __future__ import annotations

from decimal import Decimal

import pytest
from beancount.core.amount import Amount

from millilot.ledger.accounts import Role
from millilot.ledger.records import Money


@pytest.mark.parametrize(
    ("written", "discount"),
    [
        (Amount(Decimal("2.50"), "USD"), "2.50"),
        ("2.50 USD", "2.50"),
        ("twice", "0"),
        (Decimal("2.50"), "0"),
        (None, "0"),
    ],
)
def test_discount_is_read_as_an_amount_or_as_text(written: object, discount: str) -> None:
    money = Money(Role.SALES, "Income:Sales", Decimal(-12), meta={"discount": written})
    assert money.discount == Decimal(discount)
