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


#: As many as Fava has colours for.
MOST_LINES = 10


class Figures(NamedTuple):
    """The table of the page.

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


class Lines(NamedTuple):
    """The chart of the page.

    Attributes:
        charts: the data of the chart; empty when no bottle cost anything.
        only: how many bottles have a line, the ones bought last; None when all have one.
    """

    charts: list[dict[str, Any]]
    only: int | None


class BottlePayback(Page, FavaExtensionBase):
    """The page."""

    report_title = "Bottle payback"

    def figures(self) -> Figures:
        """Return the table, with the figures of `millilot bottles`."""
        figures: Figures = self.once(("figures", self.range.last), self._figures)
        return figures

    def lines(self) -> Lines:
        """Return payback over time, in per cent of cost; it alone begins with the range."""
        lines: Lines = self.once(("lines", self.range), self._lines)
        return lines

    def _figures(self) -> Figures:
        currency = self.books().currency
        frame = report.rounded(self.exact(), currency)
        *rows, unallocated = report.rows_of(frame)
        return Figures(rows, unallocated, report.totals(frame), currency)

    def _lines(self) -> Lines:
        bought = [row for row in report.rows_of(self.exact()) if row["payback"] is not None]
        costs = {row["bottle"]: row["cost"] for row in bought[-MOST_LINES:]}
        frame = payback_over_time(self.books(), costs, *self.range, allocated=self.shares())
        changes = frame.itertuples(index=False, name=None)
        points: list[tuple[datetime.date, dict[str, Decimal]]] = [
            (day, {bottle: payback.scaleb(2) for _, bottle, payback in of_day})
            for day, of_day in groupby(changes, key=lambda change: change[0])
        ]
        charts = [line_chart("Payback in % of cost", points)] if points else []
        return Lines(charts, len(costs) if len(costs) < len(bought) else None)
