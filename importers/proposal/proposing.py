"""The proposal as a whole: what was found, the profile's text, and what an import by it would do."""

from __future__ import annotations

import re
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beancount.core import account as account_names
from beancount.core.data import Open

from millilot.importers.batch import Batch, Outcome
from millilot.importers.problems import InputError
from millilot.importers.profile import read_profile
from millilot.importers.proposal.direction import find_directions, find_question
from millilot.importers.proposal.evidence import Evidence, Holds, examine
from millilot.importers.proposal.findings import Certainty, Draft, Finding
from millilot.importers.proposal.headings import normalise
from millilot.importers.proposal.ledger import is_ledger, propose_ledger
from millilot.importers.proposal.money import find_currency, find_minor_units
from millilot.importers.proposal.orders import propose_orders
from millilot.importers.proposal.payouts import is_payouts, propose_payouts
from millilot.importers.proposal.prefixed import find_prefixed, propose_prefixed
from millilot.importers.proposal.sheet import Sheet, read_sheet
from millilot.importers.proposal.statement import is_statement, propose_statement
from millilot.importers.proposal.titles import propose_ignored_words
from millilot.importers.proposal.write import write_profile
from millilot.importers.proposal.zones import propose_zone
from millilot.importers.text import format_entry
from millilot.ledger.accounts import Role
from millilot.ledger.directives import read_settings
from millilot.ledger.money import minor_digits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from beancount.core.data import Directive

#: How many entries are shown as they would be booked, and how many refusals.
SHOWN = 3
#: Words of a file's name that are not the name of the channel.
_NAME_WORDS = """
    orders order sales sale export exports report reports statement transactions transaction activity items ledger
    payouts payout csv tsv txt data download file history earnings settlement settlements all my shop list account
    bestellungen verkaufe umsatze commandes ventes pedidos ventas ordini vendite bestellingen verkopen from to
    january february march april may june july august september october november december jan feb mar apr jun jul
    aug sep oct nov dec monthly weekly daily detail details sold bank channel
"""


