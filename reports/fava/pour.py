"""The page "Orders to pour": what waits, by bottle, and whether all is there for it."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from millilot.reports.clock import this_day
from millilot.reports.fava.adapter import Cell, FavaExtensionBase, Page, journal_of_link
from millilot.reports.pour import to_pour
from millilot.reports.pour_words import CAUTION, called, in_words, of_stuck, runs_short

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterator, Sequence

    from millilot.reports.pour import BottlePours, Pour, Supply


class Line(NamedTuple):
    """What an order wants of a bottle, as the table shows it."""

    pour: Pour
    name: str
    vials: str
    days: Cell
    ml: Cell
    loss: Cell


class Figures(NamedTuple):
    """The tables of the page.

    Attributes:
        lines: what waits, by bottle, the oldest order of each first.
        bottles: the bottles it comes from, each with its vials in words.
        supplies: the supplies the vials take, by name.
        remarks: which bottles run short, and which orders are not poured and why.
    """

    lines: Sequence[Line]
    bottles: Sequence[tuple[BottlePours, str]]
    supplies: Sequence[Supply]
    remarks: Sequence[str]


class OrdersToPour(Page, FavaExtensionBase):
    """The page."""

    report_title = "Orders to pour"
    caution = CAUTION

    def prepare(self) -> None:
        """Work out what waits now."""
        self._figures_of(None, this_day())

    def figures(self) -> Figures:
        """Return the tables, with the figures of `millilot pour`."""
        return self._figures_of(self.range.last, self.day)

    def _figures_of(self, last: datetime.date | None, day: datetime.date) -> Figures:
        figures: Figures = self.once((last, day), lambda: self._figures(last, day))
        return figures

    def _figures(self, last: datetime.date | None, day: datetime.date) -> Figures:
        waiting = to_pour(self.books_to(last), day)
        remarks = [runs_short(bottle) for bottle in waiting.bottles]
        remarks += [of_stuck(stuck) for stuck in (*waiting.stuck, *waiting.called_off)]
        return Figures(
            list(self._lines(waiting.bottles)),
            [(bottle, in_words(bottle.vials, bottle.bottle)) for bottle in waiting.bottles],
            waiting.supplies,
            [remark for remark in remarks if remark],
        )

    def _lines(self, bottles: Sequence[BottlePours]) -> Iterator[Line]:
        for bottle in bottles:
            for pour in bottle.pours:
                yield Line(
                    pour,
                    called(pour.order, pour.place),
                    in_words(pour.vials, pour.bottle),
                    self.cell(Decimal(pour.days)),
                    self.cell(pour.ml),
                    self.cell(pour.loss),
                )

    @staticmethod
    def order_address(order: str) -> str:
        """Return the address of the journal of an order."""
        return journal_of_link(order)
