"""What the page "Orders to pour" shows, without a browser."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import parse_qs, urlsplit

import pytest
from fava.application import create_app

from .pages import Site, open_books, purchase, quoted, sale
from .reading_pages import read_page, said, text_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from typing import Any
    from xml.etree import ElementTree as ET

PAGE = "OrdersToPour"
NAMED = '2020-01-01 custom "fava-extension" "millilot.reports.fava.pour"\n'


def rows(root: ET.Element, name: str) -> list[list[str]]:
    """Return the texts of the cells of a table, without the box to tick."""
    found = root.findall(f".//table[@id='{name}']/tbody/tr")
    assert all(row[0].attrib["class"] == "on-paper tick" for row in found)
    return [[text_of(cell) for cell in row][1:] for row in found]


def cell(value: Any) -> str:
    return "\N{EN DASH}" if value is None else str(value)


def waiting(label: str, order: str, day: str = "2025-02-01") -> str:
    return sale(label, day=day).replace('"Sold"', f'"Sold" #to-pour ^order-{order}')


@pytest.mark.parametrize("day", ["2026-05-15", "2026-11-20", "2026-11-30"])
def test_the_figures_are_those_of_the_command_line(sample: Site, sample_path: Path, day: str) -> None:
    told = said(sample_path, "pour", "--to", day)
    root = read_page(sample, PAGE, {"time": f"2025-06-01 - {day}"})
    assert [[*row[:3], *row[4:8], row[9]] for row in rows(root, "orders")] == [
        [
            pour["bottle"], pour["fragrance"], pour["order"].removeprefix("order-"),
            *(cell(pour[name]) for name in ("ordered", "days", "ml", "loss")),
            "short" if pour["short"] else "",
        ]
        for bottle in told["bottles"]
        for pour in bottle["pours"]
    ]
    assert [[*row[:5], *row[6:]] for row in rows(root, "bottles")] == [
        [cell(bottle[name]) for name in (
            "bottle", "fragrance", "ml", "held", "after", "measured_ml", "measured_on",
        )]
        for bottle in told["bottles"]
    ]
    assert rows(root, "supplies") == [
        [
            supply["supply"], supply["needed"], supply["held"],
            cell(None if supply["short"] == "0" else supply["short"]),
        ]
        for supply in told["supplies"]
    ]
    assert len(root.findall(".//ul[@id='remarks']/li")) == sum(
        (*(any(pour["short"] for pour in bottle["pours"]) for bottle in told["bottles"]),
         len(told["stuck"]), len(told["called_off"])),
    )


def test_an_order_leads_to_its_journal(written: Callable[..., Path]) -> None:
    site = open_books(written(NAMED, purchase("CH-1"), waiting("CH-1", "7"), sale("CH-1")))
    root = read_page(site, PAGE, {"time": "2025-02"})
    [link] = root.findall(".//table[@id='orders']//a")
    [words] = parse_qs(urlsplit(link.attrib["href"]).query)["filter"]
    [entry] = site.ledger.get_filtered(filter=words).entries
    assert entry.links == {"order-7"}
    # 5 mL of 12.00 and one sale of 5 mL that is poured: 100 - 5 = 95 are in it, and 90 after.
    assert rows(root, "bottles") == [["CH-1", "CEDARHOUR", "5", "95", "90", "1 x 5 mL", *"\N{EN DASH}" * 2]]


def test_a_bottle_that_runs_short_is_said_in_words(written: Callable[..., Path]) -> None:
    path = written(
        NAMED,
        "2020-01-01 open Expenses:CostOfGoods:Shrinkage USD\n",
        purchase("CH-1"),
        waiting("CH-1", "1"),
        waiting("CH-1", "2", "2025-02-02"),
        '2025-03-01 custom "stocktake" "CH-1" 8 CEDARHOUR\n',
    )
    # The books do not believe the count, so that they cannot be opened without an error.
    app = create_app([str(path)], load=True)
    [(slug, _)] = app.config["LEDGERS"].items()
    site = Site(app, slug)
    root = read_page(site, PAGE, {"time": "2025"})
    # 8 mL were counted: 5 for the first order, and 3 of 5 for the second.
    assert [row[-1] for row in rows(root, "orders")] == ["", "short"]
    [remark] = root.findall(".//ul[@id='remarks']/li")
    assert text_of(remark).startswith("CH-1 runs short at 2: 10 mL to pour")


def test_names_are_text(written: Callable[..., Path]) -> None:
    evil = "</script><script>alert(1)</script>&order=x"
    site = open_books(written(
        NAMED, f"2020-01-01 commodity CEDARHOUR\n  name: {quoted(evil)}\n", purchase(evil),
        waiting(evil, "1").replace('"Sold"', quoted(evil)),
    ))
    assert "<script>alert" not in site.client.get(f"/{site.slug}/extension/{PAGE}/").text
    [row] = rows(read_page(site, PAGE, {"time": "2025"}), "orders")
    assert row[:4] == [evil, evil, "1", evil]


def test_empty_books(starter: Site) -> None:
    root = read_page(starter, PAGE)
    assert "Nothing waits to be poured from a bottle." in text_of(root)
    assert "Perfume is a flammable liquid" in text_of(root)


def test_incognito_shows_no_digit_of_a_figure(sample_path: Path) -> None:
    root = read_page(open_books(sample_path, incognito=True), PAGE)
    figures = [text_of(each) for each in root.iter("td") if each.attrib.get("class") == "num"]
    assert "XX.X" in figures
    assert not any(letter.isdigit() for text in figures for letter in text)
    assert "X x X mL" in text_of(root)
