"""The page "Bottle payback" in Chromium, as the owner opens it."""

from __future__ import annotations

import re
import shutil
from decimal import Decimal
from itertools import product
from typing import TYPE_CHECKING

import pytest
from beancount import loader
from beancount.core.data import Transaction
from click.testing import CliRunner
from playwright.sync_api import expect

from millilot.reports.commands.import_files import import_files
from millilot.reports.commands.sort import sort_command

from .browsing import FITS, serving
from .pages import COLUMNS, as_reported, purchase, quoted, reported, sale

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Locator, Page

    from .browsing import Served

pytestmark = pytest.mark.browser

LONG = "A label as long as no label should be, and then " + "some-more-of-it-without-a-space-" * 4
EVIL = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def sample(sample_path: Path) -> Iterator[Served]:
    with serving(sample_path) as served:
        yield served


def rows(page: Page) -> list[dict[str, str | None]]:
    """Return the rows of the table, as the command line writes them."""
    expect(page.locator("article table[is] > tbody > tr").first).to_be_visible()
    cells = "rows => rows.map(row => [...row.cells].map(cell => cell.innerText))"
    return [as_reported(row) for row in page.locator("article table[is] > tbody > tr").evaluate_all(cells)]


def column(page: Page, name: str) -> list[str | None]:
    return [row[name] for row in rows(page)]


def heading(page: Page, name: str) -> None:
    """Click the heading of a column."""
    page.get_by_role("columnheader", name=COLUMNS[name], exact=True).click()


# What is there.


