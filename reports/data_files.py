"""Figures of law, forms and papers: TOML files that are shipped with us, and the owner's own beside the books."""

from __future__ import annotations

import datetime
import tomllib
from contextlib import contextmanager
from decimal import Decimal, InvalidOperation
from importlib.resources import files
from typing import TYPE_CHECKING

from millilot.importers.problems import InputError, ProfileError
from millilot.importers.section import Section

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from importlib.resources.abc import Traversable
    from pathlib import Path


@contextmanager
def told_as(error: type[InputError]) -> Iterator[None]:
    """Tell what is wrong in a file as an error of the kind that callers expect."""
    try:
        yield
    except InputError as problem:
        raise error(str(problem)) from None


def read_files(package: str, folders: Iterable[Path]) -> Iterator[Section]:
    """Yield the TOML files of a package, then those of folders, each by name.

    Args:
        package: where those that are shipped lie.
        folders: where the owner's own may lie; one that does not exist holds none.

    Raises:
        ProfileError: one is no TOML.
    """
    for folder in (files(package), *folders):
        if folder.is_dir():
            yield from map(_read, sorted(_toml(folder), key=lambda file: file.name))


def read_tables(package: str, folders: Iterable[Path], key: str) -> Iterator[Section]:
    """Yield the tables of a name in all these files, which hold nothing else.

    Raises:
        ProfileError: as `read_files`, or a file holds something else.
    """
    for top in read_files(package, folders):
        yield from top.sections(key)
        top.close()


def _toml(folder: Traversable | Path) -> Iterator[Traversable]:
    return (file for file in folder.iterdir() if file.name.endswith(".toml"))


def _read(file: Traversable) -> Section:
    try:
        values = tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        raise ProfileError(f"{file}: not a TOML file: {error}") from None
    return Section(values, file)  # type: ignore[arg-type]


def amount_of(table: Section, key: str) -> Decimal | None:
    """Return an amount, written as a text so that it stays exact."""
    text: str | None = table.text(key, None)
    try:
        return None if text is None else Decimal(text)
    except InvalidOperation:
        raise table.problem(f'{key}: expected an amount such as "1000.00", found "{text}"') from None


def checked_of(table: Section, default: datetime.date | None) -> datetime.date | None:
    """Return when something was held against its source, None if it was not."""
    words = "a day such as 2026-12-31, or false"
    value = table.get("checked", (datetime.date, bool), words, default)
    if value is True:
        raise table.problem(f"checked: expected {words}, found true")
    return value or None
