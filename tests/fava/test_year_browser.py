"""The pages "Tax year" and "Payouts" in Chromium, as the owner opens them."""

from __future__ import annotations

import zipfile
from decimal import Decimal
from itertools import product
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from .browsing import FITS, serving
from .pages import purchase, quoted
from .reading_pages import said

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Locator, Page

    from .browsing import Served

pytestmark = pytest.mark.browser

PAGES = """
2020-01-01 custom "fava-extension" "millilot.reports.fava.year"
2020-01-01 custom "fava-extension" "millilot.reports.fava.payouts"
2020-01-01 open Assets:Marketplace:Lantern USD
"""
EVIL = "<script>alert(1)</script>"
LONG = "a narration as long as no narration should be " + "some-more-of-it-without-a-space-" * 4


@pytest.fixture(scope="module")
def sample(sample_path: Path) -> Iterator[Served]:
    with serving(sample_path) as served:
        yield served


def address(served: Served, name: str, query: str = "") -> str:
    return f"{served.root}extension/{name}/{query}"


def figures(page: Page) -> dict[str, str]:
    """Return the figures of the year's statement by line."""
    links = page.locator("article table.statement a")
    expect(links.first).to_be_visible()
    return {link.get_attribute("data-line") or "": link.inner_text() for link in links.all()}


def amounts(cells: Locator) -> list[Decimal]:
    """Return the amounts that a journal of Fava shows."""
    return [Decimal(text.split()[0]) for text in cells.all_inner_texts() if text.strip()]


def test_a_figure_leads_to_what_adds_up_to_it_as_the_browser_shows_it(
    open_page: Callable[..., Page], sample: Served,
) -> None:
    page = open_page(address(sample, "TaxYear", "?time=2025"))
    year = said(sample.path, "year", "2025")
    assert figures(page) == {line: str(year[line]) for line in figures(page)}
    for line, sign in (("fees", 1), ("postage", 1), ("refunds", 1), ("ads", 1), ("contributed", -1)):
        page.goto(address(sample, "TaxYear", "?time=2025"))
        page.locator(f"article table.statement a[data-line={line}]").first.click()
        entries = page.locator("article .journal li.transaction")
        expect(entries.first).to_be_visible()
        # Of each entry the change, and of the one on top the balance, as the owner reads them.
        changes = amounts(entries.locator("> p > .num.change"))
        balance = amounts(entries.first.locator("> p > .num:not(.change)"))
        assert balance == [sum(changes)] == [sign * Decimal(year[line])], line
    # Goods at cost are finer than a journal shows; their list says what is rounded.
    for line in ("cost_of_goods_sold", "samples", "personal_use", "closing_stock", "business_profit"):
        page.goto(address(sample, "TaxYear", "?time=2025"))
        page.locator(f"article table.statement a[data-line={line}]").first.click()
        rows = page.locator("article table.entries :is(tbody tr, tfoot tr.rounding)")
        expect(rows.last).to_contain_text("Rounding")
        assert sum(amounts(rows.locator("td.num"))) == Decimal(year[line]), line


def test_a_figure_leads_to_its_entries_and_these_into_the_books(
    open_page: Callable[..., Page], sample: Served,
) -> None:
    page = open_page(address(sample, "TaxYear", "?time=2025"))
    page.locator("article table.statement a[data-line=gross_receipts]").click()
    rows = page.locator("article table.entries tbody tr")
    expect(rows.first).to_be_visible()
    assert sum(amounts(rows.locator("td.num"))) == Decimal(said(sample.path, "year", "2025")["gross_receipts"])
    rows.first.get_by_role("link").click()
    expect(page.locator("dialog")).to_contain_text("Cedar Hour")
    page.keyboard.press("Escape")
    page.get_by_role("region", name="Sums by account").get_by_role("link", name="Income:Sales").click()
    balances = page.locator("article .journal li.transaction > p > .num:not(.change)")
    expect(balances.first).to_contain_text("-600.00")


def test_forms_are_chosen_without_a_script_of_ours(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(address(sample, "TaxYear", "?time=2025"))
    expect(page.get_by_role("region", name="Forms side by side")).to_be_visible()
    page.get_by_role("checkbox", name="us-hobby").focus()
    page.keyboard.press("Space")
    page.get_by_role("combobox", name="losses").last.select_option("stock")
    page.get_by_role("button", name="Show").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("region", name="Forms side by side")).to_have_count(0)
    form = said(sample.path, "year", "2025", "--form", "us-schedule-c", "--choose", "losses=stock")
    shown = page.locator("article table.form tbody td.num").all_inner_texts()
    assert shown == [line["amount"] for line in form["lines"]]
    assert "time=2025" in page.url


def test_the_pack_is_downloaded(open_page: Callable[..., Page], sample: Served, tmp_path: Path) -> None:
    page = open_page(address(sample, "TaxYear", "?time=2025"))
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the records").click()
    assert download.value.suggested_filename == "records-2025.zip"
    download.value.save_as(tmp_path / "pack.zip")
    with zipfile.ZipFile(tmp_path / "pack.zip") as pack:
        assert "records-2025/records.xlsx" in pack.namelist()


