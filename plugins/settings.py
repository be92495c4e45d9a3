"""A stage: settings that cannot be read, and what the books call the roots of accounts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beancount.core.data import Custom, new_metadata
from beancount.parser.grammar import ValueType

from millilot.ledger.accounts import ROOTS
from millilot.ledger.directives import ROOT_NAMES, read_settings
from millilot.plugins.problems import SettingError

if TYPE_CHECKING:
    from beancount.core.data import Directive, Directives

    from millilot.plugins.problems import Problem


def check_settings(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Report settings that cannot be read, and hand on the root names of books that rename them."""
    # Beancount leaves out the list of a `custom` without values, and then stumbles over it.
    entries = [_with_values(entry) for entry in entries]
    names = [options_map[f"name_{usual.lower()}"] for usual in ROOTS]
    known = any(isinstance(entry, Custom) and entry.type == ROOT_NAMES for entry in entries)
    if entries and not known and names != list(ROOTS):
        # Entries go to all who read the books later; options do not.
        values = [ValueType(name, str) for name in names]
        meta = new_metadata(options_map["filename"], 0)
        entries.insert(0, Custom(meta, entries[0].date, ROOT_NAMES, values))
    _, complaints = read_settings(entries)
    return entries, [SettingError(*complaint) for complaint in complaints]


def _with_values(entry: Directive) -> Directive:
    if isinstance(entry, Custom) and entry.values is None:
        return entry._replace(values=[])
    return entry
