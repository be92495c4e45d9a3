"""What a preparer asks about: what is not proven, not explained, or odd in a year's books."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from beancount.core.data import Transaction
from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.goods import EXACT, is_booked
from millilot.ledger.money import minor_unit
from millilot.ledger.records import Kind
from millilot.reports import rounding
from millilot.reports.bottles import bottles, plain, rows_of
from millilot.reports.payouts import State, settle, title

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Mapping

    from beancount.core.data import BeancountError, Directive

    from millilot.ledger.records import Books, Line, Record
    from millilot.reports.bottles import Row
    from millilot.reports.check import Finding
    from millilot.reports.payouts import Settled, Settlement

#: Metadata of a purchase that says there is a document for it; `document-2` and so on count too.
DOCUMENTED_BY = ("document", "receipt", "invoice")


class Cause(StrEnum):
    """Why something is on the list, in the order of the list."""

    ERROR = "error in the books"
    OVERDRAWN = "overdrawn bottle"
    NEGATIVE = "balance on the wrong side"
    UNSORTED = "unsorted sale"
    WITHOUT_COST = "order without cost"
    OPEN_PAYOUT = "open payout"
    UNPAID = "in no payout"
    ESTIMATED = "estimated cost"
    UNDOCUMENTED = "purchase without a document"
    UNDER_COST = "last sold under cost"


@dataclass(frozen=True, slots=True)
class Exceptional:
    """Something to look into.

    Attributes:
        cause: why.
        date: its day; None for what has none.
        what: the bottle, order, payout or account, or what an error says.
        detail: in words, what is known of it.
        amount: the money at stake, in minor units of the operating currency; None where there is none.
        source: where it is written: metadata with a file and line.
    """

    cause: Cause
    date: datetime.date | None
    what: str
    detail: str
    amount: Decimal | None
    source: Mapping[str, Any]


def exceptions(
    entries: Iterable[Directive],
    errors: Iterable[BeancountError | Finding],
    books: Books,
    start: datetime.date,
    end: datetime.date,
    *,
    documented: frozenset[str] = frozenset(),
) -> list[Exceptional]:
    """Return what to look into, by cause and day.

    Args:
        entries: all entries as Beancount loaded them.
        errors: what is wrong in the books.
        books: books read up to the last day.
        start: the first day; what happened before it is left out unless it still stands on the last day.
        end: the last day, itself included.
        documented: links that documents of the books carry.
    """
    within = [record for record in books.records if start <= record.date <= end]
    unit = minor_unit(books.currency)
    rows = rows_of(bottles(books))
    found = [
        *(Exceptional(Cause.ERROR, None, error.message, "", None, error.source) for error in errors),
        *_overdrawn(books),
        *_negative(entries, books, end),
        *_unsorted(within, unit),
        *_without_cost(within, unit),
        *_channels(books),
        *_estimated(books, rows, within),
        *_undocumented(books, within, documented),
        *_under_cost(books, rows),
    ]
    causes = list(Cause)
    return sorted(found, key=lambda each: (causes.index(each.cause), each.date or end, each.what))


def has_document(record: Record, documented: frozenset[str] = frozenset()) -> bool:
    """Whether the books name a document for an entry: by metadata, or by a document with a link of it."""
    if documented & frozenset(record.entry.links or ()):
        return True
    metas = [record.entry.meta, *(posting.meta or {} for posting in record.entry.postings)]
    return any(
        name.partition("-")[0] in DOCUMENTED_BY and value not in {False, None, ""}
        for meta in metas
        for name, value in meta.items()
        if isinstance(value, str | bool | None)
    )


def _overdrawn(books: Books) -> Iterator[Exceptional]:
    left: dict[str, Decimal] = defaultdict(Decimal)
    known = set()
    for record in books.records:
        for move in record.moves:
            left[move.bottle] += move.quantity
        for move in record.moves:
            if left[move.bottle] < -EXACT and move.bottle not in known:
                known.add(move.bottle)
                unit = books.bottles[move.bottle].commodity.unit
                yield Exceptional(
                    Cause.OVERDRAWN, record.date, move.bottle,
                    f"{plain(-left[move.bottle]):f} {unit} more than it held", None, move.meta,
                )


#: Balances that can only be on one side: 1 for money at hand, -1 for what is owed.
_SIDES: Mapping[Role | None, int] = {Role.BANK: 1, Role.MARKETPLACE: 1, Role.CLAIMS: -1, Role.SALES_TAX: -1}


def _negative(entries: Iterable[Directive], books: Books, end: datetime.date) -> Iterator[Exceptional]:
    """Yield balances on the wrong side, each currency by itself: at changing rates none would come to nought."""
    balances: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    last: dict[tuple[str, str], Mapping[str, Any]] = {}
    for entry in entries:
        if not isinstance(entry, Transaction) or entry.date > end or not is_booked(entry):
            continue
        for posting in entry.postings:
            units = posting.units
            if posting.cost is None and units is not None and units.number is not None:
                held = posting.account, units.currency
                balances[held] += units.number
                last[held] = posting.meta or entry.meta
    roles = books.settings.roles.on(end)
    when = "at the end of the last day"
    for (account, currency), balance in sorted(balances.items()):
        side = _SIDES.get(roles.role(account))
        amount = rounding.nearest(balance, minor_unit(currency))
        if side is None or side * amount >= 0:
            continue
        source = last[account, currency]
        if currency == books.currency:
            yield Exceptional(Cause.NEGATIVE, end, account, when, amount, source)
        else:
            yield Exceptional(Cause.NEGATIVE, end, account, f"{amount} {currency} {when}", None, source)


def _unsorted(records: Iterable[Record], unit: Decimal) -> Iterator[Exceptional]:
    for record in records:
        for money in record.money:
            if money.role is Role.UNSORTED and money.amount < 0:
                yield Exceptional(
                    Cause.UNSORTED, record.date, record.order or money.account,
                    "income whose fragrance is not known: nothing was drawn for it",
                    rounding.nearest(-money.amount, unit), money.meta,
                )


def _without_cost(records: Iterable[Record], unit: Decimal) -> Iterator[Exceptional]:
    for record in records:
        for money in record.money:
            if money.role is not Role.SALES or money.amount >= 0 or money.bottle is not None:
                continue
            if money.refused:
                detail = "its goods were refused: see the errors"
            elif money.line is None and not any(move.kind is Kind.SOLD for move in record.moves):
                detail = "no goods were drawn for it"
            else:
                continue
            yield Exceptional(
                Cause.WITHOUT_COST, record.date, record.order or money.account, detail,
                rounding.nearest(-money.amount, unit), money.meta,
            )


def _channels(books: Books) -> Iterator[Exceptional]:
    for settlement in settle(books):
        for settled in settlement.payouts:
            if settled.payout.state is State.OPEN:
                yield _open_payout(settled)
        yield from _unpaid(settlement, minor_unit(books.currency))


def _open_payout(settled: Settled) -> Exceptional:
    payout = settled.payout
    if payout.bank_date is None and not settled.late:
        detail = "under way to the bank"
    elif settled.ambiguous:
        detail = "more than one explanation fits"
    elif settled.late:
        detail = "not all of it has reached the bank"
    else:
        detail = "nothing explains what it paid"
    source = settled.sending.transfers[0].record.entry.meta
    return Exceptional(Cause.OPEN_PAYOUT, payout.date, title(settled), detail, payout.difference, source)


def _unpaid(settlement: Settlement, unit: Decimal) -> Iterator[Exceptional]:
    """Yield what was to be paid before the channel's last payout, and what no payout has certainly paid."""
    last = max((settled.payout.date for settled in settlement.payouts), default=None)
    for event in settlement.unpaid:
        if last is None or event.held or event.available >= last:
            continue
        yield Exceptional(
            Cause.UNPAID, event.date, " ".join(event.orders) or f"{event.kind}, {settlement.channel.name}",
            f"available on {event.available}, and the last payout is of {last}",
            rounding.nearest(event.amount, unit), event.record.entry.meta,
        )


