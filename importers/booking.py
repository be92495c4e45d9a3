"""Entries into the books, or other lines in the place of some, all or nothing.

The change is made to a copy beside the books, and Beancount loads the copy. Only if it has no error that the
books did not have is it renamed over them, in one step: whoever reads the books, or is killed meanwhile, sees
the old ones or the new. Commands wait for each other by a lock on the books themselves.
"""

from __future__ import annotations

import fcntl
import os
import re
from bisect import bisect_right
from collections import Counter
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount import loader

from millilot.importers.including import chain, redirected
from millilot.importers.problems import BooksError
from millilot.importers.replacing import WholeFile
from millilot.importers.text import format_entries, format_entry
from millilot.ledger.annotations import EVENT
from millilot.ledger.money import weight

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from beancount.core.data import Directive, Transaction


#: What Beancount says of a posting to an account that no `open` has opened.
_NOT_OPEN = re.compile("Invalid reference to (?:unknown|inactive) account '([^']+)'")


class Problem(NamedTuple):
    """An error of Beancount's or of a plugin's, at its place in the books.

    Attributes:
        file: the file of the books.
        line: the line, or the one it would have.
        message: what is wrong.
        origin: the file and row of an entry that was to be appended there, or empty.
    """

    file: str
    line: int
    message: str
    origin: str = ""

    def __str__(self) -> str:
        origin = f" ({self.origin})" if self.origin else ""
        return f"{self.file}:{self.line}{origin}: {self.message}"


class Edit(NamedTuple):
    """Lines of a file of the books, and the lines that take their place.

    Attributes:
        line: the first, 1 for the first of the file.
        gone: how many go; 0 to put others in front of the line.
        text: the new lines, without line endings.
    """

    line: int
    gone: int
    text: tuple[str, ...]


