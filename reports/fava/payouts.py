"""The page "Payouts": what came of what buyers paid, has the money arrived, and what is open."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.channels import read_channels
from millilot.ledger.money import minor_unit
from millilot.reports.ageing import AGES, by_age, open_items
from millilot.reports.fava.adapter import (
    FavaExtensionBase,
    Page,
    Range,
    entry_in_books,
    journal_of_account,
    journal_of_link,
    page_address,
)
from millilot.reports.payouts import DAYS, describe, settle, title
from millilot.reports.tie_out import CurrencyError, tie_out, verdict, way
from millilot.reports.waterfall import waterfall
from millilot.reports.year_statement import CAUTION

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence

    from millilot.ledger.channels import Channel
    from millilot.ledger.records import Books
    from millilot.reports.ageing import Open
    from millilot.reports.payouts import Settled
    from millilot.reports.tie_out import TieOut
    from millilot.reports.waterfall import Step, Waterfall

_CAPTIONS = {
    "gross": "Gross: sales and postage charged",
    "tax_collected": "Sales tax collected",
    "tax_remitted": "Sales tax it handed on",
    "refunds": "Refunds",
    "fees": "Fees",
    "ads": "Ads",
    "labels": "Labels",
    "exchange": "Exchange",
    "compensation": "Compensation",
    "other": "Other",
    "opening": "Held by the channel, start",
    "kept": "Held by the channel, end",
    "paid_out": "Paid out",
    "way_open": "On its way to the bank, start",
    "way_close": "On its way to the bank, end",
    "lost": "Lost on the way",
    "bank": "Reached the bank",
}

#: Bars are drawn in thousandths of the width.
_WIDTH = Decimal(1000)
#: A bar of an amount is never thinner than this, so that it is seen.
_THINNEST = Decimal(3)


#: No more of what is open is listed than somebody reads; the sums by age hold all of it.
MOST_OPEN = 300


class Bar(NamedTuple):
    """A step of the picture: where its bar begins and how wide it is, of 1000, and what it means."""

    step: Step
    caption: str
    x: Decimal
    width: Decimal
    style: str


class OfChannel(NamedTuple):
    """A channel's way from gross to bank.

    Attributes:
        waterfall: its figures.
        bars: its picture.
        zero: where nought is, of 1000.
        address: of the journal of the channel's account.
    """

    waterfall: Waterfall
    bars: Sequence[Bar]
    zero: Decimal
    address: str


class Ages(NamedTuple):
    """How old what is open is, by channel; the sums last."""

    channel: str
    sums: Sequence[Decimal]

    @property
    def total(self) -> Decimal:
        """What is open of all ages."""
        return sum(self.sums, ZERO)


class Compared(NamedTuple):
    """A channel's form beside the books, or why they cannot be compared."""

    channel: str
    year: int
    tie_out: TieOut | None
    verdict: str
    words: str


class Figures(NamedTuple):
    """What the page says.

    Attributes:
        payouts: those of the range by day, and before them earlier ones that are still open.
        open: what is open, the oldest first; no more than MOST_OPEN.
        left_out: how much more is open.
        ages: the same by channel and age.
        strays: deposits of no known payout, each with its channel and amount.
        forms: the channels' forms.
        last: the day to which ages are counted.
    """

    payouts: Sequence[Settled]
    open: Sequence[Open]
    left_out: int
    ages: Sequence[Ages]
    strays: Sequence[tuple[str, datetime.date, Decimal]]
    forms: Sequence[Compared]
    last: datetime.date | None


