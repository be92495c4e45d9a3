"""What the words of a channel mean: the tables `[[events]]` of a profile.

A file that has a row for each thing that happened says in a column what it was. A rule says what the words of
that column stand for; the first rule that fits a row holds.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from beancount.core import account as account_names

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millilot.importers.section import Section


class Kind(StrEnum):
    """What can happen on a channel, or on the bank account it pays into."""

    PRICE = "price"
    POSTAGE = "postage"
    EXTRA = "extra"
    DISCOUNT = "discount"
    TAX = "tax"
    TAX_REMITTED = "tax-remitted"
    FEE = "fee"
    ADS = "ads"
    LABEL = "label"
    REFUND = "refund"
    REFUND_TAX = "refund-tax"
    FEE_REFUND = "fee-refund"
    COMPENSATION = "compensation"
    ADJUSTMENT = "adjustment"
    HOLD = "hold"
    RELEASE = "release"
    DISPUTE = "dispute"
    DISPUTE_WON = "dispute-won"
    DISPUTE_LOST = "dispute-lost"
    PAYOUT = "payout"
    PAYOUT_RETURNED = "payout-returned"
    EXCHANGE = "exchange"
    PRIVATE = "private"
    DEPOSIT = "deposit"
    SKIP = "skip"


#: What a sale is made of.
SALE_PARTS = frozenset({Kind.PRICE, Kind.POSTAGE, Kind.EXTRA, Kind.DISCOUNT, Kind.TAX, Kind.TAX_REMITTED})
#: What the channel takes.
COSTS = frozenset({Kind.FEE, Kind.ADS, Kind.LABEL})
#: What a refund is made of, where a row is a component.
REFUND_PARTS = frozenset({Kind.REFUND, Kind.REFUND_TAX, Kind.FEE_REFUND})
PAYOUTS = frozenset({Kind.PAYOUT, Kind.PAYOUT_RETURNED})

#: Nobody but the owner knows which account these go to.
_OWNERS = frozenset({Kind.PRIVATE, Kind.ADJUSTMENT})


@dataclass(frozen=True, slots=True)
class EventRule:
    """What a row is when its words are those of the rule.

    Attributes:
        kind: what happened.
        types: words of the column `type`, in lower case; empty for any.
        details: words of the column `detail`, in lower case; empty for any.
        pattern: what must be found in the row's text, or None; its named groups `payout`, `order` and `event`
            give numbers.
        fee: the kind of fee, or what an extra charge is for.
        account: where a private payment or an adjustment goes, or where a deposit comes from; otherwise empty.
        channel: the channel whose payout a deposit is, or empty.
        names_order: whether the row's order is one.
        sign: -1 when the file writes the amount above 0 for what leaves the account.
    """

    kind: Kind
    types: frozenset[str] = frozenset()
    details: frozenset[str] = frozenset()
    pattern: re.Pattern[str] | None = None
    fee: str = ""
    account: str = ""
    channel: str = ""
    names_order: bool = True
    sign: int = 1

    @property
    def reads_detail(self) -> bool:
        """Whether it goes by the column `detail`."""
        return bool(self.details) or self.pattern is not None

    def fits(self, type_text: str, detail: str) -> bool:
        """Whether a row with these texts is meant."""
        if self.types and type_text.casefold() not in self.types:
            return False
        if self.details and detail.casefold() not in self.details:
            return False
        return self.pattern is None or self.pattern.search(detail or type_text) is not None

    def numbers(self, type_text: str, detail: str) -> dict[str, str]:
        """Return the numbers the pattern finds, by the names of its groups."""
        match = self.pattern.search(detail or type_text) if self.pattern else None
        return {name: text for name, text in match.groupdict().items() if text} if match else {}


def find_rule(rules: Sequence[EventRule], type_text: str, detail: str) -> EventRule | None:
    """Return the first rule that fits, or None."""
    return next((rule for rule in rules if rule.fits(type_text, detail)), None)


def read_event_rule(table: Section) -> EventRule:
    """Read one table `[[events]]`.

    Raises:
        ProfileError: when something is missing, unknown or of the wrong kind.
    """
    kind = Kind(table.choice("is", tuple(Kind), ""))
    rule = EventRule(
        kind=kind,
        types=_read_words(table, "type"),
        details=_read_words(table, "detail"),
        pattern=_read_pattern(table),
        fee=table.text("kind", kind.value) if kind in COSTS or kind is Kind.EXTRA else "",
        account=_read_account(table, kind),
        channel=table.text("channel", "") if kind is Kind.DEPOSIT else "",
        names_order=table.flag("order", default=True),
        sign=-1 if table.flag("reversed", default=False) else 1,
    )
    if not (rule.types or rule.details or rule.pattern):
        raise table.problem("expected one of the keys type, detail and pattern, found none")
    table.close()
    return rule


def _read_words(table: Section, key: str) -> frozenset[str]:
    return frozenset(" ".join(words.split()).casefold() for words in table.texts(key))


def _read_pattern(table: Section) -> re.Pattern[str] | None:
    pattern = table.pattern("pattern", re.IGNORECASE)
    if pattern is None:
        return None
    if unknown := sorted(set(pattern.groupindex) - {"payout", "order", "event"}):
        raise table.problem(f"pattern: expected the named groups payout, order or event, found {unknown[0]}")
    return pattern


def _read_account(table: Section, kind: Kind) -> str:
    key = {Kind.DEPOSIT: "from", Kind.PRIVATE: "account", Kind.ADJUSTMENT: "account"}.get(kind)
    if key is None:
        return ""
    account = table.text(key)
    if not account_names.is_valid(account):
        example = "Equity:Owner" if kind in _OWNERS else "Assets:Marketplace:Lantern:Transit"
        raise table.problem(f'{key}: expected an account like "{example}", found "{account}"')
    return account
