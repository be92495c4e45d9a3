"""What the page "Tax year" shows, without a browser."""

from __future__ import annotations

import io
import json
import re
import zipfile
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from millilot.reports.command import main
from millilot.reports.fava import year as page_module
from millilot.reports.fava.adapter import Range
from millilot.reports.fava.year import Days, days_shown

from .pages import open_books, purchase, quoted, sale
from .reading_pages import figure, follow, journal_sum, read_page, said, table, text_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from xml.etree import ElementTree as ET

    from .pages import Site

PAGES = """
2020-01-01 custom "fava-extension" "millilot.reports.fava.year"
2020-01-01 open Liabilities:Claims USD
"""
CENT = Decimal("0.01")


def lines(root: ET.Element) -> dict[str, ET.Element]:
    """Return the link of each line of the statement."""
    return {link.attrib["data-line"]: link for link in root.findall(".//table[@class='statement']//a")}


def entries(root: ET.Element) -> list[Decimal]:
    """Return the amounts of the entries behind a figure, and what has to be added for it."""
    table = ".//table[@class='entries']"
    rows = [*root.findall(f"{table}/tbody/tr"), *root.findall(f"{table}/tfoot/tr[@class='rounding']")]
    return [figure(row[-1]) for row in rows]


def chart(root: ET.Element) -> list[dict[str, Any]]:
    [script] = root.findall(".//svelte-component[@type='charts']/script")
    [found] = json.loads(script.text or "", parse_float=Decimal, parse_int=Decimal)
    assert found["type"] == "bar"
    data: list[dict[str, Any]] = found["data"]
    return data


# The days.


D = date.fromisoformat


@pytest.mark.parametrize(
    ("first", "last", "of_books", "shown"),
    [
        # A filter of a year or less is taken as it is.
        ("2025-01-01", "2025-12-31", "2024-03-01 2026-05-01", Days(D("2025-01-01"), D("2025-12-31"), True)),
        ("2025-04-06", "2026-04-05", "2024-03-01 2026-05-01", Days(D("2025-04-06"), D("2026-04-05"), True)),
        ("2025-03-01", "2025-03-31", "2024-03-01 2026-05-01", Days(D("2025-03-01"), D("2025-03-31"), True)),
        ("2031-01-01", "2031-12-31", None, Days(D("2031-01-01"), D("2031-12-31"), True)),
        # A longer one leaves the last year that is over in it and in the books.
        ("2024-01-01", "2025-12-31", "2024-03-01 2026-05-01", Days(D("2025-01-01"), D("2025-12-31"), False)),
        ("2024-01-01", "2026-12-31", "2024-03-01 2026-05-01", Days(D("2025-01-01"), D("2025-12-31"), False)),
        ("2030-01-01", "2032-06-30", "2024-03-01 2026-05-01", Days(D("2031-01-01"), D("2031-12-31"), False)),
        # Without one, the same of the books; if none is over, the first.
        (None, None, "2024-03-01 2026-05-01", Days(D("2025-01-01"), D("2025-12-31"), False)),
        (None, None, "2024-03-01 2026-12-31", Days(D("2026-01-01"), D("2026-12-31"), False)),
        (None, None, "2026-03-01 2026-05-01", Days(D("2026-01-01"), D("2026-12-31"), False)),
        (None, None, None, None),
    ],
)
def test_the_days(first: str | None, last: str | None, of_books: str | None, shown: Days | None) -> None:
    range_ = Range(D(first) if first else None, D(last) if last else None)
    known = [D(day) for day in of_books.split()] if of_books else [None, None]
    assert days_shown(range_, *known) == shown


def test_the_page_says_its_range_and_filters(sample: Site) -> None:
    text = text_of(read_page(sample, "TaxYear"))
    assert "All figures are of 2025-01-01 to 2025-12-31, in USD. Without a time filter" in text
    assert "This page obeys the time filter and no other." in text
    assert "Records, not tax advice" in text
    asked = text_of(read_page(sample, "TaxYear", {"time": "2025-10 - 2026-02"}))
    assert "All figures are of 2025-10-01 to 2026-02-28, in USD. The time filter says so." in asked


# The figures.


