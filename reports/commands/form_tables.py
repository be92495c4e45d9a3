"""How forms and thresholds are printed."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import asdict
from itertools import groupby
from textwrap import fill as wrap
from typing import TYPE_CHECKING, Any

from millilot.reports.commands.statement import title_of
from millilot.reports.tables import WIDTH, Column, printable, to_table

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from decimal import Decimal

    from millilot.reports.filled import FilledForm, FilledLine
    from millilot.reports.side_by_side import Beside
    from millilot.reports.thresholds import Distance

LINE_COLUMNS = ("form", "year", "number", "part", "caption", "amount", "mark", "note", "source", "checked")

_UNKNOWN = "not known"
_SOURCES = "Sources of the lines; ? marks what was not checked against the form"


def paragraph(text: str, *, first: str = "- ") -> str:
    """Return a text in lines that fit the terminal."""
    text = printable(" ".join(text.split()))
    return wrap(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False)


def form_table(filled: FilledForm) -> str:
    """Return a form with its choices, sources and notes."""
    parts = [paragraph(_title(filled), first=""), ""]
    if filled.warnings:
        parts += [*(paragraph(warning, first="! ") for warning in filled.warnings), ""]
    parts.append(_lines(filled))
    if filled.taken:
        parts += ["Choices", *map(paragraph, _choices(filled)), ""]
    parts += [_SOURCES, *map(paragraph, _sources(filled.lines)), ""]
    remarks = [f"Line {line.number}: {line.note}" for line in filled.lines if line.note]
    return "\n".join([*parts, *map(paragraph, (*remarks, *filled.notes))]) + "\n"


def form_json(filled: FilledForm) -> dict[str, Any]:
    """Return a form as one object."""
    return {
        "form": filled.form.name,
        "title": filled.form.title,
        "year": filled.form.year,
        "from": filled.start,
        "to": filled.end,
        "currency": filled.currency,
        "lines": [{name: row[name] for name in LINE_COLUMNS[2:]} for row in rows(filled)],
        "choices": [taken._asdict() for taken in filled.taken],
        "alternatives": [
            {"choice": other.choice, "option": other.option, "words": other.words, "line": line, "amount": amount}
            for other in filled.alternatives
            for line, amount in other.compared
        ],
        "warnings": list(filled.warnings),
        "notes": list(filled.notes),
    }


def rows(filled: FilledForm) -> list[dict[str, Any]]:
    """Return a form as rows with LINE_COLUMNS."""
    form = {"form": filled.form.name, "year": filled.form.year}
    return [{**form, **{name: getattr(line, name) for name in LINE_COLUMNS[2:]}} for line in filled.lines]


def side_by_side_table(forms: Sequence[FilledForm], beside: Iterable[Beside]) -> str:
    """Return forms beside each other, the results below."""
    columns = [
        Column("", right=False),
        Column(forms[0].currency),
        *(Column(form.form.name, right=False, flexible=True) for form in forms),
    ]
    body: list[Sequence[object]] = [
        [each.line.replace("_", " ").capitalize(), _amount(each.amount), *each.places] for each in beside
    ]
    results = [form.result for form in forms]
    body.append([])
    body += [
        ["Result, line", None, *(f"{line.number} {line.mark}" for line in results)],
        ["Result", None, *(_amount(line.amount) for line in results)],
    ]
    table = to_table(columns, [row or [""] * len(columns) for row in body])
    warnings = [paragraph(f"{form.form.name}: {each}", first="! ") for form in forms for each in form.warnings]
    choices = [paragraph(f"{form.form.name}: {each}") for form in forms for each in _choices(form)]
    titles = [paragraph(f"{form.form.name}: {_title(form)}", first="") for form in forms]
    sources = [paragraph(f"{form.form.name}: {each}") for form in forms for each in _sources(form.lines)]
    below = [*warnings, *choices, "", _SOURCES, *sources]
    return "\n".join([*titles, "", table, *below]) + "\n"


def threshold_table(distances: Sequence[Distance]) -> str:
    """Return how far a year is from each threshold."""
    some_reached = any(each.reached is not False for each in distances)
    columns = (
        Column("", right=False),
        Column("Threshold", right=False, flexible=True),
        Column("Channel", right=False),
        Column("Amount"),
        Column("of"),
        Column("left"),
        Column("Number"),
        Column("of"),
        *([Column("State", right=False)] if some_reached else []),
    )
    body = [
        [
            each.mark,
            each.title,
            (each.channel or "").rpartition(":")[2],
            each.amount,
            each.limit,
            each.left,
            each.count,
            each.count_limit,
            *([{True: "reached", False: "", None: f"in {each.currency}"}[each.reached]] if some_reached else []),
        ]
        for each in distances
    ]
    notes = [
        f"{each.title}: {each.note} Source: {each.source}{', not checked' if each.mark else ''}."
        for each in distances
    ]
    return "\n".join([to_table(columns, body), *map(paragraph, dict.fromkeys(notes))]) + "\n"


def threshold_rows(distances: Iterable[Distance]) -> list[dict[str, Any]]:
    """Return the distances as rows."""
    return [asdict(each) for each in distances]


def _title(filled: FilledForm) -> str:
    form = filled.form
    year = f", form of {form.year}" if form.year else ""
    return f"{form.title}{year}, for {title_of(filled.start, filled.end)}"


def _lines(filled: FilledForm) -> str:
    columns = (
        Column("Line", right=False), Column("", right=False, flexible=True), Column(filled.currency),
        Column("", right=False),
    )
    body: list[Sequence[object]] = []
    inside = [line for line in filled.lines if not line.is_memo]
    for part, of_part in groupby(inside, key=lambda line: line.part):
        if body:
            body.append(["", "", "", ""])
        if part:
            body.append(["", part, "", ""])
        body += [_row(line) for line in of_part]
    memos = [line for line in filled.lines if line.is_memo]
    if memos:
        body.append(["", "", "", ""])
        body += [_row(line) for line in memos]
    return to_table(columns, body)


def _row(line: FilledLine) -> Sequence[object]:
    return [line.number, line.caption, _amount(line.amount), line.mark]


def _amount(amount: Decimal | None) -> object:
    return _UNKNOWN if amount is None else amount


def _choices(filled: FilledForm) -> list[str]:
    """Return what was taken of each choice, and what the others would give."""
    found = []
    for taken in filled.taken:
        words = f"{taken.choice}={taken.option}: {taken.words}."
        for other in filled.alternatives:
            if other.choice == taken.choice:
                amounts = ", ".join(f"line {line} would be {_amount(amount)}" for line, amount in other.compared)
                words += f" With {other.choice}={other.option}, {other.words}: {amounts}."
        found.append(words)
    return found


def _sources(lines: Iterable[FilledLine]) -> list[str]:
    by_source: dict[tuple[str, object], list[str]] = defaultdict(list)
    for line in lines:
        if not line.is_memo:
            numbers = by_source[line.source, line.checked]
            if line.number not in numbers:
                numbers.append(line.number)
    return [
        f"{source}, {f'checked {checked}' if checked else 'not checked'}: {', '.join(numbers)}"
        for (source, checked), numbers in by_source.items()
    ]
