"""All that the pages need of Fava, in one place.

Fava calls its extension surface and its components unstable. Whatever of it is not public is imported here and
nowhere else, and `tests/fava/test_surface.py` pins it, so that a new Fava breaks in one clear place.
"""

from __future__ import annotations

import datetime
import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

from babel.core import Locale
from fava.beans.funcs import hash_entry
from fava.context import g
from fava.core.number import get_locale_format
from fava.ext import FavaExtensionBase, extension_endpoint
from fava.helpers import FavaAPIError
from flask import Response, current_app, request, url_for

from millilot.ledger.reading import read_books

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
        try:
            return results[key]
        except KeyError:
            result = work()
        if len(results) >= _MOST_RESULTS:
            results.clear()
        # Two threads that did the same work return the result of the first. If the books were loaded again
        # meanwhile, it goes where nobody looks any more.
        return results.setdefault(key, result)

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

    def figure(self, number: Decimal) -> str:
        """Return a rounded figure with just the digits it has, in the locale of the books.

        Fava itself would round money to the digits most common in the books, which may be none.
        """
        exponent = number.as_tuple().exponent
        digits = max(-exponent, 0) if isinstance(exponent, int) else 0
        return _formatter(self.ledger.fava_options.locale, digits)(number)

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
    return f"#context-{hash_entry(entry)}"


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
