"""What the page "Bottle payback" shows, without a browser."""

from __future__ import annotations

import os
import re
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlsplit

import pytest
from beancount.core.data import Transaction
from fava.helpers import FavaAPIError

from millilot.reports import bottles as report
from millilot.reports.allocation import allocate
from millilot.reports.fava import adapter

from .pages import COLUMNS, open_books, purchase, quoted, reported, sale

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from .pages import Site

RANGES = [
    ("2025", "2025-01-01", "2025-12-31"),
    ("2026-03", "2026-03-01", "2026-03-31"),
    ("2025-10-05 - 2026-02", "2025-10-05", "2026-02-28"),
    ("2027", "2027-01-01", "2027-12-31"),
]

#: Names of bottles that mean something to a regular expression, to Fava's filter, to Python or to HTML.
AWKWARD = [
    "A.B",
    "A-B",
    "a-b",
    "AxB",
    "CH 1",
    "CH 1 ",
    "CH 11",
    "(x)[y]{z}*+?^$|#&~",
    "O'Neil's",
    'the "big" one',
    "both ' and \"",
    "back\\slash",
    "^order-1, any(#tag)",
    "Ünï 瓶",
    "100 % & more; <b>",
    "label='A-B')",
]


# The table.


def test_the_figures_are_those_of_the_command_line(sample: Site, sample_path: Path) -> None:
    page = sample.page()
    *bottles, unallocated = reported(sample_path)
    assert page.cells("thead") == [list(COLUMNS.values())]
    assert page.rows == bottles
    foot_of_unallocated, foot_of_all = (
        [cell for cell in cells if cell] for cells in page.cells("tfoot")
    )
    assert foot_of_unallocated == ["Unallocated", unallocated["net"], unallocated["profit"]]
    sums = {
        name: sum(Decimal(row[name] or 0) for row in [*bottles, unallocated])
        for name in ("cost", "net", "to_recover", "profit", "stock_value")
    }
    payback = round(sums["net"] / sums["cost"] * 100, 2)
    assert foot_of_all == [
        "Total", str(sums["cost"]), str(sums["net"]), f"{payback} %",
        *(str(sums[name]) for name in ("to_recover", "profit", "stock_value")),
    ]


@pytest.mark.parametrize(("time", "first", "last"), RANGES)
def test_figures_run_from_the_purchase_to_the_end_of_the_range(
    sample: Site, sample_path: Path, time: str, first: str, last: str,
) -> None:
    page = sample.page(time=time)
    assert page.rows == reported(sample_path, "--to", last)[:-1]
    assert f"to the end of {last}; the chart begins on {first}" in page.text


def test_other_filters_change_nothing(sample: Site) -> None:
    page = sample.page(account="Assets:Bank", filter="nobody")
    assert page.cells("tbody") == sample.page().cells("tbody")
    assert page.charts == sample.page().charts


def test_money_has_all_its_digits_in_books_of_round_sums(written: Callable[..., Path]) -> None:
    path = written(purchase("CH-1", cost="130"), *(sale("CH-1", price=f"{price}") for price in range(10, 19)))
    path.write_text(path.read_text(encoding="utf-8") + sale("CH-1", price="12.34"), encoding="utf-8")
    site = open_books(path)
    assert site.ledger.format_decimal.precisions["USD"] == 0
    [row] = site.page().rows
    assert row["net"] == "138.34"
    assert [row] == reported(path)[:-1]


def test_figures_are_written_as_the_locale_of_the_books_wants(written: Callable[..., Path]) -> None:
    site = open_books(written(
        '2020-01-01 custom "fava-option" "locale" "de"\n', purchase("CH-1", cost="12345.67"), sale("CH-1"),
    ))
    [cells] = site.page().cells("tbody")
    row = dict(zip(COLUMNS, cells, strict=True))
    assert (row["cost"], row["ml_left"], row["cost_per_ml"], row["payback"]) == (
        "12.345,67", "95", "123,4567", "0,10 %",
    )


def test_what_came_free_has_no_payback_and_no_line(written: Callable[..., Path]) -> None:
    site = open_books(written(purchase("CH-0", cost="0.00"), purchase("CH-1"), sale("CH-0")))
    page = site.page()
    assert [row["payback"] for row in page.rows] == [None, "0.0000"]
    assert list(page.line) == ["CH-1"]
    # With that bottle alone there is no chart at all.
    assert open_books(written(purchase("CH-0", cost="0.00"))).page().root.find(".//svelte-component") is None


def test_empty_books_say_how_to_begin(starter: Site) -> None:
    page = starter.page()
    assert page.root.find(".//table") is None
    assert 'such as Assets:Stock:CedarHour 100 CEDARHOUR {{129.60 USD, "CH-1"}}, will appear' in page.text


