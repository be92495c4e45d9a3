"""What a file of events does to the books beyond one file and its transactions."""

from __future__ import annotations

import re
import shutil
from typing import TYPE_CHECKING

import pytest
from beancount import loader
from beangulp.extract import DUPLICATE

from millilot.importers.channel import ChannelImporter

from .shop import Shop
from .test_corpus import CORPUS

if TYPE_CHECKING:
    from pathlib import Path

PROFILE = """
channel = "Lantern"
currency = "USD"
file.row = "event"
dates.format = "%Y-%m-%d"
columns = { date = "Date", type = "Type", order = "Order", title = "Item", amount = "Amount" }
events = [
    { type = ["Sale"], is = "price" },
    { type = ["Fee"], is = "fee" },
    { type = ["Hold"], is = "hold" },
    { type = ["Dispute"], is = "dispute" },
    { type = ["Lost"], is = "dispute-lost" },
]
"""
ORDERS = """
channel = "Lantern"
currency = "USD"
dates.format = "%Y-%m-%d"
columns = { order = "Order", ordered = "Date", title = "Item", price = "Price", payout = "Payout" }
fees = [{ column = "Fee", kind = "commission" }]
"""


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """Books with every account the corpus uses, without a profile."""
    shop = Shop(tmp_path)
    shutil.copy(CORPUS / "books.beancount", shop.books)
    shop.profile.parent.mkdir()
    shop.profile.write_text(PROFILE, encoding="utf-8")
    return shop


def file(shop: Shop, name: str, *rows: str, headings: str = "Date,Type,Order,Item,Amount") -> Path:
    path = shop.folder / name
    path.write_text("\n".join([headings, *rows, ""]), encoding="utf-8")
    return path


def orders(shop: Shop, name: str, fee: str, price: str = "12.00") -> Path:
    shop.profile.write_text(ORDERS, encoding="utf-8")
    row = f"1001,2026-03-04,Cedar Hour 5 mL,{price},{fee},"
    return file(shop, name, row, headings="Order,Date,Item,Price,Fee,Payout")


def reasons(shop: Shop, *paths: Path) -> list[tuple[str, str]]:
    return [(fate["fate"], fate["reason"]) for fate in shop.outcome(*paths)["fates"]]


def test_an_account_that_is_not_open_is_told_with_the_line_to_write(shop: Shop) -> None:
    text = shop.books.read_text(encoding="utf-8")
    shop.books.write_text(text.replace("2026-01-01 open Assets:Marketplace:Lantern:Reserve USD\n", ""))
    before = shop.books.read_bytes()
    path = file(shop, "a.csv", "2026-03-05,Hold,,,-3.00", "2026-03-04,Hold,,,-2.00")
    result = shop.run(path)
    assert result.exit_code == 1
    assert f"({path}, row 3)" in result.stderr
    advice = "; add to the books: 2026-03-04 open Assets:Marketplace:Lantern:Reserve USD\n"
    assert f"in 2 entries{advice}" in result.stderr
    assert result.stderr.count("open Assets:Marketplace:Lantern:Reserve") == 1
    assert shop.books.read_bytes() == before
    with shop.books.open("a", encoding="utf-8") as books:
        books.write("2026-03-04 open Assets:Marketplace:Lantern:Reserve USD\n")
    assert shop.outcome(path)["new"] == 2
    assert shop.errors() == []


def test_a_fee_corrected_twice_adds_two_differences_and_no_older_file_undoes_them(shop: Shop) -> None:
    first, second, third = (orders(shop, f"{fee}.csv", fee) for fee in ("1.50", "1.80", "1.60"))
    assert reasons(shop, first) == [("new", "")]
    assert reasons(shop, second) == reasons(shop, third) == [("new", "the correction only")]
    text = shop.books.read_text(encoding="utf-8")
    assert re.findall(r"Selling:Fees +(\S+) USD", text) == ["1.50", "0.30", "-0.20"]
    before = shop.books.read_bytes()
    old = ("known", "a later file changed the sale")
    assert reasons(shop, first, second, third) == [old, old, ("known", "")]
    assert shop.books.read_bytes() == before
    assert shop.errors() == []


def test_the_corrected_file_in_the_same_import(shop: Shop) -> None:
    first, second = orders(shop, "a.csv", "1.50"), orders(shop, "b.csv", "1.80")
    outcome = shop.outcome(first, second)
    assert [(fate["fate"], fate["reason"]) for fate in outcome["fates"]] == [
        ("new", ""), ("new", "the correction only"),
    ]
    assert outcome["money"]["USD"] == {
        "rows": "20.70", "booked": "10.20", "known": "10.50", "skipped": "0.00", "refused": "0.00",
    }
    assert shop.outcome(second)["known"] == 1


