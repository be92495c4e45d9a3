"""Reading pages of ours as the XML that they also are, and following what leads from them."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlsplit
from xml.etree import ElementTree as ET

from click.testing import CliRunner

from millilot.reports.command import main

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from .pages import Site


def said(path: Path, *arguments: str) -> Any:
    """Return what a report says as JSON on the command line."""
    result = CliRunner().invoke(
        main, [*arguments, "-b", str(path), "--format", "json"], catch_exceptions=False,
    )
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def read_page(site: Site, name: str, query: Mapping[str, Any] | None = None) -> ET.Element:
    """Return a page of ours, asked for as Fava's own script does."""
    response = site.client.get(
        f"/{site.slug}/extension/{name}/", query_string={"partial": "1", **(query or {})},
    )
    assert response.status_code == 200, response.text
    return ET.fromstring(f"<page>{response.text}</page>")  # noqa: S314  # it is our own


def follow(site: Site, address: str) -> ET.Element:
    """Return the page of ours that an address leads to."""
    url = urlsplit(address)
    name = url.path.removeprefix(f"/{site.slug}/extension/").rstrip("/")
    return read_page(site, name, parse_qs(url.query))


def text_of(element: ET.Element) -> str:
    return " ".join("".join(element.itertext()).split())


def table(root: ET.Element, name: str) -> list[list[str]]:
    """Return the texts of the cells in the body of a table, by its class."""
    rows = root.findall(f".//table[@class='{name}']/tbody/tr")
    return [[text_of(cell) for cell in row] for row in rows]


def heads(root: ET.Element, name: str) -> list[str]:
    return [text_of(cell) for cell in root.findall(f".//table[@class='{name}']/thead/tr/th")]


def figure(cell: ET.Element) -> Decimal:
    """Return what a cell is sorted by: the number, whatever the locale."""
    return Decimal(cell.attrib["data-sort-value"])


def journal_sum(site: Site, address: str) -> Decimal:
    """Return what the journal of an account that an address leads to adds up to, in Fava's own figures."""
    url = urlsplit(address)
    account = url.path.removeprefix(f"/{site.slug}/account/").strip("/")
    query = {name: value for name, [value] in parse_qs(url.query).items()}
    assert set(query) <= {"time", "interval"}
    filtered = site.ledger.get_filtered(**{name: value for name, value in query.items() if name == "time"})
    rows = list(site.ledger.account_journal(filtered, account, "units", with_children=True))
    assert rows, account
    changes = [change for _, _, change, _ in rows]
    assert {currency for change in changes for currency in change.keys()} == {"USD"}  # noqa: SIM118  # no mapping
    whole = sum((change.get("USD", Decimal(0)) for change in changes), Decimal(0))
    # What the page shows below everything is the balance, which is the same.
    assert abs(rows[-1][3].get("USD", Decimal(0)) - whole) < Decimal("1E-18")
    return whole
