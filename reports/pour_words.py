"""What waits to be poured, in a pourer's words."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.annotations import ORDER
from millilot.ledger.records import Kind
from millilot.reports import rounding
from millilot.reports.bottles import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millilot.reports.pour import BottlePours, Stuck
    from millilot.reports.vials import Vials

#: Safety, below every list of what to pour.
CAUTION = "Perfume is a flammable liquid: pour away from flames, with eye protection and fresh air."

_THOUSANDTH = Decimal("0.001")

_ADVICE = {
    "not sorted": "`millilot sort` says which fragrance it was",
    "no bottle": "no bottle in the books could give it, see `millilot check`",
    "no goods": "nothing in it is poured; take off #to-pour",
    "called off": (
        "called off or refunded, so it is not poured; take off #to-pour, and if its mL have left the bottle in "
        "the books, write the refund as goods that came back"
    ),
}


def called(order: str | None, place: str) -> str:
    """Return what to call an order by: its link without `order-`, else where it is written."""
    return order.removeprefix(ORDER) if order else Path(place).name


def in_words(vials: Sequence[Vials], bottle: str) -> str:
    """Return vials as a pourer reads them, such as `2 x 5 mL`."""
    return ", ".join(_in_words(each, bottle) for each in vials)


def _in_words(vials: Vials, bottle: str) -> str:
    size = f"{to_thousandth(vials.ml):f} mL"
    if not vials.number:
        # Sold as it came; a sample or a gift of so many mL.
        return f"{size} unopened" if vials.kind is Kind.SOLD else f"{size} {vials.kind}"
    own = vials.of(bottle) / vials.number
    words = f"{vials.number} x {size}"
    if vials.kind is not Kind.SOLD:
        words += f" {vials.kind}"
    return words if own == vials.ml else f"{words}, {to_thousandth(own):f} mL of it"


def to_thousandth(ml: Decimal) -> Decimal:
    """Return mL as they are written in words."""
    return plain(rounding.nearest(ml, _THOUSANDTH))


def of_stuck(stuck: Stuck) -> str:
    """Return why an order is not poured, and what to do about it."""
    waited = "1 day" if stuck.days == 1 else f"{stuck.days} days"
    return f"{called(stuck.order, stuck.place)} ({waited}): {stuck.why}; {_ADVICE[stuck.why]}."


def runs_short(bottle: BottlePours) -> str:
    """Return how a bottle runs short, with where that is known from; nothing if it will do."""
    short = next((pour for pour in bottle.pours if pour.short), None)
    if short is None:
        return ""
    told = "by the books"
    if bottle.measured_on is not None:
        told = f"by the {bottle.measured_ml:f} mL measured on {bottle.measured_on} and what was poured since"
    return (
        f"{bottle.bottle} runs short at {called(short.order, short.place)}: {bottle.ml:f} mL to pour, and {told} "
        f"{max(bottle.held, ZERO):f} mL are in it."
    )