def test_a_fee_that_was_not_there_and_one_that_is_there_no_more(shop: Shop) -> None:
    reasons(shop, orders(shop, "a.csv", ""))
    assert reasons(shop, orders(shop, "b.csv", "1.00")) == [("new", "the correction only")]
    assert reasons(shop, orders(shop, "c.csv", "")) == [("known", "a later file changed the sale")]


def test_a_changed_price_is_refused_even_when_the_fee_makes_up_for_it(shop: Shop) -> None:
    reasons(shop, orders(shop, "a.csv", "1.00"))
    (fate,) = reasons(shop, orders(shop, "b.csv", "2.50", "13.00"))
    assert fate == ("refused", "expected the price of 12.00 USD as in the books, found 13.00")


def test_a_dispute_of_an_earlier_import_that_is_lost(shop: Shop) -> None:
    sale, dispute = "2026-03-04,Sale,1001,Cedar Hour 5 mL,12.00", "2026-03-20,Dispute,1001,,-12.00"
    reasons(shop, file(shop, "a.csv", sale, dispute))
    # The row says again what was taken when the dispute began.
    path = file(shop, "b.csv", "2026-04-20,Lost,1001,,-12.00")
    outcome = shop.outcome(path)
    assert outcome["new"] == 1
    assert outcome["money"]["USD"]["rows"] == outcome["money"]["USD"]["booked"] == "0.00"
    text = shop.books.read_text(encoding="utf-8")
    assert re.findall(r"Reserve +(-?[\d.]+) USD", text) == ["12.00", "-12.00"]
    assert re.findall(r"Refunds +(\S+) USD", text) == ["12.00"]
    assert shop.outcome(path)["known"] == 1
    assert shop.books.read_text(encoding="utf-8") == text


def test_a_refused_row_keeps_no_other_out(shop: Shop) -> None:
    refused = ("2026-03-04,Fee,,,x", "4 March,Fee,,,-1.00", "2026-03-04,Gift,,,1.00")
    path = file(shop, "a.csv", *refused, "2026-03-04,Fee,,,-1.00", "2026-03-04,Fee,,,0.00", "2026-03-04,Fee")
    outcome = shop.outcome(path)
    assert [fate["fate"] for fate in outcome["fates"]] == [
        "refused", "refused", "refused", "new", "skipped", "refused",
    ]
    assert outcome["fates"][4]["reason"] == "no money moved"
    assert outcome["money"]["USD"] == {
        "rows": "-1.00", "booked": "-1.00", "known": "0.00", "skipped": "0.00", "refused": "0.00",
    }


def test_a_sale_that_changed_its_amount_in_a_ledger_is_refused(shop: Shop) -> None:
    reasons(shop, file(shop, "a.csv", "2026-03-04,Sale,1001,Cedar Hour 5 mL,12.00"))
    (fate,) = reasons(shop, file(shop, "b.csv", "2026-03-04,Sale,1001,Cedar Hour 5 mL,13.00"))
    assert fate == ("refused", "expected the price of 12.00 USD as in the books, found 13.00")


def test_more_goes_back_later(shop: Shop) -> None:
    shop.profile.write_text(
        ORDERS + 'refund = { amount = "Back", date = "On", fee = "Fee back" }\n', encoding="utf-8",
    )

    def returned(back: str, day: str, fee_back: str) -> Path:
        row = f"1001,2026-03-04,Cedar Hour 5 mL,12.00,1.50,,{back},{day},{fee_back}"
        return file(shop, f"{day}.csv", row, headings="Order,Date,Item,Price,Fee,Payout,Back,On,Fee back")

    files = [
        returned("4.00", "2026-03-10", "0.50"), returned("12.00", "2026-03-20", "1.50"),
        returned("11.00", "2026-03-30", "1.50"),
    ]
    assert [reasons(shop, path) for path in files] == [
        [("new", "")],
        [("new", "the refund only")],
        [("refused", "expected refunds of at least 12.00 USD as in the books, found 11.00")],
    ]
    text = shop.books.read_text(encoding="utf-8")
    assert re.findall(r"(?m)^  Income:Refunds +(\S+) USD", text) == ["4.00", "8.00"]
    assert re.findall(r"(?m)^  Expenses:Selling:Fees +(\S+) USD", text) == ["1.50", "-0.50", "-1.00"]
    assert re.findall(r'event: "lantern/refund/(.*)"', text) == ["1001", "1001/2"]
    assert reasons(shop, *files[:2]) == [("known", "a later file changed the refund"), ("known", "")]
    assert shop.books.read_text(encoding="utf-8") == text
    assert shop.errors() == []


