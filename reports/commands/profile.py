"""`millilot profile`: a profile for a file nobody has described."""

from __future__ import annotations

import inspect
import json
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from beancount.core import account as account_names

from millilot.importers import profile as keys_of_profiles
from millilot.importers.problems import InputError
from millilot.importers.proposal.findings import Certainty
from millilot.importers.proposal.proposing import propose
from millilot.importers.proposal.write import toml_value
from millilot.ledger.channels import Pocket
from millilot.reports.commands.options import load
from millilot.reports.commands.writing import write_file
from millilot.reports.tables import WIDTH, printable

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from millilot.importers.proposal.findings import Finding
    from millilot.importers.proposal.proposing import Proposal, Trial

_HEADINGS = {
    Certainty.CONTRADICTED: "The file contradicts itself",
    Certainty.MISSING: "Not found",
    Certainty.GUESSED: "Guessed",
    Certainty.SURE: "Sure",
}
#: The books that are taken if none are named.
_BOOKS = Path("main.beancount")
#: How many titles that cannot be sorted are listed.
_MOST_TITLES = 20


def _show_keys(context: click.Context, option: click.Parameter, value: bool) -> None:
    del option
    if value:
        click.echo_via_pager(f"{inspect.getdoc(keys_of_profiles)}\n")
        context.exit()


@click.command("profile")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--account", default="", help="The account that holds the channel's money.")
@click.option(
    "-b",
    "--books",
    "books",
    type=click.Path(exists=True, dir_okay=False, readable=True, path_type=Path),
    help="Your books: for the currency, and the fragrances that titles name; main.beancount here, if there is.",
)
@click.option("-o", "--output", type=click.Path(dir_okay=False, path_type=Path), help="Write the profile here.")
@click.option("--force", is_flag=True, help="Replace the file of -o if there is one.")
@click.option(
    "--keys",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_keys,
    help="Show every key a profile can have, and end.",
)
@click.option(
    "--format",
    "layout",
    type=click.Choice(["table", "json"]),
    default="table",
    show_default=True,
    help="How to show what was found.",
)
def profile_command(
    file: Path,
    account: str,
    books: Path | None,
    output: Path | None,
    *,
    force: bool,
    layout: str,
) -> None:
    """Propose a profile for a channel's FILE.

    Says what is sure, what is guessed and on what evidence, and what could not be found, and shows three entries
    as they would be booked. Nothing is booked. The exit status is 1 when something is missing that an import
    needs; -o writes the profile all the same, with the gap marked.
    """
    if account and not account_names.is_valid(account):
        raise click.BadParameter(
            f'expected one like "Assets:Marketplace:Lantern", found "{account}"', param_hint="--account"
        )
    _require_own_account(account)
    if output is not None and output.exists() and not force:
        raise click.ClickException(f"{output} is there already; nothing is written. --force replaces it.")
    if books is None and _BOOKS.is_file():
        books = _BOOKS
    loaded = load(books) if books is not None else None
    assets = loaded.options_map["name_assets"] if loaded else "Assets"
    if account and account.partition(":")[0] != assets:
        raise click.BadParameter(f"expected an account of {assets}, found {account}", param_hint="--account")
    entries = loaded.entries if loaded else []
    currencies = loaded.options_map.get("operating_currency", []) if loaded else []
    try:
        proposal = propose(file, account, entries, currencies)
    except InputError as error:
        raise click.ClickException(printable(str(error))) from None
    if output is not None:
        write_file(output, proposal.text, force=force)
    click.echo(_as_json(proposal) if layout == "json" else _as_table(proposal, output))
    if not proposal.complete:
        raise click.exceptions.Exit(1)


def _require_own_account(account: str) -> None:
    """Refuse the accounts that the import finds by itself from the channel's own."""
    channel, _, part = account.rpartition(":")
    if part in {Pocket.TRANSIT, Pocket.RESERVE}:
        raise click.BadParameter(
            f"expected the channel's own account, such as {channel}, found {account}, where payouts on their way "
            "and money held back go by themselves",
            param_hint="--account",
        )


def _as_json(proposal: Proposal) -> str:
    trial = proposal.trial
    values: dict[str, Any] = {
        "file": str(proposal.path),
        "rows": proposal.rows,
        "shape": proposal.shape,
        "complete": proposal.complete,
        "findings": [
            {"key": each.key, "value": each.value, "certainty": each.certainty.value, "because": each.because}
            for each in proposal.findings
        ],
        "notes": list(proposal.notes),
        "gaps": list(proposal.gaps),
        "text": proposal.text,
        "problem": proposal.problem,
        "trial": None
        if trial is None
        else {
            "counts": trial.counts,
            "entries": list(trial.entries),
            "refusals": list(trial.refusals),
            "money": trial.money,
            "titles": trial.titles,
            "unsorted": list(trial.unsorted),
        },
    }
    return json.dumps(values, indent=2, ensure_ascii=False)


