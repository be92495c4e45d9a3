"""Stage after the draws: links that tie a payout to what it paid, as far as the books say it themselves.

Two things in the books name the payout of an event without a link: metadata `payout: "L-2507"` on the
transaction or on its line of the channel's account, and metadata `paid-out: 2025-07-28`, when the channel made
just one payout on that day. Either becomes the link `^payout-lantern-L-2507`, so that a payout and all it paid
are one click apart. What neither says is left for the report, which shows what it finds and changes nothing.

Refused are what would make the books wrong: an event that two payouts paid, unless one of them came back; a
payout that left the channel twice; and a payout taken from another channel than the one that earned it.
"""

from __future__ import annotations

import re
from collections import defaultdict
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.data import Transaction

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.channels import PAID_OUT, PAYOUT, Pocket, channel_of, day_of, links_of
from millilot.ledger.directives import read_settings
from millilot.ledger.money import weight
from millilot.plugins.problems import PayoutError

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterator, Mapping, Sequence
    from decimal import Decimal

    from beancount.core.data import Directives, Posting

    from millilot.ledger.accounts import AccountRoles, RoleMap
    from millilot.plugins.problems import Problem

_UNFIT = re.compile(r"[^A-Za-z0-9_/.-]+")

#: What a transaction posts to that is a payout and nothing else.
_ON_THE_WAY = frozenset({Role.MARKETPLACE, Role.BANK, Role.FEES, Role.EXCHANGE, Role.OTHER_EXPENSES, None})


class _Step(NamedTuple):
    """What a transaction does to a channel's own account."""

    entry: Transaction
    posting: Posting
    channel: str
    amount: Decimal


