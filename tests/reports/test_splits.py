"""Splits: what is claimed and poured, and whose money is held."""

from __future__ import annotations

import csv
import datetime
import io
import json
from dataclasses import asdict
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from beancount.core.data import Transaction
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from millilot.ledger.money import weight
from millilot.ledger.reading import read_books
from millilot.reports.command import main
from millilot.reports.commands.splits import COLUMNS
from millilot.reports.splits import Split, rounded, splits
from millilot.reports.tables import WIDTH, display_width
from millilot.reports.year import year

from .books import HEAD, SHELF, load, read
from .test_check import remarked

if TYPE_CHECKING:
    from collections.abc import Callable

    from millilot.ledger.records import Books


def rows(books: Books) -> dict[tuple[str | None, str | None], Split]:
    """Return the rows by split and bottle."""
    return {(row.split, row.bottle): row for row in rounded(splits(books), books.currency)}


def held_by_books(books: Books, entries: list[Any]) -> Decimal:
    """Return minus what stands on the claims account."""
    return -sum(
        (
            weight(posting).number
            for entry in entries
            if isinstance(entry, Transaction)
            for posting in entry.postings
            if posting.account.startswith("Liabilities:Claims")
        ),
        Decimal(0),
    )


#: Four claims of one bottle: two poured, one dropped out, one paid and waiting; 20 mL are the host's.
SPLIT = (
    SHELF
    + """
2026-03-01 custom "claim" "CH-7" 30 CEDARHOUR 45.00 USD
  split: "split-1"
2026-03-01 custom "claim" "CH-7" 20 CEDARHOUR 30.00 USD
  split: "split-1"
2026-03-02 custom "claim" "CH-7" 25 CEDARHOUR 37.50 USD
  split: "split-1"
2026-03-02 custom "claim" "CH-7" 25 CEDARHOUR 37.50 USD
  split: "split-1"
2026-03-03 * "paid" ^split-1 ^order-anna-1 #split
  Assets:Bank          45.00 USD
  Liabilities:Claims  -45.00 USD
2026-03-03 * "paid" ^split-1 ^order-bert-1 #split
  Assets:Bank          30.00 USD
  Liabilities:Claims  -30.00 USD
2026-03-04 * "paid in part" ^split-1 ^order-cleo-1 #split
  Assets:Bank          20.00 USD
  Liabilities:Claims  -20.00 USD
2026-03-04 * "paid" ^split-1 ^order-dora-1 #split
  Assets:Bank          37.50 USD
  Liabilities:Claims  -37.50 USD
2026-03-09 custom "claim" "CH-7" -25 CEDARHOUR -37.50 USD
  split: "split-1"
2026-03-09 * "dropped out" ^split-1 ^order-dora-1 #split
  Liabilities:Claims   37.50 USD
  Assets:Bank         -37.50 USD
2026-03-10 * "the bottle" ^purchase-7
  Assets:Stock:CedarHour  100 CEDARHOUR {{120.00 USD, "CH-7"}}
  Assets:Bank
2026-03-20 * "poured" ^split-1 ^order-anna-1
  Income:Sales        -30 CEDARHOUR @@ 45.00 USD
    bottle: "CH-7"
  Income:Postage       -4.00 USD
  Liabilities:Claims   45.00 USD
  Assets:Bank           4.00 USD
2026-03-20 * "poured" ^split-1 ^order-bert-1
  Income:Sales        -20 CEDARHOUR @@ 30.00 USD
    bottle: "CH-7"
  Liabilities:Claims   30.00 USD
"""
)


def test_a_split_worked_out_by_hand() -> None:
    by_name = rows(read(SPLIT))
    assert list(by_name) == [("split-1", "CH-7"), (None, None)]
    row = asdict(by_name["split-1", "CH-7"])
    assert {name: str(value) for name, value in row.items()} == {
        "split": "split-1",
        "bottle": "CH-7",
        "fragrance": "Cedar Hour",
        "ml_bought": "100",
        "ml_claimed": "75",  # 30 + 20 + 25
        "fill": "0.7500",
        "ml_poured": "50",
        "ml_unclaimed": "25",  # 50 left, 25 of it claimed
        "money_held": "20.00",
        "money_due": "17.50",  # 112.50 less 95.00
        "state": "open",
    }
    assert by_name[None, None].money_held == 0


