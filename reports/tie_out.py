"""A channel's annual form beside the books: a bridge from one to the other, line by line.

The form states gross payments: before fees, refunds, labels and disputes, which are therefore no lines. The
bridge begins with the books' gross receipts of the channel (sales and postage charged) and adds what the form
has and they have not. Two things cannot be known but only tried: the date by which the channel counts an order
(ordered, settled or paid out) and whether sales tax is in its figure. Every combination is worked out, with the
dates as they are and a day earlier or later, as another time zone would have it where that changes anything. A
single one that meets the form to the cent is named; several are ambiguous.

Dates come from `ordered:` and `settled:`, and from the payout that paid an order: by link, by `paid-out:`, or
found. An order without `ordered:` counts by its day in the books. A channel none of whose orders has a date of a
basis cannot be tried on it; a single order without one counts in no year.

Claims come in as payments and become sales when they are poured, perhaps in another year. A pour belongs to the
channel when its order's claim was paid there; each pour uses up the oldest payments of its order. The form has
a claim by the days of its payment, and never the pour.
"""

from __future__ import annotations

import datetime
from collections import Counter, defaultdict
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.annotations import CANCELLED, ORDER, ORDERED, PAID_OUT, SETTLED, day_of, links_of
from millilot.ledger.annual_gross import AnnualGross, Basis
from millilot.ledger.channels import read_channels, slug_of
from millilot.ledger.kept import once_per_books
from millilot.ledger.money import minor_unit, weight
from millilot.plugins.order import natural
from millilot.reports import rounding
from millilot.reports.channel import find
from millilot.reports.payouts import settlement_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from decimal import Decimal

    from millilot.ledger.accounts import RoleMap
    from millilot.ledger.channels import Channel
    from millilot.ledger.records import Books, Record
    from millilot.reports.payouts import Settlement

    _Dates = Mapping[Basis, datetime.date | None]

_SOLD = frozenset({Role.SALES, Role.POSTAGE_CHARGED})
_RECEIVED = _SOLD | {Role.UNSORTED}
_SHIFTS = (0, -1, 1)

_BASES = {"order": "day of the order", "settled": "day it settled", "paid-out": "day it was paid out"}
_SHIFTED = {0: "", -1: ", a day earlier", 1: ", a day later"}


@dataclass(frozen=True, slots=True)
class Bridge:
    """From the books to the form, in the operating currency; what the lines add up to is `expected`.

    Attributes:
        gross_receipts: the books' sales and postage charged, but for cancelled and unsorted orders.
        tax_collected: sales tax buyers paid, if the form has it.
        discounts: what the seller gave off prices, and the form does not know of.
        cancelled: payments taken for orders that were cancelled.
        claims_paid: claims paid here in the year and not poured by its end.
        claims_poured: claims of earlier years poured in this one, below nought.
        private: private things sold, and private transfers, on the same account.
        overpaid: what buyers rounded up, and tips.
        unsorted: receipts whose fragrance is not known yet.
        other_side: orders that the form counts in another year than the books.
        currency: what conversion makes of the form's figure.
        expected: what the form should say.
    """

    gross_receipts: Decimal
    tax_collected: Decimal
    discounts: Decimal
    cancelled: Decimal
    claims_paid: Decimal
    claims_poured: Decimal
    private: Decimal
    overpaid: Decimal
    unsorted: Decimal
    other_side: Decimal
    currency: Decimal
    expected: Decimal


class Crossing(NamedTuple):
    """An order the form counts in another year: what it adds, or takes away when the form has it elsewhere."""

    order: str
    booked: datetime.date
    counted: datetime.date | None
    amount: Decimal


class Candidate(NamedTuple):
    """One way in which the form may have been made.

    Attributes:
        basis: the date it counts by.
        shift: days by which its time zone moves that date.
        tax: whether sales tax is in it.
        expected: what the form should say then.
        difference: the form less that, None without a form.
        bridge: the lines.
        orders: those on the other side of the year's ends.
    """

    basis: Basis
    shift: int
    tax: bool
    expected: Decimal
    difference: Decimal | None
    bridge: Bridge
    orders: tuple[Crossing, ...]

    @property
    def fits(self) -> bool:
        """Whether it meets the form to the cent."""
        return self.difference == 0


class Month(NamedTuple):
    """A month: what the form should say of it, how many payments that is, and what the form says."""

    month: int
    payments: int
    expected: Decimal
    form: Decimal | None


