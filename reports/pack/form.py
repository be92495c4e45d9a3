"""Year-end forms as sheets, and what else bears on them: the cut-off list and the thresholds."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.reports.cutoff import cut_off
from millilot.reports.filled import fill
from millilot.reports.pack.table import Column, Holds, Row, Table, Term, minus, plus
from millilot.reports.thresholds import thresholds

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from decimal import Decimal

    from millilot.reports.filled import FilledForm
    from millilot.reports.forms import Form, FormLine
    from millilot.reports.pack.span import Span
    from millilot.reports.thresholds import Threshold

#: What a sheet cannot be called, and how long its name may be.
_UNWANTED = re.compile(r"[^\w .-]", re.ASCII)
_LONGEST_NAME = 31

#: The number of a line that has none on the form.
_NO_NUMBER = "-"


def form_sheet(span: Span, form: Form, choices: Mapping[str, str]) -> Table:
    """Return a form filled for the range.

    Args:
        span: the books and the range.
        form: the form.
        choices: options to take, by choice; those of other forms are passed over.

    Raises:
        PeriodError: the range lies in no one year of the form.
        FormError: there is no such option.
    """
    own = {choice.name for choice in form.choices}
    taken = {name: option for name, option in choices.items() if name in own}
    filled = fill(form, span.closing, span.start, span.end, taken)
    year = f" (form of {form.year})" if form.year else ""
    return Table(
        _UNWANTED.sub("", f"Form {form.name}")[:_LONGEST_NAME],
        f"{form.title}, {span.name}{year}",
        (
            Column("what", "What"),
            Column("number", "Line"),
            Column("caption", "Caption, in our words"),
            Column("amount", "Amount", Holds.MONEY),
            Column("mark", "Not checked"),
            Column("source", "Source"),
            Column("checked", "Checked on", Holds.DATE),
            Column("note", "Note"),
        ),
        (*_lines(filled), *_remarks(filled)),
        "Which form applies is not decided here. A ? marks a line that was not checked against the form.",
    )


def cut_off_list(span: Span) -> Table:
    """Return the orders paid up to the last day and poured after it; their words are left out."""
    rows = [
        Row(
            {
                "order": each.order,
                "paid": each.paid,
                "poured": each.poured,
                "amount": each.amount,
                "counted": each.counted,
            },
        )
        for each in cut_off(span.all, span.start, span.end)
    ]
    return Table(
        "Cut-off",
        f"Orders paid on or before {span.end} and poured after it",
        (
            Column("order", "Order or split"),
            Column("paid", "Paid on", Holds.DATE),
            Column("poured", "Poured on", Holds.DATE),
            Column("amount", "Paid", Holds.MONEY, total=True),
            Column("counted", "Counted in receipts"),
        ),
        tuple(rows),
        "An order without a day of pouring still waits.",
    )


def threshold_list(span: Span, known: Sequence[Threshold]) -> Table:
    """Return how far the range is from each threshold."""
    rows = []
    for each in thresholds(span.closing, span.start, span.end, known):
        cells = {column.name: getattr(each, column.name) for column in _THRESHOLD_COLUMNS}
        cells["channel"] = (each.channel or "").rpartition(":")[2]
        reached = {None: None, True: "yes", False: "no"}[each.reached]
        rows.append(Row({**cells, "reached": reached}))
    return Table(
        "Thresholds",
        f"How far {span.name} is from what is reported or taxed",
        _THRESHOLD_COLUMNS,
        tuple(rows),
        "Which of these apply is not decided here. A ? marks what was not checked against the source.",
    )


_THRESHOLD_COLUMNS = (
    Column("title", "What"),
    Column("channel", "Channel"),
    Column("amount", "Amount", Holds.MONEY),
    Column("limit", "Limit", Holds.MONEY),
    Column("left", "Left", Holds.MONEY, of=(*plus("limit"), *minus("amount"))),
    Column("currency", "Currency"),
    Column("count", "Payments", Holds.COUNT),
    Column("count_limit", "Limit of payments", Holds.COUNT),
    Column("count_left", "Payments left", Holds.COUNT),
    Column("reached", "Reached"),
    Column("mark", "Not checked"),
    Column("source", "Source"),
    Column("note", "Note"),
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