def before(day: str) -> Books:
    """Return the books of the split as they were on an evening."""
    entries, errors, options = load(SPLIT)
    assert errors == []
    return read_books(entries, options, datetime.date.fromisoformat(day))


def test_the_split_on_earlier_evenings() -> None:
    [first, _] = rows(before("2026-03-02")).values()
    assert (first.ml_claimed, first.money_held, first.money_due) == (100, 0, 150)
    # The books of that day know nothing of the bottle yet.
    assert (first.ml_bought, first.fill, first.ml_unclaimed) == (None, None, None)
    [second, _] = rows(before("2026-03-10")).values()
    assert (second.ml_claimed, second.money_held, second.ml_unclaimed) == (75, 95, 25)


def test_a_split_that_was_filled_and_poured() -> None:
    claim = '2026-02-01 custom "claim" "QR-1" {} QUIETREED {}.00 USD\n  split: "split-2"\n'
    pour = """
2026-02-05 * "poured" ^split-2 ^order-{}
  Income:Sales        -{} QUIETREED @@ {}.00 USD
  Liabilities:Claims   {}.00 USD
"""
    books = read(SHELF.replace('"QR-1"}}', '"QR-1"}}\n    keep: 10') + claim.format(30, 70) + claim.format(10, 25))
    [row, _] = rows(books).values()
    assert (row.fill, row.ml_unclaimed, row.state) == (Decimal("0.8"), 10, "filled")
    one = pour.format(1, 30, 70, 70)
    books = read(SHELF + claim.format(30, 70) + claim.format(10, 25) + one + pour.format(2, 10, 25, 25))
    [row, _] = rows(books).values()
    assert (row.ml_poured, row.ml_unclaimed, row.state) == (40, 10, "poured")


def test_a_split_that_is_not_filled_refunds_all() -> None:
    [row, rest] = rows(
        read(
            """
2026-02-01 custom "claim" "QR-9" 10 QUIETREED 25.00 USD
  split: "split-2"
  size: 50
2026-02-02 * "paid" ^split-2 ^order-1
  Assets:Bank          25.00 USD
  Liabilities:Claims  -25.00 USD
2026-02-20 custom "claim" "QR-9" -10 QUIETREED -25.00 USD
  split: "split-2"
2026-02-20 * "refunded" ^split-2 ^order-1
  Liabilities:Claims   25.00 USD
  Assets:Bank         -25.00 USD
""",
        ),
    ).values()
    assert (row.state, row.ml_bought, row.ml_claimed, row.fill) == ("dissolved", 50, 0, 0)
    assert (row.money_held, row.money_due, rest.money_held) == (0, 0, 0)


TWO_BOTTLES = (
    SHELF
    + """
2026-02-01 custom "claim" "CH-1" 10 CEDARHOUR 20.00 USD
  split: "split-1"
2026-02-01 custom "claim" "QR-1" 5 QUIETREED 15.00 USD
  split: "split-1"
2026-02-02 * "paid for both" ^split-1 ^order-1
  Assets:Bank          35.00 USD
  Liabilities:Claims  -20.00 USD
    bottle: "CH-1"
  Liabilities:Claims  -15.00 USD
    bottle: "QR-1"
2026-02-03 * "paid for one of them" ^split-1 ^order-2
  Assets:Bank           7.00 USD
  Liabilities:Claims   -7.00 USD
"""
)


def test_money_of_a_split_of_two_bottles_goes_where_it_says() -> None:
    by_name = rows(read(TWO_BOTTLES))
    assert {name: row.money_held for name, row in by_name.items()} == {
        ("split-1", "CH-1"): 20, ("split-1", "QR-1"): 15, ("split-1", None): 7, (None, None): 0,
    }
    assert [row.money_due for row in by_name.values()] == [0, 0, -7, None]