@pytest.mark.parametrize(
    ("time", "arguments"),
    [
        ("2025", ["2025"]),
        ("2026", ["2026"]),
        ("2026-03", ["--from", "2026-03-01", "--to", "2026-03-31"]),
        ("2025-10-05 - 2026-04", ["--from", "2025-10-05", "--to", "2026-04-30"]),
    ],
)
def test_the_figures_are_those_of_the_command_line_and_so_is_what_they_lead_to(
    sample: Site, sample_path: Path, time: str, arguments: list[str],
) -> None:
    year = said(sample_path, "year", *arguments)
    links = lines(read_page(sample, "TaxYear", {"time": time, "account": "Assets:Bank", "filter": "nobody"}))
    shown = {line: text_of(link) for line, link in links.items()}
    assert shown == {line: str(year[line]) for line in shown}
    assert {line for line, amount in year.items() if not isinstance(amount, list)} == set(shown)
    led = set()
    for line, link in links.items():
        address = link.attrib["href"]
        if "/account/" in address:
            amount = journal_sum(sample, address)
            assert abs(amount) == abs(Decimal(shown[line])), line
            led.add(line)
        else:
            root = follow(sample, address)
            total = figure(root.findall(".//table[@class='entries']/tfoot//td[@class='num']")[-1])
            assert sum(entries(root)) == total == Decimal(shown[line]), line
            # Goods at cost are finer than a cent, and a line may give way by one to its total: the page says so.
            rounding = [figure(row[-1]) for row in root.findall(".//tr[@class='rounding']")]
            assert all(0 < abs(each) < CENT for each in rounding)
            assert ("is rounded so that" in text_of(root)) is bool(rounding)
    assert {"fees", "postage"} <= led


def test_receipts_lead_on_to_the_journal_of_each_account(sample: Site) -> None:
    root = follow(sample, lines(read_page(sample, "TaxYear", {"time": "2025"}))["gross_receipts"].attrib["href"])
    [accounts] = [each for each in root.findall(".//table") if "By account" in text_of(each)]
    sums = {text_of(row[0]): (figure(row[1]), row.find(".//a")) for row in accounts.findall("tbody/tr")}
    assert set(sums) == {"Income:Sales", "Income:Postage", "Income:Unsorted"}
    for amount, link in sums.values():
        assert link is not None
        assert journal_sum(sample, link.attrib["href"]) == -amount
    assert sum(amount for amount, _ in sums.values()) == Decimal("786.75")


def test_an_account_that_holds_something_else_too_is_not_led_to(written: Callable[..., Path]) -> None:
    gift = """
2024-12-01 * "Kept"
  Equity:PersonalUse  5 CEDARHOUR
2025-06-01 * "Kept"
  Equity:PersonalUse  10 CEDARHOUR
"""
    site = open_books(written(PAGES, purchase("CH-1", "2024-11-01"), gift, sale("CH-1")))
    both = lines(read_page(site, "TaxYear", {"time": "2025"}))["personal_use"]
    # 10 mL at 1.296; the journal of the account opens with the 6.48 of the year before.
    assert text_of(both) == "12.96"
    assert "/account/" not in both.attrib["href"]
    first = lines(read_page(site, "TaxYear", {"time": "2024"}))["personal_use"]
    assert text_of(first) == "6.48"
    assert journal_sum(site, first.attrib["href"]).quantize(CENT) == Decimal("6.48")


def test_an_entry_leads_to_its_place_in_the_books(sample: Site) -> None:
    root = read_page(sample, "TaxYear", {"time": "2025", "line": "refunds"})
    [row] = root.findall(".//table[@class='entries']/tbody/tr")
    link = row.find(".//a")
    assert link is not None
    kind, _, hashed = link.attrib["href"].partition("-")
    assert kind == "#context"
    entry = sample.ledger.get_entry(hashed)
    assert [text_of(row[0]), text_of(row[2])] == [str(entry.date), entry.narration]


def test_the_months_add_up_to_the_year(sample: Site, sample_path: Path) -> None:
    year = said(sample_path, "year", "2025")
    root = read_page(sample, "TaxYear", {"time": "2025"})
    names = {"Receipts": "gross_receipts", "Cost of goods": "cost_of_goods_sold", "Fees": "fees"}
    points = chart(root)
    assert [point["date"] for point in points] == [f"2025-{month:02}-01" for month in range(6, 13)]
    for name, line in names.items():
        assert sum(point["balance"][name] for point in points) == Decimal(year[line])
    shown = [
        [point["date"][:7], *(f"{point['balance'][name]:.2f}" for name in names)] for point in points
    ]
    assert table(root, "months") == shown
    # December alone is what the command line says of December.
    december = said(sample_path, "year", "--from", "2025-12-01", "--to", "2025-12-31")
    assert shown[-1] == ["2025-12", *(december[line] for line in names.values())]


