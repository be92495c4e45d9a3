"""Books in several files: how a copy of one of them is loaded in its place, while all others stay as they are."""

from __future__ import annotations

import os
import re
from glob import glob
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_INCLUDE = re.compile(rb'^include[ \t]+"([^"\n]*)"', re.MULTILINE)


def chain(main: Path, file: Path) -> list[Path]:
    """Return the files from the main one to a file of the books, each of which includes the next.

    Args:
        main: the main file.
        file: by the name that Beancount gives it, or the main file itself.

    Returns:
        At least one file, the last being the one asked for; empty when the books do not include it.
    """
    return _chain(main, file, seen=set())


def _chain(here: Path, file: Path, seen: set[Path]) -> list[Path]:
    if here == file:
        return [here]
    if here in seen or not here.is_file():
        return []
    seen.add(here)
    for match in _INCLUDE.finditer(here.read_bytes()):
        for included in _matches(match, here):
            further = _chain(included, file, seen)
            if further:
                return [here, *further]
    return []


def redirected(content: bytes, file: Path, included: Path, copy: Path) -> bytes:
    """Return the content of a file that includes a copy in the place of what it includes; no line of it moves.

    Args:
        content: of the file.
        file: its path.
        included: what it includes, alone or among others of a pattern.
        copy: what is loaded instead.
    """
    others: list[Path] = []

    def take(match: re.Match[bytes]) -> bytes:
        matches = list(_matches(match, file))
        if included not in matches:
            return match[0]
        others.extend(copy if each == included else each for each in matches)
        return b""

    rest = _INCLUDE.sub(take, content)
    lines = b"".join(b'include "%s"\n' % os.fsencode(each) for each in others)
    return rest + (b"" if rest.endswith(b"\n") else b"\n") + lines


def _matches(match: re.Match[bytes], file: Path) -> Iterator[Path]:
    """Yield the files an include names, by the names that Beancount gives them."""
    for name in glob(os.path.join(file.parent, os.fsdecode(match[1])), recursive=True):  # noqa: PTH118, PTH207
        yield Path(os.path.normpath(name))
