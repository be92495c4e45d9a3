"""From a file to rows: which line a row stands on, and what stands under which heading.

Nothing is interpreted here but what is a row and what is not. Cells come out as one line of printable text,
because what a buyer or a channel wrote may hold line breaks, terminal controls or marks that turn the direction
of writing. Only the columns asked for leave this module: the others may tell who bought.

A file is read line by line, and no line may be longer than memory should hold.
"""

from __future__ import annotations

import csv
from collections import Counter, deque
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, islice
from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple

from millilot.importers.encodings import open_text, undecodable
from millilot.importers.problems import FileError

if TYPE_CHECKING:
    from _csv import Dialect as CSVDialect
    from collections.abc import Collection, Iterator, Mapping
    from pathlib import Path
    from typing import TextIO

    from millilot.importers.dialect import FileShape

#: Why a row is not one to book.
HEADINGS_AGAIN = "headings again"
TOTALS_ROW = "totals row"
BELOW_THE_ROWS = "text below the rows"

DELIMITERS = (",", ";", "\t", "|")

#: How many lines are searched for the headings, and how many headings with line breaks may take.
_SEARCHED = 100
_HEADING_LINES = 10

#: No row of a table comes near, but a file that is no table does.
_LONGEST_LINE = 1_000_000
_LONGEST_HEAD = 4 * _LONGEST_LINE


class RowError(Exception):
    """A row that cannot be booked: the line it stands on, and why."""

    def __init__(self, row: int, reason: str) -> None:
        super().__init__(reason)
        self.row = row
        self.reason = reason


@dataclass(slots=True)
class Row:
    """A row of the file.

    Attributes:
        number: the line of the file it begins on, 1 for the first.
        cells: text by heading, of the headings asked for.
        problem: why the row cannot be read, or empty.
        skip: why there is nothing to book in it, or empty.
    """

    number: int
    cells: Mapping[str, str]
    problem: str = ""
    skip: str = ""

    def __getitem__(self, heading: str) -> str:
        """Return the text under a heading; empty for the empty heading, which stands for no column."""
        return self.cells[heading] if heading else ""


class Record(NamedTuple):
    """The line a record of the file begins on, and its cells."""

    number: int
    cells: list[str]


class Head(NamedTuple):
    """The headings of a file.

    Attributes:
        number: the line they begin on.
        lines: how many they take.
        headings: all of them.
        delimiter: what stands between cells.
    """

    number: int
    lines: int
    headings: tuple[str, ...]
    delimiter: str

    def faults(self, wanted: Collection[str]) -> list[tuple[str, int]]:
        """Return the wanted headings that do not stand there once, and how often they do."""
        counts = Counter(self.headings)
        return [(heading, counts[heading]) for heading in sorted(wanted) if counts[heading] != 1]

    def rank(self, wanted: Collection[str]) -> tuple[int, int]:
        """Return how well they fit: how many of those wanted are there, then how many there are."""
        return -len(self.faults(wanted)), sum(map(bool, self.headings))


def read_rows(path: Path, shape: FileShape, wanted: Collection[str]) -> list[Row]:
    """Read all rows below the headings; rows without any text are none.

    Args:
        path: the file.
        shape: how it is written.
        wanted: the headings it must have, once each; at least one.

    Raises:
        FileError: when the file cannot be read or decoded, its quotes do not match, or a heading is missing.
    """
    return list(iter_rows(path, shape, wanted))


def iter_rows(path: Path, shape: FileShape, wanted: Collection[str]) -> Iterator[Row]:
    """Yield the rows as they are read; see `read_rows`.

    Raises:
        FileError: as `read_rows`, at any row.
    """
    with open_text(path, shape.encoding) as file:
        lines = _Lines(path, file)
        head = _find_head(lines, shape, wanted)
        for heading, count in head.faults(wanted):
            found = count or "none"
            raise FileError(f"{path}, row {head.number}: expected one heading '{heading}', found {found}")
        yield from _RowReader(shape, wanted, head).rows(lines)


def read_headings(path: Path, shape: FileShape, wanted: Collection[str] = ()) -> tuple[str, ...]:
    """Read the headings only: of the row that has most of those wanted.

    Raises:
        FileError: when the file cannot be read, or has no row.
    """
    # The characters of other rows are none of its business.
    with open_text(path, shape.encoding, errors="replace") as file:
        return _find_head(_Lines(path, file), shape, wanted).headings


def iter_records(path: Path, shape: FileShape) -> Iterator[Record]:
    """Yield all records of a file from its first line, whatever they are; cells as in rows.

    Args:
        path: the file.
        shape: how it is written; a comma stands between cells unless it says otherwise.

    Raises:
        FileError: when the file cannot be read or decoded, or its quotes do not match.
    """
    with open_text(path, shape.encoding) as file:
        lines = _Lines(path, file)
        for line in lines:
            number = lines.number
            yield Record(number, _cells(line, lines, shape.delimiter or ","))


class _Lines:
    """The lines of a file, counted."""

    def __init__(self, path: Path, file: TextIO) -> None:
        self.path = path
        self.number = 0
        self.damaged = 0
        self._file = file
        self._waiting: deque[str] = deque()

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        line = self._waiting.popleft() if self._waiting else self._read()
        if not line:
            raise StopIteration
        self.number += 1
        if "\0" in line:
            self.damaged = self.number
        return line

    def take(self, count: int, size: int) -> list[str]:
        """Return the next lines, without going past them; no more than fit a size in characters."""
        while len(self._waiting) < count and size > 0:
            line = self._read()
            if not line:
                break
            size -= len(line)
            self._waiting.append(line)
        return list(self._waiting)

    def _read(self) -> str:
        number = self.number + len(self._waiting) + 1
        try:
            line = self._file.readline(_LONGEST_LINE + 1)
        except UnicodeError:
            raise undecodable(self.path, self._file) from None
        except OSError as error:
            raise FileError(f"{self.path}, row {number}: cannot be read: {error.strerror}") from None
        if len(line) > _LONGEST_LINE:
            expected = f"a line of at most {_LONGEST_LINE} characters"
            raise FileError(f"{self.path}, row {number}: expected {expected}, found a longer one")
        return line.removeprefix("\ufeff") if number == 1 else line


