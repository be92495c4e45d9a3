"""Opening books in Fava, and reading what the page "Bottle payback" shows of them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlsplit
from xml.etree import ElementTree as ET

from click.testing import CliRunner
from fava.application import create_app

from millilot.reports.commands.bottles import bottles_command

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fava.core import FavaLedger
    from flask import Flask
    from flask.testing import FlaskClient

#: The columns of the table by the name they have in every report; that report has no decants to go.
COLUMNS = {
    "bottle": "Bottle",
    "fragrance": "Fragrance",
    "bought": "Bought",
    "ml_left": "mL left",
    "cost_per_ml": "Cost per mL",
    "cost": "Cost",
    "net": "Net",
    "payback": "Payback",
    "paid_back_on": "Paid back on",
    "to_recover": "To recover",
    "to_go": "Decants to go",
    "profit": "Profit",
    "stock_value": "Stock value",
}

HEAD = """
plugin "millilot.plugins"
option "title" "Books"
option "operating_currency" "USD"
option "inferred_tolerance_default" "USD:0.005"
2020-01-01 custom "fava-extension" "millilot.reports.fava.payback"
2020-01-01 open Assets:Bank USD
2020-01-01 open Assets:Stock:Inbound USD
2020-01-01 open Income:Sales USD
2020-01-01 open Income:Refunds USD
2020-01-01 open Expenses:CostOfGoods:Fragrance USD
2020-01-01 open Expenses:Selling:Fees USD
2020-01-01 open Expenses:Samples USD
2020-01-01 open Equity:PersonalUse USD
2020-01-01 open Assets:Stock:CedarHour CEDARHOUR "NONE"
"""


def quoted(text: str) -> str:
    """Return a string as Beancount reads it."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def purchase(label: str, day: str = "2025-01-05", cost: str = "129.60") -> str:
    return f"""
{day} * "A bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{{{{cost} USD, {quoted(label)}}}}}
  Assets:Bank
"""


def sale(label: str, price: str = "12.00", day: str = "2025-02-01") -> str:
    return f"""
{day} * "Sold"
  Income:Sales  -5 CEDARHOUR @@ {price} USD
    bottle: {quoted(label)}
  Assets:Bank
"""


def reported(path: Path, *arguments: str) -> list[dict[str, Any]]:
    """Return what `millilot bottles` says as JSON, in the columns of the page."""
    command = ["-b", str(path), "--format", "json", *arguments]
    result = CliRunner().invoke(bottles_command, command, catch_exceptions=False)
    assert (result.exit_code, result.stderr) == (0, "")
    return [{name: row[name] for name in COLUMNS if name != "to_go"} for row in json.loads(result.stdout)]


def as_reported(cells: Sequence[str]) -> dict[str, str | None]:
    """Return the cells of a row of the table as the command line writes them."""
    row: dict[str, str | None] = {
        name: None if cell == "\N{EN DASH}" else cell for name, cell in zip(COLUMNS, cells, strict=True)
    }
    del row["to_go"]
    if row["payback"] is not None:
        number, unit = row["payback"].split(" ")
        assert unit == "%"
        row["payback"] = f"{Decimal(number).scaleb(-2):f}"
    return row


@dataclass
class PaybackPage:
    """The page, read as the XML that it also is."""

    root: ET.Element

    def cells(self, part: str) -> list[list[str]]:
        """Return the texts of the cells in a part of the table of bottles (thead, tbody, tfoot)."""
        found = self.root.findall(f".//table[@is='sortable-table']/{part}/tr")
        return [["".join(cell.itertext()).strip() for cell in row] for row in found]

    @property
    def rows(self) -> list[dict[str, str | None]]:
        return [as_reported(cells) for cells in self.cells("tbody")]

    @property
    def links(self) -> dict[str, str]:
        """The address each bottle's name leads to."""
        anchors = self.root.findall(".//table[@is='sortable-table']/tbody//a")
        return {"".join(anchor.itertext()): anchor.attrib["href"] for anchor in anchors}

    @cached_property
    def charts(self) -> list[dict[str, Any]]:
        [script] = self.root.findall(".//svelte-component[@type='charts']/script")
        charts: list[dict[str, Any]] = json.loads(script.text or "", parse_float=Decimal, parse_int=Decimal)
        return charts

    @property
    def line(self) -> dict[str, dict[str, Decimal]]:
        """The points of the chart, by bottle and day."""
        [chart] = self.charts
        lines: dict[str, dict[str, Decimal]] = {}
        for point in chart["data"]:
            for bottle, payback in point["balance"].items():
                lines.setdefault(bottle, {})[point["date"]] = payback
        return lines

    @property
    def text(self) -> str:
        return " ".join("".join(self.root.itertext()).split())


@dataclass
class Site:
    """Books opened in Fava."""

    app: Flask
    slug: str

    @property
    def client(self) -> FlaskClient:
        return self.app.test_client()

    @property
    def ledger(self) -> FavaLedger:
        ledger: FavaLedger = self.app.config["LEDGERS"][self.slug]
        return ledger

    @property
    def address(self) -> str:
        return f"/{self.slug}/extension/BottlePayback/"

    def page(self, **query: str) -> PaybackPage:
        # Fava's own script asks for the page without the frame around it in this way.
        response = self.client.get(self.address, query_string={"partial": "1", **query})
        assert response.status_code == 200, response.text
        return PaybackPage(ET.fromstring(f"<page>{response.text}</page>"))  # noqa: S314  # it is our own


    def journals(self, **query: str) -> dict[str, str]:
        """Return the address of the journal that each bottle's own view leads to."""
        found = {}
        for bottle, address in self.page(**query).links.items():
            own = self.page(**{name: value for name, [value] in parse_qs(urlsplit(address).query).items()})
            [found[bottle]] = (
                anchor.attrib["href"] for anchor in own.root.iter("a") if anchor.text == "Journal of the bottle"
            )
        return found


def open_books(path: Path, *, may_err: bool = False, **flags: bool) -> Site:
    """Open a file in Fava.

    Args:
        path: the books.
        may_err: whether they may have errors.
        flags: of `create_app`.
    """
    # With a watcher that polls, a change is seen at the next request.
    app = create_app([str(path)], load=True, poll_watcher=True, **flags)
    [(slug, ledger)] = app.config["LEDGERS"].items()
    assert may_err or [error.message for error in ledger.errors] == []
    return Site(app, slug)
