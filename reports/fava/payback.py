"""The page "Bottle payback": has each bottle paid for itself, and how did it get there?"""

from __future__ import annotations

from decimal import Decimal
from itertools import groupby
from typing import TYPE_CHECKING, Any, NamedTuple

from millilot.reports import bottles as report
from millilot.reports.collection import collection
from millilot.reports.fava.adapter import (
    Cell,
    FavaAPIError,
    FavaExtensionBase,
    Page,
    Range,
    asked,
    journal_of_link,
    line_chart,
)
from millilot.reports.fava.bars import Bar, cost_bar, ml_bar
from millilot.reports.measured import measurements
from millilot.reports.payback import payback_over_time
from millilot.reports.recovery import to_go
from millilot.reports.stock import stock
from millilot.reports.trace import trace_bottle

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping, Sequence

    from millilot.ledger.records import Bottle
    from millilot.reports.bottles import Row
    from millilot.reports.collection import Collection
    from millilot.reports.measured import Measured
    from millilot.reports.recovery import ToGo
    from millilot.reports.trace import Step


_HUNDREDTH = Decimal("0.01")

#: As many as Fava has colours for.
MOST_LINES = 10

#: What the table can be sorted by; texts from the first, figures from the largest.
SORTS: Mapping[str, str] = {
    "bought": "day of purchase",
    "bottle": "bottle",
    "fragrance": "fragrance",
    "ml_left": "mL left",
    "cost": "cost",
    "net": "net",
    "payback": "payback",
    "paid_back_on": "day paid back",
    "to_recover": "to recover",
    "profit": "profit",
}
_FROM_THE_LARGEST = frozenset({"ml_left", "cost", "net", "payback", "to_recover", "profit"})


class Line(NamedTuple):
    """A bottle as the table shows it.

    Attributes:
        row: its figures.
        fragrance: in lower case, with the name, to search in.
        ml: where its mL went.
        recovered: how far it has paid for itself; None if it cost nothing.
        left: the cell with mL left; so are the others cells by their column.
        recovery: how many decants it takes until it has; so the cell to_go.
    """

    row: Row
    text: str
    ml: Bar
    recovered: Bar | None
    left: Cell
    cost_per_ml: Cell
    cost: Cell
    net: Cell
    payback: Cell
    to_recover: Cell
    recovery: ToGo
    to_go: Cell
    profit: Cell
    stock_value: Cell


class Figures(NamedTuple):
    """The table of the page.

    Attributes:
        lines: the bottles.
        unallocated: what no bottle could be found for.
        total: the sums.
        collection: the whole collection.
        currency: the operating currency.
    """

    lines: Sequence[Line]
    unallocated: Row
    total: Row
    collection: Collection
    currency: str


class Month(NamedTuple):
    """A month, and how far each bottle of the chart had paid for itself at its end."""

    name: str
    cells: Sequence[Cell]


class Chart(NamedTuple):
    """The chart of the page.

    Attributes:
        charts: the data of the chart; empty when no bottle cost anything.
        months: the same in figures, for who cannot tell its colours.
        bottles: the bottles with a line.
        of: how many bottles could have one.
        left_out: bottles that were asked for and have none, as there are too many or they cost nothing.
    """

    charts: list[dict[str, Any]]
    months: Sequence[Month]
    bottles: Sequence[str]
    of: int
    left_out: Sequence[str]


class Own(NamedTuple):
    """What the page shows of one bottle.

    Attributes:
        bottle: the bottle.
        line: its line of the table.
        cost: how its cost came about, line by line, with the sum last.
        draws: everything that came in and left, each with what was left then.
        measured: what was last measured, or None.
        surplus: net less cost, which is profit less the value of what is left and was kept.
    """

    bottle: Bottle
    line: Line
    cost: Sequence[Step]
    draws: Sequence[Step]
    measured: Measured | None
    surplus: Decimal


class Asked(NamedTuple):
    """What the form of the page asks for."""

    search: str
    hide: bool
    sort: str
    back: bool


