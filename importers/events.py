"""From rows to what happened on the channel: orders sold, and refunds.

A file has one row an order, or one row an item with the amounts of the order repeated on each row, on the first
row only, or divided over the rows. Whatever its shape, an order comes out as one `Order`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

from millilot.importers.cells import ZERO, CellReader, found, missing
from millilot.importers.table import RowError
from millilot.importers.totals import check_totals

if TYPE_CHECKING:
    import datetime
    from collections.abc import Callable, Iterable, Iterator
    from decimal import Decimal

    from millilot.importers.profile import FeeColumn, Profile
    from millilot.importers.table import Row


T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Item:
    """Something sold: what the channel calls it, how many, and the price of all of them.

    The row it stands on is no part of what it is: an order is the same in whichever file it stands.
    """

    row: int = field(compare=False)
    title: str
    sku: str
    quantity: int
    price: Decimal


@dataclass(frozen=True, slots=True)
class Sale:
    """An order that was sold; amounts are 0 or above, but a fee given back is below.

    Attributes:
        order: its number.
        date: the day it is booked on.
        ordered: the day of the order.
        settled: the day the channel settled it, or None.
        payout: the number of the payout, or empty.
        items: what was sold.
        postage: what the buyer paid for postage.
        tax: what the buyer paid as tax.
        tax_remitted: whether the channel hands the tax on.
        fees: each fee with its column.
        to_pour: whether it waits to be poured.
    """

    order: str
    date: datetime.date
    ordered: datetime.date
    settled: datetime.date | None
    payout: str
    items: tuple[Item, ...]
    postage: Decimal
    tax: Decimal
    tax_remitted: bool
    fees: tuple[tuple[FeeColumn, Decimal], ...]
    to_pour: bool

    kind = "sale"

    @property
    def net(self) -> Decimal:
        """What it leaves with the channel."""
        price = sum((item.price for item in self.items), ZERO)
        fees = sum((amount for _, amount in self.fees), ZERO)
        return price + self.postage + (ZERO if self.tax_remitted else self.tax) - fees


@dataclass(frozen=True, slots=True)
class Refund:
    """Money that went back to the buyer; whether goods came back, no file tells.

    Attributes:
        order: the number of the order.
        date: the day of the refund.
        titles: what the order was of.
        amount: what went back, without tax.
        tax: what went back of the tax.
        tax_remitted: whether the channel hands the tax on.
        fee: what the channel gave back of its fees.
    """

    order: str
    date: datetime.date
    titles: tuple[str, ...]
    amount: Decimal
    tax: Decimal
    tax_remitted: bool
    fee: Decimal

    kind = "refund"

    @property
    def net(self) -> Decimal:
        """What it leaves with the channel, so below 0."""
        return self.fee - self.amount - (ZERO if self.tax_remitted else self.tax)


Event = Sale | Refund


@dataclass(frozen=True, slots=True)
class Order:
    """The rows of an order, and what they say happened: the sale, and perhaps a refund."""

    order: str
    rows: tuple[int, ...]
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """The rows of an order that are not booked.

    Attributes:
        order: its number, or empty.
        reasons: why, by row.
        refused: whether something is wrong, rather than nothing to book.
        net: what the rows say they left with the channel, None when that cannot be read.
    """

    order: str
    reasons: dict[int, str]
    refused: bool
    net: Decimal | None


class _NothingToBookError(Exception):
    """The profile or the row says that the order is not to be booked; the text says why."""


def read_orders(rows: Iterable[Row], profile: Profile) -> Iterator[Order | LeftOut]:
    """Read the orders in the order of the file; a row without an order's number comes alone."""
    cells = CellReader(profile)
    to_book = []
    for row in check_totals(rows, profile, cells):
        if row.skip:
            yield LeftOut("", {row.number: row.skip}, refused=False, net=None)
        else:
            to_book.append(row)
    for group in _grouped(to_book, profile):
        yield _OrderReader(group, profile, cells).read()


def order_number(row: Row, profile: Profile) -> str:
    """Return the number of the row's order; a leading # is a way of writing, not part of it."""
    return profile.file.order_number(row[profile.columns.order])


def _grouped(rows: Iterable[Row], profile: Profile) -> list[list[Row]]:
    groups: list[list[Row]] = []
    of_order: dict[str, list[Row]] = {}
    for row in rows:
        order = order_number(row, profile)
        if profile.file.row == "item" and order in of_order:
            of_order[order].append(row)
            continue
        groups.append([row])
        if order:
            of_order[order] = groups[-1]
    return groups


