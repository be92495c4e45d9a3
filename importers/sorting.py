"""Unsorted lines of the books: which there are, and how one is sorted when the owner says what it was.

An importer books an item whose title is not certain as income, and leaves what the file called it::

    2026-03-05 ! "Mystery 5 mL" ^order-lantern-1002
      event: "lantern/sale/1002"
      Income:Unsorted             -12.00 USD
        title: "Mystery 5 mL"
      Assets:Marketplace:Lantern   12.00 USD

Sorted, the line is a draw, and the transaction has its usual flag once no line of it is unsorted::

    2026-03-05 * "Mystery 5 mL" ^order-lantern-1002
      event: "lantern/sale/1002"
      Income:Sales                    -5 CEDARHOUR @@ 12.00 USD
        title: "Mystery 5 mL"
      Assets:Marketplace:Lantern   12.00 USD
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from millilot.importers.booking import Edit
from millilot.importers.costs import Costs
from millilot.importers.pours import Sold, draws
from millilot.importers.spelling import fold
from millilot.importers.text import metadata_text, units_text
from millilot.importers.title_rules import TitleRules
from millilot.importers.titles import TitleReader
from millilot.importers.unsorted import SortError, UnsortedLine, unsorted_lines
from millilot.ledger.accounts import Role
from millilot.ledger.directives import read_settings

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from beancount.core.data import Directive, Posting

    from millilot.importers.booking import BooksFile, Problem
    from millilot.importers.profile import Profile
    from millilot.importers.title_rules import Bundle, Pour
    from millilot.importers.titles import Suggestion

_POSTING = re.compile(
    r"(?P<indent>\s+)(?:[!*]\s+)?(?P<account>\S+)\s+(?P<number>-?[\d,]+(?:\.\d+)?)\s+(?P<currency>[^\s;]+)"
    r"(?P<comment>\s*(?:;.*)?)",
)
_METADATA = re.compile(r"(?P<indent>\s+)[a-z][A-Za-z0-9_-]*:(?:\s|$)")
_FLAGGED = re.compile(r"(\S+\s+)!(?=\s)")


class Change(NamedTuple):
    """An unsorted line and the draws it becomes."""

    line: UnsortedLine
    postings: list[Posting]


class Sorter:
    """Knows the unsorted lines of the books, and what the profiles say of their titles.

    Args:
        entries: the loaded books.
        profiles: a line is read by the only one of its channel.

    Attributes:
        lines: the unsorted lines, by day.
    """

    def __init__(self, entries: Sequence[Directive], profiles: Iterable[Profile]) -> None:
        self._settings, _ = read_settings(entries)
        self._costs = Costs(entries)
        self._profiles = tuple(profiles)
        self._readers: dict[str, TitleReader] = {}
        self.lines = unsorted_lines(entries, self._settings.roles)

    def profile(self, line: UnsortedLine) -> Profile | None:
        """Return the profile of a line's channel, None when there is none or there are several."""
        found = [profile for profile in self._profiles if profile.slug == line.channel]
        return found[0] if len(found) == 1 else None

    def suggest(self, line: UnsortedLine) -> list[Suggestion]:
        """Return the best ways to read a line's title, the most certain first."""
        return self._reader(line).suggest(line.sku, line.title, line.quantity)

    def certain(self, line: UnsortedLine) -> Pour | Bundle | None:
        """Return what one item of a line is, None when that is not certain."""
        return self._reader(line).read(line.sku, line.title, line.quantity)

    def fragrance(self, name: str) -> str:
        """Return the commodity of a fragrance, by its code or its name.

        Raises:
            SortError: when the books know none of this name, or several.
        """
        known = [each for each in self._settings.commodities.values() if each.is_fragrance]
        found = [each.code for each in known if each.code == name]
        found = found or [each.code for each in known if fold(name) in {fold(each.name), fold(each.code)}]
        if len(found) == 1:
            return found[0]
        if found:
            raise SortError(f"{name}: expected one fragrance, found {', '.join(found)}")
        codes = ", ".join(each.code for each in known)
        raise SortError(f"{name}: expected a fragrance of the books, one of {codes}")

    def change(self, line: UnsortedLine, pours: Pour | Bundle) -> Change:
        """Return a line with its draws.

        Raises:
            SortError: when the price of a set cannot be shared for certain.
        """
        sold = Sold(line.quantity, line.price, line.currency, line.date)
        account = self._settings.roles.on(line.date).account(Role.SALES)
        postings = draws(pours, sold, account, self._costs)
        if postings is None:
            raise SortError(f"{line.name}: the set is shared by cost, and the cost of its parts is not certain")
        return Change(line, postings)

    def write(self, books: BooksFile, changes: Sequence[Change], *, dry_run: bool = False) -> list[Problem]:
        """Put the draws in the place of their lines, all of them or none.

        Returns:
            The errors the books would newly have; they are unchanged if there is any.

        Raises:
            SortError: when a line stands in another file, or is not written as importers write it.
            BooksError: when the books cannot be written, or somebody changed them meanwhile.
        """
        left = len(self.lines) - len(changes)

        def shown(entries: list[Directive]) -> bool:
            return len(unsorted_lines(entries, self._settings.roles)) == left

        if not changes:
            return []
        return books.replace(_edits(changes, self.lines, books), shown, dry_run=dry_run)

    def _reader(self, line: UnsortedLine) -> TitleReader:
        if line.channel not in self._readers:
            profile = self.profile(line)
            rules = profile.titles if profile else TitleRules()
            self._readers[line.channel] = TitleReader(rules, self._settings.commodities.values())
        return self._readers[line.channel]


