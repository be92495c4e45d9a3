"""The page "Stock": what is left, what of it is free, what runs out, and what is to be counted."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.directives import EACH
from millilot.reports.count import count_sheet
from millilot.reports.fava.adapter import (
    Cell,
    FavaAPIError,
    FavaExtensionBase,
    Page,
    asked,
    journal_of_link,
    page_address,
)
from millilot.reports.fava.bars import Bar, stock_bar
from millilot.reports.splits import SPLIT, State, rounded, splits
from millilot.reports.stock import SLOW_AFTER, Stock, stock

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Sequence

    from millilot.reports.count import Line as CountLine
    from millilot.reports.splits import Split

#: What the page can show instead of everything.
COUNT = "count"


class Line(NamedTuple):
    """A bottle as the table shows it: its figures, a text to search in, its bar, and its cells."""

    stock: Stock
    text: str
    bar: Bar
    left: Cell
    reserved: Cell
    free: Cell
    measured: Cell
    days: Cell
    value: Cell


class Figures(NamedTuple):
    """The tables of the page.

    Attributes:
        lines: the bottles, oldest first.
        supplies: the supplies by name.
        claims: splits, and claims outside any, that are not poured.
        slow: the bottles that are slow movers, those longest without a pour first.
        worth: the value of all fragrance left.
        worth_of_supplies: the value of all supplies left.
        worth_of_slow: the value of what is left of slow movers.
        sheet: the count sheet.
        currency: the operating currency.
    """

    lines: Sequence[Line]
    supplies: Sequence[Stock]
    claims: Sequence[Split]
    slow: Sequence[Line]
    worth: Decimal
    worth_of_supplies: Decimal
    worth_of_slow: Decimal
    sheet: Sequence[CountLine]
    currency: str


class StockOnHand(Page, FavaExtensionBase):
    """The page."""

    report_title = "Stock"

    def prepare(self) -> None:
        """Work out the tables of all the books."""
        self._figures_of(None)

    @property
    def slow_after(self) -> int:
        """After so many days without a pour, a bottle is a slow mover."""
        return SLOW_AFTER

    @property
    def counts(self) -> bool:
        """Whether the count sheet is asked for, alone.

        Raises:
            FavaAPIError: something else is asked for.
        """
        view = next(iter(asked("view")), None)
        if view not in {None, COUNT}:
            raise FavaAPIError(f"There is no view {view!r} of the stock; expected {COUNT}, or none.")
        return view == COUNT

    @property
    def search(self) -> str:
        """The words that are searched for."""
        return " ".join(asked("search"))

    @property
    def all(self) -> bool:
        """Whether empty bottles are wanted, too."""
        return bool(asked("all"))

    @property
    def count_address(self) -> str:
        """The address of the count sheet alone."""
        return page_address("StockOnHand", view=COUNT)

    def split_address(self, split: str) -> str:
        """Return the address of the journal of a split."""
        return journal_of_link(split)

    def split_name(self, split: str) -> str:
        """Return what a split is called."""
        return split.removeprefix(SPLIT)

    def figures(self) -> Figures:
        """Return the tables, with the figures of `millilot stock`, `splits` and `count`."""
        return self._figures_of(self.range.last)

    def shown(self) -> Sequence[Line]:
        """Return the bottles that the form asks for."""
        words = self.search.casefold().split()
        return [
            line
            for line in self.figures().lines
            if (self.all or line.stock.ml_left or line.stock.reserved) and all(word in line.text for word in words)
        ]

    def _figures_of(self, last: datetime.date | None) -> Figures:
        figures: Figures = self.once(("figures", last), lambda: self._figures(last))
        return figures

    def _figures(self, last: datetime.date | None) -> Figures:
        books = self.books_to(last)
        found = stock(books, last)
        lines = [self._line(each) for each in found if each.unit != EACH]
        supplies = [each for each in found if each.unit == EACH]
        slow = [line for line in lines if line.stock.slow]
        slow.sort(key=lambda line: line.stock.days_since or 0, reverse=True)
        claims = [
            split
            for split in rounded(splits(books), books.currency)
            if split.state in {State.OPEN, State.FILLED} or (split.state is None and split.money_held)
        ]
        return Figures(
            lines,
            supplies,
            claims,
            slow,
            _worth(line.stock for line in lines),
            _worth(supplies),
            _worth(line.stock for line in slow),
            count_sheet(books, last),
            books.currency,
        )

    def _line(self, stock: Stock) -> Line:
        return Line(
            stock,
            f"{stock.bottle} {stock.fragrance}".casefold(),
            stock_bar(stock, self.figure),
            self.cell(stock.ml_left),
            self.cell(stock.reserved),
            self.cell(stock.free),
            self.cell(stock.measured_ml),
            self.cell(None if stock.days_since is None else Decimal(stock.days_since)),
            self.cell(stock.stock_value),
        )


def _worth(lines: Iterable[Stock]) -> Decimal:
    return sum((line.stock_value for line in lines), ZERO)
