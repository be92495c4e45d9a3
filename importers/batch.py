"""What becomes of each row of the files that are imported together."""

from __future__ import annotations

import dataclasses
import gc
from collections import Counter, defaultdict
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple, TypeGuard

from beancount.core.number import ZERO

from millilot.importers import identity
from millilot.importers.corrections import compare_refund, compare_sale
from millilot.importers.costs import Costs
from millilot.importers.events import LeftOut, Movement, Refund, Sale
from millilot.importers.shapes import read_events
from millilot.importers.table import iter_rows
from millilot.importers.titles import TitleReader
from millilot.importers.transactions import Builder
from millilot.ledger.annotations import EVENT
from millilot.ledger.channels import Pocket
from millilot.ledger.directives import read_settings
from millilot.ledger.money import minor_unit, weight

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from decimal import Decimal
    from pathlib import Path

    from beancount.core.data import Directive, Transaction

    from millilot.importers.events import Event, Group
    from millilot.importers.identity import Booked
    from millilot.importers.profile import Profile
    from millilot.importers.transactions import Built


class Outcome(StrEnum):
    """How a row ends."""

    NEW = "new"
    KNOWN = "known"
    SKIPPED = "skipped"
    UNSORTED = "unsorted"
    REFUSED = "refused"


# Not frozen, as there is one for each row of a long file; see `millilot.importers.events`.
@dataclass(slots=True)
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
    """What becomes of an event, why, its entry, and how much of the rows' money it is."""

    event: Event
    outcome: Outcome
    reason: str
    built: Built
    net: Decimal


