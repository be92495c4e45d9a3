"""A year's totals: receipts, cost of goods sold and expenses, as a year-end form asks for them.

Cost of goods sold is worked out the way such forms do, from opening stock, what came in and closing stock;
because every mL that left is in the books, it equals what the books charged. Nothing here is tax advice.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

from millilot.ledger.accounts import Role
from millilot.ledger.money import minor_unit
from millilot.ledger.records import ZERO, Kind
from millilot.reports import rounding
from millilot.reports.allocation import supplies_drawn
from millilot.reports.bottles import GIVEN

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Mapping
    from decimal import Decimal

    from millilot.ledger.records import Books, Move, Record

PURCHASED = frozenset({Kind.BOUGHT, Kind.SWAPPED_IN, Kind.LATE_COST, Kind.SUPPLIER_RETURN})

_PAYMENT_ROLES = frozenset({Role.SALES, Role.POSTAGE_CHARGED, Role.UNSORTED})
_RECEIPT_ROLES = _PAYMENT_ROLES | {Role.SWAPS}

#: Lines that may have a fraction of a cent, because they hold goods at cost.
_MOVABLE = (
    "personal_use",
    "samples",
    "losses",
    "supplies",
    "packing",
    "other_expenses",
    "other_costs",
    "contributed",
    "purchases",
)


@dataclass(frozen=True, slots=True)
class Year:
    """The totals of a range of days, in the operating currency.

    Lines taken away (refunds, personal_use, samples, losses, closing_stock, all expenses) are positive.
    """

    gross_receipts: Decimal
    refunds: Decimal
    net_receipts: Decimal
    opening_stock: Decimal
    purchases: Decimal
    contributed: Decimal
    personal_use: Decimal
    supplies: Decimal
    other_costs: Decimal
    closing_stock: Decimal
    supplies_on_hand_open: Decimal
    supplies_on_hand_close: Decimal
    cost_of_goods_sold: Decimal
    gross_profit: Decimal
    fees: Decimal
    postage: Decimal
    packing: Decimal
    ads: Decimal
    exchange: Decimal
    samples: Decimal
    losses: Decimal
    other_expenses: Decimal
    other_income: Decimal
    hobby_income: Decimal
    business_profit: Decimal
    transactions: int
    claims_held_open: Decimal
    claims_held_close: Decimal
    receipts_if_counted_when_paid: Decimal

    def rounded(self, currency: str) -> Year:
        """Return the totals in minor units of a currency, every sum of them right.

        Stock is rounded by itself, so that it opens as it closed the year before. Other lines of cost that
        are not whole go up or down so that cost of goods and profit are right too.
        """
        lines = {
            field.name: getattr(self, field.name)
            for field in fields(self)
            if field.name not in _TOTALS and field.name != "transactions"
        }

        def results(lines: Mapping[str, Decimal]) -> tuple[Decimal, Decimal]:
            totals = _totals(lines)
            return totals["cost_of_goods_sold"], totals["business_profit"]

        return _schedule(rounding.schedule(lines, _MOVABLE, results, minor_unit(currency)), self.transactions)


def year(books: Books, start: datetime.date, end: datetime.date) -> Year:
    """Return the exact totals of a year, or of any range of days.

    Args:
        books: books read up to the last day or later.
        start: the first day.
        end: the last day, itself included.
    """
    before = [record for record in books.records if record.date < start]
    within = [record for record in books.records if start <= record.date <= end]
    upto = [*before, *within]
    account = amounts_by_role(within, books)
    liquid = [move for move in moves_of(within) if books.bottles[move.bottle].commodity.is_fragrance]
    claims_open, claims_close = (-amounts_by_role(records, books)[Role.CLAIMS] for records in (before, upto))
    lines = {
        "gross_receipts": -sum((account[role] for role in _RECEIPT_ROLES), ZERO),
        "refunds": account[Role.REFUNDS],
        "opening_stock": stock_value(before, books, fragrance=True),
        "purchases": cost_of(liquid, PURCHASED),
        "contributed": cost_of(liquid, {Kind.CONTRIBUTED}),
        "personal_use": -cost_of(liquid, {Kind.KEPT}),
        "supplies": account[Role.SUPPLIES_USED],
        "other_costs": account[Role.OTHER_COSTS] + account[Role.COST_OF_GOODS] + account[Role.SHRINKAGE],
        "closing_stock": stock_value(upto, books, fragrance=True),
        "supplies_on_hand_open": stock_value(before, books, fragrance=False),
        "supplies_on_hand_close": stock_value(upto, books, fragrance=False),
        "fees": account[Role.FEES],
        "postage": account[Role.POSTAGE],
        "packing": account[Role.PACKING],
        "ads": account[Role.ADS],
        "exchange": account[Role.EXCHANGE],
        "samples": -cost_of(liquid, GIVEN),
        "losses": -cost_of(liquid, {Kind.LOST}),
        "other_expenses": account[Role.OTHER_EXPENSES] + account[Role.SAMPLES] + account[Role.LOSS],
        "other_income": -account[Role.COMPENSATION],
        "claims_held_open": claims_open,
        "claims_held_close": claims_close,
    }
    return _schedule(lines, payments(within))


def amounts_by_role(records: Iterable[Record], books: Books) -> Mapping[Role, Decimal]:
    """Return what stands on the accounts of each role: money as posted, and supplies at cost.

    Fragrance is not in it: it is read as mL that left a bottle. A role without an amount has nought.
    """
    amounts: dict[Role, Decimal] = defaultdict(lambda: ZERO)
    for record in records:
        for money in record.money:
            amounts[money.role] += money.amount
        for role, move in supplies_drawn(record, books):
            amounts[role] -= move.cost
    return amounts


def moves_of(records: Iterable[Record]) -> Iterator[Move]:
    """Yield all moves of some records."""
    for record in records:
        yield from record.moves


def cost_of(moves: Iterable[Move], kinds: Iterable[Kind]) -> Decimal:
    """Return the cost that came in (positive) or left (negative) for some reasons."""
    wanted = frozenset(kinds)
    return sum((move.cost for move in moves if move.kind in wanted), ZERO)


def stock_value(records: Iterable[Record], books: Books, *, fragrance: bool) -> Decimal:
    """Return the cost of all fragrance, or of all supplies, that is left after some records."""
    return sum(
        (
            move.cost
            for move in moves_of(records)
            if books.bottles[move.bottle].commodity.is_fragrance is fragrance
        ),
        ZERO,
    )


def payments(records: Iterable[Record]) -> int:
    """Return how many payments came in: one for all receipts of an order, one for a receipt without an order."""
    paid = [
        record
        for record in records
        if any(money.role in _PAYMENT_ROLES and money.amount < 0 for money in record.money)
    ]
    orders = {record.order for record in paid if record.order is not None}
    return len(orders) + sum(record.order is None for record in paid)


def _totals(lines: Mapping[str, Decimal]) -> dict[str, Decimal]:
    """Return the totals of a schedule from its lines."""
    net_receipts = lines["gross_receipts"] - lines["refunds"]
    cost_of_goods_sold = (
        lines["opening_stock"]
        + lines["purchases"]
        + lines["contributed"]
        - lines["personal_use"]
        - lines["samples"]
        - lines["losses"]
        + lines["supplies"]
        + lines["other_costs"]
        - lines["closing_stock"]
    )
    gross_profit = net_receipts - cost_of_goods_sold
    hobby_income = gross_profit + lines["other_income"]
    expenses = (
        lines["fees"]
        + lines["postage"]
        + lines["packing"]
        + lines["ads"]
        + lines["exchange"]
        + lines["samples"]
        + lines["losses"]
        + lines["other_expenses"]
    )
    return {
        "net_receipts": net_receipts,
        "cost_of_goods_sold": cost_of_goods_sold,
        "gross_profit": gross_profit,
        "hobby_income": hobby_income,
        "business_profit": hobby_income - expenses,
        "receipts_if_counted_when_paid": (
            lines["gross_receipts"] + lines["claims_held_close"] - lines["claims_held_open"]
        ),
    }


#: The names of the totals.
_TOTALS = frozenset(
    {
        "net_receipts",
        "cost_of_goods_sold",
        "gross_profit",
        "hobby_income",
        "business_profit",
        "receipts_if_counted_when_paid",
    },
)


def _schedule(lines: Mapping[str, Decimal], transactions: int) -> Year:
    return Year(**{**lines, **_totals(lines)}, transactions=transactions)