def link_payouts(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Add the links that the books give, and report what was paid twice or from the wrong channel."""
    del options_map
    if not any(isinstance(entry, Transaction) and _speaks(entry) for entry in entries):
        return entries, []
    settings, _ = read_settings(entries)
    payouts = list(_payouts(entries, settings.roles))
    entries = _linked(entries, settings.roles, payouts)
    return entries, list(_wrong(entries, settings.roles))


def _speaks(entry: Transaction) -> bool:
    """Whether a transaction names a payout in any way."""
    if PAID_OUT in entry.meta or "payout" in entry.meta:
        return True
    if any(link.startswith(PAYOUT) for link in entry.links or ()):
        return True
    return any(posting.meta and "payout" in posting.meta for posting in entry.postings)


def _steps(entry: Transaction, roles: RoleMap) -> Iterator[_Step]:
    """Yield the postings of a transaction on channels' own accounts."""
    for posting in entry.postings:
        if roles.role(posting.account) is Role.MARKETPLACE and channel_of(posting.account)[1] is Pocket.MAIN:
            yield _Step(entry, posting, posting.account, weight(posting).number)


def _is_payout(entry: Transaction, roles: RoleMap) -> bool:
    """Whether a transaction takes money from a channel to its Transit or to a bank, or back."""
    under_way = False
    for posting in entry.postings:
        role = roles.role(posting.account)
        if role not in _ON_THE_WAY or posting.cost is not None:
            return False
        if role is Role.MARKETPLACE:
            under_way |= channel_of(posting.account)[1] is Pocket.TRANSIT
        else:
            under_way |= role is Role.BANK or (role is None and posting.account.startswith("Assets:"))
    return under_way


def _payouts(entries: Directives, roles: AccountRoles) -> Iterator[_Step]:
    for entry in entries:
        if isinstance(entry, Transaction) and links_of(entry, PAYOUT) and goods.is_booked(entry):
            on_day = roles.on(entry.date)
            if _is_payout(entry, on_day):
                yield from _steps(entry, on_day)


def _linked(entries: Directives, roles: AccountRoles, payouts: Sequence[_Step]) -> Directives:
    """Return the entries with the links that their metadata gives."""
    by_day: dict[tuple[str, datetime.date], set[str]] = defaultdict(set)
    for step in payouts:
        by_day[step.channel, step.entry.date].update(links_of(step.entry, PAYOUT))
    return [
        entry
        if not isinstance(entry, Transaction) or not _speaks(entry) or not goods.is_booked(entry)
        else _with_links(entry, roles.on(entry.date), by_day)
        for entry in entries
    ]


def _with_links(
    entry: Transaction, roles: RoleMap, by_day: Mapping[tuple[str, datetime.date], set[str]],
) -> Transaction:
    found = set()
    for posting in entry.postings:
        if roles.role(posting.account) is not Role.MARKETPLACE:
            continue
        number = (posting.meta or {}).get("payout", entry.meta.get("payout"))
        if number is not None:
            found.add(payout_link(channel_of(posting.account)[0], str(number)))
    paid_out = day_of(entry, PAID_OUT)
    if not found and paid_out is not None and not links_of(entry, PAYOUT) and not _is_payout(entry, roles):
        for step in _steps(entry, roles):
            of_day = by_day.get((step.channel, paid_out), set())
            if len(of_day) == 1:
                found |= of_day
    links = frozenset(entry.links or ())
    return entry if found <= links else entry._replace(links=links | found)


def payout_link(account: str, number: str) -> str:
    """Return the link of a payout from the channel's account and the payout's number."""
    if number.startswith(("^" + PAYOUT, PAYOUT)):
        return number.removeprefix("^")
    slug = account.rpartition(":")[2].lower()
    return f"{PAYOUT}{slug}-{_UNFIT.sub('-', number)}"


def _wrong(entries: Directives, roles: AccountRoles) -> Iterator[Problem]:
    paid: dict[tuple[str, str], list[_Step]] = defaultdict(list)
    earned: dict[str, dict[str, None]] = defaultdict(dict)
    events: list[_Step] = []
    for entry in entries:
        if not isinstance(entry, Transaction) or not links_of(entry, PAYOUT) or not goods.is_booked(entry):
            continue
        on_day = roles.on(entry.date)
        is_payout = _is_payout(entry, on_day)
        for step in _steps(entry, on_day):
            if not is_payout:
                events.append(step)
            for link in links_of(entry, PAYOUT):
                if is_payout:
                    paid[link, step.channel].append(step)
                else:
                    earned[link][step.channel] = None
    yield from _paid_twice(events, paid)
    yield from _left_twice(paid)
    yield from _wrong_channel(paid, earned)


def _paid_twice(events: Sequence[_Step], paid: Mapping[tuple[str, str], list[_Step]]) -> Iterator[Problem]:
    """Yield events that carry the links of two payouts, neither of which came back."""
    for step in events:
        links = links_of(step.entry, PAYOUT)
        if len(links) < 2:
            continue
        standing = [
            link
            for link in links
            if sum(each.amount for each in paid.get((link, step.channel), ()))
        ]
        if len(standing) > 1:
            names = " and ".join(f"^{link}" for link in standing)
            yield PayoutError(
                _source(step),
                f"This is paid twice, by {names}, and neither came back. Keep the link of the one that paid it.",
                step.entry,
            )


def _left_twice(paid: Mapping[tuple[str, str], list[_Step]]) -> Iterator[Problem]:
    """Yield payouts of one number that left the channel again without having come back."""
    for (link, channel), steps in paid.items():
        known: dict[Decimal, int] = defaultdict(int)
        for step in steps:
            if len(links_of(step.entry, PAYOUT)) > 1:
                continue
            known[step.amount] += 1
            if known[step.amount] - known[-step.amount] > 1:
                known[step.amount] -= 1
                yield PayoutError(
                    _source(step),
                    f"^{link} leaves {channel} a second time with the same amount, {abs(step.amount)}. If it came "
                    f"back in between, write that with the same link; if this is another payout, give it another.",
                    step.entry,
                )


def _wrong_channel(
    paid: Mapping[tuple[str, str], list[_Step]], earned: Mapping[str, Mapping[str, None]],
) -> Iterator[Problem]:
    """Yield payouts without events of their own channel whose link is on those of another."""
    for (link, channel), steps in paid.items():
        if len(links_of(steps[0].entry, PAYOUT)) == 1 and earned.get(link) and channel not in earned[link]:
            others = " and ".join(earned[link])
            yield PayoutError(
                _source(steps[0]),
                f"^{link} is paid out of {channel}, but what it pays was earned on {others}: the payout has no "
                f"events of its own.",
                steps[0].entry,
            )


def _source(step: _Step) -> dict[str, Any]:
    """Return where a posting stands, or its transaction when it was made up."""
    meta = step.posting.meta or {}
    return dict(meta if "lineno" in meta else step.entry.meta)
