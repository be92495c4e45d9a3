"""Claims: what is promised of a bottle before it is poured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from beancount.core.data import Custom

from millilot.ledger.claims import SplitBottle, read_promises
from millilot.ledger.reading import read_books
from millilot.plugins import problems

from .books import SHELF, LoadedBooks, dated, load, states
from .test_laws import printed

if TYPE_CHECKING:
    from decimal import Decimal

    from millilot.ledger.claims import Promise

REST = f"{SHELF}\n2020-01-01 open Liabilities:Claims USD\n"


@pytest.fixture
def faulty(request: pytest.FixtureRequest) -> LoadedBooks:
    """The test's own docstring as books, with an account for money taken before the pour."""
    return load(request.function.__doc__, REST)


@pytest.fixture
def books(faulty: LoadedBooks) -> LoadedBooks:
    assert faulty.messages == []
    return faulty


def promised(books: LoadedBooks) -> dict[SplitBottle, Promise]:
    """Return what is promised in the end."""
    return read_promises(read_books(books.entries, books.options)).of


def figures(books: LoadedBooks, split: str = "split-1", bottle: str = "CH-1") -> tuple[Decimal, Decimal, Decimal]:
    """Return the mL claimed, their price and the mL poured."""
    promise = promised(books)[SplitBottle(split, bottle)]
    return promise.claimed, promise.price, promise.poured


def refused(faulty: LoadedBooks, *facts: str) -> str:
    """Return the message of the one claim that is refused, having seen that it changes no figure."""
    message = faulty.error()
    [error] = faulty.errors
    assert type(error) is problems.ClaimError
    assert states(message, *facts), message
    without = LoadedBooks(faulty.text.replace(_blamed_block(faulty.text), ""))
    assert without.messages == []
    assert dated(faulty.entries) == dated(without.entries)
    assert promised(faulty) == promised(without)
    return message


def _blamed_block(text: str) -> str:
    """Return the directive with the blamed line, with its metadata."""
    lines = text.splitlines()
    [first] = [number for number, line in enumerate(lines) if "; blamed" in line]
    last = first + 1
    while lines[last].startswith("  "):
        last += 1
    return "\n".join(lines[first:last])


# How a claim is met.


