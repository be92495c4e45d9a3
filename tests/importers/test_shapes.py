"""The same orders come back whatever the shape of the file."""

from __future__ import annotations

import csv
import io
import re
import shutil
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd
from beancount import loader
from beancount.core.data import Transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from .shop import Shop
from .test_corpus import CORPUS

if TYPE_CHECKING:
    from collections.abc import Iterable

CHANNEL = "Assets:Marketplace:Lantern"
NAMES = {"CEDARHOUR": "Cedar Hour", "QUIETREED": "Quiet Reed"}
NOUGHT = Decimal(0)
HEAD = 'channel = "Lantern"\ncurrency = "USD"\ndates.format = "%Y-%m-%d"\n'
IN_ROWS = """
[columns]
order = "Order"
ordered = "Date"
title = "Item"
quantity = "Pieces"
price = "Price"
postage = "Postage"
tax = "Tax"
net = "Net"

[[fees]]
column = "Commission"
kind = "commission"

[[fees]]
column = "Label"
kind = "label"
role = "postage"

[refund]
amount = "Refunded"
date = "Refunded on"
fee = "Fee back"
tax = "Tax back"
"""
IN_EVENTS = """
[columns]
date = "Date"
type = "Type"
detail = "What"
order = "Order"
title = "Item"
quantity = "Pieces"
amount = "Amount"

[[events]]
detail = ["Price"]
is = "price"
[[events]]
detail = ["Postage"]
is = "postage"
[[events]]
detail = ["Tax"]
is = "tax"
[[events]]
type = ["Sale", "Refund"]
detail = ["Tax of the state"]
is = "tax-remitted"
[[events]]
detail = ["Commission"]
is = "fee"
kind = "commission"
[[events]]
detail = ["Label"]
is = "label"
[[events]]
detail = ["Back"]
is = "refund"
[[events]]
detail = ["Tax back"]
is = "refund-tax"
[[events]]
detail = ["Fee back"]
is = "fee-refund"
"""
BESIDE = '[columns]\ndirection = "Side"'
SIDES = 'direction = { in = ["In"], out = ["Out"] }\n'
PROFILES = {
    "order": HEAD + "file.order-suffix = '-\\d+$'\n" + IN_ROWS,
    "item": HEAD + 'file.row = "item"\nfile.order-amounts = "first"\n' + IN_ROWS,
    "event": HEAD + 'file.row = "event"\n' + IN_EVENTS,
    "component": HEAD + 'file.row = "component"\n' + IN_EVENTS,
    "word beside": HEAD + 'file.row = "event"\n' + SIDES + IN_EVENTS.replace("[columns]", BESIDE),
    "word behind": HEAD + 'file.row = "component"\n' + SIDES + IN_EVENTS,
}


@dataclass
class Order:
    """An order as it happened: pieces of (fragrance, mL, pieces, price), and amounts of the whole."""

    number: int
    day: int
    items: list[tuple[str, str, int, Decimal]]
    postage: Decimal
    tax: Decimal
    commission: Decimal
    label: Decimal
    back: Decimal
    tax_back: Decimal
    fee_back: Decimal

    @property
    def date(self) -> str:
        return f"2026-03-{self.day:02}"

    @property
    def net(self) -> Decimal:
        price = sum((price for *_, price in self.items), NOUGHT)
        return price + self.postage - self.commission - self.label


CENTS = st.integers(0, 9_999).map(lambda cents: Decimal(cents).scaleb(-2))
ITEM = st.tuples(st.sampled_from(sorted(NAMES)), st.sampled_from(["0.5", "1", "2"]), st.integers(1, 3), CENTS)


@st.composite
def tables(draw: st.DrawFn) -> list[Order]:
    orders = []
    for number in range(1001, 1001 + draw(st.integers(1, 5))):
        back = draw(st.sampled_from([NOUGHT, NOUGHT, Decimal("3.50")]))
        items = draw(st.lists(ITEM, min_size=1, max_size=3))
        amounts = [draw(CENTS) for _ in range(4)]
        returned = [draw(CENTS) if back else NOUGHT for _ in range(2)]
        orders.append(Order(number, draw(st.integers(1, 20)), items, *amounts, back, *returned))
    return orders