class _OrderReader:
    """Reads the rows of one order."""

    def __init__(self, rows: list[Row], profile: Profile, cells: CellReader) -> None:
        self.rows = rows
        self.profile = profile
        self.columns = profile.columns
        self.cells = cells
        self.order = order_number(rows[0], profile)

    def read(self) -> Order | LeftOut:
        numbers = tuple(row.number for row in self.rows)
        try:
            self._require_cells()
            self._require_status()
            events = tuple(self._events())
            self._require_net(events)
        except _NothingToBookError as nothing:
            reasons = dict.fromkeys(numbers, str(nothing))
            return LeftOut(self.order, reasons, refused=False, net=self._readable_net())
        except RowError as error:
            reasons = dict.fromkeys(numbers, f"row {error.row} of the same order is refused")
            reasons[error.row] = error.reason
            return LeftOut(self.order, reasons, refused=True, net=self._readable_net())
        return Order(self.order, numbers, events)

    def _require_cells(self) -> None:
        for row in self.rows:
            if row.problem:
                raise RowError(row.number, row.problem)
        if not self.order:
            raise missing(self.rows[0], self.columns.order, "the number of an order")

    def _require_status(self) -> None:
        statuses = self.profile.statuses
        status = self._text(self.columns.status)
        if status in statuses.skip:
            raise _NothingToBookError(f"status {status}")
        if statuses.book and status not in statuses.known:
            row, heading = self.rows[0], self.columns.status
            expected = f"one of {', '.join(statuses.known)}"
            raise RowError(row.number, f"column '{heading}': expected {expected}, found {found(row, heading)}")

    def _require_net(self, events: tuple[Event, ...]) -> None:
        if not self.columns.net:
            return
        stated = self._amount(self.columns.net, self.cells.amount)
        refund = self.profile.refund
        counted = events if refund and refund.in_net else events[:1]
        computed = sum((event.net for event in counted), ZERO)
        if stated != computed:
            reason = f"expected {computed} from the other columns, found {'nothing' if stated is None else stated}"
            raise RowError(self.rows[0].number, f"column '{self.columns.net}': {reason}")

    def _readable_net(self) -> Decimal | None:
        """Return what the rows left with the channel, as far as they can be read."""
        try:
            if any(row.problem for row in self.rows):
                return None
            return sum((event.net for event in self._events()), ZERO)
        except (RowError, _NothingToBookError):
            return None

    def _events(self) -> Iterator[Event]:
        yield self._sale()
        refund = self._refund()
        if refund is not None:
            yield refund

    def _sale(self) -> Sale:
        ordered = self._date(self.columns.ordered)
        settled = self._date(self.columns.settled)
        if ordered is None:
            raise missing(self.rows[0], self.columns.ordered, "a date")
        if self.profile.dates.book_on == "settled" and settled is None:
            raise _NothingToBookError("not settled yet")
        above = self.cells.amount_above
        return Sale(
            order=self.order,
            date=settled if settled is not None and self.profile.dates.book_on == "settled" else ordered,
            ordered=ordered,
            settled=settled,
            payout=self._text(self.columns.payout),
            items=tuple(map(self._item, self.rows)),
            postage=self._amount(self.columns.postage, above) or ZERO,
            tax=self._amount(self.columns.tax, above) or ZERO,
            tax_remitted=self.profile.tax_remitted,
            fees=tuple(self._fees()),
            to_pour=self._is_to_pour(),
        )

    def _item(self, row: Row) -> Item:
        columns = self.columns
        heading = columns.price or columns.unit_price
        price = self.cells.amount_above(row, heading)
        if price is None:
            raise missing(row, heading, "a price")
        quantity = self.cells.count(row, columns.quantity)
        if columns.unit_price:
            price *= quantity
        return Item(row.number, row[columns.title], row[columns.sku], quantity, price)

    def _fees(self) -> Iterator[tuple[FeeColumn, Decimal]]:
        for fee in self.profile.fees:
            amount = self._amount(fee.column, self.cells.amount)
            if amount:
                yield fee, amount * fee.sign

    def _is_to_pour(self) -> bool:
        shipped = self.columns.shipped
        waits = bool(shipped) and not any(row[shipped] for row in self.rows)
        return waits or self._text(self.columns.status) in self.profile.statuses.to_pour

    def _refund(self) -> Refund | None:
        columns = self.profile.refund
        if columns is None:
            return None

        def amount(heading: str) -> Decimal:
            return (self._amount(heading, self.cells.amount) or ZERO) * columns.sign

        amounts = {heading: amount(heading) for heading in (columns.amount, columns.tax, columns.fee) if heading}
        for heading, number in amounts.items():
            if number < 0:
                side = "above" if columns.sign > 0 else "below"
                reason = f"column '{heading}': expected an amount {side} 0, found {number * columns.sign}"
                raise RowError(self.rows[0].number, reason)
        if not any(amounts.values()):
            return None
        date = self._date(columns.date)
        if date is None:
            raise missing(self.rows[0], columns.date, "the date of the refund")
        return Refund(
            order=self.order,
            date=date,
            titles=tuple(row[self.columns.title] for row in self.rows),
            amount=amounts[columns.amount],
            tax=amounts.get(columns.tax, ZERO),
            tax_remitted=self.profile.tax_remitted,
            fee=amounts.get(columns.fee, ZERO),
        )

    def _amount(self, heading: str, read: Callable[[Row, str], Decimal | None]) -> Decimal | None:
        """Return an amount of the order, from the rows that hold it."""
        first, *others = [(row, read(row, heading)) for row in self.rows]
        if self.profile.file.order_amounts == "each":
            amounts = [amount for _, amount in (first, *others) if amount is not None]
            return sum(amounts, ZERO) if amounts else None
        for row, amount in others:
            if self.profile.file.order_amounts == "repeated" and amount != first[1]:
                raise _contradiction(row, first[0], heading)
            if self.profile.file.order_amounts == "first" and amount:
                expected = f"nothing below row {first[0].number} of the order"
                raise RowError(row.number, f"column '{heading}': expected {expected}, found {found(row, heading)}")
        return first[1]

    def _text(self, heading: str) -> str:
        """Return a text of the order; rows may leave it out, but not contradict each other."""
        return self._only([(row, row[heading]) for row in self.rows], heading) or ""

    def _date(self, heading: str) -> datetime.date | None:
        return self._only([(row, self.cells.date(row, heading)) for row in self.rows], heading)

    @staticmethod
    def _only(values: list[tuple[Row, T]], heading: str) -> T | None:
        stated = [(row, value) for row, value in values if value]
        for row, value in stated[1:]:
            if value != stated[0][1]:
                raise _contradiction(row, stated[0][0], heading)
        return stated[0][1] if stated else None


def _contradiction(row: Row, first: Row, heading: str) -> RowError:
    expected = f"{found(first, heading)} as in row {first.number}"
    return RowError(row.number, f"column '{heading}': expected {expected}, found {found(row, heading)}")