def test_the_months_are_bars_and_the_sidebar_leads_to_both_pages(
    open_page: Callable[..., Page], sample: Served,
) -> None:
    page = open_page(f"{sample.root}income_statement/?time=2025")
    page.evaluate("window.isTheSame = true")
    page.locator("aside").get_by_role("link", name="Tax year").click()
    groups = page.locator("article svg g.group")
    expect(groups).to_have_count(7)
    # Three bars a month, each with one for a budget that is not there.
    expect(groups.first.locator("rect:not(.group-box):not(.axis-group-box):not(.budget)")).to_have_count(3)
    expect(page.locator("article .error")).to_have_count(0)
    page.locator("aside").get_by_role("link", name="Payouts").click()
    expect(page.get_by_role("heading", name="From gross to bank")).to_be_visible()
    assert page.evaluate("window.isTheSame")
    assert "time=2025" in page.url


def test_the_time_filter_changes_the_payouts(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(address(sample, "Payouts"))
    page.get_by_placeholder("Time").fill("2026")
    page.get_by_placeholder("Time").press("Enter")
    expect(page.get_by_text("Flows are of 2026-01-01 to 2026-12-31")).to_be_visible()
    lantern = said(sample.path, "channel", "Lantern", "2026")
    way = page.get_by_role("region", name="Lantern, from gross to bank")
    assert way.locator("tr[data-line=gross] td.num").inner_text() == lantern["gross"]
    assert way.locator("tr[data-line=paid_out] td.num").inner_text() == lantern["paid_out"]


def test_a_payout_leads_to_its_journal(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(address(sample, "Payouts", "?time=2025"))
    page.get_by_role("link", name="lantern-L-2508", exact=True).click()
    expect(page.locator("article .journal li.transaction").first).to_be_visible()
    assert page.locator("article .journal li.transaction").count() > 5


@pytest.fixture
def odd(written: Callable[..., Path], serve: Callable[..., Served]) -> Served:
    """Text that is long or hostile, and amounts that are large or below nought."""
    events = "".join(
        f"""
2025-03-0{day} * {quoted(text)} ^order-{day} #to-pour
  Income:Sales  -5 CEDARHOUR @@ {price} USD
  Assets:Marketplace:Lantern  {price} USD
2025-03-0{day} * {quoted(text)}
  Income:Refunds  12345678.90 USD
  Assets:Marketplace:Lantern
"""
        for day, text, price in ((1, EVIL, "9999999.99"), (2, LONG, "12.00"))
    )
    return serve(written(PAGES, purchase(LONG, cost="8888888.88"), events))


@pytest.mark.parametrize("books", ["sample", "odd"])
@pytest.mark.parametrize(
    ("name", "query"),
    [("TaxYear", "?time=2025"), ("TaxYear", "?time=2025&line=business_profit"), ("Payouts", "")],
)
def test_only_regions_scroll_sideways_and_the_keyboard_reaches_them(
    open_page: Callable[..., Page], request: pytest.FixtureRequest, books: str, name: str, query: str,
) -> None:
    page = open_page(address(request.getfixturevalue(books), name, query))
    expect(page.get_by_text("This page obeys the time filter")).to_be_visible()
    page.locator("article details").evaluate_all("parts => parts.forEach(part => part.open = true)")
    expect(page.locator("article table").first).to_be_visible()
    for width, theme in product((1280, 768, 360), ("light", "dark")):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=theme)
        for part in ("html", "article"):
            page.wait_for_function(FITS, arg=part, timeout=10_000)
    for region in page.locator("article .millilot-scroll").all():
        region.focus()
        expect(region).to_be_focused()
        assert region.get_attribute("aria-label")
    assert page.locator("article table").count() == page.locator("article table > caption").count()


def test_a_bar_is_seen_in_both_themes(open_page: Callable[..., Page], sample: Served) -> None:
    for theme in ("light", "dark"):
        page = open_page(address(sample, "Payouts"), theme=theme)
        way = page.get_by_role("region", name="Lantern, from gross to bank")
        ground = way.evaluate("part => getComputedStyle(document.body).backgroundColor")
        fills = {
            kind: way.locator(f"tr.{kind} rect").first.evaluate("part => getComputedStyle(part).fill")
            for kind in ("gain", "loss", "total")
        }
        assert len({*fills.values(), ground}) == 4
        # What takes away is told by its frame too, not by its colour alone.
        framed = way.locator("tr.loss rect").first.evaluate("part => getComputedStyle(part).stroke")
        assert framed not in {"none", fills["loss"]}


def test_empty_books_in_a_narrow_window(
    open_page: Callable[..., Page], serve: Callable[..., Served], written: Callable[..., Path],
) -> None:
    served = serve(written(PAGES))
    for name in ("TaxYear", "Payouts"):
        page = open_page(address(served, name), width=360)
        expect(page.get_by_text("There is nothing in the books yet.")).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
