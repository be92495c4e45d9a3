"""What was counted or weighed in the morning of a day.

::

    2026-03-01 custom "stocktake" "CH-1" 41.5 CEDARHOUR
    2026-03-01 custom "weighing" "CH-1" 187.4

It means the start of its day, as `balance` does, so the entry it gives is dated the day before. It is compared
with what the books have left plus the orders that were not yet poured. Less than that is shrinkage, at cost. More
leaves the cost of the bottle as it is and spreads it over the millilitres found.

A weight becomes millilitres by the empty bottle's weight (`tare:`), else by the sealed bottle's (`full:`), and the
density of the bottle, else of the fragrance, else an assumed one.
"""

from __future__ import annotations

import datetime
from collections import Counter, defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.amount import Amount
from beancount.core.data import EMPTY_SET, Posting, Transaction, new_metadata
from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import POURED_ON, TO_POUR
from millilot.ledger.directives import Weighing
from millilot.plugins.drafts import pair
from millilot.plugins.landed_cost import generated_meta
from millilot.plugins.problems import StocktakeError
from millilot.plugins.stock import Layer

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from beancount.core.data import Directives

    from millilot.ledger.directives import Commodity, Settings, Stocktake
    from millilot.plugins.explain import Explain
    from millilot.plugins.opening import Accounts
    from millilot.plugins.problems import Problem
    from millilot.plugins.stock import Lot, Piece, Shelf

DAY = datetime.timedelta(days=1)


#: g/mL of a finished perfume where nothing better is known. From memory; no authority was found for a figure, so
#: the entry says that it was assumed and what the range would give.
ASSUMED_DENSITY = Decimal("0.85")
DENSITY_RANGE = (Decimal("0.80"), Decimal("0.90"))

#: A weight in tenths of a gram says no more than this about millilitres.
WEIGHED_TO = Decimal("0.01")


class Reading(NamedTuple):
    """What is in a bottle, in mL, and how that is known."""

    quantity: Decimal
    words: str


def by_weight(
    name: str, grams: Decimal, meta: Mapping[str, Any], bought: Decimal, commodity: Commodity,
) -> Reading | str:
    """Turn the weight of a bottle into millilitres.

    Args:
        name: of the bottle.
        grams: what it weighs.
        meta: of the posting that brought it, with `tare:` or `full:` in g and perhaps `density:` in g/mL.
        bought: mL it came in with.
        commodity: what is in it.

    Returns:
        The reading, or why the weight says nothing.
    """
    tare, full = (_number(meta, key) for key in ("tare", "full"))
    if tare is None and full is None:
        return (
            f"{name} has neither tare: nor full: on its purchase, so {grams} g say nothing about what is in it."
        )
    given = _number(meta, "density") or commodity.density
    density = given or ASSUMED_DENSITY

    def millilitres(density: Decimal) -> Decimal:
        above_tare = grams - tare if tare is not None else bought * density - ((full or ZERO) - grams)
        return (above_tare / density).quantize(WEIGHED_TO)

    quantity = millilitres(density)
    basis = f"tare {tare} g" if tare is not None else f"full weight {full} g"
    if quantity < 0:
        return f"{grams} g are less than {name} can weigh with {basis}."
    words = f"{grams} g with {basis} at {density} g/mL are {quantity} {commodity.code}"
    if given is None:
        least, most = sorted(millilitres(limit) for limit in DENSITY_RANGE)
        low, high = DENSITY_RANGE
        words += f" (density assumed; {low} to {high} g/mL would give {least} to {most})"
    return Reading(quantity, words)


@dataclass(slots=True)
class _Unpoured:
    """Something sold that was still in the bottle until it was poured: the order, its day and that of the pour."""

    quantity: Decimal
    links: frozenset[str]
    ordered: datetime.date
    poured: datetime.date | None


