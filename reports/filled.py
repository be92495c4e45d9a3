"""A form filled from the books, and where each of its lines comes from.

The lines of a form are sums of our lines as `millilot year` rounds them, so that the form adds up and agrees with
it to the cent.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import asdict, dataclass
from graphlib import TopologicalSorter
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.money import minor_unit
from millilot.ledger.records import Kind
from millilot.reports import rounding
from millilot.reports.forms import FormError
from millilot.reports.year import line_sums, year
from millilot.reports.year_lines import FORM_LINES, Part, market_values, of_terms, parts, terms

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Mapping
    from decimal import Decimal

    from millilot.ledger.records import Books
    from millilot.reports.forms import Form, FormLine, Term

#: What marks a line that was not checked.
UNCHECKED = "?"

_NO_CHOICES: Mapping[str, str] = MappingProxyType({})


class FilledLine(NamedTuple):
    """A line of a form with its amount.

    Attributes:
        number: as the form prints it.
        caption: in our own words.
        amount: in minor units of the operating currency; None where the books cannot know it.
        part: the part of the form it stands in, or empty.
        mark: "?" where the line was not checked against the form, else "".
        note: what has to be known about it.
        source: where the line was read.
        checked: when it was held against the source, or None.
        is_memo: whether it stands beside the form.
        line: what the form's file calls it, for `--trace`.
    """

    number: str
    caption: str
    amount: Decimal | None
    part: str
    mark: str
    note: str
    source: str
    checked: datetime.date | None
    is_memo: bool
    line: str


class Taken(NamedTuple):
    """The option taken of a choice, in words."""

    choice: str
    option: str
    words: str


class Alternative(NamedTuple):
    """What the form would say with another option: the lines compared, each with its amount."""

    choice: str
    option: str
    words: str
    compared: tuple[tuple[str, Decimal | None], ...]


@dataclass(frozen=True, slots=True)
class FilledForm:
    """A form filled for a range of days.

    Attributes:
        form: the form.
        start: the first day.
        end: the last day.
        currency: of the amounts.
        lines: in the order of the form.
        taken: the choices the form leaves open, and what was taken.
        alternatives: what the result would be with each other option.
        warnings: what is wrong with using this form for these days.
        notes: what has to be known to read it, its cautions among them.
    """

    form: Form
    start: datetime.date
    end: datetime.date
    currency: str
    lines: tuple[FilledLine, ...]
    taken: tuple[Taken, ...]
    alternatives: tuple[Alternative, ...]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def result(self) -> FilledLine:
        """The line by which choices are compared."""
        return next(line for line in self.lines if line.line == self.form.result)


def fill(
    form: Form,
    books: Books,
    start: datetime.date,
    end: datetime.date,
    choices: Mapping[str, str] = _NO_CHOICES,
) -> FilledForm:
    """Fill a form.

    Args:
        form: the form.
        books: books read up to the last day or later.
        start: the first day.
        end: the last day, itself included.
        choices: options to take instead of the form's defaults, by choice.

    Raises:
        PeriodError: the range lies in no one year of the form.
        FormError: there is no such choice or option.
    """
    number = form.year_of(start, end)
    taken = form.choose(choices)
    figures = figures_of(books, start, end)
    amounts = _amounts(form, figures, taken)
    unit = minor_unit(books.currency)
    lines = tuple(_filled(line, amounts[line.line], unit) for line in _there(form, taken))
    return FilledForm(
        form,
        start,
        end,
        books.currency,
        lines,
        tuple(
            Taken(choice.name, taken[choice.name], choice.options[taken[choice.name]]) for choice in form.choices
        ),
        tuple(_alternatives(form, figures, taken)),
        tuple(_warnings(form, books, number)),
        form.notes,
    )


def trace_form(
    form: Form,
    books: Books,
    days: tuple[datetime.date, datetime.date],
    line: str,
    choices: Mapping[str, str] = _NO_CHOICES,
) -> list[Part]:
    """Return the entries behind a line of a form, which add up to it before it is rounded.

    Args:
        form: the form.
        books: books read up to the last day or later.
        days: the first and the last day.
        line: what the form's file calls it, its number for most.
        choices: options to take instead of the form's defaults, by choice.

    Raises:
        FormError: there is no such line, or it is no sum of entries because it is held above or below an amount.
    """
    taken = form.choose(choices)
    there = {each.line: each for each in _there(form, taken)}
    if line not in there:
        raise FormError(f"The form {form.name} has no line {line!r} here; its lines are {', '.join(there)}.")
    figures = figures_of(books, *days)
    amounts = _amounts(form, figures, taken)
    wanted: dict[str, int] = defaultdict(int)

    def add(each: FormLine, sign: int) -> None:
        ours, lines = _terms_of(each, taken)
        if _held(each, _sum(each, figures, amounts, taken)) is not None:
            raise FormError(f"Line {each.line} of {form.name} is held at a limit, so no entries add up to it.")
        for term in ours:
            for name, times in terms(term.line).items():
                wanted[name] += sign * term.sign * times
        for term in lines:
            if term.line in there:
                add(there[term.line], sign * term.sign)

    add(there[line], 1)
    return of_terms(parts(books, *days), {name: times for name, times in wanted.items() if times})


def places(form: Form, choices: Mapping[str, str] = _NO_CHOICES) -> dict[str, list[tuple[str, int]]]:
    """Return in which lines of a form each of our lines stands by itself, and with which sign."""
    taken = form.choose(choices)
    found: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for line in _there(form, taken):
        if not line.is_memo:
            for term in _terms_of(line, taken)[0]:
                for name, times in terms(term.line).items():
                    found[name].append((line.shown, term.sign * times))
    return found


def _there(form: Form, taken: Mapping[str, str]) -> list[FormLine]:
    """Return the lines that are there with the options taken."""
    return [line for line in form.lines if all(taken[name] == option for name, option in line.when.items())]


def _terms_of(line: FormLine, taken: Mapping[str, str]) -> tuple[list[Term], list[Term]]:
    """Return our lines and the form's lines that a line is made of."""
    also = [each for each in line.also if taken[each.choice] == each.option]
    ours = [*line.ours, *(term for each in also for term in each.ours)]
    return ours, [*line.lines, *(term for each in also for term in each.lines)]


