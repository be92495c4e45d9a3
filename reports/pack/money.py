"""Money on its way: each channel's payouts, and what the bank had of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millilot.reports.pack.table import Column, Kind, Row, Table
from millilot.reports.payouts import settle, title

if TYPE_CHECKING:
    from millilot.reports.pack.span import Span


def payouts(span: Span) -> Table:
    """Return the payouts that left a channel in the range, and earlier ones that reached the bank in it."""
    found = [
        (settled.payout, title(settled))
        for settlement in settle(span.closing)
        for settled in settlement.payouts
        if settled.payout.date >= span.start
        or settled.payout.bank_date is None
        or settled.payout.bank_date >= span.start
    ]
    found.sort(key=lambda each: (each[0].date, each[0].channel))
    rows = [
        Row(
            {
                "channel": payout.channel,
                "payout": name,
                "date": payout.date,
                "amount": payout.amount,
                "orders": len(payout.orders),
                "state": payout.state.value,
                "bank_date": payout.bank_date,
                "difference": payout.difference,
            },
        )
        for payout, name in found
    ]
    return Table(
        "Payouts",
        f"Payouts, {span.name}",
        (
            Column("channel", "Channel"),
            Column("payout", "Payout"),
            Column("date", "Left on", Kind.DATE),
            Column("amount", "Amount", Kind.MONEY, total=True),
            Column("orders", "Orders", Kind.COUNT),
            Column("state", "State"),
            Column("bank_date", "In the bank on", Kind.DATE),
            Column("difference", "Difference", Kind.MONEY, total=True),
        ),
        tuple(rows),
        "The difference is what reached the bank less what the payout was for; what is under way is in it.",
    )
