"""What holds of every page in Chromium: odd books, the keyboard, and where errors are shown."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from .browsing import FITS, serving
from .pages import HEAD, purchase, quoted, sale

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Page

    from .browsing import Served

pytestmark = pytest.mark.browser

EVIL = "<script>alert(1)</script>"
#: 100 characters, of which no line can be broken within the last 56.
LONG = "Long-winded fragrance " * 2 + "w" * 56

MODULES = ("today", "pour", "year", "payouts", "stock", "prices")
OPENED = "".join(f'2020-01-01 custom "fava-extension" "millilot.reports.fava.{name}"\n' for name in MODULES)
OPEN = f"""{OPENED}
2020-01-01 open Assets:Marketplace:Lantern USD
2020-01-01 open Equity:Contributed USD
2020-01-01 open Assets:Stock:Evil EVIL "NONE"
2020-01-01 open Assets:Stock:Long LONG "NONE"
2020-01-01 commodity EVIL
  name: {quoted(EVIL)}
2020-01-01 commodity LONG
  name: {quoted(LONG)}
"""
PAGES = [
    "Today/",
    "OrdersToPour/",
    "BottlePayback/",
    "BottlePayback/?bottle=loss",
    "TaxYear/?time=2025",
    "TaxYear/?time=2025&line=business_profit",
    "Payouts/",
    "StockOnHand/",
    "StockOnHand/?view=count",
    "Prices/?fragrance=LONG",
]


def bought(commodity: str, label: str, cost: str) -> str:
    return f"""
2025-01-05 * {quoted(label)}
  Assets:Stock:{commodity.capitalize()}  100 {commodity} {{{{{cost} USD, {quoted(label)}}}}}
  Assets:Bank
"""


def sold(commodity: str, label: str, order: str, day: str, tag: str = "") -> str:
    return f"""
{day} * {quoted(label)} ^order-{order} {tag}
  Income:Sales  -5 {commodity} @@ 12.00 USD
    bottle: {quoted(label)}
  Assets:Marketplace:Lantern  12.00 USD
"""


@pytest.fixture(scope="module")
def odd(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A hostile name, a long one, a bottle that came free, one owned before, and one that lost money."""
    path = tmp_path_factory.mktemp("odd") / "main.beancount"
    long_order = LONG.replace(" ", "-")
    path.write_text("".join((
        HEAD,
        OPEN,
        bought("EVIL", EVIL, "9999999.99"),
        bought("LONG", LONG, "100.00").replace("Assets:Bank", "Equity:Contributed"),
        purchase("free", cost="0.00"),
        purchase("loss"),
        *(sold(each, label, f"{each}-1", "2025-02-01") for each, label in (("EVIL", EVIL), ("LONG", LONG))),
        sold("EVIL", EVIL, "2", "2025-03-01", "#to-pour"),
        sold("LONG", LONG, long_order, "2025-12-31", "#to-pour"),
        sale("free"),
        f"""
2025-03-01 * "Fees above the price"
  bottle: "loss"
  Expenses:Selling:Fees  400.00 USD
  Assets:Marketplace:Lantern
2025-04-01 * {quoted(LONG)} ^payout-{long_order}
  Assets:Marketplace:Lantern  300.00 USD
  Assets:Bank
""",
    )), encoding="utf-8")
    with serving(path) as served:
        yield served


@pytest.fixture(scope="module")
def sample(sample_path: Path) -> Iterator[Served]:
    with serving(sample_path) as served:
        yield served


@pytest.mark.parametrize("address", PAGES)
def test_odd_books_fit_a_narrow_window(open_page: Callable[..., Page], odd: Served, address: str) -> None:
    page = open_page(f"{odd.root}extension/{address}", width=360, theme="dark")
    expect(page.locator("article h2").first).to_be_visible()
    page.locator("article details").evaluate_all("parts => parts.forEach(part => part.open = true)")
    for part in ("html", "article"):
        page.wait_for_function(FITS, arg=part, timeout=10_000)
    captions = page.locator("article caption")
    assert captions.count() == captions.locator("span").count()
    for caption in page.locator("article caption span").all():
        # A caption is read without scrolling, however wide its table is.
        box = caption.bounding_box()
        assert box is None or (box["x"] >= 0 and box["x"] + box["width"] <= 360)


def test_a_heading_sorts_by_keyboard(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(f"{sample.root}extension/StockOnHand/")
    table = page.locator("#bottles")
    expect(table).to_be_visible()
    table.get_by_role("button", name="Value").focus()
    for reverse in (False, True):
        page.keyboard.press("Enter")
        worth = [Decimal(text) for text in table.locator("tbody td:nth-child(10)").all_inner_texts()]
        assert len(worth) == 11
        assert worth == sorted(worth, reverse=reverse)


@pytest.mark.parametrize("address", ["BottlePayback/", "TaxYear/?time=2025", "Payouts/", "Prices/"])
def test_the_keyboard_reaches_every_control_and_its_focus_is_seen(
    open_page: Callable[..., Page], sample: Served, address: str,
) -> None:
    page = open_page(f"{sample.root}extension/{address}")
    expect(page.locator("article h2")).to_be_visible()
    controls = ".millilot :is(a[href], button, input, select, summary, [tabindex='0'], th[data-sort] *)"
    there = page.locator(controls).evaluate_all(
        "parts => parts.filter(part => part.type !== 'hidden' && part.checkVisibility()"
        " && !part.closest('svelte-component')).length",
    )
    page.locator("article h2").evaluate("part => (part.tabIndex = -1, part.focus())")
    # What is focused, and how it is framed; Fava's own chart is passed by.
    look = """() => {
        const part = document.activeElement, style = getComputedStyle(part);
        return part.closest('.millilot') ? [!part.closest('svelte-component'), style.outlineStyle] : null;
    }"""
    seen = []
    while True:
        page.keyboard.press("Tab")
        focused = page.evaluate(look)
        if focused is None:
            break
        seen.append(focused)
    assert sum(is_ours for is_ours, _ in seen) == there > 10
    assert [outline for is_ours, outline in seen if is_ours and outline == "none"] == []


def test_an_error_of_the_plugin_stands_in_the_list_with_its_file_and_line(
    open_page: Callable[..., Page], serve: Callable[..., Served], written: Callable[..., Path],
) -> None:
    path = written(purchase("CH-1"), sale("CH-9"))
    line = path.read_text(encoding="utf-8").splitlines().index("  Income:Sales  -5 CEDARHOUR @@ 12.00 USD") + 1
    page = open_page(f"{serve(path, may_err=True).root}errors/")
    row = page.locator("article tbody tr")
    expect(row).to_have_count(1)
    expect(row).to_contain_text('There is no bottle "CH-9" of CEDARHOUR.')
    where = row.get_by_role("link").first.get_attribute("href") or ""
    assert "main.beancount" in where
    assert f"line={line}" in where