@dataclass(frozen=True, slots=True)
class TieOut:
    """The form beside the books.

    Attributes:
        channel: the channel.
        year: the year.
        form: what the owner wrote of the form, None when there is nothing.
        candidates: every way that could be tried, those with the dates as they are first.
        untried: why a basis could not be tried.
        chosen: the way shown in full: the only one that fits, else the nearest.
        payments: payments by the chosen way.
        months: the months by the chosen way.
    """

    channel: Channel
    year: int
    form: AnnualGross | None
    candidates: tuple[Candidate, ...]
    untried: tuple[str, ...]
    chosen: Candidate
    payments: int
    months: tuple[Month, ...]

    @property
    def fitting(self) -> list[Candidate]:
        """The ways that meet the form to the cent."""
        return [candidate for candidate in self.candidates if candidate.fits]


class CurrencyError(Exception):
    """A form is in another currency than the books, and nothing says what that is worth."""


def tie_out(books: Books, name: str, year: int) -> TieOut:
    """Compare a channel's year with its form.

    Args:
        books: the books.
        name: of the channel, or its account.
        year: the year of the form.

    Raises:
        UnknownChannelError: there is no such channel.
        CurrencyError: the form's currency needs a `rate:`.
    """
    channel = find(read_channels(books).values(), name)
    forms = [each for each in books.settings.annual_gross if (each.account, each.year) == (channel.account, year)]
    form = forms[-1] if forms else None
    figure, unit = _figure(form, books.currency), minor_unit(books.currency)
    payments = _payments(books, channel.account)
    bases, untried = _bases(payments, channel.name)
    candidates = []
    for basis in bases:
        usual: tuple[str, ...] | None = None
        for shift in _SHIFTS:
            for tax in (True, False):
                candidate = _candidate(payments, year, (basis, shift, tax), figure, unit)
                orders = tuple(crossing.order for crossing in candidate.orders)
                usual = orders if usual is None else usual
                # Another zone is another way only if an order changes sides.
                if not shift or orders != usual:
                    candidates.append(candidate)
    candidates.sort(key=lambda candidate: candidate.shift != 0)
    chosen = _choose(candidates, form)
    counted = [
        payment
        for payment in payments
        if payment.counts(chosen.basis, chosen.shift, year) and payment.total(tax=chosen.tax)
    ]
    months = tuple(_months(counted, chosen, form, books.currency))
    return TieOut(
        channel,
        year,
        form,
        tuple(candidates),
        tuple(untried),
        chosen,
        sum(month.payments for month in months),
        months,
    )


class _Figure(NamedTuple):
    """The form's figure in its own currency, and what conversion into that of the books changes."""

    gross: Decimal | None
    conversion: Decimal


def _figure(form: AnnualGross | None, currency: str) -> _Figure:
    if form is None:
        return _Figure(None, ZERO)
    if form.currency == currency:
        return _Figure(form.gross, ZERO)
    if form.rate is None:
        raise CurrencyError(
            f"The form is in {form.currency} and the books are in {currency}. Write below it what one "
            f"{form.currency} was worth, such as rate: 1.08 {currency}",
        )
    return _Figure(form.gross, form.gross - form.gross * form.rate)


@dataclass(frozen=True, slots=True)
class _Payment:
    """What one entry of the books makes of the form: its dates, and its part of every line."""

    order: str
    booked: datetime.date
    dates: _Dates
    lines: Mapping[str, Decimal]

    def day(self, basis: Basis, shift: int) -> datetime.date | None:
        """Return the day it counts on."""
        day = self.dates[basis]
        return day and day + datetime.timedelta(days=shift)

    def counts(self, basis: Basis, shift: int, year: int) -> bool:
        """Whether the form of a year has it."""
        day = self.day(basis, shift)
        return day is not None and day.year == year

    def total(self, *, tax: bool) -> Decimal:
        """Return what it adds to the form."""
        return sum(
            (amount for line, amount in self.lines.items() if tax or line != "tax_collected"), ZERO,
        )


@once_per_books
def _payments(books: Books, account: str) -> Sequence[_Payment]:
    """Return what a channel's entries make of its form, of any year."""
    return tuple(_paid(books, settlement_of(books, account)))


