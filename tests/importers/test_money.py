"""No money is lost between a file and the books, whatever the rows hold."""

from __future__ import annotations

import tempfile
from decimal import Decimal
from pathlib import Path

from beancount import loader
from beancount.core.data import Transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from .shop import lay_down

CENTS = st.integers(0, 99_999).map(lambda cents: Decimal(cents).scaleb(-2))
NUMBER = st.integers(1, 12).map(str)
TITLES = st.sampled_from(["Mystery 5 mL", "Cedar Hour 0.1 mL", "Cedar Hour 3 x 0.1 mL"])
STATUSES = st.sampled_from(["Shipped", "Shipped", "Cancelled"])


@st.composite
def rows(draw: st.DrawFn) -> dict[str, str]:
    """An order whose columns agree."""
    price, postage, fee, label, refund, fee_back = (draw(CENTS) for _ in range(6))
    refund = draw(st.sampled_from([Decimal(0), refund]))
    return {
        "Order": draw(NUMBER),
        "Item": draw(TITLES),
        "Quantity": draw(st.sampled_from(["", "1", "3"])),
        "Item total": str(price),
        "Postage charged": str(postage),
        "Sales tax": str(draw(CENTS)),
        "Selling fee": str(fee),
        "Label": str(label),
        "Net": str(price + postage - fee - label),
        "Status": draw(STATUSES),
        "Refunded": str(refund) if refund else "",
        "Refunded on": "2026-05-01",
        "Fee refunded": str(fee_back) if refund else "",
    }


def moved(row: dict[str, str]) -> Decimal:
    """Return what a row says it left with the channel."""
    return Decimal(row["Net"]) - Decimal(row["Refunded"] or 0) + Decimal(row["Fee refunded"] or 0)


def held(books: Path) -> Decimal:
    entries, errors, _ = loader.load_file(str(books))
    assert errors == []
    return sum(
        (
            posting.units.number
            for entry in entries
            if isinstance(entry, Transaction)
            for posting in entry.postings
            if posting.account == "Assets:Marketplace:Lantern"
        ),
        Decimal(0),
    )


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(first=st.lists(rows(), max_size=8), second=st.lists(rows(), max_size=8))
def test_the_money_of_the_rows_is_booked_known_skipped_or_refused(
    first: list[dict[str, str]], second: list[dict[str, str]],
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        shop = lay_down(Path(folder))
        for orders in (first, second, second):
            before = held(shop.books)
            outcome = shop.outcome(shop.file(*orders))
            counts = {name: outcome[name] for name in ("new", "known", "skipped", "unsorted", "refused")}
            assert sum(counts.values()) == outcome["rows"] == len(outcome["fates"]) == len(orders)
            money = {name: Decimal(amount) for name, amount in outcome["money"].get("USD", {"rows": "0"}).items()}
            assert money["rows"] == sum(map(moved, orders), Decimal(0))
            change = held(shop.books) - before
            assert money.get("booked", 0) == change
            rest = sum((money.get(name, Decimal(0)) for name in ("known", "skipped", "refused")), Decimal(0))
            assert change + rest == money["rows"]
        assert outcome["new"] == outcome["unsorted"] == 0
