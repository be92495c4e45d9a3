"""From rows to what happened, where a row is an event, or one amount of an event.

So are a channel's ledger, the components of its settlements, the activity of a payment service, and the statement
of a bank. The parts of a sale come together by order and day; every other row is a movement of its own, but where
rows are components, what went back of an order on a day is one refund.
"""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.cells import missing
from millilot.importers.event_rules import COSTS, PAYOUTS, REFUND_PARTS, SALE_PARTS, Kind
from millilot.importers.events import (
    FEE_ROLES,
    Extra,
    Fee,
    Group,
    Item,
    LeftOut,
    Movement,
    NothingToBookError,
    Refund,
    Sale,
)
from millilot.importers.exchange import in_own_currency
from millilot.importers.identity import order_of_sale, sale_number
from millilot.importers.ledger_checks import check_balances, check_totals
from millilot.importers.lines import LineReader
from millilot.importers.sharing import share
from millilot.importers.table import RowError

if TYPE_CHECKING:
    import datetime
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from decimal import Decimal

    from millilot.importers.events import Event
    from millilot.importers.lines import Line
    from millilot.importers.profile import Profile
    from millilot.importers.table import Row
    from millilot.ledger.accounts import Role

#: Kinds that belong to no order, even if they refer to another event.
_OF_NO_ORDER = PAYOUTS | {Kind.PRIVATE, Kind.EXCHANGE, Kind.DEPOSIT, Kind.ADJUSTMENT}


def read_ledger_rows(
    rows: Sequence[Row], profile: Profile, sale_of: Callable[[str], str],
) -> Iterator[Group | LeftOut]:
    """Read what happened, the earliest first, after the rows that are left out.

    Args:
        rows: the rows of the file.
        profile: what they mean.
        sale_of: tells the number of the sale in the books that an event belongs to, by the event's number; empty
            when there is none.
    """
    reader = LineReader(profile, rows)
    lines: list[Line] = []
    left: dict[int, LeftOut] = {}
    for row in rows:
        try:
            lines.append(reader.read(row))
        except NothingToBookError as nothing:
            left[row.number] = _left_out(row, str(nothing), reader, refused=False)
        except RowError as error:
            left[row.number] = _left_out(row, error.reason, reader, refused=True)
    if profile.file.balance:
        check_balances(rows, {line.row.number: line for line in lines}, reader, profile)
    if profile.columns.total:
        check_totals(lines, {number: each.net for number, each in left.items()}, rows, profile)
    lines = in_own_currency(lines, profile.currency)
    _name_orders(lines, rows, profile, sale_of)
    yield from left.values()
    if profile.file.balance == "falling":
        lines.reverse()
    lines.sort(key=lambda line: line.date)
    grouping = _Grouping(lines, profile, sale_of)
    for group in _grouped(lines, profile):
        yield grouping.read(group)


def _left_out(row: Row, reason: str, reader: LineReader, *, refused: bool) -> LeftOut:
    return LeftOut(reader.order(row), {row.number: reason}, refused, reader.money(row))


def _name_orders(
    lines: Iterable[Line], rows: Iterable[Row], profile: Profile, sale_of: Callable[[str], str],
) -> None:
    """Give each line without an order that of the event it belongs to.

    Where no event has an order's number, the number of the first event stands for it. A part of a sale that is in
    the books without an order's number belongs to that sale, even if this file has one.
    """
    columns = profile.columns
    parents = {row[columns.event]: row[columns.parent] for row in rows if row[columns.event]}
    by_event = {line.event: line for line in lines if line.event}
    for line in lines:
        chain = _ancestors(line, parents)
        above = [by_event[name] for name in chain if name in by_event]
        if line.kind in PAYOUTS and not line.payout:
            # What came back has a number of its own, which is not that of the payout.
            own = line.event if line.kind is Kind.PAYOUT else ""
            line.payout = next((other.payout for other in above if other.payout), own)
        if line.kind in SALE_PARTS and (number := sale_of(line.event)):
            known = order_of_sale(number)
            # An order's number that the file gives goes before all but one that was made of the event's.
            line.order = known if not line.order or known in {line.event, *chain} else line.order
        if line.order or not line.rule.names_order or line.kind in _OF_NO_ORDER:
            continue
        named = next((other.order for other in above if other.order), "")
        booked = order_of_sale(next(filter(None, map(sale_of, chain)), ""))
        own = line.event if line.kind in SALE_PARTS else ""
        line.order = named or booked or (chain[-1] if chain else own)


def _ancestors(line: Line, parents: dict[str, str]) -> list[str]:
    """Return the numbers of the events above a line, the nearest first."""
    chain: list[str] = []
    name = line.parent
    while name and name != line.event and name not in chain:
        chain.append(name)
        name = parents.get(name, "")
    return chain