def test_a_pour_from_two_bottles_is_paid_by_the_prices_of_its_lines() -> None:
    by_name = rows(
        read(
            TWO_BOTTLES
            + """
2026-02-10 * "poured" ^split-1 ^order-1
  Income:Sales        -10 CEDARHOUR @@ 20.00 USD
  Income:Sales         -5 QUIETREED @@ 15.00 USD
  Liabilities:Claims   35.00 USD
""",
        ),
    )
    assert [row.money_held for row in by_name.values()] == [0, 0, 7, 0]
    assert [row.state for row in by_name.values()] == ["poured", "poured", None, None]


def test_money_that_tells_no_bottle_is_for_what_its_order_was_poured_from() -> None:
    by_name = rows(
        read(
            TWO_BOTTLES
            + """
2026-02-04 custom "claim" "QR-1" 2 QUIETREED 7.00 USD
  split: "split-1"
2026-02-10 * "poured" ^split-1 ^order-2
  Income:Sales         -2 QUIETREED @@ 7.00 USD
  Liabilities:Claims    7.00 USD
""",
        ),
    )
    assert list(by_name) == [("split-1", "CH-1"), ("split-1", "QR-1"), (None, None)]
    assert [row.money_held for row in by_name.values()] == [20, 15, 0]
    assert [row.money_due for row in by_name.values()] == [0, 0, None]


def test_claims_outside_any_split_and_money_that_names_none() -> None:
    by_name = rows(
        read(
            SHELF
            + """
2026-02-01 custom "claim" "CH-1" 10 CEDARHOUR 20.00 USD
2026-02-02 * "paid" ^order-1
  Assets:Bank          20.00 USD
  Liabilities:Claims  -20.00 USD
    bottle: "CH-1"
2026-02-03 * "paid for who knows what" ^order-2
  Assets:Bank           9.00 USD
  Liabilities:Claims   -9.00 USD
2026-02-03 * "paid for a split that nobody wrote down" ^split-5
  Assets:Bank           3.00 USD
  Liabilities:Claims   -3.00 USD
""",
        ),
    )
    assert {name: row.money_held for name, row in by_name.items()} == {
        ("split-5", None): 3, (None, "CH-1"): 20, (None, None): 9,
    }


def test_money_on_delivery_is_no_longer_due() -> None:
    [row, _] = rows(
        read(
            SHELF
            + """
2026-02-01 custom "claim" "CH-1" 10 CEDARHOUR 20.00 USD
  split: "split-1"
2026-02-05 * "poured and paid" ^split-1 ^order-1
  Income:Sales        -10 CEDARHOUR @@ 20.00 USD
  Liabilities:Claims   20.00 USD
  Liabilities:Claims  -20.00 USD
  Assets:Bank          20.00 USD
""",
        ),
    ).values()
    assert (row.ml_poured, row.money_held, row.money_due, row.state) == (10, 0, 0, "poured")


def test_a_pour_that_comes_back_to_the_claims_account_is_held_again() -> None:
    [row, _] = rows(
        read(
            SPLIT
            + """
2026-03-25 * "the wrong vial" ^split-1 ^order-bert-1
  Income:Refunds       20 CEDARHOUR @@ 30.00 USD
  Liabilities:Claims  -30.00 USD
""",
        ),
    ).values()
    assert (row.ml_poured, row.money_held, row.money_due) == (30, 50, Decimal("17.50"))


def test_a_claim_that_is_refused_counts_nowhere() -> None:
    refused = '2026-03-25 custom "claim" "CH-7" 26 CEDARHOUR 39.00 USD\n  split: "split-1"\n'
    entries, errors, options = load(SPLIT + refused)
    assert len(errors) == 1
    assert rows(read_books(entries, options)) == rows(read(SPLIT))


def test_the_year_holds_money_for_what_is_not_poured() -> None:
    books = read(SPLIT.replace("2026-03-20", "2027-01-20"))
    first, second = (
        year(books, datetime.date(number, 1, 1), datetime.date(number, 12, 31)).rounded("USD")
        for number in (2026, 2027)
    )
    assert (first.claims_held_open, first.claims_held_close) == (0, 95)
    assert (second.claims_held_open, second.claims_held_close) == (95, 20)
    assert (first.gross_receipts, first.receipts_if_counted_when_paid) == (0, 95)
    assert (second.gross_receipts, second.receipts_if_counted_when_paid) == (79, 4)
    assert first.closing_stock - second.closing_stock == 60  # 50 at 1.20