def test_before_the_first_bottle_the_page_says_so(sample: Site) -> None:
    assert "No bottle has come in by 2024-12-31." in sample.page(time="2024").text


def test_fava_shows_the_page_in_its_frame(sample: Site) -> None:
    response = sample.client.get(sample.address)
    assert response.status_code == 200
    assert "<title>Bottle payback - " in response.text
    assert sample.ledger.extensions.errors == []


# The chart.


def test_the_chart_ends_where_the_table_stands(sample: Site) -> None:
    page = sample.page()
    [chart] = page.charts
    assert (chart["type"], chart["label"]) == ("balances", "Payback in % of cost")
    paid = {row["bottle"]: Decimal(row["payback"] or 0) * 100 for row in page.rows if row["payback"] is not None}
    last = {bottle: points[max(points)] for bottle, points in page.line.items()}
    assert last == {bottle: payback for bottle, payback in paid.items() if bottle in last}
    assert len({max(points) for points in page.line.values()}) == 1


@pytest.mark.parametrize(("time", "first", "last"), RANGES)
def test_the_chart_alone_begins_with_the_range(sample: Site, time: str, first: str, last: str) -> None:
    whole, lines = sample.page().line, sample.page(time=time).line
    bought = {row["bottle"]: row["bought"] for row in sample.page(time=time).rows}
    for bottle, points in lines.items():
        assert min(points) == max(first, bought[bottle] or "")
        assert max(points) == last
        inside = {day: payback for day, payback in points.items() if day not in {first, last}}
        assert inside.items() <= whole.get(bottle, inside).items()


def test_the_chart_stands_in_a_table_too(written: Callable[..., Path]) -> None:
    late = sale("CH-1", price="64.80", day="2025-04-10")
    site = open_books(written(purchase("CH-1"), purchase("CH-2", "2025-03-05"), sale("CH-1", "32.40"), late))
    page = site.page()
    [table] = page.root.findall(".//table[@class='months']")
    heads = ["".join(cell.itertext()).strip() for cell in table.findall("thead/tr/th")]
    rows = [["".join(cell.itertext()) for cell in row] for row in table.findall("tbody/tr")]
    # 32.40 of 129.60 are a quarter, and 64.80 a half more.
    assert heads == ["Month", "CH-1", "CH-2"]
    assert rows == [
        ["2025-01", "0.00 %", "\N{EN DASH}"],
        ["2025-02", "25.00 %", "\N{EN DASH}"],
        ["2025-03", "25.00 %", "0.00 %"],
        ["2025-04", "75.00 %", "0.00 %"],
    ]


