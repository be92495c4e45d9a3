"""Which events did each payout pay, when nothing but amounts and days can tell?

The model. Events stand in the order in which they became available. A payout pays everything that is not paid
yet up to some point of that order, which is not after its own day, except a few events that were *held back*;
what was held back may be paid by any later payout. So an explanation of a payout is a set of events that adds up
to it and skips at most a few that stand before its last one. Amounts are whole minor units, and nothing is
approximate.

The search. After each payout the state is how far the order was paid, and what was held back. From every state
that can be reached, all explanations of the next payout are found: for each point, what is skipped must add up
to the difference between what stands before the point and the payout, and sets of up to three such events come
from a table of the amounts (the last member is looked up, not searched). States and explanations make a graph in
layers; states from which the later payouts cannot be explained are taken out from the end. What is left of a
layer are the explanations of that payout that agree with all the others. One means the payout is solved;
several, that it is ambiguous, and none is picked.

What makes no difference. Events of the same amount are *alike*: which of them was paid no sum can tell. The
search takes them in their order, and an answer names those that could stand for each other, so that nobody takes
them for certain. And of two explanations from one state of which one holds the other, the larger stands: events
that add up to nothing (a sale and its refund) go with the first payout that can take them.

A payout that nothing explains stays open. The search goes on from the few points up to which there stands about
as much as was paid, with what was held back before either still waiting or gone; at the next payout only one
event may then be held back, since much else could be wrong. A payout some of whose events are known by its
number moves no point when it stays open.

Bounds. Held back at a time: three events (`Limits.held_back`) among up to 15 that are not alike, two among up to
40, one among up to 400, none among more; otherwise nearly any sum could be reached, and nothing would be
certain. Events tagged as held are not counted, but at most four of them are tried. After each payout
`Limits.states` states are followed; where there are more, the answer is `bounded` and gives no explanation
rather than some of several, and the search goes on as after an open payout. In all, `Limits.steps` steps are
made; from the payout at which they are used up, all are `bounded`. Steps are counted, not timed, so the same
books have the same answers everywhere.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections import defaultdict
from dataclasses import dataclass, field
from itertools import accumulate, combinations
from math import comb
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

Positions = tuple[int, ...]

#: Among so many unpaid events as stand first, so many may be held back as stand second.
_HELD_BACK = ((15, 3), (40, 2), (400, 1))
#: Of the events tagged as held, so many are tried.
_TAGGED = 4
#: The points from which the search goes on after a payout that stays open, from each state and in all.
_ENDS = 6
_GUESSES = 30


class Item(NamedTuple):
    """An event: its amount in minor units, the day it became available, and whether it is tagged as held."""

    amount: int
    day: int
    held: bool = False


class Demand(NamedTuple):
    """A payout, or what is left of it after the events that carry its number.

    Attributes:
        amount: in minor units, not 0.
        day: the day it left the channel.
        anchored: whether some of its events are known.
    """

    amount: int
    day: int
    anchored: bool = False


@dataclass(frozen=True, slots=True)
class Limits:
    """How far the search goes."""

    held_back: int = 3
    steps: int = 2_000_000
    states: int = 200


class Answer(NamedTuple):
    """What is found out about a payout.

    Attributes:
        explanations: the places of the events of each explanation, those with the fewest held back first.
        alike: the places in them that others of the same amount could stand for.
        nearest: the places of what it seems to have paid when nothing fits; else empty.
        bounded: whether a bound was reached, so that nothing can be said.
    """

    explanations: tuple[Positions, ...]
    alike: Positions = ()
    nearest: Positions = ()
    bounded: bool = False


class _State(NamedTuple):
    """How far the order is paid, what of it is not, and whether that is a guess after an open payout."""

    cursor: int
    held: Positions
    guessed: bool = False


class _Edge(NamedTuple):
    """A way from one state to the next: the events paid, or supposed when the payout stays open."""

    source: _State
    target: _State
    paid: Positions
    open: bool = False


class _BoundError(Exception):
    """The search would go on for too long."""


def solve(items: Sequence[Item], demands: Sequence[Demand], limits: Limits | None = None) -> list[Answer]:
    """Return an answer for each payout.

    Args:
        items: events, in the order of their days.
        demands: payouts, in the order of their days.
        limits: how far the search goes.
    """
    search = _Search(items, demands, limits or Limits())
    search.run()
    return search.answers()


class _Kind(NamedTuple):
    """What makes events alike."""

    amount: int
    tagged: bool


@dataclass(slots=True)
class _Pool:
    """The events that may be skipped when all up to a point is paid, with a table of their amounts.

    Attributes:
        kinds: of all events.
        most: how many may be skipped at most.
        members: the events by kind; of those alike, the last are skipped first.
        positions: the events worth trying that are not free, and `where` they are by their amount.
        free: the events tagged as held, which are not counted.
        lowest: the least amounts, none above 0, as many as may be skipped.
        highest: the greatest amounts, turned to be sorted, none below 0, as many as may be skipped.
    """

    kinds: Sequence[_Kind]
    most: int
    members: dict[_Kind, list[int]] = field(default_factory=lambda: defaultdict(list))
    positions: list[int] = field(default_factory=list)
    where: dict[int, list[int]] = field(default_factory=lambda: defaultdict(list))
    free: list[int] = field(default_factory=list)
    lowest: list[int] = field(default_factory=list)
    highest: list[int] = field(default_factory=list)

    def add(self, position: int) -> None:
        """Add an event that may be skipped."""
        kind = self.kinds[position]
        members = self.members[kind]
        members.append(position)
        if kind.tagged and len(self.free) < _TAGGED:
            self.free.append(position)
            return
        self.positions.append(position)
        self.where[kind.amount].append(position)
        if len(members) > self.most and (dropped := members[-self.most - 1]) in self.where[kind.amount]:
            # To skip this one, all that are like it and come later would have to be skipped too.
            self.positions.remove(dropped)
            self.where[kind.amount].remove(dropped)
        for extremes, value in ((self.lowest, min(kind.amount, 0)), (self.highest, -max(kind.amount, 0))):
            insort(extremes, value)
            del extremes[self.most :]

    @property
    def held_back(self) -> int:
        """How many may be skipped."""
        size = len(self.positions)
        return min(self.most, next((count for among, count in _HELD_BACK if size <= among), 0))

    def in_order(self, skipped: Positions, last: int | None) -> bool:
        """Whether of the events alike the last are skipped, the very last one, which is paid, among them."""
        by_kind: dict[_Kind, int] = defaultdict(int)
        for position in skipped:
            by_kind[self.kinds[position]] += 1
        if last is not None and self.kinds[last] in by_kind:
            return False
        return all(
            position in self.members[kind][-by_kind[kind] :]
            for position in skipped
            for kind in (self.kinds[position],)
        )


class _Search:
    """The graph of states, layer by layer."""

    def __init__(self, items: Sequence[Item], demands: Sequence[Demand], limits: Limits) -> None:
        self.amounts = [item.amount for item in items]
        self.kinds = [_Kind(item.amount, item.held) for item in items]
        self.alike: dict[_Kind, list[int]] = defaultdict(list)
        for position, kind in enumerate(self.kinds):
            self.alike[kind].append(position)
        # How many events before each point would be counted if they were held back.
        self.counted = [0, *accumulate(not item.held for item in items)]
        self.highest = max(self.amounts, default=0)
        self.cancelling = any(amount < 0 for amount in self.amounts)
        days = [item.day for item in items]
        self.demands = demands
        self.available = [bisect_right(days, demand.day) for demand in demands]
        self.limits = limits
        self.steps = 0
        self.edges: list[dict[_Edge, None]] = []
        self.states: list[dict[_State, None]] = [{_State(0, ()): None}]
        self.bounded: set[int] = set()

    def run(self) -> None:
        """Build all layers, or as many as the steps allow."""
        for place in range(len(self.demands)):
            sources = list(self.states[place])
            try:
                edges = [edge for source in sources for edge in self._explained(place, source)]
            except _BoundError:
                self.bounded.update(range(place, len(self.demands)))
                return
            if len({edge.target for edge in edges}) > self.limits.states:
                self.bounded.add(place)
                edges = []
            edges = edges or self._opened(place, sources)
            self.edges.append(dict.fromkeys(edges))
            self.states.append(dict.fromkeys(edge.target for edge in edges))

    def answers(self) -> list[Answer]:
        """Return the answers, from the states that are left when dead ends are taken out."""
        alive = set(self.states[-1])
        layers: list[list[_Edge]] = [[] for _ in self.demands]
        for place in reversed(range(len(self.edges))):
            layers[place] = [edge for edge in self.edges[place] if edge.target in alive]
            alive = {edge.source for edge in layers[place]}
        uncertain = {
            position for place, layer in enumerate(layers) for position in self._uncertain(place, layer)
        }
        return [self._answer(place, layer, uncertain) for place, layer in enumerate(layers)]

    def _answer(self, place: int, edges: Sequence[_Edge], uncertain: set[int]) -> Answer:
        if place in self.bounded:
            return Answer((), bounded=True)
        supposed = [edge.paid for edge in edges if edge.open]
        if supposed:
            wanted = self.demands[place].amount
            return Answer((), nearest=min(supposed, key=lambda paid: (abs(self._sum(paid) - wanted), paid)))
        fitting = dict.fromkeys(
            edge.paid for edge in sorted(edges, key=lambda edge: (len(edge.target.held), edge.paid))
        )
        alike = sorted({position for paid in fitting for position in paid if position in uncertain})
        return Answer(tuple(fitting), tuple(alike))

    def _uncertain(self, place: int, edges: Iterable[_Edge]) -> Iterator[int]:
        """Yield the events of a payout that others alike could stand for, and those others."""
        for edge in edges:
            if edge.open:
                continue
            point, held, _ = edge.target
            waiting = sum(not self.kinds[position].tagged for position in held)
            for position in edge.paid:
                kind = self.kinds[position]
                alike = self.alike[kind]
                others = [other for other in held if self.kinds[other] == kind]
                room = self.limits.held_back - waiting - (not kind.tagged)
                for other in alike[bisect_left(alike, point) :]:
                    between = self.counted[other] - self.counted[point]
                    if other >= self.available[place] or between > room:
                        break
                    others.append(other)
                if others:
                    yield position
                    yield from others

    def _opened(self, place: int, sources: Sequence[_State]) -> list[_Edge]:
        """Return where a payout that stays open may lead."""
        edges = []
        for source in sources:
            if self.demands[place].anchored:
                edges.append(_Edge(source, source._replace(guessed=True), (), open=True))
                continue
            for end in self._ends(place, source):
                passed = [position for position in range(source.cursor, end) if not self.kinds[position].tagged]
                tagged = tuple(position for position in range(source.cursor, end) if self.kinds[position].tagged)
                for paid, waiting in ((passed, source.held), ([*source.held, *passed], ())):
                    target = _State(end, waiting + tagged, guessed=True)
                    edges.append(_Edge(source, target, tuple(paid), open=True))
        # Not all are followed, but every state goes on, so that no earlier answer loses an explanation.
        wanted = self.demands[place].amount
        edges.sort(key=lambda edge: (abs(self._sum(edge.paid) - wanted), edge.target))
        targets = list(dict.fromkeys(edge.target for edge in edges))
        followed = set(targets[:_GUESSES])
        kept = [edge for edge in edges if edge.target in followed]
        going_on = {edge.source for edge in kept}
        kept += [_Edge(source, targets[0], (), open=True) for source in sources if source not in going_on]
        return kept

    def _ends(self, place: int, source: _State) -> list[int]:
        """Return the points up to which there stands about as much as a payout comes to."""
        missing = self.demands[place].amount
        distances = [(abs(missing), source.cursor)]
        for position in range(source.cursor, self.available[place]):
            if not self.kinds[position].tagged:
                missing -= self.amounts[position]
            distances.append((abs(missing), position + 1))
        self.steps += len(distances)
        return sorted(end for _, end in sorted(distances)[:_ENDS])

    def _explained(self, place: int, source: _State) -> Iterator[_Edge]:
        """Yield the explanations of a payout from a state; of two that differ by nothing, only the larger."""
        found = list(self._fits(place, source))
        sets = [frozenset(paid) for paid, _ in found] if self.cancelling else []
        for paid, skipped in found:
            if not any(others.issuperset(paid) and len(others) > len(paid) for others in sets):
                target = _State(max(source.cursor, paid[-1] + 1), skipped)
                yield _Edge(source, target, paid)

    def _fits(self, place: int, source: _State) -> Iterator[tuple[Positions, Positions]]:
        """Yield what may have been paid, and what was skipped for it."""
        most = min(self.limits.held_back, 1) if source.guessed else self.limits.held_back
        pool = _Pool(self.kinds, most)
        excess = self._sum(source.held) - self.demands[place].amount
        for position in source.held:
            pool.add(position)
        for end in range(source.cursor, self.available[place] + 1):
            last = end - 1 if end > source.cursor else None
            if last is not None:
                excess += self.amounts[last]
            self._spend(1)
            if not self.cancelling and excess > most * self.highest + self._sum(pool.free):
                # Every further point would be too much, whatever is skipped.
                return
            for skipped in self._skips(pool, excess, last):
                left_out = set(skipped)
                there = (*source.held, *range(source.cursor, end))
                paid = tuple(position for position in there if position not in left_out)
                self._spend(len(there))
                if paid:
                    yield paid, skipped
            # The last event of an explanation is paid; from the next point on it may be skipped too.
            if last is not None:
                pool.add(last)

    def _skips(self, pool: _Pool, excess: int, last: int | None) -> Iterator[Positions]:
        """Yield the sets of events that may be skipped and add up to what is too much."""
        lowest, highest = sum(pool.lowest), -sum(pool.highest)
        for count in range(len(pool.free) + 1):
            for free in combinations(pool.free, count):
                rest = excess - self._sum(free)
                if lowest <= rest <= highest:
                    for counted in self._sums(pool, rest):
                        skipped = tuple(sorted(free + counted))
                        if pool.in_order(skipped, last):
                            yield skipped

    def _sums(self, pool: _Pool, target: int) -> Iterator[Positions]:
        """Yield the sets of a few events that add up to an amount."""
        if target == 0:
            yield ()
        for count in range(pool.held_back):
            self._spend(comb(len(pool.positions), count))
            for chosen in combinations(pool.positions, count):
                # The last of them need not be searched for.
                for position in pool.where.get(target - self._sum(chosen), ()):
                    if not chosen or position > chosen[-1]:
                        yield *chosen, position

    def _spend(self, steps: int) -> None:
        self.steps += steps
        if self.steps > self.limits.steps:
            raise _BoundError

    def _sum(self, positions: Iterable[int]) -> int:
        return sum(self.amounts[position] for position in positions)
