"""A file as cells: its encoding, its delimiter, the lines above the headings, and what is no row to book.

The file is read as a whole into memory, up to a size no export of a small seller reaches.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING

from millilot.importers.dialect import FileShape
from millilot.importers.encodings import BEGINNING, shown
from millilot.importers.problems import FileError
from millilot.importers.proposal.headings import meanings, normalise
from millilot.importers.table import DELIMITERS, Record, iter_records

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

#: Bytes and cells beyond which a file is not looked at.
MOST_BYTES = 64 * 1024 * 1024
MOST_COLUMNS = 500
#: Records among which the headings are looked for.
_HEAD = 100
_SAMPLE = 400
#: The code pages that are in use for the languages whose headings are known, the usual one first.
_CODE_PAGES = ("cp1252", "iso8859_15", "cp1250", "cp850", "cp437", "mac_roman")
_TOTALS = re.compile(
    r"(?:grand |sub ?)?totals?|sum|gesamt(?:summe|betrag)?|summe|total(?:e|es|i)?(?: general| generale| gene?ral)?"
    r"|somme|suma|somma|totaal|eindtotaal|endsumme|totaux",
)
_NUMBER = re.compile(r"[-+(]?[^\w\s]{0,3}\s?\d[\d.,'\s\u2019]*[^\w\s]{0,3}\)?-?")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file read into cells.

    Attributes:
        path: the file.
        encoding: as Python names it.
        encoding_sure: whether the file itself says so, by a mark or because nothing else can be meant.
        delimiter: between cells.
        head: the number of the headings' line.
        preamble: the records above the headings.
        headings: their texts; a text that stands there twice is in `doubled` as well.
        rows: the records to be booked.
        totals: the first texts of totals rows.
        end: how the text below the rows begins, or empty.
        repeated: lines on which the headings come again.
        odd: lines whose number of cells is not that of the headings.
    """

    path: Path
    encoding: str
    encoding_sure: bool
    delimiter: str
    head: int
    preamble: tuple[Record, ...]
    headings: tuple[str, ...]
    rows: tuple[Record, ...]
    totals: tuple[str, ...] = ()
    end: str = ""
    repeated: tuple[int, ...] = ()
    odd: tuple[int, ...] = ()
    doubled: frozenset[str] = field(default_factory=frozenset)


def read_sheet(path: Path) -> Sheet:
    """Read a file whose dialect nobody has described.

    Raises:
        FileError: when it cannot be read, is no text, or holds no table.
    """
    encoding, sure = _encoding(path, _read(path))
    best: tuple[float, str, list[Record], int] | None = None
    problem = ""
    for delimiter in DELIMITERS:
        try:
            records = list(islice(_records(path, encoding, delimiter), _SAMPLE))
        except FileError as error:
            problem = problem or str(error)
            continue
        found = _find_headings(records)
        if found is not None and (best is None or found[0] > best[0]):
            best = found[0], delimiter, records, found[1]
    if best is None:
        raise FileError(problem or f"{path}: expected a row of headings with rows below it, found none")
    _, delimiter, _, place = best
    records = list(_records(path, encoding, delimiter))
    return _sheet(path, encoding, records, place, delimiter, sure=sure)


