"""What the page "Payouts" shows, without a browser."""

from __future__ import annotations

import re
import shutil
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from beancount.core.data import Transaction
from beancount.core.number import ZERO

from millilot.reports.fava import payouts as page_module

from .pages import open_books, quoted
from .reading_pages import figure, heads, read_page, said, table, text_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from xml.etree import ElementTree as ET

    from .pages import Site

PAGES = """
2020-01-01 custom "fava-extension" "millilot.reports.fava.payouts"
2020-01-01 open Assets:Marketplace:Lantern USD
2020-01-01 open Assets:Marketplace:Lantern:Transit USD
2020-01-01 open Income:Postage USD
"""
NONE = "\N{EN DASH}"


def order(day: str, number: str, amount: str, link: str = "") -> str:
    return f"""
{day} * "Sale" ^order-{number} {link}
  Income:Postage  -{amount} USD
  Assets:Marketplace:Lantern  {amount} USD
"""


def sent(day: str, amount: str, number: str) -> str:
    return f"""
{day} * "Payout" ^payout-{number}
  Assets:Marketplace:Lantern  -{amount} USD
  Assets:Marketplace:Lantern:Transit
"""


def arrived(day: str, amount: str, number: str) -> str:
    return f"""
{day} * "From the channel" ^payout-{number}
  Assets:Marketplace:Lantern:Transit  -{amount} USD
  Assets:Bank
"""


def steps(root: ET.Element, channel: str) -> dict[str, Decimal]:
    """Return the steps of a channel's way, by line."""
    rows = root.findall(f".//table[@data-channel='{channel}']/tbody/tr")
    return {row.attrib["data-line"]: figure(row[1]) for row in rows}


def drawn(root: ET.Element, channel: str) -> list[tuple[str, Decimal, Decimal]]:
    """Return the bars of a channel's picture: the kind, where it begins and where it ends."""
    bars = []
    for row in root.findall(f".//table[@data-channel='{channel}']/tbody/tr"):
        [rect] = row.findall(".//rect")
        x, width = Decimal(rect.attrib["x"]), Decimal(rect.attrib["width"])
        bars.append((row.attrib["class"], x, x + width))
    return bars


# The payouts.


@pytest.mark.parametrize(
    ("query", "arguments", "first"),
    [
        ({}, [], "2025-01-01"),
        ({"account": "Assets:Bank", "filter": "nobody"}, [], "2025-01-01"),
        ({"time": "2025"}, ["--to", "2025-12-31"], "2025-01-01"),
        ({"time": "2026-01 - 2026-06"}, ["--to", "2026-06-30"], "2026-01-01"),
    ],
)
def test_the_payouts_are_those_of_the_command_line(
    sample: Site, sample_path: Path, query: dict[str, str], arguments: list[str], first: str,
) -> None:
    listed = [each for each in said(sample_path, "payouts", *arguments) if each["date"] >= first]
    root = read_page(sample, "Payouts", query)
    rows = table(root, "payouts")
    assert heads(root, "payouts")[:8] == [
        "Payout", "Channel", "Date", "Amount", "Orders", "State", "Bank date", "Differs",
    ]
    assert len(listed) > 5
    assert [row[:8] for row in rows] == [
        [
            each["payout"].removeprefix("payout-"), each["channel"], each["date"], each["amount"],
            str(len(each["orders"])), each["state"], each["bank_date"] or NONE, each["difference"],
        ]
        for each in listed
    ]
    total = root.findall(".//table[@class='payouts']/tfoot//td[@class='num']")
    assert [figure(cell) for cell in total] == [
        sum(Decimal(each[column]) for each in listed) for column in ("amount", "difference")
    ]
    assert "This page obeys the time filter and no other." in text_of(root)


def test_an_earlier_payout_that_nothing_explains_stays_listed(written: Callable[..., Path]) -> None:
    books = (
        order("2025-02-01", "1", "10.00", "^payout-A"), sent("2025-02-10", "10.00", "A"),
        arrived("2025-02-12", "9.00", "A"),
        order("2026-02-01", "2", "20.00", "^payout-B"), sent("2026-02-10", "20.00", "B"),
        arrived("2026-02-12", "20.00", "B"),
    )
    root = read_page(open_books(written(PAGES, *books)), "Payouts", {"time": "2026"})
    assert [(row[0], row[5], row[7]) for row in table(root, "payouts")] == [
        ("A", "open", "-1.00"), ("B", "matched", "0.00"),
    ]