class BooksFile:
    """The books while no other command of ours writes them.

    Attributes:
        path: the file.
        entries: what Beancount loaded from it.
    """

    def __init__(self, path: Path, work: str = "import") -> None:
        self.path = path
        self._work = work
        self._file = WholeFile(path)
        self._included: dict[Path, WholeFile] = {}
        self.entries, self._problems = _load(path, path)

    @property
    def lines(self) -> list[str]:
        """The lines of the file, without line endings; bytes that are not UTF-8 stand as surrogates."""
        return self.lines_of(self.path)

    def lines_of(self, file: Path) -> list[str]:
        """Return the lines of the file or of one that it includes, as `lines` does.

        Args:
            file: by the name Beancount gives it.

        Raises:
            BooksError: it cannot be read.
        """
        text = self._whole(file).content.decode(errors="surrogateescape")
        return [line.removesuffix("\r") for line in text.split("\n")]

    def _whole(self, file: Path) -> WholeFile:
        if file == self.path:
            return self._file
        if file not in self._included:
            try:
                self._included[file] = WholeFile(file.resolve())
            except OSError as error:
                raise BooksError(f"{file}: cannot be read: {error.strerror}") from None
        return self._included[file]

    def append(self, transactions: Sequence[Transaction], *, dry_run: bool = False) -> list[Problem]:
        """Append entries, unless that would bring a new error.

        Args:
            transactions: entries of ours, in the order to write them.
            dry_run: try, but leave the books as they are.

        Returns:
            The errors the books would newly have; the books are unchanged if there is any.

        Raises:
            BooksError: when somebody changed the books meanwhile, or they cannot be written; they are unchanged.
        """
        if not transactions:
            return []
        keys = {transaction.meta[EVENT] for transaction in transactions}

        def shown(entries: Iterable[Directive]) -> bool:
            return keys <= {entry.meta.get(EVENT) for entry in entries}

        content = self._joined(format_entries(transactions))
        new = self._put(self.path, content, self._problems, shown, dry_run=dry_run)
        return self._with_origins(new, transactions) if new else []

    def append_text(self, text: str) -> list[Problem]:
        """Append directives as they are written, unless that would bring a new error.

        Args:
            text: whole lines.

        Returns:
            The errors the books would newly have; the books are unchanged if there is any.

        Raises:
            BooksError: as for `append`.
        """
        return self._put(self.path, self._joined(text), self._problems, lambda _: True, dry_run=False)

    def replace(
        self,
        edits: Sequence[Edit],
        shown: Callable[[list[Directive]], bool],
        *,
        file: Path | None = None,
        dry_run: bool = False,
    ) -> list[Problem]:
        """Put other lines in the place of some, unless that would bring a new error.

        Args:
            edits: in any order; they do not overlap.
            shown: whether the loaded books show what was meant.
            file: a file the books include, by the name Beancount gives it; the main one unless stated.
            dry_run: try, but leave the books as they are.

        Returns:
            The errors the books would newly have; the books are unchanged if there is any.

        Raises:
            BooksError: as for `append`.
        """
        file = file or self.path
        lines = self._whole(file).content.split(b"\n")
        moved = []
        for problem in self._problems:
            # What is put in front of a line moves it; what takes its place does not.
            before = [edit for edit in edits if edit.line + edit.gone <= problem.line]
            shift = sum(len(edit.text) - edit.gone for edit in before) if problem.file == str(file) else 0
            moved.append(problem._replace(line=problem.line + shift))
        for edit in sorted(edits, reverse=True):
            # Files may mix line endings: what is new has that of the line it replaces, or comes behind.
            ending = b"\r" if lines[max(edit.line - (1 if edit.gone else 2), 0)].endswith(b"\r") else b""
            text = [line.encode(errors="surrogateescape") + ending for line in edit.text]
            lines[edit.line - 1 : edit.line - 1 + edit.gone] = text
        return self._put(file, b"\n".join(lines), moved, shown, dry_run=dry_run)

    def _put(
        self,
        file: Path,
        content: bytes,
        known: Sequence[Problem],
        shown: Callable[[list[Directive]], bool],
        *,
        dry_run: bool,
    ) -> list[Problem]:
        """Put a content in place if it brings no error beyond the known ones; return those it would bring."""
        whole = self._whole(file)
        try:
            with self._tried(file, content) as (top, names):
                entries, problems = _load(top, self.path, names)
                new = _beyond(known, problems)
                if not new and not shown(entries):
                    # Something, such as another plugin, takes them out; the next import would add them again.
                    raise BooksError(
                        f"{self.path}: the books do not show the new entries once loaded; nothing is written",
                    )
                if not new and not dry_run:
                    self._put_in_place(whole)
        except OSError as error:
            raise BooksError(f"{file}: cannot be written: {error.strerror}") from None
        return new

    @contextmanager
    def _tried(self, file: Path, content: bytes) -> Iterator[tuple[Path, Mapping[str, str]]]:
        """Write a copy of a file with another content, and copies of those on the way to it from the main one.

        Yields:
            The copy of the main file, and what the copies are copies of.
        """
        way = chain(self.path, file)
        if not way:
            raise BooksError(f"{file}: cannot be found among the files that {self.path} includes")
        copies: list[WholeFile] = []
        try:
            for place in reversed(range(len(way))):
                whole = self._whole(way[place])
                if copies:
                    content = redirected(whole.content, way[place], way[place + 1], copies[-1].copy)
                copies.append(whole)
                whole.write_copy(content)
            names = zip(copies, reversed(way), strict=True)
            yield copies[-1].copy, {str(whole.copy): str(name) for whole, name in names}
        finally:
            for whole in copies:
                whole.drop_copy()

    def _joined(self, text: str) -> bytes:
        """Return the content with a text after a blank line, in the books' own line endings."""
        content = self._file.content
        ending = b"\r\n" if b"\r\n" in content else b"\n"
        if content and not content.endswith(b"\n"):
            content += ending
        if content.strip() and not content.endswith(ending * 2):
            content += ending
        return content + text.encode().replace(b"\n", ending)

    def _with_origins(self, problems: Iterable[Problem], transactions: Sequence[Transaction]) -> list[Problem]:
        """Return the problems, those of appended entries with the rows the entries come from."""
        lines = [self._joined("").count(b"\n") + 1]
        for transaction in transactions:
            # Entries are a blank line apart.
            lines.append(lines[-1] + format_entry(transaction).count("\n") + 1)

        def origin(problem: Problem) -> str:
            place = bisect_right(lines, problem.line) - 1
            if problem.file != str(self.path) or not 0 <= place < len(transactions):
                return ""
            meta = transactions[place].meta
            return f"{meta['filename']}, row {meta['lineno']}"

        told: dict[object, tuple[Problem, str]] = {}
        times: Counter[object] = Counter()
        for place, problem in enumerate(problems):
            advice = _advice(problem, transactions)
            # An account that is not open is one trouble, however many entries need it.
            key = (problem.message, advice) if advice else place
            times[key] += 1
            told.setdefault(key, (problem._replace(origin=origin(problem)), advice))
        return [
            problem._replace(
                message=problem.message + (f" in {times[key]} entries" if times[key] > 1 else "") + advice,
            )
            for key, (problem, advice) in told.items()
        ]

    def _put_in_place(self, whole: WholeFile) -> None:
        for each in (self._file, whole):
            if not each.is_unchanged():
                work = self._work
                raise BooksError(f"{each.path}: changed while the {work} ran; nothing is written, {work} again")
        whole.put_in_place()


