"""Books, and a way to propose a profile for a file, import by it and sum up what was booked."""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from beancount import loader
from beancount.core.data import Transaction
from click.testing import CliRunner, Result

from millilot.reports.command import main

if TYPE_CHECKING:
    from pathlib import Path

BOOKS = """\
option "operating_currency" "CUR"
option "inferred_tolerance_default" "CUR:0.005"
plugin "millilot.plugins"
2026-01-01 commodity CEDARHOUR
  name: "Cedar Hour"
2026-01-01 commodity QUIETREED
  name: "Quiet Reed"
2026-01-01 open Assets:Stock:CedarHour CEDARHOUR "NONE"
2026-01-01 open Assets:Stock:QuietReed QUIETREED "NONE"
2026-01-01 open Assets:Bank:Checking CUR
2026-01-01 open Assets:Marketplace:Lantern CUR
2026-01-01 open Assets:Marketplace:Lantern:Transit CUR
2026-01-01 open Assets:Marketplace:Lantern:Reserve CUR
2026-01-01 open Liabilities:SalesTax CUR
2026-01-01 open Income:Sales CUR
2026-01-01 open Income:Postage CUR
2026-01-01 open Income:Refunds CUR
2026-01-01 open Income:Unsorted CUR
2026-01-01 open Income:Compensation CUR
2026-01-01 open Expenses:CostOfGoods:Fragrance CUR
2026-01-01 open Expenses:Selling:Fees CUR
2026-01-01 open Expenses:Selling:Postage CUR
2026-01-01 open Expenses:Selling:Ads CUR
2026-01-01 open Expenses:Selling:Exchange CUR
2026-01-01 open Equity:Owner CUR
2026-01-10 * "A bottle"
  Assets:Stock:CedarHour  1000 CEDARHOUR {{1000.00 CUR, "CH-1"}}
  Assets:Bank:Checking  -1000.00 CUR
2026-01-10 * "Another"
  Assets:Stock:QuietReed  1000 QUIETREED {{1000.00 CUR, "QR-1"}}
  Assets:Bank:Checking  -1000.00 CUR
"""

CHANNEL = "Assets:Marketplace:Lantern"

#: What a seller wants to know of a file, and the account it stands on; what comes in is above 0 but for costs.
SUMS = {
    "sales": ("Income:Sales", -1),
    "unsorted": ("Income:Unsorted", -1),
    "postage": ("Income:Postage", -1),
    "refunds": ("Income:Refunds", 1),
    "compensation": ("Income:Compensation", -1),
    "fees": ("Expenses:Selling:Fees", 1),
    "ads": ("Expenses:Selling:Ads", 1),
    "labels": ("Expenses:Selling:Postage", 1),
    "exchange": ("Expenses:Selling:Exchange", 1),
    "tax": ("Liabilities:SalesTax", -1),
    "balance": (CHANNEL, 1),
    "transit": (f"{CHANNEL}:Transit", 1),
    "reserve": (f"{CHANNEL}:Reserve", 1),
    "bank": ("Assets:Bank:Checking", 1),
    "owner": ("Equity:Owner", -1),
    "cedar": ("Assets:Stock:CedarHour", -1),
    "reed": ("Assets:Stock:QuietReed", -1),
}


@dataclass
class Seller:
    """A folder with books in one currency."""

    folder: Path
    currency: str = "USD"

    @property
    def books(self) -> Path:
        path = self.folder / "main.beancount"
        if not path.exists():
            path.write_text(BOOKS.replace("CUR", self.currency), encoding="utf-8")
        return path

    @property
    def proposed(self) -> Path:
        return self.folder / "proposed.toml"

    def file(self, content: str | bytes, name: str = "lantern.csv") -> Path:
        path = self.folder / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    def propose(self, file: Path, *options: str, account: str = CHANNEL) -> Result:
        """Run `millilot profile`; a traceback is a failure."""
        command = ["profile", str(file), *options, "-o", str(self.proposed), "--force"]
        if account:
            command += ["--account", account]
        return CliRunner().invoke(main, [*command, "-b", str(self.books)], catch_exceptions=False)

    def findings(self, file: Path, account: str = CHANNEL) -> dict[str, Any]:
        """Return what `millilot profile` finds, as JSON has it."""
        found: dict[str, Any] = json.loads(self.propose(file, "--format", "json", account=account).stdout)
        return found

    def profile(self) -> dict[str, Any]:
        """Return the keys of the proposed profile, those of tables with a dot; fees and events are lists."""
        keys: dict[str, Any] = {}
        for key, value in tomllib.loads(self.proposed.read_text(encoding="utf-8")).items():
            if isinstance(value, dict):
                keys.update({f"{key}.{inner}": each for inner, each in value.items()})
            else:
                keys[key] = value
        return keys

    def run_import(self, file: Path) -> dict[str, Any]:
        """Import by the proposed profile; return what became of the rows."""
        command = ["import", str(file), "--profile", str(self.proposed), "-b", str(self.books), "--format", "json"]
        result = CliRunner().invoke(main, command, catch_exceptions=False)
        assert result.exit_code in {0, 1}, result.output
        outcome: dict[str, Any] = json.loads(result.stdout)
        return outcome

    def sums(self) -> dict[str, str]:
        """Return what the import booked, by what it is, without what is 0."""
        entries, errors, _ = loader.load_file(str(self.books))
        assert errors == []
        moved: Counter[str] = Counter()
        for entry in entries:
            if isinstance(entry, Transaction) and "event" in entry.meta:
                for posting in entry.postings:
                    moved[posting.account] += posting.units.number  # type: ignore[union-attr]
        found = {name: Decimal(moved[account] * sign) for name, (account, sign) in SUMS.items()}
        return {name: f"{amount.normalize():f}" for name, amount in found.items() if amount}
