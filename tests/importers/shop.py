"""A folder with books and a profile, as an owner has it."""

from __future__ import annotations

import csv
import io
import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beancount import loader
from click.testing import CliRunner, Result

from millilot.reports.commands.import_files import import_files

DATA = Path(__file__).parent / "data"

HEADINGS = next(csv.reader(DATA.joinpath("orders.csv").open(encoding="utf-8")))

#: An order in which nothing is special.
ORDER = {
    "Order": "1001",
    "Ordered on": "2026-03-04",
    "Shipped on": "2026-03-05",
    "Item": "Cedar Hour 5 mL",
    "Quantity": "1",
    "Item total": "12.00",
    "Postage charged": "4.00",
    "Net": "14.05",
    "Status": "Shipped",
    "Selling fee": "1.95",
}


@dataclass
class Shop:
    """The folder; the books are its main.beancount."""

    folder: Path

    @property
    def books(self) -> Path:
        return self.folder / "main.beancount"

    @property
    def profile(self) -> Path:
        return self.folder / "profiles" / "lantern.toml"

    def file(self, *orders: dict[str, str], name: str = "orders.csv") -> Path:
        """Write a file of orders; each tells how it differs from `ORDER`."""
        text = io.StringIO(newline="")
        writer = csv.DictWriter(text, HEADINGS)
        writer.writeheader()
        writer.writerows({**ORDER, **order} for order in orders)
        path = self.folder / name
        path.write_text(text.getvalue(), encoding="utf-8", newline="")
        return path

    def change_profile(self, old: str, new: str) -> None:
        text = self.profile.read_text(encoding="utf-8")
        assert old in text
        self.profile.write_text(text.replace(old, new), encoding="utf-8")

    def run(self, *arguments: object) -> Result:
        """Run the command on these books."""
        command = [*map(str, arguments), "-b", str(self.books)]
        return CliRunner().invoke(import_files, command, catch_exceptions=False)

    def outcome(self, *arguments: object) -> dict[str, Any]:
        """Run the command and return the JSON it prints."""
        result = self.run(*arguments, "--format", "json")
        assert result.exit_code in {0, 1}, result.output
        outcome: dict[str, Any] = json.loads(result.stdout)
        return outcome

    def errors(self) -> list[str]:
        _, errors, _ = loader.load_file(str(self.books))
        return [error.message for error in errors]


def lay_down(folder: Path) -> Shop:
    """Make the folder's books and profile."""
    shop = Shop(folder)
    shop.profile.parent.mkdir()
    shutil.copy(DATA / "main.beancount", shop.books)
    shutil.copy(DATA / "lantern.toml", shop.profile)
    return shop