def test_a_payout_leads_to_the_journal_of_all_it_paid(sample: Site) -> None:
    root = read_page(sample, "Payouts", {"time": "2025-08"})
    [link] = [link for link in root.findall(".//table[@class='payouts']//a") if text_of(link) == "lantern-L-2508"]
    address = link.attrib["href"]
    assert address == f"/{sample.slug}/journal/?filter=%5Epayout-lantern-L-2508"
    entries = sample.ledger.get_filtered(filter="^payout-lantern-L-2508").entries
    # Five orders and the payout; the events come to what it paid.
    paid = [
        posting.units.number
        for entry in entries
        if isinstance(entry, Transaction)
        for posting in entry.postings
        if posting.account == "Assets:Marketplace:Lantern" and posting.units is not None
    ]
    assert len(entries) > 5
    assert sum(number or ZERO for number in paid) == 0
    assert min(number or ZERO for number in paid) == Decimal("-65.68")


# From gross to bank.


@pytest.mark.parametrize("channel", ["Lantern", "Tallowgate"])
@pytest.mark.parametrize("year", ["2025", "2026"])
def test_the_way_to_the_bank_is_made_of_the_channels_year(
    sample: Site, sample_path: Path, channel: str, year: str,
) -> None:
    root = read_page(sample, "Payouts", {"time": year})
    of_year = {
        name: Decimal(amount) for name, amount in said(sample_path, "channel", channel, year).items()
        if isinstance(amount, str)
    }
    found = steps(root, channel)
    added = ("opening", "gross", "tax_collected", "compensation", "other")
    taken = ("tax_remitted", "refunds", "fees", "ads", "labels", "exchange")
    signs = {**dict.fromkeys(added, 1), **dict.fromkeys(taken, -1)}
    for line, sign in signs.items():
        assert found.get(line, ZERO) == sign * of_year[line], line
    assert found.get("kept", ZERO) == -of_year["held"]
    assert found["paid_out"] == of_year["paid_out"]
    assert found.get("way_close", ZERO) == -of_year["in_transit"]
    assert sum(amount for line, amount in found.items() if line in {*signs, "kept"}) == found["paid_out"]
    assert found["bank"] == sum(found.get(line, ZERO) for line in ("paid_out", "way_open", "way_close", "lost"))
    # What the bank had, by Beancount's own entries.
    banked = sum(
        posting.units.number or ZERO
        for entry in sample.ledger.all_entries
        if isinstance(entry, Transaction) and str(entry.date.year) == year
        and any(each.account.startswith(f"Assets:Marketplace:{channel}") for each in entry.postings)
        for posting in entry.postings
        if posting.account.startswith("Assets:Bank") and posting.units is not None
    )
    assert found["bank"] == banked


@pytest.mark.parametrize("channel", ["Lantern", "Tallowgate"])
def test_each_bar_begins_where_the_one_before_it_ended(sample: Site, channel: str) -> None:
    root = read_page(sample, "Payouts", {"time": "2026"})
    amounts, bars = list(steps(root, channel).values()), drawn(root, channel)
    tenth = Decimal("0.1")
    thin = Decimal(3)
    [most] = {max(end for _, _, end in bars)}
    assert most <= 1000
    level = ZERO
    for amount, (kind, start, end) in zip(amounts, bars, strict=True):
        assert kind == ("total" if kind == "total" else "gain" if amount > 0 else "loss")
        if kind == "total":
            assert start == 0
            level = end
        elif end - start > thin:
            begun, ended = (start, end) if amount > 0 else (end, start)
            assert abs(begun - level) <= 4 * thin
            level = ended
        assert end - start >= min(thin, abs(amount)) - tenth


