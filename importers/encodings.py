"""How the characters of a file are encoded: what is certain is used, what is likely is only proposed."""

from __future__ import annotations

import codecs
import io
import re
from contextlib import suppress
from typing import TYPE_CHECKING, Final

from millilot.importers.problems import FileError

if TYPE_CHECKING:
    from pathlib import Path
    from typing import BinaryIO, TextIO

#: The longer mark first: one begins with another.
_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)

#: How files begin that are often taken for tables of text.
_OTHERS: Final = (
    (b"PK\x03\x04", "a workbook or an archive"),
    (b"\xd0\xcf\x11\xe0", "a workbook"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "an archive"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
)

#: As many bytes as it takes to tell which are zero.
BEGINNING = 4096

#: The code pages of spreadsheets and of older systems, the commoner first: a short text is as good in several.
_PROPOSED = [
    "cp1252", "cp1250", "cp1251", "cp1253", "cp1254", "cp1255", "cp1256", "cp1257", "cp437", "cp850", "mac_roman",
    "cp932", "gb18030", "big5", "cp949",
]

#: As much text as a proposal is made from.
_SAMPLE = 64 * 1024

#: What stands for bytes that are no character, by what becomes of them.
_STRAY = {"surrogateescape": re.compile("[\udc80-\udcff]"), "replace": re.compile("\ufffd")}


def open_text(path: Path, encoding: str, errors: str = "strict") -> TextIO:
    """Open a file, its line breaks kept.

    Args:
        path: the file.
        encoding: the one the profile states, or empty. A byte-order mark goes before it.
        errors: what becomes of bytes that are no character, as for `open`.

    Raises:
        FileError: when the file cannot be opened, or is of a kind that is no text.
    """
    try:
        # Whoever reads it closes it.
        file = path.open("rb")
        try:
            return io.TextIOWrapper(file, _certain(path, file, encoding), errors, newline="")
        except BaseException:
            file.close()
            raise
    except OSError as error:
        raise FileError(f"{path}: cannot be read: {error.strerror}") from None


def undecodable(path: Path, file: TextIO) -> FileError:
    """Return the error of a file that is not encoded as thought: where, and in what it may be."""
    encoding = file.encoding
    name = "UTF-8" if encoding.startswith("utf-8") else encoding
    # Two or four bytes a character have no stand-ins for single bytes.
    errors = "replace" if encoding.startswith(("utf-16", "utf-32")) else "surrogateescape"
    row, number = 0, 1
    stray = bytearray()
    # Some codecs take no stand-ins at all; then the lines so far have to do.
    with path.open(encoding=encoding, errors=errors, newline="") as again, suppress(UnicodeError):
        while len(stray) < _SAMPLE and (line := again.readline(_SAMPLE)):
            if _STRAY[errors].search(line):
                row = row or number
                stray += line.encode(encoding, errors)
            number += line.endswith(("\n", "\r"))
    return FileError(f"{path}, row {row or number}: is not written in {name}{_proposal(bytes(stray), encoding)}")


def _require_text(path: Path, beginning: bytes) -> None:
    for signature, kind in _OTHERS:
        if beginning.startswith(signature):
            raise FileError(f"{path}: expected a table as text, such as CSV, found {kind}")


def _certain(path: Path, file: BinaryIO, stated: str) -> str:
    """Return the encoding that a file shows, or the one stated, or UTF-8."""
    beginning = file.read(BEGINNING)
    file.seek(0)
    found = shown(path, beginning)
    name = codecs.lookup(stated or "utf-8").name
    return (found if not stated or name == "utf-16" else _by_mark(beginning)) or name


def shown(path: Path, beginning: bytes) -> str:
    """Return the encoding that a file shows by itself, by its mark or by its zeros, or nothing.

    Raises:
        FileError: when it is of a kind that is no text.
    """
    encoding = _by_mark(beginning)
    if not encoding:
        _require_text(path, beginning)
    return encoding or _by_zeros(beginning)


def _by_mark(beginning: bytes) -> str:
    return next((encoding for mark, encoding in _MARKS if beginning.startswith(mark)), "")


def _by_zeros(beginning: bytes) -> str:
    """Return the kind of UTF-16: digits, delimiters and line breaks have their zero byte on the same side."""
    first, second = beginning[::2].count(0), beginning[1::2].count(0)
    # A stray zero or two in a short file make no UTF-16.
    enough = max(len(beginning) // 20, 2)
    if second > enough and second > 10 * first:
        return "utf-16-le"
    if first > enough and first > 10 * second:
        return "utf-16-be"
    return ""


def _proposal(sample: bytes, encoding: str) -> str:
    if not sample or not encoding.startswith("utf-8"):
        return ""
    # Only a file that cannot be read pays for the import.
    from charset_normalizer import from_bytes  # noqa: PLC0415

    matches = list(from_bytes(sample, cp_isolation=_PROPOSED))
    if not matches:
        return ""
    quality = matches[0].chaos, matches[0].coherence
    equals = [match for match in matches if (match.chaos, match.coherence) == quality]
    name = min((name for match in equals for name in match.could_be_from_charset), key=_PROPOSED.index)
    return f'; it may be {name}: then write encoding = "{name}" under [file]'