def test_a_claim_paid_and_poured(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-02 * "paid" ^split-1 ^order-1 #split
      Assets:Bank          45.00 USD
      Liabilities:Claims  -45.00 USD
    2026-02-20 * "poured" ^split-1 ^order-1
      Income:Sales        -30 CEDARHOUR @@ 45.00 USD
        bottle: "CH-1"
      Liabilities:Claims   45.00 USD
    """
    assert figures(books) == (30, 45, 30)
    assert books.balance("Liabilities:Claims") == 0
    assert books.left() == {"CH-1": 70}


@pytest.mark.parametrize("split", ['"split-1"', '"^split-1"', "#split-1"])
def test_a_split_is_named_by_its_link(split: str) -> None:
    books = load(f'2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD\n  split: {split}\n', REST)
    assert books.messages == []
    assert figures(books) == (30, 45, 0)


def test_a_claim_outside_any_split_is_met_by_a_sale_paid_from_claims(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
    2026-02-02 * "paid" ^order-1
      Assets:Bank          45.00 USD
      Liabilities:Claims  -45.00 USD
    2026-02-19 * "another sale" ^order-2
      Income:Sales        -10 CEDARHOUR @@ 15.00 USD
      Assets:Bank          15.00 USD
    2026-02-20 * "poured" ^order-1
      Income:Sales        -30 CEDARHOUR @@ 45.00 USD
        bottle: "CH-1"
      Liabilities:Claims   45.00 USD
    """
    assert figures(books, "") == (30, 45, 30)


def test_a_sale_that_is_not_paid_from_claims_meets_none(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-20 * "the host's leftover" ^split-1 ^order-1
      Income:Sales        -30 CEDARHOUR @@ 45.00 USD
      Assets:Bank          45.00 USD
    """
    assert figures(books) == (30, 45, 0)


def test_a_sale_from_another_bottle_meets_none(books: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD
    2026-02-01 custom "claim" "CH-2" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-20 * "from the oldest" ^split-1 ^order-1
      Income:Sales        -30 CEDARHOUR @@ 45.00 USD
      Liabilities:Claims   45.00 USD
    """
    assert figures(books, bottle="CH-2") == (30, 45, 0)


def test_a_sale_before_the_claim_does_not_meet_it(books: LoadedBooks) -> None:
    """
    2026-02-01 * "poured" ^split-1 ^order-1
      Income:Sales        -30 CEDARHOUR @@ 45.00 USD
      Liabilities:Claims   45.00 USD
    2026-02-02 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    """
    assert figures(books) == (30, 45, 0)


def test_a_sale_of_the_same_day_meets_the_claim(books: LoadedBooks) -> None:
    """
    2026-02-01 * "poured" ^split-1 ^order-1
      Income:Sales        -30 CEDARHOUR @@ 45.00 USD
      Liabilities:Claims   45.00 USD
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    """
    assert figures(books) == (30, 45, 30)


def test_no_more_is_met_than_is_claimed(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-02 * "more than was claimed" ^split-1 ^order-1
      Income:Sales        -40 CEDARHOUR @@ 60.00 USD
      Liabilities:Claims   60.00 USD
    2026-02-03 custom "claim" "CH-1" 20 CEDARHOUR 30.00 USD
      split: "split-1"
    """
    assert figures(books) == (50, 75, 30)


def test_what_comes_back_to_the_claims_account_is_claimed_again(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-02 * "poured" ^split-1 ^order-1
      Income:Sales        -30 CEDARHOUR @@ 45.00 USD
      Liabilities:Claims   45.00 USD
    2026-02-03 * "the wrong vial" ^split-1 ^order-1
      Income:Refunds       30 CEDARHOUR @@ 45.00 USD
      Liabilities:Claims  -45.00 USD
    """
    assert figures(books) == (30, 45, 0)


def test_no_more_is_claimed_again_than_was_met(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-02 * "more than was claimed" ^split-1 ^order-1
      Income:Sales        -40 CEDARHOUR @@ 60.00 USD
      Liabilities:Claims   60.00 USD
    2026-02-03 * "all of it came back" ^split-1 ^order-1
      Income:Refunds       40 CEDARHOUR @@ 60.00 USD
      Liabilities:Claims  -60.00 USD
    """
    assert figures(books) == (30, 45, 0)


def test_goods_that_are_refunded_leave_the_claim_met(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-02 * "poured" ^split-1 ^order-1
      Income:Sales        -30 CEDARHOUR @@ 45.00 USD
      Liabilities:Claims   45.00 USD
    2026-02-03 * "sent back" ^split-1 ^order-1
      Income:Refunds       30 CEDARHOUR @@ 45.00 USD
      Assets:Bank         -45.00 USD
    """
    assert figures(books) == (30, 45, 30)


def test_a_share_given_away_needs_no_money(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 5 CEDARHOUR 0.00 USD
      split: "split-1"
    2026-02-20 * "poured" ^split-1 ^order-1
      Income:Sales        -5 CEDARHOUR @@ 0.00 USD
    """
    assert figures(books) == (5, 0, 5)


def test_something_given_away_without_the_link_of_a_split_meets_no_claim(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 5 CEDARHOUR 7.00 USD
    2026-02-20 * "given away" ^order-1
      Income:Sales        -5 CEDARHOUR @@ 0.00 USD
    """
    assert figures(books, "") == (5, 7, 0)


def test_a_deposit_and_the_rest_on_delivery(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-20 * "poured" ^split-1 ^order-1
      Income:Sales        -30 CEDARHOUR @@ 45.00 USD
      Liabilities:Claims   20.00 USD
      Assets:Bank          25.00 USD
    """
    assert figures(books) == (30, 45, 30)


def test_a_pour_written_with_its_cost_meets_the_claim(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-20 * "poured" ^split-1 ^order-1
      Income:Sales        -45.00 USD
      Liabilities:Claims   45.00 USD
      Assets:Stock:CedarHour  -30 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"}
      Expenses:CostOfGoods:Fragrance  38.88 USD
    """
    assert figures(books) == (30, 45, 30)


def test_printed_books_promise_the_same(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-02 custom "claim" "CH-1" -10 CEDARHOUR -15.00 USD
      split: "split-1"
    2026-02-20 * "poured" ^split-1 ^order-1
      Income:Sales        -20 CEDARHOUR @@ 30.00 USD
      Liabilities:Claims   30.00 USD
    """
    again = LoadedBooks(printed(books))
    assert again.messages == []
    assert figures(again) == figures(books) == (20, 30, 20)


# What a bottle can give.


def test_a_bottle_can_be_claimed_to_its_last_drop(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 60 CEDARHOUR 90.00 USD
      split: "split-1"
    2026-02-01 custom "claim" "CH-1" 40 CEDARHOUR 60.00 USD
      split: "split-1"
    """
    assert figures(books) == (100, 150, 0)


def test_more_than_is_left_unclaimed(faulty: LoadedBooks) -> None:
    """
    2026-01-31 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank    12.00 USD
    2026-02-01 custom "claim" "CH-1" 60 CEDARHOUR 90.00 USD
      split: "split-1"
    2026-02-02 custom "claim" "CH-1" 36 CEDARHOUR 54.00 USD  ; blamed
      split: "split-2"
    """
    message = refused(faulty, "36", "95", "60", "35", "2026-02-02")
    assert "it has left" in message


def test_what_was_poured_is_claimed_no_longer(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 60 CEDARHOUR 90.00 USD
      split: "split-1"
    2026-02-20 * "poured" ^split-1 ^order-1
      Income:Sales        -60 CEDARHOUR @@ 90.00 USD
      Liabilities:Claims   90.00 USD
    2026-02-21 custom "claim" "CH-1" 40 CEDARHOUR 60.00 USD
      split: "split-1"
    """
    assert figures(books) == (100, 150, 60)


def test_a_refused_claim_takes_no_room(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 60 CEDARHOUR 90.00 USD
      split: "split-1"
    2026-02-02 custom "claim" "CH-1" 41 CEDARHOUR 61.50 USD  ; blamed
      split: "split-1"
    2026-02-03 custom "claim" "CH-1" 40 CEDARHOUR 60.00 USD
      split: "split-1"
    """
    refused(faulty, "41", "100", "60", "40")
    assert figures(faulty) == (100, 150, 0)


def test_a_bottle_that_is_still_to_come(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-7" 50 CEDARHOUR 75.00 USD
      split: "split-1"
    2026-02-02 custom "claim" "CH-7" 1 CEDARHOUR 1.50 USD  ; blamed
      split: "split-1"
    2026-03-01 * "bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{60.00 USD, "CH-7"}}
      Assets:Bank            -60.00 USD
    """
    message = refused(faulty, "1", "50", "0")
    assert "it will come in with" in message


def test_a_bottle_that_comes_on_the_day(books: LoadedBooks) -> None:
    """
    2026-03-01 custom "claim" "CH-7" 50 CEDARHOUR 75.00 USD
      split: "split-1"
    2026-03-01 * "bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{60.00 USD, "CH-7"}}
      Assets:Bank            -60.00 USD
    """
    assert figures(books, bottle="CH-7") == (50, 75, 0)


def test_a_bottle_that_is_not_bought_yet_has_a_size(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-7" 30 CEDARHOUR 45.00 USD
      split: "split-1"
      size: 50
    2026-02-02 custom "claim" "CH-7" 21 CEDARHOUR 31.50 USD  ; blamed
      split: "split-1"
    """
    refused(faulty, "21", "50", "30", "20")


def test_a_bottle_in_the_books_holds_what_they_say(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 101 CEDARHOUR 150.00 USD  ; blamed
      split: "split-1"
      size: 200
    """
    refused(faulty, "101", "100")


def test_a_bottle_that_comes_in_with_less_than_was_said(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-7" 51 CEDARHOUR 75.00 USD  ; blamed
      size: 100
    2026-03-01 * "bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{60.00 USD, "CH-7"}}
      Assets:Bank            -60.00 USD
    """
    refused(faulty, "51", "50")


def test_an_unknown_bottle(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-9" 30 CEDARHOUR 45.00 USD  ; blamed
      split: "split-1"
    """
    assert "size: 100" in refused(faulty, "CH-9")


def test_a_bottle_whose_purchase_was_refused_is_not_unknown() -> None:
    books = load(
        """
        2026-01-06 * "bottle"
          Assets:Stock:CedarHour  50 CEDARHOUR {{60.00 EUR, "CH-7"}}
          Equity:Contributed     -60.00 EUR
        2026-02-01 custom "claim" "CH-7" 30 CEDARHOUR 45.00 USD
        """,
        REST.replace("Equity:Contributed USD", "Equity:Contributed"),
    )
    [error] = books.errors
    assert type(error) is problems.LotError


def test_a_bottle_of_another_fragrance(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 QUIETREED 45.00 USD  ; blamed
      split: "split-1"
    """
    refused(faulty, "CH-1", "CEDARHOUR", "QUIETREED")


def test_a_bottle_to_come_that_is_claimed_as_another_fragrance(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-7" 30 CEDARHOUR 45.00 USD
      size: 50
    2026-02-02 custom "claim" "CH-7" 5 QUIETREED 9.00 USD  ; blamed
    """
    refused(faulty, "CH-7", "CEDARHOUR", "QUIETREED")


def test_another_currency(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 EUR  ; blamed
      split: "split-1"
    """
    message = refused(faulty, "USD", "EUR")
    assert '2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR ... USD' in message


# Drop-outs.


def test_a_drop_out_makes_room(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 100 CEDARHOUR 150.00 USD
      split: "split-1"
    2026-02-05 custom "claim" "CH-1" 20 CEDARHOUR 31.00 USD
      split: "split-1"
    2026-02-05 custom "claim" "CH-1" -20 CEDARHOUR -30.00 USD
      split: "split-1"
    """
    assert figures(books) == (100, 151, 0)


def test_a_drop_out_makes_room_for_another_split_on_the_same_day(books: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 100 CEDARHOUR 150.00 USD
      split: "split-2"
    2026-02-05 custom "claim" "CH-1" 20 CEDARHOUR 31.00 USD
      split: "split-1"
    2026-02-05 custom "claim" "CH-1" -20 CEDARHOUR -30.00 USD
      split: "split-2"
    """
    assert figures(books, "split-1") == (20, 31, 0)
    assert figures(books, "split-2") == (80, 120, 0)


def test_a_claim_of_today_can_be_taken_back_today(books: LoadedBooks) -> None:
    """
    2026-02-05 custom "claim" "CH-1" -20 CEDARHOUR -30.00 USD
      split: "split-1"
    2026-02-05 custom "claim" "CH-1" 20 CEDARHOUR 30.00 USD
      split: "split-1"
    """
    assert figures(books) == (0, 0, 0)


def test_taking_back_more_than_was_claimed(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-05 custom "claim" "CH-1" -31 CEDARHOUR -45.00 USD  ; blamed
      split: "split-1"
    """
    refused(faulty, "31", "30", "CH-1", "split-1")


def test_taking_back_what_was_poured(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-02 * "poured" ^split-1 ^order-1
      Income:Sales        -20 CEDARHOUR @@ 30.00 USD
      Liabilities:Claims   30.00 USD
    2026-02-05 custom "claim" "CH-1" -11 CEDARHOUR -15.00 USD  ; blamed
      split: "split-1"
    """
    refused(faulty, "11", "10")


def test_taking_back_what_another_split_claimed(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-05 custom "claim" "CH-1" -30 CEDARHOUR -45.00 USD  ; blamed
      split: "split-2"
    """
    refused(faulty, "30", "0", "split-2")


def test_taking_back_more_money_than_was_claimed(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
      split: "split-1"
    2026-02-05 custom "claim" "CH-1" -30 CEDARHOUR -45.01 USD  ; blamed
      split: "split-1"
    """
    refused(faulty, "45.01", "45.00")


# How a claim is written.


@pytest.mark.parametrize(
    ("line", "fact"),
    [
        ('custom "claim"', "names a bottle"),
        ('custom "claim" "CH-1" 30 CEDARHOUR', "names a bottle"),
        ('custom "claim" "CH-1" 30 45.00 USD', "names a bottle"),
        ('custom "claim" "CH-1" "30" 45.00 USD', "names a bottle"),
        ('custom "claim" 30 CEDARHOUR 45.00 USD', "names a bottle"),
        ('custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD "anna"', "names a bottle"),
        ('custom "claim" "CH-1" 0 CEDARHOUR 45.00 USD', "quantity above 0"),
        ('custom "claim" "CH-1" -30 CEDARHOUR 45.00 USD', "both with a minus"),
        ('custom "claim" "CH-1" 30 CEDARHOUR -45.00 USD', "both with a minus"),
    ],
)
def test_a_claim_that_cannot_be_read(line: str, fact: str) -> None:
    books = load(f"2026-02-01 {line}  ; blamed\n", REST)
    message = books.error()
    assert type(books.errors[0]) is problems.SettingError
    assert fact in message
    assert 'expected: 2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD' in message


@pytest.mark.parametrize(
    ("meta", "fact"),
    [
        ("split: 2026", "split: is the link"),
        ('split: "spring split"', "split: is the link"),
        ('size: "100"', "size: is the mL"),
        ("size: 0", "size: is the mL"),
    ],
)
def test_metadata_of_a_claim_that_cannot_be_read(meta: str, fact: str) -> None:
    books = load(f'2026-02-01 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD  ; blamed\n  {meta}\n', REST)
    assert fact in books.error()


def test_a_refused_claim_is_refused_again_when_it_is_printed(faulty: LoadedBooks) -> None:
    """
    2026-02-01 custom "claim" "CH-1" 130 CEDARHOUR 45.00 USD  ; blamed
    """
    [claim] = [entry for entry in faulty.entries if isinstance(entry, Custom)]
    assert claim.meta["millilot"] == "refused"
    again = LoadedBooks(printed(faulty))
    assert again.messages == faulty.messages
    cured = LoadedBooks(printed(faulty).replace("130 CEDARHOUR", "30 CEDARHOUR"))
    assert cured.messages == []
    assert figures(cured, "") == (30, 45, 0)


def test_the_order_of_writing_changes_nothing() -> None:
    claims = [
        f'2026-02-01 custom "claim" "CH-1" {size} CEDARHOUR {size}.00 USD\n  split: "split-{split}"\n'
        for size, split in (("60", 1), ("50", 1), ("50", 2), ("-10", 2))
    ]
    forwards, backwards = (load("".join(lines), REST) for lines in (claims, claims[::-1]))
    assert forwards.messages == backwards.messages
    assert len(forwards.messages) == 1
    assert promised(forwards) == promised(backwards)
