"""One row of a ledger: what it is, when, how much, and what it refers to."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.cells import CellReader, found, missing
from millilot.importers.event_rules import SALE_PARTS, EventRule, Kind, find_rule
from millilot.importers.events import Dates, Extra, Fee, NothingToBookError, fees_from
from millilot.importers.standing import day_to_book, money_taken, require_standing
from millilot.importers.table import RowError

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator
    from decimal import Decimal

    from millilot.importers.profile import Profile
    from millilot.importers.table import Row

#: A row that gives the sum of a payout.
_TOTAL = EventRule(Kind.PAYOUT)


@dataclass(slots=True)
class Line:
    """A row that counts.

    Attributes:
        row: where it stands.
        rule: what it is.
        date: the day it is booked on.
        dates: the other days.
        currency: of the amounts.
        amount: what the account got, before fees; below 0 what it gave. Of a price, with the parts below.
        fees: what stands in columns of fees.
        order: the number of the order, as far as it is known.
        event: the number of the event.
        parent: the number of the event it belongs to.
        payout: the number of the payout.
        postage: what of the amount is postage.
        extras: what of the amount was paid besides.
        tax: what of the amount is tax.
        remitted: what the channel hands on of that tax, and is not in the amount.
        discount: what the price was lowered by.
        quantity: how many.
        cancelled: whether the sale was called off after it was paid.
        is_total: whether the row gives the sum of the other rows of its payout.
        exchange: the rows by which it was exchanged into the profile's currency.
        problem: why it cannot be booked, or empty.
    """

    row: Row
    rule: EventRule
    date: datetime.date
    dates: Dates
    currency: str
    amount: Decimal
    fees: tuple[Fee, ...] = ()
    order: str = ""
    event: str = ""
    parent: str = ""
    payout: str = ""
    postage: Decimal = ZERO
    extras: tuple[Extra, ...] = ()
    tax: Decimal = ZERO
    remitted: Decimal = ZERO
    discount: Decimal = ZERO
    quantity: int = 1
    cancelled: bool = False
    is_total: bool = False
    exchange: list[int] = field(default_factory=list)
    problem: str = ""

    @property
    def kind(self) -> Kind:
        """What it is."""
        return self.rule.kind

    @property
    def price(self) -> Decimal:
        """What of the amount is for the goods."""
        return self.amount - self.postage - self.tax - sum((extra.amount for extra in self.extras), ZERO)

    @property
    def net(self) -> Decimal:
        """What it leaves on the account."""
        return self.amount - self.remitted - sum((fee.amount for fee in self.fees), ZERO)


class LineReader:
    """Reads the rows of one file; of a sale that was called off, another row may tell that it was paid."""

    def __init__(self, profile: Profile, rows: Iterable[Row] = ()) -> None:
        self._profile = profile
        self._columns = profile.columns
        self._given_back = frozenset(self._refunded(rows)) if profile.statuses.known else frozenset()
        self._own = CellReader(profile)
        self._of_currency = {profile.currency: self._own}
        # The statement of a bank has rows that are nobody's business here; what a channel writes all is.
        self._is_statement = all(rule.pattern is not None for rule in profile.events) and any(
            rule.kind is Kind.DEPOSIT for rule in profile.events
        )

    def read(self, row: Row) -> Line:
        """Read a row.

        Raises:
            NothingToBookError: when the profile says that the row is not to be booked.
            RowError: when it cannot be read.
        """
        if row.problem:
            raise RowError(row.number, row.problem)
        columns = self._columns
        cancelled = require_standing(
            row, row[columns.status], self._profile, lambda: self._taken(row),
        )
        cells = self.cells(row)
        total = cells.amount(row, columns.total)
        # A nought beside an amount says that the row is none.
        is_total = total is not None and (total != ZERO or self._stated(row, cells) is None)
        rule = _TOTAL if is_total else self._rule(row)
        numbers = rule.numbers(row[columns.type], row[columns.detail])
        dates = Dates(
            cells.date(row, columns.ordered), cells.date(row, columns.settled), cells.date(row, columns.paid_out),
        )
        date = self._date(row, dates, cells, is_total=is_total)
        if rule.kind is Kind.PRICE:
            dates = dates._replace(ordered=dates.ordered or date)
        if rule.kind in SALE_PARTS:
            date = day_to_book(dates, date, self._profile)
        line = Line(
            row=row,
            rule=rule,
            date=date,
            dates=dates,
            currency=row[columns.currency] or self._profile.currency,
            amount=-total if total is not None and is_total else self._amount(row, rule, cells),
            order=self._order(row, rule) or numbers.get("order", ""),
            event=row[columns.event] or numbers.get("event", ""),
            parent=row[columns.parent],
            payout=row[columns.payout] or numbers.get("payout", ""),
            cancelled=cancelled and rule.kind is Kind.PRICE,
            is_total=is_total,
        )
        if rule.kind is Kind.PRICE:
            line = self._priced(line, cells)
        line.fees = fees_from(self._profile.fees, partial(cells.charge, row))
        self._require_net(line, cells)
        return line

    def _refunded(self, rows: Iterable[Row]) -> Iterator[str]:
        """Yield the numbers of the orders and events that rows which count give money back for."""
        columns, statuses = self._columns, self._profile.statuses
        nothing = statuses.skip | statuses.pending | statuses.cancelled
        for row in rows:
            rule = find_rule(self._profile.events, row[columns.type], row[columns.detail])
            if rule is not None and rule.kind is Kind.REFUND and row[columns.status] not in nothing:
                yield from filter(None, (self._order(row, rule), row[columns.parent]))

    def _taken(self, row: Row) -> str:
        """Return the heading of a cell that shows that money was taken for a sale, or nothing."""
        columns = self._columns
        rule = find_rule(self._profile.events, row[columns.type], row[columns.detail])
        of_sale = rule is not None and rule.kind in SALE_PARTS
        if of_sale and self._given_back & {self.order(row), row[columns.event]}:
            return columns.amount or columns.credit
        return money_taken(row, self._profile)

    def cells(self, row: Row) -> CellReader:
        """Return a reader of amounts in the row's currency."""
        currency = row[self._columns.currency] or self._profile.currency
        if currency not in self._of_currency:
            self._of_currency[currency] = CellReader(replace(self._profile, currency=currency))
        return self._of_currency[currency]

    def order(self, row: Row) -> str:
        """Return the number of the order a row names, or nothing."""
        return self._profile.file.order_number(row[self._columns.order])

    def money(self, row: Row) -> Decimal | None:
        """Return the amount of a row that is not booked, as far as it can be read."""
        columns = self._columns
        if row.problem or row[columns.currency] not in {"", self._profile.currency}:
            return None
        try:
            amount = self._stated(row, self._own)
            rule = find_rule(self._profile.events, row[columns.type], row[columns.detail])
            fees = fees_from(self._profile.fees, partial(self._own.charge, row))
        except RowError:
            return None
        if amount is None:
            return None
        return amount * (rule.sign if rule else 1) - sum((fee.amount for fee in fees), ZERO)

    def _rule(self, row: Row) -> EventRule:
        columns = self._columns
        rule = find_rule(self._profile.events, row[columns.type], row[columns.detail])
        if rule is None and self._is_statement:
            raise NothingToBookError("not the business's: no pattern of the profile fits")
        heading = columns.type or columns.detail
        if rule is None:
            detail = f" with {found(row, columns.detail)}" if columns.type and columns.detail else ""
            expected = "a text that one of [[events]] names"
            reason = f"column '{heading}': expected {expected}, found {found(row, heading)}{detail}"
            raise RowError(row.number, reason)
        if rule.kind is Kind.SKIP:
            raise NothingToBookError(f"{found(row, heading)} is one to skip")
        return rule

    def _date(self, row: Row, dates: Dates, cells: CellReader, *, is_total: bool) -> datetime.date:
        date = cells.date(row, self._columns.date)
        if is_total:
            date = dates.paid_out or date
        if date is None:
            raise missing(row, self._columns.date, "a date")
        return date

    def _order(self, row: Row, rule: EventRule) -> str:
        return self.order(row) if rule.names_order else ""

    def _amount(self, row: Row, rule: EventRule, cells: CellReader) -> Decimal:
        columns = self._columns
        amount = self._stated(row, cells)
        if amount is not None:
            return amount * rule.sign
        if rule.kind is Kind.DISPUTE_LOST or (rule.kind is Kind.PRICE and (columns.price or columns.unit_price)):
            return ZERO
        raise missing(row, columns.amount or columns.credit or columns.debit or columns.net, "an amount")

    def _stated(self, row: Row, cells: CellReader) -> Decimal | None:
        """Return the amount of a row from its one column, or from those for what came in and what went out."""
        columns = self._columns
        if columns.amount:
            read = cells.amount if self._profile.direction is None else cells.directed
            return read(row, columns.amount)
        if not (columns.credit or columns.debit):
            return self._before_fees(row, cells)
        credit, debit = cells.amount(row, columns.credit), cells.amount(row, columns.debit)
        if credit and debit:
            reason = f"expected nothing beside {found(row, columns.credit)}, found {found(row, columns.debit)}"
            raise RowError(row.number, f"column '{columns.debit}': {reason}")
        if credit is None and debit is None:
            return None
        if self._profile.direction is not None:
            cells.require_side(row, columns.credit, 1)
            cells.require_side(row, columns.debit, -1)
        # Some files write what went out below 0, some above.
        return (credit or ZERO) - abs(debit or ZERO)

    def _before_fees(self, row: Row, cells: CellReader) -> Decimal | None:
        """Return the amount of a row that has none of its own, from its parts or else from what is left of it."""
        columns = self._columns
        tax = () if self._profile.tax_remitted else (columns.tax,)
        parts = [cells.amount(row, heading) for heading in (columns.price, columns.postage, *tax, *columns.extras)]
        if columns.price and not columns.discount and any(parts):
            return sum((part for part in parts if part), ZERO)
        net = cells.amount(row, columns.net)
        if net is None:
            return None
        return net + sum((fee.amount for fee in fees_from(self._profile.fees, partial(cells.charge, row))), ZERO)

    def _priced(self, line: Line, cells: CellReader) -> Line:
        """Return the line with its amount as what the buyer paid, and the parts of it."""
        row, columns = line.row, self._columns
        postage = cells.amount_above(row, columns.postage) or ZERO
        tax = cells.amount_above(row, columns.tax) or ZERO
        found_extras = [(heading, cells.amount_above(row, heading)) for heading in columns.extras]
        line.extras = tuple(Extra(heading, amount) for heading, amount in found_extras if amount)
        line.quantity = cells.count(row, columns.quantity)
        line.discount = abs(cells.amount(row, columns.discount) or ZERO)
        heading = columns.price or columns.unit_price
        price = cells.amount_above(row, heading)
        stated = line.amount
        if price is None and heading and not stated:
            raise missing(row, heading, "a price")
        if price is not None:
            price = price * (line.quantity if columns.unit_price else 1) - line.discount
            line.amount = price + postage + tax + sum((extra.amount for extra in line.extras), ZERO)
        line.postage, line.tax = postage, tax
        line.remitted = tax if self._profile.tax_remitted else ZERO
        if line.price < 0:
            expected = "an amount, 0 or above, for the goods"
            name = columns.amount or columns.credit or heading or columns.net
            raise RowError(row.number, f"column '{name}': expected {expected}, found {line.price}")
        if price is not None and stated:
            fees = fees_from(self._profile.fees, partial(cells.charge, row))
            taken = sum((fee.amount for fee in fees), ZERO)
            # Files give what was paid, with or without tax of others, or what is left of it.
            gross = line.amount - line.remitted
            if stated not in {line.amount, gross, gross - taken}:
                name = columns.amount or columns.credit or columns.net
                raise RowError(
                    row.number, f"column '{name}': expected {line.amount} from the other columns, found {stated}",
                )
        return line

    def _require_net(self, line: Line, cells: CellReader) -> None:
        net = cells.amount(line.row, self._columns.net)
        computed = line.net * line.rule.sign
        direction, columns = self._profile.direction, self._columns
        if (
            direction is not None
            and net is not None
            and net > 0
            and (columns.direction or not direction.split(line.row[columns.net])[1])
        ):
            # Where words tell the direction, the net amount has no sign either, unless it has a word of its own.
            computed = abs(computed)
        if net is not None and net != computed and not line.is_total:
            reason = f"expected {computed} from the other columns, found {net}"
            raise RowError(line.row.number, f"column '{self._columns.net}': {reason}")
