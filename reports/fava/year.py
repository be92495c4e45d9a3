"""The page "Tax year": a year's totals, each with what it is made of, on forms, and as a pack to hand on."""

from __future__ import annotations

import datetime
from decimal import Decimal
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core.number import ZERO

from millilot.importers.problems import InputError
from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.contributed import contributed
from millilot.reports.cutoff import cut_off
from millilot.reports.days import last_of_year, year_around
from millilot.reports.fava.adapter import (
    FavaAPIError,
    FavaExtensionBase,
    Page,
    Range,
    asked,
    bar_chart,
    download,
    entry_in_books,
    extension_endpoint,
    interval_of,
    is_incognito,
    journal_of_account,
    journal_of_link,
    page_address,
)
from millilot.reports.filled import figures_of, fill, trace_form
from millilot.reports.forms import PeriodError, find_form, read_forms
from millilot.reports.months import Month, months
from millilot.reports.pack import Outside, pack
from millilot.reports.pack.archive import archive
from millilot.reports.pack.manifest import read_digests
from millilot.reports.pack.span import Span
from millilot.reports.side_by_side import side_by_side
from millilot.reports.thresholds import read_thresholds, thresholds
from millilot.reports.year_journal import Accounts, journals
from millilot.reports.year_lines import UnknownLineError, trace
from millilot.reports.year_notes import year_notes
from millilot.reports.year_statement import CAUTION, STATEMENT

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from millilot.reports.cutoff import CutOff
    from millilot.reports.fava.adapter import Response
    from millilot.reports.filled import FilledForm
    from millilot.reports.forms import Choice, Form
    from millilot.reports.side_by_side import Beside
    from millilot.reports.thresholds import Distance
    from millilot.reports.year_lines import Part

#: The form for books in a currency that no form is in.
_ANY_CURRENCY = "plain"

#: A listing shows so many digits more than a report does, where goods at cost have them.
_MORE_DIGITS = 2

_CAPTIONS = {line: caption.removeprefix("less ").capitalize() for of in STATEMENT for caption, line, _ in of}


class Days(NamedTuple):
    """The first and the last day of the page, and whether the time filter says so."""

    start: datetime.date
    end: datetime.date
    is_asked: bool


class Overview(NamedTuple):
    """What the page says of the year, forms apart.

    Attributes:
        figures: all lines and totals, in minor units; None where the books do not know them.
        journals: the account whose own journal comes to a line, by line.
        months: the months.
        thresholds: how far the year is from each; empty if they cannot be read.
        contributed: the bottles owned before, and those at an estimated cost, that came in.
        cut_off: the orders across the end.
        notes: what has to be said beside the figures.
        problem: why the thresholds cannot be read, or None.
    """

    figures: Mapping[str, Decimal | None]
    journals: Mapping[str, str]
    months: Sequence[Month]
    thresholds: Sequence[Distance]
    contributed: Sequence[Mapping[str, Any]]
    cut_off: Sequence[CutOff]
    notes: Sequence[str]
    problem: str | None


class Cell(NamedTuple):
    """A figure of the statement, and where it leads.

    Attributes:
        caption: of the line.
        line: its key.
        amount: in minor units.
        is_total: whether it stands in the right column.
        address: where what it is made of is listed.
        account: the account whose journal that is, or None.
    """

    caption: str
    line: str
    amount: Decimal
    is_total: bool
    address: str
    account: str | None


class Filled(NamedTuple):
    """The forms of the page.

    Attributes:
        known: all forms, the newest of each name.
        chosen: the names of those shown.
        filled: those that have a year of these days.
        elsewhere: the others, each with a year of its own, and the address of that.
        beside: our lines in each of them; empty for one alone.
    """

    known: Sequence[Form]
    chosen: Sequence[str]
    filled: Sequence[FilledForm]
    elsewhere: Sequence[tuple[Form, datetime.date, datetime.date]]
    beside: Sequence[Beside]


class Row(NamedTuple):
    """An entry behind a figure, with the amount as it is shown."""

    part: Part
    amount: Decimal
    address: str


class OfAccount(NamedTuple):
    """What of a figure stands in one account, and the address of its journal where that comes to the same."""

    account: str
    amount: Decimal
    address: str | None


#: Lines that are made of what stood in the bottles, rather than of what happened.
_STOCK = frozenset({"opening_stock", "closing_stock", "supplies_on_hand_open", "supplies_on_hand_close"})


