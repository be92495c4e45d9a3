"""What was sold where, and what the channels kept for it."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.channels import changes_of, read_channels
from millilot.reports import rounding
from millilot.reports.allocation import supplies_drawn
from millilot.reports.pack.table import Column, Holds, Row, Table, minus, plus

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from millilot.ledger.records import Books, Money, Record
    from millilot.reports.pack.span import Span
    from millilot.reports.pack.table import Value

#: What was sold without a channel, and what was swapped.
DIRECT = "(no channel)"
SWAPPED = "(swaps)"

FEE = "fee"

_FEE_ROLES = (Role.FEES, Role.ADS, Role.EXCHANGE)


class Channels:
    """Which channel a transaction belongs to: the one whose money it moves, else that of its order."""

    def __init__(self, books: Books) -> None:
        self._names = {account: channel.name for account, channel in read_channels(books).items()}
        self._of_order: dict[str, str] = {}
        for record in books.records:
            name = self._own(record)
            if name is not None and record.order is not None:
                self._of_order.setdefault(record.order, name)

    def of(self, record: Record) -> str:
        """Return the name of the channel."""
        own = self._own(record)
        return own if own is not None else self._of_order.get(record.order or "", DIRECT)

    def _own(self, record: Record) -> str | None:
        return min((self._names[account] for account in changes_of(record.money)), default=None)


def sales_by_channel(span: Span) -> Table:
    """Return what each channel took: the rows add up to the year's gross receipts and refunds."""
    channels = Channels(span.closing)
    figures: dict[str, dict[str, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
    orders: dict[str, set[object]] = defaultdict(set)
    for record in span.records:
        channel = channels.of(record)
        for money in record.money:
            row = figures[SWAPPED if money.role is Role.SWAPS else channel]
            match money.role:
                case Role.SALES | Role.UNSORTED | Role.SWAPS:
                    discount = money.discount
                    row["gross_items"] += discount - money.amount
                    row["discounts"] += discount
                    if money.amount < 0:
                        row["items"] += _items(money)
                        orders[SWAPPED if money.role is Role.SWAPS else channel].add(
                            record.order or id(record.entry),
                        )
                case Role.POSTAGE_CHARGED:
                    row["postage_charged"] -= money.amount
                case Role.REFUNDS:
                    row["refunds"] += money.amount
        figures[channel]["tax_collected"] += _tax_collected(record)
    rows = []
    for channel in sorted(figures, key=lambda name: (name.startswith("("), name)):
        row = {name: amount for name, amount in figures[channel].items() if amount}
        if row:
            rows.append(_sales_row(span, channel, row, len(orders[channel])))
    return Table(
        "Sales by channel",
        f"Sales by channel, {span.name}",
        (
            Column("year", "Year"),
            Column("channel", "Channel"),
            Column("orders", "Orders", Holds.COUNT, total=True),
            Column("items", "Items", Holds.COUNT, total=True),
            Column("gross_items", "Gross items", Holds.MONEY, total=True),
            Column("discounts", "less discounts", Holds.MONEY, total=True),
            Column("postage_charged", "Postage charged", Holds.MONEY, total=True),
            Column(
                "gross_receipts", "Gross receipts", Holds.MONEY, total=True,
                of=(*plus("gross_items"), *minus("discounts"), *plus("postage_charged")),
            ),
            Column("refunds", "less refunds", Holds.MONEY, total=True),
            Column(
                "net_sales", "Net sales", Holds.MONEY, total=True,
                of=(*plus("gross_receipts"), *minus("refunds")),
            ),
            Column("tax_collected", "Tax collected", Holds.MONEY, total=True),
        ),
        tuple(rows),
        "Before fees; tax collected for others is no receipt and stands beside. Discounts are those the books "
        "name with discount:. An item is a vial, or a bottle sold as it is.",
    )


def _sales_row(span: Span, channel: str, row: Mapping[str, Decimal], orders: int) -> Row:
    cells: dict[str, Value] = {"year": span.name, "channel": channel, "orders": orders}
    cells["items"] = int(row.get("items", ZERO))
    amounts = {
        name: rounding.nearest(row.get(name, ZERO), span.unit)
        for name in ("gross_items", "discounts", "postage_charged", "refunds", "tax_collected")
    }
    gross = amounts["gross_items"] - amounts["discounts"] + amounts["postage_charged"]
    return Row({**cells, **amounts, "gross_receipts": gross, "net_sales": gross - amounts["refunds"]})


def _items(money: Money) -> Decimal:
    """Return how many vials, or bottles as they are, a line sold."""
    for name in ("vials", "quantity"):
        value = money.meta.get(name)
        if isinstance(value, str) and value.isdecimal():
            value = Decimal(value)
        if isinstance(value, Decimal):
            return max(value.to_integral_value(), Decimal(1))
    return Decimal(1)


def _tax_collected(record: Record) -> Decimal:
    """Return the tax that came in; what a refund gives back comes off, whoever hands it on."""
    amounts = [money.amount for money in record.money if money.role is Role.SALES_TAX]
    refunded = any(money.role is Role.REFUNDS for money in record.money)
    if refunded:
        return -sum((amount for amount in amounts if amount > 0), ZERO)
    return -sum((amount for amount in amounts if amount < 0), ZERO)


def fees_by_kind(span: Span) -> Table:
    """Return what the channels kept, by kind: the rows add up to the year's fees, ads and exchange."""
    charged: dict[tuple[str, Role, str], Decimal] = defaultdict(Decimal)
    refunded: dict[tuple[str, Role, str], Decimal] = defaultdict(Decimal)
    channels = Channels(span.closing)
    for record in span.records:
        for role, kind, amount in _fees(record, span.closing):
            (charged if amount > 0 else refunded)[channels.of(record), role, kind] += abs(amount)
    keys = sorted({*charged, *refunded}, key=lambda key: (key[0].startswith("("), key[0], key[1].value, key[2]))
    for role in _FEE_ROLES:
        # Supplies at cost are the only ones that may hold a fraction of a cent.
        of_role = [key for key in keys if key[1] is role]
        exact = [*(charged[key] for key in of_role), *(-refunded[key] for key in of_role)]
        amounts = rounding.shares(exact, span.unit)
        for place, key in enumerate(of_role):
            charged[key], refunded[key] = amounts[place], -amounts[place + len(of_role)]
    rows = [
        Row(
            {
                "channel": channel,
                "line": role.value,
                "kind": kind,
                "amount": charged[channel, role, kind],
                "refunded_fee": refunded[channel, role, kind],
                "net": charged[channel, role, kind] - refunded[channel, role, kind],
            },
        )
        for channel, role, kind in keys
    ]
    return Table(
        "Fees by kind",
        f"Fees, ads and exchange by kind, {span.name}",
        (
            Column("channel", "Channel"),
            Column("line", "Line of the summary"),
            Column("kind", "Holds"),
            Column("amount", "Charged", Holds.MONEY, total=True),
            Column("refunded_fee", "less refunded", Holds.MONEY, total=True),
            Column(
                "net", "Net", Holds.MONEY, total=True, of=(*plus("amount"), *minus("refunded_fee")),
            ),
        ),
        tuple(rows),
        "As the channels reported them, never worked out from a rate. The kind is what fee: says, else the "
        "account.",
    )


def _fees(record: Record, books: Books) -> Iterator[tuple[Role, str, Decimal]]:
    for money in record.money:
        if money.role in _FEE_ROLES and money.amount:
            yield money.role, _kind(money), money.amount
    for role, move in supplies_drawn(record, books):
        if role in _FEE_ROLES and move.cost:
            yield role, "supplies at cost", -move.cost


def _kind(money: Money) -> str:
    kind = money.meta.get(FEE)
    if isinstance(kind, str) and kind:
        # Money that came back says so by its sign; what is called so has no other name.
        return kind
    return money.account.rpartition(":")[2]
