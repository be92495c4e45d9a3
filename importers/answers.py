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
from tomlkit.items import Comment, Whitespace

from millilot.importers.problems import ProfileError
from millilot.importers.profile import read_profile
from millilot.importers.replacing import WholeFile
from millilot.importers.spelling import fold

if TYPE_CHECKING:
    from pathlib import Path

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
        text = self._content.decode()
        wanted = tomllib.loads(text, parse_float=Decimal)
        titles = wanted.setdefault("titles", {})
        if fold(key) in map(fold, titles.get("sets", {})):
            raise ProfileError(f'{self.path}: "{key}" is a set in [titles.sets]; change it there')
        answers = titles.setdefault(table, {})
        key = next((written for written in answers if table == "items" and fold(written) == fold(key)), key)
        try:
            text = _added(text, table, key, pour) if answers else _appended(text, table, key, pour)
            found: object = tomllib.loads(text, parse_float=Decimal)
        except (TOMLKitError, tomllib.TOMLDecodeError, TypeError) as error:
            found = error
        answers[key] = _values(pour)
        if found != wanted:
            answer = f"{_quoted(key)} = {_written(pour)}"
            raise ProfileError(f"{self.path}: cannot be added to; write below [titles.{table}]: {answer}")
        self._content = text.encode()
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


def _added(text: str, table: str, key: str, pour: Pour) -> str:
    """Return a profile with an answer in a table that has some."""
    document: Any = tomlkit.parse(text)
    answers = document["titles"][table]
    body = answers.value.body
    # What stands below the last answer, such as a comment on the next table, stays below it.
    end = len(body)
    while end and isinstance(body[end - 1][1], Comment | Whitespace):
        end -= 1
    below = body[end:]
    del body[end:]
    answers[key] = tomlkit.value(_written(pour))
    body.extend(below)
    return tomlkit.dumps(document)


def _appended(text: str, table: str, key: str, pour: Pour) -> str:
    """Return a profile with a new table for an answer at the end."""
    return f"{text.rstrip()}\n\n[titles.{table}]\n{_quoted(key)} = {_written(pour)}\n"


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