def _grouped(lines: Iterable[Line], profile: Profile) -> list[list[Line]]:
    """Return the lines by what they tell of together."""
    lines = list(lines)
    by_component = profile.file.row == "component"
    days = {(line.order, line.date) for line in lines if line.kind is Kind.PRICE}
    back = {(line.order, line.date) for line in lines if line.kind is Kind.REFUND}

    def key(line: Line) -> object:
        day = (line.order, line.date)
        taken_back = line.kind is Kind.TAX_REMITTED and line.amount > 0
        if by_component and line.order and day in back and (line.kind in REFUND_PARTS or taken_back):
            return ("refund", *day)
        if line.order and day in days and (line.kind in SALE_PARTS or (by_component and line.kind in COSTS)):
            return ("sale", *day)
        if by_component and line.order and day in back and line.kind in COSTS:
            return ("refund", *day)
        return line.row.number

    groups: defaultdict[object, list[Line]] = defaultdict(list)
    for line in lines:
        groups[key(line)].append(line)
    return list(groups.values())


class _Grouping:
    """Reads the groups of one file."""

    def __init__(self, lines: Iterable[Line], profile: Profile, sale_of: Callable[[str], str]) -> None:
        self._profile = profile
        self._sale_of = sale_of
        # A text that does not tell what a row is may be left out of another export.
        self._detail = profile.columns.detail if any(rule.reads_detail for rule in profile.events) else ""
        self._equal: Counter[tuple[str, str]] = Counter()
        self._first_day: dict[str, datetime.date] = {}
        self._refunded = set()
        self._by_number: dict[tuple[Kind, str], str] = {}
        for line in lines:
            if line.kind is Kind.PRICE:
                self._first_day.setdefault(line.order, line.date)
            if line.kind in {Kind.REFUND, Kind.DISPUTE}:
                self._refunded.add(line.order)

    def read(self, lines: list[Line]) -> Group | LeftOut:
        """Read the lines of a group."""
        order = lines[0].order
        rows = tuple(sorted(number for line in lines for number in (line.row.number, *line.exchange)))
        try:
            _require_no_problem(lines)
            events = tuple(self._events(lines))
        except RowError as error:
            reasons = dict.fromkeys(rows, f"row {error.row} of the same order is refused")
            reasons[error.row] = error.reason
            own = [line.net for line in lines if line.currency == self._profile.currency]
            return LeftOut(order, reasons, refused=True, net=sum(own, ZERO))
        except NothingToBookError as nothing:
            return LeftOut(order, dict.fromkeys(rows, str(nothing)), refused=False, net=ZERO)
        return Group(order, rows, events)

    def _events(self, lines: list[Line]) -> Iterator[Event]:
        kinds = {line.kind for line in lines}
        if Kind.PRICE in kinds:
            sale = self._sale(lines)
            yield sale
            if sale.cancelled and sale.order not in self._refunded:
                latest = max(sale.date, *(date for date in sale.dates if date is not None))
                yield sale.undone(latest, fees_back=False)
        elif Kind.REFUND in kinds and self._profile.file.row == "component":
            yield self._refund(lines)
        else:
            (line,) = lines
            yield self._movement(line)

    def _sale(self, lines: list[Line]) -> Sale:
        prices = [line for line in lines if line.kind is Kind.PRICE]
        first, columns = prices[0], self._profile.columns
        if not first.order:
            if not (columns.order or columns.event):
                reason = "[columns]: expected order or event, the column with the number of a sale, found neither"
                raise RowError(first.row.number, reason)
            raise missing(first.row, columns.order or columns.event, "the number of an order")
        for line in lines:
            below = line.kind in {Kind.DISCOUNT, Kind.TAX_REMITTED}
            if line.kind in SALE_PARTS and (line.amount > 0 if below else line.amount < 0):
                side = "0 or below" if below else "0 or above"
                reason = f"expected {line.kind} of a sale {side}, found {line.amount}"
                raise RowError(line.row.number, reason)

        def whole(kind: Kind) -> Decimal:
            return sum((line.amount for line in lines if line.kind is kind), ZERO)

        waits = bool(columns.shipped) and not any(line.row[columns.shipped] for line in prices)
        cancelled = any(line.cancelled for line in prices)
        to_pour = waits or any(line.row[columns.status] in self._profile.statuses.to_pour for line in prices)
        return Sale(
            number=self._sale_number(first, lines),
            order=first.order,
            date=first.date,
            dates=first.dates,
            payout=next((line.payout for line in lines if line.payout), ""),
            items=self._items(prices, [line for line in lines if line.kind is Kind.DISCOUNT]),
            postage=whole(Kind.POSTAGE) + sum((line.postage for line in prices), ZERO),
            tax=whole(Kind.TAX) + sum((line.tax for line in prices), ZERO),
            remitted=sum((line.remitted for line in prices), ZERO) - whole(Kind.TAX_REMITTED),
            fees=tuple(_fees(lines)),
            to_pour=to_pour and not cancelled,
            cancelled=cancelled,
            references=tuple(sorted({line.event for line in lines if line.event})),
            buyer=next((line.row[columns.buyer] for line in prices if line.row[columns.buyer]), ""),
            extras=tuple(_extras(lines)),
        )

    def _sale_number(self, first: Line, lines: Iterable[Line]) -> str:
        """Return what identifies a sale: its order, with the day if it is not the order's first."""
        later = sale_number(first.order, first.date)
        names = (later, *(line.event for line in lines if line.event))
        for booked in filter(None, map(self._sale_of, names)):
            if order_of_sale(booked) == first.order:
                return booked
        return first.order if first.date == self._first_day[first.order] else later

    def _items(self, prices: Sequence[Line], discounts: Iterable[Line]) -> tuple[Item, ...]:
        columns = self._profile.columns
        items = [
            Item(
                row=line.row.number,
                title=line.row[columns.title],
                sku=line.row[columns.sku],
                quantity=line.quantity,
                price=line.price,
                discount=line.discount,
            )
            for line in prices
        ]
        for line in discounts:
            named = (line.row[columns.title], line.row[columns.sku])
            of_line = [index for index, item in enumerate(items) if (item.title, item.sku) == named]
            places = of_line if len(of_line) == 1 else range(len(items))
            weights = [items[place].price for place in places]
            if -line.amount > sum(weights, ZERO):
                reason = f"expected a discount of at most the price of {sum(weights, ZERO)}, found {-line.amount}"
                raise RowError(line.row.number, reason)
            for place, part in zip(places, share(-line.amount, weights, self._profile.currency), strict=True):
                item = items[place]
                items[place] = replace(item, price=item.price - part, discount=item.discount + part)
        return tuple(items)

    def _refund(self, lines: list[Line]) -> Refund:
        first = next(line for line in lines if line.kind is Kind.REFUND)

        def whole(kind: Kind) -> Decimal:
            return sum((line.amount for line in lines if line.kind is kind), ZERO)

        given_back = whole(Kind.FEE_REFUND)
        fees = [Fee("refunded", FEE_ROLES[Kind.FEE_REFUND], -given_back)] if given_back else []
        return Refund(
            number=f"{first.order}/{first.date}",
            order=first.order,
            date=first.date,
            titles=tuple(
                dict.fromkeys(line.row[self._profile.columns.title] for line in lines if line.kind is Kind.REFUND),
            ),
            amount=-whole(Kind.REFUND),
            tax=-whole(Kind.REFUND_TAX),
            remitted=whole(Kind.TAX_REMITTED),
            fees=(*fees, *_fees(lines)),
            dates=first.dates,
            payout=first.payout,
        )

    def _movement(self, line: Line) -> Movement:
        if not line.net and not line.fees and line.kind is not Kind.DISPUTE_LOST:
            raise NothingToBookError("no money moved")
        if line.kind is Kind.DISPUTE_LOST and not line.order:
            raise RowError(line.row.number, "expected the number of the order a dispute is about, found nothing")
        return Movement(
            number=self._number(line),
            order=line.order,
            date=line.date,
            dates=line.dates,
            rule=line.rule,
            amount=line.amount,
            fees=line.fees,
            payout=line.payout,
            title=line.row[self._profile.columns.title],
        )

    def _number(self, line: Line) -> str:
        """Return what identifies a movement, whatever else the file says of it."""
        named = line.payout if line.kind in PAYOUTS and line.payout else line.event
        digest = self._digest(line)
        if named:
            # A channel may number a payment and give that number to each thing it took of it.
            if line.kind in COSTS and line.rule.fee != line.kind.value:
                named = f"{named}/{line.rule.fee}"
            first = self._by_number.setdefault((line.kind, named), digest)
            return named if first == digest else f"{named}/{digest}"
        self._equal[line.order, digest] += 1
        again = self._equal[line.order, digest]
        return "/".join(filter(None, (line.order, digest, str(again) if again > 1 else "")))

    def _digest(self, line: Line) -> str:
        """Return a digest of what a movement without a number is known by."""
        detail = line.row[self._detail]
        written = "\n".join((line.date.isoformat(), line.kind, line.rule.fee, f"{line.net:f}", detail))
        return hashlib.sha256(written.encode()).hexdigest()[:12]


def _require_no_problem(lines: Iterable[Line]) -> None:
    for line in lines:
        if line.problem:
            raise RowError(line.row.number, line.problem)


def _extras(lines: Iterable[Line]) -> Iterator[Extra]:
    """Yield what was paid besides, one for each charge."""
    sums: defaultdict[str, Decimal] = defaultdict(lambda: ZERO)
    for line in lines:
        for extra in line.extras:
            sums[extra.charge] += extra.amount
        if line.kind is Kind.EXTRA:
            sums[line.rule.fee] += line.amount
    for charge, amount in sums.items():
        if amount:
            yield Extra(charge, amount)


def _fees(lines: Iterable[Line]) -> Iterator[Fee]:
    """Yield the fees of a group, one for each kind."""
    sums: defaultdict[tuple[str, Role], Decimal] = defaultdict(lambda: ZERO)
    for line in lines:
        for fee in line.fees:
            sums[fee.kind, fee.role] += fee.amount
        if line.kind in COSTS:
            sums[line.rule.fee, FEE_ROLES[line.kind]] -= line.amount
    for (kind, role), amount in sums.items():
        if amount:
            yield Fee(kind, role, amount)
