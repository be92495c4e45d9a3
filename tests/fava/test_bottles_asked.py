"""What can be asked of the page "Bottle payback": a part of the table, another chart, one bottle."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlsplit

import pytest

from .pages import PaybackPage, as_reported, open_books, purchase, quoted, reported, sale
from .reading_pages import figure, read_page, said, text_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from xml.etree import ElementTree as ET

    from .pages import Site

PAGE = "BottlePayback"


def names(site: Site, **query: Any) -> list[str | None]:
    return [row["bottle"] for row in PaybackPage(read_page(site, PAGE, query)).rows]


def tables(site: Site, bottle: str, **query: Any) -> dict[str, ET.Element]:
    """Return the tables of a bottle's own view by the name of their region."""
    root = read_page(site, PAGE, {"bottle": bottle, **query})
    return {
        region.attrib["aria-label"]: region.find("table")  # type: ignore[misc]
        for region in root.findall(".//div[@role='region']")
    }


def refused(site: Site, **query: str) -> str:
    """Return what the page says instead of showing anything."""
    response = site.client.get(site.address, query_string=query)
    assert response.status_code == 500
    assert "<script>alert" not in response.text
    return response.text


# The table.


def test_a_search_looks_in_names_of_bottles_and_fragrances(sample: Site) -> None:
    every = names(sample)
    assert names(sample, search="ch-") == [name for name in every if name and name.startswith("CH-")]
    assert names(sample, search="HOUR cedar") == ["CH-1", "CH-2"]
    assert names(sample, search="nothing of this name") == []


def test_sold_out_bottles_can_be_hidden(sample: Site, sample_path: Path) -> None:
    empty = {row["bottle"] for row in reported(sample_path)[:-1] if row["ml_left"] == "0"}
    assert empty
    assert set(names(sample)) - set(names(sample, hide="1")) == empty


@pytest.mark.parametrize("column", ["cost", "net", "payback", "ml_left", "to_recover", "profit"])
def test_figures_sort_from_the_largest_and_none_is_last(sample: Site, sample_path: Path, column: str) -> None:
    figures = {row["bottle"]: row[column] for row in reported(sample_path)[:-1]}
    for query in ({}, {"back": "1"}):
        found = [figures[name] for name in names(sample, sort=column, **query)]
        known = [Decimal(each) for each in found if each is not None]
        assert known == sorted(known, reverse=not query)
        assert all(each is None for each in found[len(known):])


def test_texts_and_days_sort_from_the_first(sample: Site) -> None:
    every = names(sample)
    assert names(sample, sort="bottle") == sorted(name for name in every if name)
    assert names(sample, back="1") == every[::-1]


def test_an_unknown_order_is_refused_in_words(sample: Site) -> None:
    assert "expected one of bought, bottle" in refused(sample, sort="<script>alert(1)")


def test_the_form_keeps_filters_and_what_was_asked(sample: Site) -> None:
    root = read_page(sample, PAGE, {"time": "2025", "search": "cedar", "hide": "1", "chart": ["CH-1", "QR-1"]})
    form = root.find(".//form")
    assert form is not None
    assert (form.attrib["method"], form.attrib["action"]) == ("get", sample.address)
    kept = [
        (field.attrib["name"], field.attrib.get("value"))
        for field in form.iter("input")
        if field.attrib["type"] != "checkbox" or "checked" in field.attrib
    ]
    # QR-1 is not in the table, and its line stays all the same.
    assert set(kept) == {
        ("time", "2025"), ("search", "cedar"), ("hide", "1"), ("chart", "CH-1"), ("chart", "QR-1"),
    }


# Bars and what is to go.


