"""What a pack says of itself: which books it was made from, with what, and what is in it."""

from __future__ import annotations

import json
import os
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zlib import ZLIB_RUNTIME_VERSION

if TYPE_CHECKING:
    from collections.abc import Mapping

    from millilot.reports.pack.span import Span

NAME = "manifest.json"

#: Tells a pack of ours from any other folder with a manifest.
KIND = "millilot-pack"

#: What has a say in the bytes of a pack.
_MADE_WITH = ("millilot", "beancount", "fava", "jinja2", "pandas", "xlsxwriter")


def digest(content: bytes) -> str:
    """Return the SHA-256 of some bytes in hexadecimal."""
    return sha256(content).hexdigest()


def manifest(span: Span, files: Mapping[str, bytes]) -> bytes:
    """Return the manifest of a pack.

    Args:
        span: the books and the range.
        files: the content of every other file of the pack, by name.
    """
    data = {
        "kind": KIND,
        "range": {"name": span.name, "from": span.start.isoformat(), "to": span.end.isoformat()},
        "currency": span.currency,
        "books": {
            "main": next(iter(span.files)),
            # Of the lines "digest  name" of the files below.
            "sha256": books_digest(span.files),
            "files": dict(span.files),
        },
        "errors_in_the_books": len(span.errors),
        "versions": {**{name: version(name) for name in _MADE_WITH}, "zlib": ZLIB_RUNTIME_VERSION},
        "files": {name: digest(content) for name, content in sorted(files.items())},
    }
    return (json.dumps(data, indent=2) + "\n").encode()


def read_manifest(folder: Path) -> dict[str, Any] | None:
    """Return the manifest of an earlier pack of ours, None when a folder holds none that can be read."""
    try:
        data = json.loads(folder.joinpath(NAME).read_bytes())
    except (OSError, ValueError):
        return None
    is_ours = isinstance(data, dict) and data.get("kind") == KIND and isinstance(data.get("files"), dict)
    return data if is_ours else None


def books_digest(files: Mapping[str, str]) -> str:
    """Return one digest for the main file and all it includes: of a line for each, its digest and its name."""
    return digest("".join(f"{of_file}  {name}\n" for name, of_file in files.items()).encode())


def read_digests(options_map: Mapping[str, Any]) -> dict[str, str]:
    """Return the digest of the books' main file and of each it includes, by name as seen from its folder.

    Args:
        options_map: Beancount's options, which name the files.

    Raises:
        OSError: a file cannot be read.
    """
    main = Path(options_map["filename"])
    included = sorted({Path(name) for name in options_map["include"]} - {main})
    return {
        Path(os.path.relpath(file, main.parent)).as_posix(): digest(file.read_bytes())
        for file in (main, *included)
    }
