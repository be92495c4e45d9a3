"""Year-end forms as data: which of our lines goes where, in a TOML file for each form and year.

A file in `forms/` beside the books is read as those shipped are, and takes the place of one of the same name and
year. All its keys::

    name = "us-schedule-c"      # as it is asked for
    title = "Schedule C (Form 1040), Parts I to III"
    year = 2025                 # of the form: the year in which its last day lies; absent: any year
    begins = "01-01"            # the first day of the form's year (month and day); absent: any range of days
    currency = "USD"            # absent: any
    result = "31"               # the line that all lead to
    compare = ["42", "31"]      # the lines by which options are compared; absent: the result
    source = "IRS Pub. 334"     # where the form's lines were read; a line may have its own
    checked = 2026-11-25        # when they were held against it; false where they were not, which prints a ?
    notes = ["Printed below the form."]

    [choices.losses]            # a choice the form leaves open; its options, each in words
    default = "apart"
    apart = "losses are an expense"
    stock = "losses stay in cost of goods"

    [[lines]]
    line = "36"                 # the number on the form, by which other lines call it
    part = "Part III"           # the part of the form, for a heading
    shown = "V"                 # the number to print, where several lines share one
    caption = "Purchases less own use"
    sum = ["purchases", "-personal_use"]    # our lines; with a minus, taken away
    lines = ["35", "-41"]                   # lines of the form
    also = [{ choice = "losses", option = "apart", sum = ["-losses"] }]    # more, with an option taken
    when = { losses = "apart" }             # the line is there only with these options taken
    at-least = "0.00"           # the line is never below this
    at-most = "1000.00"         # nor above this
    memo = true                 # beside the form rather than in it
    note = "..."
    source = "..."
    checked = false

Our lines are those of `millilot year`, its totals, and for other methods: `supplies_bought` in the year, the money
alone of a line (`packing_paid`), and at market value, where the owner wrote it down, `contributed_at_market` and
`personal_use_at_market`.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING, NamedTuple

from millilot.importers.problems import InputError
from millilot.reports.data_files import amount_of, checked_of, read_files, told_as
from millilot.reports.days import year_around
from millilot.reports.year_lines import LINES, TOTALS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from decimal import Decimal
    from pathlib import Path

    from millilot.importers.section import Section

_MONTH_AND_DAY = re.compile(r"\d\d-\d\d", re.ASCII)
_DEFAULT = "default"


class FormError(InputError):
    """A form that cannot be read, or that there is none of."""


class PeriodError(InputError):
    """A range of days that lies in no one year of a form."""


class Term(NamedTuple):
    """A line, and whether it is added (1) or taken away (-1)."""

    line: str
    sign: int


@dataclass(frozen=True, slots=True)
class Also:
    """What else a line is made of when an option is taken."""

    choice: str
    option: str
    ours: tuple[Term, ...]
    lines: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class FormLine:
    """A line of a form.

    Attributes:
        line: its number, or what other lines call it.
        part: the part of the form it stands in, or empty.
        shown: the number that is printed.
        caption: in our own words.
        ours: our lines it is made of.
        lines: lines of the form it is made of.
        also: what else, by the option taken.
        when: options without which the line is not there, by choice.
        at_least: it is never below this, or None.
        at_most: it is never above this, or None.
        is_memo: whether it stands beside the form.
        note: what has to be known about it.
        source: where the line was read.
        checked: when it was held against the source, or None.
    """

    line: str
    part: str
    shown: str
    caption: str
    ours: tuple[Term, ...]
    lines: tuple[Term, ...]
    also: tuple[Also, ...]
    when: Mapping[str, str]
    at_least: Decimal | None
    at_most: Decimal | None
    is_memo: bool
    note: str
    source: str
    checked: datetime.date | None


@dataclass(frozen=True, slots=True)
class Choice:
    """A choice a form leaves open.

    Attributes:
        name: what it is about.
        default: the option taken unless another is asked for.
        options: each option in words.
    """

    name: str
    default: str
    options: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Form:
    """A form of one year; see the module for what its parts mean."""

    name: str
    title: str
    year: int | None
    begins: tuple[int, int] | None
    currency: str | None
    result: str
    compare: tuple[str, ...]
    notes: tuple[str, ...]
    choices: tuple[Choice, ...]
    lines: tuple[FormLine, ...]

    def year_of(self, start: datetime.date, end: datetime.date) -> int:
        """Return the year of the form in which a range of days lies: that of its last day.

        Raises:
            PeriodError: the range lies in no one year of the form.
        """
        if self.begins is None:
            return end.year
        first, last = year_around(start, *self.begins)
        if end > last:
            second, its_last = year_around(end, *self.begins)
            raise PeriodError(
                f"A year of {self.name} runs from {_day(first)} to {_day(last)}; {start} to {end} lies in two. "
                f"Ask for --from {first} --to {last}, or for --from {second} --to {its_last}.",
            )
        return last.year

    def choose(self, choices: Mapping[str, str]) -> dict[str, str]:
        """Return the option of every choice, the default where none is asked for.

        Raises:
            FormError: there is no such choice or option.
        """
        taken = {choice.name: choice.default for choice in self.choices}
        for name, option in choices.items():
            choice = next((choice for choice in self.choices if choice.name == name), None)
            if choice is None:
                known = ", ".join(taken) or "none"
                raise FormError(f"The form {self.name} has no choice {name!r}; its choices: {known}.")
            if option not in choice.options:
                known = " or ".join(choice.options)
                raise FormError(f"{name} of the form {self.name} is {known}, not {option!r}.")
            taken[name] = option
        return taken


def _day(day: datetime.date) -> str:
    """Return a day without its year."""
    return f"{day.day} {day:%B}"


def read_forms(*folders: Path) -> list[Form]:
    """Read the forms that are shipped, then those in folders.

    Args:
        folders: where the owner's own forms may lie; one that does not exist holds none.

    Raises:
        FormError: a file cannot be read.
    """
    forms: dict[tuple[str, int | None], Form] = {}
    with told_as(FormError):
        for form in map(_form, read_files(__name__, folders)):
            forms[form.name, form.year] = form
    return list(forms.values())


def find_form(forms: Iterable[Form], name: str, day: datetime.date) -> Form:
    """Return the form of the year in which a day lies, or the newest when there is none of that year.

    Raises:
        FormError: there is no form of this name; the message names those there are.
    """
    forms = list(forms)
    named = [form for form in forms if form.name == name]
    if not named:
        known = ", ".join(sorted({form.name for form in forms}))
        raise FormError(f"There is no form {name!r}. The forms are {known}; your own are files in forms/.")
    of_year = [form for form in named if form.year == form.year_of(day, day)]
    return of_year[0] if of_year else max(named, key=lambda form: form.year or 0)


def _form(top: Section) -> Form:
    choices = tuple(_choices(top.section("choices")))
    year: int | None = top.get("year", int, "a year", None)
    form = Form(
        name=top.text("name"),
        title=top.text("title"),
        year=year,
        begins=_begins(top),
        currency=top.text("currency", None),
        result=top.text("result"),
        compare=top.texts("compare"),
        notes=top.texts("notes"),
        choices=choices,
        lines=_lines(top, choices),
    )
    for line in (form.result, *form.compare):
        if line not in {each.line for each in form.lines}:
            raise top.problem(f'result and compare: there is no line "{line}"')
    top.close()
    return form


def _begins(top: Section) -> tuple[int, int] | None:
    text: str | None = top.text("begins", None)
    if text is None:
        return None
    try:
        # Not the 29th of February: the day has to be there in every year.
        day = datetime.date.fromisoformat(f"2001-{text}")
    except ValueError:
        day = None
    if day is None or not _MONTH_AND_DAY.fullmatch(text):
        raise top.problem(f'begins: expected a month and a day such as "04-06", found "{text}"')
    return day.month, day.day


def _choices(table: Section) -> Iterable[Choice]:
    for name in table.free():
        options = table.section(name)
        words = {option: options.text(option) for option in options.free()}
        default = words.pop(_DEFAULT, "")
        if default not in words:
            known = ", ".join(words) or "the options"
            raise options.problem(f'default: expected one of {known}, found "{default}"')
        yield Choice(name, default, words)


def _lines(top: Section, choices: Sequence[Choice]) -> tuple[FormLine, ...]:
    source, checked = top.text("source"), checked_of(top, None)
    tables: dict[str, Section] = {}
    for table in top.sections("lines"):
        line = table.text("line")
        if line in tables:
            raise table.problem(f'line: there is a line "{line}" already')
        tables[line] = table
    lines = []
    for line, table in tables.items():
        when = table.section("when")
        lines.append(
            FormLine(
                line=line,
                part=table.text("part", ""),
                shown=table.text("shown", line),
                caption=table.text("caption"),
                ours=_terms(table, "sum", LINES | set(TOTALS)),
                lines=_terms(table, "lines", tables),
                also=tuple(_also(each, tables, choices) for each in table.sections("also")),
                when={name: _option(when, name, name, choices) for name in when.free()},
                at_least=amount_of(table, "at-least"),
                at_most=amount_of(table, "at-most"),
                is_memo=table.flag("memo", default=False),
                note=table.text("note", ""),
                source=table.text("source", source),
                checked=checked_of(table, checked),
            ),
        )
        table.close()
    _refuse_circles(top, lines)
    return tuple(lines)


def _refuse_circles(top: Section, lines: Iterable[FormLine]) -> None:
    made_of = {
        line.line: [term.line for terms in (line.lines, *(each.lines for each in line.also)) for term in terms]
        for line in lines
    }
    try:
        TopologicalSorter(made_of).prepare()
    except CycleError as error:
        raise top.problem(f"lines are made of each other: {', '.join(error.args[1])}") from None


def _also(table: Section, lines: Iterable[str], choices: Sequence[Choice]) -> Also:
    choice = table.text("choice")
    also = Also(
        choice,
        _option(table, choice, "option", choices),
        _terms(table, "sum", LINES | set(TOTALS)),
        _terms(table, "lines", lines),
    )
    table.close()
    return also


def _option(table: Section, choice: str, key: str, choices: Sequence[Choice]) -> str:
    options = next((each.options for each in choices if each.name == choice), None)
    if options is None:
        raise table.problem(f'there is no choice "{choice}"')
    option = table.text(key)
    if option not in options:
        raise table.problem(f'{key}: expected {" or ".join(options)}, found "{option}"')
    return option


def _terms(table: Section, key: str, known: Iterable[str]) -> tuple[Term, ...]:
    known = list(known)
    terms = []
    for text in table.texts(key):
        term = Term(text.removeprefix("-"), -1 if text.startswith("-") else 1)
        if term.line not in known:
            here = ", ".join(sorted(known))
            raise table.problem(f'{key}: there is no line "{term.line}" to take; there are {here}')
        terms.append(term)
    return tuple(terms)
