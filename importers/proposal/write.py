"""A proposed profile as TOML, each key with how much is known of it and why."""

from __future__ import annotations

import json
import re
import textwrap
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from millilot.importers.proposal.findings import Draft, Finding

_TABLES = ("", "file", "numbers", "dates", "columns", "direction", "status", "tax", "refund", "titles")
_WIDTH = 100


def write_profile(draft: Draft, filename: str) -> str:
    """Return the profile as text that ends in a line break."""
    lines = [
        f"# Proposed by `millilot profile` from {filename}.",
        "# Each key says whether it is sure or guessed, and why. Look at the guesses before you import.",
    ]
    lines += _comments([*draft.gaps, *draft.notes])
    tables = {name: [each for each in draft.findings if _table(each) == name] for name in _TABLES}
    for name, findings in tables.items():
        if findings:
            lines += ["", *([f"[{name}]"] if name else []), *_table_lines(findings)]
        if name == "status":
            for kind, rows in (("fees", draft.fees), ("events", draft.events)):
                for table in rows:
                    lines += ["", f"[[{kind}]]", *_row_lines(table.values())]
    return "\n".join([*lines, ""])


def _table(finding: Finding) -> str:
    return finding.key.rpartition(".")[0]


def _comments(notes: Iterable[str]) -> Iterator[str]:
    for note in notes:
        yield from textwrap.wrap(_printable(note), _WIDTH, initial_indent="# Note: ", subsequent_indent="#   ")


def _table_lines(findings: Iterable[Finding]) -> Iterator[str]:
    for finding in findings:
        yield from _lines(finding, comment=f"{finding.certainty}: {finding.because}" if finding.because else "")


def _row_lines(findings: Iterable[Finding]) -> Iterator[str]:
    """Yield the keys of a table of a list, whose keys share their evidence."""
    first = True
    for finding in findings:
        comment = f"{finding.certainty}: {finding.because}" if first and finding.because else ""
        first = False
        yield from _lines(finding, comment)


def _lines(finding: Finding, comment: str) -> Iterator[str]:
    key = finding.key.rpartition(".")[2]
    comment = _printable(comment)
    if finding.value is None:
        yield from textwrap.wrap(
            f"{key} = ...  <- {comment}",
            _WIDTH,
            initial_indent="# ",
            subsequent_indent="#   ",
        )
        return
    line = f"{key} = {toml_value(finding.value)}"
    if not comment:
        yield line
    elif len(line) + len(comment) + 4 <= _WIDTH:
        yield f"{line}  # {comment}"
    else:
        yield from textwrap.wrap(comment, _WIDTH, initial_indent="# ", subsequent_indent="#   ")
        yield line


def toml_value(value: Any) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(map(toml_value, value))}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{toml_value(key)} = {toml_value(each)}' for key, each in value.items())} }}"
    text = str(value)
    if "\\" in text and "'" not in text and text.isprintable():
        return f"'{text}'"
    # TOML escapes as JSON does, and one character more.
    return re.sub(
        "[\x7f-\x9f\ud800-\udfff]", lambda match: f"\\u{ord(match[0]):04x}", json.dumps(text, ensure_ascii=False)
    )


def _printable(text: str) -> str:
    return "".join(character if character.isprintable() else " " for character in text)
