"""Profiles are read strictly."""

from __future__ import annotations

import dataclasses
import re
from decimal import Decimal
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from millilot.importers import profile
from millilot.importers.dialect import Dates, FileShape, Numbers
from millilot.importers.problems import ProfileError
from millilot.importers.profile import read_profile
from millilot.importers.title_rules import Pour
from millilot.ledger.accounts import Role

if TYPE_CHECKING:
    from pathlib import Path

EXAMPLES = re.findall(r"```toml\n(.*?)```", profile.__doc__ or "", re.DOTALL)
EXAMPLE, LEDGER, BANK, UNSIGNED, PAYOUTS = EXAMPLES


def written(folder: Path, text: str) -> Path:
    path = folder / "lantern.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_documented_example_is_read(tmp_path: Path) -> None:
    read = read_profile(written(tmp_path, EXAMPLE))
    assert (read.name, read.slug, read.currency) == ("lantern", "lantern", "USD")
    assert read.dates.formats == ("%Y-%m-%d",)
    assert [(fee.column, fee.kind, fee.role) for fee in read.fees] == [
        ("Selling fee", "commission", Role.FEES),
        ("Label", "label", Role.POSTAGE),
    ]
    assert read.titles.skus["CH-3x2"].total == 6
    assert read.titles.skus["CH-FULL"] == Pour("CEDARHOUR", Decimal(100), 0)
    forest, trial = read.titles.sets.values()
    assert [(part.pour.total, part.list_price) for part in forest.parts] == [(2, Decimal("6.50")), (4, 13)]
    assert (forest.share, trial.share) == ("list", "cost")
    assert {"Order", "Net", "Label", "Tax refunded"} <= read.headings


def test_the_examples_show_every_key_but_the_unit_price() -> None:
    keys = set(re.findall(r"^(?:\[*|# )(?:dates\.)?([a-z-]+)(?: =|\])", "".join(EXAMPLES), re.MULTILINE))
    tables = (profile.Columns, FileShape, Numbers, Dates)
    named = {field.name.replace("_", "-") for table in tables for field in dataclasses.fields(table)}
    assert named - keys == {"unit-price", "formats"}


def test_how_the_example_is_written(tmp_path: Path) -> None:
    read = read_profile(written(tmp_path, EXAMPLE))
    assert dataclasses.replace(read.file, order_suffix=None) == FileShape(
        delimiter=",", encoding="utf-8", skip_lines=0, totals=("total",), end=("notes:",),
    )
    assert read.numbers == Numbers(thousands=(",",))
    assert read.dates == Dates(
        ("%Y-%m-%d",),
        zone=ZoneInfo("UTC"),
        books_zone=ZoneInfo("Europe/Vienna"),
        times={"Settled on": ("Settled at", "Zone")},
    )
    assert [read.file.order_number(text) for text in ("#1001-2", "# 1001", "-7", "10-01-12")] == [
        "1001", "1001", "-7", "10-01",
    ]


def test_what_is_not_stated_is_found_in_the_file(tmp_path: Path) -> None:
    bare = re.sub(r"(?s)\[file\].*?\n(?=\[dates\])", "", EXAMPLE)
    read = read_profile(written(tmp_path, bare))
    assert (read.file, read.numbers) == (FileShape(), Numbers())
    assert (read.file.delimiter, read.file.encoding, read.file.skip_lines) == ("", "", None)
def test_the_documented_ledger_is_read(tmp_path: Path) -> None:
    read = read_profile(written(tmp_path, LEDGER))
    assert [rule.kind for rule in read.events] == ["price", "fee", "private"]
    sale, fee, private = read.events
    assert sale.fits("SALE", "item")
    assert not sale.fits("Sale", "Postage")
    assert (fee.fee, fee.sign, private.account, private.names_order) == ("commission", -1, "Equity:Owner", False)