def _amounts(
    form: Form, figures: Mapping[str, Decimal | None], taken: Mapping[str, str],
) -> dict[str, Decimal | None]:
    """Return the amount of every line that is there."""
    there = {line.line: line for line in _there(form, taken)}
    made_of = {name: [term.line for term in _terms_of(line, taken)[1]] for name, line in there.items()}
    amounts: dict[str, Decimal | None] = {}
    for name in TopologicalSorter(made_of).static_order():
        if name in there:
            amount = _sum(there[name], figures, amounts, taken)
            limit = _held(there[name], amount)
            amounts[name] = amount if limit is None else limit
    return amounts


def _sum(
    line: FormLine,
    figures: Mapping[str, Decimal | None],
    amounts: Mapping[str, Decimal | None],
    taken: Mapping[str, str],
) -> Decimal | None:
    """Return the sum of what a line is made of; None if the books do not know all of it."""
    ours, lines = _terms_of(line, taken)
    # A line that is not there with the options taken counts for nothing.
    found = [(figures[term.line], term.sign) for term in ours]
    found += [(amounts.get(term.line, ZERO), term.sign) for term in lines]
    total = ZERO
    for amount, sign in found:
        if amount is None:
            return None
        total += sign * amount
    return total


def _held(line: FormLine, amount: Decimal | None) -> Decimal | None:
    """Return the limit at which a line is held, or None when it is not."""
    if amount is None:
        return None
    if line.at_least is not None and amount < line.at_least:
        return line.at_least
    return line.at_most if line.at_most is not None and amount > line.at_most else None


def figures_of(books: Books, start: datetime.date, end: datetime.date) -> dict[str, Decimal | None]:
    """Return our lines in minor units; None for what the books do not know."""
    unit = minor_unit(books.currency)
    sums = line_sums(books, start, end)
    figures: dict[str, Decimal | None] = dict(asdict(year(books, start, end).rounded(books.currency)))
    figures.update({name: rounding.nearest(sums[name], unit) for name in FORM_LINES})
    figures.update(dict.fromkeys(_not_known(books, start, end)))
    return figures


def _not_known(books: Books, start: datetime.date, end: datetime.date) -> Iterator[str]:
    """Yield the lines at market value that lack the value of an entry."""
    for record in books.records:
        if not start <= record.date <= end:
            continue
        if any(
            move.kind is Kind.CONTRIBUTED and books.bottles[move.bottle].market_value is None
            for move in record.moves
            if books.bottles[move.bottle].commodity.is_fragrance
        ):
            yield "contributed_at_market"
        if any(value is None for value, _ in market_values(record, books)):
            yield "personal_use_at_market"


def _filled(line: FormLine, amount: Decimal | None, unit: Decimal) -> FilledLine:
    # A line that holds nothing with the options taken, or a limit, may be written with other digits.
    amount = None if amount is None else amount.quantize(unit)
    return FilledLine(
        line.shown,
        line.caption,
        amount,
        line.part,
        UNCHECKED if line.checked is None else "",
        line.note,
        line.source,
        line.checked,
        line.is_memo,
        line.line,
    )


def _alternatives(
    form: Form, figures: Mapping[str, Decimal | None], taken: Mapping[str, str],
) -> Iterator[Alternative]:
    for choice in form.choices:
        for option, words in choice.options.items():
            if option != taken[choice.name]:
                other = {**taken, choice.name: option}
                amounts = _amounts(form, figures, other)
                compared = [(line, amounts[line]) for line in form.compare or (form.result,) if line in amounts]
                yield Alternative(choice.name, option, words, tuple(compared))


def _warnings(form: Form, books: Books, number: int) -> Iterable[str]:
    if form.year is not None and form.year != number:
        yield (
            f"There is no {form.name} for {number}; this is the form of {form.year}, and its lines may have moved."
        )
    if form.currency is not None and form.currency != books.currency:
        yield f"The form is in {form.currency}, and the books are kept in {books.currency}."
