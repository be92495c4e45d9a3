"""What holds for all books: nothing appears or vanishes, and the way of writing changes nothing."""

from __future__ import annotations

import io
from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.data import Transaction
from beancount.parser import printer
from fava.core import FavaLedger
from hypothesis import given, settings

from .books import PLUGIN, LoadedBooks, dated, load
from .events import DRAW_ACCOUNTS, OPTIONS, Events, accounts, events

if TYPE_CHECKING:
    from pathlib import Path

EXACT = Decimal("1E-18")

SAMPLE = """
2026-01-05 * "bottles" ^purchase-1
  Assets:Stock:Cedarhour  30 CEDARHOUR {{100.00 USD, "CH-1"}}
    keep: 5
  Assets:Stock:Cedarhour  7 CEDARHOUR {{11.11 USD}}
  Assets:Bank  -111.11 USD
2026-02-01 custom "pour-loss" 0.1
2026-02-01 * "Lantern" "two lines and a sample" ^order-1
  Income:Sales  -29 CEDARHOUR @@ 91.00 USD
    vials: 3
  Income:Sales  -3 CEDARHOUR @@ 10.00 USD
  Expenses:Samples  1 CEDARHOUR
  Assets:Bank
2026-02-03 * "kept"
  Equity:PersonalUse  2 CEDARHOUR
2026-02-05 * "Lantern" "back" ^order-1
  Income:Sales  3 CEDARHOUR @@ 10.00 USD
  Assets:Bank  -10.00 USD
"""


def load_events(entries: list[str]) -> LoadedBooks:
    books = load("".join([OPTIONS, *entries]), accounts("NONE"))
    assert books.messages == []
    return books


@given(events(returns=True))
@settings(max_examples=100, deadline=None)
def test_millilitres_and_cost_are_conserved_in_every_bottle(happened: Events) -> None:
    books = load_events(happened.in_draws())
    out: dict[str, Decimal] = defaultdict(Decimal)
    cost_out: dict[str, Decimal] = defaultdict(Decimal)
    for entry in books.transactions:
        for stock, partner in zip(entry.postings, entry.postings[1:], strict=False):
            if stock.cost is not None and partner.account in DRAW_ACCOUNTS.values():
                assert partner.units.currency == "USD"
                out[stock.cost.label] -= stock.units.number
                cost_out[stock.cost.label] += partner.units.number
    left = books.left()
    values = {position.cost.label: position.units.number * position.cost.number for position in books.stock()}
    for bottle in happened.bottles:
        assert bottle.size == out[bottle.label] + left.get(bottle.label, 0)
        rest = bottle.total - cost_out[bottle.label] - values.get(bottle.label, 0)
        assert abs(rest) < EXACT
    assert out.keys() | left.keys() <= {bottle.label for bottle in happened.bottles}


@given(events(returns=True))
@settings(max_examples=50, deadline=None)
def test_what_is_poured_is_what_was_written(happened: Events) -> None:
    books = load_events(happened.in_draws())
    poured = sum(
        (
            posting.meta["poured"].number
            for entry in books.transactions
            for posting in entry.postings
            if "poured" in posting.meta
        ),
        Decimal(0),
    )
    written = sum(
        (line.quantity for draw in happened.draws if draw.returned is None for line in draw.lines), Decimal(0)
    )
    assert poured == written


@given(events(returns=True))
@settings(max_examples=50, deadline=None)
def test_the_money_is_what_was_written(happened: Events) -> None:
    books = load_events(happened.in_draws())
    sold = {account: Decimal(0) for account in ("Income:Sales", "Income:Swaps")}
    back = Decimal(0)
    for draw in happened.draws:
        if draw.account in sold:
            sold[draw.account] -= 10 * len(draw.lines)
            back += 10 * len(draw.lines) if draw.returned else 0
    assert books.balance("Income:Sales") == sold["Income:Sales"]
    assert books.balance("Income:Refunds") + books.balance("Income:Swaps") == back + sold["Income:Swaps"]
    bought = sum(bottle.total for bottle in happened.bottles)
    assert books.balance("Assets:Bank") == -bought - sum(sold.values()) - back


@given(events(returns=True))
@settings(max_examples=100, deadline=None)
def test_the_order_of_the_file_changes_no_figure(happened: Events) -> None:
    entries = happened.in_draws()
    forwards, backwards = load_events(entries), load_events(entries[::-1])
    assert forwards.left() == backwards.left()
    assert dated(forwards.entries) == dated(backwards.entries)


def printed(books: LoadedBooks) -> str:
    """Return the books as Beancount prints them."""
    output = io.StringIO()
    printer.print_entries(books.entries, file=output)
    return f"{PLUGIN}\n{OPTIONS}\n{output.getvalue()}"


@given(events(returns=True))
@settings(max_examples=100, deadline=None)
def test_printed_books_load_as_the_same_books(happened: Events) -> None:
    books = load_events(happened.in_draws())
    again = LoadedBooks(printed(books))
    assert again.messages == []
    assert dated(again.entries) == dated(books.entries)


def test_printed_sample_loads_as_the_same_books() -> None:
    books = load_events([SAMPLE])
    once = LoadedBooks(printed(books))
    twice = LoadedBooks(printed(once))
    assert once.messages == twice.messages == []
    assert dated(once.entries) == dated(books.entries)
    assert dated(twice.entries) == dated(books.entries)


def test_fava_loads_the_same_books(tmp_path: Path) -> None:
    file = tmp_path / "main.beancount"
    file.write_text(f"{PLUGIN}\n{OPTIONS}{accounts('NONE')}\n{SAMPLE}")
    ledger = FavaLedger(str(file))
    assert ledger.errors == []
    assert dated(ledger.all_entries) == dated(load_events([SAMPLE]).entries)


def test_the_plugin_changes_no_entry_it_was_given() -> None:
    """Entries are shared with other plugins and caches, so a new one takes the place of a changed one."""
    from beancount import loader

    from millilot import plugins

    unbooked, _, options = loader.load_string(f"{OPTIONS}{accounts('NONE')}\n{SAMPLE}")
    before = [repr(entry) for entry in unbooked]
    function = getattr(plugins, plugins.__plugins__[0])
    booked, errors = function(list(unbooked), options)
    assert errors == []
    assert [repr(entry) for entry in unbooked] == before
    assert sum(isinstance(entry, Transaction) for entry in booked) == 4