# What looks odd.


def test_a_sale_that_is_not_of_the_split_leaves_too_little() -> None:
    fine = """
2026-03-21 * "sale" ^order-9
  Income:Sales  -{} CEDARHOUR @@ 30.00 USD
    bottle: "CH-7"
  Assets:Bank    30.00 USD
"""
    assert remarked(SPLIT + fine.format(25)) == []
    [(line, message)] = remarked(SPLIT + fine.format(26))
    assert line == '2026-03-21 * "sale" ^order-9'
    assert message == (
        "On the evening of 2026-03-21, 24 mL are left in CH-7 and 25 mL of it are claimed: 1 mL too little."
    )


def test_what_is_lost_in_pouring_is_said_once() -> None:
    found = remarked(
        '2020-01-01 custom "pour-loss" 0.1\n'
        + SPLIT
        + """
2026-03-11 custom "claim" "CH-7" 25 CEDARHOUR 39.00 USD
  split: "split-1"
2026-03-22 * "poured" ^split-1 ^order-cleo-1
  Income:Sales        -10 CEDARHOUR @@ 15.00 USD
    bottle: "CH-7"
  Liabilities:Claims   15.00 USD
""",
    )
    assert [line for line, _ in found] == [
        '2026-03-20 * "poured" ^split-1 ^order-anna-1', '2026-03-20 * "poured" ^split-1 ^order-bert-1',
    ]
    assert {message.rpartition(": ")[2] for _, message in found} == {"0.2 mL too little."}


def test_a_pour_without_the_link_of_its_split() -> None:
    [(line, message)] = remarked(
        SPLIT
        + """
2026-03-21 * "link forgotten" ^order-cleo-1
  Income:Sales        -25 CEDARHOUR @@ 37.50 USD
    bottle: "CH-7"
  Liabilities:Claims   37.50 USD
""",
    )
    assert line == '2026-03-21 * "link forgotten" ^order-cleo-1'
    assert message.endswith("expected: ^split-1")


# The command.


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str, books: str = SPLIT) -> str:
    Path("main.beancount").write_text(HEAD + books, encoding="utf-8")
    result = CliRunner().invoke(main, ["splits", *arguments], catch_exceptions=False)
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


def test_the_table() -> None:
    lines = run().splitlines()
    assert max(map(display_width, lines)) <= WIDTH
    assert lines[2].split() == ["split-1", "CH-7", "75", "75.00", "%", "50", "25", "20.00", "17.50", "open"]
    assert lines[3].split() == ["(no", "split)", "0.00"]
    assert lines[-1].split() == ["Total", "75", "50", "20.00", "17.50"]


def test_a_long_table_fits_the_terminal() -> None:
    books = SPLIT.replace("split-1", "split-2026-03-cedar-hour-and-more").replace("CH-7", "Cedar Hour 7 of March")
    lines = run(books=books.replace("45.00", "14545.00").replace("120.00", "99120.00")).splitlines()
    assert max(map(display_width, lines)) <= WIDTH


def test_wide_shows_every_column() -> None:
    assert tuple(run("--wide").splitlines()[0].split()) == COLUMNS


def test_csv_and_json_say_the_same() -> None:
    objects = json.loads(run("--format", "json"))
    assert [tuple(row) for row in objects] == [COLUMNS, COLUMNS]
    listed = list(csv.DictReader(io.StringIO(run("--format", "csv"), newline="")))
    assert listed == [{name: value or "" for name, value in row.items()} for row in objects]
    assert (objects[0]["fill"], objects[1]["split"], objects[1]["money_due"]) == ("0.7500", None, None)


def test_books_without_splits() -> None:
    [row] = json.loads(run("--format", "json", books=SHELF))
    assert (row["split"], row["money_held"], row["ml_claimed"]) == (None, "0.00", None)


# What holds for all splits.

prices = st.integers(1, 9999).map(lambda number: Decimal(number) / 100)