def _read(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileError(f"{path}: cannot be read: {error.strerror}") from None
    if len(content) > MOST_BYTES:
        raise FileError(f"{path}: expected a file of at most {MOST_BYTES // 1024 // 1024} MB, found a larger one")
    if not content.strip():
        raise FileError(f"{path}: expected a row of headings with rows below it, found an empty file")
    return content


def _encoding(path: Path, content: bytes) -> tuple[str, bool]:
    """Return the encoding of a text, and whether that is sure."""
    encoding = shown(path, content[:BEGINNING]) or "utf-8"
    sure = True
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        if encoding != "utf-8":
            raise FileError(f"{path}, row {line}: expected text in {encoding}, found something else") from None
        telling = b"\n".join([each for each in content.splitlines() if not each.isascii()][:2000])
        encoding, sure = _code_page(content, telling), False
        if not encoding:
            raise FileError(f"{path}, row {line}: is not UTF-8, and no other encoding fits") from None
        text = content.decode(encoding)
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise FileError(f"{path}, row {line}: expected text, found a NUL; is it a CSV file?")
    sample = text[:20_000]
    strange = sum(not (character.isprintable() or character.isspace()) for character in sample)
    if strange * 50 > len(sample):
        raise FileError(f"{path}: expected text, found control characters; is it a CSV file?")
    return encoding.removesuffix("-sig"), sure


def _code_page(content: bytes, telling: bytes) -> str:
    """Return the code page in which the most bytes beyond ASCII are what a text of words and amounts has.

    Args:
        content: the file.
        telling: its lines that are not ASCII.
    """
    fits: dict[str, int] = {}
    for page in _CODE_PAGES:
        try:
            content.decode(page)
        except UnicodeDecodeError:
            continue
        fits[page] = sum(map(_is_usual, *_beside(telling.decode(page))))
    # Of equals the first, which is the usual one.
    return max(fits, key=lambda page: fits[page], default="")


def _beside(text: str) -> tuple[Sequence[str], Sequence[str], Sequence[str]]:
    """Return the characters of a text, those before them and those behind them."""
    return text, f" {text}", f"{text[1:]} "


def _is_usual(character: str, before: str, behind: str) -> bool:
    """Whether a character is a letter that fits its neighbours, or the sign of a currency."""
    if character.isascii():
        return False
    if character.isalpha():
        # No word has a capital behind a small letter, and few are of one letter.
        fits_before = not (character.isupper() and before.islower())
        return fits_before and (before.isalpha() or behind.isalpha())
    return character in "\u20ac\u00a3"


def _records(path: Path, encoding: str, delimiter: str) -> Iterator[Record]:
    """Yield the records of the file that are not blank, as the importer reads them."""
    shape = FileShape(delimiter=delimiter, encoding=encoding)
    return (record for record in iter_records(path, shape) if any(record.cells))


def _find_headings(records: Sequence[Record]) -> tuple[float, int] | None:
    """Return how well some record does as the headings, and which; None when there is no table."""
    widths = Counter(len(record.cells) for record in records)
    best: tuple[float, int] | None = None
    for place, record in enumerate(records[:_HEAD]):
        texts = [cell for cell in record.cells if cell]
        width = len(record.cells)
        if len(texts) < 2 or width > MOST_COLUMNS * 40 or any(map(_is_value, texts)):
            continue
        below = records[place + 1 :]
        same = sum(len(each.cells) == width for each in below)
        known = sum(max(meanings(text).values(), default=0.0) for text in set(texts[:MOST_COLUMNS]))
        # Cells of the same number below are what makes a table; a record with twice the known words is the one.
        score = (same / max(len(below), 1)) * (1 + known) * min(len(texts) / width * 1.5, 1.0)
        score += known * 0.2 + (0.1 if widths.most_common(1)[0][0] == width else 0)
        if (same or not below) and (best is None or score > best[0] * 1.02):
            best = score, place
    return best


def _is_value(text: str) -> bool:
    return bool(_NUMBER.fullmatch(text)) and any(map(str.isdigit, text))


def _sheet(path: Path, encoding: str, records: list[Record], place: int, delimiter: str, *, sure: bool) -> Sheet:
    head = records[place]
    headings = head.cells
    if len(headings) > MOST_COLUMNS:
        raise FileError(f"{path}: expected at most {MOST_COLUMNS} columns, found {len(headings)}")
    counts = Counter(heading for heading in headings if heading)
    below = records[place + 1 :]
    below, end = _cut_end(below, len(headings))
    rows: list[Record] = []
    totals: list[Record] = []
    repeated: list[int] = []
    odd: list[int] = []
    for record in below:
        first = next(cell for cell in record.cells if cell)
        if record.cells == headings:
            repeated.append(record.number)
        elif _TOTALS.fullmatch(normalise(first)) and sum(map(bool, map(_is_value, record.cells))):
            totals.append(record)
        else:
            if len(record.cells) < len(headings) or any(record.cells[len(headings) :]):
                odd.append(record.number)
            padded = (record.cells + [""] * len(headings))[: len(headings)]
            rows.append(Record(record.number, padded))
    if not rows:
        raise FileError(f"{path}: expected rows below the headings of row {head.number}, found none")
    return Sheet(
        path=path,
        encoding=encoding,
        encoding_sure=sure,
        delimiter=delimiter,
        head=head.number,
        preamble=tuple(records[:place]),
        headings=tuple(headings),
        rows=tuple(rows),
        totals=tuple(dict.fromkeys(next(cell for cell in record.cells if cell) for record in totals)),
        end=end,
        repeated=tuple(repeated),
        odd=tuple(odd),
        doubled=frozenset(heading for heading, count in counts.items() if count > 1),
    )


def _cut_end(records: list[Record], width: int) -> tuple[list[Record], str]:
    """Return the records without the text below them, and how that text begins."""
    if width < 3:
        return records, ""
    place = len(records)
    while place and _is_text(records[place - 1], width):
        place -= 1
    if place == len(records):
        return records, ""
    first = next(cell for cell in records[place].cells if cell)
    start = re.match(r"[^:.,;]{1,40}:|\S+(?: \S+)?", first)
    return records[:place], start[0] if start else first


def _is_text(record: Record, width: int) -> bool:
    """Whether a record is a sentence rather than a row."""
    texts = [cell for cell in record.cells if cell]
    return (
        len(texts) <= 2
        and width > 3
        and not any(map(_is_value, texts))
        and bool(re.search(r"[^\W\d]{2}", texts[0]))
    )