class _RowReader:
    """Turns the lines below the headings into rows."""

    def __init__(self, shape: FileShape, wanted: Collection[str], head: Head) -> None:
        self._shape = shape
        self._wanted = tuple(wanted)
        self._delimiter = head.delimiter
        self._set(head.headings)

    def _set(self, headings: tuple[str, ...]) -> None:
        self._headings = headings
        self._names = frozenset(headings) - {""}
        places = [headings.index(heading) for heading in self._wanted]
        # Given one place only, itemgetter returns no tuple.
        self._pick = itemgetter(*places, *places[:1])

    def rows(self, lines: _Lines) -> Iterator[Row]:
        end = self._shape.end
        for line in lines:
            number = lines.number
            if end and _first_words(line, self._delimiter).startswith(end):
                yield Row(number, self._nothing(), skip=BELOW_THE_ROWS)
                break
            cells = _cells(line, lines, self._delimiter)
            first = next(filter(None, cells), "")
            if first:
                yield self._row(number, cells, first, damaged=lines.damaged >= number)
        for line in lines:
            if line.strip():
                yield Row(lines.number, self._nothing(), skip=BELOW_THE_ROWS)

    def _row(self, number: int, cells: list[str], first: str, *, damaged: bool) -> Row:
        if first in self._names and self._are_headings(cells):
            return Row(number, self._nothing(), skip=HEADINGS_AGAIN)
        width = len(self._headings)
        problem = ""
        if len(cells) < width or (len(cells) > width and any(cells[width:])):
            problem = f"expected {width} cells as in the headings, found {len(cells)}"
            cells = cells + [""] * width
        texts = dict(zip(self._wanted, self._pick(cells), strict=False))
        if damaged:
            problem = "expected text, found a NUL character: the file is damaged"
        elif self._shape.totals and first.casefold() in self._shape.totals:
            return Row(number, texts, skip=TOTALS_ROW)
        return Row(number, texts, problem)

    def _are_headings(self, cells: list[str]) -> bool:
        """Whether all headings wanted come again; if their order has changed, it counts from here."""
        again = all(cells.count(heading) == 1 for heading in self._wanted)
        if again:
            self._set(tuple(cells))
        return again

    def _nothing(self) -> Mapping[str, str]:
        return dict.fromkeys(self._wanted, "")


def _find_head(lines: _Lines, shape: FileShape, wanted: Collection[str]) -> Head:
    """Find the headings and go past them: those that have all that are wanted, or else most."""
    for _ in islice(lines, shape.skip_lines or 0):
        pass
    taken = lines.take(_SEARCHED, _LONGEST_HEAD)
    starts = [start for start, line in enumerate(taken) if line.strip()]
    if shape.skip_lines is not None:
        del starts[1:]
    best: Head | None = None
    rank = (-len(wanted) - 1, 0)
    for start in starts:
        for delimiter in [shape.delimiter] if shape.delimiter else DELIMITERS:
            head = _head(taken[start:start + _HEADING_LINES], lines.number + start + 1, delimiter)
            if head is not None and head.rank(wanted) > rank:
                best, rank = head, head.rank(wanted)
        if rank[0] == 0:
            break
    if best is None:
        raise FileError(f"{lines.path}: expected a row of headings, found none")
    for _ in islice(lines, best.number + best.lines - 1 - lines.number):
        pass
    return best


def _head(lines: list[str], number: int, delimiter: str) -> Head | None:
    """Return what the record that begins with some lines would be as headings."""
    reader = csv.reader(lines, _dialect(delimiter))
    try:
        cells = next(reader)
    except csv.Error:
        return None
    return Head(number, reader.line_num, tuple(_one_line_each(cells)), delimiter)


def _cells(line: str, lines: _Lines, delimiter: str) -> list[str]:
    """Return the cells of the record that begins with a line, and perhaps goes on in those below."""
    number = lines.number
    try:
        return _one_line_each(next(csv.reader(chain((line,), lines), _dialect(delimiter))))
    except csv.Error as error:
        unclosed = lines.number > number or "unexpected end" in str(error)
        reason = "a quotation mark opens a cell that does not end" if unclosed else str(error)
        raise FileError(f"{lines.path}, row {number}: cannot be read as cells: {reason}") from None


@lru_cache
def _dialect(delimiter: str) -> CSVDialect:
    """Return what csv makes of our options, which every record would else have it make again."""
    # Without strict, a quote that is never closed takes the rest of the file into one cell.
    return csv.reader((), delimiter=delimiter, skipinitialspace=True, strict=True).dialect


def _first_words(line: str, delimiter: str) -> str:
    """Return how the first text of a line begins, whether or not the line is well-formed."""
    return _one_line(line.lstrip(f'" {delimiter}')).casefold()


def _one_line_each(cells: list[str]) -> list[str]:
    # Most records are in order, which is seen faster for all cells at once.
    text = f"|{'|'.join(cells)}|"
    if text.isprintable() and "  " not in text and "| " not in text and " |" not in text:
        return cells
    return list(map(_one_line, cells))


def _one_line(text: str) -> str:
    if not text.isprintable():
        text = "".join(character if character.isprintable() else " " for character in text)
    return " ".join(text.split())
