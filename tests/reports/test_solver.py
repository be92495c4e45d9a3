"""The solver, against every set of events there is."""

from __future__ import annotations

from collections import Counter
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from millilot.reports.solver import Answer, Demand, Item, Limits, solve

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    Way = tuple[int, ...]


def days(*amounts: int) -> list[Item]:
    """Return events of one a day from day 1."""
    return [Item(amount, day) for day, amount in enumerate(amounts, start=1)]


def explanations(items: Sequence[Item], *demands: Demand, limits: Limits | None = None) -> list[set[Way]]:
    return [set(answer.explanations) for answer in solve(items, demands, limits)]


def test_what_was_available_in_order() -> None:
    # 10.00 + 6.49 on day 2, then 17.06 + 7.39 on day 4.
    items = days(1000, 649, 1706, 739)
    assert explanations(items, Demand(1649, 2), Demand(2445, 4)) == [{(0, 1)}, {(2, 3)}]


def test_one_is_held_back_and_paid_with_the_next() -> None:
    # 10.00 + 17.06, without the 6.49 between them; then 6.49 + 7.39.
    items = days(1000, 649, 1706, 739)
    assert explanations(items, Demand(2706, 3), Demand(1388, 4)) == [{(0, 2)}, {(1, 3)}]


def test_what_becomes_available_later_is_not_paid_before() -> None:
    # 5.00 of day 3 would do as well as 5.00 of day 1, were it there on day 2.
    items = [Item(500, 1), Item(700, 1), Item(500, 3)]
    assert explanations(items, Demand(500, 2)) == [{(0,)}]


def test_which_of_equal_amounts_was_paid_is_not_certain() -> None:
    # 10.00 may be either; 4.00 may not.
    [answer] = solve(days(1000, 400, 1000), [Demand(1400, 3)])
    assert answer == Answer(((0, 1),), alike=(0,))
    # The other is then what the next payout paid, and that is no more certain.
    assert [answer.alike for answer in solve(days(1000, 1000), [Demand(1000, 2), Demand(1000, 3)])] == [(0,), (1,)]


def test_equal_amounts_of_which_only_one_was_there_are_certain() -> None:
    [answer] = solve(days(1000, 400, 1000), [Demand(1400, 2)])
    assert answer == Answer(((0, 1),))


def test_the_simplest_explanation_comes_first() -> None:
    [answer] = solve(days(1000, 2000, 3000), [Demand(3000, 3)])
    assert answer.explanations == ((0, 1), (2,))


def test_a_later_payout_may_tell_what_an_earlier_one_paid() -> None:
    # 3.00 is the first two or the third; the second payout of 2.50 can only be 2.00 + 0.50, so the third it was.
    items = days(100, 200, 300, 50)
    assert explanations(items, Demand(300, 3), Demand(250, 4))[0] == {(2,)}


def test_a_refund_above_the_sales_makes_a_payout_below_nought() -> None:
    assert explanations(days(500, -1750, 250), Demand(-1250, 2)) == [{(0, 1)}]


def test_what_adds_up_to_nothing_goes_with_the_first_payout() -> None:
    # 8.00 sold and refunded in between: whether they were in the payout no amount can tell.
    assert explanations(days(1000, 800, -800, 600), Demand(1600, 4)) == [{(0, 1, 2, 3)}]


def test_more_than_three_are_not_held_back() -> None:
    items = days(101, 203, 407, 809, 5000)
    assert explanations(items, Demand(5101, 5)) == [{(0, 4)}]
    [answer] = solve(items, [Demand(5000, 5)])
    assert answer.explanations == ()
    assert not answer.bounded


def test_how_many_may_be_held_back_can_be_set() -> None:
    assert explanations(days(500, 700), Demand(700, 2), limits=Limits(held_back=0)) == [set()]
    assert explanations(days(500, 700), Demand(700, 2), limits=Limits(held_back=1)) == [{(1,)}]


def test_money_tagged_as_held_is_skipped_freely() -> None:
    held = [Item(amount, day, held=True) for day, amount in enumerate((101, 203, 407, 809), start=1)]
    items = [*held, Item(5000, 5), Item(30, 6)]
    assert explanations(items, Demand(5000, 5), Demand(101 + 203 + 407 + 809 + 30, 6))[1] == {(0, 1, 2, 3, 5)}
    assert explanations(items, Demand(5000, 5), Demand(101 + 809 + 30, 6)) == [{(4,)}, {(0, 3, 5)}]


def test_a_payout_that_nothing_explains_stays_open_and_the_others_do_not() -> None:
    # The second is 0.35 short of 17.06 + 7.39 + 19.83.
    items = days(1000, 649, 1706, 739, 1983, 1358, 782)
    first, second, third = solve(items, [Demand(1649, 2), Demand(4428 - 35, 5), Demand(2140, 7)])
    assert (first.explanations, third.explanations) == (((0, 1),), ((5, 6),))
    assert second == Answer((), nearest=(2, 3, 4))


def test_a_payout_with_events_of_its_own_moves_nothing_when_it_stays_open() -> None:
    items = days(-1431, 900, 800)
    first, second = solve(items, [Demand(-35, 2, anchored=True), Demand(269, 3)])
    assert first == Answer(())
    assert second.explanations == ((0, 1, 2),)


