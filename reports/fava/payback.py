"""The page "Bottle payback": has each bottle paid for itself, and how did it get there?"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any, NamedTuple

from millilot.reports import bottles as report
from millilot.reports.fava.adapter import FavaExtensionBase, Page, line_chart
from millilot.reports.payback import payback_over_time

if TYPE_CHECKING:
    import datetime
    from decimal import Decimal

    from millilot.reports.bottles import Row


class Figures(NamedTuple):
    """What the page shows.

    Attributes:
        rows: the bottles.
        unallocated: what no bottle could be found for.
        total: the sums.
        currency: the operating currency.
    """

    rows: list[Row]
    unallocated: Row
    total: Row
    currency: str


class BottlePayback(Page, FavaExtensionBase):
    """The page."""

    report_title = "Bottle payback"

    def figures(self) -> Figures:
        """Return the table, with the figures of `millilot bottles`."""
        figures: Figures = self.once(("figures", self.range.last), self._figures)
        return figures

    def _figures(self) -> Figures:
        books = self.books()
        frame = report.rounded(report.bottles(books), books.currency)
        *rows, unallocated = report.rows_of(frame)
        return Figures(rows, unallocated, report.totals(frame), books.currency)

    def charts(self) -> list[dict[str, Any]]:
        """Return the chart of payback over time, in per cent of cost; it alone begins with the range."""
        charts: list[dict[str, Any]] = self.once(("charts", self.range), self._charts)
        return charts

    def _charts(self) -> list[dict[str, Any]]:
        books = self.books()
        costs = {row["bottle"]: row["cost"] for row in report.rows_of(report.bottles(books))}
        frame = payback_over_time(books, costs, self.range.first)
        changes = frame.itertuples(index=False, name=None)
        points: list[tuple[datetime.date, dict[str, Decimal]]] = [
            (day, {bottle: payback * 100 for _, bottle, payback in of_day})
            for day, of_day in groupby(changes, key=lambda change: change[0])
        ]
        return [line_chart("Payback in % of cost", points)] if points else []