def test_the_chart_has_one_group_for_each_label_that_fava_gives_it(sample: Site) -> None:
    quarters = chart(read_page(sample, "TaxYear", {"time": "2025", "interval": "quarter"}))
    assert [point["date"] for point in quarters] == ["2025-06-01", "2025-07-01", "2025-10-01"]
    [year] = chart(read_page(sample, "TaxYear", {"time": "2025", "interval": "year"}))
    assert year["balance"]["Receipts"] == Decimal("786.75")


# Forms.


def form_lines(root: ET.Element) -> list[list[str]]:
    return [[number, caption.removesuffix(" (beside the form)"), amount, mark]
            for number, caption, amount, mark in table(root, "form")]


@pytest.mark.parametrize(
    ("query", "arguments"),
    [
        ({"form": "us-hobby"}, ["--form", "us-hobby"]),
        ({"form": "us-schedule-c", "us-schedule-c.losses": "stock"},
         ["--form", "us-schedule-c", "--choose", "losses=stock"]),
        ({"form": "plain"}, ["--form", "plain"]),
    ],
)
def test_a_form_says_what_the_command_line_says(
    sample: Site, sample_path: Path, query: dict[str, str], arguments: list[str],
) -> None:
    form = said(sample_path, "year", "2025", *arguments)
    root = read_page(sample, "TaxYear", {"time": "2025", **query})
    expected = [[line["number"], line["caption"], line["amount"] or "not known", line["mark"]]
                for line in form["lines"]]
    assert form_lines(root) == expected
    for row, line in zip(root.findall(".//table[@class='form']/tbody/tr"), form["lines"], strict=True):
        link = row.find("td/a")
        assert link is not None
        behind = follow(sample, link.attrib["href"])
        assert abs(sum(entries(behind)) - Decimal(line["amount"])) <= 2 * CENT, line["number"]
    for note in form["notes"]:
        assert " ".join(note.split()) in text_of(root)


def test_each_line_of_a_form_leads_to_entries_that_add_up_to_it(sample: Site) -> None:
    for name in ("us-hobby", "us-schedule-c"):
        root = read_page(sample, "TaxYear", {"time": "2026", "form": name})
        links = root.findall(".//table[@class='form']//a")
        assert len(links) > 8
        for link in links:
            listed = follow(sample, link.attrib["href"])
            assert sum(entries(listed)) == Decimal(text_of(link)), link.attrib["href"]
            assert all(abs(figure(row[-1])) < CENT for row in listed.findall(".//tr[@class='rounding']"))


def test_hobby_and_business_stand_side_by_side(sample: Site, sample_path: Path) -> None:
    root = read_page(sample, "TaxYear", {"time": "2025"})
    both = said(sample_path, "year", "2025", "--form", "us-hobby", "--form", "us-schedule-c")
    year = said(sample_path, "year", "2025")
    rows = {row[0]: row[1:] for row in table(root, "beside")}
    assert rows["Fees"] == [year["fees"], "\N{EN DASH}", "10"]
    assert rows["Gross receipts"] == [year["gross_receipts"], "a", "1"]
    foot = text_of(root.findall(".//table[@class='beside']/tfoot")[0])
    for form, number in zip(both, ("8j", "31"), strict=True):
        [amount] = [line["amount"] for line in form["lines"] if line["number"] == number]
        assert f"line {number}: {amount}" in foot
    checked = [box.attrib["value"] for box in root.findall(".//input[@name='form']") if "checked" in box.attrib]
    assert checked == ["us-hobby", "us-schedule-c"]


def test_the_chooser_keeps_the_filters(sample: Site) -> None:
    root = read_page(sample, "TaxYear", {"time": "2025", "interval": "year", "form": "plain"})
    [form] = root.findall(".//form")
    hidden = {each.attrib["name"]: each.attrib["value"] for each in form.findall("input[@type='hidden']")}
    assert (form.attrib["method"], hidden) == ("get", {"time": "2025", "interval": "year"})
    assert form.attrib["action"] == f"/{sample.slug}/extension/TaxYear/"


