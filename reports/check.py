"""What is wrong in the books and what merely looks odd.

A problem makes the books wrong. A remark is something a careful bookkeeper would look at again.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from decimal import Decimal
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.amount import Amount
from beancount.core.data import Booking, Custom, Open, Transaction
from beancount.core.number import ONE, ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import POURED_ON, TO_POUR, vials_of
from millilot.ledger.directives import DIRECTIVES, ROOT_NAMES
from millilot.ledger.money import Weight, minor_digits, snap
from millilot.ledger.records import Kind
from millilot.reports.claim_remarks import claim_remarks
from millilot.reports.fee_drift import fee_drift
from millilot.reports.fill import SOURCE, tolerable_error
from millilot.reports.measured import measurements
from millilot.reports.payout_remarks import payout_remarks

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from beancount.core.data import BeancountError, Directive, Posting

    from millilot.ledger.records import Books, Bottle, Move, Record

#: A cost per mL above this many hundreds of minor units smells of `{}` where `{{}}` was meant.
_DEAR = 50

#: A bottle measured within so many days is new.
_NEW = datetime.timedelta(days=7)

#: How alike two names must be, between 0 and 1, for one to be a slip for the other.
_NEARLY = 0.7

_SOLD_ON = frozenset({Role.SALES, Role.SWAPS})
#: mL in a vial are shown with so many digits at most: 10 mL in 3 vials have no end.
_SIZE_DIGITS = 4

PLUGIN = "millilot.plugins"


class Finding(NamedTuple):
    """A problem or a remark and where it is; the same shape as Beancount's errors."""

    source: Mapping[str, Any]
    message: str
    entry: Directive | None

    @property
    def place(self) -> str:
        """The file and line."""
        return place(self.source)


def place(source: Mapping[str, Any] | None) -> str:
    """Return the file and line of a source as `file:line`."""
    source = source or {}
    return f"{source.get('filename') or '<books>'}:{source.get('lineno') or 0}"


def problems(entries: Iterable[Directive], errors: Iterable[BeancountError]) -> list[Finding]:
    """Return Beancount's errors, the plugin's among them, and the transactions that booking left empty."""
    found = [Finding(error.source, error.message, error.entry) for error in errors]
    known = {finding.place for finding in found}
    known |= {place(finding.entry.meta) for finding in found if isinstance(finding.entry, Transaction)}
    found += [
        Finding(
            entry.meta,
            "Nothing is left of this transaction: it has no postings, or Beancount's booking dropped them.",
            entry,
        )
        for entry in entries
        if isinstance(entry, Transaction) and not entry.postings and place(entry.meta) not in known
    ]
    return found


def plugin_order(options_map: Mapping[str, Any]) -> list[Finding]:
    """Return what is wrong with the plugin lines: ours must be there, and come before all others."""
    names = [name for name, _ in options_map["plugin"]]
    if names[:1] == [PLUGIN]:
        return []
    if PLUGIN in names:
        what = "stand before every other plugin"
    else:
        what = "be in the books, or nothing is drawn from any bottle"
    source = {"filename": options_map.get("filename"), "lineno": 1}
    return [Finding(source, f'The line plugin "{PLUGIN}" must {what}.', None)]


def remarks(entries: Sequence[Directive], books: Books) -> list[Finding]:
    """Return what looks odd in books that are otherwise right, in the order of the files."""
    found = [
        *_foreign(books),
        *_money_in_stock(entries, books),
        *_poured_on(entries),
        *_poured_from_two(books),
        *(Finding(record.entry.meta, message, record.entry) for record, message in claim_remarks(books)),
        *(Finding(record.entry.meta, message, record.entry) for record, message in payout_remarks(books)),
        *_without_kit(books),
        *_dear(books),
        *_contributed(books),
        *_lost_and_refunded(books),
        *_short_fills(books),
        *_fee_drifts(books),
        *_accounts(entries, books),
        *_batches(entries),
        *_misspelt(entries),
    ]
    return sorted(found, key=lambda remark: (str(remark.source.get("filename")), remark.source.get("lineno") or 0))


def _foreign(books: Books) -> Iterator[Finding]:
    for foreign in books.foreign:
        if any((posting.meta or {}).get(goods.MARK) == goods.REFUSED for posting in foreign.entry.postings):
            continue  # The error of its line says how to write it.
        yield Finding(
            foreign.entry.meta,
            f"{foreign.amount:f} {foreign.currency} on {foreign.account} is not in {books.currency} "
            f"and is left out of every report.",
            foreign.entry,
        )


def _money_in_stock(entries: Iterable[Directive], books: Books) -> Iterator[Finding]:
    """Yield amounts without a cost on stock accounts; goods without one were refused, so they are money."""
    for entry in entries:
        if not isinstance(entry, Transaction):
            continue
        roles = books.settings.roles.on(entry.date)
        for posting in entry.postings:
            if posting.cost is None and posting.units and roles.role(posting.account) is Role.STOCK:
                yield Finding(
                    posting.meta or entry.meta,
                    f"{posting.units} on {posting.account} is money on a stock account and is left out of every "
                    f"report. What belongs to the cost of a purchase stands on {roles.account(Role.INBOUND)}.",
                    entry,
                )


