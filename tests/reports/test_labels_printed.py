"""Labels in Chromium, on the screen and on paper."""

from __future__ import annotations

import datetime
import re
from decimal import Decimal
from functools import cache
from itertools import product
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import sync_playwright

from millilot.reports.labels import Label
from millilot.reports.labels.page import PADDING, labels_page
from millilot.reports.labels.sheets import Sheet, find_sheet, read_sheets

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

DAY = datetime.date(2026, 11, 25)
EVIL = "<script>alert(1)</script>"
LONG = "A name longer than anybody can read on so small a vial, Evening Edition No. 7, the second of its kind"
TEXTS = (
    "Cedar Hour",
    LONG,
    "without-a-space-" * 9,
    "MW@%" * 40,
    "雪の香り " * 12,
    "Дождь ЩЩЩ " * 9,
    "\N{GRINNING FACE}" * 40,
    "e\N{COMBINING ACUTE ACCENT}\N{COMBINING DIAERESIS}" * 60,
    EVIL * 4,
)
NAMES = [find_sheet(read_sheets(), name, "USD") for name in ("a4-65", "letter-30")]


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--disable-gpu", "--no-first-run"])
        yield browser
        browser.close()


@pytest.fixture(params=NAMES, ids=lambda sheet: sheet.name)
def sheet(request: pytest.FixtureRequest) -> Sheet:
    found: Sheet = request.param
    return found


@cache
def content(sheet: Sheet) -> str:
    """Return a page with a sheet and a half of labels, each text in each place."""
    labels = [
        Label(None, ("B",), name, strength, Decimal("12.34"), batch, DAY)
        for name, strength in product(TEXTS, ("extrait", LONG))
        for batch in ("1", name)
    ]
    labels = (labels * 3)[: sheet.labels * 3 // 2]
    return labels_page(labels, sheet, LONG, skip=1)


@pytest.fixture
def page(browser: Browser, sheet: Sheet, tmp_path: Path) -> Iterator[Page]:
    """The page as it is opened; in the end nothing has complained."""
    file = tmp_path / "labels.html"
    file.write_text(content(sheet), encoding="utf-8")
    complaints: list[str] = []
    page = browser.new_page()
    page.on("console", lambda message: complaints.append(message.text))
    page.on("dialog", lambda dialog: (complaints.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: complaints.append(request.url) if request.url != file.as_uri() else None)
    page.goto(file.as_uri())
    yield page
    page.close()
    assert complaints == []


#: What of a label's text lies outside the label less so many pixels, and where its paragraphs lie over each other.
OUTSIDE = """padding => [...document.querySelectorAll('.label')].flatMap(label => {
  const frame = label.getBoundingClientRect()
  let last = frame.top
  return [...label.querySelectorAll('bdi')].filter(line => {
    const range = document.createRange()
    range.selectNodeContents(line)
    const text = range.getBoundingClientRect(), box = line.getBoundingClientRect()
    const over = box.top < last - 0.5
    last = box.bottom
    return over || text.left < frame.left || text.right > frame.right || box.top < frame.top + padding - 0.5
      || box.bottom > frame.bottom - padding + 0.5
  }).map(line => line.textContent)
})"""

BOXES = """() => [...document.querySelectorAll('.label')].map(label => {
  const frame = label.getBoundingClientRect(), sheet = label.parentElement.getBoundingClientRect()
  return [frame.left - sheet.left, frame.top - sheet.top, frame.width, frame.height].map(px => px * 25.4 / 96)
})"""


@pytest.mark.parametrize("media", ["screen", "print"])
def test_no_text_leaves_its_label(page: Page, sheet: Sheet, media: str) -> None:
    page.emulate_media(media=media)
    assert page.locator(".label").count() == sheet.labels * 3 // 2
    assert page.evaluate(OUTSIDE, float(PADDING) * 96 / 25.4) == []
    for axis in ("Width", "Height"):
        overflown = f"labels => labels.filter(each => each.scroll{axis} > each.client{axis} + 1).length"
        assert page.locator(".label").evaluate_all(overflown) == 0


def test_labels_lie_where_the_sheet_has_them(page: Page, sheet: Sheet) -> None:
    boxes = page.evaluate(BOXES)
    for number, (left, top, width, height) in enumerate(boxes, 1):
        row, column = divmod(number % sheet.labels, sheet.columns)
        assert left == pytest.approx(float(sheet.left + column * (sheet.label_width + sheet.gap_across)), abs=0.1)
        assert top == pytest.approx(float(sheet.top + row * (sheet.label_height + sheet.gap_down)), abs=0.1)
        assert (width, height) == pytest.approx((float(sheet.label_width), float(sheet.label_height)), abs=0.1)


def test_each_sheet_is_one_page_of_its_paper(page: Page, sheet: Sheet) -> None:
    document = page.pdf(prefer_css_page_size=True)
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", document)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", document)) == 2
    for width, height in boxes:
        # In points of 1/72 in.
        assert float(width) == pytest.approx(float(sheet.width) * 72 / 25.4, abs=1)
        assert float(height) == pytest.approx(float(sheet.height) * 72 / 25.4, abs=1)
    assert boxes


def test_the_first_label_of_a_begun_sheet_stays_free(page: Page, sheet: Sheet) -> None:
    left = page.evaluate(BOXES)[0][0]
    assert left == pytest.approx(float(sheet.left + sheet.label_width + sheet.gap_across), abs=0.1)
