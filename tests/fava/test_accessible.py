"""Every page by axe-core, by the keyboard, in a narrow window and on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from .browsing import FITS, serving
from .pages import open_books, purchase, sale

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Page

    from .browsing import Served

pytestmark = pytest.mark.browser

PAGES = [
    "Today/",
    "OrdersToPour/",
    "BottlePayback/",
    "BottlePayback/?bottle=QR-1",
    "BottlePayback/?time=2025&hide=1&chart=CH-1",
    "TaxYear/",
    "TaxYear/?time=2025&line=business_profit",
    "Payouts/",
    "StockOnHand/",
    "StockOnHand/?view=count",
    "Prices/",
    "Prices/?fragrance=CEDARHOUR&sizes=2+5+10&margin=0.3&ending=.50&size=5",
    "Prices/?sizes=many",
]
#: What axe-core calls these, from the worst on.
SERIOUS = {"critical", "serious"}
#: Fava's own charts and their buttons are not ours to mend.
NOT_OURS = ["svelte-component"]


@pytest.fixture(scope="module")
def sample(sample_path: Path) -> Iterator[Served]:
    with serving(sample_path) as served:
        yield served


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("address", PAGES)
def test_axe_finds_nothing_serious(
    open_page: Callable[..., Page], sample: Served, address: str, theme: str,
) -> None:
    page = open_page(f"{sample.root}extension/{address}", theme=theme)
    expect(page.locator("article h2").first).to_be_visible()
    found = Axe().run(page, context={"include": [["article"]], "exclude": [[part] for part in NOT_OURS]})
    serious = [
        (each["id"], node["target"], node["html"][:200])
        for each in found.response["violations"]
        if each["impact"] in SERIOUS
        for node in each["nodes"]
    ]
    assert serious == []
    assert found.response["passes"]


@pytest.mark.parametrize("address", PAGES)
def test_nothing_is_wider_than_the_window(open_page: Callable[..., Page], sample: Served, address: str) -> None:
    page = open_page(f"{sample.root}extension/{address}", width=360)
    expect(page.locator("article h2").first).to_be_visible()
    for part in ("html", "article"):
        page.wait_for_function(FITS, arg=part, timeout=10_000)


def test_the_form_works_by_keyboard(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(f"{sample.root}extension/BottlePayback/?time=2025")
    page.get_by_role("searchbox", name="Search").focus()
    page.keyboard.type("cedar")
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    page.wait_for_url("**search=cedar**")
    assert "time=2025" in page.url
    assert "hide=1" in page.url
    expect(page.locator("article table[is] > tbody > tr")).to_have_count(1)
    # The row's own box is in the order of the keys, and so is the region that scrolls.
    box = page.get_by_role("checkbox", name="CH-1 in the chart")
    box.focus()
    page.keyboard.press("Space")
    page.get_by_role("button", name="Show").click()
    page.wait_for_url("**chart=CH-1**")
    expect(page.locator("article svg .lines path")).to_have_count(1)
    assert page.get_by_role("region", name="Bottles").get_attribute("tabindex") == "0"


def test_a_name_leads_to_the_bottle_and_back(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(f"{sample.root}extension/StockOnHand/")
    page.get_by_role("region", name="Bottles").get_by_role("link", name="QR-1", exact=True).click()
    expect(page.get_by_role("heading", name="QR-1: Quiet Reed")).to_be_visible()
    bar = page.get_by_role("img", name="mL: ")
    assert (bar.bounding_box() or {}).get("width", 0) > 300
    page.get_by_role("link", name="All bottles").click()
    expect(page.get_by_role("heading", name="Bottle payback", exact=True)).to_be_visible()


def test_patterns_differ_in_more_than_colour(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(f"{sample.root}extension/BottlePayback/?bottle=QR-1")
    grounds = page.locator(".legend").nth(1).locator("i").evaluate_all(
        "parts => parts.map(part => getComputedStyle(part).backgroundImage"
        " + (getComputedStyle(part).backgroundColor === 'rgba(0, 0, 0, 0)' ? '' : 'filled'))",
    )
    # Sold and lost are both filled, one light and one dark; the others have patterns of their own or are blank.
    assert len(grounds) == 5
    assert len(set(grounds)) == 4


def test_only_the_count_sheet_goes_on_paper(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(f"{sample.root}extension/StockOnHand/?view=count")
    sheet = page.get_by_role("region", name="Count sheet")
    expect(sheet).to_be_visible()
    expect(page.locator("aside")).to_be_visible()
    page.emulate_media(media="print")
    expect(sheet).to_be_visible()
    for part in ("header", "aside"):
        expect(page.locator(part).first).to_be_hidden()
    expect(page.get_by_role("link", name="Stock", exact=True).last).to_be_hidden()


def test_three_hundred_bottles(open_page: Callable[..., Page], written: Callable[..., Path]) -> None:
    labels = [f"CH-{number:03}" for number in range(300)]
    path = written(*map(purchase, labels), *map(sale, labels))
    with serving(path) as served:
        page = open_page(f"{served.root}extension/BottlePayback/", width=360)
        expect(page.locator("article table[is] > tbody > tr")).to_have_count(300)
        page.wait_for_function(FITS, arg="html", timeout=10_000)
    assert len(open_books(path).page().rows) == 300
