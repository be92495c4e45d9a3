"""One table of a TOML file, read strictly."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from millilot.importers.problems import ProfileError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

#: In place of a default: the key must be there.
REQUIRED: Final = object()


class Section:
    """One table of the TOML file; hands out its values with their types checked, and knows what is left."""

    def __init__(self, values: Mapping[str, Any], path: Path, name: str = "") -> None:
        self._values = values
        self._path = path
        self._name = name
        self._known: list[str] = []

    def problem(self, text: str) -> ProfileError:
        """Return an error that names the file and the table."""
        place = f"[{self._name}] " if self._name else ""
        return ProfileError(f"{self._path}: {place}{text}")

    def get(self, key: str, kind: type | tuple[type, ...], words: str, default: Any = REQUIRED) -> Any:
        """Return a value of a kind described by words, or the default."""
        self._known.append(key)
        value = self._values.get(key, default)
        if value is REQUIRED:
            raise self.problem(f"the key {key} is missing; expected {words}")
        # To Python, true is a number as well.
        may_be_flag = bool in (kind if isinstance(kind, tuple) else (kind,))
        fits = isinstance(value, kind) and (may_be_flag or not isinstance(value, bool))
        if key in self._values and not fits:
            raise self.problem(f"{key}: expected {words}, found {value!r}")
        return value

    def text(self, key: str, default: Any = REQUIRED) -> str:
        """Return a text that is not empty."""
        value: str = self.get(key, str, "a text in quotes", default)
        if key in self._values and not value.strip():
            raise self.problem(f"{key}: expected a text, found an empty one")
        return value

    def flag(self, key: str, *, default: bool) -> bool:
        """Return true or false."""
        value: bool = self.get(key, bool, "true or false", default)
        return value

    def count(self, key: str, default: int) -> int:
        """Return a whole number, 0 or above."""
        number: int = self.get(key, int, "a whole number, 0 or above", default)
        if number < 0:
            raise self.problem(f"{key}: expected a whole number, 0 or above, found {number}")
        return number

    def choice(self, key: str, options: Sequence[str], default: str) -> str:
        """Return one of some texts."""
        value = self.text(key, default)
        if value not in options:
            expected = " or ".join(f'"{option}"' for option in options)
            raise self.problem(f'{key}: expected {expected}, found "{value}"')
        return value

    def mark(self, key: str, default: str) -> str:
        """Return a single character."""
        value: str = self.get(key, str, "one character in quotes", default)
        if key in self._values and len(value) != 1:
            raise self.problem(f"{key}: expected one character in quotes, found {value!r}")
        return value

    def pattern(self, key: str, flags: re.RegexFlag = re.NOFLAG) -> re.Pattern[str] | None:
        """Return a regular expression, None when there is none."""
        written = self.text(key, "")
        if not written:
            return None
        try:
            return re.compile(written, flags)
        except re.error as error:
            raise self.problem(f"{key}: is not a regular expression: {error}") from None

    def texts(self, key: str, *, may_be_empty: bool = False) -> tuple[str, ...]:
        """Return a list of texts, none of them empty unless they may be."""
        values: list[Any] = self.get(key, list, "a list of texts", [])
        if not all(isinstance(value, str) and (may_be_empty or value.strip()) for value in values):
            raise self.problem(f"{key}: expected a list of texts, found {values!r}")
        return tuple(values)

    def one_or_more(self, key: str, default: Any = ()) -> tuple[str, ...]:
        """Return a text or a list of texts, as a list that is not empty if the key is there."""
        value: Any = self.get(key, (str, list), "a text or a list of texts", default)
        values = (value,) if isinstance(value, str) else tuple(value)
        if key in self and not (values and all(isinstance(text, str) and text for text in values)):
            raise self.problem(f"{key}: expected a text or a list of texts, found {value!r}")
        return values

    def section(self, key: str) -> Section:
        """Return a table, an empty one when the file has none."""
        values: Mapping[str, Any] = self.get(key, dict, f"a table [{self._inside(key)}]", {})
        return Section(values, self._path, self._inside(key))

    def sections(self, key: str) -> list[Section]:
        """Return the tables of a list of tables."""
        tables: list[Any] = self.get(key, list, f"tables [[{key}]]", [])
        if not all(isinstance(table, dict) for table in tables):
            raise self.problem(f"{key}: expected tables [[{key}]], found {tables!r}")
        return [Section(table, self._path, f"[{self._inside(key)}]") for table in tables]

    def __contains__(self, key: str) -> bool:
        return key in self._values

    def __bool__(self) -> bool:
        return bool(self._values)

    def free(self) -> list[str]:
        """Return all keys, for a table whose keys the user chooses."""
        self._known.extend(self._values)
        return list(self._values)

    def close(self) -> None:
        """Refuse keys nobody asked for."""
        for key in self._values:
            if key not in self._known:
                raise self.problem(f"the key {key} is not known; the keys here are {', '.join(self._known)}")

    def _inside(self, key: str) -> str:
        return f"{self._name}.{key}" if self._name else key