class Listing(NamedTuple):
    """The entries behind a figure.

    Attributes:
        title: what the figure is called.
        rows: the entries, with the digits they have.
        rounding: what has to be added to them for the figure; nought where nothing has.
        shown: the figure, as the page of the year shows it; None where that does not know it.
        accounts: the sums by account, where all of it is money.
        several: whether more than one line is in it.
    """

    title: str
    rows: Sequence[Row]
    rounding: Decimal
    shown: Decimal | None
    accounts: Sequence[OfAccount]
    several: bool

    @property
    def has_stock(self) -> bool:
        """Whether stock is among the entries."""
        return any(row.part.line in _STOCK for row in self.rows)


def days_shown(range_: Range, first: datetime.date | None, last: datetime.date | None) -> Days | None:
    """Return the days a page of a year shows.

    Those of the time filter if they are no more than a year, else the last calendar year that is over at the end
    of them and of the books, or the first there is if none is. None in books without entries and filter.

    Args:
        range_: of the time filter.
        first: the first day of the books, or None.
        last: the last.
    """
    if range_.first is not None and range_.last is not None:
        if range_.last <= last_of_year(range_.first):
            return Days(range_.first, range_.last, is_asked=True)
        first = max(range_.first, first or range_.first)
        last = min(range_.last, last or range_.last)
        if last < first:
            first, last = range_.first, range_.last
    if first is None or last is None:
        return None
    over = last.year if (last.month, last.day) == (12, 31) else last.year - 1
    number = max(over, first.year)
    return Days(datetime.date(number, 1, 1), datetime.date(number, 12, 31), is_asked=False)


