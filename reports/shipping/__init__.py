"""How much flammable liquid is in a parcel, beside figures that post and road go by; data, each with its source.

Nothing here says that a parcel may be sent: the carrier and local rules do. A file in `shipping/` beside the books
is read as those shipped are; a limit of it takes the place of one of the same name that begins on the same day.
All keys::

    [[limits]]
    name = "us-mail"
    title = "US mail, a package"
    from = 2025-01-01           # the first day it applies on; absent: from the beginning
    to = 2025-12-31             # the last, after which an earlier one holds again; absent: none
    books = ["USD"]             # shown for books in one of these currencies; absent: for all
    measure = "parcel"          # what the figure is of: all of the parcel, or its largest "container"
    ml = "473.176473"           # the figure in mL; absent: a rule without one
    figure = "16 fl oz"         # the figure as its source has it; needed with ml
    source = "USPS Pub. 52, 343.21"
    checked = 2026-11-25        # or false
    note = "..."
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import TYPE_CHECKING

from millilot.importers.problems import InputError
from millilot.reports.data_files import amount_of, checked_of, read_tables, told_as

if TYPE_CHECKING:
    from collections.abc import Iterable
    from decimal import Decimal
    from pathlib import Path

    from millilot.importers.section import Section
    from millilot.reports.parcels import Parcel

PARCEL, CONTAINER = "parcel", "container"

CARRIER = (
    "Perfume is a flammable liquid (class 3, UN1266). These are figures to ask your carrier about, not shipping "
    "advice; the carrier and local rules have the say."
)
AT_HOME = (
    "At home: how much flammable liquid you may store, and how, is for local fire rules; your insurer may want to "
    "know of it."
)


class LimitError(InputError):
    """Limits that cannot be read."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit; see the module for what its parts mean."""

    name: str
    title: str
    begins: datetime.date | None
    ends: datetime.date | None
    books: tuple[str, ...]
    measure: str
    ml: Decimal | None
    figure: str
    source: str
    checked: datetime.date | None
    note: str


def read_limits(*folders: Path) -> list[Limit]:
    """Read the limits that are shipped, then those in folders.

    Args:
        folders: where the owner's own may lie; one that does not exist holds none.

    Raises:
        LimitError: a file cannot be read.
    """
    known: dict[tuple[str, datetime.date | None], Limit] = {}
    with told_as(LimitError):
        for limit in map(_limit, read_tables(__name__, folders, "limits")):
            known[limit.name, limit.begins] = limit
    return list(known.values())


def in_force(limits: Iterable[Limit], currency: str, day: datetime.date) -> list[Limit]:
    """Return the limits for books in a currency on a day; of one name, the latest to begin."""
    latest: dict[str, Limit] = {}
    for each in sorted(limits, key=lambda each: each.begins or datetime.date.min):
        begun = each.begins is None or each.begins <= day
        if begun and (each.ends is None or day <= each.ends) and (not each.books or currency in each.books):
            latest[each.name] = each
    # With a figure first.
    return sorted(latest.values(), key=lambda each: each.ml is None)


def _limit(table: Section) -> Limit:
    ml = amount_of(table, "ml")
    if ml is not None and not (ml.is_finite() and ml > 0):
        raise table.problem(f'ml: expected mL above 0 in quotes, such as "30", found "{ml}"')
    limit = Limit(
        name=table.text("name"),
        title=table.text("title"),
        begins=table.get("from", datetime.date, "a day such as 2026-01-01", None),
        ends=table.get("to", datetime.date, "a day such as 2026-12-31", None),
        books=table.texts("books"),
        measure=table.choice("measure", (PARCEL, CONTAINER), PARCEL),
        ml=ml,
        figure=table.text("figure") if ml is not None else "",
        source=table.text("source"),
        checked=checked_of(table, None),
        note=table.text("note", ""),
    )
    table.close()
    return limit


@dataclass(frozen=True, slots=True)
class Beside:
    """A limit beside what a parcel holds.

    Attributes:
        limit: the limit.
        ml: what its figure is compared with; None for a rule without one.
        above: whether that is above the figure; None for a rule without one.
    """

    limit: Limit
    ml: Decimal | None
    above: bool | None


def beside(parcel: Parcel, limits: Iterable[Limit]) -> list[Beside]:
    """Return limits beside the mL of a parcel, compared exactly."""
    found = []
    for limit in limits:
        ml = None if limit.ml is None else parcel.ml if limit.measure == PARCEL else parcel.largest
        found.append(Beside(limit, ml, None if ml is None or limit.ml is None else ml > limit.ml))
    return found
