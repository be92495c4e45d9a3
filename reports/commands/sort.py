"""`millilot sort`: say which fragrance an unsorted line was."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from millilot.importers.answers import Answers
from millilot.importers.booking import open_books
from millilot.importers.problems import InputError
from millilot.importers.profile import read_profile
from millilot.importers.sorting import Sorter
from millilot.importers.spelling import fold
from millilot.importers.text import units_text
from millilot.importers.title_rules import Pour
from millilot.importers.unsorted import SortError, find
from millilot.ledger.money import minor_unit
from millilot.reports.commands.options import Format, books_option, clean, load, show
from millilot.reports.commands.writing import count, profile_paths, refuse
from millilot.reports.tables import Column, to_csv, to_json, to_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millilot.importers.sorting import Change
    from millilot.importers.unsorted import UnsortedLine

#: Of the list as CSV; in JSON all suggestions stand under `suggestions`.
COLUMNS = (
    "order", "date", "price", "currency", "quantity", "title", "sku", "suggestion", "certainty", "written_in",
)


@click.command("sort")
@click.argument("order", required=False)
@click.argument("fragrance", required=False)
@click.argument("ml", required=False)
@click.option("--vials", type=click.IntRange(0), default=1, show_default=True, help="How many; 0 means unopened.")
@click.option("--once", is_flag=True, help="Do not keep the answer in the profile.")
@click.option("--certain", is_flag=True, help="Sort all lines whose titles are certain by now.")
@click.option(
    "--profile", "profile_path", type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The profile of the line's channel; otherwise the one in profiles/ beside the books.",
)
@books_option
@click.option("--dry-run", is_flag=True, help="Show what the line becomes, and write nothing.")
@click.option(
    "--format", "style", type=click.Choice([style.value for style in Format]), default=Format.TABLE.value,
    show_default=True, help="How to write what is listed, or done.",
)
def sort_command(
    *,
    order: str | None,
    fragrance: str | None,
    ml: str | None,
    vials: int,
    profile_path: Path | None,
    path: Path,
    style: str,
    once: bool,
    certain: bool,
    dry_run: bool,
) -> None:
    """List what is unsorted, or say that ORDER was of FRAGRANCE, ML a vial.

    The line is written anew as a sale, and the answer kept in the profile, so that the next import knows the
    title. ORDER is the name in the list, FRAGRANCE a commodity of the books or its name. Of a line with a
    quantity, say what one of them was.

    ORDER alone takes the title at its word, if that is certain by now, as when you have added a set to the
    profile.
    """
    if (fragrance is None) is not (ml is None) or (order is not None and certain):
        raise click.UsageError("Expected ORDER FRAGRANCE ML, ORDER alone, --certain alone, or nothing.")
    try:
        profiles = {each: read_profile(each) for each in profile_paths(profile_path, path)}
        if order is None and not certain:
            _list(Sorter(load(path.resolve()).entries, profiles.values()), style)
            return
        with open_books(path, "sort") as books:
            sorter = Sorter(books.entries, profiles.values())
            answers = None
            if order is None:
                changes = _all_certain(sorter)
            elif fragrance is None or ml is None:
                changes = [_certain(sorter, find(sorter.lines, order))]
            else:
                line = find(sorter.lines, order)
                pour = Pour(sorter.fragrance(fragrance), _size(ml), vials)
                changes = [sorter.change(line, pour)]
                if not once:
                    own = sorter.profile(line)
                    at = profile_path or next((each for each, read in profiles.items() if read is own), None)
                    answers = _answers(line, pour, at)
            refuse(sorter.write(books, changes, dry_run=dry_run), path)
            _tell(changes, style)
            if answers is not None and not dry_run:
                answers.write()
                _tell_of_answer(answers, changes[0].line, sorter, err=style != Format.TABLE)
    except InputError as error:
        raise click.ClickException(clean(str(error))) from None


def _size(text: str) -> Decimal:
    try:
        size = Decimal(fold(text).removesuffix("ml").strip())
    except InvalidOperation:
        size = Decimal(0)
    if not size.is_finite() or size <= 0:
        raise SortError(f"{text}: expected mL of one vial, such as 5 or 2.5")
    return size


def _all_certain(sorter: Sorter) -> list[Change]:
    readings = [(line, sorter.certain(line)) for line in sorter.lines]
    return [sorter.change(line, pours) for line, pours in readings if pours is not None]


def _certain(sorter: Sorter, line: UnsortedLine) -> Change:
    pours = sorter.certain(line)
    if pours is None:
        raise SortError(f"{line.name}: its title is not certain; say the fragrance and the mL of a vial")
    return sorter.change(line, pours)


def _answers(line: UnsortedLine, pour: Pour, profile: Path | None) -> Answers | None:
    """Return the profile with the answer in it, not written yet."""
    if profile is None:
        raise SortError(
            f'{line.name}: expected one profile of the channel "{line.channel}" to keep the answer in; say which '
            "with --profile, or --once to keep it nowhere",
        )
    answers = Answers(profile)
    return answers if answers.add(line.title, line.sku, pour) else None


def _tell(changes: Sequence[Change], style: str) -> None:
    draws = [
        {"order": line.name, "account": posting.account, "draw": " ".join(units_text(posting))}
        for line, postings in changes
        for posting in postings
    ]
    match style:
        case Format.JSON:
            click.echo(to_json(draws), nl=False)
        case Format.CSV:
            click.echo(to_csv(draws, ("order", "account", "draw")), nl=False)
        case _ if draws:
            for draw in draws:
                show(f"{draw['order']}: {draw['account']} {draw['draw']}")
        case _:
            show("No title is certain by now.")


def _tell_of_answer(answers: Answers, line: UnsortedLine, sorter: Sorter, *, err: bool) -> None:
    show(f"Kept in {answers.path}, for the next import.", err=err)
    same = [
        each
        for each in sorter.lines
        if each != line and each.channel == line.channel and fold(each.title) == fold(line.title)
    ]
    if same:
        more = count(len(same), "more line")
        show(f"{more} of this title; `millilot sort --certain` sorts what is certain now.", err=err)


def _list(sorter: Sorter, style: str) -> None:
    lines = [_row(line, sorter) for line in sorter.lines]
    match style:
        case Format.JSON:
            full = [{name: cell for name, cell in line.items() if name not in _BEST} for line in lines]
            click.echo(to_json(full), nl=False)
        case Format.CSV:
            click.echo(to_csv(lines, COLUMNS), nl=False)
        case _:
            click.echo(_table(lines) if lines else "Nothing is unsorted.\n", nl=False)


_BEST = {"suggestion", "certainty"}


def _row(line: UnsortedLine, sorter: Sorter) -> dict[str, Any]:
    suggestions = [{"suggestion": str(each), "certainty": each.certainty} for each in sorter.suggest(line)]
    return {
        "order": line.name,
        "date": line.date,
        "price": line.price.quantize(minor_unit(line.currency)),
        "currency": line.currency,
        "quantity": line.quantity,
        "title": line.title,
        "sku": line.sku,
        **(suggestions[0] if suggestions else dict.fromkeys(sorted(_BEST))),
        "suggestions": suggestions,
        "written_in": line.place,
    }


def _table(lines: Sequence[dict[str, Any]]) -> str:
    columns = [
        Column("Order", right=False),
        Column("Date", right=False),
        Column("Price"),
        Column("Suggestion", right=False, flexible=True),
        Column("Sure"),
        Column("Title", right=False, flexible=True),
    ]
    rows: list[list[object]] = []
    for line in lines:
        first, *others = line["suggestions"] or [{"suggestion": "", "certainty": None}]
        title = line["title"] or line["sku"]
        rows.append(
            [
                line["order"],
                line["date"],
                line["price"],
                first["suggestion"],
                _percent(first["certainty"]),
                title if line["quantity"] == 1 else f"{line['quantity']} of: {title}",
            ],
        )
        rows.extend(["", "", "", each["suggestion"], _percent(each["certainty"]), ""] for each in others)
    return to_table(columns, rows)


def _percent(certainty: int | None) -> str:
    return "" if certainty is None else f"{certainty} %"
