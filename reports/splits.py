"""Splits: how far each is filled and poured, and whose money is held for it.

What a claim is, and how it is met, stands in `millilot.ledger.claims`. Money belongs to a split by its link on a
transaction that touches the claims account. Of several bottles it is for the one it names with `bottle:`, else for
those its own lines were poured from, by price, else for those its order was. What tells no bottle yet stands in a
row of the split without one, and what tells no split either is the last row, so that the money held adds up to
what is on the claims account.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.claims import SplitBottle, read_promises
from millilot.ledger.money import minor_unit
from millilot.ledger.records import ACQUIRED
from millilot.plugins.order import natural
from millilot.reports import rounding
from millilot.reports.bottles import plain

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from millilot.ledger.claims import Promise, Promises
    from millilot.ledger.records import Books, Line, Money, Record

SPLIT = "split-"

#: Income that money held for a claim may turn into, and refunds, which turn it back.
_EARNED = frozenset({Role.SALES, Role.POSTAGE_CHARGED, Role.UNSORTED, Role.REFUNDS, Role.COMPENSATION})

_FOUR_DIGITS = Decimal("0.0001")

#: What names no split.
_UNNAMED = SplitBottle("", "")


class State(StrEnum):
    """How far a split is.

    It is filled when nothing is unclaimed but what the owner means to keep of the bottle (`keep:`), poured when
    every claim is met, and dissolved when every claim was taken back.
    """

    OPEN = "open"
    FILLED = "filled"
    POURED = "poured"
    DISSOLVED = "dissolved"


@dataclass(frozen=True, slots=True)
class Split:
    """A bottle in a split.

    Attributes:
        split: the link of the split without its caret; None for claims outside any.
        bottle: the bottle; None for money that does not say for which.
        fragrance: its name.
        ml_bought: what came in, or what a claim says will; None while neither is known.
        ml_claimed: what is claimed, less what was taken back.
        fill: the part of ml_bought that is claimed, 4 digits; None while nothing was bought.
        ml_poured: what was poured of the claims.
        ml_unclaimed: what the bottle has left, or will come in with, that nobody has claimed, in this split or
            another; below nought when it cannot meet all claims.
        money_held: paid for claims, and neither poured nor refunded.
        money_due: the price of all claims, less what was paid and not refunded; below nought when more was paid.
        state: how far it is.
    """

    split: str | None
    bottle: str | None
    fragrance: str | None
    ml_bought: Decimal | None
    ml_claimed: Decimal | None
    fill: Decimal | None
    ml_poured: Decimal | None
    ml_unclaimed: Decimal | None
    money_held: Decimal
    money_due: Decimal | None
    state: State | None


@dataclass(slots=True)
class _Purse:
    """Money taken for claims: what is still held, and what was paid in all, less refunds."""

    held: Decimal = ZERO
    paid: Decimal = ZERO


def splits(books: Books) -> list[Split]:
    """Return the exact figures of each bottle in each split, in the order of their names.

    Returns:
        A row a split and bottle, then what is outside any split, and last a row for money that names no split.
    """
    promises = read_promises(books)
    purses: dict[SplitBottle, _Purse] = defaultdict(_Purse, {part: _Purse() for part in (*promises.of, _UNNAMED)})
    poured = _poured_lines(books)
    for record in books.records:
        for part, amount, earned in _money(record, poured, promises.of.keys()):
            purses[part].held -= amount
            purses[part].paid += earned - amount
    bought: dict[str, Decimal] = defaultdict(Decimal)
    for record in books.records:
        for move in record.moves:
            if move.kind in ACQUIRED:
                bought[move.bottle] += move.quantity
    return [
        _row(books, promises, part, purses[part], bought.get(part.bottle, promises.holds(part.bottle)))
        if part in promises.of
        else _money_row(part, purses[part])
        for part in sorted(purses, key=_place)
    ]


def rounded(exact: Sequence[Split], currency: str) -> list[Split]:
    """Round the exact figures so that the columns of money add up.

    Args:
        exact: what `splits` returned.
        currency: the operating currency, whose minor unit counts.
    """
    unit = minor_unit(currency)
    held = rounding.shares([row.money_held for row in exact], unit)
    due = rounding.shares([row.money_due or ZERO for row in exact], unit)
    return [
        replace(
            row,
            ml_bought=_plain(row.ml_bought),
            ml_claimed=_plain(row.ml_claimed),
            ml_poured=_plain(row.ml_poured),
            ml_unclaimed=_plain(row.ml_unclaimed),
            money_held=own,
            money_due=None if row.money_due is None else owed,
        )
        for row, own, owed in zip(exact, held, due, strict=True)
    ]


def _plain(quantity: Decimal | None) -> Decimal | None:
    return None if quantity is None else plain(quantity)


def _place(part: SplitBottle) -> tuple[object, ...]:
    """Return a sort key: splits by name, each with its money of no bottle last, and what names none behind."""
    return (not part.split, natural(part.split), not part.bottle, natural(part.bottle))


def _row(
    books: Books, promises: Promises, part: SplitBottle, purse: _Purse, bought: Decimal | None,
) -> Split:
    promise = promises.of[part]
    holds = promises.holds(part.bottle)
    unclaimed = None if holds is None else holds - promises.open(part.bottle)
    return Split(
        split=part.split or None,
        bottle=part.bottle,
        fragrance=books.settings.commodities[promise.commodity].name,
        ml_bought=bought,
        ml_claimed=promise.claimed,
        fill=rounding.nearest(promise.claimed / bought, _FOUR_DIGITS) if bought else None,
        ml_poured=promise.poured,
        ml_unclaimed=unclaimed,
        money_held=purse.held,
        money_due=promise.price - purse.paid,
        state=_state(books, part.bottle, promise, unclaimed),
    )


def _money_row(part: SplitBottle, purse: _Purse) -> Split:
    """Return the row of money that does not say which bottle it is for."""
    due = -purse.paid if part.split else None
    return Split(part.split or None, None, None, None, None, None, None, None, purse.held, due, None)


def _state(books: Books, name: str, promise: Promise, unclaimed: Decimal | None) -> State:
    if not promise.claimed:
        return State.DISSOLVED
    if not promise.open:
        return State.POURED
    bottle = books.bottles.get(name)
    keep = bottle.keep if bottle is not None else ZERO
    return State.FILLED if unclaimed is not None and unclaimed <= keep else State.OPEN


def _poured_lines(books: Books) -> dict[str | None, list[Line]]:
    """Return the sale lines of each order that were paid from claims."""
    lines: dict[str | None, list[Line]] = defaultdict(list)
    for record in books.records:
        if record.order and any(money.role is Role.CLAIMS and money.amount > 0 for money in record.money):
            lines[record.order].extend(line for line in record.lines if line.price > 0)
    return lines


def _money(
    record: Record, poured: Mapping[str | None, Sequence[Line]], parts: Collection[SplitBottle],
) -> Iterator[tuple[SplitBottle, Decimal, Decimal]]:
    """Yield what a transaction does to money taken for claims.

    Yields:
        Whose it is; the amount as posted on the claims account; and how much of it became income, or, below
        nought, was income before.
    """
    claims = [money for money in record.money if money.role is Role.CLAIMS and money.amount]
    if not claims:
        return
    released = sum((money.amount for money in claims if money.amount > 0), ZERO)
    taken = sum((-money.amount for money in claims if money.amount < 0), ZERO)
    income = -sum((money.amount for money in record.money if money.role in _EARNED), ZERO)
    earned = min(max(income, -taken), released)
    for money in claims:
        whole = released if money.amount > 0 else taken
        became = earned * abs(money.amount) / whole if earned * money.amount > 0 else ZERO
        lines = [line for line in record.lines if line.price * money.amount > 0] or poured.get(record.order, ())
        shares = _shares(record, money, lines, parts)
        total = sum(shares.values(), ZERO)
        for part, share in shares.items():
            yield part, money.amount * share / total, became * share / total


def _shares(
    record: Record, money: Money, lines: Sequence[Line], parts: Collection[SplitBottle],
) -> dict[SplitBottle, Decimal]:
    """Return whose money on the claims account is, with the weight of each.

    Args:
        record: the transaction.
        money: its posting on the claims account.
        lines: what was poured for it.
        parts: the bottles claimed in all splits.
    """
    known = {part.split for part in parts if part.split}
    links = {link for link in record.entry.links or () if link in known or link.startswith(SPLIT)}
    possible = [part for part in parts if (part.split in links if links else not part.split)]
    named = money.bottle or record.entry.meta.get("bottle")
    if named:
        possible = [part for part in possible if part.bottle == named]
    elif charged := _charged(lines, possible):
        return charged
    if len(possible) == 1 and (links or named):
        return {possible[0]: Decimal(1)}
    return {SplitBottle(min(links) if len(links) == 1 else "", ""): Decimal(1)}


def _charged(lines: Sequence[Line], possible: Sequence[SplitBottle]) -> dict[SplitBottle, Decimal]:
    """Return what some lines charge for each bottle, or what they give back for it."""
    charged: dict[SplitBottle, Decimal] = {}
    for line in lines:
        quantity = sum((quantity for _, quantity in line.parts), ZERO)
        for part in possible:
            own = sum((poured for bottle, poured in line.parts if bottle == part.bottle), ZERO)
            if own:
                charged[part] = charged.get(part, ZERO) + abs(line.price) * own / quantity
    return charged