def test_a_form_of_another_year_leads_there(sample: Site) -> None:
    root = read_page(sample, "TaxYear", {"time": "2025", "form": "uk-sa103s"})
    [link] = [each for each in root.findall(".//a") if text_of(each).startswith("Show 20")]
    there = follow(sample, link.attrib["href"])
    assert "All figures are of 2025-04-06 to 2026-04-05" in text_of(there)
    assert form_lines(there)[0][:2] == ["9", "Turnover, less refunds"]
    assert "The form is in GBP, and the books are kept in USD." in text_of(there)


def test_a_form_of_the_owner_is_offered(written: Callable[..., Path]) -> None:
    path = written(PAGES, purchase("CH-1"), sale("CH-1"))
    (path.parent / "forms").mkdir()
    (path.parent / "forms" / "mine.toml").write_text(
        'name = "mine"\ntitle = "<b>Mine</b>"\nresult = "1"\nsource = "me"\nchecked = 2026-01-01\n'
        '[[lines]]\nline = "1"\ncaption = "All & more"\nsum = ["gross_receipts"]\n',
        encoding="utf-8",
    )
    root = read_page(open_books(path), "TaxYear", {"time": "2025", "form": "mine"})
    assert form_lines(root) == [["1", "All & more", "12.00", ""]]
    assert "mine: <b>Mine</b>" in text_of(root)


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"line": "nonsense"}, "There is no line 'nonsense'. The lines are gross_receipts"),
        ({"form": "nonsense"}, "There is no form 'nonsense'. The forms are ca-t2125"),
        ({"form": "plain", "plain.losses": "x"}, "losses of the form plain is apart or stock, not 'x'."),
        ({"on": "plain", "line": "99"}, "The form plain has no line '99' here"),
        ({"on": "nonsense", "line": "1"}, "There is no form 'nonsense'."),
    ],
)
def test_what_cannot_be_shown_is_said_in_words(sample: Site, query: dict[str, str], words: str) -> None:
    response = sample.client.get(
        f"/{sample.slug}/extension/TaxYear/", query_string={"time": "2025", **query},
    )
    assert response.status_code == 500
    assert words in response.text.replace("&#39;", "'")
    assert "Traceback" not in response.text


# Thresholds and the end of the year.


def test_the_thresholds_are_those_of_the_command_line(sample: Site, sample_path: Path) -> None:
    near = said(sample_path, "year", "2025", "--thresholds")
    rows = table(read_page(sample, "TaxYear", {"time": "2025"}), "thresholds")
    none = "\N{EN DASH}"
    assert rows == [
        [
            f"{each['mark']} {each['title']}".strip(),
            (each["channel"] or none).rpartition(":")[2],
            each["amount"], each["limit"], each["left"],
            none if each["count"] is None else str(each["count"]),
            none if each["count_limit"] is None else str(each["count_limit"]),
            "reached" if each["reached"] else "not reached",
        ]
        for each in near
    ]


def test_a_file_of_thresholds_that_cannot_be_read_is_named(written: Callable[..., Path]) -> None:
    path = written(PAGES, purchase("CH-1"))
    (path.parent / "thresholds").mkdir()
    (path.parent / "thresholds" / "bad.toml").write_text("= no toml", encoding="utf-8")
    text = text_of(read_page(open_books(path), "TaxYear"))
    assert "bad.toml: not a TOML file" in text
    assert "Cost of goods sold" in text


ACROSS = """
2025-12-30 * "Ordered, waits" ^order-77 #to-pour
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
2025-12-31 * "Poured later" ^order-78
  poured: 2026-01-03
  Income:Sales  -5 CEDARHOUR @@ 13.00 USD
  Assets:Bank
"""


def test_the_cut_off_is_that_of_the_command_line_and_leads_to_the_order(written: Callable[..., Path]) -> None:
    path = written(PAGES, purchase("CH-1"), ACROSS, sale("CH-1", day="2026-02-01"))
    site = open_books(path)
    root = read_page(site, "TaxYear", {"time": "2025"})
    listed = said(path, "year", "2025")["cut_off"]
    assert table(root, "cut-off") == [
        [each["order"].removeprefix("order-"), each["what"], each["paid"], each["poured"] or "waits",
         each["amount"], each["counted"]]
        for each in listed
    ]
    assert [each["order"] for each in listed] == ["order-77", "order-78"]
    links = [link.attrib["href"] for link in root.findall(".//table[@class='cut-off']//a")]
    assert links[0] == f"/{site.slug}/journal/?filter=%5Eorder-77"


