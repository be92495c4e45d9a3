"""Where each line of a year comes from: the entries behind it, each with its amount and its place in the books.

A line is nothing but the sum of its parts, so that a trace adds up to its line and cannot do otherwise. Stock is
made up of the bottles that are left, all other lines of what was written in the range of days. Lines follow from
lines by adding and taking away; what a total is made of is said here once, for the totals and for their traces.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.records import Kind
from millilot.reports.allocation import supplies_drawn
from millilot.reports.bottles import GIVEN, plain
from millilot.reports.check import place
from millilot.reports.measured import arrival

if TYPE_CHECKING:
    import datetime
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
    from decimal import Decimal

    from beancount.core.data import Transaction

    from millilot.ledger.records import Books, Move, Record

PURCHASED = frozenset({Kind.BOUGHT, Kind.SWAPPED_IN, Kind.LATE_COST, Kind.SUPPLIER_RETURN})

#: Receipts that are paid in money.
PAYMENT_ROLES = frozenset({Role.SALES, Role.POSTAGE_CHARGED, Role.UNSORTED})

#: The line in which the money of a role counts, and with which sign; income is posted with a minus.
_OF_MONEY: Mapping[Role, tuple[str, int]] = {
    Role.SALES: ("gross_receipts", -1),
    Role.POSTAGE_CHARGED: ("gross_receipts", -1),
    Role.UNSORTED: ("gross_receipts", -1),
    Role.SWAPS: ("gross_receipts", -1),
    Role.REFUNDS: ("refunds", 1),
    Role.SUPPLIES_USED: ("supplies", 1),
    Role.OTHER_COSTS: ("other_costs", 1),
    Role.COST_OF_GOODS: ("other_costs", 1),
    Role.SHRINKAGE: ("other_costs", 1),
    Role.FEES: ("fees", 1),
    Role.POSTAGE: ("postage", 1),
    Role.PACKING: ("packing", 1),
    Role.ADS: ("ads", 1),
    Role.EXCHANGE: ("exchange", 1),
    Role.OTHER_EXPENSES: ("other_expenses", 1),
    Role.SAMPLES: ("other_expenses", 1),
    Role.LOSS: ("other_expenses", 1),
    Role.COMPENSATION: ("other_income", -1),
}

#: The line in which the cost of fragrance counts, by why it came or left; what leaves has a negative cost.
_OF_LIQUID: Mapping[Kind, tuple[str, int]] = {
    **dict.fromkeys(PURCHASED, ("purchases", 1)),
    Kind.CONTRIBUTED: ("contributed", 1),
    Kind.KEPT: ("personal_use", -1),
    **dict.fromkeys(GIVEN, ("samples", -1)),
    Kind.LOST: ("losses", -1),
}

#: Lines of money, and of supplies at cost. The money alone, for accounts by what was paid, is `packing_paid`, say.
PAID = "_paid"
PAYABLE = ("supplies", "other_costs", "fees", "postage", "packing", "ads", "exchange", "other_expenses")

#: What each total is made of: lines, and totals named before it, each with its sign.
TOTALS: Mapping[str, Mapping[str, int]] = {
    "net_receipts": {"gross_receipts": 1, "refunds": -1},
    "cost_of_goods_sold": {
        "opening_stock": 1,
        "purchases": 1,
        "contributed": 1,
        "personal_use": -1,
        "samples": -1,
        "losses": -1,
        "supplies": 1,
        "other_costs": 1,
        "closing_stock": -1,
    },
    "gross_profit": {"net_receipts": 1, "cost_of_goods_sold": -1},
    "hobby_income": {"gross_profit": 1, "other_income": 1},
    "business_profit": {
        "hobby_income": 1,
        "fees": -1,
        "postage": -1,
        "packing": -1,
        "ads": -1,
        "exchange": -1,
        "samples": -1,
        "losses": -1,
        "other_expenses": -1,
    },
    "receipts_if_counted_when_paid": {"gross_receipts": 1, "claims_held_close": 1, "claims_held_open": -1},
}


class Part(NamedTuple):
    """What one entry adds to a line.

    Attributes:
        line: the line it stands in, never a total.
        date: the day; of stock, the day the bottle came in.
        what: the narration.
        of: the bottle, the account of money, or the order of a payment.
        place: the file and line.
        amount: exact, in the operating currency, with the sign of the line that was asked for.
        entry: the transaction.
        is_money: whether money was posted; otherwise goods at cost.
        quantity: of goods, in mL or pieces and perhaps with a word; empty for money.
    """

    line: str
    date: datetime.date
    what: str
    of: str
    place: str
    amount: Decimal
    entry: Transaction
    is_money: bool = False
    quantity: str = ""

    @property
    def detail(self) -> str:
        """What it is of, with the quantity of goods."""
        return f"{self.of}, {self.quantity}" if self.quantity else self.of


class UnknownLineError(LookupError):
    """There is no line of this name; the message names those there are."""


def trace(books: Books, start: datetime.date, end: datetime.date, line: str) -> list[Part]:
    """Return the parts of a line or a total, which add up to it before it is rounded.

    Args:
        books: books read up to the last day or later.
        start: the first day.
        end: the last day, itself included.
        line: its key; of a total, the parts have the signs with which they count in it.

    Raises:
        UnknownLineError: there is no such line.
    """
    return of_terms(parts(books, start, end), terms(line))


def of_terms(found: Iterable[Part], wanted: Mapping[str, int]) -> list[Part]:
    """Return the parts of lines, each as often as its line counts, in the order of the lines.

    Args:
        found: parts of a range of days.
        wanted: how often each line counts, -1 where it is taken away.
    """
    by_line: dict[str, list[Part]] = defaultdict(list)
    for part in found:
        by_line[part.line].append(part)
        if part.is_money:
            by_line[f"{part.line}{PAID}"].append(part)
    return [
        part._replace(amount=part.amount * sign)
        for line, sign in wanted.items()
        for part in by_line[line]
    ]


def terms(line: str) -> dict[str, int]:
    """Return the lines a line or total is made of, each with how often it counts.

    Raises:
        UnknownLineError: there is no such line.
    """
    if line in LINES:
        return {line: 1}
    if line not in TOTALS:
        raise UnknownLineError(f"There is no line {line!r}. The lines are {', '.join((*YEAR_LINES, *TOTALS))}.")
    made_of: dict[str, int] = defaultdict(int)
    for each, sign in TOTALS[line].items():
        for inner, times in terms(each).items():
            made_of[inner] += sign * times
    return {inner: times for inner, times in made_of.items() if times}


def parts(books: Books, start: datetime.date, end: datetime.date) -> Iterator[Part]:
    """Yield the parts of all lines of a range of days.

    Args:
        books: books read up to the last day or later.
        start: the first day.
        end: the last day, itself included.
    """
    upto = [record for record in books.records if record.date <= end]
    before = [record for record in upto if record.date < start]
    within = upto[len(before) :]
    for record in within:
        yield from _of_record(record, books)
    yield from payment_parts(within)
    for records, when in ((before, "open"), (upto, "close")):
        yield from _claims_held(records, when)
        yield from _stock(records, books, when)
    yield from _at_market(within, books)
    owned_before = {move.bottle for record in upto for move in record.moves if move.kind is Kind.CONTRIBUTED}
    yield from _kept_of_bought(within, owned_before)


def _of_record(record: Record, books: Books) -> Iterator[Part]:
    for money in record.money:
        if money.role in _OF_MONEY:
            line, sign = _OF_MONEY[money.role]
            yield _part(line, record, money.account, money.meta, sign * money.amount)._replace(is_money=True)
    for role, move in supplies_drawn(record, books):
        if role in _OF_MONEY:
            line, sign = _OF_MONEY[role]
            yield _of_move(line, record, move, -sign * move.cost)
    for move in record.moves:
        if books.bottles[move.bottle].commodity.is_fragrance:
            line, sign = _OF_LIQUID.get(move.kind, ("", 0))
        else:
            line, sign = ("supplies_bought", 1) if move.kind in PURCHASED else ("", 0)
        if line:
            yield _of_move(line, record, move, sign * move.cost)


def payments(records: Iterable[Record]) -> int:
    """Return how many payments were received: one for all receipts of an order, one for a receipt without one."""
    return sum(1 for _ in payment_parts(records))


def payment_parts(records: Iterable[Record]) -> Iterator[Part]:
    """Yield the payments received: one for all receipts of an order, one for a receipt without an order."""
    paid_for: set[str] = set()
    for record in records:
        if not any(money.role in PAYMENT_ROLES and money.amount < 0 for money in record.money):
            continue
        if record.order is None or record.order not in paid_for:
            yield _part("transactions", record, record.order or "", record.entry.meta, ZERO + 1)
        if record.order is not None:
            paid_for.add(record.order)


def _claims_held(records: Iterable[Record], when: str) -> Iterator[Part]:
    for record in records:
        for money in record.money:
            if money.role is Role.CLAIMS:
                yield _part(f"claims_held_{when}", record, money.account, money.meta, -money.amount)


def _stock(records: Iterable[Record], books: Books, when: str) -> Iterator[Part]:
    """Yield what is left in each lot after some records, at cost."""
    left: dict[str, tuple[Decimal, Decimal]] = {}
    for record in records:
        for move in record.moves:
            quantity, cost = left.get(move.bottle, (ZERO, ZERO))
            left[move.bottle] = quantity + move.quantity, cost + move.cost
    for name, bottle in books.bottles.items():
        quantity, cost = left.get(name, (ZERO, ZERO))
        if not quantity and abs(cost) < goods.EXACT:
            continue
        is_fragrance = bottle.commodity.is_fragrance
        stock = "opening_stock" if when == "open" else "closing_stock"
        yield Part(
            stock if is_fragrance else f"supplies_on_hand_{when}",
            bottle.bought,
            bottle.source.narration or "",
            name,
            place(arrival(bottle).meta),
            cost,
            bottle.source,
            quantity=f"{plain(quantity)}{' mL' if is_fragrance else ''} left",
        )


def _kept_of_bought(records: Iterable[Record], owned_before: Collection[str]) -> Iterator[Part]:
    """Yield own use of bottles that were bought; what the others cost was never a purchase."""
    for record in records:
        for move in record.moves:
            if move.kind is Kind.KEPT and move.bottle not in owned_before:
                yield _of_move("personal_use_bought", record, move, -move.cost)


def _at_market(records: Iterable[Record], books: Books) -> Iterator[Part]:
    """Yield what bottles owned before, and fragrance for own use, were worth, where the owner wrote it down."""
    for record in records:
        for move in record.moves:
            bottle = books.bottles[move.bottle]
            if move.kind is Kind.CONTRIBUTED and bottle.market_value is not None:
                yield _of_move("contributed_at_market", record, move, bottle.market_value)
        for value, meta in market_values(record, books):
            if value is not None:
                yield _part("personal_use_at_market", record, "", meta, value)


def market_values(record: Record, books: Books) -> Iterator[tuple[Decimal | None, Mapping[str, object]]]:
    """Yield for each line of own use what it was worth, `market-value:` on it, or None; and its metadata."""
    if not any(move.kind is Kind.KEPT for move in record.moves):
        return
    roles = books.settings.roles.on(record.date)
    seen: set[object] = set()
    for item in goods.stock_postings(record.entry.postings, roles):
        if item.partner is None or not books.settings.commodities[item.commodity].is_fragrance:
            continue
        if roles.role(item.partner.account) not in {Role.PERSONAL_USE, None}:
            continue
        meta = item.partner.meta or {}
        # A line that two bottles served stands there twice.
        written = place(meta)
        if written not in seen:
            seen.add(written)
            value = meta.get("market-value")
            yield getattr(value, "number", value), meta


def _part(line: str, record: Record, of: str, meta: Mapping[str, object], amount: Decimal) -> Part:
    written = place(meta if "filename" in meta else record.entry.meta)
    return Part(line, record.date, record.entry.narration or "", of, written, amount, record.entry)


def _of_move(line: str, record: Record, move: Move, amount: Decimal) -> Part:
    quantity = f"{plain(abs(move.quantity)):f}" if move.quantity else ""
    return _part(line, record, move.bottle, move.meta, amount)._replace(quantity=quantity)


def totals(lines: Mapping[str, Decimal]) -> dict[str, Decimal]:
    """Return the totals that follow from lines."""
    amounts = dict(lines)
    for total, made_of in TOTALS.items():
        amounts[total] = sum((sign * amounts[line] for line, sign in made_of.items()), ZERO)
    return {total: amounts[total] for total in TOTALS}


#: The lines of a year, each the sum of its parts.
YEAR_LINES: Sequence[str] = (
    "gross_receipts", "refunds", "opening_stock", "purchases", "contributed", "personal_use", "supplies",
    "other_costs", "closing_stock", "supplies_on_hand_open", "supplies_on_hand_close", "fees", "postage",
    "packing", "ads", "exchange", "samples", "losses", "other_expenses", "other_income", "transactions",
    "claims_held_open", "claims_held_close",
)

#: Lines that only some forms ask for.
FORM_LINES: Sequence[str] = (
    "supplies_bought", "contributed_at_market", "personal_use_at_market", "personal_use_bought",
    *(f"{line}{PAID}" for line in PAYABLE),
)

LINES = frozenset(chain(YEAR_LINES, FORM_LINES))