@dataclass(frozen=True, slots=True)
class Trial:
    """What an import by the proposed profile would do.

    Attributes:
        counts: rows by how they end.
        entries: the first entries, as text.
        refusals: the first rows that are refused, each with its reason.
        money: what the rows leave on the channel's account, booked and left out, by currency.
        titles: how many different titles the file has.
        unsorted: the titles the importer cannot sort by itself.
    """

    counts: dict[str, int]
    entries: tuple[str, ...]
    refusals: tuple[str, ...]
    money: dict[str, Any]
    titles: int = 0
    unsorted: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposed profile.

    Attributes:
        path: the file it is for.
        rows: how many rows there are to book.
        shape: what a row is, in words.
        findings: what was found, guessed and missed.
        notes: what else the owner should know.
        gaps: words in the file that nobody knows.
        text: the profile.
        complete: whether nothing that is required is missing or contradicted.
        trial: what an import by it would do; None when it cannot be read.
        problem: why it cannot be tried, or empty.
    """

    path: Path
    rows: int
    shape: str
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]
    gaps: tuple[str, ...]
    text: str
    complete: bool
    trial: Trial | None = None
    problem: str = ""
    with_books: bool = False

    def of(self, certainty: Certainty) -> list[Finding]:
        """Return the findings of which so much is known."""
        return [finding for finding in self.findings if finding.certainty is certainty]


def propose(
    path: Path,
    account: str = "",
    entries: Sequence[Directive] = (),
    currencies: Sequence[str] = (),
) -> Proposal:
    """Propose a profile for a file.

    Args:
        path: the file.
        account: where the channel holds the money, or empty.
        entries: the loaded books; without any, no title can be sorted.
        currencies: the operating currencies of the books.

    Raises:
        FileError: when the file cannot be read, or holds no table.
    """
    sheet = read_sheet(path)
    evidence = examine(sheet)
    draft = Draft()
    _name(path, account, draft)
    currency = find_currency(sheet, evidence, currencies, draft)
    _file(sheet, draft)
    _numbers(evidence, draft)
    minor = find_minor_units(evidence, currency, draft)
    _days(evidence, draft)
    channels = _channels(entries)
    shape = _shape(evidence, draft, account, channels, 0 if minor else minor_digits(currency or "USD"))
    propose_zone(sheet, evidence, draft)
    propose_ignored_words(evidence, read_settings(entries)[0].commodities.values(), draft)
    _account_in_books(entries, account, currency, draft)
    _strange_cells(sheet, evidence, draft)
    _not_used(evidence, draft)
    _require_unique(sheet, draft)
    text = write_profile(draft, path.name)
    trial, problem = _try(path, text, draft, entries)
    if trial is not None and trial.counts["refused"] and not (trial.counts["new"] or trial.counts["unsorted"]):
        problem = "every row that counts is refused: the columns are something else than they seem"
    elif trial is not None and trial.counts["refused"] and draft.complete:
        refused = trial.counts["refused"]
        draft.gap(f"{refused} row(s) are refused by this profile, the first of them {trial.refusals[0]}.")
        text = write_profile(draft, path.name)
    complete = draft.complete and trial is not None and not problem
    return Proposal(
        path=path,
        rows=len(sheet.rows),
        shape=shape,
        findings=tuple(draft.every),
        notes=tuple(draft.notes),
        gaps=tuple(draft.gaps),
        text=text,
        complete=complete,
        trial=trial,
        problem=problem,
        with_books=bool(entries),
    )


def _channels(entries: Sequence[Directive]) -> tuple[str, ...]:
    """Return the accounts of the channels in the books."""
    settings, _ = read_settings(entries)
    opened = [entry for entry in entries if isinstance(entry, Open)]
    names = []
    for entry in opened:
        root = settings.roles.on(entry.date).account(Role.MARKETPLACE)
        if entry.account.startswith(f"{root}:") and ":" not in entry.account.removeprefix(f"{root}:"):
            names.append(entry.account)
    return tuple(names)


def _shape(evidence: Evidence, draft: Draft, account: str, channels: tuple[str, ...], digits: int) -> str:
    directions = find_directions(evidence)
    moved = directions.evidence if directions is not None else evidence
    directed = directions is not None and bool(directions.signs)
    shape = _shape_of_events(moved, draft, account, channels, digits, directed=directed)
    if shape:
        if directions is not None:
            directions.put(draft)
        return shape
    if is_payouts(evidence):
        return propose_payouts(evidence, draft)
    propose_orders(evidence, draft, digits)
    return "one row an item" if draft.value("file.row") == "item" else "one row an order"


def _shape_of_events(
    evidence: Evidence, draft: Draft, account: str, channels: tuple[str, ...], digits: int, *, directed: bool,
) -> str:
    """Put down the keys of a file whose rows are events; return what a row is, or nothing if they are none."""
    if is_ledger(evidence):
        return propose_ledger(evidence, draft, digits, directed=directed)
    prefixed = find_prefixed(evidence)
    if prefixed is not None:
        return propose_prefixed(evidence, prefixed, draft)
    question = None if directed else find_question(evidence)
    if is_statement(evidence, directed=directed or question is not None):
        if question is not None:
            question.put(draft)
        return propose_statement(evidence, draft, account, channels)
    return ""


def _name(path: Path, account: str, draft: Draft) -> None:
    if account:
        channel = account.rpartition(":")[2]
        draft.sure("channel", channel, "the last part of the account")
        draft.sure("account", account, "as asked for")
        return
    plain = frozenset(_NAME_WORDS.split())
    words = [word for word in re.findall(r"[^\W\d_]+", path.stem) if normalise(word) not in plain]
    named = [word for word in words if len(word) > 2]
    channel = "".join(word[0].upper() + word[1:] for word in named[:2])
    if channel and account_names.is_valid(f"Assets:{channel}"):
        draft.guess("channel", channel, "the name of the file")
    else:
        draft.guess("channel", "Channel", "the file's name says nothing; write the channel's name")


def _account_in_books(entries: Sequence[Directive], account: str, currency: str, draft: Draft) -> None:
    """Tell of an account that the books have not, or have for other currencies."""
    opened = {entry.account: entry for entry in entries if isinstance(entry, Open)}
    if not account or not opened:
        return
    if account not in opened:
        draft.notes.append(f"The books have no account {account}: open it before you import.")
    elif (allowed := opened[account].currencies) and currency and currency not in allowed:
        draft.notes.append(
            f"The books open {account} for {', '.join(allowed)}, but the file is in {currency}.",
        )


def _file(sheet: Sheet, draft: Draft) -> None:
    draft.sure("file.delimiter", sheet.delimiter, "what makes a table of the file")
    if sheet.encoding_sure:
        if sheet.encoding != "utf-8":
            draft.sure("file.encoding", sheet.encoding, "the file's own mark or its NULs")
    else:
        draft.guess("file.encoding", sheet.encoding, "the letters that make words in it")
    if sheet.preamble:
        draft.notes.append(f"The headings are in row {sheet.head}; the lines above them are left out.")
    if sheet.totals:
        draft.sure("file.totals", list(sheet.totals), "rows of sums, checked and left out")
    if sheet.end:
        draft.guess("file.end", [sheet.end], "text below the rows")
    if sheet.repeated:
        draft.notes.append(f"The headings come again in row {sheet.repeated[0]}; that is no row to book.")
    if sheet.odd:
        rows = ", ".join(map(str, sheet.odd[:5]))
        draft.notes.append(f"Not as many cells as headings in row {rows}: refused.")


def _numbers(evidence: Evidence, draft: Draft) -> None:
    marks = evidence.marks
    if marks.problem:
        draft.contradicted("numbers.decimal", marks.decimal, marks.problem)
    elif marks.decimal != "." or marks.thousands:
        draft.put("numbers.decimal", marks.decimal, _certainty(sure=marks.sure), marks.because)
    if marks.thousands and not marks.problem:
        value = marks.thousands[0] if len(marks.thousands) == 1 else list(marks.thousands)
        draft.put("numbers.thousands", value, _certainty(sure=marks.sure), "stands before three digits")


def _days(evidence: Evidence, draft: Draft) -> None:
    days = evidence.days
    value = list(days.formats) if len(days.formats) > 1 else next(iter(days.formats), None)
    if days.problem:
        draft.contradicted("dates.format", value, days.problem)
    elif not days.formats and days.open:
        choice = " or ".join(f'"{layout}"' for layout in days.open)
        draft.missing("dates.format", f"{choice}: {days.because}, and nothing in the file tells which")
    elif not days.formats:
        draft.missing("dates.format", "no column holds days")
    else:
        draft.put("dates.format", value, _certainty(sure=days.sure), days.because)
    if days.locale != "en":
        draft.put("dates.locale", days.locale, _certainty(sure=days.sure), "the names of the months")


def _certainty(*, sure: bool) -> Certainty:
    return Certainty.SURE if sure else Certainty.GUESSED


def _not_used(evidence: Evidence, draft: Draft) -> None:
    """Tell of the columns that no key names, so that nobody takes them for booked."""
    used = _named(draft)
    told = " ".join([*draft.notes, *draft.gaps])
    rest = [
        f'"{column.heading[:40]}"' + (" (amounts)" if column.holds is Holds.AMOUNTS else "")
        for column in evidence.columns
        if column.filled and column.heading not in used and f'"{column.heading}"' not in told
    ]
    if rest:
        draft.notes.append(f"Nothing of these columns is booked: {', '.join(rest)}.")


def _named(draft: Draft) -> set[Any]:
    """Return what the keys name, whether that is one thing, several, or several for each of several."""
    named: set[Any] = set()
    for value in (finding.value for finding in draft.every):
        if isinstance(value, dict):
            named.update(name for key, names in value.items() for name in (key, *names))
        else:
            named.update(value if isinstance(value, list) else [value])
    return named


def _strange_cells(sheet: Sheet, evidence: Evidence, draft: Draft) -> None:
    used = _named(draft)
    for column in evidence.columns:
        if column.bad and column.heading in used:
            row = sheet.rows[column.bad[0]]
            more = f" and {len(column.bad) - 1} more" if len(column.bad) > 1 else ""
            draft.notes.append(
                f'"{column.heading}" in row {row.number}{more} is no {"day" if not column.numbers else "number"}: '
                f'"{column.cells[column.bad[0]][:40]}".',
            )


def _require_unique(sheet: Sheet, draft: Draft) -> None:
    if sheet.doubled:
        names = ", ".join(f'"{heading[:40]}"' for heading in sorted(sheet.doubled)[:5])
        draft.notes.append(
            f"These headings stand in the file more than once, so no column of theirs is used: {names}."
        )


def _try(path: Path, text: str, draft: Draft, entries: Sequence[Directive]) -> tuple[Trial | None, str]:
    """Import the file by the proposed text, without writing anything."""
    if any(finding.value is None for finding in draft.every if finding.certainty is not Certainty.SURE):
        return None, "it cannot be tried before the gaps are filled"
    with tempfile.TemporaryDirectory() as folder:
        profile_path = Path(folder) / "proposed.toml"
        profile_path.write_text(text, encoding="utf-8")
        try:
            profile = read_profile(profile_path)
            batch = Batch(entries)
            batch.add(path, profile)
        except InputError as error:
            return None, str(error).replace(str(profile_path), "the proposed profile")
    result = batch.result()
    unsorted = dict.fromkeys(
        str(posting.meta["title"])
        for entry in batch.new
        for posting in entry.postings
        if posting.meta and "title" in posting.meta
    )
    titles = set(_titles(path, profile)) if profile.columns.title else set()
    refused = [fate for fate in result.fates if fate.fate is Outcome.REFUSED]
    return Trial(
        counts={outcome.value: getattr(result, outcome.value) for outcome in Outcome},
        entries=tuple(map(format_entry, batch.new[:SHOWN])),
        refusals=tuple(f"row {fate.row}: {fate.reason}" for fate in refused[:SHOWN]),
        money=result.as_dict()["money"],
        titles=len(titles),
        unsorted=tuple(title for title in unsorted if title),
    ), ""


def _titles(path: Path, profile: Any) -> list[str]:
    from millilot.importers.table import iter_rows  # noqa: PLC0415

    rows = iter_rows(path, profile.file, profile.headings)
    return [
        row[profile.columns.title]
        for row in rows
        if not row.skip and not row.problem and row[profile.columns.title]
    ]