def test_bottles_owned_before_are_those_of_the_command_line_and_lead_to_the_bottle(
    sample: Site, sample_path: Path,
) -> None:
    root = read_page(sample, "TaxYear", {"time": "2025"})
    [told] = said(sample_path, "year", "2025")["contributed_bottles"]
    names = ("bottle", "fragrance", "bought", "ml", "cost", "paid", "market_value")
    assert table(root, "contributed") == [[*(told[name] for name in names), "estimated"]]
    assert table(root, "contributed")[0][:4] == ["AP-1", "Ash Parcel", "2025-06-01", "74"]
    [link] = root.findall(".//table[@class='contributed']//a")
    assert "AP-1: Ash Parcel" in text_of(follow(sample, link.attrib["href"]))
    assert table(read_page(sample, "TaxYear", {"time": "2026"}), "contributed") == []


# The pack.


def unpacked(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as zipped:
        assert zipped.testzip() is None
        return {name: zipped.read(name) for name in zipped.namelist()}


@pytest.mark.parametrize(
    ("query", "arguments", "folder"),
    [
        ("time=2025&form=us-hobby&form=plain", ["2025", "--form", "us-hobby", "--form", "plain"], "records-2025"),
        ("time=2026&form=plain&plain.losses=stock", ["2026", "--choose", "losses=stock"], "records-2026"),
        (
            "time=2025-04-06+-+2026-04-05&form=uk-sa103s",
            ["2025", "--from", "2025-04-06", "--to", "2026-04-05", "--form", "uk-sa103s"],
            "records-2025-04-06-to-2026-04-05",
        ),
    ],
)
def test_the_pack_is_that_of_the_command_line(
    sample_path: Path, tmp_path: Path, query: str, arguments: list[str], folder: str,
) -> None:
    site = open_books(sample_path, read_only=True)
    before = sorted(path for path in sample_path.parent.rglob("*"))
    response = site.client.get(f"/{site.slug}/extension/TaxYear/pack?{query}")
    assert response.status_code == 200
    assert response.headers["Content-Disposition"] == f'attachment; filename="{folder}.zip"'
    result = CliRunner().invoke(
        main, ["pack", *arguments, "-o", str(tmp_path / "out"), "-b", str(sample_path)], catch_exceptions=False,
    )
    assert result.exit_code == 0, result.output
    packed = {f"{folder}/{path.name}": path.read_bytes() for path in (tmp_path / "out").iterdir()}
    assert unpacked(response.data) == packed
    assert sorted(path for path in sample_path.parent.rglob("*")) == before
    # The same books give the same file.
    assert site.client.get(f"/{site.slug}/extension/TaxYear/pack?{query}").data == response.data


def test_the_page_offers_the_pack_with_the_forms_it_shows(sample: Site) -> None:
    root = read_page(sample, "TaxYear", {"time": "2025", "form": "plain", "plain.losses": "stock"})
    [link] = [each for each in root.findall(".//a") if "data-remote" in each.attrib]
    files = unpacked(sample.client.get(link.attrib["href"]).data)
    [form] = [content for name, content in files.items() if "plain" in name]
    assert b"losses stay in cost of goods" in b"".join(files.values())
    assert form


def test_forms_with_different_choices_make_no_pack(sample: Site) -> None:
    query = "time=2025&form=us-hobby&form=us-schedule-c&us-hobby.losses=stock"
    response = sample.client.get(f"/{sample.slug}/extension/TaxYear/pack?{query}")
    assert response.status_code == 500
    assert "A pack takes one option of losses" in response.text


def test_buyers_are_not_in_the_pack(written: Callable[..., Path]) -> None:
    order = """
2025-03-01 * "Ada Buyer" "5 mL for Ada Buyer" ^order-9
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
"""
    site = open_books(written(PAGES, purchase("CH-1"), order))
    files = unpacked(site.client.get(f"/{site.slug}/extension/TaxYear/pack?time=2025").data)
    for name, content in files.items():
        contents = unpacked(content).values() if name.endswith(".xlsx") else [content]
        assert not any(b"Ada" in each for each in contents), name


def test_a_pack_that_cannot_be_made_is_said_in_words(written: Callable[..., Path]) -> None:
    site = open_books(written(PAGES))
    response = site.client.get(f"/{site.slug}/extension/TaxYear/pack")
    assert (response.status_code, "There is nothing in the books" in response.text) == (500, True)
    other = open_books(written(PAGES, purchase("CH-1")))
    period = other.client.get(f"/{other.slug}/extension/TaxYear/pack?time=2025&form=uk-sa103s")
    assert (period.status_code, "A year of uk-sa103s runs from 6 April" in period.text) == (500, True)


# Ways to open Fava, and odd books.


def test_incognito_shows_no_figure_and_gives_no_pack(sample_path: Path) -> None:
    site = open_books(sample_path, incognito=True)
    for query in ({"time": "2025"}, {"time": "2025", "line": "gross_receipts"}):
        root = read_page(site, "TaxYear", query)
        shown = [text_of(cell) for cell in root.findall(".//td[@class='num']")]
        shown += [link.attrib["aria-label"] for link in root.findall(".//a[@aria-label]")]
        shown += [text_of(each) for each in root.findall(".//li")]
        assert "XXX.XX" in shown
        figures = [text for text in shown if re.search(r"\d+\.\d\d\b", text)]
        # Laws quote their own figures, which are nobody's secret.
        assert [text for text in figures if "Source" not in text and "Reg." not in text] == []
        assert not [each for each in root.findall(".//a") if "data-remote" in each.attrib]
    response = site.client.get(f"/{site.slug}/extension/TaxYear/pack?time=2025")
    assert response.status_code == 500
    assert "--incognito" in response.text


def test_hostile_text_is_text_and_nothing_else(written: Callable[..., Path]) -> None:
    evil = "</script><script>alert(1)</script>"
    order = f"""
2025-12-31 * {quoted(evil)} ^order-1 #to-pour
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
    bottle: {quoted(evil)}
  Assets:Bank
"""
    site = open_books(written(PAGES, purchase(evil), order))
    for query in ({"time": "2025"}, {"time": "2025", "line": "business_profit"}):
        response = site.client.get(f"/{site.slug}/extension/TaxYear/", query_string={"partial": "1", **query})
        assert "<script>alert" not in response.text
        assert evil in text_of(read_page(site, "TaxYear", query))
    asked = site.client.get(f"/{site.slug}/extension/TaxYear/", query_string={"line": evil, "time": evil})
    assert "<script>alert" not in asked.text


def test_empty_books(starter: Site) -> None:
    text = text_of(read_page(starter, "TaxYear"))
    assert "There is nothing in the books yet." in text
    asked = read_page(starter, "TaxYear", {"time": "2026"})
    assert {text_of(link) for link in lines(asked).values()} == {"0.00", "0"}
    assert "There is nothing in the books." in text_of(asked)


def test_figures_are_worked_out_once_per_load(
    written: Callable[..., Path], monkeypatch: pytest.MonkeyPatch,
) -> None:
    calls: list[Any] = []
    work = page_module.figures_of

    def counted(*arguments: Any) -> Any:
        calls.append(arguments)
        return work(*arguments)

    monkeypatch.setattr(page_module, "figures_of", counted)
    site = open_books(written(PAGES, purchase("CH-1"), sale("CH-1")))
    for query in ({}, {"time": "2025"}, {"account": "Assets"}, {"form": "plain"}, {"line": "fees"}):
        read_page(site, "TaxYear", query)
    assert len(calls) == 1
    read_page(site, "TaxYear", {"time": "2024"})
    assert len(calls) == 2


def test_a_locale_changes_how_figures_are_written(written: Callable[..., Path]) -> None:
    site = open_books(written(
        PAGES, '2020-01-01 custom "fava-option" "locale" "de"\n', purchase("CH-1"), sale("CH-1", "1234.50"),
    ))
    assert text_of(lines(read_page(site, "TaxYear"))["gross_receipts"]) == "1.234,50"


def test_children_of_an_account_that_its_journal_leaves_out_are_not_led_to(written: Callable[..., Path]) -> None:
    fees = """
2025-03-01 * "Fee"
  Expenses:Selling:Fees  1.00 USD
  Assets:Bank
"""
    option = '2020-01-01 custom "fava-option" "account-journal-include-children" "false"\n'
    books = (PAGES, purchase("CH-1"), fees)
    assert "/account/" in lines(read_page(open_books(written(*books)), "TaxYear"))["fees"].attrib["href"]
    without = open_books(written(*books, option))
    assert "/account/" not in lines(read_page(without, "TaxYear"))["fees"].attrib["href"]