def test_the_chart_has_no_more_lines_than_colours(written: Callable[..., Path]) -> None:
    labels = [f"CH-{number:03}" for number in range(300)]
    days = [date(2025, 1 + number // 28, 1 + number % 28).isoformat() for number in range(300)]
    site = open_books(written(*map(purchase, labels, days)))
    page = site.page()
    assert [row["bottle"] for row in page.rows] == labels
    assert sorted(page.line) == labels[-10:]
    assert "The chart shows only the 10 bottles bought last; mark others" in page.text


# Hostile text.


def test_names_are_text_and_nothing_else(written: Callable[..., Path]) -> None:
    evil = "</script><script>alert(1)</script>"
    site = open_books(written(
        f"2020-01-01 commodity CEDARHOUR\n  name: {quoted(evil)}\n", purchase(evil), sale(evil),
    ))
    response = site.client.get(site.address)
    assert "<script>alert" not in response.text
    page = site.page()
    assert [(row["bottle"], row["fragrance"]) for row in page.rows] == [(evil, evil)]
    assert list(page.line) == [evil]
    assert len(page.root.findall("./div//script")) == 1


# Ways to open Fava.


def test_incognito_shows_no_digit_of_a_figure(sample_path: Path, sample: Site) -> None:
    path = ".//table[@is='sortable-table']//td[@class='num']"
    pages = [open_books(sample_path, incognito=True).page(), sample.page()]
    figures, open_ones = (["".join(cell.itertext()) for cell in page.root.findall(path)] for page in pages)
    assert figures == [re.sub("[0-9]", "X", figure) for figure in open_ones]
    assert "XXX.XX" in figures


def test_read_only_shows_the_same(sample_path: Path, sample: Site) -> None:
    assert open_books(sample_path, read_only=True).page().rows == sample.page().rows


# Once per load.


@pytest.fixture
def worked(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The books for which the figures of the bottles were worked out."""
    worked: list[Any] = []

    def counted(books: Any) -> Any:
        worked.append(books)
        return allocate(books)

    monkeypatch.setattr(report, "allocate", counted)
    return worked


def test_figures_are_worked_out_once_per_load(written: Callable[..., Path], worked: list[Any]) -> None:
    path = written(purchase("CH-1"), sale("CH-1"))
    site = open_books(path)
    assert len(worked) == 1
    assert site.page().rows == site.page(account="Assets").rows
    assert len(worked) == 1
    assert len(site.page(time="2025-01").rows) == 1
    assert len(worked) == 2

    path.write_text(path.read_text(encoding="utf-8") + purchase("CH-2"), encoding="utf-8")
    os.utime(path, (2_000_000_000, 2_000_000_000))  # later than the file was, by any clock
    assert [row["bottle"] for row in site.page().rows] == ["CH-1", "CH-2"]
    assert len(worked) == 3


def test_results_do_not_pile_up(written: Callable[..., Path], worked: list[Any]) -> None:
    site = open_books(written(purchase("CH-1"), sale("CH-1")))
    extension: Any = site.ledger.extensions.get_extension("BottlePayback")
    for day in range(5, 32):
        site.page(time=f"2025-01-{day:02}")
        assert len(extension.results) <= 60
    assert len(worked) >= 28


def test_a_range_that_leaves_nothing_out_has_the_figures_of_the_whole(
    written: Callable[..., Path], worked: list[Any],
) -> None:
    site = open_books(written(purchase("CH-1"), sale("CH-1")))
    assert site.page(time="2025").rows == site.page().rows
    assert len(worked) == 1


def test_what_cannot_be_worked_out_is_said_by_the_page_and_fava_starts(
    written: Callable[..., Path], monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fails(*arguments: Any) -> Any:
        raise FavaAPIError("It cannot.")

    monkeypatch.setattr(report, "allocate", fails)
    site = open_books(written(purchase("CH-1")))
    response = site.client.get(site.address)
    assert (response.status_code, "It cannot." in response.text) == (500, True)
    monkeypatch.undo()
    assert len(site.page().rows) == 1


# The journal of a bottle.


def concerned(site: Site, bottle: str, last: date = date.max) -> list[Transaction]:
    """Return the transactions that moved or named a bottle."""
    return [
        entry
        for entry in site.ledger.all_entries
        if isinstance(entry, Transaction)
        and entry.date <= last
        and (
            entry.meta.get("bottle") == bottle
            or any(
                (posting.cost is not None and posting.cost.label == bottle)
                or (posting.meta or {}).get("bottle") == bottle
                for posting in entry.postings
            )
        )
    ]


def journal(site: Site, address: str) -> list[Any]:
    """Return the entries of a journal, without the one that Fava makes of the digits a division leaves."""
    url = urlsplit(address)
    assert url.path == f"/{site.slug}/journal/"
    query = {name: value for name, [value] in parse_qs(url.query).items()}
    entries = site.ledger.get_filtered(**query).entries
    return [entry for entry in entries if entry.meta["filename"] != "<conversions>"]


def test_a_bottle_leads_to_all_that_moved_or_named_it(sample: Site) -> None:
    links = sample.journals()
    assert len(links) == 13
    for bottle, address in links.items():
        entries = journal(sample, address)
        assert len(entries) > 1
        assert entries == concerned(sample, bottle)


@pytest.mark.parametrize(("time", "first", "last"), RANGES)
def test_in_a_range_the_journal_holds_what_the_figures_count(
    sample: Site, time: str, first: str, last: str,
) -> None:
    for bottle, address in sample.journals(time=time, account="Assets:Bank", filter="nobody").items():
        assert journal(sample, address) == concerned(sample, bottle, date.fromisoformat(last))


def test_a_name_may_hold_any_character(written: Callable[..., Path]) -> None:
    named = "".join(
        f"""
2025-03-01 * "Named by the entry"
  bottle: {quoted(label)}
  Expenses:Selling:Fees  1.00 USD
  Assets:Bank
"""
        for label in AWKWARD
    )
    site = open_books(written(*map(purchase, AWKWARD), *map(sale, AWKWARD), named))
    links = site.journals()
    assert sorted(links) == sorted(AWKWARD)
    for label, address in links.items():
        entries = journal(site, address)
        assert len(entries) == 3
        assert entries == concerned(site, label)


def test_what_is_asked_for_again_is_worked_out_once_however_much_else_is_asked_for() -> None:
    results, worked_out = adapter.Results(object()), []

    def work(key: object) -> object:
        return results.once(key, lambda: worked_out.append(key) or key)

    work("books")
    for number in range(200):
        work(number)
        assert work("books") == "books"
    assert worked_out == ["books", *range(200)]
    assert len(results) <= 60
    work(0)
    assert worked_out[-1] == 0
