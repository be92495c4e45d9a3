"""Orders that were poured: their tag `#to-pour` makes room for the day.

::

    2026-03-04 * "Cedar Hour 5 mL" #to-pour ^order-lantern-1001
      event: "lantern/sale/1001"

Poured, the same reads::

    2026-03-04 * "Cedar Hour 5 mL" ^order-lantern-1001
      poured: 2026-03-06
      event: "lantern/sale/1001"

Nothing else of the file changes, not a blank or a line ending.
"""

from __future__ import annotations

import re
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.data import Transaction

from millilot.importers.booking import Edit
from millilot.importers.problems import InputError
from millilot.ledger.annotations import ORDER, ORDERED, POURED_ON, TO_POUR, day_of, links_of

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Mapping, Sequence

    from beancount.core.data import Directive

    from millilot.importers.booking import BooksFile, Problem

_TAG = f"#{TO_POUR}"
#: So many orders are named at most where one is not known.
_MOST_NAMED = 5

#: What may hold a tag without being one, the tags themselves, and ends of lines. A transaction ends with the line
#: that no indented one follows; the text of a string may have lines of its own.
_TOKEN = re.compile(
    r"""
    (?P<text> "(?:[^"\\]|\\.)*" | ;[^\n]* )
    | (?P<tag> \#[A-Za-z0-9/_.-]+ )
    | (?P<end> \n(?![ \t]+\S) )
    | \n
    """,
    re.DOTALL | re.VERBOSE,
)
_PUSHED = re.compile(rf"(push|pop)tag\s+{_TAG}\s*(;.*)?")


class PouredError(InputError):
    """An order that cannot be marked as poured."""


class Change(NamedTuple):
    """A transaction that was poured, and what of its text changes.

    Attributes:
        name: its order's link without `order-`, or its file and line.
        file: the file it stands in.
        line: the line it begins on.
        old: the lines that change.
        new: what they become.
        edits: the same for the file.
    """

    name: str
    file: Path
    line: int
    old: tuple[str, ...]
    new: tuple[str, ...]
    edits: tuple[Edit, ...]

    @property
    def place(self) -> str:
        """Its file and line."""
        return f"{self.file.name}:{self.line}"


def changes(books: BooksFile, names: Iterable[str], on: datetime.date) -> list[Change]:
    """Return what marks orders as poured, all their transactions that wait.

    Args:
        books: the books.
        names: of orders: their links, with or without caret and `order-`, or the file and line of one without.
        on: the day they were poured.

    Raises:
        PouredError: an order is not known, does not wait, or is younger than the day; or a tag is not on it.
        BooksError: a file cannot be read.
    """
    orders = _orders(books.entries)
    found: dict[tuple[str, int], Change] = {}
    for given in names:
        name = _known(given, orders)
        for entry in _waiting(name, orders[name], on):
            change = _change(name, entry, books, on)
            found.setdefault((str(change.file), change.line), change)
    return list(found.values())


def write(
    books: BooksFile, changed: Sequence[Change], on: datetime.date, *, dry_run: bool = False,
) -> list[Problem]:
    """Mark orders as poured in the text of the books, all of them or none.

    Returns:
        The errors the books would newly have; they are unchanged if there is any.

    Raises:
        PouredError: they stand in several files, which no one step can change.
        BooksError: the books cannot be written, or somebody changed them meanwhile.
    """
    files = {change.file for change in changed}
    if len(files) > 1:
        places = ", ".join(f"{change.name} in {change.place}" for change in changed)
        raise PouredError(f"the orders stand in several files; mark those of one file at a time: {places}")
    before = _counts(books.entries, on)

    def shown(entries: list[Directive]) -> bool:
        wait, poured = _counts(entries, on)
        return (wait, poured) == (before[0] - len(changed), before[1] + len(changed))

    edits = [edit for change in changed for edit in change.edits]
    return books.replace(edits, shown, file=files.pop(), dry_run=dry_run) if files else []


def _counts(entries: Iterable[Directive], on: datetime.date) -> tuple[int, int]:
    """Return how many transactions wait, and how many were poured on a day."""
    transactions = [entry for entry in entries if isinstance(entry, Transaction)]
    poured = sum(entry.meta.get(POURED_ON) == on for entry in transactions)
    return sum(_waits(entry) for entry in transactions), poured


def _waits(entry: Transaction) -> bool:
    return TO_POUR in (entry.tags or ())


def _place(entry: Transaction) -> str:
    return f"{Path(entry.meta['filename']).name}:{entry.meta['lineno']}"


def _orders(entries: Iterable[Directive]) -> dict[str, list[Transaction]]:
    """Return the transactions of each order by its link without `order-`, and those that wait without one."""
    orders: dict[str, list[Transaction]] = {}
    for entry in entries:
        if isinstance(entry, Transaction):
            links = links_of(entry, ORDER)
            for link in links:
                orders.setdefault(link.removeprefix(ORDER), []).append(entry)
            if not links and _waits(entry):
                orders.setdefault(_place(entry), []).append(entry)
    return orders