def in_rows(orders: Iterable[Order], *, parts: bool) -> list[dict[str, object]]:
    """Write a row for each item, with the amounts of the order on the first."""
    rows: list[dict[str, object]] = []
    for order in orders:
        first = {
            "Postage": order.postage, "Tax": order.tax, "Commission": order.commission, "Label": order.label,
        }
        if order.back:
            first |= {
                "Refunded": order.back, "Refunded on": "2026-04-09", "Fee back": order.fee_back,
                "Tax back": order.tax_back,
            }
        for index, (code, ml, pieces, price) in enumerate(order.items):
            others = sum((other for *_, other in order.items[1:]), NOUGHT)
            own = {"Net": order.net - others if parts else order.net, **first}
            rest = {"Net": price if parts else ""}
            rows.append(
                {
                    "Order": f"{order.number}-{index + 1}" if parts else order.number,
                    "Date": order.date, "Item": f"{NAMES[code]} {ml} mL", "Pieces": pieces, "Price": price,
                    **(rest if index else own),
                },
            )
    return rows


def in_events(orders: Iterable[Order]) -> list[dict[str, object]]:
    """Write a row for each amount."""
    rows: list[dict[str, object]] = []

    def add(order: Order, date: str, kind: str, what: str, amount: Decimal, **more: object) -> None:
        rows.append({"Date": date, "Type": kind, "What": what, "Order": order.number, "Amount": amount, **more})

    for order in orders:
        for code, ml, pieces, price in order.items:
            add(order, order.date, "Sale", "Price", price, Item=f"{NAMES[code]} {ml} mL", Pieces=pieces)
        for what, amount in {
            "Postage": order.postage, "Tax": order.tax, "Tax of the state": -order.tax,
            "Commission": -order.commission, "Label": -order.label,
        }.items():
            if amount:
                add(order, order.date, "Sale", what, amount)
        if order.back:
            for what, amount in {
                "Back": -order.back, "Tax back": -order.tax_back, "Tax of the state": order.tax_back,
                "Fee back": order.fee_back,
            }.items():
                if amount:
                    add(order, "2026-04-09", "Refund", what, amount)
    return rows


def with_words(rows: Iterable[dict[str, object]], *, behind: bool) -> list[dict[str, object]]:
    """Write amounts without a sign, and the direction as a word beside or behind."""
    written = []
    for row in rows:
        amount = Decimal(str(row["Amount"]))
        side = "Out" if amount < 0 else "In"
        own = {"Amount": f"{abs(amount)} {side}"} if behind else {"Amount": abs(amount), "Side": side}
        written.append({**row, **own})
    return written


def told(orders: Iterable[Order]) -> dict[str, dict[str, Decimal]]:
    """Return what the orders come to, by order and by account or fragrance."""
    sums = {}
    for order in orders:
        amounts = {
            "Income:Sales": -sum((price for *_, price in order.items), NOUGHT),
            "Income:Postage": -order.postage,
            "Expenses:Selling:Fees": order.commission - order.fee_back,
            "Expenses:Selling:Postage": order.label,
            "Income:Refunds": order.back,
            CHANNEL: order.net - order.back + order.fee_back,
        }
        for code, ml, pieces, _ in order.items:
            amounts[code] = amounts.get(code, NOUGHT) + Decimal(ml) * pieces
        sums[f"order-lantern-{order.number}"] = {name: amount for name, amount in amounts.items() if amount}
    return sums


