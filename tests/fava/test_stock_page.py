"""What the page "Stock" shows, without a browser."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from .pages import open_books, purchase, quoted, sale
from .reading_pages import read_page, said, text_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from typing import Any
    from xml.etree import ElementTree as ET

    from .pages import Site

PAGE = "StockOnHand"
NAMED = '2020-01-01 custom "fava-extension" "millilot.reports.fava.stock"\n'


def rows(root: ET.Element, region: str) -> list[list[str]]:
    """Return the texts of the cells of the table in a region, none when there is no such region."""
    return [
        [text_of(cell) for cell in row]
        for row in root.findall(f".//div[@aria-label='{region}']/table/tbody/tr")
    ]


def cell(value: Any) -> str:
    return "\N{EN DASH}" if value is None else str(value)


@pytest.mark.parametrize(("query", "to"), [({}, []), ({"time": "2025"}, ["--to", "2025-12-31"])])
def test_the_figures_are_those_of_the_command_line(
    sample: Site, sample_path: Path, query: dict[str, str], to: list[str],
) -> None:
    told = said(sample_path, "stock", *to)
    root = read_page(sample, PAGE, {"all": "1", **query})
    bottles = [row for row in told if row["unit"] == "mL"]
    assert rows(root, "Bottles") == [
        [
            row["bottle"], row["fragrance"],
            *(cell(row[name]) for name in (
                "ml_left", "reserved", "free", "measured_ml", "measured_on", "last_poured", "days_since",
                "stock_value",
            )),
            ", ".join(mark for mark in ("low", "slow", "estimated") if row[mark]),
        ]
        for row in bottles
    ]
    assert rows(root, "Supplies") == [
        [
            row["supply"],
            *(cell(row[name]) for name in ("left", "used_per_month", "runs_out_on", "stock_value")),
            "low" if row["low"] else "",
        ]
        for row in told
        if row["unit"] == "each"
    ]
    slow = sorted((row for row in bottles if row["slow"]), key=lambda row: -row["days_since"])
    assert [cells[0] for cells in rows(root, "Slow movers")] == [row["bottle"] for row in slow]
    total = root.find(".//div[@aria-label='Bottles']//tfoot")
    assert total is not None
    assert text_of(total) == f"Total{sum(Decimal(row['stock_value']) for row in bottles)}"


def test_open_claims_are_those_of_the_splits(sample: Site, sample_path: Path) -> None:
    for query, to in (({"time": "2026-05"}, "2026-05-31"), ({"time": "2026-04"}, "2026-04-30"), ({}, None)):
        told = said(sample_path, "splits", *(["--to", to] if to else []))
        shown = rows(read_page(sample, PAGE, query), "Open claims")
        assert [
            (row["bottle"], row["ml_claimed"], row["ml_poured"], row["money_held"], row["state"])
            for row in told
            if row["state"] in {"open", "filled"}
        ] == [(cells[1], cells[3], cells[4], cells[6], cells[8]) for cells in shown]


def test_empty_bottles_are_left_out_unless_wanted(sample: Site, sample_path: Path) -> None:
    left = {row["bottle"]: row["ml_left"] for row in said(sample_path, "stock") if row["unit"] == "mL"}
    every = [cells[0] for cells in rows(read_page(sample, PAGE, {"all": "1"}), "Bottles")]
    held = [cells[0] for cells in rows(read_page(sample, PAGE), "Bottles")]
    assert every == list(left)
    assert held == [name for name, ml in left.items() if ml != "0"]
    found = rows(read_page(sample, PAGE, {"search": "quiet reed"}), "Bottles")
    assert [cells[0] for cells in found] == ["QR-1"]


def test_the_count_sheet(sample: Site, sample_path: Path) -> None:
    told = said(sample_path, "count")
    root = read_page(sample, PAGE, {"view": "count"})
    assert rows(root, "Count sheet") == [
        [
            row["bottle"], row["fragrance"], cell(row["batch"]), cell(row["tare"]), cell(row["last_ml"]),
            row["last_on"] or "never", "",
        ]
        for row in told
    ]
    # What the books expect would guide the eye.
    assert "mL left" not in text_of(root)


def test_an_unknown_view_is_refused_in_words(sample: Site) -> None:
    response = sample.client.get(f"/{sample.slug}/extension/{PAGE}/", query_string={"view": "<script>"})
    assert response.status_code == 500
    assert "There is no view &#39;&lt;script&gt;&#39;" in response.text


def test_names_are_text_and_names_lead_to_the_bottle(written: Callable[..., Path]) -> None:
    evil = "</script><script>alert(1)</script>&bottle=x"
    site = open_books(written(
        NAMED, f"2020-01-01 commodity CEDARHOUR\n  name: {quoted(evil)}\n", purchase(evil), sale(evil),
    ))
    assert "<script>alert" not in site.client.get(f"/{site.slug}/extension/{PAGE}/").text
    root = read_page(site, PAGE, {"time": "2025"})
    [link] = root.findall(".//div[@aria-label='Bottles']//tbody//a")
    response = site.client.get(link.attrib["href"])
    assert (response.status_code, "to the end of 2025-12-31" in response.text) == (200, True)


def test_empty_books(starter: Site, written: Callable[..., Path]) -> None:
    assert "No bottle or supply has come in yet." in text_of(read_page(starter, PAGE))
    assert "No bottle has anything left to count." in text_of(read_page(starter, PAGE, {"view": "count"}))


def test_many_bottles_of_which_one_cost_nothing(written: Callable[..., Path]) -> None:
    labels = [f"CH-{number:03}" for number in range(300)]
    site = open_books(written(NAMED, *map(purchase, labels[1:]), purchase(labels[0], cost="0.00")))
    root = read_page(site, PAGE)
    found = rows(root, "Bottles")
    assert sorted(cells[0] for cells in found) == labels
    assert {cells[9] for cells in found if cells[0] == labels[0]} == {"0.00"}


def test_incognito_shows_no_digit_of_a_figure(sample_path: Path) -> None:
    root = read_page(open_books(sample_path, incognito=True), PAGE)
    figures = [text_of(each) for each in root.iter("td") if each.attrib.get("class") == "num"]
    assert "XXX.XX" in figures
    assert not any(letter.isdigit() for text in figures for letter in text)
