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
from millilot.ledger.annotations import PAID_OUT, PAYOUT, day_of, links_of
from millilot.ledger.channels import Pocket, channel_of
from millilot.ledger.directives import read_settings
from millilot.ledger.money import weight
from millilot.plugins.problems import PayoutError

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Mapping
    from decimal import Decimal

    from beancount.core.data import Directives, Posting

    from millilot.ledger.accounts import RoleMap
    from millilot.plugins.problems import Problem

#: The metadata that names the number of a payout.
NUMBER = "payout"

_UNFIT = re.compile(r"[^A-Za-z0-9_/.-]+")

#: What a transaction posts to that is a payout and nothing else.
_ON_THE_WAY = frozenset({Role.MARKETPLACE, Role.BANK, Role.FEES, Role.EXCHANGE, Role.OTHER_EXPENSES, None})


class _Spoken(NamedTuple):
    """A transaction that names a payout in any way.

    Attributes:
        entry: the transaction.
        is_payout: whether it takes money from a channel to its Transit or to a bank, or back.
        lines: its postings on channels' own accounts.
    """

    entry: Transaction
    is_payout: bool
    lines: tuple[Posting, ...]


class _Paid(NamedTuple):
    """What a payout takes from a channel's account."""

    entry: Transaction
    line: Posting
    amount: Decimal


def link_payouts(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Add the links that the books give, and report what was paid twice or from the wrong channel."""
    del options_map
    places = [
        place for place, entry in enumerate(entries) if isinstance(entry, Transaction) and _speaks(entry)
    ]
    if not places:
        return entries, []
    settings, _ = read_settings(entries)
    entries = list(entries)
    spoken = {}
    for place in places:
        entry = entries[place]
        if isinstance(entry, Transaction) and goods.is_booked(entry):
            spoken[place] = _read(entry, settings.roles.on(entry.date))
    by_day: dict[tuple[str, datetime.date], set[str]] = defaultdict(set)
    for each in spoken.values():
        for line in each.lines if each.is_payout else ():
            by_day[line.account, each.entry.date].update(links_of(each.entry, PAYOUT), _numbers(each))
    for place, each in spoken.items():
        found = _links(each, by_day)
        if not found <= (each.entry.links or frozenset()):
            entries[place] = entry = each.entry._replace(links=frozenset(each.entry.links or ()) | found)
            spoken[place] = each._replace(entry=entry)
    return entries, list(_wrong(spoken.values()))


def _speaks(entry: Transaction) -> bool:
    """Whether a transaction names a payout in any way."""
    if PAID_OUT in entry.meta or NUMBER in entry.meta:
        return True
    for link in entry.links or ():
        if link.startswith(PAYOUT):
            return True
    return any(posting.meta and NUMBER in posting.meta for posting in entry.postings)


def _read(entry: Transaction, roles: RoleMap) -> _Spoken:
    under_way, only_moves = False, True
    lines = []
    for posting in entry.postings:
        role = roles.role(posting.account)
        only_moves = only_moves and role in _ON_THE_WAY and posting.cost is None
        if role is Role.MARKETPLACE:
            pocket = channel_of(posting.account)[1]
            under_way |= pocket is Pocket.TRANSIT
            if pocket is Pocket.MAIN:
                lines.append(posting)
        else:
            under_way |= roles.is_bank(posting.account)
    return _Spoken(entry, only_moves and under_way, tuple(lines))


def _links(spoken: _Spoken, by_day: Mapping[tuple[str, datetime.date], set[str]]) -> set[str]:
    """Return the links that the metadata of a transaction gives."""
    entry = spoken.entry
    found = _numbers(spoken)
    paid_out = day_of(entry, PAID_OUT)
    if paid_out is None or found or spoken.is_payout or links_of(entry, PAYOUT):
        return found
    for line in spoken.lines:
        of_day = by_day.get((line.account, paid_out), set())
        if len(of_day) == 1:
            found |= of_day
    return found


def _numbers(spoken: _Spoken) -> set[str]:
    """Return the links of the payouts that a transaction, or its lines, name by number."""
    numbers = [
        (line.account, (line.meta or {}).get(NUMBER, spoken.entry.meta.get(NUMBER))) for line in spoken.lines
    ]
    return {payout_link(account, str(number)) for account, number in numbers if number is not None}


def payout_link(account: str, number: str) -> str:
    """Return the link of a payout from the channel's account and the payout's number."""
    if number.startswith(("^" + PAYOUT, PAYOUT)):
        return number.removeprefix("^")
    slug = account.rpartition(":")[2].lower()
    return f"{PAYOUT}{slug}-{_UNFIT.sub('-', number)}"


def _wrong(spoken: Iterable[_Spoken]) -> Iterator[Problem]:
    paid: dict[tuple[str, str], list[_Paid]] = defaultdict(list)
    earned: dict[str, dict[str, None]] = defaultdict(dict)
    several = []
    for each in spoken:
        links = links_of(each.entry, PAYOUT)
        if len(links) > 1 and not each.is_payout:
            several.append(each)
        for line in each.lines:
            for link in links:
                if each.is_payout:
                    paid[link, line.account].append(_Paid(each.entry, line, weight(line).number))
                else:
                    earned[link][line.account] = None
    yield from _paid_twice(several, paid)
    yield from _left_twice(paid)
    yield from _wrong_channel(paid, earned)


def _paid_twice(several: Iterable[_Spoken], paid: Mapping[tuple[str, str], list[_Paid]]) -> Iterator[Problem]:
    """Yield events that carry the links of two payouts, neither of which came back."""
    for each in several:
        for line in each.lines:
            standing = [
                f"^{link}"
                for link in links_of(each.entry, PAYOUT)
                if sum(step.amount for step in paid.get((link, line.account), ()))
            ]
            if len(standing) > 1:
                yield PayoutError(
                    _source(each.entry, line),
                    f"This is paid twice, by {' and '.join(standing)}, and neither came back. Keep the link of "
                    f"the one that paid it.",
                    each.entry,
                )


def _left_twice(paid: Mapping[tuple[str, str], list[_Paid]]) -> Iterator[Problem]:
    """Yield payouts of one number that left the channel again without having come back."""
    for (link, channel), steps in paid.items():
        known: dict[Decimal, int] = defaultdict(int)
        for entry, line, amount in steps:
            if len(links_of(entry, PAYOUT)) > 1:
                continue
            known[amount] += 1
            if known[amount] - known[-amount] > 1:
                known[amount] -= 1
                yield PayoutError(
                    _source(entry, line),
                    f"^{link} leaves {channel} a second time with the same amount, {abs(amount)}. If it came back "
                    f"in between, write that with the same link; if this is another payout, give it another.",
                    entry,
                )


def _wrong_channel(
    paid: Mapping[tuple[str, str], list[_Paid]], earned: Mapping[str, Mapping[str, None]],
) -> Iterator[Problem]:
    """Yield payouts without events of their own channel whose link is on those of another."""
    for (link, channel), ((entry, line, _), *_rest) in paid.items():
        if len(links_of(entry, PAYOUT)) == 1 and earned.get(link) and channel not in earned[link]:
            yield PayoutError(
                _source(entry, line),
                f"^{link} is paid out of {channel}, but what it pays was earned on "
                f"{' and '.join(earned[link])}: the payout has no events of its own.",
                entry,
            )


def _source(entry: Transaction, line: Posting) -> dict[str, Any]:
    """Return where a posting stands, or its transaction when it was made up."""
    meta = line.meta or {}
    return dict(meta if "lineno" in meta else entry.meta)
