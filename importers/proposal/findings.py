"""What is proposed, and on what evidence."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Certainty(StrEnum):
    """How much is known of a key of the profile."""

    SURE = "sure"
    GUESSED = "guessed"
    MISSING = "not found"
    CONTRADICTED = "contradicted"


@dataclass(frozen=True, slots=True)
class Finding:
    """A key of the profile, its value, and why.

    Attributes:
        key: with its table, such as `columns.order`; of a table of a list with the number of the table.
        value: what stands in the profile; None where nothing does.
        certainty: how much is known of it.
        because: the evidence, in words.
    """

    key: str
    value: Any
    certainty: Certainty
    because: str


@dataclass(slots=True)
class Draft:
    """A profile in the making.

    Attributes:
        findings: one a key, in the order of the finding; a key that is found again is replaced.
        notes: what the owner should know that is no key.
        gaps: what is missing although every key is there: words nobody knows.
    """

    _findings: dict[str, Finding] = field(default_factory=dict)
    fees: list[dict[str, Finding]] = field(default_factory=list)
    events: list[dict[str, Finding]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    gaps: list[str] = field(default_factory=list)

    @property
    def findings(self) -> list[Finding]:
        """All findings but those of the lists of tables."""
        return list(self._findings.values())

    @property
    def every(self) -> list[Finding]:
        """All findings."""
        rows = [finding for table in (*self.fees, *self.events) for finding in table.values()]
        return [*self.findings, *rows]

    @property
    def complete(self) -> bool:
        """Whether nothing that is required is missing or contradicted."""
        open_ = {Certainty.MISSING, Certainty.CONTRADICTED}
        return not self.gaps and not any(finding.certainty in open_ for finding in self.every)

    def sure(self, key: str, value: Any, because: str) -> None:
        """Put down what is sure."""
        self.put(key, value, Certainty.SURE, because)

    def guess(self, key: str, value: Any, because: str) -> None:
        """Put down a guess."""
        self.put(key, value, Certainty.GUESSED, because)

    def missing(self, key: str, because: str) -> None:
        """Put down that something required could not be found."""
        self.put(key, None, Certainty.MISSING, because)

    def contradicted(self, key: str, value: Any, because: str) -> None:
        """Put down that the evidence contradicts itself."""
        self.put(key, value, Certainty.CONTRADICTED, because)

    def put(self, key: str, value: Any, certainty: Certainty, because: str) -> None:
        """Put down a finding."""
        self._findings.pop(key, None)
        self._findings[key] = Finding(key, value, certainty, because)

    def finding(self, key: str) -> Finding | None:
        """Return what is put down for a key, with how much is known of it, or None."""
        return self._findings.get(key)

    def value(self, key: str) -> Any:
        """Return what is put down for a key, or None."""
        finding = self._findings.get(key)
        return finding.value if finding else None

    def fee(self, column: str, kind: str, *, role: str, sign: str, certainty: Certainty, because: str) -> None:
        """Put down a column of fees."""
        self.fees.append(
            _table(
                "fees",
                len(self.fees) + 1,
                certainty,
                because,
                {
                    "column": column,
                    "kind": kind,
                    "role": role,
                    "sign": sign,
                },
            )
        )

    def left_out(self, heading: str) -> None:
        """Put down that nothing is known of a column of amounts."""
        self.notes.append(f'What "{heading}" is could not be found; it is left out.')

    def no_part(self, heading: str, net: str) -> None:
        """Put down that a column is not in the net amount."""
        self.notes.append(f'"{heading}" is no part of "{net}"; it is left out.')

    def gap(self, text: str) -> None:
        """Put down something that keeps rows from being booked."""
        self.gaps.append(text)

    @staticmethod
    def add(table: dict[str, Finding], key: str, value: Any) -> None:
        """Add a key to a table of a list."""
        first = next(iter(table.values()))
        place = f"{first.key.rpartition('.')[0]}.{key}"
        table[key] = Finding(place, value, first.certainty, first.because)

    def event(self, certainty: Certainty, because: str, **keys: Any) -> None:
        """Put down what a type of event means."""
        self.events.append(_table("events", len(self.events) + 1, certainty, because, keys))


def _table(
    name: str,
    number: int,
    certainty: Certainty,
    because: str,
    keys: dict[str, Any],
) -> dict[str, Finding]:
    defaults = {"role": "fees", "sign": "positive"} if name == "fees" else {}
    return {
        key: Finding(f"{name}.{number}.{key}", value, certainty, because)
        for key, value in keys.items()
        if value is not None and defaults.get(key) != value
    }