def _estimated(books: Books, rows: Iterable[Row], within: Iterable[Record]) -> Iterator[Exceptional]:
    moved = {move.bottle for record in within for move in record.moves}
    unit = minor_unit(books.currency)
    for row in rows:
        bottle = books.fragrances.get(row["bottle"])
        if bottle is not None and bottle.estimated and (bottle.name in moved or row["ml_left"]):
            yield Exceptional(
                Cause.ESTIMATED, bottle.bought, bottle.name, bottle.commodity.name,
                rounding.nearest(row["cost"], unit), bottle.source.meta,
            )


def _undocumented(
    books: Books, within: Iterable[Record], documented: frozenset[str],
) -> Iterator[Exceptional]:
    unit = minor_unit(books.currency)
    for record in within:
        bought = [move for move in record.moves if move.kind is Kind.BOUGHT and move.cost > 0]
        if bought and not has_document(record, documented):
            names = dict.fromkeys(books.bottles[move.bottle].commodity.name for move in bought)
            yield Exceptional(
                Cause.UNDOCUMENTED, record.date, ", ".join(names), "no document: or receipt: in the books",
                rounding.nearest(sum((move.cost for move in bought), ZERO), unit), record.entry.meta,
            )


def _under_cost(books: Books, rows: Iterable[Row]) -> Iterator[Exceptional]:
    last: dict[str, tuple[Record, Line]] = {}
    for record in books.records:
        for line in record.lines:
            if line.price > 0:
                last.update((name, (record, line)) for name, quantity in line.parts if quantity > 0)
    unit = minor_unit(books.currency)
    fine = unit.scaleb(-2)
    for row in rows:
        if row["bottle"] not in last or not row["ml_left"] > 0:
            continue
        record, line = last[row["bottle"]]
        price = line.price / sum((quantity for _, quantity in line.parts), ZERO)
        cost = row["stock_value"] / row["ml_left"]
        if price < cost - EXACT:
            yield Exceptional(
                Cause.UNDER_COST, record.date, row["bottle"],
                f"{rounding.nearest(price, fine):f} a mL, and what is left cost {rounding.nearest(cost, fine):f}",
                rounding.nearest(row["stock_value"], unit), record.entry.meta,
            )
