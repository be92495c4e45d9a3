"""What was bought and spent: from whom, what it was, and whether there is a document for it."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.channels import changes_of
from millilot.ledger.records import ACQUIRED
from millilot.reports import rounding
from millilot.reports.allocation import supplies_drawn
from millilot.reports.bottles import plain
from millilot.reports.exceptions import has_document
from millilot.reports.pack.table import Column, Holds, Row, Table
from millilot.reports.year_lines import PURCHASED

if TYPE_CHECKING:
    from collections.abc import Mapping

    from millilot.ledger.records import Move, Record
    from millilot.reports.pack.span import Span
    from millilot.reports.pack.table import Value

#: Where money goes besides fees, by the year's line.
_LINES: Mapping[str, frozenset[Role]] = {
    "postage": frozenset({Role.POSTAGE}),
    "packing": frozenset({Role.PACKING}),
    # Money on these accounts; fragrance that went to them is in samples and losses.
    "other_expenses": frozenset({Role.OTHER_EXPENSES, Role.SAMPLES, Role.LOSS}),
    "supplies": frozenset({Role.SUPPLIES_USED}),
    "other_costs": frozenset({Role.OTHER_COSTS, Role.COST_OF_GOODS, Role.SHRINKAGE}),
}

#: Who sells here is a buyer, whose name stays out.
_SELLING = frozenset(
    {Role.SALES, Role.POSTAGE_CHARGED, Role.REFUNDS, Role.SWAPS, Role.UNSORTED, Role.CLAIMS, Role.COMPENSATION},
)

_COMMON = (
    Column("date", "Date", Holds.DATE),
    Column("line", "Line"),
    Column("seller", "Seller"),
    Column("what", "What"),
)


def purchases(span: Span) -> Table:
    """Return each bottle that was bought and what its cost changed by later: the year's purchases."""
    found = [
        (record, move)
        for record in span.records
        for move in record.moves
        if move.bottle in span.closing.fragrances and move.kind in PURCHASED
    ]
    costs = rounding.shares_of([move.cost for _, move in found], span.year.purchases, span.unit)
    rows = []
    for (record, move), cost in zip(found, costs, strict=True):
        bottle = span.closing.bottles[move.bottle]
        rows.append(
            Row(
                {
                    "date": record.date,
                    "line": move.kind.value,
                    "seller": _seller(record),
                    "what": bottle.commodity.name,
                    "bottle": bottle.name,
                    "ml": plain(move.quantity),
                    "amount": cost,
                    "document": _document(span, record),
                },
            ),
        )
    return Table(
        "Purchases",
        f"Purchases of fragrance, {span.name}",
        (
            *_COMMON,
            Column("bottle", "Bottle"),
            Column("ml", "mL", Holds.QUANTITY, total=True),
            Column("amount", "Cost with delivery", Holds.MONEY, total=True),
            Column("document", "Document"),
        ),
        tuple(rows),
        "Each at what it cost with its share of delivery, duty, tax and discounts. A document is what document: "
        "or receipt: names, or one with the link of the purchase.",
    )


def supplies_and_expenses(span: Span) -> Table:
    """Return supplies bought, and postage, packing and other expenses: the expenses add up to the year's lines."""
    rows = [*_supplies_bought(span), *(row for line in _LINES for row in _expenses(span, line))]
    return Table(
        "Supplies and expenses",
        f"Supplies bought, postage, packing and other costs, {span.name}",
        (
            *_COMMON,
            Column("order", "With order"),
            Column("bought", "Bought into stock", Holds.MONEY, total=True),
            Column("amount", "Charged to the line", Holds.MONEY, total=True),
            Column("document", "Document"),
        ),
        tuple(Row(row) for row in rows),
        "Supplies are charged when they are used, at cost. Fees, ads and exchange have a sheet of their own. "
        '"channel" is what a channel reported with an order.',
    )


def _supplies_bought(span: Span) -> list[dict[str, Value]]:
    found: list[tuple[Record, list[Move]]] = []
    for record in span.records:
        moves = [
            move for move in record.moves
            if move.kind in ACQUIRED and not span.closing.bottles[move.bottle].commodity.is_fragrance
        ]
        if moves:
            found.append((record, moves))
    costs = rounding.shares([sum((move.cost for move in moves), ZERO) for _, moves in found], span.unit)
    return [
        {
            "date": record.date,
            "line": "supplies bought",
            "seller": _seller(record),
            "what": ", ".join(_pieces(span, move) for move in moves),
            "bought": cost,
            "document": _document(span, record),
        }
        for (record, moves), cost in zip(found, costs, strict=True)
    ]


def _pieces(span: Span, move: Move) -> str:
    name = span.closing.bottles[move.bottle].commodity.name
    return f"{plain(move.quantity):f} {name}" if move.quantity else f"{name}: {move.kind}"


def _expenses(span: Span, line: str) -> list[dict[str, Value]]:
    roles = _LINES[line]
    rows: list[dict[str, Value]] = []
    exact: list[Decimal] = []
    used: dict[Role, Decimal] = defaultdict(Decimal)
    for record in span.records:
        for money in record.money:
            if money.role in roles and money.amount:
                exact.append(money.amount)
                rows.append(
                    {
                        "date": record.date,
                        "line": line,
                        "seller": _seller(record),
                        "what": _what(record, money.account),
                        "order": record.order,
                        "document": _document(span, record),
                    },
                )
        for role, move in supplies_drawn(record, span.closing):
            if role in roles:
                used[role] -= move.cost
    for cost in used.values():
        if cost:
            exact.append(cost)
            rows.append({"line": line, "what": "taken from stock in all, at cost"})
    amounts = rounding.shares_of(exact, getattr(span.year, line), span.unit)
    return [{**row, "amount": amount} for row, amount in zip(rows, amounts, strict=True)]


def _what(record: Record, account: str) -> str:
    """Return what an expense was for; the words of an order may tell of its buyer and are left out."""
    leaf = account.rpartition(":")[2]
    words = record.entry.narration if _names_seller(record) else ""
    return f"{leaf}: {words}" if words else leaf


def _names_seller(record: Record) -> bool:
    return (
        record.order is None
        and not record.lines
        and not any(money.role in _SELLING for money in record.money)
    )


def _seller(record: Record) -> str | None:
    """Return from whom something was bought; whoever took part in an order or a swap is not named."""
    return record.entry.payee if _names_seller(record) else None


def _document(span: Span, record: Record) -> str:
    if has_document(record, span.documented):
        return "yes"
    return "channel" if record.order is not None and changes_of(record.money) else "no"
