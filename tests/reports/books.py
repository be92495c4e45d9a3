"""Loading small books and reading them as the reports do."""

from __future__ import annotations

from decimal import Decimal
from textwrap import dedent
from typing import TYPE_CHECKING, Any

from beancount import loader
from beancount.core import convert
from beancount.core.data import Transaction

from millilot.ledger.reading import read_books
from millilot.reports.bottles import bottles, rounded, rows_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from beancount.core.data import BeancountError, Directive

    from millilot.ledger.records import Books

#: Everything the activity needs, and nothing private.
HEAD = """
plugin "millilot.plugins"
option "operating_currency" "USD"
option "inferred_tolerance_default" "USD:0.005"
option "use_precise_interpolation" "TRUE"
2020-01-01 commodity CEDARHOUR
  name: "Cedar Hour"
2020-01-01 commodity QUIETREED
  name: "Quiet Reed"
2020-01-01 commodity VIAL5
  name: "Vial of 5 mL"
  unit: "each"
2020-01-01 open Assets:Bank USD
2020-01-01 open Assets:Marketplace:Lantern USD
2020-01-01 open Assets:Marketplace:Lantern:Transit USD
2020-01-01 open Assets:Stock:CedarHour CEDARHOUR "NONE"
2020-01-01 open Assets:Stock:QuietReed QUIETREED "NONE"
2020-01-01 open Assets:Stock:Supplies VIAL5 "NONE"
2020-01-01 open Assets:Stock:Inbound USD
2020-01-01 open Liabilities:Claims USD
2020-01-01 open Income:Sales USD
2020-01-01 open Income:Postage USD
2020-01-01 open Income:Refunds USD
2020-01-01 open Income:Swaps USD
2020-01-01 open Income:Unsorted USD
2020-01-01 open Income:Compensation USD
2020-01-01 open Expenses:CostOfGoods:Fragrance USD
2020-01-01 open Expenses:CostOfGoods:Supplies USD
2020-01-01 open Expenses:CostOfGoods:Shrinkage USD
2020-01-01 open Expenses:CostOfGoods:Other USD
2020-01-01 open Expenses:Selling:Fees USD
2020-01-01 open Expenses:Selling:Postage USD
2020-01-01 open Expenses:Selling:Packing USD
2020-01-01 open Expenses:Selling:Ads USD
2020-01-01 open Expenses:Selling:Software USD
2020-01-01 open Expenses:Samples USD
2020-01-01 open Expenses:Loss USD
2020-01-01 open Equity:PersonalUse USD
2020-01-01 open Equity:Contributed USD
"""

#: Two bottles: 100 mL at 1.296 a mL, and 50 mL at 2.
SHELF = """
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{129.60 USD, "CH-1"}}
  Assets:Bank
2026-01-06 * "bottle"
  Assets:Stock:QuietReed  50 QUIETREED {{100.00 USD, "QR-1"}}
  Assets:Bank
"""

Loaded = tuple["list[Directive]", "list[BeancountError]", dict[str, Any]]


def load(text: str, head: str = HEAD) -> Loaded:
    """Load books written below the usual head."""
    return loader.load_string(head + dedent(text))


def read(text: str, head: str = HEAD) -> Books:
    """Read books in which nothing is wrong."""
    entries, errors, options = load(text, head)
    assert [error.message for error in errors] == []
    return read_books(entries, options)


def by_bottle(books: Books, *, exact: bool = False) -> dict[str | None, dict[str, Any]]:
    """Return the rows of the bottles report by bottle."""
    frame = bottles(books)
    return {row["bottle"]: row for row in rows_of(frame if exact else rounded(frame, books.currency))}


def net_profit(entries: Iterable[Directive]) -> Decimal:
    """Return what Fava calls net profit: all income and expenses at weight, sign turned."""
    return -sum(
        (
            convert.get_weight(posting).number
            for entry in entries
            if isinstance(entry, Transaction)
            for posting in entry.postings
            if posting.account.startswith(("Income:", "Expenses:"))
        ),
        Decimal(0),
    )