def _poured_on(entries: Iterable[Directive]) -> Iterator[Finding]:
    """Yield orders whose day of pouring cannot be read, so that a stocktake takes no account of it."""
    for entry in entries:
        if not isinstance(entry, Transaction):
            continue
        poured = entry.meta.get(POURED_ON)
        expected = f"Expected, below the first line of the order: {POURED_ON}:"
        if poured is not None and not isinstance(poured, datetime.date):
            message = f"{POURED_ON}: is a day without quotes, not {poured!r}. {expected} {entry.date}"
            yield Finding(entry.meta, message, entry)
        elif poured is not None and TO_POUR in (entry.tags or ()):
            message = (
                f"{POURED_ON}: {poured} takes the place of #{TO_POUR}, and here are both, so the order counts as "
                "not poured. Take the tag off."
            )
            yield Finding(entry.meta, message, entry)
        for posting in entry.postings:
            meta = posting.meta or {}
            on_line = meta.get(goods.POURED)
            if on_line is not None and not isinstance(on_line, Amount) and goods.MARK not in meta:
                day = on_line if isinstance(on_line, datetime.date) else entry.date
                message = (
                    f"{goods.POURED}: {on_line} on a line is not read; it belongs to the whole order. "
                    f"{expected} {day}"
                )
                yield Finding(meta, message, entry)


def _poured_from_two(books: Books) -> Iterator[Finding]:
    fragrances = books.fragrances
    for record in books.records:
        for line in record.lines:
            sources = sorted({name for name, quantity in line.parts if quantity > 0 and name in fragrances})
            if len(sources) > 1:
                yield Finding(
                    record.entry.meta,
                    f"One sale was poured from two bottles: {', '.join(sources)}. "
                    f"Write two lines, or name the bottle with bottle:, if that is not what happened.",
                    record.entry,
                )


def _without_kit(books: Books) -> Iterator[Finding]:
    """Yield the sizes of vials that were sold without a kit, once there is a kit of any size."""
    begin = min((kit.day for kit in books.settings.kits if kit.size is not None), default=None)
    if begin is None:
        return
    known: set[Decimal] = set()
    for record in books.records:
        if record.date < begin:
            continue
        for posting, size in _vials_sold(record, books):
            if size in known or books.settings.kit(size, record.date) is not None:
                continue
            known.add(size)
            shown = round(size, _SIZE_DIGITS)
            words = f"{shown.normalize():f} mL"
            message = f"No kit is set for a vial of {words}, so no supplies are taken for it."
            if shown == size:
                message += f' If it uses any: {record.date} custom "kit" "{words}" 1 VIAL'
            yield Finding(posting.meta or record.entry.meta, message, record.entry)


def _vials_sold(record: Record, books: Books) -> Iterator[tuple[Posting, Decimal]]:
    """Yield the lines of fragrance that were sold, each with the mL in one vial."""
    if not record.lines:
        return
    roles = books.settings.roles.on(record.date)
    for posting in record.entry.postings:
        meta = posting.meta or {}
        poured, vials = meta.get(goods.POURED), vials_of(meta, ONE)
        if (
            isinstance(poured, Amount)
            and vials
            and roles.role(posting.account) in _SOLD_ON
            and books.settings.commodities[poured.currency].is_fragrance
        ):
            yield posting, Weight(*meta[goods.POURED]).number / vials


def _arrivals(books: Books) -> Iterator[tuple[Record, Move, Bottle]]:
    """Yield each move that brought a bottle of fragrance."""
    fragrances = books.fragrances
    for record in books.records:
        for move in record.moves:
            bottle = fragrances.get(move.bottle)
            if bottle is not None and bottle.source is record.entry and move.quantity > 0:
                yield record, move, bottle


def _dear(books: Books) -> Iterator[Finding]:
    limit = Decimal(_DEAR).scaleb(2 - minor_digits(books.currency))
    for record, move, bottle in _arrivals(books):
        per_ml = snap(move.cost / move.quantity, books.currency)
        if per_ml > limit:
            yield Finding(
                record.entry.meta,
                f"{bottle.name} costs {per_ml:f} {books.currency} per mL. If that is the price of the whole "
                f"bottle, write {{{{{per_ml:f} {books.currency}}}}} in two pairs of braces.",
                record.entry,
            )


def _contributed(books: Books) -> Iterator[Finding]:
    for record, move, bottle in _arrivals(books):
        if move.kind is not Kind.CONTRIBUTED or bottle.paid is None or bottle.market_value is None:
            continue
        lower, higher = sorted((bottle.paid, bottle.market_value))
        cost = snap(move.cost, books.currency)
        if cost != lower and cost <= higher:
            yield Finding(
                record.entry.meta,
                f"{bottle.name} came in at {cost:f} {books.currency}, which is not the lower of what was paid "
                f"({bottle.paid:f}) and its market value ({bottle.market_value:f}).",
                record.entry,
            )


