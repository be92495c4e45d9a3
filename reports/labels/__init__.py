"""Labels: what stands on each vial of an order, or of a bottle that is poured ahead.

What a vial is stands in `millilot.reports.vials`. What was sold unopened has no label, nor has a sample that names
no vials. A vial with the last of one bottle and the first of another names both batches.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from millilot.importers.problems import InputError
from millilot.reports.names import near

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable
    from decimal import Decimal

    from millilot.ledger.records import Books, Bottle
    from millilot.reports.parcels import Parcel

CAUTION = "Flammable liquid. Keep away from heat, sparks and flames."
#: What the labels are not; it stands on the sheet.
NOT_COMPLETE = (
    "Not a complete label under cosmetic law; contents must be shown from 5 mL in the EU. "
    "Local rules have the say."
)
#: Who poured it, where no name is given.
SOMEBODY = "an independent person"


class LabelError(InputError):
    """Labels that cannot be made as asked."""


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on a vial.

    Attributes:
        order: the link of its order without the caret; None for a vial poured ahead.
        bottles: the bottles it was poured from, in turn.
        fragrance: its name.
        strength: as the books describe the fragrance, or empty.
        ml: mL in the vial, exact.
        batch: the maker's batch code, of both bottles if there are two; or empty.
        poured: the day of pouring.
    """

    order: str | None
    bottles: tuple[str, ...]
    fragrance: str
    strength: str
    ml: Decimal
    batch: str
    poured: datetime.date


def label(
    bottles: Iterable[Bottle], ml: Decimal, poured: datetime.date, order: str | None = None,
) -> Label:
    """Return the label of a vial.

    Args:
        bottles: those it is poured from, at least one.
        ml: mL in it.
        poured: the day of pouring.
        order: the link of its order without the caret.
    """
    bottles = list(bottles)
    commodity = bottles[0].commodity
    batches = dict.fromkeys(bottle.batch for bottle in bottles if bottle.batch)
    return Label(
        order, tuple(bottle.name for bottle in bottles), commodity.name, commodity.strength, ml,
        " / ".join(batches), poured,
    )


def said_by(by: str) -> tuple[str, str, str]:
    """Return who poured a vial and that the maker did not: the name, with what stands before and behind it."""
    return "Poured from the original bottle by ", by or SOMEBODY, "; not affiliated with the maker."


def of_parcels(
    parcels: Iterable[Parcel], books: Books, today: datetime.date, on: datetime.date | None = None,
) -> list[Label]:
    """Return a label for each vial of some parcels.

    Args:
        parcels: what goes out.
        books: the books they are of.
        today: the day on which those are poured that wait.
        on: the day of pouring of all of them, whatever the books say.
    """
    labels = []
    for parcel in parcels:
        poured = on or parcel.poured or today
        for vials in parcel.vials:
            bottles = [books.bottles[name] for name, _ in vials.parts]
            labels += [label(bottles, vials.ml, poured, parcel.order)] * vials.number
    return labels


def of_bottle(books: Books, name: str, ml: Decimal, count: int, poured: datetime.date) -> list[Label]:
    """Return labels for vials that are poured ahead of any order.

    Args:
        books: the books.
        name: of the bottle.
        ml: mL in each vial.
        count: how many vials.
        poured: the day of pouring.

    Raises:
        LabelError: no bottle of fragrance has this name.
    """
    bottle = books.fragrances.get(name)
    if bottle is None:
        raise LabelError(f"There is no bottle of fragrance {name!r}.{near(name, books.fragrances)}")
    return [label([bottle], ml, poured)] * count
