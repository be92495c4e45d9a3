"""The page "Today": what is to be done, each line leading to where it is settled."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from millilot.ledger.accounts import Role
from millilot.reports.clock import this_day
from millilot.reports.fava.adapter import FavaExtensionBase, Page, journal_of_account, page_address
from millilot.reports.today import today as report

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence

    from millilot.reports.today import Task

#: The pages that settle a kind of task; the others are settled in the journal of an account.
_PAGES = {
    "to-pour": "OrdersToPour",
    "late": "OrdersToPour",
    "short": "OrdersToPour",
    "payouts": "Payouts",
    "supplies": "StockOnHand",
    "claims": "StockOnHand",
}
#: So many names are shown of each kind.
_NAMED = 30


class Line(NamedTuple):
    """A task, how many it is as the table takes figures, where it is settled, and what it is about.

    Attributes:
        task: what is to be done.
        number: how many there are.
        address: where it leads.
        names: the first of its names; none where the line above has them.
        more: how many names are left out.
    """

    task: Task
    number: Decimal
    address: str
    names: Sequence[str]
    more: int


class Today(Page, FavaExtensionBase):
    """The page."""

    report_title = "Today"

    def prepare(self) -> None:
        """Work out what is to be done this day."""
        self._tasks(this_day())

    def lines(self) -> Sequence[Line]:
        """Return what is to be done, with the figures of `millilot today`."""
        return [
            Line(
                task,
                Decimal(task.count),
                self._address(task),
                () if task.key == "late" else task.names[:_NAMED],
                max(len(task.names) - _NAMED, 0),
            )
            for task in self._tasks(self.day)
        ]

    def _tasks(self, day: datetime.date) -> Sequence[Task]:
        tasks: Sequence[Task] = self.once(day, lambda: report(self.books_to(day), day))
        return tasks

    def _address(self, task: Task) -> str:
        if task.key in _PAGES:
            return page_address(_PAGES[task.key])
        role = Role.SALES_TAX if task.key == "sales-tax" else Role.UNSORTED
        books, day = self.books_to(self.day), self.day
        return journal_of_account(books.settings.roles.on(day).account(role), books.first or day, day)
