"""How a year reads as a statement, wherever it is shown, and what has to be said with it."""

from __future__ import annotations

from typing import NamedTuple

CAUTION = "Records, not tax advice; local rules and a licensed preparer have the say."


class Line(NamedTuple):
    """A line: what it is called, its name among the figures of a year, and whether it is a total."""

    caption: str
    name: str
    is_total: bool = False


#: The statement in its parts: captions and names of lines, and whether one is a total.
STATEMENT = (
    (
        Line("Gross receipts", "gross_receipts"),
        Line("less refunds", "refunds"),
        Line("Net receipts", "net_receipts", is_total=True),
    ),
    (
        Line("Opening stock", "opening_stock"),
        Line("Purchases", "purchases"),
        Line("Contributed (owned before)", "contributed"),
        Line("less personal use", "personal_use"),
        Line("less samples", "samples"),
        Line("less losses", "losses"),
        Line("Supplies", "supplies"),
        Line("Other costs", "other_costs"),
        Line("less closing stock", "closing_stock"),
        Line("Cost of goods sold", "cost_of_goods_sold", is_total=True),
    ),
    (
        Line("Gross profit", "gross_profit", is_total=True),
        Line("Other income", "other_income"),
        Line("Hobby income", "hobby_income", is_total=True),
    ),
    (
        Line("Fees", "fees"),
        Line("Postage", "postage"),
        Line("Packing", "packing"),
        Line("Ads", "ads"),
        Line("Exchange", "exchange"),
        Line("Samples", "samples"),
        Line("Losses", "losses"),
        Line("Other expenses", "other_expenses"),
        Line("Business profit", "business_profit", is_total=True),
    ),
    (
        Line("Supplies on hand, start", "supplies_on_hand_open"),
        Line("Supplies on hand, end", "supplies_on_hand_close"),
        Line("Claims held, start", "claims_held_open"),
        Line("Claims held, end", "claims_held_close"),
        Line("Receipts if counted when paid", "receipts_if_counted_when_paid", is_total=True),
        Line("Transactions (payments received)", "transactions"),
    ),
)
