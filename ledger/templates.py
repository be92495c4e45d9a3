"""Books to begin with: empty ones for an owner, and those of an invented seller to look at.

Both lie beside this module as they will lie in the owner's folder. In the starter books the currency is left
open: `$currency`, and `$tolerance` for half its minor unit.
"""

from __future__ import annotations

from importlib.resources import files
from string import Template
from typing import TYPE_CHECKING

from millilot.ledger.money import minor_unit

if TYPE_CHECKING:
    from collections.abc import Iterator
    from importlib.resources.abc import Traversable

#: The file the books are in; `millilot` looks for it by this name.
MAIN = "main.beancount"
#: The folder in which a channel's files wait to be imported.
FILES = "files"
#: The script for the import page, the same in all books.
_IMPORT = "import.py"


def starter_books(currency: str) -> dict[str, str]:
    """Return the texts of books without entries, by path in their folder.

    Args:
        currency: the operating currency, such as USD.
    """
    values = {"currency": currency, "tolerance": f"{minor_unit(currency) / 2:f}"}
    return {path: Template(text).substitute(values) for path, text in _texts("starter")}


def sample_books() -> dict[str, str]:
    """Return the texts of the sample books and of the channels' files that wait to be imported, by path."""
    shared = {path: text for path, text in _texts("starter") if path == _IMPORT}
    return {**shared, **dict(_texts("sample"))}


def _texts(folder: str) -> Iterator[tuple[str, str]]:
    return _walk(files("millilot.ledger").joinpath(folder), "")


def _walk(folder: Traversable, prefix: str) -> Iterator[tuple[str, str]]:
    for item in sorted(folder.iterdir(), key=lambda item: item.name):
        path = f"{prefix}{item.name}"
        # Installers compile what ends in .py and leave a folder behind.
        if item.is_dir() and item.name != "__pycache__":
            yield from _walk(item, f"{path}/")
        elif item.is_file():
            yield path, item.read_text(encoding="utf-8")
