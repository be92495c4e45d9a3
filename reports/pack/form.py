"""A year-end form as a sheet: its lines, the choices it leaves open, and what has to be known to read it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from millilot.ledger.records import ZERO
from millilot.reports.filled import fill
from millilot.reports.pack.table import Column, Kind, Row, Table, Term

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from decimal import Decimal

    from millilot.reports.filled import FilledForm
    from millilot.reports.forms import Form, FormLine
    from millilot.reports.pack.span import Span

#: What a sheet cannot be called, and how long its name may be.
_UNWANTED = re.compile(r"[^\w .-]", re.ASCII)
_LONGEST_NAME = 31

#: The number of a line that has none on the form.
_NO_NUMBER = "-"


def form_sheet(span: Span, form: Form, choices: Mapping[str, str]) -> Table:
    """Return a form filled for the range.

    Raises:
        PeriodError: the range lies in no one year of the form.
        FormError: there is no such choice or option.
    """
    filled = fill(form, span.closing, span.start, span.end, choices)
    year = f" (form of {form.year})" if form.year else ""
    return Table(
        _UNWANTED.sub("", f"Form {form.name}")[:_LONGEST_NAME],
        f"{form.title}, {span.name}{year}",
        (
            Column("what", "What"),
            Column("number", "Line"),
            Column("caption", "Caption, in our words"),
            Column("amount", "Amount", Kind.MONEY),
            Column("mark", "Not checked"),
            Column("source", "Source"),
            Column("checked", "Checked on", Kind.DATE),
            Column("note", "Note"),
        ),
        (*_lines(filled), *_remarks(filled)),
        "Which form applies is not decided here. A ? marks a line that was not checked against the form.",
    )


def _lines(filled: FilledForm) -> Iterator[Row]:
    taken = {each.choice: each.option for each in filled.taken}
    amounts = {line.line: line.amount for line in filled.lines}
    written = {line.line: line for line in filled.form.lines}
    for line in filled.lines:
        of = _of(written[line.line], taken, amounts)
        cells = {
            "what": "beside the form" if line.is_memo else line.part or "line",
            "number": None if line.number == _NO_NUMBER else line.number,
            "caption": line.caption,
            "amount": line.amount,
            "mark": line.mark,
            "source": line.source,
            "checked": line.checked,
            "note": line.note,
        }
        yield Row(cells, line.line, of)


def _of(line: FormLine, taken: Mapping[str, str], amounts: Mapping[str, Decimal | None]) -> tuple[Term, ...]:
    """Return the lines of the form that a line is the sum of; none if it is more than that, or held at a limit."""
    also = [each for each in line.also if taken[each.choice] == each.option]
    if line.ours or any(each.ours for each in also):
        return ()
    terms = [*line.lines, *(term for each in also for term in each.lines)]
    there = [Term(term.sign, term.line) for term in terms if term.line in amounts]
    total = sum((sign * (amounts[name] or ZERO) for sign, name in there), ZERO)
    known = all(amounts[name] is not None for _, name in there) and total == amounts[line.line]
    return tuple(there) if known else ()


def _remarks(filled: FilledForm) -> Iterator[Row]:
    """Yield what is to be said below the lines."""
    for warning in filled.warnings:
        yield _remark("warning", None, warning)
    for each in filled.taken:
        yield _remark("choice", each.choice, f"{each.option}: {each.words}")
    for other in filled.alternatives:
        lines = ", ".join(
            f"line {number}: {'not known' if amount is None else f'{amount:f}'}"
            for number, amount in other.compared
        )
        yield _remark("other choice", other.choice, f"{other.option} instead ({other.words}): {lines}")
    for note in filled.notes:
        yield _remark("note", None, note)


def _remark(what: str, of: str | None, text: str) -> Row:
    return Row({"what": what, "number": of, "caption": text}, spread="caption")