def test_called_off_after_it_was_booked(shop: Shop) -> None:
    reasons(shop, orders(shop, "a.csv", "1.00"))
    with_status = ORDERS.replace('payout = "Payout"', 'payout = "Payout", status = "Status"')
    shop.profile.write_text(with_status + 'status.cancelled = ["Off"]\n', encoding="utf-8")
    row = "1001,2026-03-04,Cedar Hour 5 mL,12.00,1.00,P-1,Off"
    path = file(shop, "b.csv", row, headings="Order,Date,Item,Price,Fee,Payout,Status")
    assert reasons(shop, path) == [
        ("new", "the refund only; what was poured for it stays poured until you write it back"),
    ]
    assert re.findall(r"Refunds +(\S+) USD", shop.books.read_text(encoding="utf-8")) == ["12.00"]


def test_the_same_rows_with_other_columns_are_known(shop: Shop) -> None:
    columns = 'date = "Date", type = "Type", amount = "Amount", event = "Id"'
    few = re.sub("columns = .*", f"columns = {{ {columns} }}", PROFILE)
    more = 'order = "Order", title = "Item", detail = "Note", parent = "Of"'
    many = re.sub("columns = .*", f"columns = {{ {columns}, {more} }}", PROFILE)
    shop.profile.write_text(many, encoding="utf-8")
    rows = (
        "2026-03-04,Sale,12.00,T1,,Cedar Hour 5 mL,x,A1",
        "2026-03-05,Sale,8.00,T2,,Quiet Reed 2 mL,,A1",
        "2026-03-04,Fee,-1.00,,,,monthly,",
    )
    path = file(shop, "a.csv", *rows, headings="Date,Type,Amount,Id,Order,Item,Note,Of")
    assert shop.outcome(path)["new"] == 3
    text = shop.books.read_text(encoding="utf-8")
    assert re.findall(r'event: "lantern/sale/(.*)"', text) == ["A1", "A1/2026-03-05"]
    shop.profile.write_text(few, encoding="utf-8")
    later = file(
        shop, "b.csv", "T2,8.00,2026-03-05,Sale", ",-1.00,2026-03-04,Fee", "T1,12.00,2026-03-04,Sale",
        headings="Id,Amount,Date,Type",
    )
    assert reasons(shop, later) == [("known", "")] * 3
    shop.profile.write_text(few.replace('event = "Id"', 'event = "Id", order = "Invoice"'), encoding="utf-8")
    another = file(shop, "c.csv", "T2,8.00,2026-03-05,Sale,7002", headings="Id,Amount,Date,Type,Invoice")
    # A number that the file gives says that it is another order, whose events happen to be numbered the same.
    assert reasons(shop, another) == [("unsorted", "it has no title")]


def test_an_order_that_gets_its_number_later_is_known(shop: Shop) -> None:
    columns = 'date = "Date", type = "Type", amount = "Amount", event = "Id"'
    without = re.sub("columns = .*", f"columns = {{ {columns} }}", PROFILE)
    shop.profile.write_text(without, encoding="utf-8")
    row = "2026-03-04,Sale,12.00,T1"
    assert shop.outcome(file(shop, "a.csv", row, headings="Date,Type,Amount,Id"))["unsorted"] == 1
    shop.profile.write_text(without.replace('"Id"', '"Id", order = "Invoice"'), encoding="utf-8")
    invoiced = file(shop, "b.csv", f"{row},7001", headings="Date,Type,Amount,Id,Invoice")
    assert reasons(shop, invoiced) == [("known", "")]


def test_a_row_number_that_is_the_number_of_another_order(shop: Shop) -> None:
    shop.profile.write_text(PROFILE.replace('title = "Item"', 'title = "Item", event = "No"'), encoding="utf-8")
    headings = "Date,Type,Order,Item,Amount,No"
    reasons(shop, file(shop, "a.csv", "2026-03-04,Sale,2,Cedar Hour 5 mL,12.00,1", headings=headings))
    later = file(shop, "b.csv", "2026-03-05,Sale,3,Quiet Reed 2 mL,8.00,2", headings=headings)
    assert reasons(shop, later) == [("new", "")]
    assert re.findall(r"\^order-lantern-(\d)", shop.books.read_text(encoding="utf-8")) == ["2", "3"]


