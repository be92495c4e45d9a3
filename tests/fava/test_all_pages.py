"""What holds of every page, without a browser."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, urlsplit

import pytest

from .pages import open_books, purchase, sale
from .reading_pages import read_page, text_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from xml.etree import ElementTree as ET

    from .pages import Site

#: Each page with all it can show.
PAGES = [
    "Today/",
    "OrdersToPour/",
    "BottlePayback/",
    "BottlePayback/?bottle=QR-1",
    "TaxYear/?time=2025",
    "TaxYear/?time=2026",
    "TaxYear/?time=2025&line=cost_of_goods_sold",
    "Payouts/",
    "StockOnHand/",
    "StockOnHand/?view=count",
    "Prices/?fragrance=CEDARHOUR&channel=lantern&label=4.40&margin=0.3&ending=.50",
]


def read(site: Site, page: str, **more: str) -> ET.Element:
    url = urlsplit(page)
    return read_page(site, url.path.rstrip("/"), {**dict(parse_qsl(url.query)), **more})


def markup(site: Site, page: str) -> str:
    """Return all that a browser is sent for a page."""
    mark = "&" if "?" in page else "?"
    return site.client.get(f"/{site.slug}/extension/{page}{mark}partial=1").text


@pytest.fixture(scope="module")
def hidden(sample_path: Path) -> Site:
    return open_books(sample_path, incognito=True)


@pytest.fixture(scope="module")
def read_only(sample_path: Path) -> Site:
    return open_books(sample_path, read_only=True)


@pytest.mark.parametrize("page", PAGES)
def test_each_page_says_its_range_and_obeys_no_other_filter(sample: Site, page: str) -> None:
    told = text_of(read(sample, page))
    assert "This page obeys the time filter and no other." in told
    assert re.search(r"the last entry|after the last|the count sheet|20\d\d-\d\d-\d\d", told)
    assert text_of(read(sample, page, account="Assets:Bank", filter="nobody")) == told
    # A purchase of 2025-06-01 is the first entry.
    before = text_of(read(sample, page.partition("bottle=")[0], time="2024"))
    assert before != told
    assert "This page obeys the time filter and no other." in before


@pytest.mark.parametrize("page", PAGES)
def test_no_figure_leaks_under_incognito(sample: Site, hidden: Site, page: str) -> None:
    told = read(sample, page)
    cells = [cell for cell in told.iter("td") if cell.attrib.get("class") == "num"]
    figures = {text.removesuffix(" %") for text in map(text_of, cells) if re.fullmatch(r"-?\d+\.\d+( %)?", text)}
    figures |= {cell.attrib.get("data-sort-value", "") for cell in cells}
    # Of an entry behind a figure the quantity stands behind the bottle.
    names = " ".join(map(text_of, told.findall(".//table[@class='entries']/tbody//span")))
    figures |= set(re.findall(r", (\d+\.\d+)", names))
    # Charts have the same figures without noughts at the end; what is told apart from others is longer than "5".
    figures |= {f"{Decimal(figure).normalize():f}" for figure in figures if figure and Decimal(figure)}
    figures = {figure for figure in figures if "." in figure}
    assert figures or page.startswith(("Today", "StockOnHand/?view"))
    sent = markup(hidden, page)
    # What the owner typed stays typed, and so does the example of an entry.
    known = r'<style>.*?</style>|<code>.*?</code>|<input type="text"[^>]*>|href="[^"]*"'
    bare = re.sub(known, "", sent, flags=re.DOTALL)
    leaks = {figure for figure in figures if re.search(rf"(?<![\d.]){re.escape(figure)}(?![\d.]|\.\d)", bare)}
    assert leaks == set()
    # A picture is a figure too: no bar, no chart and no step of the way to the bank has a length.
    root = read(hidden, page)
    assert [each for each in root.iter() if "width" in each.attrib.get("style", "") or each.tag == "rect"] == []
    assert not root.findall(".//svelte-component")


@pytest.mark.parametrize(("module", "page"), [
    ("today", "Today"),
    ("pour", "OrdersToPour"),
    ("payback", "BottlePayback"),
    ("year", "TaxYear"),
    ("payouts", "Payouts"),
    ("stock", "StockOnHand"),
    ("prices", "Prices"),
])
def test_each_page_says_that_not_all_could_be_booked(
    written: Callable[..., Path], module: str, page: str,
) -> None:
    said = "Errors in the books: 1. The figures are those of what could be booked."
    named = f'2020-01-01 custom "fava-extension" "millilot.reports.fava.{module}"\n' if module != "payback" else ""
    whole = open_books(written(named, purchase("CH-1"), sale("CH-1")))
    assert said not in text_of(read(whole, f"{page}/"))
    root = read(open_books(written(named, purchase("CH-1"), *[sale("CH-1")] * 21), may_err=True), f"{page}/")
    assert said in text_of(root)
    assert any(link.attrib["href"].endswith("/errors/") for link in root.iter("a"))


@pytest.mark.parametrize("page", PAGES)
def test_read_only_shows_the_same(sample: Site, read_only: Site, page: str) -> None:
    assert markup(read_only, page) == markup(sample, page)
