"""How far below its nominal quantity a new bottle may be filled."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

SOURCE = "Directive 76/211/EEC, Annex I"


class _Band(NamedTuple):
    """Nominal quantities up to a limit in mL, and what each may lack: a part of it, or so many mL."""

    up_to: Decimal
    part: Decimal | None
    ml: Decimal | None


_SMALLEST = Decimal(5)
#: The tolerable negative error of the Directive of 20 January 1976, read in the legislation.gov.uk copy in 2026.
_TOLERABLE: Sequence[_Band] = (
    _Band(Decimal(50), Decimal("0.09"), None),
    _Band(Decimal(100), None, Decimal("4.5")),
    _Band(Decimal(200), Decimal("0.045"), None),
    _Band(Decimal(300), None, Decimal(9)),
    _Band(Decimal(500), Decimal("0.03"), None),
    _Band(Decimal(1000), None, Decimal(15)),
)


def tolerable_error(nominal: Decimal) -> Decimal | None:
    """Return the mL that may be missing from a nominal quantity in mL; None below 5 and above 1,000 mL."""
    if nominal < _SMALLEST:
        return None
    band = next((band for band in _TOLERABLE if nominal <= band.up_to), None)
    if band is None:
        return None
    return band.ml if band.part is None else nominal * band.part
