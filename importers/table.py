"""From a file to rows: which line a row stands on, and what stands under which heading.

Nothing is interpreted here. Cells come out as one line of printable text, because what a buyer or a channel
wrote may hold line breaks, terminal controls or marks that turn the direction of writing.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from millilot.importers.problems import FileError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from millilot.importers.profile import FileShape

#: Enough to hold the lines above the headings and the headings.
_HEAD_SIZE = 64 * 1024


class RowError(Exception):
    """A row that cannot be booked: the line it stands on, and why."""

    def __init__(self, row: int, reason: str) -> None:
        super().__init__(reason)
        self.row = row
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the file.

    Attributes:
        number: the line of the file it begins on, 1 for the first.
        cells: text by heading.
        problem: why the row cannot be read, or empty.
    """

    number: int
    cells: Mapping[str, str]
    problem: str = ""

    def __getitem__(self, heading: str) -> str:
        """Return the text under a heading; empty for the empty heading, which stands for no column."""
        return self.cells[heading] if heading else ""


def read_rows(path: Path, shape: FileShape, wanted: Iterable[str]) -> list[Row]:
    """Read all rows below the headings; rows without any text are none.

    Args:
        path: the file.
        shape: how it is written.
        wanted: the headings it must have, once each.

    Raises:
        FileError: when the file cannot be read or decoded, its quotes do not match, or a heading is missing.
    """
    records = _records(path, _decode(path, _read(path), shape), shape)
    headings = _headings(path, next(records, None))
    for heading in sorted(wanted):
        count = headings.count(heading)
        if count != 1:
            raise FileError(f"{path}: expected one heading '{heading}', found {count or 'none'}")
    return [_row(number, cells, headings) for number, cells in records if any(cells)]


def read_headings(path: Path, shape: FileShape) -> tuple[str, ...]:
    """Read the headings only.

    Raises:
        FileError: as `read_rows`.
    """
    # The end of what is read may cut a character or a quoted cell in two, but not the headings.
    text = _decode(path, _read(path, _HEAD_SIZE), shape, errors="ignore")
    return _headings(path, next(_records(path, text, shape), None))


def _read(path: Path, size: int = -1) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(size)
    except OSError as error:
        raise FileError(f"{path}: cannot be read: {error.strerror}") from None


def _decode(path: Path, content: bytes, shape: FileShape, errors: str = "strict") -> str:
    encoding = shape.encoding or "utf-8"
    if encoding.lower() in {"utf-8", "utf8"}:
        encoding = "utf-8-sig"
    try:
        return content.decode(encoding, errors)
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        advice = "" if shape.encoding else _guess(content)
        raise FileError(f"{path}, row {line}: is not written in {shape.encoding or 'UTF-8'}{advice}") from None


def _guess(content: bytes) -> str:
    # Only a file that is not UTF-8 pays for the import.
    import chardet  # noqa: PLC0415

    encoding = chardet.detect(content)["encoding"]
    return f'; it may be {encoding}: then write encoding = "{encoding}" under [file]' if encoding else ""


def _records(path: Path, text: str, shape: FileShape) -> Iterator[tuple[int, list[str]]]:
    """Yield each record with the line it begins on."""
    lines = io.StringIO(text, newline="")
    for _ in range(shape.skip_lines):
        lines.readline()
    # Without strict, a quote that is never closed takes the rest of the file into one cell.
    reader = csv.reader(lines, delimiter=shape.delimiter, strict=True)
    while True:
        number = shape.skip_lines + reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise FileError(f"{path}, row {number}: cannot be read as cells: {error}") from None
        yield number, [_one_line(cell) for cell in cells]


def _one_line(text: str) -> str:
    if not text.isprintable():
        text = "".join(character if character.isprintable() else " " for character in text)
    return " ".join(text.split())


def _headings(path: Path, record: tuple[int, list[str]] | None) -> tuple[str, ...]:
    if record is None:
        raise FileError(f"{path}: expected a row of headings, found none")
    return tuple(record[1])


def _row(number: int, cells: list[str], headings: tuple[str, ...]) -> Row:
    spare = cells[len(headings):]
    problem = ""
    if len(cells) < len(headings) or any(spare):
        problem = f"expected {len(headings)} cells as in the headings, found {len(cells)}"
        cells = cells + [""] * len(headings)
    return Row(number, dict(zip(headings, cells, strict=False)), problem)
