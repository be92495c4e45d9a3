"""Accounts the plugin posts to must be open; one that is not is told once, with the line to paste."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beancount.core.data import Open, new_metadata

from millilot.plugins.problems import AccountError

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping

    from beancount.core.data import Directive, Directives

    from millilot.plugins.problems import Problem


AUTO_ACCOUNTS = "beancount.plugins.auto_accounts"


def are_opened_later(options_map: Mapping[str, Any]) -> bool:
    """Whether a plugin behind ours opens every account that is used."""
    return any(name == AUTO_ACCOUNTS for name, _ in options_map["plugin"])


class Accounts:
    """The accounts that are open, and those that turn out to be needed.

    Attributes:
        errors: one for each account that is needed and not open.
        missing: an `open` directive for each, so that the books can be loaded and read all the same.
    """

    def __init__(self, entries: Directives, options_map: dict[str, Any]) -> None:
        # When an account is open is Beancount's to check; here only whether it ever is.
        self._known = {entry.account for entry in entries if isinstance(entry, Open)}
        # With this plugin behind ours, nothing has to be open.
        self._opened_later = are_opened_later(options_map)
        self.errors: list[Problem] = []
        self.missing: Directives = []

    def need(
        self, account: str, currency: str, day: datetime.date, meta: dict[str, Any], entry: Directive,
    ) -> None:
        """Say that something is posted to an account the plugin chose; called in order of date.

        Args:
            account: the account; of those the owner wrote, Beancount speaks.
            currency: what it is posted in.
            day: when.
            meta: of the line that asks for it.
            entry: the entry the line stands in.
        """
        if account in self._known or self._opened_later:
            return
        self._known.add(account)
        message = f"{account} is needed here and is not open. Add: {day} open {account} {currency}"
        self.errors.append(AccountError(dict(meta), message, entry))
        opening = new_metadata(meta["filename"], meta["lineno"])
        self.missing.append(Open(opening, day, account, [currency], None))