class BottlePayback(Page, FavaExtensionBase):
    """The page."""

    report_title = "Bottle payback"

    def prepare(self) -> None:
        """Work out the table and the chart of all the books."""
        self._figures_of(None)
        self._chart_of(Range(None, None), ())

    # What the address asks for.

    @property
    def asked(self) -> Asked:
        """What the form asks for.

        Raises:
            FavaAPIError: the table cannot be sorted so.
        """
        sort = next(iter(asked("sort")), "bought")
        if sort not in SORTS:
            raise FavaAPIError(f"The bottles cannot be sorted by {sort!r}; expected one of {', '.join(SORTS)}.")
        search = " ".join(asked("search"))
        return Asked(search, bool(asked("hide")), sort, bool(asked("back")))

    @property
    def sorts(self) -> Mapping[str, str]:
        """What the table can be sorted by."""
        return SORTS

    @property
    def marked(self) -> Sequence[str]:
        """The bottles that are chosen for the chart."""
        return tuple(dict.fromkeys(asked("chart")))

    def order_address(self, link: str) -> str:
        """Return the address of the journal of an order."""
        return journal_of_link(link)

    # The table.

    def figures(self) -> Figures:
        """Return the table, with the figures of `millilot bottles`."""
        return self._figures_of(self.range.last)

    def shown(self) -> Sequence[Line]:
        """Return the bottles the form asks for, in the order it asks for."""
        search, hide, sort, back = self.asked
        words = search.casefold().split()
        lines = [
            line
            for line in self.figures().lines
            if all(word in line.text for word in words) and not (hide and not line.row["ml_left"])
        ]
        known = [line for line in lines if line.row[sort] is not None]
        # What has no figure stands behind, whatever the order.
        rest = [line for line in lines if line.row[sort] is None]
        if sort != "bought":
            known.sort(key=lambda line: _sort_key(line.row[sort]), reverse=sort in _FROM_THE_LARGEST)
        return [*(reversed(known) if back else known), *rest]

    def _figures_of(self, last: datetime.date | None) -> Figures:
        figures: Figures = self.once(("figures", last), lambda: self._figures(last))
        return figures

    def _figures(self, last: datetime.date | None) -> Figures:
        books = self.books_to(last)
        frame = report.rounded_bottles(books)
        *rows, unallocated = report.rows_of(frame)
        of_all = to_go(books, report.rows_of(report.bottles(books)), stock(books, last))
        return Figures(
            [self._line(row, of_all[row["bottle"]]) for row in rows],
            unallocated,
            report.totals(frame),
            collection(books).rounded(books.currency),
            books.currency,
        )

    def _line(self, row: Row, to_go: ToGo) -> Line:
        payback = self.percent(row["payback"])
        return Line(
            row=row,
            text=f"{row['bottle']} {row['fragrance']}".casefold(),
            ml=ml_bar(row, self.figure),
            recovered=cost_bar(row, payback.text),
            left=self.cell(row["ml_left"]),
            cost_per_ml=self.cell(row["cost_per_ml"]),
            cost=self.cell(row["cost"]),
            net=self.cell(row["net"]),
            payback=payback,
            to_recover=self.cell(row["to_recover"]),
            recovery=to_go,
            to_go=self._to_go(to_go),
            profit=self.cell(row["profit"]),
            stock_value=self.cell(row["stock_value"]),
        )

    def _to_go(self, to_go: ToGo) -> Cell:
        if not to_go.decants or to_go.size is None:
            return self.cell(None)
        short = "" if to_go.is_enough else " *"
        return Cell(str(to_go.decants), f"{to_go.decants} of {self.figure(to_go.size)} mL{short}")

    # The chart.

    def chart(self) -> Chart:
        """Return payback over time, in per cent of cost; it alone begins with the range.

        Raises:
            FavaAPIError: a line is asked for of what is no bottle.
        """
        chosen = tuple(self.marked)
        for name in chosen:
            self._known(name)
        return self._chart_of(self.range, chosen)

    def _chart_of(self, range_: Range, chosen: tuple[str, ...]) -> Chart:
        chart: Chart = self.once(("chart", range_, chosen), lambda: self._chart(range_, chosen))
        return chart

    def _chart(self, range_: Range, chosen: Sequence[str]) -> Chart:
        books = self.books_to(range_.last)
        exact = report.rows_of(report.bottles(books))
        costs = {row["bottle"]: row["cost"] for row in exact if row["payback"] is not None}
        names = [name for name in chosen if name in costs][:MOST_LINES] if chosen else list(costs)[-MOST_LINES:]
        frame = payback_over_time(books, {name: costs[name] for name in names}, *range_)
        changes = frame.itertuples(index=False, name=None)
        points: list[tuple[datetime.date, dict[str, Decimal]]] = [
            (day, {bottle: payback.scaleb(2) for _, bottle, payback in of_day})
            for day, of_day in groupby(changes, key=lambda change: change[0])
        ]
        charts = [line_chart("Payback in % of cost", points)] if points else []
        left_out = [name for name in chosen if name not in names]
        return Chart(charts, self._months(points, names), names, len(costs), left_out)

    def _months(
        self, points: Sequence[tuple[datetime.date, Mapping[str, Decimal]]], names: Sequence[str],
    ) -> list[Month]:
        """Return what the points have come to at the end of each month, from the first one's to the last one's."""
        changes: dict[tuple[int, int], dict[str, Decimal]] = {}
        for day, values in points:
            changes.setdefault((day.year, day.month), {}).update(values)
        now: dict[str, Decimal] = {}
        months = []
        year, month = min(changes, default=(1, 1))
        while changes and (year, month) <= max(changes):
            now |= changes.get((year, month), {})
            # Nought has no digits of its own.
            shown = [now[name].quantize(_HUNDREDTH) if name in now else None for name in names]
            months.append(Month(f"{year:04}-{month:02}", [self.cell(each, " %") for each in shown]))
            year, month = year + month // 12, month % 12 + 1
        return months

    # A bottle's own view.

    def own(self) -> Own | None:
        """Return what is known of the bottle that is asked for; None when none is.

        Raises:
            FavaAPIError: there is no such bottle, or not yet at the end of the range.
        """
        name = next(iter(asked("bottle")), None)
        if name is None:
            return None
        bottle = self._known(name)
        own: Own = self.once(("own", self.range.last, name), lambda: self._own(bottle))
        return own

    def _own(self, bottle: Bottle) -> Own:
        books = self.books()
        [line] = (line for line in self.figures().lines if line.row["bottle"] == bottle.name)
        steps = trace_bottle(books, bottle)
        measured = measurements(books, self.range.last)[bottle.name]
        return Own(
            bottle=bottle,
            line=line,
            cost=[step for step in steps if step.part == "cost"],
            draws=[step for step in steps if step.part == "movements"],
            measured=measured[-1] if measured else None,
            surplus=line.row["net"] - line.row["cost"],
        )

    def _known(self, name: str) -> Bottle:
        bottle = self.books().fragrances.get(name)
        if bottle is not None:
            return bottle
        later = self.whole.fragrances.get(name)
        if later is not None:
            raise FavaAPIError(
                f"The bottle {name!r} came in on {later.bought}, after the end of the range on {self.range.last}.",
            )
        raise FavaAPIError(f"There is no bottle {name!r} in the books.")


def _sort_key(value: Any) -> Any:
    return value.casefold() if isinstance(value, str) else value