def _paid(books: Books, settlement: Settlement) -> Iterator[_Payment]:
    channel = settlement.channel
    paid_out = {
        id(event.record.entry): each.payout.date
        for each in settlement.payouts
        for event in each.events
    }
    mine = {id(event.record.entry): event.record for event in channel.events}
    slugs = {slug_of(record.entry.meta) for record in mine.values()} - {""}
    claimed = {
        order
        for record in mine.values()
        if any(money.role is Role.CLAIMS and money.amount < 0 for money in record.money)
        for order in _keys(record)
    }
    claims = _Claims()
    for record in books.records:
        entry = record.entry
        if id(entry) not in mine:
            poured = any(money.role is Role.CLAIMS and money.amount > 0 for money in record.money)
            cancelled = CANCELLED in (entry.tags or ()) and slug_of(entry.meta) in slugs
            if not (cancelled or (poured and claimed.intersection(_keys(record)))):
                continue
        lines = _lines(record)
        if id(entry) in mine:
            lines |= _outside(record, books.settings.roles.on(record.date))
        dates = {
            Basis.ORDER: day_of(entry, ORDERED) or record.date,
            Basis.SETTLED: day_of(entry, SETTLED),
            Basis.PAID_OUT: paid_out.get(id(entry)) or day_of(entry, PAID_OUT),
        }
        if claimed_before := claims.enter(record, dates):
            lines["gross_receipts"] -= claimed_before
        if any(lines.values()):
            yield _Payment(_name(record), record.date, dates, lines)
    yield from claims.payments()


def _keys(record: Record) -> list[str]:
    """Return by what a pour finds the payment of its claim: the order or, without one, the split."""
    return list(links_of(record.entry, ORDER) or links_of(record.entry, "split-"))


def _name(record: Record) -> str:
    orders = sorted((link.removeprefix(ORDER) for link in links_of(record.entry, ORDER)), key=natural)
    return " ".join(orders) or record.entry.narration or ""


class _Claims:
    """Claims paid on a channel, and the pours that use them up."""

    def __init__(self) -> None:
        self._paid: dict[str, list[_Claim]] = defaultdict(list)
        self._poured: list[tuple[Record, _Claim]] = []

    def enter(self, record: Record, dates: _Dates) -> Decimal:
        """Enter what a record does to claims, and return how much of its receipts was paid as claims before.

        What is given back to a claimant stays paid, as a refund does.
        """
        received = any(money.role in _RECEIVED and money.amount < 0 for money in record.money)
        poured = ZERO
        for money in record.money:
            if money.role is not Role.CLAIMS:
                continue
            if money.amount < 0:
                for key in _keys(record)[:1] or [""]:
                    self._paid[key].append(_Claim(record, dates, -money.amount))
            elif received:
                poured += self._pour(record, money.amount)
        return poured

    def _pour(self, record: Record, amount: Decimal) -> Decimal:
        left = amount
        for key in _keys(record):
            claims = self._paid.get(key, [])
            while claims and left:
                claim = claims.pop(0)
                used = min(claim.amount, left)
                left -= used
                self._poured.append((record, claim._replace(amount=used)))
                if claim.amount > used:
                    claims.insert(0, claim._replace(amount=claim.amount - used))
        return amount - left

    def payments(self) -> Iterator[_Payment]:
        """Yield each claim by the days of its payment, and what the books count of it when it is poured."""
        for claims in self._paid.values():
            for claim in claims:
                yield claim.payment("claims_paid")
        for record, claim in self._poured:
            if claim.record.date.year == record.date.year:
                yield claim.payment("gross_receipts")
            else:
                yield claim.payment("claims_paid")
                both = {"gross_receipts": claim.amount, "claims_poured": -claim.amount}
                yield _Payment(_name(record), record.date, dict.fromkeys(Basis), both)


class _Claim(NamedTuple):
    """A claim that was paid on a channel, or a part of it."""

    record: Record
    dates: _Dates
    amount: Decimal

    def payment(self, line: str) -> _Payment:
        """Return it as a payment, in a line of the bridge."""
        return _Payment(_name(self.record), self.record.date, self.dates, {line: self.amount})


def _lines(record: Record) -> dict[str, Decimal]:
    """Return what a record adds to the lines of the bridge, claims apart."""
    lines: dict[str, Decimal] = defaultdict(lambda: ZERO)
    entry = record.entry
    received = any(money.role in _RECEIVED and money.amount < 0 for money in record.money)
    cancelled = CANCELLED in (entry.tags or ())
    for money in record.money:
        if money.amount < 0 and money.role in _SOLD:
            lines["cancelled" if cancelled else "gross_receipts"] -= money.amount
        elif money.amount < 0 and money.role is Role.UNSORTED:
            lines["cancelled" if cancelled else "unsorted"] -= money.amount
        elif money.amount < 0 and money.role is Role.SALES_TAX and received:
            lines["tax_collected"] -= money.amount
        lines["discounts"] += money.discount
    return dict(lines)


