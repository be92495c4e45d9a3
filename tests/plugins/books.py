"""Loading small books, and looking at what the plugin made of them."""

from __future__ import annotations

import re
from collections import defaultdict
from decimal import Decimal
from textwrap import dedent
from typing import TYPE_CHECKING, Any

from beancount import loader
from beancount.core import convert
from beancount.core.data import Transaction
from beancount.core.inventory import Inventory

if TYPE_CHECKING:
    from beancount.core.data import Directive, Posting

PLUGIN = 'plugin "millilot.plugins"'

#: Every account the tests post to, opened as the starter books do it.
ACCOUNTS = """
option "operating_currency" "USD"
option "inferred_tolerance_default" "USD:0.005"
option "use_precise_interpolation" "TRUE"
2020-01-01 open Assets:Bank USD
2020-01-01 open Assets:Marketplace:Lantern USD
2020-01-01 open Assets:Stock:CedarHour "NONE"
2020-01-01 open Assets:Stock:QuietReed "NONE"
2020-01-01 open Assets:Stock:Inbound USD
2020-01-01 open Income:Sales USD
2020-01-01 open Income:Refunds USD
2020-01-01 open Income:Swaps USD
2020-01-01 open Expenses:CostOfGoods:Fragrance USD
2020-01-01 open Expenses:Selling:Fees USD
2020-01-01 open Expenses:Samples USD
2020-01-01 open Expenses:Loss USD
2020-01-01 open Equity:PersonalUse USD
2020-01-01 open Equity:Contributed USD
"""

#: The accounts and a first bottle of 100 mL.
SHELF = f"""{ACCOUNTS}
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{{{129.60 USD, "CH-1"}}}}
  Assets:Bank  -129.60 USD
"""

#: Marks the line of a test's books that an error must point at.
BLAMED = "; blamed"


class LoadedBooks:
    """Books after loading, with short ways to ask what stands in them."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.entries, self.errors, self.options = loader.load_string(text)

    @property
    def transactions(self) -> list[Transaction]:
        return [entry for entry in self.entries if isinstance(entry, Transaction)]

    @property
    def messages(self) -> list[str]:
        return [error.message for error in self.errors]

    def transaction(self, narration: str) -> Transaction:
        """Return the one transaction with this narration."""
        [entry] = [entry for entry in self.transactions if entry.narration == narration]
        return entry

    def lines(self, narration: str) -> list[str]:
        """Return the postings of a transaction, each as one line of text."""
        return [as_text(posting) for posting in self.transaction(narration).postings]

    def left(self) -> dict[str, Decimal]:
        """Return what is left in each lot that is not empty, by label."""
        left: dict[str, Decimal] = defaultdict(Decimal)
        for position in self.stock():
            left[position.cost.label if position.cost else "(no cost)"] += position.units.number
        return {label: quantity for label, quantity in left.items() if quantity}

    def stock(self) -> Inventory:
        """Return all positions of the stock accounts that are not money."""
        inventory = Inventory()
        for posting in self.postings("Assets:Stock"):
            if posting.units.currency != "USD":
                inventory.add_position(posting)
        return inventory

    def stock_value(self) -> Decimal:
        """Return the cost of what is left."""
        return sum((convert.get_cost(position).number for position in self.stock()), Decimal(0))

    def balance(self, account: str) -> Decimal:
        """Return the USD on an account and below it; nothing else may stand there."""
        postings = self.postings(account)
        assert all(posting.units.currency == "USD" for posting in postings), postings
        return sum((posting.units.number for posting in postings), Decimal(0))

    def balances(self) -> dict[str, Inventory]:
        """Return what stands on every account."""
        balances: dict[str, Inventory] = defaultdict(Inventory)
        for entry in self.transactions:
            for posting in entry.postings:
                balances[posting.account].add_position(posting)
        return {account: inventory for account, inventory in balances.items() if not inventory.is_empty()}

    def postings(self, account: str) -> list[Posting]:
        return [
            posting
            for entry in self.transactions
            for posting in entry.postings
            if f"{posting.account}:".startswith(f"{account}:")
        ]

    def error(self) -> str:
        """Return the message of the one error there is, which points at the blamed line."""
        assert len(self.errors) == 1, self.messages
        error = self.errors[0]
        lines = self.text.splitlines()
        [blamed] = [number for number, line in enumerate(lines, start=1) if BLAMED in line]
        assert (error.source["filename"], error.source["lineno"]) == ("<string>", blamed), error.message
        return str(error.message)


def load(text: str, rest: str = SHELF) -> LoadedBooks:
    """Load books in draws: the plugin line comes first, and what every test needs comes last."""
    return LoadedBooks(f"{PLUGIN}\n{dedent(text)}\n{rest}")


def as_text(posting: Posting) -> str:
    """Return account, units and cost, with money as it is and a mark in brackets."""
    parts = [posting.account, str(posting.units)]
    if posting.cost is not None:
        number, currency, date, label = posting.cost
        parts.append(f'{{{number} {currency}, {date}, "{label}"}}')
    if posting.price is not None:
        parts.append(f"@ {posting.price}")
    meta: dict[str, Any] = posting.meta or {}
    parts.extend(f"[{meta[key]}]" for key in ("poured", "millilot") if key in meta)
    return " ".join(parts)


def states(message: str, *facts: str) -> bool:
    """Whether a message states all of these facts, each standing by itself: 5 is not in 95 nor in 5.5."""
    return all(re.search(rf"(?<![\w.]){re.escape(fact)}(?!\w|\.\d)", message) for fact in facts)


def dated(entries: list[Directive]) -> list[str]:
    """Return all postings as text with day, links and narration, sorted."""
    return sorted(
        f"{entry.date} {sorted(entry.links)} {entry.narration} {as_text(posting)}"
        for entry in entries
        if isinstance(entry, Transaction)
        for posting in entry.postings
    )