def test_booked_on_the_day_it_was_paid_out(shop: Shop) -> None:
    shop.profile.write_text(
        PROFILE.replace('dates.format = "%Y-%m-%d"', 'dates = { format = "%Y-%m-%d", book-on = "paid-out" }')
        .replace('title = "Item"', 'title = "Item", paid-out = "Paid"'), encoding="utf-8",
    )
    path = file(
        shop, "a.csv", "2026-03-04,Sale,1001,Cedar Hour 5 mL,12.00,2026-03-15", "2026-03-04,Sale,1002,,8.00,",
        "2026-03-05,Fee,,,-1.00,", headings="Date,Type,Order,Item,Amount,Paid",
    )
    assert reasons(shop, path) == [("new", ""), ("skipped", "not paid out yet"), ("new", "")]
    text = shop.books.read_text(encoding="utf-8")
    assert '2026-03-15 * "Cedar Hour 5 mL" ^order-lantern-1001' in text
    assert "  ordered: 2026-03-04\n  paid-out: 2026-03-15\n" in text
    # A fee that is not of a sale is booked on its own day.
    assert '2026-03-05 * "Fee"' in text


@pytest.mark.parametrize(
    "name", ["c01_ledger", "c02_latest_first", "d01_components", "e03_payouts_and_ledger", "g01_statement"],
)
def test_what_is_booked_is_marked_in_beangulp(shop: Shop, name: str) -> None:
    path = shutil.copy(CORPUS / f"{name}.csv", shop.folder / "file.csv")
    profile = CORPUS / f"{name}.toml"
    importer = ChannelImporter(profile)
    assert importer.identify(str(path))
    assert importer.date(str(path)) is not None
    first = importer.extract(str(path), [])
    assert first
    shop.run(path, "--profile", profile)
    existing, _, _ = loader.load_file(str(shop.books))
    again = importer.extract(str(path), existing)
    importer.deduplicate(again, existing)
    assert len(again) == len(first)
    assert all(DUPLICATE in entry.meta for entry in again)


def test_a_text_of_a_channel_that_no_pattern_fits_is_refused(shop: Shop) -> None:
    shop.profile.write_text(
        'channel = "Lantern"\ncurrency = "USD"\nfile.row = "event"\ndates.format = "%Y-%m-%d"\n'
        'columns = { date = "Date", detail = "Text", amount = "Amount" }\n'
        "[[events]]\npattern = '^Fee'\nis = \"fee\"\nkind = \"selling\"\n",
        encoding="utf-8",
    )
    path = file(shop, "a.csv", "2026-03-04,Fee of March,-2.00", "2026-03-05,Tip,3.00", headings="Date,Text,Amount")
    assert [fate for fate, _ in reasons(shop, path)] == ["new", "refused"]


def test_sales_that_no_column_numbers_are_refused_by_the_keys_that_would(shop: Shop) -> None:
    shop.profile.write_text(PROFILE.replace('order = "Order", ', ""), encoding="utf-8")
    path = file(shop, "lantern.csv", "2026-03-04,Sale,1001,Cedar Hour 5 mL,12.00")
    expected = "[columns]: expected order or event, the column with the number of a sale, found neither"
    assert reasons(shop, path) == [("refused", expected)]


WORDED = """
channel = "Lantern"
currency = "USD"
file.row = "event"
dates.format = "%Y-%m-%d"
columns = { date = "Date", type = "Type", order = "Order", title = "Item", amount = "Amount", net = "Net" }
fees = [{ column = "Fee", kind = "commission" }]
direction = { in = ["CR"], out = ["DR"] }
events = [{ type = ["Sale"], is = "price" }, { type = ["Hold"], is = "hold" }]
"""


@pytest.mark.parametrize(("cells", "expected"), [
    # What has no word is as large as it is; what has one is held to it.
    ("Sale,1001,Cedar Hour 5 mL,12.00 CR,2.00,10.00", ""),
    ("Sale,1001,Cedar Hour 5 mL,12.00 CR,2.00,10.00 CR", ""),
    ("Hold,,,4.00 DR,,4.00", ""),
    ("Hold,,,4.00 DR,,4.00 DR", ""),
    ("Hold,,,4.00 DR,,4.00 CR", "expected -4.00 from the other columns, found 4.00"),
    ("Sale,1001,Cedar Hour 5 mL,4.00 CR,9.00,5.00 CR", "expected -5.00 from the other columns, found 5.00"),
])
def test_a_net_amount_is_held_to_the_word_behind_it(shop: Shop, cells: str, expected: str) -> None:
    shop.profile.write_text(WORDED, encoding="utf-8")
    path = file(shop, "lantern.csv", f"2026-03-04,{cells}", headings="Date,Type,Order,Item,Amount,Fee,Net")
    assert reasons(shop, path) == [("refused", f"column 'Net': {expected}") if expected else ("new", "")]
