"""Entries into the books, all or nothing.

The entries are appended to a copy beside the books, and Beancount loads the copy. Only if it has no error that
the books did not have is it renamed over them, in one step: whoever reads the books, or is killed meanwhile,
sees the old ones or the new. Imports wait for each other by a lock on the books themselves.
"""

from __future__ import annotations

import fcntl
import os
import stat
from bisect import bisect_right
from collections import Counter
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount import loader

from millilot.importers.identity import EVENT
from millilot.importers.problems import BooksError
from millilot.importers.text import format_entries, format_entry

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from beancount.core.data import Directive, Transaction


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


class BooksFile:
    """The books while nobody else imports into them.

    Attributes:
        path: the file.
        entries: what Beancount loaded from it.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._content = path.read_bytes()
        self._status = path.stat()
        self.entries, self._problems = _load(path, path)

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
        return self._append(format_entries(transactions), transactions, dry_run=dry_run) if transactions else []

    def append_text(self, text: str) -> list[Problem]:
        """Append directives as they are written, unless that would bring a new error.

        Args:
            text: whole lines.

        Returns:
            The errors the books would newly have; the books are unchanged if there is any.

        Raises:
            BooksError: as for `append`.
        """
        return self._append(text, ())

    def _append(self, text: str, transactions: Sequence[Transaction], *, dry_run: bool = False) -> list[Problem]:
        copy = self.path.with_name(f".{self.path.name}.importing")
        try:
            try:
                self._write(copy, self._joined(text))
                new = self._new_problems(copy, transactions)
                if not new and not dry_run:
                    self._put_in_place(copy)
            finally:
                copy.unlink(missing_ok=True)
        except OSError as error:
            raise BooksError(f"{self.path}: cannot be written: {error.strerror}") from None
        return new

    def _joined(self, text: str) -> bytes:
        """Return the content with a text after a blank line, in the books' own line endings."""
        ending = b"\r\n" if b"\r\n" in self._content else b"\n"
        content = self._content
        if content and not content.endswith(b"\n"):
            content += ending
        if content.strip() and not content.endswith(ending * 2):
            content += ending
        return content + text.encode().replace(b"\n", ending)

    def _write(self, copy: Path, content: bytes) -> None:
        # A copy that a killed import left behind; whoever holds the lock may remove it.
        copy.unlink(missing_ok=True)
        with copy.open("xb") as file:
            os.fchmod(file.fileno(), stat.S_IMODE(self._status.st_mode))
            with suppress(PermissionError):
                os.fchown(file.fileno(), self._status.st_uid, self._status.st_gid)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())

    def _new_problems(self, copy: Path, transactions: Sequence[Transaction]) -> list[Problem]:
        entries, problems = _load(copy, self.path)
        # By place: a balance that fails already fails by another amount now, and is no new error.
        known = Counter((problem.file, problem.line) for problem in self._problems)
        new = []
        for problem in problems:
            place = problem.file, problem.line
            if known[place]:
                known[place] -= 1
            else:
                new.append(problem)
        events = {entry.meta.get(EVENT) for entry in entries}
        if not new and not events.issuperset(transaction.meta[EVENT] for transaction in transactions):
            # Something, such as another plugin, takes them out; the next import would add them again.
            raise BooksError(f"{self.path}: the books do not show the new entries once loaded; nothing is written")
        return self._with_origins(new, transactions) if new else []

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

        return [problem._replace(origin=origin(problem)) for problem in problems]

    def _put_in_place(self, copy: Path) -> None:
        status = self.path.stat()
        same_file = (status.st_dev, status.st_ino) == (self._status.st_dev, self._status.st_ino)
        if not same_file or self.path.read_bytes() != self._content:
            raise BooksError(f"{self.path}: changed while the import ran; nothing is written, import again")
        copy.replace(self.path)
        # The rename lasts once the folder is on the disk; where a folder cannot be forced there, the books are
        # in place all the same.
        with suppress(OSError):
            folder = os.open(self.path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)


@contextmanager
def open_books(path: Path) -> Iterator[BooksFile]:
    """Open books for an import, waiting for any other import to end.

    Args:
        path: the main file; a symbolic link stays one.

    Raises:
        BooksError: when they cannot be opened.
    """
    path = path.resolve()
    try:
        file = _lock(path)
    except OSError as error:
        raise BooksError(f"{path}: cannot be opened for writing: {error.strerror}") from None
    try:
        yield BooksFile(path)
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


def _load(file: Path, books: Path) -> tuple[list[Directive], list[Problem]]:
    """Load a file, naming the books in its errors.

    Beancount's cache is left out: it would leave a file behind, and does not see that a plugin changed.
    """
    try:
        entries, errors, _ = loader._uncached_load_file(str(file), None, None, None)  # type: ignore[no-untyped-call]
    except ArithmeticError as error:
        # Beancount stumbles over a lot of nothing.
        raise BooksError(f"{books}: the books cannot be loaded: {error!r}") from error
    return entries, [_problem(error, str(file), str(books)) for error in errors]


def _problem(error: Any, file: str, books: str) -> Problem:
    source = error.source or {}
    where = str(source.get("filename", books)).replace(file, books)
    return Problem(where, int(source.get("lineno") or 0), error.message.replace(file, books).strip())