def _as_table(proposal: Proposal, output: Path | None) -> str:
    rows = f"{proposal.rows} row{'' if proposal.rows == 1 else 's'}"
    lines = _wrapped(f"{proposal.path.name}: {rows}, {proposal.shape}")
    for certainty, heading in _HEADINGS.items():
        findings = proposal.of(certainty)
        if findings:
            lines += ["", heading, *_finding_lines(findings)]
    for heading, texts in (("Not known", proposal.gaps), ("Notes", proposal.notes)):
        if texts:
            lines += ["", heading, *(line for text in texts for line in _wrapped(text, "  ", "    "))]
    lines.append("")
    if proposal.trial is None:
        lines += _wrapped(f"Not tried: {proposal.problem}.")
    else:
        lines += _trial_lines(proposal.trial, with_books=proposal.with_books)
        if proposal.problem:
            lines += _wrapped(f"{proposal.problem[0].upper()}{proposal.problem[1:]}.")
    return "\n".join(map(printable, [*lines, "", *_last_lines(proposal, output)]))


def _last_lines(proposal: Proposal, output: Path | None) -> Iterator[str]:
    if output is not None:
        yield from _wrapped(f"Written to {output}.")
    elif proposal.complete:
        yield from _wrapped(
            "-o FILE writes it. Profiles in profiles/ beside the books are found by millilot import."
        )
    if not proposal.complete:
        yield from _wrapped(
            "The profile is not complete: settle what is not found, not known or contradicted; "
            "`millilot profile --keys` explains each key.",
        )


def _finding_lines(findings: Iterable[Finding]) -> Iterator[str]:
    rows: dict[str, list[Finding]] = {}
    for finding in findings:
        table, _, _ = finding.key.rpartition(".")
        joined = table if table.startswith(("fees.", "events.")) else finding.key
        rows.setdefault(joined, []).append(finding)
    for key, group in rows.items():
        if len(group) == 1 and group[0].key == key:
            value = "" if group[0].value is None else f" = {toml_value(group[0].value)}"
            left = f"{key}{value}"
        else:
            words = ", ".join(f"{each.key.rpartition('.')[2]} = {toml_value(each.value)}" for each in group)
            left = f"{key.partition('.')[0]}: {words}"
        yield from _beside(left, group[0].because)


def _beside(left: str, right: str) -> list[str]:
    """Return a key with its evidence beside it, or below where that does not fit."""
    left = f"  {left}"
    if len(left) <= 36 and len(right) <= WIDTH - 38:
        return [f"{left:<38}{right}"]
    return [*_wrapped(left.strip(), "  ", "    "), *_wrapped(right, "      ", "      ")]


def _trial_lines(trial: Trial, *, with_books: bool) -> list[str]:
    counts = ", ".join(f"{number} {name}" for name, number in trial.counts.items())
    lines = _wrapped(f"Tried on the file: {counts}.")
    for currency, money in trial.money.items():
        sums = ", ".join(f"{name} {amount}" for name, amount in money.items())
        lines += _wrapped(f"{currency}: {sums}")
    for refusal in trial.refusals:
        lines += _wrapped(refusal, "  ", "    ")
    if with_books and trial.titles:
        able = trial.titles - len(trial.unsorted)
        lines += _wrapped(f"Of {trial.titles} titles, {able} can be sorted by themselves.")
        lines += [
            line
            for title in trial.unsorted[:_MOST_TITLES]
            for line in _wrapped(f"not sorted: {title}", "  ", "    ")
        ]
        if len(trial.unsorted) > _MOST_TITLES:
            lines.append(f"  and {len(trial.unsorted) - _MOST_TITLES} more")
    for entry in trial.entries:
        lines.append("")
        lines += [part for line in entry.rstrip("\n").split("\n") for part in _folded(line)]
    return lines


def _folded(line: str) -> list[str]:
    """Return a line of an entry, folded where it is too wide for the screen."""
    indent = line[: len(line) - len(line.lstrip())]
    if len(line) <= WIDTH:
        return [line]
    return textwrap.wrap(line.strip(), WIDTH, initial_indent=indent, subsequent_indent=f"{indent}    ") or [line]


def _wrapped(text: str, first: str = "", others: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=others) or [""]
