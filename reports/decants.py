"""What a decant costs whoever pours it: its liquid, what the pour loses, and the supplies it uses up.

The liquid comes from the bottle that would give next, or from the one that is named, at its landed cost; a size
that runs over into another bottle takes the cost of both. Supplies are those that would be drawn next; a decant is
taken for an order of its own, so it bears a whole parcel.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.reports.bottles import plain
from millilot.reports.names import UnknownNameError, near

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence

    from millilot.ledger.directives import Commodity
    from millilot.ledger.records import Books
    from millilot.reports.next_draw import NextDraw, Piece


@dataclass(frozen=True, slots=True)
class Decant:
    """What a decant costs before it is posted, exact, in the operating currency.

    Attributes:
        size_ml: mL in the vial.
        bottles: those its liquid comes from, in turn; the last one that is empty when none holds any.
        pieces: what each of them gives, with the cost per mL.
        liquid: the mL sold at landed cost.
        loss: the mL the pour loses, at landed cost.
        supplies: the kits of the vial and of a parcel, at cost.
        remarks: what could not be costed as the books would book it.
    """

    size_ml: Decimal
    bottles: tuple[str, ...]
    pieces: tuple[Piece, ...]
    liquid: Decimal
    loss: Decimal
    supplies: Decimal
    remarks: tuple[str, ...]


def find_fragrance(books: Books, name: str) -> Commodity:
    """Return the fragrance of a code or a name, in capitals or not.

    Raises:
        UnknownNameError: the books have none, or several of this name.
    """
    described = (commodity for commodity in books.settings.commodities.values() if commodity.is_fragrance)
    fragrances = {each.code: each for each in described}
    fragrances |= {bottle.commodity.code: bottle.commodity for bottle in books.fragrances.values()}
    if name.upper() in fragrances:
        return fragrances[name.upper()]
    called = [each for each in fragrances.values() if each.name.casefold() == name.casefold()]
    if len(called) > 1:
        codes = " and ".join(each.code for each in called)
        raise UnknownNameError(f"{name!r} is the name of {codes}; say which by its code.")
    if not called:
        known = {each.name for each in fragrances.values()} | set(fragrances)
        raise UnknownNameError(f"There is no fragrance {name!r}.{near(name, known)}")
    return called[0]


def bottles_of(books: Books, stock: NextDraw, fragrance: Commodity, bottle: str | None = None) -> Sequence[str]:
    """Return the bottles that would give of a fragrance, in turn: the one that is named, or all, oldest first.

    Raises:
        UnknownNameError: there is no such bottle of it, or no bottle of it at all.
    """
    names = stock.lots(fragrance.code)
    if not names:
        raise UnknownNameError(f"The books have no bottle of {fragrance.name}, so nothing says what it costs.")
    if bottle is None:
        return names
    if bottle in names:
        return [bottle]
    if bottle in books.bottles:
        raise UnknownNameError(f"{bottle} holds {books.bottles[bottle].commodity.name}, not {fragrance.name}.")
    raise UnknownNameError(f"There is no bottle {bottle!r} of {fragrance.name}.{near(bottle, names)}")


def decant(
    books: Books,
    stock: NextDraw,
    bottles: Sequence[str],
    size: Decimal,
    *,
    day: datetime.date,
    loss: Decimal | None = None,
) -> Decant:
    """Return what a decant costs.

    Args:
        books: read up to the day.
        stock: what their lots hold.
        bottles: those that give, in turn; at least one.
        size: mL.
        day: the day whose settings count.
        loss: mL lost in the pour; by default, what `custom "pour-loss"` says.
    """
    liquid = stock.take(bottles, size)
    lost = books.settings.pour_loss(day) if loss is None else loss
    with_loss = stock.take(bottles, size + lost)
    remarks = []
    if not liquid.pieces:
        remarks.append(f"{bottles[-1]} is empty; what its last mL cost is counted.")
    elif liquid.missing:
        remarks.append(
            f"Only {plain(size - liquid.missing)} of {plain(size)} mL are left; the rest is at the last cost.",
        )
    supplies, about_supplies = _supplies(books, stock, size, day)
    return Decant(
        plain(size),
        liquid.lots or (bottles[-1],),
        liquid.pieces,
        liquid.cost,
        with_loss.cost - liquid.cost,
        supplies,
        (*remarks, *about_supplies),
    )


def _supplies(books: Books, stock: NextDraw, size: Decimal, day: datetime.date) -> tuple[Decimal, list[str]]:
    """Return what the kits of a vial and of a parcel cost, and what there is to say of it."""
    settings = books.settings
    remarks = []
    used: dict[str, Decimal] = defaultdict(Decimal)
    kits = ((f"a vial of {plain(size)} mL", settings.kit(size, day)), ("a parcel", settings.parcel_kit(day)))
    for what, kit in kits:
        if kit is None:
            remarks.append(f"No kit is set for {what}, so no supplies are counted for it.")
            continue
        for number, code in kit.supplies:
            used[code] += number
    cost = ZERO
    for code, number in used.items():
        taken = stock.take(stock.lots(code), number)
        cost += taken.cost
        if taken.missing:
            known = "its last cost is counted" if taken.last_cost else "nothing is counted for it"
            remarks.append(f"There is no {settings.commodities[code].name} left; {known}.")
    return cost, remarks
