"""Profiles are read strictly."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from millilot.importers import profile
from millilot.importers.problems import ProfileError
from millilot.importers.profile import Pour, read_profile
from millilot.ledger.accounts import Role

if TYPE_CHECKING:
    from pathlib import Path

EXAMPLES = re.findall(r"```toml\n(.*?)```", profile.__doc__ or "", re.DOTALL)
EXAMPLE, LEDGER, BANK, PAYOUTS = EXAMPLES


def written(folder: Path, text: str) -> Path:
    path = folder / "lantern.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_documented_example_is_read(tmp_path: Path) -> None:
    read = read_profile(written(tmp_path, EXAMPLE))
    assert (read.name, read.slug, read.currency, read.date_format) == ("lantern", "lantern", "USD", "%Y-%m-%d")
    assert [(fee.column, fee.kind, fee.role) for fee in read.fees] == [
        ("Selling fee", "commission", Role.FEES),
        ("Label", "label", Role.POSTAGE),
    ]
    assert read.titles.skus["CH-3x2"].total == 6
    assert read.titles.skus["CH-FULL"] == Pour("CEDARHOUR", Decimal(100), 0)
    assert {"Order", "Net", "Label", "Tax refunded"} <= read.headings


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
    assert read_profile(written(tmp_path, PAYOUTS)).columns.gross == "Sales"


def test_the_examples_show_every_key_but_the_unit_price(tmp_path: Path) -> None:
    keys = set(re.findall(r"^(?:\[*)([a-z-]+)(?: =|\])", "".join(EXAMPLES), re.MULTILINE))
    assert {column.replace("_", "-") for column in profile.Columns.__dataclass_fields__} - keys == {"unit-price"}


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
        ('row = "order"', 'row = "orders"', 'expected "order" or "item" or "event" or .*, found "orders"'),
        ('thousands = ","', 'thousands = "."', r'thousands: is "\.", and so is decimal'),
        ('decimal = "."', 'decimal = "5"', '"5" cannot be a mark in a number'),
        ('format = "%Y-%m-%d"', 'format = "%Y-%m"', "expected year, month and day"),
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
