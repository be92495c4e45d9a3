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

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum, auto
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.interpolate import AUTOMATIC_META
from millilot.ledger import goods
from millilot.ledger.accounts import Role
from millilot.ledger.money import Weight

if TYPE_CHECKING:
    from collections.abc import Collection

    from beancount.core.data import Posting, Transaction
    from millilot.ledger.accounts import RoleMap

ZERO = Decimal(0)
ONE = Decimal(1)

_SOLD_ON = frozenset({Role.SALES, Role.SWAPS})
_PRICED_ON = _SOLD_ON | {Role.REFUNDS}


class Way(Enum):
    """What is to happen to the goods of a line."""

    SOLD = auto()
    USED = auto()
    SOLD_BACK = auto()
    USED_BACK = auto()

    @property
    def is_return(self) -> bool:
        """Whether goods come back."""
        return self in {Way.SOLD_BACK, Way.USED_BACK}

    @property
    def is_priced(self) -> bool:
        """Whether the line carries a price."""
        return self in {Way.SOLD, Way.SOLD_BACK}


@dataclass(frozen=True, slots=True)
class Ask:
    """A draw, or a return, as a line asks for it.

    Attributes:
        place: of the line in its transaction.
        way: what is to happen.
        commodity: the fragrance or supply.
        quantity: mL or pieces, above nought.
        account: where the owner wrote it.
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
    bottle: str | None
    vials: Decimal
    loss: Decimal | None
    meta: dict[str, Any]


class Refused(NamedTuple):
    """A line that is no draw: its place and what to say."""

    place: int
    message: str


class Asked(NamedTuple):
    """All lines in goods of a transaction.

    Attributes:
        asks: the draws and returns.
        refused: the slips.
        mirrors: places of lines that only mirror the draws; the lots take their place.
    """

    asks: list[Ask]
    refused: list[Refused]
    mirrors: list[int]


def read_asks(entry: Transaction, roles: RoleMap, goods_codes: Collection[str]) -> Asked:
    """Read what a transaction asks for."""
    asks: list[Ask] = []
    refused: list[Refused] = []
    mirrors: list[int] = []
    for place, posting in enumerate(entry.postings):
        number, commodity = Weight(*posting.units)  # type: ignore[misc]
        if commodity not in goods_codes:
            continue
        role = roles.role(posting.account)
        meta = posting.meta or {}
        if posting.cost is not None:
            if role is not Role.STOCK:
                refused.append(Refused(place, _cost_outside_stock(posting, number, commodity)))
        elif posting.price is None and (role is Role.STOCK or AUTOMATIC_META in meta):
            mirrors.append(place)
        else:
            result = _read_line(place, posting, role, entry, roles)
            (asks if isinstance(result, Ask) else refused).append(result)  # type: ignore[arg-type]
    if mirrors:
        mirrors, slips = _settle_mirrors(entry, mirrors, asks)
        refused.extend(slips)
    return Asked(asks, refused, mirrors)


def _read_line(
    place: int, posting: Posting, role: Role | None, entry: Transaction, roles: RoleMap,
) -> Ask | Refused:
    number, commodity = Weight(*posting.units)  # type: ignore[misc]
    way = _way(posting, number, role, roles)
    if isinstance(way, str):
        return Refused(place, way)
    meta: dict[str, Any] = posting.meta or {}
    bottle = meta.get("bottle", entry.meta.get("bottle"))
    vials = meta.get("vials", ONE if way is Way.SOLD else ZERO)
    loss = meta.get("loss")
    if bottle is not None and not isinstance(bottle, str):
        return Refused(place, f'bottle: is the name of a bottle in quotes, not {bottle}.')
    for key, value in (("vials", vials), ("loss", loss)):
        if value is not None and not (isinstance(value, Decimal) and value >= 0):
            return Refused(place, f"{key}: is a number not below 0 without quotes, not {value!r}.")
    return Ask(place, way, commodity, abs(number), posting.account, bottle, vials, loss, meta)


def _way(posting: Posting, number: Decimal, role: Role | None, roles: RoleMap) -> Way | str:
    """Return what a line without a cost means, or why it means nothing."""
    commodity = Weight(*posting.units).currency  # type: ignore[misc]
    written = f"{number} {commodity}"
    account = posting.account
    if not number:
        slip = f"This line moves {written}: nothing. Write how much left the bottle."
    elif posting.price is not None:
        if number < 0 and role in _SOLD_ON:
            return Way.SOLD
        if number > 0 and role in _PRICED_ON:
            return Way.SOLD_BACK
        if role is Role.REFUNDS:
            slip = (
                f"{written} on {account}: goods that come back are written with a plus, {-number} {commodity}; "
                "goods sold stand on the sales account."
            )
        else:
            slip = (
                f"{written} on {account} has a price, and goods that were not sold have none. "
                f"Write {written} without it."
            )
    elif role in _PRICED_ON:
        slip = f"{written} on {account} has no price. Write what was charged: {written} @@ 12.00 USD."
    elif goods.carries_cost(account, roles):
        return Way.USED if number > 0 else Way.USED_BACK
    else:
        slip = (
            f"{written} cannot stand on {account}. Goods go to sales or swaps with a price, or to an expense or "
            "personal use without one; in a stock account they stand at their cost."
        )
    return slip


def _cost_outside_stock(posting: Posting, number: Decimal, commodity: str) -> str:
    return (
        f"{number} {commodity} on {posting.account} is written with a cost. A draw is written without one; "
        "the books find the bottle and the cost."
    )


def _settle_mirrors(
    entry: Transaction, mirrors: list[int], asks: list[Ask],
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
        if own and mirrored in {-unpriced, -(unpriced + priced)}:
            good.extend(places)
            continue
        slips.extend(
            Refused(place, _cost_missing(entry.postings[place], _units(entry, place))) for place in places[:1]
        )
        good.extend(places[1:])
    return sorted(good), slips


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

