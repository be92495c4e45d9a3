"""Accounts the plugin posts to must be open; one that is not is told once, with the line to paste."""

from __future__ import annotations

from typing import TYPE_CHECKING

from beancount.core.data import Close, Open, new_metadata
from millilot.ledger import goods
from millilot.plugins.problems import AccountError

if TYPE_CHECKING:
    from beancount.core.data import Directives, Posting, Transaction
    from millilot.plugins.problems import Problem


class Accounts:
    """The accounts that are open, and those that turn out to be needed.

    Attributes:
        errors: one for each account that is needed and not open.
        missing: an `open` directive for each, so that the books can be loaded and read all the same.
    """

    def __init__(self, entries: Directives) -> None:
        # When an account is open is Beancount's to check; here only whether it ever is.
        self._known = {entry.account for entry in entries if isinstance(entry, Open | Close)}
        self.errors: list[Problem] = []
        self.missing: Directives = []

    def need(self, postings: list[Posting], entry: Transaction) -> None:
        """Say that a transaction has these postings; called in order of date."""
        for posting in postings:
            if posting.account not in self._known and _is_ours(posting):
                self._miss(posting, entry)

    def _miss(self, posting: Posting, entry: Transaction) -> None:
        account = posting.account
        self._known.add(account)
        currency = posting.units.currency if posting.units is not None else ""
        meta = dict(posting.meta or entry.meta)
        message = f"{account} is needed here and is not open. Add: {entry.date} open {account} {currency}"
        self.errors.append(AccountError(meta, message, entry))
        opening = new_metadata(meta.get("filename", ""), meta.get("lineno", 0))
        self.missing.append(Open(opening, entry.date, account, [], None))


def _is_ours(posting: Posting) -> bool:
    """Whether a posting stands on an account the plugin chose; of all others Beancount speaks."""
    meta = posting.meta or {}
    return goods.MARK in meta or goods.POURED in meta
