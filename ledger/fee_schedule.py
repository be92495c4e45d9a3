"""What a channel takes of an order, as the owner notes it: a rate on its base, and a fixed part.

In force from its date on, and for estimates only; what was taken comes from the channel's files::

    2026-01-01 custom "fee-schedule" Assets:Marketplace:Lantern "item+postage+tax" 0.13 0.40 USD
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from beancount.core import account as account_names
from beancount.core.amount import Amount
from beancount.core.number import ZERO

if TYPE_CHECKING:
    import datetime

    from beancount.core.data import Custom


class FeeBase(StrEnum):
    """What a rate is taken on, of all that the buyer pays."""

    ITEM = "item"
    POSTAGE = "item+postage"
    TAX = "item+postage+tax"


class Fee(NamedTuple):
    """A fee: a rate (0.13 is 13 %) on its base, and a fixed part an order."""

    base: FeeBase
    rate: Decimal
    fixed: Decimal

    def on(self, item: Decimal, postage: Decimal, tax: Decimal, unit: Decimal) -> Decimal:
        """Return the fee on an order to the minor unit, half of one going up as on most bills.

        Args:
            item: the price of the goods.
            postage: what the buyer pays for postage.
            tax: the buyer's tax on both.
            unit: the smallest amount, such as 0.01.
        """
        base = item
        if self.base is not FeeBase.ITEM:
            base += postage
        if self.base is FeeBase.TAX:
            base += tax
        return (base * self.rate + self.fixed).quantize(unit, ROUND_HALF_UP)


NO_FEE = Fee(FeeBase.ITEM, ZERO, ZERO)


class FeeSchedule(NamedTuple):
    """From a day on, a channel takes this fee of an order.

    Attributes:
        day: the first day it is in force.
        account: the channel's account.
        fee: the fee.
        currency: of the fixed part.
        entry: the directive.
    """

    day: datetime.date
    account: str
    fee: Fee
    currency: str
    entry: Custom


def read_fee_schedule(entry: Custom) -> FeeSchedule | str:
    """Return a fee schedule, or what is wrong with it."""
    match [(value.value, value.dtype) for value in entry.values or []]:
        case [
            (str(account), dtype),
            (str(base), _),
            (Decimal() as rate, _),
            (Amount(number=Decimal() as fixed, currency=str(currency)), _),
        ] if dtype == account_names.TYPE and base in set(FeeBase) and 0 <= rate <= 1 and fixed >= 0:
            return FeeSchedule(entry.date, account, Fee(FeeBase(base), rate, fixed), currency, entry)
    bases = ", ".join(f'"{base}"' for base in FeeBase)
    return (
        f"A fee schedule names the channel's account, what the rate is taken on ({bases}), the rate from 0 to 1 "
        "and the fixed part, not below 0 (a rate and an amount with a minus would be read as one amount); "
        f'expected: {entry.date} custom "fee-schedule" Assets:Marketplace:Lantern "{FeeBase.TAX}" 0.13 0.40 USD'
    )