def test_table_and_chart(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(sample.page)
    assert rows(page) == reported(sample.path)[:-1]
    lines = page.locator("article svg .lines path")
    expect(lines).to_have_count(10)
    assert {len(line.get_attribute("d") or "") > 50 for line in lines.all()} == {True}
    expect(page.locator("article .error")).to_have_count(0)


def test_the_sidebar_leads_to_it_without_loading_anew(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(f"{sample.root}income_statement/")
    page.evaluate("window.isTheSame = true")
    page.locator("aside").get_by_role("link", name="Bottle payback").click()
    expect(page.locator("article svg .lines path")).to_have_count(10)
    assert rows(page) == reported(sample.path)[:-1]
    heading(page, "cost")
    assert column(page, "cost")[0] == "0.00"
    assert page.evaluate("window.isTheSame")


def test_a_click_on_a_heading_sorts(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(sample.page)
    for name in ("cost", "net", "payback", "ml_left", "profit"):
        figures = [Decimal(figure or "-1") for figure in column(page, name)]
        assert figures not in (sorted(figures), sorted(figures, reverse=True))
        for reverse in (False, True):
            heading(page, name)
            now = [Decimal(figure or "-1") for figure in column(page, name)]
            assert now == sorted(figures, reverse=reverse), name
    for name in ("bottle", "fragrance", "bought", "paid_back_on"):
        texts = [text or "" for text in column(page, name)]
        heading(page, name)
        assert [text or "" for text in column(page, name)] == sorted(texts), name


def test_a_name_leads_to_the_journal_of_the_bottle(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(sample.page)
    page.get_by_role("link", name="QR-1", exact=True).click()
    page.get_by_role("link", name="Journal of the bottle").click()
    entries = page.locator("article .journal li.transaction")
    expect(entries.first).to_be_visible()
    shown = entries.locator(".datecell").all_inner_texts()
    moved = [
        entry.date.isoformat()
        for entry in loader.load_file(str(sample.path))[0]
        if isinstance(entry, Transaction)
        and any(posting.cost is not None and posting.cost.label == "QR-1" for posting in entry.postings)
    ]
    assert len(moved) > 5
    assert sorted(date for date in shown if date) == moved


def test_the_time_filter_changes_the_figures(open_page: Callable[..., Page], sample: Served) -> None:
    page = open_page(sample.page)
    whole = rows(page)
    page.get_by_placeholder("Time").fill("2025")
    page.get_by_placeholder("Time").press("Enter")
    expect(page.get_by_text("to the end of 2025-12-31")).to_be_visible()
    assert rows(page) == reported(sample.path, "--to", "2025-12-31")[:-1]
    assert len(rows(page)) < len(whole)
    expect(page.locator("article svg .lines path")).to_have_count(6)


# How it looks.


@pytest.fixture
def odd(written: Callable[..., Path], serve: Callable[..., Served]) -> Served:
    """Names that are long or hostile, a bottle that came free, one that lost money, and a large sum."""
    name = f"2020-01-01 commodity CEDARHOUR\n  name: {quoted(EVIL + LONG)}\n"
    loss = """
2025-03-01 * "Fees above the price"
  bottle: "loss"
  Expenses:Selling:Fees  400.00 USD
  Assets:Bank
"""
    bottles = [purchase(EVIL), purchase(LONG, cost="9999999.99"), purchase("free", cost="0.00"), purchase("loss")]
    return serve(written(name, *bottles, sale(EVIL), sale(LONG), sale("free"), loss))


@pytest.mark.parametrize("books", ["sample", "odd"])
def test_only_the_table_scrolls_sideways(
    open_page: Callable[..., Page], request: pytest.FixtureRequest, books: str,
) -> None:
    page = open_page(request.getfixturevalue(books).page)
    expect(page.locator("article svg .lines path").first).to_be_visible()
    for width, theme in product((1280, 768, 360), ("light", "dark")):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=theme)
        for part in ("html", "article"):
            # The chart is drawn anew a moment after the window has changed; what counts is how it ends.
            page.wait_for_function(FITS, arg=part, timeout=10_000)
        region = page.get_by_role("region", name="Bottles")
        wide, shown = region.evaluate("part => [part.scrollWidth, part.clientWidth]")
        assert (wide > shown) is (width < 1280 or books == "odd")
        last = page.get_by_role("columnheader", name=COLUMNS["stock_value"])
        last.scroll_into_view_if_needed()
        box = last.bounding_box()
        assert box is not None
        assert box["x"] + box["width"] <= width, "the last column cannot be reached"


def test_the_dark_theme_is_dark(open_page: Callable[..., Page], sample: Served) -> None:
    def brightness(theme: str) -> tuple[float, float]:
        page = open_page(sample.page, theme=theme)
        cell = page.locator("article table[is] > tbody td.num").first
        colours = (
            page.locator("body").evaluate("part => getComputedStyle(part).backgroundColor"),
            cell.evaluate("part => getComputedStyle(part).color"),
        )
        ground, text = (sum(map(int, re.findall(r"\d+", colour)[:3])) / 3 for colour in colours)
        return ground, text

    (light_ground, light_text), (dark_ground, dark_text) = brightness("light"), brightness("dark")
    assert light_ground - light_text > 100
    assert dark_text - dark_ground > 100


def test_hostile_and_odd_books_show_as_text(open_page: Callable[..., Page], odd: Served) -> None:
    page = open_page(odd.page)
    expect(page.locator("article svg .lines path")).to_have_count(3)
    assert rows(page) == reported(odd.path)[:-1]
    assert set(column(page, "bottle")) == {EVIL, LONG, "free", "loss"}
    heading(page, "payback")
    assert column(page, "bottle")[:2] == ["free", "loss"]  # none, then the negative one
    page.get_by_role("link", name=EVIL, exact=True).click()
    page.get_by_role("link", name="Journal of the bottle").click()
    expect(page.locator("article .journal li.transaction")).to_have_count(2)


def test_incognito_hides_the_figures(
    open_page: Callable[..., Page], serve: Callable[..., Served], sample_path: Path,
) -> None:
    page = open_page(serve(sample_path, incognito=True).page)
    expect(page.get_by_text("Pictures would show figures")).to_be_visible()
    expect(page.locator("article svg, article .bar")).to_have_count(0)
    shown = page.locator("article td.num").all_inner_texts()
    assert "XXX.XX" in shown
    assert [text for text in shown if re.search(r"\d\.\d", text)] == []


def test_empty_books(
    open_page: Callable[..., Page], serve: Callable[..., Served], written: Callable[..., Path],
) -> None:
    page = open_page(serve(written()).page, width=360)
    expect(page.get_by_text("No bottle has come in yet.")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


# The import page.


def import_page(page: Page, name: str) -> Locator:
    """Return what the import page has for a file: its importers, and a button for each."""
    return page.locator(f'[title$="/{name}"] + div')


def test_the_import_page_lists_the_files_with_their_importers(
    open_page: Callable[..., Page], sample: Served,
) -> None:
    page = open_page(f"{sample.root}import/")
    files = {path.name: path.name.partition("-")[0] for path in (sample.path.parent / "files").glob("*.csv")}
    assert len(files) == 4
    for name, channel in files.items():
        listed = import_page(page, name)
        expect(listed.get_by_role("button", name="Extract")).to_have_count(1)
        expect(listed).to_contain_text(f"millilot.{channel}")
    expect(page.locator("article")).not_to_contain_text("rror")


def test_fava_imports_an_unsorted_order_that_is_sorted_later(
    open_page: Callable[..., Page], serve: Callable[..., Served], tmp_path: Path, sample_path: Path,
) -> None:
    folder = tmp_path / "books"
    shutil.copytree(sample_path.parent, folder)
    lines = (folder / "files" / "lantern-2025.csv").read_text(encoding="utf-8").splitlines()
    [mystery] = [line for line in lines if "mystery" in line]
    new = folder / "files" / "lantern-new.csv"
    booked = mystery.replace("Autumn mystery vial, 3 mL", "Winter mystery vial").replace("2025-10-2", "2026-11-2")
    new.write_text("\n".join([lines[0], booked.replace("#1016", "#2099"), ""]), encoding="utf-8")

    served = serve(folder / "main.beancount")
    page = open_page(f"{served.root}import/")
    import_page(page, new.name).get_by_role("button", name="Extract").click()
    dialog = page.locator("dialog")
    expect(dialog.get_by_text("Entry 1 of 1")).to_be_visible()
    with page.expect_response(re.compile("add_entries")):
        dialog.get_by_role("button", name="Save").click()
    expect(dialog).to_have_count(0)

    assert loader.load_file(str(served.path))[1] == []
    before = served.path.read_text(encoding="utf-8")
    command = ["2099", "Moss Teller", "3", "-b", str(served.path)]
    assert CliRunner().invoke(sort_command, command, catch_exceptions=False).exit_code == 0
    after = served.path.read_text(encoding="utf-8")
    changed = [(old, now) for old, now in zip(before.splitlines(), after.splitlines(), strict=True) if old != now]
    assert [(old.split()[:2], now.split()[:3]) for old, now in changed] == [
        (["2026-11-25", "!"], ["2026-11-25", "*", '"Winter']),
        (["Income:Unsorted", "-9.00"], ["Income:Sales", "-3", "MOSSTELLER"]),
    ]
    assert loader.load_file(str(served.path))[1] == []


def test_fava_imports_an_order(
    open_page: Callable[..., Page], serve: Callable[..., Served], tmp_path: Path, sample_path: Path,
) -> None:
    folder = tmp_path / "books"
    shutil.copytree(sample_path.parent, folder)
    heads, *_, last = (folder / "files" / "lantern-2026.csv").read_text(encoding="utf-8").splitlines()
    _, *cells = last.split(",")
    new = folder / "files" / "lantern-new.csv"
    new.write_text("\n".join([heads, ",".join(["#2099", *cells]), ""]), encoding="utf-8")

    served = serve(folder / "main.beancount")
    before = served.path.read_text(encoding="utf-8")
    page = open_page(f"{served.root}import/")
    import_page(page, new.name).get_by_role("button", name="Extract").click()
    dialog = page.locator("dialog")
    expect(dialog.get_by_text("Entry 1 of 1")).to_be_visible()
    with page.expect_response(re.compile("add_entries")):
        dialog.get_by_role("button", name="Save").click()
    expect(dialog).to_have_count(0)

    after = served.path.read_text(encoding="utf-8")
    assert after.startswith(before)
    assert after.count("^order-lantern-2099") == 1
    assert loader.load_file(str(served.path))[1] == []
    result = CliRunner().invoke(import_files, [str(new), "-b", str(served.path)], catch_exceptions=False)
    assert "1 row: 0 new, 1 known" in result.stdout