def _edits(changes: Sequence[Change], unsorted: Iterable[UnsortedLine], books: BooksFile) -> list[Edit]:
    written = books.lines
    result = [edit for change in changes for edit in _line_edits(change, books.path, written)]
    done = {line.line for line, _ in changes}
    waiting = {line.head for line in unsorted if line.file == str(books.path) and line.line not in done}
    for head in {line.head for line, _ in changes} - waiting:
        text = _FLAGGED.sub(r"\1*", written[head - 1], count=1)
        result.append(Edit(head, 1, (text,)))
    return result


def _line_edits(change: Change, books: Path, written: Sequence[str]) -> Iterator[Edit]:
    line, postings = change
    if line.file != str(books):
        draw = "; ".join(" ".join((posting.account, *units_text(posting))) for posting in postings)
        raise SortError(
            f"{line.file}:{line.line}: {line.name} is in a file that the books include, and only {books.name} is "
            f"written to; write there: {draw}",
        )
    text = written[line.line - 1]
    match = _POSTING.fullmatch(text)
    if match is None or not _says(match, line):
        expected = f"{line.account} {-line.price} {line.currency}"
        raise SortError(f"{line.file}:{line.line}: expected a line like {expected}, found {text.strip()!r}")
    below = written[line.line :]
    metadata = next((place for place, each in enumerate(below) if not _METADATA.match(each)), len(below))
    indent = _METADATA.match(below[0])["indent"] if metadata else match["indent"] * 2  # type: ignore[index]
    first, *others = ((_posting_text(posting, match), posting) for posting in postings)
    yield Edit(line.line, 1, (first[0] + match["comment"].rstrip(), *_metadata_lines(first[1], indent)))
    if others:
        text_of_others = [each for head, posting in others for each in (head, *_metadata_lines(posting, indent))]
        yield Edit(line.line + 1 + metadata, 0, tuple(text_of_others))


def _says(match: re.Match[str], line: UnsortedLine) -> bool:
    number = Decimal(match["number"].replace(",", ""))
    return (match["account"], number, match["currency"]) == (line.account, -line.price, line.currency)


def _posting_text(posting: Posting, old: re.Match[str]) -> str:
    """Return a posting with its number below those of the transaction it goes into."""
    number, rest = units_text(posting)
    head = old["indent"] + posting.account
    room = old.end("number") - len(head)
    return f"{head}{number:>{max(room, len(number) + 2)}} {rest}"


def _metadata_lines(posting: Posting, indent: str) -> Iterator[str]:
    return metadata_text(posting.meta or {}, indent)