def test_a_bound_that_is_reached_is_said() -> None:
    items = days(*range(1000, 1030))
    demands = [Demand(1000, 1), Demand(9999, 30), Demand(5, 31)]
    first, *others = solve(items, demands, Limits(steps=100))
    assert others == [Answer((), bounded=True)] * 2
    assert solve(items, demands[:1], Limits(steps=100)) == [first] == [Answer(((0,),))]
    # All but two of fourteen, in many ways.
    items = days(*range(1, 15))
    assert len(solve(items, [Demand(105 - 15, 14)])[0].explanations) > 5
    assert solve(items, [Demand(105 - 15, 14)], Limits(states=5)) == [Answer((), bounded=True)]


class Channel(NamedTuple):
    """Events and payouts, with what each payout truly paid."""

    items: list[Item]
    demands: list[Demand]
    truth: list[Way]


def skipped(unpaid: Sequence[int], cursor: int, paid: Way) -> tuple[int, Way]:
    """Return the new point of the order and what stands unpaid before it."""
    point = max(cursor, paid[-1] + 1)
    return point, tuple(place for place in unpaid if place < point and place not in paid)


@st.composite
def channels(draw: st.DrawFn) -> Channel:
    """Draw a channel: events that become available, and payouts that leave out up to three before their last."""
    amounts = st.integers(-4, 12) if draw(st.booleans()) else st.integers(-900, 2500)
    gaps = draw(st.lists(st.integers(0, 2), min_size=1, max_size=8))
    day, items = 1, []
    for gap in gaps:
        day += gap
        items.append(Item(draw(amounts.filter(bool)), day, draw(st.integers(0, 9)) == 0))
    unpaid, cursor = list(range(len(items))), 0
    demands, truth = [], []
    for last in sorted(draw(st.lists(st.integers(1, day + 1), min_size=1, max_size=3, unique=True))):
        there = [place for place in unpaid if items[place].day <= last]
        if not there:
            continue
        paid = tuple(draw(st.lists(st.sampled_from(there), min_size=1, unique=True).map(sorted)))
        point, left = skipped(unpaid, cursor, paid)
        amount = sum(items[place].amount for place in paid)
        if not amount or sum(not items[place].held for place in left) > 3:
            continue
        cursor, unpaid = point, [place for place in unpaid if place not in paid]
        demands.append(Demand(amount, last))
        truth.append(paid)
    return Channel(items, demands, truth)


def kinds(channel: Channel, paid: Way) -> Counter[tuple[int, bool]]:
    """Return what a set looks like when events of the same amount cannot be told apart."""
    return Counter((channel.items[place].amount, channel.items[place].held) for place in paid)


def explained(channel: Channel, place: int, unpaid: Sequence[int], cursor: int) -> Iterator[Way]:
    """Yield every set of unpaid events that adds up to a payout, but for those within a larger one."""
    items, demand = channel.items, channel.demands[place]
    there = [each for each in unpaid if items[each].day <= demand.day]
    fitting = [
        paid
        for size in range(1, len(there) + 1)
        for paid in combinations(there, size)
        if sum(items[each].amount for each in paid) == demand.amount
        if sum(not items[each].held for each in skipped(unpaid, cursor, paid)[1]) <= 3
    ]
    looks = [kinds(channel, paid) for paid in fitting]
    return (paid for paid, look in zip(fitting, looks, strict=True) if not any(look < other for other in looks))


def histories(channel: Channel, place: int, unpaid: Sequence[int], cursor: int) -> Iterator[tuple[Way, ...]]:
    """Yield everything the payouts from one on may have paid, all of them together."""
    if place == len(channel.demands):
        yield ()
        return
    for paid in explained(channel, place, unpaid, cursor):
        point, _ = skipped(unpaid, cursor, paid)
        left = [each for each in unpaid if each not in paid]
        for rest in histories(channel, place + 1, left, point):
            yield paid, *rest


@settings(max_examples=300, deadline=None)
@given(channels())
def test_what_is_found_is_what_trying_everything_finds(channel: Channel) -> None:
    assume(channel.demands)
    assume(sum(item.held for item in channel.items) <= 4)
    every = list(histories(channel, 0, range(len(channel.items)), 0))
    # A truth that leaves out what adds up to nothing is no explanation, as no amount could tell it.
    assume(tuple(channel.truth) in every)
    answers = solve(channel.items, channel.demands)
    for place, (answer, truth) in enumerate(zip(answers, channel.truth, strict=True)):
        ways = {history[place] for history in every}
        looks = [kinds(channel, way) for way in answer.explanations]
        # Every explanation is told, with one for all events that are alike, and no other.
        assert all(look in looks for look in (kinds(channel, way) for way in ways))
        assert set(answer.explanations) <= ways
        # What is certain is the truth, and all that could be.
        certain = set.intersection(*map(set, answer.explanations)) - set(answer.alike)
        assert certain == set.intersection(*map(set, ways))
        assert certain <= set(truth)
        # One explanation is found, and it is the truth; of several none is picked.
        assert (answer.explanations == (truth,) and not answer.alike) is (ways == {truth})
    assert solve(channel.items, channel.demands) == answers


@pytest.mark.parametrize("shift", [1, 7, 35])
def test_payouts_that_nobody_can_explain_are_never_explained(shift: int) -> None:
    # All events are whole tens; no set of them comes to a payout that is not.
    items = days(*(100 * step for step in range(3, 12)))
    demands = [Demand(1200 + shift, 3), Demand(2100 + shift, 6), Demand(3000 + shift, 9)]
    assert [answer.explanations for answer in solve(items, demands)] == [(), (), ()]