def test_bars_show_where_the_ml_went(sample: Site, sample_path: Path) -> None:
    rows = {row["bottle"]: row for row in said(sample_path, "bottles")}
    root = read_page(sample, PAGE)
    for line in root.findall(".//table[@is='sortable-table']/tbody/tr"):
        cells = list(line)
        row = rows[as_reported([text_of(cell) for cell in cells])["bottle"]]
        bar = cells[3].find("span[@role='img']")
        assert bar is not None
        amounts = {name: Decimal(row[f"ml_{name}"]) for name in ("sold", "kept", "sampled", "lost", "left")}
        told = ", ".join(f"{amount:f} {name}" for name, amount in amounts.items() if amount)
        assert bar.attrib["title"] == f"mL: {told}"
        whole = sum(amounts.values())
        widths = {part.attrib["class"]: part.attrib["style"] for part in bar}
        assert widths == {
            name: f"width:{round(amount * 100 / whole, 2):.2f}%" for name, amount in amounts.items() if amount
        }


def test_a_bar_of_cost_is_in_parts_of_what_was_taken_in(written: Callable[..., Path]) -> None:
    site = open_books(written(
        purchase("half", cost="24.00"), purchase("twice", cost="6.00"), purchase("less", cost="6.00"),
        sale("half"), sale("twice"),
        '2025-03-01 * "fee"\n  bottle: "less"\n  Expenses:Selling:Fees  1.00 USD\n  Assets:Bank\n',
    ))
    root = read_page(site, PAGE)
    bars = {}
    for line in root.findall(".//table[@is='sortable-table']/tbody/tr"):
        bar = list(line)[7].find("span")
        assert bar is not None
        bars[text_of(line[0])] = [(part.attrib["class"], part.attrib["style"]) for part in bar]
    # 12.00 of 24.00; 12.00 of 6.00; -1.00 of 6.00.
    assert bars == {
        "half": [("recovered", "width:50.00%"), ("missing", "width:50.00%")],
        "twice": [("recovered", "width:50.00%"), ("beyond", "width:50.00%")],
        "less": [("missing", "width:100.00%")],
    }


def test_decants_to_go(written: Callable[..., Path]) -> None:
    site = open_books(written(purchase("CH-1"), purchase("CH-2", cost="600.00"), sale("CH-1"), sale("CH-2")))
    lines = read_page(site, PAGE).findall(".//table[@is='sortable-table']/tbody/tr")
    cells = [text_of(list(line)[10]) for line in lines]
    # 117.60 / 12.00 = 9.8, so 10 of 5 mL from 95 mL; 588.00 / 12.00 = 49 of them, which is 245 mL of 95.
    assert cells == ["10 of 5 mL", "49 of 5 mL *"]


# The collection.


def test_the_collection_stands_above(sample: Site, sample_path: Path) -> None:
    terms = read_page(sample, PAGE).findall(".//dl/div")
    shown = {text_of(term[0]): text_of(term[1]) for term in terms}
    whole = said(sample_path, "collection")
    assert (shown["Put in"], shown["Got back"], shown["Result"]) == (
        whole["put_in"], whole["got_back"], whole["result"],
    )
    assert (shown["Stock left, at cost"], shown["Worn, at cost"]) == (whole["stock_value"], whole["worn"])


# The chart.


def test_the_chart_takes_the_bottles_that_are_marked(sample: Site) -> None:
    page = PaybackPage(read_page(sample, PAGE, {"chart": ["CH-1", "QR-1"]}))
    assert sorted(page.line) == ["CH-1", "QR-1"]
    assert page.line["CH-1"] == sample.page().line.get("CH-1", page.line["CH-1"])
    assert "only the bottles chosen" in page.text


def test_what_the_chart_cannot_show_is_said(sample: Site) -> None:
    page = PaybackPage(read_page(sample, PAGE, {"chart": ["TO-1", "QR-1"]}))
    assert list(page.line) == ["QR-1"]
    assert "no line for TO-1" in page.text
    assert "no bottle &#39;nobody&#39;" in refused(sample, chart="nobody")


# One bottle.