@st.composite
def histories(draw: Callable[..., Any]) -> tuple[list[str], Decimal, Decimal, Decimal]:
    """Claims of one claimant each: paid or not, then dropped, poured in part or whole, or left open.

    Returns:
        The entries; the money paid in, the money refunded, and the sales paid from claims.
    """
    entries: list[str] = []
    paid_in = refunded = sold = Decimal(0)
    for number in range(draw(st.integers(1, 6))):
        size, price = draw(st.integers(1, 16)), draw(prices)
        split = draw(st.sampled_from(["split-1", "split-2", ""]))
        day = draw(st.integers(1, 20))
        meta = f'\n  split: "{split}"' if split else ""
        link = f"^{split} ^order-{number}" if split else f"^order-{number}"
        entries.append(f'2026-02-{day:02} custom "claim" "CH-1" {size} CEDARHOUR {price} USD{meta}\n')
        paid = draw(st.booleans())
        if paid:
            paid_in += price
            entries.append(
                f'2026-02-{day:02} * "paid {number}" {link}\n  Assets:Bank  {price} USD\n  Liabilities:Claims\n',
            )
        match draw(st.sampled_from(["open", "dropped", "poured", "in part"])):
            case "dropped":
                entries.append(f'2026-03-01 custom "claim" "CH-1" -{size} CEDARHOUR -{price} USD{meta}\n')
                if paid:
                    refunded += price
                    entries.append(
                        f'2026-03-01 * "back {number}" {link}\n  Assets:Bank -{price} USD\n  Liabilities:Claims\n',
                    )
            case "open":
                pass
            case how:
                part = Decimal(size) if how == "poured" else Decimal(size) / 2
                sold += price
                entries.append(
                    f'2026-03-{day:02} * "poured {number}" {link}\n'
                    f"  Income:Sales  -{part} CEDARHOUR @@ {price} USD\n  Liabilities:Claims  {price} USD\n",
                )
    return draw(st.permutations(entries)), paid_in, refunded, sold


@given(histories())
@settings(max_examples=60, deadline=None)
def test_money_paid_in_is_held_earned_or_refunded(history: tuple[list[str], Decimal, Decimal, Decimal]) -> None:
    written, paid_in, refunded, sold = history
    entries, errors, options = load("".join(written), HEAD + SHELF)
    assert [error.message for error in errors] == []
    books = read_books(entries, options)
    report = rounded(splits(books), "USD")
    held = sum(row.money_held for row in report)
    assert paid_in == held + sold + refunded
    assert held == held_by_books(books, entries)


@given(histories())
@settings(max_examples=60, deadline=None)
def test_what_is_claimed_is_poured_or_open(history: tuple[list[str], Decimal, Decimal, Decimal]) -> None:
    written = history[0]
    entries, errors, options = load("".join(written), HEAD + SHELF)
    assert [error.message for error in errors] == []
    books = read_books(entries, options)
    rows_of_bottle = [row for row in splits(books) if row.bottle]
    left = 100 - sum(
        (
            posting.meta["poured"].number
            for entry in entries
            if isinstance(entry, Transaction)
            for posting in entry.postings
            if posting.meta and "poured" in posting.meta
        ),
        Decimal(0),
    )
    for row in rows_of_bottle:
        assert row.ml_claimed is not None
        assert row.ml_poured is not None
        assert 0 <= row.ml_poured <= row.ml_claimed
    still_open = sum(row.ml_claimed - row.ml_poured for row in rows_of_bottle if row.ml_claimed is not None)
    assert {row.ml_unclaimed for row in rows_of_bottle} == {left - still_open}
    written_claims = sum(claim.quantity for claim in books.settings.claims)
    assert written_claims == sum(row.ml_claimed for row in rows_of_bottle)


@given(histories(), st.randoms(use_true_random=False))
@settings(max_examples=30, deadline=None)
def test_the_order_of_writing_changes_no_figure(
    history: tuple[list[str], Decimal, Decimal, Decimal], random: Any,
) -> None:
    shuffled = list(history[0])
    random.shuffle(shuffled)
    reports = [
        splits(read_books(entries, options))
        for entries, _, options in (load("".join(text), HEAD + SHELF) for text in (history[0], shuffled))
    ]
    assert reports[0] == reports[1]
