"""What a written line asks of the bottles.

A line in goods without a cost, outside the stock accounts, is a draw:

====================================  ================  ======================================
account                               written           meaning
====================================  ================  ======================================
sales, swaps                          -5 X @@ 12.00 USD sold
sales, swaps, refunds                 5 X @@ 12.00 USD  goods sold came back
an expense, personal use              5 X               used: sample, loss, kept
an expense, personal use              -5 X              goods used came back
====================================  ================  ======================================

Everything else is a slip, and is refused with words that say how to write it.
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from enum import Enum
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple, cast

from beancount.core.interpolate import AUTOMATIC_META
from beancount.core.number import ONE, ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.annotations import written_vials
from millilot.ledger.money import Weight, snap, weight

if TYPE_CHECKING:
    from collections.abc import Collection

    from beancount.core.amount import Amount
    from beancount.core.data import Posting, Transaction

    from millilot.ledger.accounts import RoleMap


_SOLD_ON = frozenset({Role.SALES, Role.SWAPS})
_PRICED_ON = _SOLD_ON | {Role.REFUNDS}


class Way(Enum):
    """What is to happen to the goods of a line.

    Attributes:
        is_return: whether goods come back.
        is_priced: whether the line carries a price.
    """

    SOLD = (False, True)
    USED = (False, False)
    SOLD_BACK = (True, True)
    USED_BACK = (True, False)

    def __init__(self, is_return: bool, is_priced: bool) -> None:
        self.is_return = is_return
        self.is_priced = is_priced


class Ask(NamedTuple):
    """A draw, or a return, as a line asks for it.

    Attributes:
        place: of the line in its transaction.
        way: what is to happen.
        commodity: the fragrance or supply.
        quantity: mL or pieces, above nought.
        account: where the owner wrote it.
        units: as written.
        bottle: the lot it names, or None.
        vials: how many vials it was poured into.
        loss: mL lost in the pour as written, or None for the default.
        meta: of the line.
    """

    place: int
    way: Way
    commodity: str
    quantity: Decimal
    account: str
    units: Amount
    bottle: str | None
    vials: Decimal
    loss: Decimal | None
    meta: dict[str, Any]


class Refused(NamedTuple):
    """A line that is no draw: its place and what to say."""

    place: int
    message: str


def read_asks(
    entry: Transaction, roles: RoleMap, goods_codes: Collection[str], currency: str | None,
) -> tuple[list[Ask], list[Refused], list[int], bool]:
    """Read what a transaction asks for.

    Args:
        entry: the transaction.
        roles: the roles of accounts on its day.
        goods_codes: the commodities that are goods.
        currency: the operating currency, in which lines are priced; None when the books set none.

    Returns:
        The draws and returns; the slips; the places of lines that only mirror the draws, so that the lots take
        their place; and whether goods stand in a stock account at their cost.
    """
    asks: list[Ask] = []
    refused: list[Refused] = []
    mirrors: list[int] = []
    at_cost = False
    for place, posting in enumerate(entry.postings):
        units = posting.units
        if units is None or units.currency not in goods_codes:
            continue
        number, commodity = cast("tuple[Decimal, str]", units)
        role = roles.role(posting.account)
        if posting.cost is not None:
            if role is Role.STOCK or goods.is_in_stock(posting, roles):
                at_cost = True
            else:
                refused.append(Refused(place, _cost_outside_stock(posting, number, commodity)))
        elif posting.price is None and (role is Role.STOCK or AUTOMATIC_META in (posting.meta or ())):
            mirrors.append(place)
        else:
            result = _read_line(place, units, role, entry, roles)
            if posting.price is not None and currency is not None and posting.price.currency != currency:
                refused.append(Refused(place, _priced_abroad(posting, number, commodity, currency)))
            elif isinstance(result, Ask):
                asks.append(result)
            else:
                refused.append(result)
    if mirrors:
        mirrors, slips = _settle_mirrors(entry, mirrors, asks, roles)
        refused.extend(slips)
    return asks, refused, mirrors, at_cost


def may_return(posting: Posting) -> bool:
    """Whether a line in goods could bring some back: priced and positive, or negative without a price."""
    units = posting.units
    if posting.cost is not None or units is None or units.number is None:
        return False
    return (units.number > 0) is (posting.price is not None)


def _read_line(
    place: int, units: Amount, role: Role | None, entry: Transaction, roles: RoleMap,
) -> Ask | Refused:
    posting = entry.postings[place]
    number: Decimal = units.number  # type: ignore[assignment]  # booking has filled it in
    way = _way(posting, number, role, roles)
    if way is None:
        return Refused(place, _slip(posting, number, units.currency, role))
    meta: dict[str, Any] = posting.meta or {}
    bottle = meta.get("bottle") or entry.meta.get("bottle")
    vials = written_vials(meta, ONE if way is Way.SOLD else ZERO)
    loss = meta.get("loss")
    if goods.POURED in meta:
        return Refused(place, _poured_on_line(meta[goods.POURED], entry))
    if bottle is not None and not isinstance(bottle, str):
        return Refused(place, f"bottle: is the name of a bottle in quotes, not {bottle}.")
    if vials is not ONE and not _is_quantity(vials):
        return Refused(place, f"vials: is a number not below 0, not {vials}.")
    if loss is not None and not _is_quantity(loss):
        return Refused(place, f"loss: is a number of mL not below 0 without quotes, not {loss}.")
    return Ask(place, way, units.currency, _size(number), posting.account, units, bottle, vials, loss, meta)


@lru_cache(maxsize=1000)
def _size(number: Decimal) -> Decimal:
    """Return how much a line moves; vials have few sizes, and share theirs."""
    return abs(number)


def _poured_on_line(poured: object, entry: Transaction) -> str:
    day = poured if isinstance(poured, datetime.date) else entry.date
    return (
        f"{goods.POURED}: {poured} stands below this line, and it belongs to the whole order. Write it below the "
        f"first line of the order: {goods.POURED}: {day}"
    )


def _is_quantity(value: object) -> bool:
    return isinstance(value, Decimal) and value >= 0


def _way(posting: Posting, number: Decimal, role: Role | None, roles: RoleMap) -> Way | None:
    """Return what a line without a cost means, or None when it means nothing."""
    if posting.price is not None:
        if number < 0 and role in _SOLD_ON:
            return Way.SOLD
        return Way.SOLD_BACK if number > 0 and role in _PRICED_ON else None
    if number and role not in _PRICED_ON and goods.carries_cost(posting.account, roles):
        return Way.USED if number > 0 else Way.USED_BACK
    return None


def _slip(posting: Posting, number: Decimal, commodity: str, role: Role | None) -> str:
    """Say why a line means nothing, and how to write it."""
    written = f"{number} {commodity}"
    account = posting.account
    if not number:
        return f"This line moves {written}: nothing. Write how much left the bottle."
    if role is Role.STOCK:
        return _cost_missing(posting, Weight(number, commodity))
    if posting.price is None and role in _PRICED_ON:
        return f"{written} on {account} has no price. Write what was charged: {written} @@ 12.00 USD."
    if posting.price is not None and role is Role.REFUNDS:
        return (
            f"{written} on {account}: goods that come back are written with a plus, {-number} {commodity}; goods "
            "sold stand on the sales account."
        )
    if posting.price is not None:
        return (
            f"{written} on {account} has a price, and goods that were not sold have none. Write {written} "
            "without it."
        )
    return (
        f"{written} cannot stand on {account}. Goods go to sales or swaps with a price, or to an expense or "
        "personal use without one; in a stock account they stand at their cost."
    )


def _priced_abroad(posting: Posting, number: Decimal, commodity: str, currency: str) -> str:
    total, abroad = weight(posting)
    paid = f"{snap(abs(total), abroad)} {abroad}"
    return (
        f"The books are kept in {currency}, and this line is priced in {abroad}. Write what it came to in "
        f"{currency}: {number} {commodity} @@ ... {currency}, and on the line of its money {paid} @@ ... "
        f"{currency}."
    )


def _cost_outside_stock(posting: Posting, number: Decimal, commodity: str) -> str:
    return (
        f"{number} {commodity} on {posting.account} is written with a cost. A draw is written without one; "
        "the books find the bottle and the cost."
    )


def _settle_mirrors(
    entry: Transaction, mirrors: list[int], asks: list[Ask], roles: RoleMap,
) -> tuple[list[int], list[Refused]]:
    """Tell lines that mirror the draws of their transaction from goods that stand nowhere.

    A blank leg is filled in by booking with minus what the lines without a price say; a stock leg the owner
    wrote may also mirror the lines with one.
    """
    good: list[int] = []
    slips: list[Refused] = []
    for commodity in dict.fromkeys(_units(entry, place).currency for place in mirrors):
        places = [place for place in mirrors if _units(entry, place).currency == commodity]
        mirrored = sum((_units(entry, place).number for place in places), ZERO)
        own = [ask for ask in asks if ask.commodity == commodity]
        unpriced = sum((_out(ask) for ask in own if not ask.way.is_priced), ZERO)
        priced = sum((_out(ask) for ask in own if ask.way.is_priced), ZERO)
        if not own or mirrored not in {-unpriced, -(unpriced + priced)}:
            slips.append(Refused(places[0], _cost_missing(entry.postings[places[0]], _units(entry, places[0]))))
            good.extend(places[1:])
            continue
        for place in places:
            posting = entry.postings[place]
            if roles.role(posting.account) is Role.STOCK or _is_split_money(entry, place):
                good.append(place)
            else:
                slips.append(Refused(place, _blank(posting)))
    return sorted(good), slips


def _is_split_money(entry: Transaction, place: int) -> bool:
    """Whether booking filled the blank leg at a place with money too."""
    account = entry.postings[place].account
    return any(
        other.account == account
        and AUTOMATIC_META in (other.meta or ())
        and _units(entry, number).currency != _units(entry, place).currency
        for number, other in enumerate(entry.postings)
    )


def _blank(posting: Posting) -> str:
    return (
        f"The line {posting.account} was left blank, and only goods are there to fill it. Leave it out: the "
        "bottle they come from is found by itself."
    )


def _units(entry: Transaction, place: int) -> Weight:
    return Weight(*entry.postings[place].units)  # type: ignore[misc]


def _out(ask: Ask) -> Decimal:
    return -ask.quantity if ask.way.is_return else ask.quantity


def _cost_missing(posting: Posting, units: Weight) -> str:
    number, commodity = units
    if number > 0:
        return (
            f"{number} {commodity} on {posting.account} has no cost. Write what it cost in all: "
            f'{number} {commodity} {{{{100.00 USD, "NAME"}}}}.'
        )
    return (
        f"{number} {commodity} on {posting.account} has no cost and mirrors no draw of its transaction. Leave "
        "this line out: write only where the goods went."
    )

