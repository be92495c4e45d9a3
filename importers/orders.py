"""From rows to orders, where a row is an order or an item of one.

Postage, tax, fees, refund and net of an order with a row for each item are repeated on each row, stand on the
first row only, or are divided over the rows. Whatever its shape, an order comes out as one group.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from beancount.core.number import ZERO

from millilot.importers.cells import CellReader, found, missing
from millilot.importers.events import (
    Dates,
    Event,
    Extra,
    Fee,
    Group,
    Item,
    LeftOut,
    NothingToBookError,
    Refund,
    Sale,
    fees_from,
)
from millilot.importers.sharing import share
from millilot.importers.standing import (
    day_to_book,
    is_in_currency,
    money_taken,
    require_currency,
    require_standing,
)
from millilot.importers.table import RowError
from millilot.ledger.accounts import Role

if TYPE_CHECKING:
    import datetime
    from collections.abc import Callable, Iterable, Iterator
    from decimal import Decimal

    from millilot.importers.profile import Profile
    from millilot.importers.table import Row


T = TypeVar("T")


def read_orders(rows: Iterable[Row], profile: Profile) -> Iterator[Group | LeftOut]:
    """Read the orders in the order of the file; a row without an order's number comes alone."""
    cells = CellReader(profile)
    for group in _grouped(rows, profile):
        yield _OrderReader(group, profile, cells).read()


def order_number(row: Row, profile: Profile) -> str:
    """Return the number of the row's order; a leading # is a way of writing, not part of it."""
    return profile.file.order_number(row[profile.columns.order])