def booked(books: Path) -> tuple[dict[str, dict[str, Decimal]], Decimal]:
    """Return the same from the books, and the tax that went through them."""
    entries, errors, _ = loader.load_file(str(books))
    assert [error.message for error in errors] == []
    sums: defaultdict[str, defaultdict[str, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
    tax = NOUGHT
    for entry in entries:
        if not isinstance(entry, Transaction) or "event" not in entry.meta:
            continue
        (order,) = entry.links
        for posting in entry.postings:
            number, unit = posting.units
            if posting.account == "Liabilities:SalesTax":
                tax += abs(number)
            elif unit != "USD":
                sums[order][unit] -= number
            elif not posting.account.startswith("Expenses:CostOfGoods"):
                sums[order][posting.account] += number
    return {
        order: {name: amount for name, amount in amounts.items() if amount} for order, amounts in sums.items()
    }, tax


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(tables())
def test_the_same_orders_come_back_whatever_the_shape(orders: list[Order]) -> None:
    rows = {
        "order": in_rows(orders, parts=True),
        "item": in_rows(orders, parts=False),
        "event": in_events(orders),
        "component": in_events(orders),
        "word beside": with_words(in_events(orders), behind=False),
        "word behind": with_words(in_events(orders), behind=True),
    }
    tax = 2 * sum((order.tax + order.tax_back for order in orders), NOUGHT)
    for shape, profile in PROFILES.items():
        with tempfile.TemporaryDirectory() as folder:
            shop = Shop(Path(folder))
            shutil.copy(CORPUS / "books.beancount", shop.books)
            shop.profile.parent.mkdir()
            shop.profile.write_text(profile, encoding="utf-8")
            headings = [*dict.fromkeys(re.findall(r'(?:column|[a-z-]+) = "([A-Z][\w ]*)"', profile))]
            text = io.StringIO(newline="")
            writer = csv.DictWriter(text, [name for name in headings if name != "Lantern"], restval="")
            writer.writeheader()
            writer.writerows({key: row[key] for key in row} for row in rows[shape])
            path = shop.folder / "file.csv"
            path.write_text(text.getvalue(), encoding="utf-8", newline="")
            outcome = shop.outcome(path)
            assert outcome["new"] == outcome["rows"] == len(rows[shape]), outcome
            assert booked(shop.books) == (told(orders), tax)
            content = shop.books.read_bytes()
            assert shop.outcome(path)["known"] == outcome["rows"]
            assert shop.books.read_bytes() == content


def test_the_sums_of_a_file_by_another_reader(tmp_path: Path) -> None:
    name = "c11_fees_beside_the_amount"
    shop = Shop(tmp_path)
    shutil.copy(CORPUS / "books.beancount", shop.books)
    path = shutil.copy(CORPUS / f"{name}.csv", tmp_path)
    shop.outcome(path, "--profile", CORPUS / f"{name}.toml")

    frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    for column in ("Item price", "Delivery", "Tax", "Amount", "Fee", "Net", "Pieces"):
        frame[column] = frame[column].map(lambda text: Decimal(text or 0))
    frame["ml"] = frame["Item"].str.extract(r"(\d+) mL", expand=False).map(Decimal, "ignore")
    sales = frame[frame["Type"] == "Sale"]
    drawn = (sales["ml"] * sales["Pieces"]).groupby(sales["Item"].str[:10]).sum()
    expected = {
        "Income:Sales": -sales["Item price"].sum(),
        "Income:Postage": -sales["Delivery"].sum(),
        "Income:Refunds": -frame.loc[frame["Type"] == "Refund", "Amount"].sum(),
        "Expenses:Selling:Fees": -frame["Fee"].sum(),
        CHANNEL: frame["Net"].sum(),
        "Liabilities:SalesTax": sales["Tax"].sum() - sales["Tax"].sum(),
        "CEDARHOUR": 100 - drawn["Cedar Hour"],
        "QUIETREED": 50 - drawn["Quiet Reed"],
    }

    entries, errors, _ = loader.load_file(str(shop.books))
    assert errors == []
    held: defaultdict[str, Decimal] = defaultdict(Decimal)
    for entry in entries:
        for posting in entry.postings if isinstance(entry, Transaction) else ():
            number, unit = posting.units
            held[posting.account if unit == "USD" else unit] += number
    assert {name: held[name] for name in expected} == expected