class Payouts(Page, FavaExtensionBase):
    """The page."""

    report_title = "Payouts"
    caution = CAUTION
    days_to_bank = DAYS

    def prepare(self) -> None:
        """Work out what is shown of all the books."""
        self._waterfalls(Range(None, None))
        self._figures_of(Range(None, None))

    @property
    def days(self) -> tuple[datetime.date, datetime.date] | None:
        """The first and last day of the page: of the time filter, else of the books. None in empty books."""
        return self._days_of(self.range)

    def channels(self) -> list[OfChannel]:
        """Return each channel from gross to bank, with the figures of `millilot channel`."""
        if self.days is None:
            return []
        return [
            OfChannel(steps, *_bars(steps.steps), journal_of_account(steps.statement.channel.account, *self.days))
            for steps in self._waterfalls(self.range)
        ]

    def figures(self) -> Figures:
        """Return the payouts, with the figures of `millilot payouts`."""
        return self._figures_of(self.range)

    def total(self) -> tuple[Decimal, Decimal]:
        """Return what the listed payouts paid, and by how much they differ from what they should have."""
        payouts = [each.payout for each in self.figures().payouts]
        return sum((each.amount for each in payouts), ZERO), sum((each.difference for each in payouts), ZERO)

    @staticmethod
    def ages() -> list[str]:
        """Return the headings of the ages."""
        firsts = [0, *(most + 1 for most in AGES if most is not None)]
        return [
            f"{first} to {most}" if most is not None else f"over {first - 1}"
            for first, most in zip(firsts, AGES, strict=True)
        ]

    @staticmethod
    def name_of(settled: Settled) -> str:
        """Return what a payout is called."""
        return title(settled)

    @staticmethod
    def words_of(item: Open) -> str:
        """Return what is open in words."""
        if item.payout is not None:
            return f"payout {title(item.payout)}"
        return "" if item.event is None else f"not paid out: {describe(item.event)}"

    @staticmethod
    def entry_address(item: Open) -> str:
        """Return the address of the entry of what is open."""
        if item.payout is not None:
            return entry_in_books(item.payout.sending.transfers[0].record.entry)
        return "" if item.event is None else entry_in_books(item.event.record.entry)

    @staticmethod
    def payout_address(settled: Settled) -> str:
        """Return where a payout is in the books: all that carries its link, else its entry."""
        if settled.payout.payout is not None:
            return journal_of_link(settled.payout.payout)
        return entry_in_books(settled.sending.transfers[0].record.entry)

    def year_address(self, year: int) -> str:
        """Return the address of the page for a calendar year."""
        return page_address("Payouts", time=f"{year:04}")

    def _days_of(self, range_: Range) -> tuple[datetime.date, datetime.date] | None:
        books = self.books_to(range_.last)
        first, last = range_.first or books.first, range_.last or books.last
        return None if first is None or last is None else (first, last)

    def _waterfalls(self, range_: Range) -> list[Waterfall]:
        books, days = self.books_to(range_.last), self._days_of(range_)
        if days is None:
            return []
        steps: list[Waterfall] = self.once(
            ("channels", days), lambda: [waterfall(books, account, *days) for account in read_channels(books)],
        )
        return steps

    def _figures_of(self, range_: Range) -> Figures:
        books, days = self.books_to(range_.last), self._days_of(range_)
        if days is None:
            return Figures((), (), 0, (), (), (), None)
        figures: Figures = self.once(("figures", days), lambda: _figures(books, *days))
        return figures


def _figures(books: Books, start: datetime.date, end: datetime.date) -> Figures:
    settlements = settle(books)
    last, unit = books.last or end, minor_unit(books.currency)
    listed = [
        each
        for settlement in settlements
        for each in settlement.payouts
        if each.payout.date >= start or each.unexplained
    ]
    open_ = open_items(settlements, last)
    names = list(dict.fromkeys(item.channel for item in open_))
    ages = [Ages(name, by_age((item for item in open_ if item.channel == name), unit)) for name in names]
    if len(names) > 1:
        ages.append(Ages("Total", by_age(open_, unit)))
    strays = [
        (settlement.channel.name, deposit.date, -deposit.transit)
        for settlement in settlements
        for deposit in settlement.strays
    ]
    forms = [
        _compared(books, settlement.channel, year)
        for settlement in settlements
        for year in range(start.year, end.year + 1)
        if any(event.date.year == year for event in settlement.channel.events)
    ]
    listed.sort(key=lambda each: (each.payout.date, each.payout.channel))
    left_out = max(len(open_) - MOST_OPEN, 0)
    return Figures(listed, open_[:MOST_OPEN], left_out, ages, strays, forms, last)


def _compared(books: Books, channel: Channel, year: int) -> Compared:
    try:
        report = tie_out(books, channel.account, year)
    except CurrencyError as error:
        return Compared(channel.name, year, None, "open", str(error))
    return Compared(channel.name, year, report, verdict(report), way(report.chosen))


def _bars(steps: Sequence[Step]) -> tuple[list[Bar], Decimal]:
    """Return the bars of steps, and where nought is, all in thousandths of the width."""
    levels = [level for step in steps for level in (step.start, step.end)]
    least, most = min(ZERO, *levels), max(ZERO, *levels)
    scale = _WIDTH / (most - least) if most > least else ZERO

    def place(level: Decimal) -> Decimal:
        return ((level - least) * scale).quantize(Decimal("0.1"))

    bars = []
    for step in steps:
        left, right = sorted((place(step.start), place(step.end)))
        width = max(right - left, _THINNEST) if step.amount else ZERO
        style = "total" if step.is_total else "gain" if step.amount > 0 else "loss"
        bars.append(Bar(step, _CAPTIONS[step.line], min(left, _WIDTH - width), width, style))
    return bars, place(ZERO)