def _known(given: str, orders: Mapping[str, Sequence[Transaction]]) -> str:
    """Return the name of an order as it was given.

    Raises:
        PouredError: there is none; the message names those near it.
    """
    wanted = given.removeprefix("^")
    for name in (wanted, wanted.removeprefix(ORDER)):
        if name in orders:
            return name
    wanted = wanted.removeprefix(ORDER)
    by_lower = {name.lower(): name for name in sorted(orders)}
    near = [name for name in sorted(orders) if wanted and name.endswith(f"-{wanted}")]
    near += [by_lower[name] for name in get_close_matches(wanted.lower(), by_lower, n=_MOST_NAMED)]
    waiting = sorted(name for name, entries in orders.items() if any(map(_waits, entries)))
    if near:
        hint = f"near it are {', '.join(dict.fromkeys(near))}"
    elif waiting:
        hint = f"to be poured are {', '.join(waiting[:_MOST_NAMED])}{' and others' * (len(waiting) > _MOST_NAMED)}"
    else:
        hint = "no order waits to be poured"
    raise PouredError(f"{given}: expected an order of the books, found none of this name; {hint}")


def _waiting(name: str, entries: Sequence[Transaction], on: datetime.date) -> list[Transaction]:
    """Return the transactions of an order that wait.

    Raises:
        PouredError: none does, or they are younger than the day.
    """
    waiting = [entry for entry in entries if _waits(entry)]
    poured = [entry for entry in entries if entry.meta.get(POURED_ON) is not None]
    for entry in poured:
        day = entry.meta[POURED_ON]
        if _waits(entry):
            raise PouredError(
                f"{_place(entry)}: {name} has {POURED_ON}: {day} already, and {_TAG} beside it; take off the tag",
            )
        if not waiting:
            raise PouredError(f"{_place(entry)}: {name} was poured on {day} already")
    if not waiting:
        raise PouredError(f"{_place(entries[0])}: {name} does not wait to be poured: it has no {_TAG}")
    for entry in waiting:
        ordered = min(day_of(entry, ORDERED) or entry.date, entry.date)
        if on < ordered:
            raise PouredError(f"{_place(entry)}: {name} is of {ordered}; expected that day or later, found {on}")
    return waiting


def _change(name: str, entry: Transaction, books: BooksFile, on: datetime.date) -> Change:
    """Return what changes of the text of a transaction.

    Raises:
        PouredError: the tag is pushed on it from elsewhere, or its text is not where it should be.
    """
    file, line = Path(entry.meta["filename"]), int(entry.meta["lineno"])
    lines = books.lines_of(file)
    if not 0 < line <= len(lines) or not lines[line - 1].startswith(entry.date.strftime("%Y")):
        raise PouredError(f"{file.name}:{line}: expected the transaction of {name}; its file has changed")
    if (pushed := _pushed(lines[: line - 1])) is not None:
        raise PouredError(
            f"{file.name}:{pushed}: pushtag puts {_TAG} on {name}, {file.name}:{line}, and on others; write it on "
            "each of those that wait instead",
        )
    text = "\n".join(lines[line - 1 :])
    tags, head, end = _scan(text)
    if not tags:
        raise PouredError(f"{file.name}:{line}: expected {_TAG} on {name}, found none")
    before, after = text[:end].split("\n"), _without(text[:end], tags).split("\n")
    own = text[:head].count("\n") + 1
    indent = re.match(r"[ \t]*", before[own])[0] if len(before) > own else "  "  # type: ignore[index]
    edits = [Edit(line + own, 0, (f"{indent}{POURED_ON}: {on}",))]
    for number, (was, becomes) in enumerate(zip(before, after, strict=True)):
        if was != becomes:
            # A line that held the tag and nothing else goes with it.
            edits.append(Edit(line + number, 1, (becomes,) if becomes.strip() else ()))
    edits.sort()
    old = tuple(before[edit.line - line] for edit in edits if edit.gone)
    return Change(name, file, line, old, tuple(new for edit in edits for new in edit.text), tuple(edits))


def _without(text: str, tags: Sequence[tuple[int, int]]) -> str:
    """Return a text without its tags and the blanks that set each apart."""
    # From the last, so that those before it stay where they are.
    for start, stop in reversed(tags):
        before, behind = text[:start].rstrip(" \t"), text[stop:]
        if before.endswith("\n"):
            # The first of its line: the indent stays.
            before, behind = text[:start], behind.lstrip(" \t")
        text = before + behind
    return text


def _scan(text: str) -> tuple[list[tuple[int, int]], int, int]:
    """Find what is to change in the text that begins with a transaction.

    Returns:
        Where the tags stand, where its first line ends, and where it does itself.
    """
    tags: list[tuple[int, int]] = []
    head = None
    for match in _TOKEN.finditer(text):
        if match["tag"] == _TAG:
            tags.append(match.span())
        elif not match["text"] and not match["tag"]:
            head = match.start() if head is None else head
            if match["end"]:
                return tags, head, match.start()
    return tags, len(text) if head is None else head, len(text)


def _pushed(lines: Sequence[str]) -> int | None:
    """Return the line that pushes the tag on all that follows, None when none does any more."""
    pushed: list[int] = []
    for number, line in enumerate(lines, 1):
        match = _PUSHED.fullmatch(line.rstrip())
        if match is not None and match[1] == "push":
            pushed.append(number)
        elif match is not None and pushed:
            pushed.pop()
    return pushed[-1] if pushed else None
