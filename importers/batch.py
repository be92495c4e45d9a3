"""What becomes of each row of the files that are imported together."""

from __future__ import annotations

import dataclasses
from collections import Counter
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple

from millilot.importers import identity
from millilot.importers.costs import Costs
from millilot.importers.events import LeftOut, read_orders
from millilot.importers.table import iter_rows
from millilot.importers.titles import TitleReader
from millilot.importers.transactions import Builder
from millilot.ledger.directives import read_settings
from millilot.ledger.money import minor_unit, weight

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from beancount.core.data import Directive, Transaction

    from millilot.importers.events import Event, Order
    from millilot.importers.profile import Profile
    from millilot.importers.transactions import Built

ZERO = Decimal(0)

_UNSORTED = "its title names no fragrance for certain"


class Outcome(StrEnum):
    """How a row ends."""

    NEW = "new"
    KNOWN = "known"
    SKIPPED = "skipped"
    UNSORTED = "unsorted"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Fate:
    """What became of a row.

    Attributes:
        file: the file as it was named.
        row: the line of the file the row begins on.
        fate: how it ended.
        order: the number of its order, or empty.
        reason: why; empty when there is nothing to say.
    """

    file: str
    row: int
    fate: Outcome
    order: str
    reason: str


@dataclass(slots=True)
class Money:
    """What the rows moved on the channels' accounts, in one currency; rows = the sum of the others.

    Attributes:
        rows: by what stands in the rows.
        booked: by the new entries.
        known: in the books already.
        skipped: of rows skipped for a reason.
        refused: of rows refused, as far as they can be read.
    """

    rows: Decimal = ZERO
    booked: Decimal = ZERO
    known: Decimal = ZERO
    skipped: Decimal = ZERO
    refused: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class ImportResult:
    """How many rows ended how, each row's fate, and the money by currency."""

    rows: int
    new: int
    known: int
    skipped: int
    unsorted: int
    refused: int
    fates: tuple[Fate, ...]
    money: dict[str, Money]

    def as_dict(self) -> dict[str, Any]:
        """Return plain values; amounts are texts."""
        result = dataclasses.asdict(self)
        for currency, sums in result["money"].items():
            sums.update((name, str(amount.quantize(minor_unit(currency)))) for name, amount in sums.items())
        return result


class _Source(NamedTuple):
    """A file that is being read."""

    path: Path
    profile: Profile
    builder: Builder


class _Decision(NamedTuple):
    """What becomes of an event, why, and its entry."""

    event: Event
    outcome: Outcome
    reason: str
    built: Built


def _unwatched(_rows: int) -> None:
    """Nobody wants to know how far it is."""