def test_a_bottle_shows_what_it_cost_and_every_movement(sample: Site, sample_path: Path) -> None:
    for bottle in ("QR-1", "CH-1", "AP-1", "TO-1"):
        steps = said(sample_path, "trace", bottle)
        found = tables(sample, bottle)
        for part, name, columns in (
            ("cost", "What it cost", {2: "quantity", 3: "cost_per_unit", 4: "amount"}),
            ("movements", "Where its mL went", {3: "quantity", 4: "amount", 5: "left"}),
        ):
            shown = [list(row) for row in found[name].findall("tbody/tr")]
            told = [step for step in steps if step["part"] == part and step["date"]]
            assert [(text_of(row[0]), text_of(row[1])) for row in shown] == [
                (step["date"], step["what"]) for step in told
            ]
            for place, column in columns.items():
                cells = [text_of(row[place]) for row in shown]
                assert cells == ["\N{EN DASH}" if step[column] is None else step[column] for step in told]
        # The places are told from the folder of the books.
        assert {text_of(list(row)[6]).partition(":")[0] for row in shown} == {"main.beancount"}


def test_money_and_profit_reconcile(sample: Site, sample_path: Path) -> None:
    for row in said(sample_path, "bottles")[:-1]:
        found = tables(sample, row["bottle"])["Money taken in and profit earned"]
        lines = {}
        for cells in map(list, found.iter("tr")):
            for caption, amount in (cells[:2], cells[2:]):
                if "data-sort-value" in amount.attrib:
                    lines[text_of(caption)] = figure(amount)
        taken = lines["Sales"] + lines["Postage charged"] + lines["Compensation"] - sum(
            lines[f"less {name}"] for name in ("refunds", "fees", "postage", "supplies")
        )
        earned = lines["Net"] - sum(lines[f"less cost of {name}"] for name in ("goods", "samples", "losses"))
        assert (taken, earned) == (Decimal(row["net"]), Decimal(row["profit"]))
        surplus = lines["Net less cost"]
        assert surplus == lines["Net"] - lines["less cost"]
        assert surplus == lines["Profit less what is left and kept"]
        assert surplus == earned - lines["less stock value"] - lines["less cost of mL kept"]


def test_orders_lead_to_their_journal(sample: Site) -> None:
    links = tables(sample, "QR-1")["Where its mL went"].findall(".//a")
    assert links
    for link in links:
        query = parse_qs(urlsplit(link.attrib["href"]).query)
        assert query["filter"] == [f"^{link.text}"]
        entries = sample.ledger.get_filtered(filter=query["filter"][0]).entries
        assert entries


def test_a_bottle_under_a_time_filter(sample: Site, sample_path: Path) -> None:
    rows = tables(sample, "QR-1", time="2025")["Where its mL went"].findall("tbody/tr")
    days = [text_of(row[0]) for row in rows]
    assert days
    assert max(days) <= "2025-12-31"
    assert "after the end of the range on 2025-12-31" in refused(sample, bottle="SA-1", time="2025")
    assert date.fromisoformat(reported(sample_path)[-2]["bought"]).year == 2026


def test_an_unknown_bottle_is_refused_in_words(sample: Site) -> None:
    assert "There is no bottle &#39;CH-9&#39; in the books." in refused(sample, bottle="CH-9")
    assert "There is no bottle" in refused(sample, bottle="<script>alert(1)</script>")


def test_hostile_names_are_text(written: Callable[..., Path]) -> None:
    evil = "</script><script>alert(1)</script>"
    site = open_books(written(
        f"2020-01-01 commodity CEDARHOUR\n  name: {quoted(evil)}\n", purchase(evil), sale(evil),
    ))
    [address] = site.page().links.values()
    response = site.client.get(address)
    assert response.status_code == 200
    assert "<script>alert" not in response.text


def test_incognito_hides_the_figures_of_a_bottle(sample_path: Path) -> None:
    root = read_page(open_books(sample_path, incognito=True), PAGE, {"bottle": "QR-1"})
    figures = [text_of(cell) for cell in root.iter("td") if cell.attrib.get("class") == "num"]
    assert "XX.XX" in figures
    assert not any(digit.isdigit() for text in figures for digit in text)
    assert all("X" in bar.attrib["title"] for bar in root.findall(".//span[@role='img']"))
