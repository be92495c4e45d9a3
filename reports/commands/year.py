"""`millilot year`: a year's totals, laid out as a statement or as forms, and what they are made of."""

from __future__ import annotations

import datetime
from dataclasses import asdict
from typing import TYPE_CHECKING, NamedTuple

import click
from beancount.core.number import ZERO

from millilot.importers.problems import InputError
from millilot.reports.commands.form_tables import (
    LINE_COLUMNS,
    form_json,
    form_table,
    paragraph,
    rows,
    side_by_side_table,
    threshold_rows,
    threshold_table,
)
from millilot.reports.commands.options import Format, day, read, report_options
from millilot.reports.commands.part_tables import PART_COLUMNS, part_rows, part_table
from millilot.reports.commands.statement import contributed_table, cut_off_table, statement, title_of
from millilot.reports.contributed import contributed
from millilot.reports.cutoff import cut_off
from millilot.reports.days import last_of_year
from millilot.reports.filled import figures_of, fill, trace_form
from millilot.reports.forms import find_form, read_forms
from millilot.reports.side_by_side import side_by_side
from millilot.reports.tables import printable, text, to_csv, to_json
from millilot.reports.thresholds import Distance, read_thresholds, thresholds
from millilot.reports.year import year as report
from millilot.reports.year_lines import UnknownLineError, trace
from millilot.reports.year_notes import year_notes
from millilot.reports.year_statement import CAUTION

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from millilot.ledger.records import Books
    from millilot.reports.forms import Form


class Asked(NamedTuple):
    """What was asked for: the books and the days."""

    books: Books
    start: datetime.date
    end: datetime.date
    style: str
    wide: bool


def _choices(_ctx: click.Context, _option: click.Parameter, values: Sequence[str]) -> dict[str, str]:
    """Return choices written as `losses=stock`."""
    for value in values:
        if "=" not in value:
            raise click.BadParameter(f"{value!r} is no choice; expected one like losses=stock.")
    return dict(value.split("=", 1) for value in values)


@click.command("year")
@click.argument(
    "number", metavar="[YEAR]", required=False, type=click.IntRange(datetime.MINYEAR, datetime.MAXYEAR),
)
@click.option(
    "--from", "first", callback=day, metavar="DATE",
    help="Begin on this day, for another year than the calendar's; it ends on --to, or a year later.",
)
@click.option(
    "--form", "names", multiple=True, metavar="NAME",
    help="Show a year-end form: us-hobby, us-schedule-c, uk-sa103s, ca-t2125, plain, or one of your own from "
    "forms/ beside the books. Several are shown side by side.",
)
@click.option(
    "--choose", "choices", multiple=True, callback=_choices, metavar="CHOICE=OPTION",
    help="Take another option of a form, such as losses=stock.",
)
@click.option("--trace", "line", metavar="LINE", help="List the entries a line is made of; with --form, its line.")
@click.option("--thresholds", "near", is_flag=True, help="Show how far the year is from each known threshold.")
@report_options
def year_command(
    *,
    number: int | None,
    first: datetime.date | None,
    names: tuple[str, ...],
    choices: Mapping[str, str],
    line: str | None,
    path: Path,
    style: str,
    to: datetime.date | None,
    near: bool,
    wide: bool,
) -> None:
    """Show the totals of a year: receipts, cost of goods sold, expenses and profit."""
    if choices and not names:
        raise click.UsageError("--choose takes an option of a form; name the form with --form.")
    start, end = _days(number, first, to)
    asked = Asked(read(path, None), start, end, style, wide)
    try:
        forms = _forms(names, path, end)
        if line is not None:
            _show_trace(asked, line, forms[0] if forms else None, choices)
        elif near:
            known = read_thresholds(path.parent / "thresholds")
            _show_thresholds(asked, thresholds(asked.books, start, end, known))
        elif forms:
            _show_forms(asked, forms, choices)
        else:
            _show_year(asked)
    except (InputError, UnknownLineError) as error:
        raise click.ClickException("\n".join(map(printable, str(error).splitlines()))) from None


def _days(
    number: int | None, first: datetime.date | None, to: datetime.date | None,
) -> tuple[datetime.date, datetime.date]:
    """Return the first and the last day that were asked for."""
    if first is not None:
        end = to or last_of_year(first)
        if end < first:
            raise click.UsageError(f"--to {end} is before --from {first}.")
        if number is not None and not first.year <= number <= end.year:
            raise click.UsageError(f"{first} to {end} is not the year {number}.")
        return first, end
    if number is None:
        raise click.UsageError("Missing argument '[YEAR]'; expected a year, or its first day as --from.")
    end = datetime.date(number, 12, 31)
    return datetime.date(number, 1, 1), end if to is None else min(end, to)


