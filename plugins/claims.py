"""Last stage: a claim must be for mL that its bottle can still give.

What a claim is, and how it is met, stands in `millilot.ledger.claims`. Here the claims are held, morning by
morning, against what the bottles have left once all draws are booked. A bottle may be claimed before it comes in,
since money comes first: then it is held against what it will come in with, and while the purchase is not in the
books at all, against the `size:` the claim tells.

Refused are claims of an unknown bottle, of another fragrance, in another currency, of more than nobody has claimed
yet, and those that take back more than is claimed and not yet poured. A claim that is refused is counted nowhere;
it moves no money by itself, so every other figure stands. Of one morning, what is taken back comes first and makes
room for others; the rest is taken in the order of its contents, so the order of writing changes nothing.
"""

from __future__ import annotations

from itertools import groupby
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from beancount.core.data import Custom, Transaction
from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.claims import Promise, Promises, SplitBottle
from millilot.ledger.directives import REFUSED, read_settings
from millilot.ledger.money import operating_currency
from millilot.ledger.reading import read_books
from millilot.plugins.order import Key, natural
from millilot.plugins.problems import ClaimError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from decimal import Decimal

    from beancount.core.data import Directive, Directives

    from millilot.ledger.directives import Claim
    from millilot.plugins.problems import Problem


def check_claims(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Report claims that cannot be met, and mark them so that no report counts them."""
    if not any(isinstance(entry, Custom) and entry.type == "claim" for entry in entries):
        return entries, []
    settings, _ = read_settings(entries)
    concerned = _concerned(entries, {claim.bottle for claim in settings.claims})
    promises = Promises(read_books(sorted(concerned, key=attrgetter("date")), options_map))
    currency = operating_currency(options_map)
    refused: set[int] = set()
    errors: list[Problem] = []
    for day, claims in groupby(settings.claims, key=attrgetter("day")):
        promises.advance(day)
        for claim, message in _take(promises, claims, currency):
            refused.add(id(claim.entry))
            # Of a bottle whose purchase was refused, enough has been said.
            if promises.holds(claim.bottle) is not None or claim.bottle not in _labels(entries):
                errors.append(ClaimError(dict(claim.entry.meta), message, claim.entry))
    return [_marked(entry, refused=id(entry) in refused) for entry in entries], errors


def _concerned(entries: Directives, bottles: set[str]) -> Directives:
    """Return the settings and the transactions that move any of some bottles; the rest need not be read."""
    return [
        entry
        for entry in entries
        if not isinstance(entry, Transaction)
        or any(posting.cost is not None and posting.cost.label in bottles for posting in entry.postings)
    ]


def _take(
    promises: Promises, claims: Iterable[Claim], currency: str | None,
) -> list[tuple[Claim, str]]:
    """Add the claims of one morning; return those that are refused, with the reason."""
    refused: list[tuple[Claim, str]] = []
    waiting: list[Claim] = []
    claims = sorted(claims, key=_content)
    for claim in claims:
        promises.expect(claim)
    for claim in claims:
        reason = _objection(promises, claim, currency)
        if reason is None:
            promises.add(claim)
        elif claim.quantity < 0:
            waiting.append(claim)
        else:
            refused.append((claim, reason))
    # What is claimed today can be taken back today.
    for claim in waiting:
        reason = _objection(promises, claim, currency)
        if reason is None:
            promises.add(claim)
        else:
            refused.append((claim, reason))
    return refused


def _content(claim: Claim) -> Key:
    return (claim.quantity > 0, natural(claim.bottle), natural(claim.split), claim.quantity, claim.price)


def _objection(promises: Promises, claim: Claim, currency: str | None) -> str | None:
    """Say why a claim cannot be met, None when it can."""
    if currency is not None and claim.currency != currency:
        written = f'custom "claim" "{claim.bottle}" {claim.quantity} {claim.commodity}'
        return (
            f"The books are kept in {currency}, but this claim is priced in {claim.currency}. Write what it comes "
            f"to in {currency}: {claim.day} {written} ... {currency}"
        )
    holds = promises.holds(claim.bottle)
    if holds is None:
        return (
            f'There is no bottle "{claim.bottle}". If it has yet to be bought, write below its first claim how '
            "many mL it will hold, such as size: 100"
        )
    commodity = promises.commodity(claim.bottle)
    if commodity not in {None, claim.commodity}:
        return f"{claim.bottle} holds {commodity}, not {claim.commodity}."
    return _drop_out(promises, claim) if claim.quantity < 0 else _over_claim(promises, claim, holds)


def _drop_out(promises: Promises, claim: Claim) -> str | None:
    promise = promises.of.get(SplitBottle(claim.split, claim.bottle), Promise(claim.commodity))
    of_split = f" in {claim.split}" if claim.split else ""
    what = f"{-claim.quantity} {claim.commodity} of {claim.bottle}"
    if -claim.quantity > promise.open:
        return f"{what} cannot be taken back: {promise.open} are claimed and not yet poured{of_split}."
    if promise.price + claim.price < 0:
        return (
            f"{what} cannot be taken back for {-claim.price} {claim.currency}: "
            f"all that is claimed{of_split} costs {promise.price}."
        )
    return None


def _over_claim(promises: Promises, claim: Claim, holds: Decimal) -> str | None:
    claimed = promises.open(claim.bottle)
    room = max(holds - claimed, ZERO)
    if claim.quantity <= room:
        return None
    state = "it has left" if promises.has_come_in(claim.bottle) else "it will come in with"
    return (
        f"{claim.quantity} {claim.commodity} of {claim.bottle} cannot be claimed on {claim.day}: of the {holds} "
        f"{state}, {claimed} are claimed already, and {room} can be."
    )


def _labels(entries: Directives) -> set[str | None]:
    """Return the names of all bottles that are written, those whose purchase was refused too."""
    return {
        posting.cost.label
        for entry in entries
        if isinstance(entry, Transaction)
        for posting in entry.postings
        if posting.cost is not None
    }


def _marked(entry: Directive, *, refused: bool) -> Directive:
    """Return an entry with the mark it deserves."""
    if not isinstance(entry, Custom) or entry.type != "claim":
        return entry
    if (entry.meta.get(goods.MARK) == REFUSED) is refused:
        return entry
    meta = {key: value for key, value in entry.meta.items() if key != goods.MARK}
    return entry._replace(meta={**meta, goods.MARK: REFUSED} if refused else meta)