def _grouped(rows: Iterable[Row], profile: Profile) -> Iterable[list[Row]]:
    """Return the rows of each order; where a row is an order, as they are read, so that none has to be held."""
    if profile.file.row == "order":
        return ([row] for row in rows)
    groups: list[list[Row]] = []
    of_order: dict[str, list[Row]] = {}
    for row in rows:
        order = order_number(row, profile)
        if order in of_order:
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
        # Of most orders there is one row, and nothing to compare it with.
        self._row = rows[0] if len(rows) == 1 else None
        self.profile = profile
        self.columns = profile.columns
        self.cells = cells
        self.order = order_number(rows[0], profile)
        # The parts of an order that has a row for each are known apart, since they may come in different files.
        written = rows[0][profile.columns.order].lstrip("#").strip()
        self.number = written if profile.file.row == "order" else self.order
        self.cancelled = False
        self._own_extras = False

    def read(self) -> Group | LeftOut:
        numbers = tuple(row.number for row in self.rows)
        try:
            self._require_cells()
            self.cancelled = self._is_cancelled()
            events = self._checked_events()
        except NothingToBookError as nothing:
            reasons = dict.fromkeys(numbers, str(nothing))
            return LeftOut(self.order, reasons, refused=False, net=self._readable_net(), unless_booked=True)
        except RowError as error:
            reasons = dict.fromkeys(numbers, f"row {error.row} of the same order is refused")
            reasons[error.row] = error.reason
            return LeftOut(self.order, reasons, refused=True, net=self._readable_net())
        return Group(self.order, numbers, events)

    def _checked_events(self) -> tuple[Event, ...]:
        """Return what happened, which makes the net amount.

        Where the amounts of an order are repeated, or stand on its first row, each item may have extras of its own
        all the same. Nothing but the net amount shows it.
        """
        try:
            return self._events_of_net()
        except RowError as error:
            shared = self._row is None and self.profile.file.order_amounts != "each"
            if not (shared and self.columns.extras and self.columns.net) or self.cancelled:
                raise
            self._own_extras = True
            try:
                return self._events_of_net()
            except RowError:
                self._own_extras = False
                raise error from None

    def _events_of_net(self) -> tuple[Event, ...]:
        events = tuple(self._events())
        self._require_net(events)
        return events

    def _require_cells(self) -> None:
        for row in self.rows:
            if row.problem:
                raise RowError(row.number, row.problem)
            if self.columns.currency:
                require_currency(row, self.profile)
        if not self.order:
            raise missing(self.rows[0], self.columns.order, "the number of an order")

    def _is_cancelled(self) -> bool:
        status = self._text(self.columns.status)
        cancelled = require_standing(self.rows[0], status, self.profile, self._money_taken)
        said = self._text(self.columns.cancelled) if self.columns.cancelled else ""
        if said and not cancelled:
            if not self._money_taken():
                raise NothingToBookError(f"column '{self.columns.cancelled}' says {said}")
            return True
        return cancelled

    def _money_taken(self) -> str:
        """Return which cell shows that money was taken, empty when none does."""
        refund = self.profile.refund
        for row in self.rows:
            heading = money_taken(row, self.profile)
            if not heading and refund is not None and self.cells.amount(row, refund.amount):
                heading = refund.amount
            if heading:
                return heading
        return ""

    def _require_net(self, events: tuple[Event, ...]) -> None:
        if not self.columns.net:
            return
        stated = self._amount(self.columns.net)
        refund = self.profile.refund
        counted = events if refund and refund.in_net else events[:1]
        computed = sum([event.net for event in counted], ZERO)
        if self.cancelled and stated in {None, sum((event.net for event in events), ZERO)}:
            return
        # Some files write no amount where it is 0.
        if (ZERO if stated is None else stated) != computed:
            reason = f"expected {computed} from the other columns, found {'nothing' if stated is None else stated}"
            raise RowError(self.rows[0].number, f"column '{self.columns.net}': {reason}")

    def _readable_net(self) -> Decimal | None:
        """Return what the rows left with the channel, as far as they can be read."""
        if any(row.problem or not is_in_currency(row, self.profile) for row in self.rows):
            return None
        try:
            return sum((event.net for event in self._events()), ZERO)
        except (RowError, NothingToBookError):
            return self._stated_net()

    def _stated_net(self) -> Decimal | None:
        """Return the net amount that the file states, where the others do not tell."""
        try:
            return self._amount(self.columns.net)
        except RowError:
            return None

    def _events(self) -> Iterator[Event]:
        sale = self._sale()
        yield sale
        refund = self._refund(sale)
        if refund is not None:
            yield refund

    def _sale(self) -> Sale:
        columns = self.columns
        dates = Dates(self._date(columns.ordered), self._date(columns.settled), self._date(columns.paid_out))
        if dates.ordered is None:
            raise missing(self.rows[0], columns.ordered, "a date")
        tax = self._amount_above(columns.tax) or ZERO
        return Sale(
            number=self.number,
            order=self.order,
            date=day_to_book(dates, dates.ordered, self.profile),
            dates=dates,
            payout=self._text(columns.payout),
            items=self._items(),
            postage=self._amount_above(columns.postage) or ZERO,
            tax=tax,
            remitted=tax if self.profile.tax_remitted else ZERO,
            fees=fees_from(self.profile.fees, self._amount),
            to_pour=not self.cancelled and self._is_to_pour(),
            cancelled=self.cancelled,
            buyer=self._text(columns.buyer),
            extras=self._extras(),
        )

    def _extras(self) -> tuple[Extra, ...]:
        headings = self.columns.extras
        if not headings:
            return ()
        found = [(heading, self._extra(heading)) for heading in headings]
        return tuple([Extra(heading, amount) for heading, amount in found if amount])

    def _extra(self, heading: str) -> Decimal | None:
        if self._own_extras:
            return sum([self.cells.amount_above(row, heading) or ZERO for row in self.rows], ZERO)
        return self._amount_above(heading)

    def _items(self) -> tuple[Item, ...]:
        items = tuple(map(self._item, self.rows))
        heading = self.columns.order_discount
        discount = abs(self._amount(heading) or ZERO) if heading else ZERO
        if not discount:
            return items
        prices = [item.price for item in items]
        if discount > sum(prices, ZERO):
            expected = f"at most the price of {sum(prices, ZERO)}"
            raise RowError(self.rows[0].number, f"column '{heading}': expected {expected}, found {discount}")
        shares = share(discount, prices, self.profile.currency)
        return tuple(
            replace(item, price=item.price - part, discount=item.discount + part)
            for item, part in zip(items, shares, strict=True)
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
        if not columns.discount:
            return Item(row.number, row[columns.title], row[columns.sku], quantity, price)
        discount = abs(self.cells.amount(row, columns.discount) or ZERO)
        if discount > price:
            expected = f"at most the price of {price}"
            raise RowError(row.number, f"column '{columns.discount}': expected {expected}, found {discount}")
        return Item(row.number, row[columns.title], row[columns.sku], quantity, price - discount, discount)

    def _is_to_pour(self) -> bool:
        shipped = self.columns.shipped
        if shipped and not any(row[shipped] for row in self.rows):
            return True
        return self._text(self.columns.status) in self.profile.statuses.to_pour

    def _refund(self, sale: Sale) -> Refund | None:
        """Return what went back of a sale; all of it when it was cancelled and the file has no amount."""
        columns = self.profile.refund
        amounts = self._refund_amounts()
        if not any(amounts.values()):
            if not self.cancelled:
                return None
            # A net of 0 says that the channel kept nothing either.
            kept_nothing = self._amount(self.columns.net) == ZERO
            return sale.undone(_latest(sale), fees_back=kept_nothing)
        assert columns is not None  # noqa: S101  # else there are no amounts
        date = self._date(columns.date)
        if date is None:
            if not self.cancelled:
                raise missing(self.rows[0], columns.date, "the date of the refund")
            date = _latest(sale)
        fee = amounts.get(columns.fee, ZERO)
        amount, tax = amounts[columns.amount], amounts.get(columns.tax, ZERO)
        if columns.with_tax:
            # A part of what was paid gives back the same part of the tax.
            amount, tax = share(amount, (sale.price + sale.postage, sale.tax), self.profile.currency)
        return Refund(
            number=self.number,
            order=self.order,
            date=date,
            titles=tuple(row[self.columns.title] for row in self.rows),
            amount=amount,
            tax=tax,
            remitted=tax if self.profile.tax_remitted else ZERO,
            fees=(Fee("refunded", Role.FEES, -fee),) if fee else (),
            cancelled=self.cancelled,
            so_far=True,
        )

    def _refund_amounts(self) -> dict[str, Decimal]:
        """Return what stands in the columns of the refund, by heading, each 0 or above."""
        columns = self.profile.refund
        if columns is None:
            return {}
        amounts = {}
        for heading in (columns.amount, columns.tax, columns.fee):
            if heading:
                number = self._amount(heading)
                amounts[heading] = number * columns.sign_of(heading) if number else ZERO
        for heading, number in amounts.items():
            if number < 0:
                sign = columns.sign_of(heading)
                side = "above" if sign > 0 else "below"
                reason = f"column '{heading}': expected an amount {side} 0, found {number * sign}"
                raise RowError(self.rows[0].number, reason)
        return amounts

    def _amount(self, heading: str) -> Decimal | None:
        """Return an amount of the order, from the rows that hold it; None when the file has no such column."""
        if self._row is not None:
            return self.cells.amount(self._row, heading) if heading else None
        return self._of_rows(heading, self.cells.amount)

    def _amount_above(self, heading: str) -> Decimal | None:
        """Return an amount of 0 or more; else as `_amount`."""
        if self._row is not None:
            return self.cells.amount_above(self._row, heading) if heading else None
        return self._of_rows(heading, self.cells.amount_above)

    def _of_rows(self, heading: str, read: Callable[[Row, str], Decimal | None]) -> Decimal | None:
        first, *others = [(row, read(row, heading)) for row in self.rows]
        if self.profile.file.order_amounts == "each":
            amounts = [amount for _, amount in (first, *others) if amount is not None]
            return sum(amounts, ZERO) if amounts else None
        shown = "; no net amount shows that each item has its own" if heading in self.columns.extras else ""
        for row, amount in others:
            if self.profile.file.order_amounts == "repeated" and amount != first[1]:
                raise _contradiction(row, first[0], heading, shown)
            if self.profile.file.order_amounts == "first" and amount:
                expected = f"nothing below row {first[0].number} of the order"
                reason = f"column '{heading}': expected {expected}, found {found(row, heading)}{shown}"
                raise RowError(row.number, reason)
        return first[1]

    def _text(self, heading: str) -> str:
        """Return a text of the order; rows may leave it out, but not contradict each other."""
        if not heading:
            return ""
        if self._row is not None:
            return self._row[heading]
        return self._only([(row, row[heading]) for row in self.rows], heading) or ""

    def _date(self, heading: str) -> datetime.date | None:
        if not heading:
            return None
        if self._row is not None:
            return self.cells.date(self._row, heading)
        return self._only([(row, self.cells.date(row, heading)) for row in self.rows], heading)

    @staticmethod
    def _only(values: list[tuple[Row, T]], heading: str) -> T | None:
        stated = [(row, value) for row, value in values if value]
        for row, value in stated[1:]:
            if value != stated[0][1]:
                raise _contradiction(row, stated[0][0], heading)
        return stated[0][1] if stated else None


def _latest(sale: Sale) -> datetime.date:
    return max(sale.date, *(date for date in sale.dates if date is not None))


def _contradiction(row: Row, first: Row, heading: str, more: str = "") -> RowError:
    expected = f"{found(first, heading)} as in row {first.number}"
    return RowError(row.number, f"column '{heading}': expected {expected}, found {found(row, heading)}{more}")
