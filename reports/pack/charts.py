"""The charts of the page as shapes; the template draws them as SVG, and nothing has to be fetched or run."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.reports.year import year

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from millilot.reports.pack.span import Span
    from millilot.reports.pack.table import Table

WIDTH = 680
_ROW, _BAR = 22, 14
#: Where bars begin and end, beside the names on the left and the figures on the right.
_LEFT, _RIGHT = Decimal(190), Decimal(590)
_LONGEST_NAME = 28
#: No more bars than a page has room for.
_MOST_BARS = 24
_MOST_MONTHS = 24

_TENTH = Decimal("0.1")


class Box(NamedTuple):
    """A bar: its corner, its size and its class of colour."""

    x: Decimal
    y: Decimal
    width: Decimal
    height: Decimal
    style: str


class Words(NamedTuple):
    """A text: where it stands, on which side of that, and its class."""

    x: Decimal
    y: Decimal
    text: str
    anchor: str = "start"
    style: str = ""


class Rule(NamedTuple):
    """A straight line."""

    x1: Decimal
    y1: Decimal
    x2: Decimal
    y2: Decimal


@dataclass(frozen=True)
class Chart:
    """A drawing of so many units in height, and what it says to who cannot see it."""

    title: str
    note: str
    height: int
    boxes: tuple[Box, ...]
    words: tuple[Words, ...]
    rules: tuple[Rule, ...]


class _Scale:
    """From figures to places along the chart."""

    def __init__(self, figures: Sequence[Decimal]) -> None:
        self.least = min(ZERO, *figures)
        self.most = max(ZERO, *figures)

    def __call__(self, figure: Decimal) -> Decimal:
        span = self.most - self.least
        part = (figure - self.least) / span if span else ZERO
        return (_LEFT + part * (_RIGHT - _LEFT)).quantize(_TENTH)


def _bar(scale: _Scale, start: Decimal, end: Decimal, y: Decimal, style: str, *, height: int = _BAR) -> Box:
    left, right = sorted((scale(start), scale(end)))
    return Box(left, y, right - left, Decimal(height), style)


def waterfall(statement: Table, column: str) -> Chart:
    """Return the way from gross receipts to business profit, one bar a step.

    Args:
        statement: the summary.
        column: which of its columns.
    """
    amounts = {row.key: row.figure(column) for row in statement.rows if row.key}
    steps = [("Gross receipts", ZERO, amounts["gross_receipts"], "total")]
    level = amounts["gross_receipts"]
    for name, caption, sign in _STEPS:
        if amounts[name]:
            steps.append((caption, level, level + sign * amounts[name], "gain" if sign > 0 else "loss"))
            level += sign * amounts[name]
    steps.append(("Business profit", ZERO, amounts["business_profit"], "total"))
    scale = _Scale([figure for _, start, end, _ in steps for figure in (start, end)])
    boxes, words = [], []
    for place, (caption, start, end, style) in enumerate(steps):
        y = Decimal(place * _ROW + 4)
        boxes.append(_bar(scale, start, end, y, style if (end >= start) == (style != "loss") else "gain"))
        words.append(Words(_LEFT - 8, y + 11, caption, "end"))
        words.append(Words(max(scale(start), scale(end)) + 5, y + 11, f"{end - start:,f}"))
    height = len(steps) * _ROW + 6
    return Chart(
        "From gross receipts to business profit",
        "What each line took off or added.",
        height, tuple(boxes), tuple(words), (_upright(scale(ZERO), height),),
    )


#: What stands between gross receipts and profit, and whether it adds or takes away.
_STEPS = (
    ("refunds", "Refunds", -1),
    ("cost_of_goods_sold", "Cost of goods sold", -1),
    ("other_income", "Other income", 1),
    ("fees", "Fees", -1),
    ("postage", "Postage", -1),
    ("packing", "Packing", -1),
    ("ads", "Ads", -1),
    ("exchange", "Exchange", -1),
    ("samples", "Samples", -1),
    ("losses", "Losses", -1),
    ("other_expenses", "Other expenses", -1),
)


def by_month(span: Span) -> Chart | None:
    """Return net receipts and business profit of each month, None when there are none or too many."""
    first, last = span.closing.first or span.start, span.closing.last or span.end
    months = list(_months(max(span.start, first.replace(day=1)), min(span.end, last)))
    if not 0 < len(months) <= _MOST_MONTHS:
        return None
    figures = [
        (start, of_month.net_receipts, of_month.business_profit)
        for start, end in months
        for of_month in (year(span.closing, start, end).rounded(span.currency),)
    ]
    scale = _Scale([figure for _, *pair in figures for figure in pair])
    boxes, words = [], []
    for place, (start, receipts, profit) in enumerate(figures):
        y = Decimal(place * (_ROW + 4) + 4)
        boxes += [
            _bar(scale, ZERO, receipts, y, "total", height=10),
            _bar(scale, ZERO, profit, y + 10, "gain", height=6),
        ]
        words.append(Words(_LEFT - 8, y + 11, f"{start:%Y-%m}", "end"))
        words.append(Words(max(scale(receipts), scale(profit)) + 5, y + 11, f"{receipts:,f} / {profit:,f}"))
    height = len(figures) * (_ROW + 4) + 6
    return Chart(
        "Net receipts and business profit by month",
        "The broad bar is net receipts, the narrow one business profit.",
        height, tuple(boxes), tuple(words), (_upright(scale(ZERO), height),),
    )


def _months(start: datetime.date, end: datetime.date) -> Iterator[tuple[datetime.date, datetime.date]]:
    """Yield the first and last day of each month or part of one."""
    day = datetime.timedelta(days=1)
    while start <= end:
        last = (start.replace(day=28) + 4 * day).replace(day=1) - day
        yield start, min(last, end)
        start = last + day


def payback(results: Table) -> Chart | None:
    """Return the payback of the bottles that cost most, None when none cost anything.

    Args:
        results: the bottle results.
    """
    rows = [row for row in results.rows if row.cells.get("payback") is not None]
    if not rows:
        return None
    dearest = sorted(rows, key=lambda row: (-row.figure("cost"), str(row.cells["bottle"])))[:_MOST_BARS]
    rows = [row for row in rows if row in dearest]
    scale = _Scale([Decimal(1), *(row.figure("payback") for row in rows)])
    boxes, words = [], []
    for place, row in enumerate(rows):
        y = Decimal(place * _ROW + 4)
        part = row.figure("payback")
        name = f"{row.cells['bottle']} {row.cells['fragrance']}"
        boxes.append(_bar(scale, ZERO, part, y, "total" if part >= 1 else "gain" if part >= 0 else "loss"))
        words.append(Words(_LEFT - 8, y + 11, _short(name), "end"))
        words.append(Words(max(scale(part), scale(ZERO)) + 5, y + 11, f"{part * 100:.2f} %"))
    height = len(rows) * _ROW + 6
    return Chart(
        "Payback of each bottle",
        "Net earned so far as part of what the bottle cost; the line on the right is 100 %."
        + (f" The {_MOST_BARS} that cost most." if len(dearest) == _MOST_BARS else ""),
        height, tuple(boxes), tuple(words), (_upright(scale(ZERO), height), _upright(scale(Decimal(1)), height)),
    )


def _upright(x: Decimal, height: int) -> Rule:
    return Rule(x, ZERO, x, Decimal(height))


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else name[: _LONGEST_NAME - 1] + "…"