def _outside(record: Record, roles: RoleMap) -> dict[str, Decimal]:
    """Return what came to a channel from accounts that are not of the activity."""
    lines: dict[str, Decimal] = defaultdict(lambda: ZERO)
    for posting in record.entry.postings:
        if posting.cost is None and roles.role(posting.account) is None:
            amount = weight(posting).number
            if amount < 0:
                lines["overpaid" if roles.is_income(posting.account) else "private"] -= amount
    return dict(lines)


def _bases(payments: Iterable[_Payment], name: str) -> tuple[list[Basis], list[str]]:
    """Return the bases on which a channel can be tried, and why it cannot be on others."""
    dated = {basis for payment in payments for basis, day in payment.dates.items() if day is not None}
    dated.add(Basis.ORDER)
    wanted = {
        Basis.SETTLED: f"the day it settled: no order has {SETTLED}:",
        Basis.PAID_OUT: f"the day it was paid out: no order has {PAID_OUT}: or is known to be in a payout",
    }
    untried = [f"{name} cannot be tried by {reason}" for basis, reason in wanted.items() if basis not in dated]
    return [basis for basis in Basis if basis in dated], untried


def _candidate(
    payments: Sequence[_Payment],
    year: int,
    way: tuple[Basis, int, bool],
    form: _Figure,
    unit: Decimal,
) -> Candidate:
    """Return what one way of counting makes of a year."""
    basis, shift, tax = way
    lines: dict[str, Decimal] = defaultdict(lambda: ZERO)
    orders = []
    for payment in payments:
        here, there = payment.booked.year == year, payment.counts(basis, shift, year)
        if here:
            for line, amount in payment.lines.items():
                if tax or line != "tax_collected":
                    lines[line] += amount
        if here is not there and (total := payment.total(tax=tax)):
            amount = total if there else -total
            lines["other_side"] += amount
            orders.append(Crossing(payment.order, payment.booked, payment.day(basis, shift), amount))
    lines["currency"] = form.conversion
    names = [field.name for field in fields(Bridge) if field.name != "expected"]
    rounded = {name: rounding.nearest(lines[name], unit) for name in names}
    expected = sum(rounded.values(), ZERO)
    return Candidate(
        basis,
        shift,
        tax,
        expected,
        None if form.gross is None else form.gross - expected,
        Bridge(**rounded, expected=expected),
        tuple(orders),
    )


def _choose(candidates: Sequence[Candidate], form: AnnualGross | None) -> Candidate:
    """Return the way to show in full: one that fits, as the books say it is, the nearest, the first."""

    def rank(candidate: Candidate) -> tuple[bool, bool, bool, Decimal]:
        return (
            not candidate.fits,
            not is_stated(candidate, form),
            candidate.shift != 0,
            abs(candidate.difference or ZERO),
        )

    return min(candidates, key=rank)


def is_stated(candidate: Candidate, form: AnnualGross | None) -> bool:
    """Whether a way is the one the owner wrote below the form, as far as he did."""
    if form is None or candidate.shift:
        return False
    return form.basis in {None, candidate.basis} and form.tax in {None, candidate.tax}


def _months(
    counted: Iterable[_Payment], chosen: Candidate, form: AnnualGross | None, currency: str,
) -> Iterator[Month]:
    amounts: dict[int, Decimal] = defaultdict(lambda: ZERO)
    numbers: Counter[int] = Counter()
    for payment in counted:
        day = payment.day(chosen.basis, chosen.shift)
        if day is not None:
            total = payment.total(tax=chosen.tax)
            amounts[day.month] += total
            numbers[day.month] += 1 if total > 0 else -1
    for month in range(1, 13):
        expected = rounding.nearest(amounts[month], minor_unit(currency))
        yield Month(month, numbers[month], expected, form.months.get(month) if form else None)


def verdict(report: TieOut) -> str:
    """Return in one word what came of the comparison."""
    if report.form is None:
        return "no form"
    fitting = report.fitting
    if not fitting:
        return "open"
    stated = [candidate for candidate in fitting if is_stated(candidate, report.form)]
    alone = len(fitting) == 1 or (len(stated) == 1 and _is_told(report))
    return "fits" if alone else "ambiguous"


def _is_told(report: TieOut) -> bool:
    """Whether the owner said anything of how the form counts."""
    return report.form is not None and not (report.form.basis is None and report.form.tax is None)


def way(candidate: Candidate) -> str:
    """Return a way of counting in words."""
    return f"by the {_BASES[candidate.basis]}{_SHIFTED[candidate.shift]}, tax {'in' if candidate.tax else 'out'}"