def _lost_and_refunded(books: Books) -> Iterator[Finding]:
    """Yield the losses of orders that were refunded in full: a lost parcel is either refunded or poured again."""
    by_order: dict[str, list[Record]] = defaultdict(list)
    for record in books.records:
        if record.order is not None:
            by_order[record.order].append(record)
    for order, records in by_order.items():
        moves = [(record, move) for record in records for move in record.moves if move.bottle in books.fragrances]
        lost = [(record, move) for record, move in moves if move.kind is Kind.LOST]
        if not lost:
            continue
        sold = sum((move.quantity for _, move in moves if move.kind is Kind.SOLD), ZERO)
        money = [money for record in records for money in record.money]
        price = -sum((each.amount for each in money if each.role in _SOLD_ON), ZERO)
        refunded = sum((each.amount for each in money if each.role is Role.REFUNDS), ZERO)
        if sold == sum((move.quantity for _, move in lost), ZERO) and refunded >= price > 0:
            record, move = lost[0]
            yield Finding(
                move.meta,
                f"{order} was refunded in full and {-sold} mL are written as lost. What was sold stays sold when "
                f"a lost parcel is refunded; a loss belongs here only if it was poured again.",
                record.entry,
            )


def _short_fills(books: Books) -> Iterator[Finding]:
    """Yield new bottles, measured before anything was drawn, that held less than the law tolerates."""
    opened: dict[str, datetime.date] = {}
    for record in books.records:
        for move in record.moves:
            if move.quantity < 0 and move.kind is not Kind.SHRINKAGE:
                opened.setdefault(move.bottle, move.date)
    measured = measurements(books)
    for _, move, bottle in _arrivals(books):
        first = next(iter(measured[bottle.name]), None)
        if first is None or first.day - bottle.bought > _NEW or opened.get(bottle.name, first.day) < first.day:
            continue
        missing, tolerable = move.quantity - first.quantity, tolerable_error(move.quantity)
        if tolerable is not None and missing > tolerable:
            yield Finding(
                first.entry.meta,
                f"{bottle.name} held {first.quantity:f} of {move.quantity:f} mL when it was new: {missing:f} mL "
                f"short, where {SOURCE} tolerates {tolerable.normalize():f} mL.",
                first.entry,
            )


def _fee_drifts(books: Books) -> Iterator[Finding]:
    """Yield the fee schedules that are far from the fees of the books, so that prices are reckoned wrongly."""
    latest = {schedule.account: schedule.entry for schedule in books.settings.fee_schedules}
    for each in fee_drift(books):
        if each.is_considerable:
            yield Finding(
                latest[each.account].meta,
                f"By its fee schedule {each.orders} orders of {each.channel} cost {each.estimated:f} in fees, and "
                f"the books show {each.taken:f}. Prices are reckoned by it; a new one counts from its day on.",
                latest[each.account],
            )


def _accounts(entries: Iterable[Directive], books: Books) -> Iterator[Finding]:
    for entry in entries:
        if not isinstance(entry, Open):
            continue
        role = books.settings.roles.on(entry.date).role(entry.account)
        if role is Role.STOCK and entry.booking is not Booking.NONE:
            yield Finding(
                entry.meta,
                f'A stock account wants booking "NONE", or a stock line left blank can spoil the next purchase; '
                f'expected: {entry.date} open {entry.account} "NONE"',
                entry,
            )
        elif role is not None and role is not Role.STOCK and not entry.currencies:
            yield Finding(
                entry.meta,
                f"This account wants its currency, so that mL that end up on it by mistake are an error; "
                f"expected: {entry.date} open {entry.account} {books.currency}",
                entry,
            )


def _misspelt(entries: Iterable[Directive]) -> Iterator[Finding]:
    """Yield custom directives that are called nearly as one of ours is: nobody reads them."""
    for entry in entries:
        if isinstance(entry, Custom) and entry.type not in (*DIRECTIVES, ROOT_NAMES):
            for near in get_close_matches(entry.type, DIRECTIVES, n=1, cutoff=_NEARLY):
                message = f'custom "{entry.type}" is not read by Millilot. If it is ours, write: custom "{near}"'
                yield Finding(entry.meta, message, entry)


def _batches(entries: Iterable[Directive]) -> Iterator[Finding]:
    for entry in entries:
        if not isinstance(entry, Transaction):
            continue
        for posting in entry.postings:
            batch = (posting.meta or {}).get("batch")
            if posting.cost is not None and batch is not None and not isinstance(batch, str):
                yield Finding(
                    posting.meta or entry.meta,
                    f'A batch code without quotes is read as a number or an amount; write batch: "{batch}" '
                    f"with every zero it has.",
                    entry,
                )