def _forms(names: Sequence[str], path: Path, end: datetime.date) -> list[Form]:
    """Return the forms that were asked for, each of the year in which it says the last day lies."""
    if not names:
        return []
    known = read_forms(path.parent / "forms")
    return [find_form(known, name, end) for name in names]


def _show_year(asked: Asked) -> None:
    books, start, end, style, _ = asked
    totals = report(books, start, end).rounded(books.currency)
    lines = asdict(totals)
    unproven = contributed(books, start, end)
    across, notes = cut_off(books, start, end), year_notes(books, start, end)
    match style:
        case Format.JSON:
            lists = {"contributed_bottles": unproven, "cut_off": [asdict(each) for each in across], "notes": notes}
            click.echo(to_json({**lines, **lists}), nl=False)
        case Format.CSV:
            click.echo(to_csv([lines], list(lines)), nl=False)
        case _:
            click.echo(statement(title_of(start, end), books.currency, totals), nl=False)
            if unproven:
                click.echo(f"\nOwned before, or at an estimated cost\n\n{contributed_table(unproven)}", nl=False)
            if across:
                click.echo(f"\nPaid on or before {end}, poured after it\n\n{cut_off_table(across)}", nl=False)
            if notes:
                click.echo("\n" + "\n".join(map(paragraph, notes)))
            click.echo(f"\n{CAUTION}")


def _show_forms(asked: Asked, forms: Sequence[Form], choices: Mapping[str, str]) -> None:
    books, start, end, style, _ = asked
    filled = [fill(form, books, start, end, _for(form, forms, choices)) for form in forms]
    match style:
        case Format.JSON:
            objects = [form_json(each) for each in filled]
            click.echo(to_json(objects[0] if len(objects) == 1 else objects), nl=False)
        case Format.CSV:
            click.echo(to_csv([row for each in filled for row in rows(each)], LINE_COLUMNS), nl=False)
        case _:
            if len(filled) == 1:
                click.echo(form_table(filled[0]), nl=False)
            else:
                click.echo(side_by_side_table(filled, side_by_side(books, filled)), nl=False)
            notes = year_notes(books, start, end)
            if notes:
                click.echo("\n".join(map(paragraph, notes)))
            click.echo(f"\n{CAUTION}")


def _for(form: Form, forms: Sequence[Form], choices: Mapping[str, str]) -> dict[str, str]:
    """Return the choices that are meant for a form: beside others, those that it leaves open or that none does."""
    own = {choice.name for choice in form.choices}
    others = {choice.name for each in forms for choice in each.choices} - own
    return {name: option for name, option in choices.items() if name not in others}


def _show_thresholds(asked: Asked, distances: Sequence[Distance]) -> None:
    match asked.style:
        case Format.JSON:
            click.echo(to_json(threshold_rows(distances)), nl=False)
        case Format.CSV:
            columns = list(Distance.__dataclass_fields__)
            click.echo(to_csv(threshold_rows(distances), columns), nl=False)
        case _:
            click.echo(f"{title_of(asked.start, asked.end)}: thresholds\n\n{threshold_table(distances)}")
            click.echo(CAUTION)


def _show_trace(asked: Asked, line: str, form: Form | None, choices: Mapping[str, str]) -> None:
    books, start, end = asked.books, asked.start, asked.end
    if form is None:
        name, found = line, trace(books, start, end, line)
    else:
        name, found = f"{form.name}, line {line}", trace_form(form, books, (start, end), line, choices)
    total = sum((part.amount for part in found), ZERO)
    # In the report the line may have given way by a cent to those it is added up with.
    if form is not None:
        shown = next(each.amount for each in fill(form, books, start, end, choices).lines if each.line == line)
    else:
        shown = figures_of(books, start, end)[line]
    match asked.style:
        case Format.JSON:
            whole = {"line": line, "amount": shown, "sum": total, "entries": part_rows(found)}
            click.echo(to_json(whole), nl=False)
        case Format.CSV:
            click.echo(to_csv(part_rows(found), PART_COLUMNS), nl=False)
        case _:
            click.echo(f"{title_of(start, end)}: {name}\n")
            click.echo(part_table(found, total, books.currency, wide=asked.wide), nl=False)
            click.echo(f"\nUnrounded {total:f}, in the report {'not known' if shown is None else text(shown)}.")
