"""Payouts out of files: what the import books is what the report of payouts reads."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest
from beancount import loader

from millilot.ledger.reading import read_books
from millilot.reports.payouts import settle

from .shop import Shop
from .test_corpus import CORPUS

if TYPE_CHECKING:
    from pathlib import Path

    from millilot.reports.payouts import Settled

#: A ledger of events whose numbers are the only ones there are.
LEDGER = """
channel = "Lantern"
currency = "USD"
file.row = "event"
dates.format = "%Y-%m-%d"
status.cancelled = ["Off"]

[columns]
date = "Date"
type = "Type"
event = "Number"
parent = "Of"
order = "Order"
title = "Item"
amount = "Amount"
status = "Status"

[[events]]
type = ["Sale"]
is = "price"

[[events]]
type = ["Refund"]
is = "refund"

[[events]]
type = ["Payout"]
is = "payout"

[[events]]
type = ["Payout failed"]
is = "payout-returned"
"""


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """Books with every account the corpus uses, and a channel whose file is a ledger."""
    shop = Shop(tmp_path)
    shutil.copy(CORPUS / "books.beancount", shop.books)
    shop.profile.parent.mkdir()
    shop.profile.write_text(LEDGER, encoding="utf-8")
    return shop


def settled(shop: Shop, *rows: str) -> list[Settled]:
    """Import a ledger, and return the payouts of its channel."""
    path = shop.folder / "ledger.csv"
    path.write_text("\n".join(["Date,Type,Number,Order,Item,Amount,Status,Of", *rows, ""]), encoding="utf-8")
    outcome = shop.outcome(path)
    assert (outcome["new"], outcome["refused"]) == (len(rows), 0)
    entries, errors, options = loader.load_file(str(shop.books))
    assert errors == []
    [settlement] = settle(read_books(entries, options))
    return list(settlement.payouts)


def test_a_payout_that_came_back_under_a_number_of_its_own(shop: Shop) -> None:
    failed, again = settled(
        shop,
        "2026-03-01,Sale,e1,1001,Cedar Hour 5 mL,30.00,,",
        "2026-03-06,Payout,e2,,,-30.00,,",
        "2026-03-10,Payout failed,e3,,,30.00,,",
        "2026-03-13,Payout,e4,,,-30.00,,",
    )
    assert (failed.payout.payout, failed.payout.state) == ("payout-lantern-e2", "explained")
    assert failed.notes == ("came back on 2026-03-10; what it paid waits for another payout",)
    assert (again.payout.payout, again.payout.orders) == ("payout-lantern-e4", ("order-lantern-1001",))
    assert again.unexplained == 0


@pytest.mark.parametrize("named", ["1002,,-30.00,,", ",,-30.00,,e2"])
def test_a_sale_called_off_whose_refund_is_in_the_file_was_paid(shop: Shop, named: str) -> None:
    [one] = settled(
        shop,
        "2026-03-01,Sale,e1,1001,Cedar Hour 5 mL,50.00,,",
        "2026-03-02,Sale,e2,1002,Quiet Reed 2 mL,30.00,Off,",
        f"2026-03-03,Refund,e3,{named}",
        "2026-03-06,Payout,e4,,,-50.00,,",
    )
    assert one.unexplained == 0
    assert [str(event.amount) for event in one.events] == ["50.00", "30.00", "-30.00"]
    text = shop.books.read_text(encoding="utf-8")
    assert text.count("#cancelled ^order-lantern-1002") == 1
    assert "Income:Sales                -30.00 USD" in text


def test_a_sale_called_off_before_it_was_paid_is_not_booked(shop: Shop) -> None:
    path = shop.folder / "ledger.csv"
    path.write_text(
        "Date,Type,Number,Order,Item,Amount,Status,Of\n2026-03-02,Sale,e2,1002,Quiet Reed 2 mL,30.00,Off,\n"
        "2026-03-03,Refund,e3,1002,,-30.00,Off,\n",
        encoding="utf-8",
    )
    assert shop.outcome(path)["skipped"] == 2