@contextmanager
def _without_collector() -> Iterator[None]:
    """Pause the garbage collector: all that is made is kept, and it would look through that again and again."""
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


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
        self._files: set[str] = set()
        self._fates: list[Fate] = []
        self._money: defaultdict[str, Money] = defaultdict(Money)
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
        self._files.add(str(path))
        fates: list[Fate] = []
        rows = iter_rows(path, profile.file, profile.headings)
        with _without_collector():
            for group in read_events(rows, profile, partial(self._booked.sale_of, profile.slug)):
                ends = self._leave_out(group, source) if isinstance(group, LeftOut) else self._take(group, source)
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
            money=dict(self._money),
        )

    def _leave_out(self, left: LeftOut, source: _Source) -> Iterator[Fate]:
        refused = left.refused
        reasons = left.reasons
        if not refused and left.unless_booked and self._stands_unrefunded(left.order, source):
            refused = True
            reasons = {
                row: f"{reason}, but the books hold the order and no refund" for row, reason in reasons.items()
            }
        sums = self._sums(source)
        net = left.net or ZERO
        sums.rows += net
        if refused:
            sums.refused += net
        else:
            sums.skipped += net
        outcome = Outcome.REFUSED if refused else Outcome.SKIPPED
        for row, reason in reasons.items():
            yield Fate(str(source.path), row, outcome, left.order, reason)

    def _stands_unrefunded(self, order: str, source: _Source) -> bool:
        link = source.builder.order_link(order)
        return self._booked.tell("sale", link) and not self._booked.tell("refund", link)

    def _take(self, group: Group, source: _Source) -> Iterator[Fate]:
        decisions = [
            decision for event in group.events for decision in self._decide(event, group.rows[0], source)
        ]
        sums = self._sums(source)
        net = sum([decision.net for decision in decisions], ZERO)
        sums.rows += net
        refusals = [decision.reason for decision in decisions if decision.outcome is Outcome.REFUSED]
        if refusals:
            sums.refused += net
            for row in group.rows:
                yield Fate(str(source.path), row, Outcome.REFUSED, group.order, "; ".join(refusals))
            return
        unsorted: dict[int, str] = {}
        for event, outcome, _, built, part in decisions:
            if outcome is Outcome.KNOWN:
                sums.known += part
                self.known.append(built.transaction)
                continue
            self._booked.add(built.transaction)
            self.new.append(built.transaction)
            sums.booked += _change(built.transaction, source.builder.channel_account(event))
            unsorted.update(built.unsorted)
        outcome, reason = _together(decisions)
        for row in group.rows:
            fate = (Outcome.UNSORTED, unsorted[row]) if row in unsorted else (outcome, reason)
            yield Fate(str(source.path), row, fate[0], group.order, fate[1])

    def _decide(self, event: Event, row: int, source: _Source) -> list[_Decision]:
        """Return what becomes of an event; of a sale whose fees changed, two things."""
        if isinstance(event, Movement) and event.is_lost:
            event = self._with_what_was_held(event, source)
        built = source.builder.build(event, row)
        key = built.transaction.meta[EVENT]
        booked = self._booked.imported(key)
        if booked is None:
            return [self._first(event, built, source)]
        met = self._met(booked)
        if met is not None and met.meta["filename"] == str(source.path):
            return [self._repeated(event, met, built)]
        decision = self._compare(event, booked, built, source)
        changed = decision.outcome is Outcome.REFUSED
        if _may_change(event) and (changed or self._rests(event, source)):
            return self._decide_changed(event, booked, built, source)
        return [decision]

    def _met(self, booked: Booked) -> Transaction | None:
        """Return the entry of an event that a row of the same import has told of already, or None."""
        entries = (entry for entry in booked.entries if entry.meta.get("filename") in self._files)
        return next(entries, None)

    def _compare(self, event: Event, booked: Booked, built: Built, source: _Source) -> _Decision:
        """Decide on an event that is in the books, or comes there from another file."""
        currency = source.profile.currency
        change = booked.change(source.builder.channel_account(event), currency)
        if change is None or change == event.net:
            met = self._met(booked)
            reason = f"the same {event.kind} as in {_place(met)}" if met is not None else ""
            return _Decision(event, Outcome.KNOWN, reason, built, event.net)
        reason = f"the books have this {event.kind} at {change} {currency} net, the file at {event.net}"
        return _Decision(event, Outcome.REFUSED, reason, built, event.net)

    @staticmethod
    def _repeated(event: Event, met: Transaction, built: Built) -> _Decision:
        """Decide on an event of which an earlier row of the file tells."""
        # Where it stands is no part of what it is.
        if built.transaction._replace(meta={**built.transaction.meta, "lineno": met.meta["lineno"]}) == met:
            return _Decision(event, Outcome.KNOWN, f"the same {event.kind} as in {_place(met)}", built, event.net)
        reason = f"another {event.kind} {_of(event)} stands in {_place(met)}"
        return _Decision(event, Outcome.REFUSED, reason, built, event.net)

    def _first(self, event: Event, built: Built, source: _Source) -> _Decision:
        """Decide on an event no import knows."""
        if event.order and self._booked.written(event.kind, source.builder.order_link(event.order)) is not None:
            reason = f"the {event.kind} is written by hand, with the order's link"
            return _Decision(event, Outcome.KNOWN, reason, built, event.net)
        if isinstance(event, Movement) and event.is_lost and not event.amount and not event.held:
            reason = "nothing is held for the order, and the row has no amount"
            return _Decision(event, Outcome.REFUSED, reason, built, event.net)
        return _Decision(event, Outcome.NEW, "", built, event.net)

    def _decide_changed(
        self, event: Sale | Refund, booked: Booked, built: Built, source: _Source,
    ) -> list[_Decision]:
        """Decide on a sale or refund whose amounts may have changed since it was booked."""
        roles, currency = self._settings.roles, source.profile.currency
        rests = self._rests(event, source)
        if isinstance(event, Sale):
            difference = compare_sale(event, booked.entries, rests, roles, currency)
        else:
            difference = compare_refund(event, [booked.entries, *rests], roles, currency)
        if difference.contradiction:
            return [_Decision(event, Outcome.REFUSED, difference.contradiction, built, event.net)]
        rest = difference.rest
        if rest is None:
            reason = f"a later file changed the {event.kind}" if difference.superseded else ""
            return [_Decision(event, Outcome.KNOWN, reason, built, event.net)]
        entry = source.builder.build(rest, built.transaction.meta["lineno"])
        return [
            _Decision(event, Outcome.KNOWN, "", built, event.net - rest.net),
            _Decision(rest, Outcome.NEW, "", entry, rest.net),
        ]

    def _rests(self, event: Sale | Refund, source: _Source) -> list[list[Transaction]]:
        """Return the entries of each difference to a sale or refund that later files brought, in their order."""
        # The sale's are corrections from the first on; the refund itself is the first of the refunds.
        kind, first = ("correction", 1) if isinstance(event, Sale) else (event.kind, 2)
        rests: list[list[Transaction]] = []
        while booked := self._booked.imported(
            identity.event_key(source.profile.slug, kind, f"{event.number}/{len(rests) + first}"),
        ):
            rests.append(booked.entries)
        return rests

    def _with_what_was_held(self, dispute: Movement, source: _Source) -> Movement:
        """Return a lost dispute with the money that was held for it, which the row may state once more."""
        account = f"{source.builder.channel_account(dispute)}:{Pocket.RESERVE}"
        held = self._booked.held(source.builder.order_link(dispute.order), account)
        if held and dispute.amount in {ZERO, -held}:
            return dataclasses.replace(dispute, amount=ZERO, held=held)
        return dispute

    def _sums(self, source: _Source) -> Money:
        return self._money[source.profile.currency]


def _may_change(event: Event) -> TypeGuard[Sale | Refund]:
    """Whether a later file may tell more of an event that is booked."""
    return isinstance(event, Sale) or (isinstance(event, Refund) and event.so_far)


def _place(transaction: Transaction) -> str:
    """Return where the event of a transaction stands."""
    return f"{transaction.meta['filename']}, row {transaction.meta['lineno']}"


def _of(event: Event) -> str:
    return "of the order" if event.order else "of this number"


def _together(decisions: Sequence[_Decision]) -> tuple[Outcome, str]:
    """Return what became of a group none of whose events was refused."""
    if len(decisions) == 1:
        return decisions[0].outcome, decisions[0].reason
    new = [decision for decision in decisions if decision.outcome is Outcome.NEW]
    if not new:
        return Outcome.KNOWN, "; ".join(decision.reason for decision in decisions if decision.reason)
    if len(new) == len(decisions):
        return Outcome.NEW, ""
    reason = f"the {' and the '.join(decision.event.kind for decision in new)} only"
    if any(isinstance(decision.event, Refund) and decision.event.cancelled for decision in new):
        reason += "; what was poured for it stays poured until you write it back"
    return Outcome.NEW, reason


def _change(transaction: Transaction, account: str) -> Decimal:
    """Return what a transaction changes on an account."""
    return sum(
        [weight(posting).number for posting in transaction.postings if posting.account == account], ZERO,
    )
