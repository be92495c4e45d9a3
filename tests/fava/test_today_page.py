"""What the page "Today" shows, without a browser."""

from __future__ import annotations

import datetime
import re
from decimal import Decimal
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, unquote, urlsplit

import pytest

from millilot.reports.fava import adapter, today

from .pages import open_books, purchase, quoted, sale
from .reading_pages import journal_sum, read_page, said, text_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from typing import Any
    from xml.etree import ElementTree as ET

    from .pages import Site

PAGE = "Today"
NAMED = '2020-01-01 custom "fava-extension" "millilot.reports.fava.today"\n'
WAITS = """
2020-01-01 open Income:Unsorted USD
2020-01-01 open Liabilities:SalesTax USD
2025-03-01 * "Shop" "Nobody knows what" ^order-strange
  Income:Unsorted  -9.00 USD
  Assets:Bank
2025-03-02 * "Shop" "With tax"
  Liabilities:SalesTax  -0.80 USD
  Assets:Bank
"""


def rows(root: ET.Element) -> list[list[str]]:
    return [[text_of(cell) for cell in row] for row in root.findall(".//table[@id='to-do']/tbody/tr")]


def links(root: ET.Element) -> dict[str, str]:
    return {text_of(link): link.attrib["href"] for link in root.findall(".//table[@id='to-do']//a")}


def cell(value: Any) -> str:
    return "\N{EN DASH}" if value is None else str(value)


def as_shown(told: list[dict[str, Any]]) -> list[list[str]]:
    return [
        [
            task["what"],
            *(cell(task[name]) for name in ("count", "amount", "unit", "oldest")),
            task["command"] or "your entry",
        ]
        for task in told
    ]


@pytest.mark.parametrize("day", ["2025-10-31", "2026-05-15", "2026-11-20", "2026-11-30"])
def test_the_figures_are_those_of_the_command_line(
    sample: Site, sample_path: Path, day: str, monkeypatch: pytest.MonkeyPatch,
) -> None:
    told = said(sample_path, "today", "--on", day)
    assert told
    root = read_page(sample, PAGE, {"time": f"2025-06-01 - {day}"})
    assert rows(root) == as_shown(told)
    names = [text_of(each) for each in root.findall(".//dl/dd")]
    assert names == [", ".join(task["names"]) for task in told if task["key"] != "late"]
    # Without a range it is this day.
    monkeypatch.setattr(adapter, "this_day", lambda: datetime.date.fromisoformat(day))
    assert rows(read_page(sample, PAGE)) == as_shown(told)


def test_each_line_leads_to_where_it_is_settled(written: Callable[..., Path]) -> None:
    late = sale("CH-1").replace('"Sold"', '"Sold" #to-pour ^order-late')
    site = open_books(written(NAMED, purchase("CH-1"), late, WAITS))
    found = links(read_page(site, PAGE, {"time": "2025-03"}))
    assert list(found) == ["Orders to pour", "Late, over 3 days", "Rows unsorted", "Sales tax to remit"]
    for name in ("Orders to pour", "Late, over 3 days"):
        url = urlsplit(found[name])
        assert url.path == f"/{site.slug}/extension/OrdersToPour/"
        assert parse_qs(url.query) == {"time": ["2025-03"]}
    assert unquote(urlsplit(found["Rows unsorted"]).path).endswith("/account/Income:Unsorted/")
    assert journal_sum(site, found["Rows unsorted"]) == Decimal("-9.00")
    assert journal_sum(site, found["Sales tax to remit"]) == Decimal("-0.80")


def test_the_pages_it_leads_to_are_served(sample: Site) -> None:
    assert "StockOnHand" in today._PAGES.values()
    for name in today._PAGES.values():
        read_page(sample, name)


def test_names_are_text_and_orders_without_a_link_are_told_apart(written: Callable[..., Path]) -> None:
    evil = "</dd><script>alert(1)</script>"
    orders = [
        sale("CH-1", day=f"2025-02-{day:02}").replace('"Sold"', f"{quoted(evil)} {quoted(evil)} #to-pour")
        for day in range(1, 4)
    ]
    site = open_books(written(NAMED, purchase("CH-1"), *orders))
    assert "<script>alert" not in site.client.get(f"/{site.slug}/extension/{PAGE}/").text
    root = read_page(site, PAGE, {"time": "2025"})
    names = re.findall(r"main\.beancount:\d+", text_of(root.findall(".//dl/dd")[0]))
    assert len(set(names)) == 3


def test_a_long_list_of_names_is_cut(written: Callable[..., Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(today, "_NAMED", 2)
    orders = [sale("CH-1").replace('"Sold"', f'"Sold" #to-pour ^order-{number}') for number in range(5)]
    site = open_books(written(NAMED, purchase("CH-1"), *orders))
    root = read_page(site, PAGE, {"time": "2025"})
    assert text_of(root.findall(".//dl/dd")[0]) == "0, 1 and 3 more"


def test_empty_books(starter: Site) -> None:
    root = read_page(starter, PAGE)
    assert "Nothing to do." in text_of(root)
    assert rows(root) == []


def test_incognito_shows_no_digit_of_a_figure(sample_path: Path) -> None:
    root = read_page(open_books(sample_path, incognito=True), PAGE, {"time": "2026-05"})
    figures = [text_of(each) for each in root.iter("td") if each.attrib.get("class") == "num"]
    assert "X.XX" in figures
    assert not any(letter.isdigit() for text in figures for letter in text)
