"""All that the pages need of Fava, in one place.

Fava calls its extension surface and its components unstable. Whatever of it is not public is imported here and
nowhere else, and `tests/fava/test_surface.py` pins it, so that a new Fava breaks in one clear place.
"""

from __future__ import annotations

import datetime
import re
from collections import OrderedDict
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any, NamedTuple, cast
from weakref import WeakKeyDictionary

from babel.core import Locale
from fava.beans.funcs import hash_entry
from fava.context import g
from fava.core.number import get_locale_format
from fava.ext import FavaExtensionBase, extension_endpoint
from fava.helpers import FavaAPIError
from flask import Response, current_app, request, url_for

from millilot.ledger.reading import read_books, until
from millilot.reports.clock import this_day

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from decimal import Decimal

    from beancount.core.data import Directive
    from fava.core.number import Formatter

    from millilot.ledger.records import Books

__all__ = [
    "FavaAPIError",
    "FavaExtensionBase",
    "Page",
    "Range",
    "Response",
    "asked",
    "bar_chart",
    "download",
    "entry_in_books",
    "extension_endpoint",
    "filters_set",
    "interval_of",
    "is_incognito",
    "journal_of_account",
    "journal_of_link",
    "line_chart",
    "page_address",
]

_DAY = datetime.timedelta(days=1)
#: More than the ranges anybody goes back and forth between.
_MOST_RESULTS = 60
_FILTERS = ("time", "account", "filter", "conversion", "interval")


class Range(NamedTuple):
    """The days Fava's time filter leaves: the first and the last, or None without a filter."""

    first: datetime.date | None
    last: datetime.date | None


class Cell(NamedTuple):
    """A figure as a sortable table sorts it, and as it is shown. Of many rows, templates print these."""

    sort: str
    text: str


class Results:
    """What was worked out from the books as they were loaded once, by all pages.

    Args:
        entries: what was loaded; Fava makes a new list at each load.
    """

    def __init__(self, entries: object) -> None:
        self.entries = entries
        self._kept: OrderedDict[object, Any] = OrderedDict()
        self._lock = Lock()

    def __len__(self) -> int:
        return len(self._kept)

    def once(self, key: object, work: Callable[[], Any]) -> Any:
        """Return what a piece of work gives, done when it is first asked for."""
        with self._lock:
            if key in self._kept:
                # What is asked for again and again, such as all of the books, stays longest.
                self._kept.move_to_end(key)
                return self._kept[key]
        result = work()
        with self._lock:
            while len(self._kept) >= _MOST_RESULTS:
                self._kept.popitem(last=False)
            # Two threads that did the same work return the result of the first.
            return self._kept.setdefault(key, result)


#: The results of each ledger that is open, by the part of it that lives as long as it does.
_RESULTS: WeakKeyDictionary[Any, Results] = WeakKeyDictionary()


class Page:
    """What every page does: read the books once per load and range, and link to where figures come from.

    A mixin, because Fava makes a page of every subclass of its own base class that a module can see.
    """

    ledger: Any

    def after_load_file(self) -> None:
        """Work out what the page shows of all the books, as a part of loading them.

        Fava does not start when this fails, so a failure waits for the page that asks again.
        """
        with suppress(Exception):
            self.prepare()

    def prepare(self) -> None:
        """Work out what the page shows without a filter; there is no request to ask."""

    @property
    def results(self) -> Results:
        """What was worked out from the books as they are loaded."""
        owner, entries = self.ledger.extensions, self.ledger.all_entries
        results = _RESULTS.get(owner)
        if results is None or results.entries is not entries:
            # Who still works with the books as they were keeps what belongs to them.
            results = _RESULTS[owner] = Results(entries)
        return results

    def once(self, key: object, work: Callable[[], Any]) -> Any:
        """Return what a piece of work of this page gives, done once per load of the books.

        Args:
            key: tells this work from others of the page, with the range if it depends on it.
            work: takes nothing and returns something that is never changed.
        """
        return self.results.once((type(self).__name__, key), work)

    @property
    def range(self) -> Range:
        """The days that Fava's time filter leaves."""
        date_range = g.filtered.date_range
        if date_range is None:
            return Range(None, None)
        return Range(date_range.begin, date_range.end - _DAY)

    @property
    def day(self) -> datetime.date:
        """The day of what waits or is due: the end of the range, else this day."""
        return self.range.last or this_day()

    @property
    def address(self) -> str:
        """The address of the page under Fava's filters."""
        return page_address(type(self).__name__)

    @property
    def action(self) -> str:
        """Where a form of the page is sent."""
        return self.address.partition("?")[0]

    @property
    def hidden(self) -> Mapping[str, str]:
        """Fava's filters, which a form has to keep."""
        return filters_set()

    @property
    def hides(self) -> bool:
        """Whether figures must not be seen, which a picture would show, too."""
        return is_incognito()

    @property
    def troubles(self) -> int:
        """How many errors Fava found in the books."""
        return len(self.ledger.load_errors)

    @property
    def errors_address(self) -> str:
        """The address of Fava's list of errors."""
        return url_for("report", report_name="errors")

    @property
    def bottle_address(self) -> str:
        """The address of a bottle's own view, to which its name has to be added."""
        address = page_address("BottlePayback")
        return f"{address}&bottle=" if "?" in address else f"{address}?bottle="

    @property
    def whole(self) -> Books:
        """All of the books."""
        books: Books = self.results.once(
            "books", lambda: read_books(self.ledger.all_entries, self.ledger.options),
        )
        return books

    def books(self) -> Books:
        """Return the books up to the end of the range.

        Fava's own filter replaces earlier lots by a summary without links, so they are read from all entries.
        """
        return self.books_to(self.range.last)

    def books_to(self, last: datetime.date | None) -> Books:
        """Return the books up to a day, None for all of them."""
        entries = self.ledger.all_entries
        if last is None or not entries or last >= entries[-1].date:
            return self.whole
        return until(self.whole, last)

    def figure(self, number: Decimal) -> str:
        """Return a rounded figure with just the digits it has, in the locale of the books.

        Fava itself would round money to the digits most common in the books, which may be none.
        """
        exponent = number.as_tuple().exponent
        digits = max(-exponent, 0) if isinstance(exponent, int) else 0
        return _formatter(self.ledger.fava_options.locale, digits)(number)

    def cell(self, number: Decimal | None, unit: str = "") -> Cell:
        """Return a figure as a cell shows it and as a sortable table sorts it: one that is none, below all."""
        if number is None:
            return Cell("-1000000000", "\N{EN DASH}")
        return Cell(f"{number:f}", f"{self.figure(number)}{unit}")

    def percent(self, ratio: Decimal | None) -> Cell:
        """Return a ratio as a cell shows it, in per cent."""
        return self.cell(None if ratio is None else ratio.scaleb(2), " %")

    def place_in_books(self, place: str) -> str:
        """Return a file and line as they are told from the folder of the books."""
        return place.removeprefix(f"{Path(self.ledger.beancount_file_path).parent}/")

    def journal_of_bottle(self, bottle: str) -> str:
        """Return the address of the journal with everything that moved or named a bottle.

        Like the figures it runs from the beginning to the end of the range, and obeys no other filter.
        """
        name = _exactly(bottle)
        # Fava compares a cost by what Python prints of it, and the label is its last part.
        clauses = (
            f'any(cost:", label={_exactly(repr(bottle))}\\)$")',
            f'any(bottle:"^{name}$")',
            f'bottle:"^{name}$"',
        )
        first, last = self.books().first, self.range.last
        time = None if first is None or last is None else f"{first} - {last}"
        return url_for("report", report_name="journal", filter=", ".join(clauses), time=time, account=None)


