"""What a transaction poured: each line's mL, by vial and by bottle.

A line of a sale goes into one vial unless `vials:` says how many, and a vial may hold the last of one bottle and
the first of the next. What went out as it came (`vials: 0`) is in none, nor is a sample or a gift that names none.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import vials_of as vials_in
from millilot.ledger.kept import once_per_books
from millilot.ledger.records import Kind
from millilot.reports import rounding
from millilot.reports.bottles import plain

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from millilot.ledger.records import Books, Money, Record

_HUNDREDTH = Decimal("0.01")

#: Beside sales, what is poured for somebody.
_GIVEN = (Kind.SAMPLED, Kind.LOST, Kind.KEPT)


@dataclass(frozen=True, slots=True)
class Vials:
    """Vials that are alike, or mL in no vial.

    Attributes:
        kind: why it left: sold, sampled, lost (poured again), kept.
        parts: (bottle, mL) in each vial; all of it where there is no vial.
        number: how many vials; 0 for what is in none.
    """

    kind: Kind
    parts: tuple[tuple[str, Decimal], ...]
    number: int

    @property
    def ml(self) -> Decimal:
        """The mL in each vial, or of all that is in none."""
        return sum((quantity for _, quantity in self.parts), ZERO)

    def of(self, bottle: str) -> Decimal:
        """Return the mL of all these vials that come from a bottle."""
        own = sum((quantity for name, quantity in self.parts if name == bottle), ZERO)
        return own * max(self.number, 1)


class Sold(NamedTuple):
    """Vials of one size that were sold from one bottle.

    Attributes:
        record: the transaction.
        money: the price of the line.
        bottle: where they were poured from.
        size: mL in a vial, to a hundredth.
        number: how many, in part where a vial is of two bottles.
        price: of all of them, before refunds.
    """

    record: Record
    money: Money
    bottle: str
    size: Decimal
    number: Decimal
    price: Decimal

    @property
    def asked(self) -> Decimal:
        """What was asked for one of them, before any discount."""
        return self.price / self.number + self.money.discount / self.money.vials


def vials_of(record: Record, books: Books) -> list[Vials]:
    """Return what a transaction poured of fragrance, in the order of its lines.

    Args:
        record: the transaction; what it brings back is not looked at.
        books: its books.
    """
    return [*_sold(record, books), *_given(record, books)]


@once_per_books
def vials_sold(books: Books) -> Sequence[Sold]:
    """Return the vials that were sold at a price, by the bottles they were poured from, in the order of the books.

    What left unopened is no vial, and a swap is no sale. A vial of two bottles counts in part for each.
    """
    return tuple(_vials_sold(books))


def _vials_sold(books: Books) -> Iterator[Sold]:
    for record in books.records:
        for money in record.money:
            line = money.line
            if line is None or money.role is not Role.SALES or line.price <= 0 or not money.vials:
                continue
            quantity = sum((ml for _, ml in line.parts), ZERO)
            size = plain(rounding.nearest(quantity / money.vials, _HUNDREDTH))
            if not size:
                # Less than can be told apart is no vial.
                continue
            for bottle, ml in line.parts:
                if bottle in books.fragrances:
                    share = ml / quantity
                    yield Sold(record, money, bottle, size, money.vials * share, line.price * share)


def _sold(record: Record, books: Books) -> Iterator[Vials]:
    in_lines: dict[str, Decimal] = defaultdict(Decimal)
    for money in record.money:
        if money.line is None:
            continue
        parts = [(name, ml) for name, ml in money.line.parts if ml > 0 and name in books.fragrances]
        for name, ml in parts:
            in_lines[name] += ml
        if parts:
            yield from _filled(Kind.SOLD, parts, money.vials)
    # What the owner wrote as a pair of postings has no line that could say how many vials.
    for move in record.moves:
        if move.kind is Kind.SOLD and move.quantity < 0 and move.bottle in books.fragrances:
            beyond = -move.quantity - in_lines[move.bottle]
            in_lines[move.bottle] = max(-beyond, ZERO)
            if beyond > 0:
                yield Vials(Kind.SOLD, ((move.bottle, beyond),), 0)


def _given(record: Record, books: Books) -> Iterator[Vials]:
    written = {
        _place(posting.meta): posting.meta
        for posting in record.entry.postings
        if goods.POURED in (posting.meta or {})
    }
    by_line: dict[object, list[tuple[str, Decimal]]] = defaultdict(list)
    kinds: dict[object, Kind] = {}
    for move in record.moves:
        if move.kind in _GIVEN and move.quantity < 0 and move.bottle in books.fragrances:
            kinds[_place(move.meta)] = move.kind
            by_line[_place(move.meta)].append((move.bottle, -move.quantity))
    for line, parts in by_line.items():
        yield from _filled(kinds[line], parts, vials_in(written.get(line) or {}, ZERO))


def _place(meta: Any) -> object:
    """Return where a posting is written; one that serves a line has the place of the line."""
    return (meta or {}).get("filename"), (meta or {}).get("lineno")


def _filled(kind: Kind, parts: Sequence[tuple[str, Decimal]], number: Decimal) -> Iterator[Vials]:
    """Yield the vials of a line, filled from its bottles in turn.

    Args:
        kind: why it left.
        parts: the mL of each bottle.
        number: how many vials they fill.
    """
    total = sum((ml for _, ml in parts), ZERO)
    if not number:
        yield Vials(kind, tuple(parts), 0)
        return
    size = total / number
    begun: list[tuple[str, Decimal]] = []
    room = ZERO
    for bottle, ml in parts:
        left = ml
        if begun:
            taken = min(left, room)
            begun.append((bottle, taken))
            room -= taken
            left -= taken
            if room < goods.EXACT:
                yield Vials(kind, tuple(begun), 1)
                begun = []
        whole = _whole(left / size)
        if whole:
            yield Vials(kind, ((bottle, size),), whole)
        left -= whole * size
        if left > goods.EXACT:
            begun = [(bottle, left)]
            room = size - left
    if begun:
        yield Vials(kind, tuple(begun), 1)


def _whole(number: Decimal) -> int:
    """Return how many whole vials a number of them is, but for noise: 10 mL in 3 vials have no end."""
    return int((number + goods.EXACT).to_integral_value(ROUND_FLOOR))


def in_all(vials: Iterable[Vials]) -> list[Vials]:
    """Return vials that are alike as one, in the order in which each is met first; what is in none stays apart."""
    numbers: dict[object, int] = {}
    first: dict[object, Vials] = {}
    for place, each in enumerate(vials):
        key = (each.kind, each.parts) if each.number else place
        first.setdefault(key, each)
        numbers[key] = numbers.get(key, 0) + each.number
    return [replace(each, number=numbers[key]) for key, each in first.items()]


def without(poured: Iterable[Vials], bottle: str, quantity: Decimal) -> list[Vials]:
    """Return vials without so many mL of a bottle that came back: whole vials of that size, else the last ones.

    Args:
        poured: the vials.
        bottle: where the mL went back to.
        quantity: mL; what is beyond those of the bottle is left out of account.
    """
    left = [[vials] for vials in poured]
    places = [place for place in reversed(range(len(left))) if left[place][0].of(bottle)]
    places.sort(key=lambda place: not _are_whole(left[place][0], bottle, quantity))
    for place in places:
        [vials] = left[place]
        struck = min(quantity, vials.of(bottle))
        left[place] = list(_reduced(vials, bottle, struck)) if struck else [vials]
        quantity -= struck
    return [vials for of_line in left for vials in of_line]


def _are_whole(vials: Vials, bottle: str, quantity: Decimal) -> bool:
    """Whether a quantity is that of some of these vials."""
    own = vials.of(bottle)
    return quantity <= own and quantity * max(vials.number, 1) % own < goods.EXACT


def _reduced(vials: Vials, bottle: str, struck: Decimal) -> Iterator[Vials]:
    """Yield what is left of vials that lack some of a bottle's mL: fewer of them, and perhaps one not full."""
    own = vials.of(bottle) / max(vials.number, 1)
    whole = _whole(struck / own)
    if vials.number - whole > 1:
        yield replace(vials, number=vials.number - whole - 1)
    if max(vials.number, 1) > whole:
        rest = max(struck - whole * own, ZERO)
        one = replace(vials, number=min(vials.number, 1))
        yield replace(one, parts=tuple(_less(one.parts, bottle, rest))) if rest > goods.EXACT else one
    elif others := tuple(part for part in vials.parts if part[0] != bottle):
        yield replace(vials, parts=others)


def _less(
    parts: Iterable[tuple[str, Decimal]], bottle: str, quantity: Decimal,
) -> Iterator[tuple[str, Decimal]]:
    for name, ml in parts:
        taken = min(ml, quantity) if name == bottle else ZERO
        quantity -= taken
        if ml > taken:
            yield name, ml - taken