def _beyond(known: Iterable[Problem], problems: Iterable[Problem]) -> list[Problem]:
    """Return the problems at places that had fewer of them before."""
    # By place: a balance that fails already fails by another amount now, and is no new error.
    left = Counter((problem.file, problem.line) for problem in known)
    new = []
    for problem in problems:
        place = problem.file, problem.line
        if left[place]:
            left[place] -= 1
        else:
            new.append(problem)
    return new


@contextmanager
def open_books(path: Path, work: str = "import") -> Iterator[BooksFile]:
    """Open books to write to them, waiting for any other command of ours that does.

    Args:
        path: the main file; a symbolic link stays one.
        work: what is done, as a message to the owner calls it.

    Raises:
        BooksError: when they cannot be opened.
    """
    path = path.resolve()
    try:
        file = _lock(path)
    except OSError as error:
        raise BooksError(f"{path}: cannot be opened for writing: {error.strerror}") from None
    try:
        yield BooksFile(path, work)
    finally:
        os.close(file)


def _lock(path: Path) -> int:
    """Return an open file that holds the lock on the books until it is closed."""
    while True:
        file = os.open(path, os.O_RDWR)
        try:
            fcntl.flock(file, fcntl.LOCK_EX)
            # While this one waited, another import may have put new books in the place of those it opened.
            if os.path.samestat(os.fstat(file), path.stat()):
                return file
        except BaseException:
            os.close(file)
            raise
        os.close(file)


def _advice(problem: Problem, transactions: Sequence[Transaction]) -> str:
    """Return the line to write where the trouble is an account that is not open."""
    match = _NOT_OPEN.search(problem.message)
    if match is None:
        return ""
    uses = [
        (transaction.date, posting)
        for transaction in transactions
        for posting in transaction.postings
        if posting.account == match[1]
    ]
    if not uses:
        return ""
    day = min(day for day, _ in uses)
    currency = weight(uses[0][1]).currency
    return f"; add to the books: {day} open {match[1]} {currency}"


def _load(
    file: Path, books: Path, names: Mapping[str, str] | None = None,
) -> tuple[list[Directive], list[Problem]]:
    """Load a file.

    Beancount's cache is left out: it would leave a file behind, and does not see that a plugin changed.

    Args:
        file: the main file, or a copy of it.
        books: the main file.
        names: the files that copies stand for, which errors name instead.
    """
    try:
        entries, errors, _ = loader._uncached_load_file(str(file), None, None, None)  # type: ignore[no-untyped-call]
    except ArithmeticError as error:
        # Beancount stumbles over a lot of nothing.
        raise BooksError(f"{books}: the books cannot be loaded: {error!r}") from error
    return entries, [_problem(error, names or {}, str(books)) for error in errors]


def _problem(error: Any, names: Mapping[str, str], books: str) -> Problem:
    source = error.source or {}
    where, message = str(source.get("filename", books)), error.message
    for copy, name in names.items():
        where, message = where.replace(copy, name), message.replace(copy, name)
    return Problem(where, int(source.get("lineno") or 0), message.strip())