def test_the_documented_statement_and_payouts_are_read(tmp_path: Path) -> None:
    (deposit,) = read_profile(written(tmp_path, BANK)).events
    assert deposit.numbers("", "lantern payout L-17 THANKS") == {"payout": "L-17"}
    assert deposit.account == "Assets:Marketplace:Lantern:Transit"
    unsigned = read_profile(written(tmp_path, UNSIGNED))
    assert unsigned.direction is not None
    assert unsigned.direction.signs == {"in": 1, "cr": 1, "out": -1, "dr": -1}
    assert read_profile(written(tmp_path, PAYOUTS)).columns.gross == "Sales"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('channel = "Lantern"', "", "the key channel is missing"),
        ('channel = "Lantern"', 'chanel = "Lantern"', "the key channel is missing"),
        ('channel = "Lantern"', 'channel = "Lantern"\nshop = "x"', "the key shop is not known"),
        ('channel = "Lantern"', 'channel = "++"', "expected a name with letters"),
        ('currency = "USD"', 'currency = "dollars"', 'expected a currency like "USD", found "dollars"'),
        ('"Assets:Marketplace:Lantern"', '"Lantern"', 'account: expected one like'),
        ('delimiter = ","', 'delimiter = ";;"', r"\[file\] delimiter: expected one character"),
        ('encoding = "utf-8"', 'encoding = "utf-80"', 'there is no encoding "utf-80"'),
        ("skip-lines = 0", "skip-lines = -1", "expected a whole number, 0 or above, found -1"),
        ("skip-lines = 0", "skip-lines = true", "expected a whole number, 0 or above, found True"),
        ('row = "order"', 'row = "orders"', 'expected "order" or "item" or .* or "payout", found "orders"'),
        ('thousands = ","', 'thousands = "."', r'thousands: is "\.", and so is decimal'),
        ('decimal = "."', 'decimal = "5"', '"5" cannot be a mark in a number'),
        ('encoding = "utf-8"', 'encoding = "base64"', 'there is no encoding "base64"'),
        (r"'-\d+$'", "'-(\\d+$'", "order-suffix: is not a regular expression"),
        ('["Total"]', "[1]", "totals: expected a list of texts"),
        ('thousands = ","', 'thousands = [",", "."]', r'thousands: is "\.", and so is decimal'),
        ('thousands = ","', 'thousands = ["", " "]', "thousands: expected a text or a list of texts"),
        ('thousands = ","', 'thousands = "::"', "thousands: expected one character in quotes, found '::'"),
        ('thousands = ","', "thousands = []", "thousands: expected a text or a list of texts"),
        ("minor-units = false", 'minor-units = "no"', "minor-units: expected true or false"),
        ('format = "%Y-%m-%d"', 'format = "%Y-%m"', "expected year, month and day"),
        ('format = "%Y-%m-%d"', 'format = ["%Y-%m-%d", "%m %Y"]', 'expected year, month and day like .*"%m %Y"'),
        ('format = "%Y-%m-%d"', 'format = "%Y-%m-%d %I:%M"', "format: expected %p with %I"),
        ('format = "%Y-%m-%d"', 'format = "%Y-%m-%d %Z %H"', "format: expected %Z at the end"),
        ('format = "%Y-%m-%d"', 'format = "%Y-%m-%d %Q"', "format: expected one that Python's strptime reads"),
        ('format = "%Y-%m-%d"', "", r"\[dates\] the key format is missing"),
        ('locale = "en"', 'locale = "elvish"', 'locale: expected a language like "de" .*, found "elvish"'),
        ('zone = "UTC"', 'zone = "Mars/Olympus"', 'zone: expected a zone like .*, found "Mars/Olympus"'),
        ('zone = "UTC"', 'zone = "../etc/passwd"', "zone: expected a zone like"),
        ('zone = "UTC"', 'zone = "America"', "zone: expected a zone like"),
        ('book-on = "ordered"', 'book-on = "shipped"', 'book-on: expected "ordered" or "settled" or "paid-out"'),
        ('price = "Item total"', 'price = "Item total"\nunit-price = "Each"', "price and unit-price, found both"),
        ('price = "Item total"', "", "price and unit-price, found neither"),
        ('status = "Status"', "", r"\[status\] \[columns\] must name the column status"),
        ('["Unpaid"]', '"Unpaid"', "skip: expected a list of texts"),
        ('row = "order"', 'row = "event"', r"\[columns\] the key date is missing"),
        ('settled = "Settled on"', 'date = "Day"', 'date: means nothing where \\[file\\] row = "order"'),
        ("[tax]", '[[events]]\ntype = ["A"]\nis = "price"\n[tax]', r"\[\[events\]\] with \[file\] row = .*but"),
        ("remitted = true", 'remitted = "yes"', "expected true or false, found 'yes'"),
        ('role = "fees"', 'role = "sales"', r"\[\[fees\]\] role: expected"),
        ('date = "Refunded on"', "", r"\[refund\] the key date is missing"),
        ("(?P<name>.+?)", "(.+?)", r"pattern: expected the named group \(\?P<name>"),
        ("(?P<name>.+?)", "(?P<name>.+?", "pattern: is not a regular expression"),
        ('"Cedar Hr" = "CEDARHOUR"', '"Cedar Hr" = "Cedar Hour"', 'expected a commodity like "CEDARHOUR"'),
        ("ml = 100", "ml = 0", r"\[titles.skus.CH-FULL\] ml: expected a number of mL above 0, found 0"),
        ("ml = 100", 'ml = "100"', "ml: expected a number of mL above 0, found '100'"),
        ("ml = 100", "ml = nan", "ml: expected a number of mL above 0, found NaN"),
        ("list = 6.50", "list = 0", r"\[\[titles.sets.Forest set.parts\]\] list: expected a price above 0"),
        (", list = 6.50", "", "the key list is missing; expected a price above 0"),
        ('"Trial set" = { share = "cost"', '"Trial set" = { share = "size"', 'share: expected "list" or "cost"'),
        ('"Trial set"', '"CH-FULL"', r'"CH-FULL" is in \[titles.items\] or \[titles.skus\] as well'),
        ('"Trial set"', '"forest  SET"', '"Forest set" and "forest  SET" are the same title'),
        ('"Cedar Hr" = "CEDARHOUR"', '"Cedar Hr" = "A"\n"cedar hr" = "B"', "are the same title; expected one"),
        ("[dates]", "[dates", "is not TOML"),
        ("skip-lines = 0", "skip = 0", r"\[file\] the key skip is not known; the keys here are delimiter, "),
        ('sku = "SKU"', 'sku = ""', r"\[columns\] sku: expected a text, found an empty one"),
        ("[[fees]]", "[[charges]]", "the key charges is not known"),
    ],
)
def test_a_mistake_is_named_with_file_and_key(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in EXAMPLE
    path = written(tmp_path, EXAMPLE.replace(old, new, 1))
    with pytest.raises(ProfileError, match=f"(?s){re.escape(str(path))}.*{message}"):
        read_profile(path)


def test_days_of_the_books_need_the_zone_of_the_file(tmp_path: Path) -> None:
    text = EXAMPLE.replace('zone = "UTC"', "")
    assert read_profile(written(tmp_path, text)).dates.zone is None
    for layout, needed in (("%Y-%m-%d %H:%M", True), ("%Y-%m-%d %H:%M %z", False), ("%Y-%m-%d %I %p %Z", False)):
        path = written(tmp_path, text.replace('format = "%Y-%m-%d"', f'format = "{layout}"'))
        if needed:
            with pytest.raises(ProfileError, match='books-zone: needs the zone of times like "%Y-%m-%d %H:%M"'):
                read_profile(path)
        else:
            assert read_profile(path).dates.formats == (layout,)
@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('is = "price"', 'is = "sale"', r"\[\[events\]\] is: expected \"price\" or .*, found \"sale\""),
        ('is = "price"', "", r"\[\[events\]\] is: expected"),
        ('account = "Equity:Owner"', "", r"\[\[events\]\] the key account is missing"),
        ('account = "Equity:Owner"', 'account = "Owner"', 'account: expected an account like "Equity:Owner"'),
        ('type = ["Selling fee"]', "", "expected one of the keys type, detail and pattern, found none"),
        ('amount = "Amount"', 'amount = "Amount"\ncredit = "In"', "keys amount, credit and debit, found both"),
        ('amount = "Amount"', "", "keys amount, credit and debit, found neither"),
        ('balance = "Balance"', "", "the column balance must be named"),
        ('detail = "Description"', "", r"\[columns\] must name the column detail"),
        ("[[events]]", '[refund]\namount = "Back"\n[[events]]', "a refund is one of"),
        ('kind = "commission"', 'pattern = "("', "pattern: is not a regular expression"),
        ('kind = "commission"', 'pattern = "(?P<name>.)"', "named groups payout, order or event, found name"),
    ],
)
def test_a_mistake_in_a_ledgers_profile(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in LEDGER
    path = written(tmp_path, LEDGER.replace(old, new, 1))
    with pytest.raises(ProfileError, match=f"(?s){re.escape(str(path))}.*{message}"):
        read_profile(path)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('["Out", "DR"]', '["Out", "cr"]', r'\[direction\] out: has "cr", and so has in'),
        ('["Out", "DR"]', '["Out", 1]', r"\[direction\] out: expected a list of texts"),
        ('out = ["Out", "DR"]', 'away = ["Out"]', r"\[direction\] the key away is not known; .* in, out"),
        ("[direction]", "[directions]", r"\[columns\] direction: a table \[direction\] must have its words"),
        (
            'amount = "Amount"', 'credit = "In"\ndebit = "Out"',
            r"\[columns\] direction: means nothing beside credit and debit",
        ),
        ('is = "deposit"', 'is = "deposit"\nreversed = true', r"\[\[events\]\] reversed: means nothing where"),
        ('row = "event"', 'row = "payout"', r'means nothing where \[file\] row = "payout"'),
    ],
)
def test_a_mistake_in_the_words_for_directions(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in UNSIGNED
    path = written(tmp_path, UNSIGNED.replace(old, new, 1))
    with pytest.raises(ProfileError, match=f"(?s){re.escape(str(path))}.*{message}"):
        read_profile(path)


def test_directions_without_words_and_of_orders(tmp_path: Path) -> None:
    start, _, rest = UNSIGNED.partition("[direction]")
    rules = rest[rest.index("[[events]]"):]
    with pytest.raises(ProfileError, match=r"\[direction\] expected words under in, out or both, found none"):
        read_profile(written(tmp_path, f'{start}[direction]\nin = [""]\n{rules}'))
    with pytest.raises(ProfileError, match=r'\[direction\] means nothing where \[file\] row = "order"'):
        read_profile(written(tmp_path, EXAMPLE + '[direction]\nin = ["In"]\n'))
    with pytest.raises(ProfileError, match=r'direction: means nothing where \[file\] row = "order"'):
        read_profile(written(tmp_path, EXAMPLE.replace("[columns]", '[columns]\ndirection = "Direction"')))


def test_booking_on_the_settled_day_needs_its_column(tmp_path: Path) -> None:
    text = EXAMPLE.replace('settled = "Settled on"', "").replace('book-on = "ordered"', 'book-on = "settled"')
    with pytest.raises(ProfileError, match="must name the column settled"):
        read_profile(written(tmp_path, text))


def test_a_channel_that_is_no_part_of_an_account_needs_one(tmp_path: Path) -> None:
    text = EXAMPLE.replace('channel = "Lantern"', 'channel = "by hand"')
    assert read_profile(written(tmp_path, text)).slug == "by-hand"
    without = re.sub("(?m)^account.*$", "", text)
    with pytest.raises(ProfileError, match='must be given, because "by hand"'):
        read_profile(written(tmp_path, without))


def test_a_profile_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="cannot be read: No such file"):
        read_profile(tmp_path / "none.toml")


def test_fees_must_be_tables(tmp_path: Path) -> None:
    head = 'fees = ["Fee"]\nchannel = "Lantern"\ncurrency = "USD"\ndates.format = "%Y-%m-%d"\n'
    columns = 'columns = { order = "Order", ordered = "Date", price = "Price" }\n'
    with pytest.raises(ProfileError, match=r"fees: expected tables \[\[fees\]\], found \['Fee'\]"):
        read_profile(written(tmp_path, head + columns))
