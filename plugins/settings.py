"""A stage: settings that cannot be read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beancount.core.data import Custom

from millilot.ledger.directives import read_settings
from millilot.plugins.problems import SettingError

if TYPE_CHECKING:
    from beancount.core.data import Directive, Directives

    from millilot.plugins.problems import Problem


def check_settings(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Report settings that cannot be read."""
    del options_map
    # Beancount leaves out the list of a `custom` without values, and then stumbles over it.
    entries = [_with_values(entry) for entry in entries]
    _, complaints = read_settings(entries)
    return entries, [SettingError(*complaint) for complaint in complaints]


def _with_values(entry: Directive) -> Directive:
    if isinstance(entry, Custom) and entry.values is None:
        return entry._replace(values=[])
    return entry