def test_a_channel_that_was_owed_money_is_drawn_below_nought(written: Callable[..., Path]) -> None:
    refund = """
2025-03-01 * "Refund" ^order-1
  Income:Refunds  30.00 USD
  Assets:Marketplace:Lantern
"""
    root = read_page(open_books(written(PAGES, order("2025-02-01", "1", "10.00"), refund)), "Payouts")
    assert steps(root, "Lantern") == {
        "gross": Decimal("10.00"), "refunds": Decimal("-30.00"), "kept": Decimal("20.00"), "paid_out": ZERO,
        "bank": ZERO,
    }
    # From -20 to 10 are 1000 parts, so nought is at 666.7.
    assert drawn(root, "Lantern")[:3] == [
        ("gain", Decimal("666.7"), Decimal("1000.0")),
        ("loss", Decimal("0.0"), Decimal("1000.0")),
        ("gain", Decimal("0.0"), Decimal("666.7")),
    ]


# What is open.


def test_what_is_open_has_an_age(written: Callable[..., Path]) -> None:
    books = (
        order("2025-01-01", "1", "10.00", "^payout-A"), sent("2025-01-05", "10.00", "A"),
        arrived("2025-01-07", "9.00", "A"),  # 1.00 is 100 days late on 2025-04-15
        order("2025-03-10", "2", "20.00"),  # 36 days
        order("2025-04-01", "3", "30.00"),  # 14 days
        order("2025-04-15", "4", "40.00"),  # the day itself
    )
    root = read_page(open_books(written(PAGES, *books)), "Payouts")
    assert table(root, "ages") == [["Lantern", "40.00", "30.00", "20.00", "1.00", "91.00"]]
    assert heads(root, "ages") == ["Channel", "0 to 7", "8 to 30", "31 to 90", "over 90", "All"]
    assert [row[2:] for row in table(root, "open")] == [
        ["2025-01-05", "100", "10.00", "1.00"],
        ["2025-03-10", "36", "20.00", "20.00"],
        ["2025-04-01", "14", "30.00", "30.00"],
        ["2025-04-15", "0", "40.00", "40.00"],
    ]
    assert "with ages counted to 2025-04-15" in text_of(root)


def test_what_is_open_is_what_the_channels_hold_and_what_is_under_way(sample: Site, sample_path: Path) -> None:
    root = read_page(sample, "Payouts")
    *_, total = table(root, "ages")
    held = [said(sample_path, "channel", name, "2026") for name in ("Lantern", "Tallowgate")]
    assert total[0] == "Total"
    assert Decimal(total[-1]) == sum(Decimal(each["held"]) + Decimal(each["in_transit"]) for each in held)


def test_of_very_much_the_oldest_is_listed(written: Callable[..., Path]) -> None:
    many = "".join(order("2025-02-01", f"{number:03}", "1.00") for number in range(302))
    root = read_page(open_books(written(PAGES, many)), "Payouts")
    assert len(table(root, "open")) == 300
    assert "2 more are open, none of them older" in text_of(root)
    assert table(root, "ages") == [["Lantern", "302.00", "0.00", "0.00", "0.00", "302.00"]]


# The channels' forms.


@pytest.mark.parametrize("gross", ["473.11", "470.00", None])
def test_the_form_beside_the_books_says_what_the_command_line_says(
    sample_path: Path, tmp_path: Path, gross: str | None,
) -> None:
    path = tmp_path / "books" / sample_path.name
    shutil.copytree(sample_path.parent, path.parent)
    line = f'2025-12-31 custom "annual-gross" Assets:Marketplace:Lantern 2025 {gross} USD\n' if gross else ""
    path.write_text(path.read_text(encoding="utf-8") + line, encoding="utf-8")
    site = open_books(path)
    rows = {(row[0], row[1]): row[2:] for row in table(read_page(site, "Payouts"), "forms")}
    form = said(path, "channel", "Lantern", "2025", "--form")
    assert rows["Lantern", "2025"][:4] == [
        form["expected"], form["form"] or NONE, form["difference"] or NONE, form["verdict"],
    ]
    assert set(rows) == {(name, year) for name in ("Lantern", "Tallowgate") for year in ("2025", "2026")}


def test_a_form_in_another_currency_without_a_rate_is_said_in_words(written: Callable[..., Path]) -> None:
    form = '2025-12-31 custom "annual-gross" Assets:Marketplace:Lantern 2025 10.00 EUR\n'
    root = read_page(open_books(written(PAGES, order("2025-02-01", "1", "10.00"), form)), "Payouts")
    [row] = table(root, "forms")
    assert row[:6] == ["Lantern", "2025", NONE, NONE, NONE, "open"]
    assert "Write below it what one EUR was worth" in row[6]


