"""The page to print: labels in their grid, in millimetres; it needs no script, no network and no other file."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

from millilot.reports import rounding
from millilot.reports.bottles import plain
from millilot.reports.labels import CAUTION, NOT_COMPLETE, LabelError, said_by
from millilot.reports.labels.fit import LINE, Part, fit
from millilot.reports.printing import templates
from millilot.reports.tables import printable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millilot.reports.labels import Label
    from millilot.reports.labels.fit import Set
    from millilot.reports.labels.sheets import Sheet

_TEMPLATE = "labels.html"

#: mm of a label that stay free on each side, as no printer hits the grid exactly.
PADDING = Decimal("1.4")
#: mm of a margin that the note needs.
_NOTE = Decimal(6)
_HUNDREDTH = Decimal("0.01")
_NAME, _TEXT, _SMALL = Decimal("2.7"), Decimal("2.0"), Decimal("1.6")


def labels_page(labels: Sequence[Label], sheet: Sheet, by: str = "", skip: int = 0) -> str:
    """Return sheets of labels as HTML.

    Args:
        labels: what to print, in order: by row, from the left.
        sheet: the sheet they are printed on.
        by: who poured them, or empty.
        skip: how many labels of the first sheet are used already.

    Raises:
        LabelError: nothing of the first sheet is left, or its labels are too small.
    """
    if skip >= sheet.labels:
        raise LabelError(f"A sheet {sheet.name} has {sheet.labels} labels; {skip} cannot be skipped.")
    width, height = sheet.label_width - 2 * PADDING, sheet.label_height - 2 * PADDING
    # Vials of an order are alike, and so are their labels.
    fitted = lru_cache(maxsize=None)(lambda each: fit(_parts(each, by), width, height))
    try:
        cells: list[list[Set] | None] = [*[None] * skip, *map(fitted, labels)]
    except ValueError:
        raise LabelError(f"The labels of the sheet {sheet.name} are too small for what stands on them.") from None
    environment = templates("millilot.reports.labels")
    environment.filters["mm"] = lambda length: f"{rounding.nearest(length, Decimal('0.0001')):f}mm"
    margin = "top" if sheet.top >= sheet.bottom else "bottom"
    return environment.get_template(_TEMPLATE).render(
        sheet=sheet,
        sheets=[cells[start : start + sheet.labels] for start in range(0, len(cells), sheet.labels)],
        padding=PADDING,
        line=LINE,
        note=NOT_COMPLETE,
        margin=margin if max(sheet.top, sheet.bottom) >= _NOTE else None,
        room=max(sheet.top, sheet.bottom),
    ) + "\n"


def _parts(label: Label, by: str) -> list[Part]:
    ml = f"{plain(rounding.nearest(label.ml, _HUNDREDTH)):f} mL"
    poured = f"poured {label.poured}"
    before, who, behind = said_by(printable(by))
    return [
        Part(printable(label.fragrance), _NAME, bold=True, is_name=True),
        Part(printable(label.strength), _TEXT, before=f"{ml} · " if label.strength else ml, bold=True),
        Part(printable(label.batch), _SMALL, before="Batch ", behind=f" · {poured}")
        if label.batch
        else Part("", _SMALL, before=poured.capitalize()),
        Part(who, _SMALL, before=before, behind=behind),
        Part("", _SMALL, before=CAUTION, bold=True),
    ]