class Stocktakes:
    """Books what was counted or weighed.

    Args:
        settings: what the owner set, with the counts.
        shelf: the lots.
        explain: the words of errors.
        accounts: told which account is needed.
    """

    def __init__(self, settings: Settings, shelf: Shelf, explain: Explain, accounts: Accounts) -> None:
        self._settings = settings
        self._shelf = shelf
        self._explain = explain
        self._accounts = accounts
        self._unpoured: dict[str, list[_Unpoured]] = defaultdict(list)
        self._of_day: dict[datetime.date, list[Stocktake | Weighing]] = defaultdict(list)
        counts: list[Stocktake | Weighing] = [*settings.stocktakes, *settings.weighings]
        for count in counts:
            self._of_day[count.day].append(count)

    @staticmethod
    def concerns(entry: Transaction) -> bool:
        """Whether an order says that it is still to be poured, or when it was."""
        return bool(entry.tags and TO_POUR in entry.tags) or POURED_ON in entry.meta

    def note(self, entry: Transaction, pieces: Iterable[Piece]) -> None:
        """Remember what a line of such an order took."""
        poured = entry.meta.get(POURED_ON)
        if TO_POUR in (entry.tags or ()):
            poured = None
        elif not isinstance(poured, datetime.date):
            return
        for piece in pieces:
            sold = _Unpoured(piece.quantity, frozenset(entry.links or ()), entry.date, poured)
            self._unpoured[piece.lot.name].append(sold)

    def note_return(self, entry: Transaction, lot: Lot, quantity: Decimal) -> None:
        """Forget what of such an order came back: it counts among what is left again."""
        for sold in self._unpoured.get(lot.name, ()):
            if not sold.links.isdisjoint(entry.links or ()):
                struck = min(sold.quantity, quantity)
                sold.quantity -= struck
                quantity -= struck

    def book(self, day: datetime.date) -> tuple[Directives, list[Problem]]:
        """Book the counts of a day, before anything else of it is booked; return entries of the day before."""
        entries: Directives = []
        errors: list[Problem] = []
        counts = self._of_day.get(day, ())
        times = Counter(count.bottle for count in counts)
        for count in counts:
            result = self._book(count) if times[count.bottle] == 1 else self._repeated(count, counts)
            if isinstance(result, Transaction):
                entries.append(result)
            elif result is not None:
                errors.append(StocktakeError(dict(count.entry.meta), result, count.entry))
        return entries, errors

    def _book(self, count: Stocktake | Weighing) -> Transaction | str | None:
        """Return the entry of a count, what is wrong with it, or None when the books agree with it."""
        lot = self._shelf.get(count.bottle)
        if lot is None:
            return self._explain.unknown(count.bottle, None)
        reading = self._read(lot, count)
        if isinstance(reading, str):
            return reading
        waiting = self.still_inside(lot, count.day)
        expected = lot.left + waiting
        words = (
            f"Stocktake of {lot.name}: {reading.words}, {expected} {lot.commodity} expected"
            + (f" ({waiting} of it sold and not yet poured)" if waiting else "")
        )
        found = reading.quantity - expected
        if not found:
            return None
        if found > 0 and not lot.left:
            return (
                f"{words}, but the books have nothing left in it whose cost could be spread over what was found. "
                "Look for a draw that was written twice or from the wrong bottle."
            )
        if -found > lot.left:
            return f"{words}: {-found} would be missing, and the books have only {lot.left} left."
        postings = self._spread(lot, found, count) if found > 0 else self._shrink(lot, -found, count)
        meta = new_metadata(count.entry.meta["filename"], count.entry.meta["lineno"])
        return Transaction(meta, count.day - DAY, "*", None, words, EMPTY_SET, EMPTY_SET, postings)

    @staticmethod
    def _repeated(count: Stocktake | Weighing, counts: Sequence[Stocktake | Weighing]) -> str | None:
        """Refuse the last of several measurements of a morning; which of them holds is the owner's to say."""
        last = max((other for other in counts if other.bottle == count.bottle), key=_line)
        if count is not last:
            return None
        return f"{count.bottle} is measured more than once on {count.day}, so none of it is booked. Keep one."

    def still_inside(self, lot: Lot, day: datetime.date) -> Decimal:
        """Return what of a lot was sold and not poured by the morning of a day, so is still in the bottle."""
        return sum(
            (
                sold.quantity
                for sold in self._unpoured.get(lot.name, ())
                if sold.ordered < day and (sold.poured is None or sold.poured >= day)
            ),
            ZERO,
        )

    def _read(self, lot: Lot, count: Stocktake | Weighing) -> Reading | str:
        if isinstance(count, Weighing):
            commodity = self._settings.commodities[lot.commodity]
            return by_weight(lot.name, count.grams, lot.meta, lot.bought_quantity, commodity)
        if count.commodity != lot.commodity:
            return f"{lot.name} holds {lot.commodity}, not {count.commodity}."
        return Reading(count.quantity, f"{count.quantity} {count.commodity} counted")

    def _shrink(self, lot: Lot, missing: Decimal, count: Stocktake | Weighing) -> list[Posting]:
        origin = count.entry.meta
        day = count.day - DAY
        account = self._settings.roles.on(day).account(Role.SHRINKAGE)
        self._accounts.need(account, lot.cost.currency, day, origin, count.entry)
        meta = generated_meta(origin, goods.STOCKTAKE)
        postings: list[Posting] = []
        for piece in lot.take(missing):
            postings += pair(piece, Amount(-piece.quantity, lot.commodity), account, meta)
        return postings

    @staticmethod
    def _spread(lot: Lot, found: Decimal, count: Stocktake | Weighing) -> list[Posting]:
        """Take out what was left at its cost, and put in what was found at the same cost in all."""
        meta = generated_meta(count.entry.meta, goods.STOCKTAKE)
        total = lot.left + found
        pieces = lot.take(lot.left)
        worth = sum((piece.quantity * piece.cost.number for piece in pieces), ZERO)
        cost = lot.cost._replace(number=worth / total)
        lot.layers = [Layer(total, cost)]
        lot.left = total
        lot.received += found
        lot.landed = cost.number
        out = [
            Posting(lot.account, Amount(-piece.quantity, lot.commodity), piece.cost, None, None, meta)
            for piece in pieces
        ]
        return [*out, Posting(lot.account, Amount(total, lot.commodity), cost, None, None, meta)]


def _line(count: Stocktake | Weighing) -> int:
    return int(count.entry.meta["lineno"])


def _number(meta: Any, key: str) -> Decimal | None:
    value = meta.get(key)
    return value if isinstance(value, Decimal) else None