class TaxYear(Page, FavaExtensionBase):
    """The page."""

    report_title = "Tax year"
    caution = CAUTION

    def prepare(self) -> None:
        """Work out the year that is shown without a filter."""
        days = days_shown(Range(None, None), self.whole.first, self.whole.last)
        if days is not None:
            self._overview_of(days.start, days.end)

    @property
    def days(self) -> Days | None:
        """The days of the page; None in books without entries.

        What lies across the end of a year is seen from after it only, so the page reads all of the books.
        """
        return days_shown(self.range, self.whole.first, self.whole.last)

    def years(self) -> list[tuple[int, str]]:
        """Return the calendar years of the books, each with its address, the last first."""
        first, last = self.whole.first, self.whole.last
        if first is None or last is None:
            return []
        return [
            (number, page_address("TaxYear", time=f"{number:04}"))
            for number in range(last.year, max(first.year, last.year - 9) - 1, -1)
        ]

    def overview(self) -> Overview:
        """Return what the page says of the year, with the figures of `millilot year`."""
        start, end, _ = self._days()
        return self._overview_of(start, end)

    def statement(self) -> list[list[Cell]]:
        """Return the statement in its parts."""
        overview = self.overview()
        return [[self._cell(overview, *line) for line in part] for part in STATEMENT]

    def chart(self) -> list[dict[str, Any]]:
        """Return the chart of the months, by the interval that Fava shows."""
        points = []
        for _, of_interval in groupby(self.overview().months, key=lambda month: interval_of(month.first)):
            group = list(of_interval)
            sums = {
                "Receipts": sum((month.gross_receipts for month in group), ZERO),
                "Cost of goods": sum((month.cost_of_goods_sold for month in group), ZERO),
                "Fees": sum((month.fees for month in group), ZERO),
            }
            points.append((group[0].first, sums))
        return [bar_chart("Receipts, cost of goods and fees", points)] if points else []

    def month_sums(self) -> Month:
        """Return the sums of the months."""
        rows = self.overview().months
        return Month(rows[0].first, *(sum(column, ZERO) for column in list(zip(*rows, strict=True))[1:]))

    def forms(self) -> Filled:
        """Return the forms that are asked for, or those in the currency of the books.

        Raises:
            FavaAPIError: there is no such form or choice, or a file of the owner's cannot be read.
        """
        start, end, _ = self._days()
        known = self._known()
        names = asked("form") or self._usual(known)
        try:
            forms = [find_form(known, name, end) for name in dict.fromkeys(names)]
            choices = {form.name: self._choices(form) for form in forms}
            for form in forms:
                form.choose(choices[form.name])
        except InputError as error:
            raise FavaAPIError(str(error)) from None
        key = ("forms", start, end, *((name, *sorted(taken.items())) for name, taken in choices.items()))
        filled: Filled = self.once(key, lambda: self._filled(known, forms, choices, start, end))
        return filled

    def entries(self) -> Listing | None:
        """Return the entries behind a figure, None when none is asked for.

        Raises:
            FavaAPIError: there is no such line.
        """
        start, end, _ = self._days()
        lines = asked("line")
        if not lines:
            return None
        line, forms = lines[0], asked("on")
        try:
            if forms:
                return self._of_form(find_form(self._known(), forms[0], end), line, start, end)
            found = trace(self.whole, start, end, line)
        except (InputError, UnknownLineError) as error:
            raise FavaAPIError(str(error)) from None
        shown = self.overview().figures[line]
        return self._listing(_CAPTIONS.get(line, line), found, shown, start, end, is_count=line == "transactions")

    def entries_address(self, line: str, form: FilledForm | None = None) -> str:
        """Return the address of the entries behind a line of ours, or of a form."""
        if form is None:
            return page_address("TaxYear", line=line)
        taken = {f"{form.form.name}.{each.choice}": each.option for each in form.taken}
        return page_address("TaxYear", on=form.form.name, line=line, **taken)

    def page_of(self, first: datetime.date, last: datetime.date, form: str) -> str:
        """Return the address of the page for other days, with a form."""
        return page_address("TaxYear", time=f"{first} - {last}", form=form)

    @staticmethod
    def choices_of(filled: FilledForm) -> list[tuple[Choice, str]]:
        """Return the choices a form leaves open, each with the option taken."""
        return [(choice, taken.option) for choice, taken in zip(filled.form.choices, filled.taken, strict=True)]

    def order_address(self, link: str) -> str:
        """Return the address of the journal of an order."""
        return journal_of_link(link)

    def pack_address(self) -> str:
        """Return the address of the pack, with the forms the page shows and their choices."""
        forms = self.forms()
        taken = {
            f"{form.form.name}.{each.choice}": each.option for form in forms.filled for each in form.taken
        }
        return page_address("TaxYear", "pack", form=[form.form.name for form in forms.filled], **taken)

    # Fava types its decorator for no class at all.
    @extension_endpoint("pack")  # type: ignore[untyped-decorator, arg-type]
    def download_pack(self) -> Response:
        """Return the pack of the year as a ZIP file, the same as `millilot pack` writes. Nothing is written.

        Raises:
            FavaAPIError: it cannot be made; the message says why.
        """
        if is_incognito():
            raise FavaAPIError("The pack holds all figures, and Fava was started with --incognito.")
        start, end, _ = self._days()
        try:
            known = self._known()
            forms = [find_form(known, name, end) for name in dict.fromkeys(asked("form") or self._usual(known))]
            outside = Outside(forms, self._same_choices(forms), read_thresholds(self._beside_books("thresholds")))
            files = read_digests(self.ledger.options)
            # The channels' own forms are of a calendar year: the one that most of the days are in.
            number = (start + (end - start) / 2).year
            span = Span(
                self.ledger.all_entries, self.ledger.load_errors, self.ledger.options, start, end, number, files,
            )
            name = f"records-{span.name.replace(' ', '-')}"
            return download(archive(pack(span, outside), name), f"{name}.zip", "application/zip")
        except (InputError, OSError, OverflowError) as error:
            raise FavaAPIError(f"The pack cannot be made: {error}") from None

    def _days(self) -> Days:
        if self.days is None:
            raise FavaAPIError("There is nothing in the books, so there is no year to show.")
        return self.days

    def _overview_of(self, start: datetime.date, end: datetime.date) -> Overview:
        overview: Overview = self.once(("overview", start, end), lambda: self._overview(start, end))
        return overview

    def _overview(self, start: datetime.date, end: datetime.date) -> Overview:
        books = self.whole
        # Payments are counted, and a figure all the same.
        figures = {
            line: None if figure is None else Decimal(figure)
            for line, figure in figures_of(books, start, end).items()
        }
        problem, distances = None, []
        try:
            distances = thresholds(books, start, end, read_thresholds(self._beside_books("thresholds")))
        except InputError as error:
            problem = str(error)
        return Overview(
            figures,
            journals(self._accounts(start, end), books, end, figures),
            months(books, start, end),
            distances,
            contributed(books, start, end),
            cut_off(books, start, end),
            year_notes(books, start, end),
            problem,
        )

    def _cell(self, overview: Overview, caption: str, line: str, is_total: bool) -> Cell:
        account, amount = overview.journals.get(line), overview.figures[line]
        address = self.entries_address(line)
        if account is not None and self._shows_children:
            start, end, _ = self._days()
            address = journal_of_account(account, start, end)
        else:
            account = None
        return Cell(caption, line, ZERO if amount is None else amount, is_total, address, account)

    @property
    def _shows_children(self) -> bool:
        """Whether the journal of an account has the accounts below it, as the sums here have."""
        return bool(self.ledger.fava_options.account_journal_include_children)

    def _accounts(self, start: datetime.date, end: datetime.date) -> Accounts:
        accounts: Accounts = self.once(
            ("accounts", start, end),
            lambda: Accounts(self.ledger.all_entries, self.whole.currency, start, end),
        )
        return accounts

    def _beside_books(self, folder: str) -> Path:
        return Path(self.ledger.beancount_file_path).parent / folder

    def _known(self) -> list[Form]:
        try:
            known: list[Form] = self.once("known forms", lambda: read_forms(self._beside_books("forms")))
        except InputError as error:
            raise FavaAPIError(str(error)) from None
        return known

    def _usual(self, known: Iterable[Form]) -> list[str]:
        """Return the names of the forms in the currency of the books."""
        names = {form.name for form in known if form.currency == self.whole.currency}
        return sorted(names) or [_ANY_CURRENCY]

    def _choices(self, form: Form) -> dict[str, str]:
        """Return the options asked for of a form."""
        found = ((choice.name, asked(f"{form.name}.{choice.name}")) for choice in form.choices)
        return {name: options[0] for name, options in found if options}

    def _same_choices(self, forms: Iterable[Form]) -> dict[str, str]:
        """Return the options that all forms of a pack take."""
        same: dict[str, str] = {}
        for form in forms:
            for name, option in form.choose(self._choices(form)).items():
                if same.setdefault(name, option) != option:
                    raise FavaAPIError(
                        f"A pack takes one option of {name} for all its forms; choose the same for each."
                    )
        return same

    def _filled(
        self,
        known: Sequence[Form],
        forms: Sequence[Form],
        choices: Mapping[str, Mapping[str, str]],
        start: datetime.date,
        end: datetime.date,
    ) -> Filled:
        filled: list[FilledForm] = []
        elsewhere = []
        for form in forms:
            try:
                filled.append(fill(form, self.whole, start, end, choices[form.name]))
            except PeriodError:
                # Only a form whose year begins on a day of its own has none of these days.
                elsewhere.append((form, *year_around(end, *(form.begins or (1, 1)))))
        newest = {form.name: form for form in sorted(known, key=lambda form: (form.name, form.year or 0))}
        beside = side_by_side(self.whole, filled) if len(filled) > 1 else []
        return Filled(list(newest.values()), [form.name for form in forms], filled, elsewhere, beside)

    def _of_form(self, form: Form, line: str, start: datetime.date, end: datetime.date) -> Listing:
        choices = self._choices(form)
        found = trace_form(form, self.whole, (start, end), line, choices)
        of_form = next(each for each in fill(form, self.whole, start, end, choices).lines if each.line == line)
        title = f"{form.name}, line {of_form.number}: {of_form.caption}"
        return self._listing(title, found, of_form.amount, start, end)

    def _listing(
        self,
        title: str,
        found: Sequence[Part],
        shown: Decimal | None,
        start: datetime.date,
        end: datetime.date,
        *,
        is_count: bool = False,
    ) -> Listing:
        minor = minor_unit(self.whole.currency)
        whole = all(rounding.nearest(part.amount, minor) == part.amount for part in found)
        unit = minor.scaleb(0 if whole else -_MORE_DIGITS)
        if is_count:
            unit = Decimal(1)
        amounts = rounding.shares([part.amount for part in found], unit)
        rows = [
            Row(part, amount, entry_in_books(part.entry)) for part, amount in zip(found, amounts, strict=True)
        ]
        by_account: dict[str, Decimal] = {}
        if all(part.is_money for part in found):
            for part in found:
                by_account[part.of] = by_account.get(part.of, ZERO) + part.amount
        accounts = []
        for account, amount in sorted(by_account.items()):
            of_account = rounding.nearest(amount, minor)
            comes = self._shows_children and self._accounts(start, end).comes_to(account, of_account, minor)
            address = journal_of_account(account, start, end) if comes else None
            accounts.append(OfAccount(account, of_account, address))
        rest = ZERO if shown is None else shown - sum(amounts, ZERO)
        return Listing(title, rows, rest, shown, accounts, len({part.line for part in found}) > 1)