class Batch:
    """Sorts the rows of files into what is new, known, skipped, unsorted or refused.

    Args:
        entries: the loaded books.

    Attributes:
        new: the entries to be written, in the order of the files.
        known: the entries of the files whose events are in the books already.
    """

    def __init__(self, entries: Sequence[Directive]) -> None:
        self._settings, _ = read_settings(entries)
        self._booked = identity.BookedEvents(entries, self._settings.roles)
        self._costs = Costs(entries)
        self._met: dict[str, tuple[Event, str]] = {}
        self._fates: list[Fate] = []
        self._money: dict[str, Money] = {}
        self.new: list[Transaction] = []
        self.known: list[Transaction] = []

    def add(self, path: Path, profile: Profile, advance: Callable[[int], None] = _unwatched) -> None:
        """Take in a file.

        Args:
            path: the file.
            profile: how it is written.
            advance: is told of each number of rows that is done.

        Raises:
            FileError: when it cannot be read as a whole.
        """
        titles = TitleReader(profile.titles, self._settings.commodities.values())
        source = _Source(path, profile, Builder(profile, self._settings.roles, titles, self._costs, str(path)))
        fates: list[Fate] = []
        for order in read_orders(iter_rows(path, profile.file, profile.headings), profile):
            ends = self._leave_out(order, source) if isinstance(order, LeftOut) else self._take(order, source)
            before = len(fates)
            fates.extend(ends)
            advance(len(fates) - before)
        self._fates.extend(sorted(fates, key=lambda fate: fate.row))

    def result(self) -> ImportResult:
        """Return the outcome of all files so far."""
        counts = Counter(fate.fate for fate in self._fates)
        return ImportResult(
            rows=len(self._fates),
            **{outcome.value: counts[outcome] for outcome in Outcome},
            fates=tuple(self._fates),
            money=self._money,
        )

    def _leave_out(self, order: LeftOut, source: _Source) -> Iterator[Fate]:
        refused = order.refused
        reasons = order.reasons
        if not refused and self._stands_unrefunded(order.order, source):
            refused = True
            reasons = {
                row: f"{reason}, but the books hold the order and no refund" for row, reason in reasons.items()
            }
        sums = self._sums(source)
        net = order.net or ZERO
        sums.rows += net
        if refused:
            sums.refused += net
        else:
            sums.skipped += net
        outcome = Outcome.REFUSED if refused else Outcome.SKIPPED
        for row, reason in reasons.items():
            yield Fate(str(source.path), row, outcome, order.order, reason)

    def _stands_unrefunded(self, order: str, source: _Source) -> bool:
        slug = source.profile.slug
        link = identity.link(identity.ORDER, slug, order)
        sale, refund = (
            self._booked.imported(identity.event_key(slug, kind, order)) or self._booked.written(kind, link)
            for kind in ("sale", "refund")
        )
        return sale is not None and refund is None

    def _take(self, order: Order, source: _Source) -> Iterator[Fate]:
        decisions = [self._decide(event, order.rows[0], source) for event in order.events]
        sums = self._sums(source)
        sums.rows += sum((event.net for event in order.events), ZERO)
        refusals = [decision.reason for decision in decisions if decision.outcome is Outcome.REFUSED]
        if refusals:
            sums.refused += sum((event.net for event in order.events), ZERO)
            for row in order.rows:
                yield Fate(str(source.path), row, Outcome.REFUSED, order.order, "; ".join(refusals))
            return
        unsorted: set[int] = set()
        for event, outcome, _, built in decisions:
            if outcome is Outcome.KNOWN:
                sums.known += event.net
                self.known.append(built.transaction)
                continue
            self._met[identity.event_key(source.profile.slug, event.kind, event.order)] = (
                event, f"{source.path}, row {order.rows[0]}",
            )
            self.new.append(built.transaction)
            sums.booked += _change(built.transaction, source.builder.channel_account(event))
            unsorted |= built.unsorted
        outcome, reason = _together(decisions)
        for row in order.rows:
            fate = (Outcome.UNSORTED, _UNSORTED) if row in unsorted else (outcome, reason)
            yield Fate(str(source.path), row, fate[0], order.order, fate[1])

    def _decide(self, event: Event, row: int, source: _Source) -> _Decision:
        built = source.builder.build(event, row)
        key = identity.event_key(source.profile.slug, event.kind, event.order)
        if key in self._met:
            same, place = self._met[key]
            if same == event:
                return _Decision(event, Outcome.KNOWN, f"the same {event.kind} as in {place}", built)
            return _Decision(event, Outcome.REFUSED, f"another {event.kind} of the order stands in {place}", built)
        booked = self._booked.imported(key)
        if booked is not None:
            currency = source.profile.currency
            change = booked.change(source.builder.channel_account(event), currency)
            if change is None or change == event.net:
                return _Decision(event, Outcome.KNOWN, "", built)
            reason = f"the books have this {event.kind} at {change} {currency} net, the file at {event.net}"
            return _Decision(event, Outcome.REFUSED, reason, built)
        if self._booked.written(event.kind, source.builder.order_link(event)) is not None:
            reason = f"the {event.kind} is written by hand, with the order's link"
            return _Decision(event, Outcome.KNOWN, reason, built)
        return _Decision(event, Outcome.NEW, "", built)

    def _sums(self, source: _Source) -> Money:
        return self._money.setdefault(source.profile.currency, Money())


def _together(decisions: Sequence[_Decision]) -> tuple[Outcome, str]:
    """Return what became of an order none of whose events was refused."""
    new = [decision for decision in decisions if decision.outcome is Outcome.NEW]
    if not new:
        return Outcome.KNOWN, "; ".join(decision.reason for decision in decisions if decision.reason)
    reason = "" if len(new) == len(decisions) else f"the {new[0].event.kind} only"
    return Outcome.NEW, reason


def _change(transaction: Transaction, account: str) -> Decimal:
    """Return what a transaction changes on an account."""
    return sum(
        (weight(posting).number for posting in transaction.postings if posting.account == account), ZERO,
    )
