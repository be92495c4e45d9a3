"""What is wrong in the books and what merely looks odd.

A problem makes the books wrong. A remark is something a careful bookkeeper would look at again.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.data import Booking, Open, Transaction

from millilot.ledger.accounts import Role
from millilot.ledger.money import minor_digits, snap
from millilot.ledger.records import Kind

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from beancount.core.data import BeancountError, Directive

    from millilot.ledger.records import Books, Bottle, Move, Record

#: A cost per mL above this many hundreds of minor units smells of `{}` where `{{}}` was meant.
_DEAR = 50


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
        *_poured_from_two(books),
        *_dear(books),
        *_contributed(books),
        *_accounts(entries, books),
        *_batches(entries),
    ]
    return sorted(found, key=lambda remark: (str(remark.source.get("filename")), remark.source.get("lineno") or 0))


def _foreign(books: Books) -> Iterator[Finding]:
    for foreign in books.foreign:
        yield Finding(
            foreign.entry.meta,
            f"{foreign.amount:f} {foreign.currency} on {foreign.account} is not in {books.currency} "
            f"and is left out of every report.",
            foreign.entry,
        )


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
