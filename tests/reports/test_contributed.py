"""Bottles owned before and estimates, as the year shows them."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.reports.contributed import contributed

if TYPE_CHECKING:
    from millilot.ledger.records import Books

YEAR = datetime.date(2026, 1, 1), datetime.date(2026, 12, 31)


def test_a_bottle_owned_before_is_shown_with_what_was_paid_and_what_it_is_worth(books: Books) -> None:
    """
    2026-01-20 * "from my own shelf"
      Assets:Stock:CedarHour  40 CEDARHOUR {{30.00 USD, "CH-0"}}
        estimated: TRUE
        paid: 55.00 USD
        market-value: 30.00 USD
      Equity:Contributed  -30.00 USD
    """
    assert contributed(books, *YEAR) == [
        {
            "bottle": "CH-0",
            "fragrance": "Cedar Hour",
            "bought": datetime.date(2026, 1, 20),
            "ml": 40,
            "cost": Decimal("30.00"),
            "paid": Decimal("55.00"),
            "market_value": Decimal("30.00"),
            "estimated": True,
        },
    ]


def test_an_estimated_purchase_is_shown_and_a_proven_one_is_not(books: Books) -> None:
    """
    2026-01-20 * "second-hand, no receipt"
      Assets:Stock:CedarHour  40 CEDARHOUR {{30.00 USD, "CH-0"}}
        estimated: TRUE
      Assets:Bank  -30.00 USD
    """
    [row] = contributed(books, *YEAR)
    assert (row["bottle"], row["paid"], row["estimated"]) == ("CH-0", None, True)


def test_another_year_does_not_show_it(books: Books) -> None:
    """
    2026-01-20 * "from my own shelf"
      Assets:Stock:CedarHour  40 CEDARHOUR {{30.00 USD, "CH-0"}}
      Equity:Contributed  -30.00 USD
    """
    assert contributed(books, datetime.date(2027, 1, 1), datetime.date(2027, 12, 31)) == []
