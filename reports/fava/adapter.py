"""All that the pages need of Fava, in one place.

Fava calls its extension surface and its components unstable. Whatever of it is not public is imported here and
nowhere else, and `tests/fava/test_surface.py` pins it, so that a new Fava breaks in one clear place.
"""

from __future__ import annotations

import datetime
import re
from typing import TYPE_CHECKING, Any, NamedTuple

from fava.context import g
from fava.ext import FavaExtensionBase
from fava.helpers import FavaAPIError
from flask import url_for

from millilot.ledger.reading import read_books

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from decimal import Decimal

    from millilot.ledger.records import Books

__all__ = ["FavaAPIError", "FavaExtensionBase", "Page", "Range", "line_chart"]

_DAY = datetime.timedelta(days=1)


class Range(NamedTuple):
    """The days Fava's time filter leaves: the first and the last, or None without a filter."""

    first: datetime.date | None
    last: datetime.date | None


class Page:
    """What every page does: read the books once per load and range, and link to where figures come from.

    A mixin, because Fava makes a page of every subclass of its own base class that a module can see.
    """

    ledger: Any

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._results: dict[object, Any] = {}

    def after_load_file(self) -> None:
        """Forget what was worked out from the books as they were."""
        # A new dictionary, not a cleared one: another thread may be reading the old.
        self._results = {}

    def once(self, key: object, work: Callable[[], Any]) -> Any:
        """Return what a piece of work gives, done once per load of the books.

        Args:
            key: tells this work from others, with the range if it depends on it.
            work: takes nothing and returns something that is never changed.
        """
        results = self._results
        if key not in results:
            results[key] = work()
        return results[key]

    @property
    def range(self) -> Range:
        """The days that Fava's time filter leaves."""
        date_range = g.filtered.date_range
        if date_range is None:
            return Range(None, None)
        return Range(date_range.begin, date_range.end - _DAY)

    def books(self) -> Books:
        """Return the books up to the end of the range.

        Fava's own filter replaces earlier lots by a summary without links, so they are read from all entries.
        """
        last = self.range.last
        books: Books = self.once(
            ("books", last), lambda: read_books(self.ledger.all_entries, self.ledger.options, last),
        )
        return books

    def journal_of_bottle(self, bottle: str) -> str:
        """Return the address of the journal with everything that moved or named a bottle."""
        # Fava matches these as regular expressions, the cost by what Python prints of it; it has no way to
        # quote, so any character that could mean something stands for whatever is in its place.
        name = re.sub(r"[^\w \-]", ".", bottle)
        clauses = (f'any(cost:"label=.{name}.\\)$")', f'any(bottle:"^{name}$")', f'bottle:"^{name}$"')
        return str(url_for("report", report_name="journal", filter=", ".join(clauses)))


def line_chart(label: str, points: Sequence[tuple[datetime.date, Mapping[str, Decimal]]]) -> dict[str, Any]:
    """Return the data of Fava's line chart.

    Args:
        label: the name of the chart; unique on a page.
        points: a day and the values of the lines that have one on it.
    """
    data = [{"date": day, "balance": dict(values)} for day, values in points]
    return {"type": "balances", "label": label, "data": data}
