"""The owner's answers, kept in the profile: what a title that was not certain stands for.

They go under `[titles.items]`, or under `[titles.skus]` for a line without a title; comments and layout of the
file stay as they are.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from millilot.importers.problems import ProfileError
from millilot.importers.profile import read_profile
from millilot.importers.replacing import WholeFile
from millilot.importers.spelling import fold

if TYPE_CHECKING:
    from pathlib import Path

    from tomlkit import TOMLDocument

    from millilot.importers.title_rules import Pour


class Answers:
    """A profile's file that answers are added to.

    Args:
        path: the profile; a symbolic link stays one.

    Raises:
        ProfileError: when it cannot be read.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        # Says what is wrong with it in the words of the profile.
        read_profile(path)
        self._file = WholeFile(path.resolve())
        self._content = self._file.content

    def add(self, title: str, sku: str, pour: Pour) -> bool:
        """Keep what one item of a title is; its SKU stands for it when there is no title.

        Returns:
            Whether there was anything to keep it under.

        Raises:
            ProfileError: when the answer cannot be added without changing anything else.
        """
        table, key = ("items", title) if title else ("skus", sku)
        if not key:
            return False
        document = tomlkit.parse(self._content.decode())
        wanted = tomllib.loads(self._content.decode(), parse_float=Decimal)
        answers = wanted.setdefault("titles", {}).setdefault(table, {})
        key = next((written for written in answers if table == "items" and fold(written) == fold(key)), key)
        answers[key] = _values(pour)
        try:
            _table(document, table)[key] = tomlkit.value(_written(pour))
            content = tomlkit.dumps(document).encode()
            found: object = tomllib.loads(content.decode(), parse_float=Decimal)
        except (TOMLKitError, tomllib.TOMLDecodeError, TypeError) as error:
            found = error
        if found != wanted:
            answer = f"{_quoted(key)} = {_written(pour)}"
            raise ProfileError(f"{self.path}: cannot be added to; write below [titles.{table}]: {answer}")
        self._content = content
        return True

    def write(self) -> None:
        """Put the file with the answers in place.

        Raises:
            ProfileError: when somebody changed it meanwhile, or it cannot be written; it is unchanged then.
        """
        if self._content == self._file.content:
            return
        try:
            try:
                self._file.write_copy(self._content)
                if not self._file.is_unchanged():
                    raise ProfileError(f"{self.path}: changed meanwhile; the answer is not kept in it")
                self._file.put_in_place()
            finally:
                self._file.drop_copy()
        except OSError as error:
            raise ProfileError(f"{self.path}: cannot be written: {error.strerror}") from None


def _table(document: TOMLDocument, name: str) -> Any:
    """Return a table under `[titles]`, a new one at the end where there is none."""
    titles = document.setdefault("titles", tomlkit.table(is_super_table=True))
    return titles.setdefault(name, tomlkit.table())


def _values(pour: Pour) -> dict[str, object]:
    values: dict[str, object] = {"fragrance": pour.fragrance, "ml": pour.ml}
    if pour.vials != 1:
        values["vials"] = pour.vials
    return values


def _written(pour: Pour) -> str:
    vials = "" if pour.vials == 1 else f", vials = {pour.vials}"
    return f'{{ fragrance = "{pour.fragrance}", ml = {pour.ml:f}{vials} }}'


def _quoted(key: str) -> str:
    return tomlkit.string(key).as_string()
