"""What the page "Prices" shows, without a browser."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from millilot.reports.command import main

from .pages import open_books, purchase, quoted, sale
from .reading_pages import figure, read_page, said, text_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path
    from typing import Any
    from xml.etree import ElementTree as ET

    from .pages import Site

PAGE = "Prices"
NAMED = '2020-01-01 custom "fava-extension" "millilot.reports.fava.prices"\n'
#: The ladder by the names of the command line.
LADDER = (
    "size_ml", "liquid", "loss", "supplies", "postage", "fee", "break_even", "price", "profit", "margin",
    "finished", "finished_profit", "finished_margin", "rule_price", "rule_profit",
)
PARTS = (
    "price", "postage_charged", "fee", "supplies", "postage", "cash_kept", "liquid", "loss", "lost_parcels",
    "profit", "margin", "tax", "buyer_pays",
)
RUNGS = ("share", "price", "cash", "profit", "margin", "fills", "sales", "ml_needed", "enough", "price_at")

ASKED = {
    "fragrance": "CEDARHOUR", "sizes": "10 2 5", "channel": "lantern", "charge": "4.95", "label": "4.40",
    "tax": "0.08", "margin": "0.3", "ending": ".50 .95",
}
TERMS = ("--channel", "lantern", "--charge", "4.95", "--label", "4.40", "--tax", "0.08", "--margin", "0.3")
SIZES = ("--size", "2", "--size", "5", "--size", "10")
ENDINGS = ("--ending", ".50", "--ending", ".95")


def rows(root: ET.Element, region: str) -> list[list[ET.Element]]:
    """Return the cells of the table in a region."""
    return [list(row) for row in root.findall(f".//div[@aria-label='{region}']/table/tbody/tr")]


def as_shown(row: Mapping[str, Any], name: str) -> str:
    """Return a figure of the command line as a cell of the page shows it."""
    value = row[name]
    if value is None:
        return "\N{EN DASH}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name in {"margin", "finished_margin", "share"}:
        return f"{Decimal(value).scaleb(2):f} %"
    return str(value)


def refused(root: ET.Element) -> str:
    """Return what is said of what was typed wrongly, with nothing reckoned."""
    [message] = root.findall(".//p[@role='alert']")
    assert not rows(root, "Price ladder")
    assert root.find(".//form") is not None
    return text_of(message)


@pytest.mark.parametrize(("query", "to"), [({}, ()), ({"time": "2026-03"}, ("--to", "2026-03-31"))])
def test_the_ladder_is_that_of_the_command_line(
    sample: Site, sample_path: Path, query: dict[str, str], to: tuple[str, ...],
) -> None:
    told = said(sample_path, "price", "Cedar Hour", *SIZES, *TERMS, *ENDINGS, *to)
    shown = rows(read_page(sample, PAGE, {**ASKED, **query}), "Price ladder")
    assert [[text_of(cell) for cell in row] for row in shown] == [
        [as_shown(row, name) for name in LADDER] for row in told
    ]


def test_a_size_part_by_part_is_that_of_the_command_line(sample: Site, sample_path: Path) -> None:
    told = said(sample_path, "price", "Cedar Hour", "--size", "5", *TERMS, *ENDINGS)
    page = read_page(sample, PAGE, {**ASKED, "size": "5"})
    region = page.find(".//div[@aria-label='Price part by part']")
    assert region is not None
    titles = [text_of(cell) for cell in region.findall(".//thead/tr/th")]
    assert titles == ["Part", "Break-even", "Margin 30 %", "Finished", "Rule of thumb"]
    shown = rows(page, "Price part by part")
    assert [text_of(row[2]) for row in shown] == [as_shown(told, name) for name in PARTS]
    first = [text_of(cell) for cell in shown[0]]
    assert first == ["Price", told["break_even"], told["price"], told["finished"], told["rule_price"]]
    # Of each price, what it says it leaves is what its lines add up to.
    for column in range(1, 5):
        price, charged, fee, supplies, label, kept, liquid, loss, lost, profit = (
            figure(row[column]) for row in shown[:10]
        )
        assert kept == price + charged - fee - supplies - label
        assert profit == kept - liquid - loss - lost


def test_a_price_is_tried_and_the_share_of_lost_parcels_is_the_owners(sample: Site, sample_path: Path) -> None:
    terms = ("--channel", "lantern", "--charge", "4.95", "--label", "4.40", "--tax", "0.08", "--lost", "0.2")
    told = said(sample_path, "price", "Cedar Hour", *SIZES, *terms, "--at", "14.50", *ENDINGS)
    page = read_page(sample, PAGE, {**ASKED, "margin": "", "at": "14.50", "lost": "0.2", "size": "5"})
    shown = [[text_of(cell) for cell in row] for row in rows(page, "Price ladder")]
    assert shown == [[as_shown(row, name) for name in LADDER] for row in told]
    assert {row[7] for row in shown} == {"14.50"}
    parts = {text_of(row[0]): text_of(row[2]) for row in rows(page, "Price part by part")}
    # A fifth of 14.50 and 4.95 is lost.
    assert (parts["Price"], parts["less lost parcels"]) == ("14.50", "3.89")
    assert "20 % of price and postage, as given" in text_of(page)
    # The plan knows no price to try; the share of lost parcels it does.
    plan = said(sample_path, "plan", told[0]["bottle"], *SIZES, *terms)
    basis = [[text_of(cell) for cell in row] for row in rows(page, "Reckoned with")]
    assert basis == [[each["what"], as_shown(each, "value"), each["source"]] for each in plan["basis"]]


def test_the_notes_are_those_of_the_command_line(sample: Site, sample_path: Path) -> None:
    arguments = ["price", "Cedar Hour", *SIZES, *TERMS, "-b", str(sample_path)]
    printed = " ".join(CliRunner().invoke(main, arguments, catch_exceptions=False).stdout.split())
    page = read_page(sample, PAGE, {**ASKED, "ending": ""})
    notes = [text_of(note) for note in page.findall(".//ul[1]/li")]
    assert any(note.startswith("Liquid: CH-") for note in notes)
    assert any(note.startswith("Fee of ") for note in notes)
    assert any(note.startswith("Lost parcels: ") for note in notes)
    assert [note for note in notes if note not in printed] == []


@pytest.mark.parametrize("bottle", ["CH-1", "CH-2"])
def test_the_plan_is_that_of_the_command_line(sample: Site, sample_path: Path, bottle: str) -> None:
    told = said(sample_path, "plan", bottle, *SIZES, *TERMS)
    page = read_page(sample, PAGE, {**ASKED, "bottle": bottle})
    shown = [[text_of(cell) for cell in row] for row in rows(page, "Plan")]
    assert shown == [
        [row["size_ml"] or "Mix", *(as_shown(row, name) for name in RUNGS)] for row in told["ladder"]
    ]
    basis = [[text_of(cell) for cell in row] for row in rows(page, "Reckoned with")]
    assert basis == [[each["what"], as_shown(each, "value"), each["source"]] for each in told["basis"]]


def test_unasked_it_shows_what_a_plan_would_offer_at_break_even(sample: Site, sample_path: Path) -> None:
    page = read_page(sample, PAGE)
    [chosen] = page.findall(".//select[@name='fragrance']/option[@selected]")
    ladder = [[text_of(cell) for cell in row] for row in rows(page, "Price ladder")]
    told = said(
        sample_path, "price", chosen.attrib["value"], *(part for row in ladder for part in ("--size", row[0])),
    )
    told = told if isinstance(told, list) else [told]
    assert [row[7] for row in ladder] == [row["break_even"] for row in told]
    # The plan is for the bottle that gives next, and it offers the same sizes.
    [bottle] = {row["bottle"].split(" + ")[0] for row in told}
    plan = said(sample_path, "plan", bottle)
    assert [row[0] for row in ladder] == [row["size_ml"] for row in plan["ladder"][:-1]]
    assert [text_of(row[2]) for row in rows(page, "Plan")] == [row["price"] for row in plan["ladder"]]


def test_a_size_leads_to_its_parts_with_all_that_was_asked(sample: Site) -> None:
    page = read_page(sample, PAGE, {**ASKED, "time": "2026"})
    address = page.findall(".//div[@aria-label='Price ladder']//a")[2].attrib["href"].partition("#")[0]
    response = sample.client.get(address)
    assert response.status_code == 200
    assert "Cedar Hour, 10 mL" in response.text
    assert "at the end of 2026-12-31" in response.text
    assert "Margin 30 %" in response.text


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"fragrance": "<script>"}, "There is no fragrance '<script>'."),
        ({"fragrance": "CEDARHOUR", "bottle": "QR-1"}, "QR-1 holds Quiet Reed, not Cedar Hour."),
        ({"channel": "Nowhere"}, 'There is no channel "Nowhere"'),
        ({"sizes": "2 <b>"}, "Sizes: '<b>' is not mL above 0, such as 5."),
        ({"sizes": "0"}, "Sizes: '0' is not mL above 0"),
        ({"sizes": "1e99"}, "Sizes: '1e99' is not mL above 0"),
        ({"sizes": "5.0000000001"}, "Sizes: '5.0000000001' is not mL above 0"),
        ({"sizes": " ".join(map(str, range(1, 52)))}, "These are 51 sizes; no more than 50"),
        ({"margin": "1"}, "Margin: '1' is not a part from 0 to below 1"),
        ({"margin": "0.3", "profit": "5"}, "a price to try each ask for another price; give one of them."),
        ({"at": "14", "profit": "5"}, "a price to try each ask for another price; give one of them."),
        ({"at": "free"}, "Price to try: 'free' is not an amount"),
        ({"at": "14.001"}, "The price to try 14.001 is finer than 0.01 USD"),
        ({"lost": "1"}, "Lost parcels: '1' is not a part from 0 to below 1"),
        ({"profit": "NaN"}, "Profit: 'NaN' is not an amount"),
        ({"profit": "0.001"}, "The profit 0.001 is finer than 0.01 USD, the smallest amount."),
        ({"charge": "-1"}, "Postage charged: '-1' is not an amount"),
        ({"label": "Infinity"}, "Label: 'Infinity' is not an amount"),
        ({"tax": "8"}, "Tax rate: '8' is not a rate"),
        ({"ending": "1.95"}, "Ending: '1.95' is not an ending"),
        ({"ending": ".999"}, "The ending 0.999 is finer than 0.01 USD"),
        ({"margin": "0.99999", "channel": "lantern"}, "No price"),
    ],
)
def test_what_is_typed_wrongly_is_answered_in_words(sample: Site, query: dict[str, str], words: str) -> None:
    page = read_page(sample, PAGE, query)
    assert words in refused(page)
    # What was typed stands in the form, to be mended.
    typed = {each.attrib["name"]: each.attrib["value"] for each in page.findall(".//input[@type='text']")}
    assert {name: text for name, text in query.items() if name in typed} == {
        name: text for name, text in typed.items() if text
    }


def test_a_size_that_is_none_of_them_is_answered_in_words(sample: Site) -> None:
    page = read_page(sample, PAGE, {**ASKED, "size": "<i>"})
    [message] = page.findall(".//p[@role='alert']")
    assert text_of(message) == "'<i>' is none of the sizes 2, 5, 10."
    assert "Cedar Hour, 2 mL" in text_of(page)


def test_names_are_text(written: Callable[..., Path]) -> None:
    evil = "</script><script>alert(1)</script>&bottle=x"
    site = open_books(written(
        NAMED, f"2020-01-01 commodity CEDARHOUR\n  name: {quoted(evil)}\n", purchase(evil), sale(evil),
    ))
    assert "<script>alert" not in site.client.get(f"/{site.slug}/extension/{PAGE}/").text
    page = read_page(site, PAGE, {"bottle": evil, "time": "2025"})
    [link] = page.findall(".//a[@class='name']")
    response = site.client.get(link.attrib["href"])
    assert (response.status_code, "to the end of 2025-12-31" in response.text) == (200, True)
    [chosen] = page.findall(".//select[@name='bottle']/option[@selected]")
    assert chosen.attrib["value"] == evil


def test_empty_books_and_a_range_before_the_first_bottle(starter: Site, written: Callable[..., Path]) -> None:
    assert "No bottle has come in yet." in text_of(read_page(starter, PAGE))
    assert "No bottle has come in yet." in text_of(read_page(starter, PAGE, {"fragrance": "X", "sizes": "?"}))
    site = open_books(written(NAMED, purchase("CH-1")))
    assert "No bottle has come in by 2024-12-31." in text_of(read_page(site, PAGE, {"time": "2024"}))


def test_a_bottle_that_cost_nothing_and_an_empty_one(written: Callable[..., Path]) -> None:
    gift = purchase("CH-1", cost="0.00")
    site = open_books(written(NAMED, gift))
    page = read_page(site, PAGE)
    assert [text_of(row[0]) for row in rows(page, "Price ladder")] == ["2", "5", "10"]
    # Margin is none, as nothing is charged.
    assert {text_of(cell) for row in rows(page, "Price ladder") for cell in row[1:]} == {"0.00", "\N{EN DASH}"}
    emptied = sale("CH-1", price="200.00").replace("-5 CEDARHOUR", "-100 CEDARHOUR")
    page = read_page(open_books(written(NAMED, purchase("CH-1"), emptied)), PAGE)
    assert "CH-1 is empty" in text_of(page)
    assert "The bottle is empty." in text_of(page)


def test_incognito_shows_no_digit_of_a_figure(sample_path: Path) -> None:
    page = read_page(open_books(sample_path, incognito=True), PAGE, ASKED)
    figures = [text_of(each) for each in page.iter("td") if each.attrib.get("class") == "num"]
    assert "X.XX" in figures
    assert not any(letter.isdigit() for text in figures for letter in text)