# Ways to open Fava, and odd books.


def test_incognito_shows_no_figure(sample_path: Path) -> None:
    root = read_page(open_books(sample_path, incognito=True), "Payouts")
    cells = [text_of(cell) for cell in root.findall(".//td") if cell.attrib.get("class") != "picture"]
    assert "XXX.XX" in cells
    assert [text for text in [*cells, *map(text_of, root.findall(".//p"))]
            if re.search(r"\d\.\d\d(?!\d)", text) and "annual-gross" not in text] == []


def test_incognito_shows_no_figure_in_a_sentence(written: Callable[..., Path]) -> None:
    held = """
2020-01-01 open Assets:Marketplace:Lantern:Reserve USD
2025-03-03 * "Held back" ^order-1
  Assets:Marketplace:Lantern  -3.00 USD
  Assets:Marketplace:Lantern:Reserve
"""
    stray = """
2025-03-20 * "From whatever payout"
  Assets:Marketplace:Lantern:Transit  -7.00 USD
  Assets:Bank
"""
    # Of 50.00, 3.00 are held back. The payout of 41.00 is of no order, and 7.00 arrive for none.
    path = written(PAGES, order("2025-03-01", "1", "50.00"), held, sent("2025-03-10", "41.00", "A"), stray)
    roots = [read_page(open_books(path, incognito=hide), "Payouts") for hide in (False, True)]
    told, hidden = ([text_of(each) for tag in ("p", "li") for each in root.iter(tag)] for root in roots)
    for words in ("3.00 is held back", "for no known payout: 7.00", "Not explained, or overdue at the bank: "):
        assert any(words in text for text in told)
    assert [text for text in hidden if re.search(r"\d\.\d\d(?!\d)", text) and "annual-gross" not in text] == []


def test_hostile_text_is_text_and_nothing_else(written: Callable[..., Path]) -> None:
    evil = "</script><script>alert(1)</script>"
    event = f"""
2025-03-01 * {quoted(evil)}
  Expenses:Selling:Fees  1.00 USD
  Assets:Marketplace:Lantern
"""
    site = open_books(written(PAGES, event))
    response = site.client.get(f"/{site.slug}/extension/Payouts/", query_string={"partial": "1"})
    assert "<script>alert" not in response.text
    assert evil in text_of(read_page(site, "Payouts"))


def test_empty_books_and_books_without_a_channel(starter: Site, written: Callable[..., Path]) -> None:
    assert "There is nothing in the books yet." in text_of(read_page(starter, "Payouts"))
    assert read_page(starter, "Payouts", {"time": "2026"}).find(".//table") is None
    text = text_of(read_page(open_books(written(PAGES, "2025-02-01 open Assets:More USD\n")), "Payouts"))
    assert "will appear here" in text
    fee = '2025-03-01 * "Fee"\n  Expenses:Selling:Fees  1.00 USD\n  Assets:Bank\n'
    assert "No channel has come up by 2025-03-01." in text_of(
        read_page(open_books(written(PAGES, fee)), "Payouts"),
    )


def test_figures_are_worked_out_once_per_load(
    written: Callable[..., Path], monkeypatch: pytest.MonkeyPatch,
) -> None:
    calls: list[Any] = []
    settle, waterfall = page_module.settle, page_module.waterfall

    def counted(name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def do(*given: Any, **more: Any) -> Any:
            calls.append(name)
            return work(*given, **more)

        return do

    monkeypatch.setattr(page_module, "settle", counted("settle", settle))
    monkeypatch.setattr(page_module, "waterfall", counted("way", waterfall))
    site = open_books(written(PAGES, order("2025-02-01", "1", "10.00")))
    for query in ({}, {"account": "Assets"}, {"filter": "x"}):
        read_page(site, "Payouts", query)
    assert sorted(calls) == ["settle", "way"]
    read_page(site, "Payouts", {"time": "2025"})
    assert len(calls) == 4


def test_the_range_may_be_any(sample: Site) -> None:
    text = text_of(read_page(sample, "Payouts", {"time": "2025-10-05 - 2026-02"}))
    assert "Flows are of 2025-10-05 to 2026-02-28" in text
    # Ages are counted to the last entry in it, as on the command line.
    assert re.search(r"with ages counted to 2026-02-\d\d,", text)