def _exactly(text: str) -> str:
    """Return the regular expression of a text for Fava's filter, which ignores case and takes no quotes."""
    return f"(?-i:{re.escape(text)})".replace('"', r"\x22")


@lru_cache
def _formatter(locale: str | None, digits: int) -> Formatter:
    return get_locale_format(Locale.parse(locale) if locale else None, digits)


def line_chart(label: str, points: Sequence[tuple[datetime.date, Mapping[str, Decimal]]]) -> dict[str, Any]:
    """Return the data of Fava's line chart.

    Args:
        label: the name of the chart; unique on a page.
        points: a day and the values of the lines that have one on it.
    """
    data = [{"date": day, "balance": dict(values)} for day, values in points]
    return {"type": "balances", "label": label, "data": data}


def bar_chart(label: str, points: Sequence[tuple[datetime.date, Mapping[str, Decimal]]]) -> dict[str, Any]:
    """Return the data of Fava's bar chart, a bar for each value beside the others of its day.

    Fava means currencies where these are series, and shows no more than five.

    Args:
        label: the name of the chart; unique on a page.
        points: the first day of an interval and its values.
    """
    data = [
        {"date": day, "balance": dict(values), "budgets": {}, "account_balances": {}} for day, values in points
    ]
    return {"type": "bar", "label": label, "data": data}


def journal_of_account(account: str, first: datetime.date, last: datetime.date) -> str:
    """Return the address of an account's own journal, with what its balance comes to, in a range of days."""
    time = f"{first} - {last}"
    return url_for("account", name=account, time=time, account=None, filter=None, conversion=None)


def entry_in_books(entry: Directive) -> str:
    """Return the address of an entry: Fava shows it over the page one is on."""
    # Fava knows what Beancount makes as its own abstract classes, which only a cast can say.
    return f"#context-{hash_entry(cast('Any', entry))}"


def page_address(name: str, endpoint: str = "", **asked: Any) -> str:
    """Return the address of a page of ours, under the filters there are.

    Args:
        name: its class.
        endpoint: of what it offers for download, or empty for the page.
        asked: what is asked of it, a text or several each, and filters to set anew or, with None, to leave out.
    """
    # What Fava calls the endpoint in its rule, Flask calls another thing, so that one is added here.
    page, mark, query = url_for("extension_report", extension_name=name, **asked).partition("?")
    return f"{page}{endpoint}{mark}{query}"


def asked(name: str) -> list[str]:
    """Return the values of a name in the address, without empty ones."""
    return [value for value in request.args.getlist(name) if value]


def filters_set() -> dict[str, str]:
    """Return Fava's filters as they stand in the address, for a form that shall keep them."""
    return {name: request.args[name] for name in _FILTERS if name in request.args}


def is_incognito() -> bool:
    """Whether Fava was told to show no figures."""
    return bool(current_app.config["INCOGNITO"])


def download(content: bytes, name: str, kind: str) -> Response:
    """Return a file for the browser to keep.

    Args:
        content: of the file.
        name: what it is called, in ASCII without quotes.
        kind: its media type.
    """
    return Response(
        content,
        mimetype=kind,
        headers={"Content-Disposition": f'attachment; filename="{name}"', "X-Content-Type-Options": "nosniff"},
    )


def journal_of_link(link: str) -> str:
    """Return the address of the journal with everything that carries a link, written without its caret."""
    return url_for("report", report_name="journal", filter=f"^{link}", time=None, account=None)


def interval_of(day: datetime.date) -> str:
    """Return what the interval that Fava's charts show is called on a day."""
    return str(g.interval.format_date(day))
