"""The links of payouts, and what would be paid twice."""

from __future__ import annotations

import pytest

from .books import LoadedBooks, load

MORE = """
2020-01-01 open Assets:Marketplace:Lantern:Transit USD
2020-01-01 open Assets:Marketplace:Tallowgate USD
"""


def links(books: LoadedBooks, narration: str) -> set[str]:
    return set(books.transaction(narration).links)


def test_the_number_in_metadata_becomes_a_link(books: LoadedBooks) -> None:
    """
    2026-02-01 * "on the transaction" ^order-1
      payout: "L-2602"
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
    2026-02-02 * "on the line" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
        payout: "L 2602"
    2026-02-03 * "already there" ^order-3 ^payout-lantern-L-2602
      payout: "L-2602"
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
    2026-02-04 * "a link as it is" ^order-4
      payout: "payout-lantern-L-2602"
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
    2026-02-05 * "none" ^order-5
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
    """
    named = ("on the transaction", "on the line", "already there", "a link as it is")
    for number, narration in enumerate(named, start=1):
        assert links(books, narration) == {f"order-{number}", "payout-lantern-L-2602"}
    assert links(books, "none") == {"order-5"}


def test_the_day_of_the_payout_becomes_its_link_when_there_was_one_that_day(books: LoadedBooks) -> None:
    """
    2026-02-01 * "paid out on the 5th" ^order-1
      paid-out: 2026-02-05
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
    2026-02-01 * "paid out on the 6th" ^order-2
      paid-out: 2026-02-06
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
    2026-02-01 * "paid out on the 7th" ^order-3
      paid-out: 2026-02-07
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
    2026-02-05 * "payout" ^payout-lantern-5
      Assets:Marketplace:Lantern  -12.00 USD
      Assets:Bank  12.00 USD
    2026-02-06 * "one of two" ^payout-lantern-6
      Assets:Marketplace:Lantern  -6.00 USD
      Assets:Bank  6.00 USD
    2026-02-06 * "the other" ^payout-lantern-7
      Assets:Marketplace:Lantern  -6.00 USD
      Assets:Bank  6.00 USD
    """
    assert links(books, "paid out on the 5th") == {"order-1", "payout-lantern-5"}
    assert links(books, "paid out on the 6th") == {"order-2"}
    assert links(books, "paid out on the 7th") == {"order-3"}


def test_the_day_of_a_payout_whose_number_stands_in_metadata(books: LoadedBooks) -> None:
    """
    2026-02-01 * "paid out on the 5th" ^order-1
      paid-out: 2026-02-05
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
    2026-02-05 * "payout"
      payout: "5"
      Assets:Marketplace:Lantern  -12.00 USD
      Assets:Bank  12.00 USD
    """
    assert links(books, "payout") == {"payout-lantern-5"}
    assert links(books, "paid out on the 5th") == {"order-1", "payout-lantern-5"}


def test_an_event_paid_twice() -> None:
    books = load(
        MORE
        + """
2026-02-01 * "sale" ^order-1 ^payout-1 ^payout-2
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Marketplace:Lantern  12.00 USD ; blamed
2026-02-05 * "payout" ^payout-1
  Assets:Marketplace:Lantern  -12.00 USD
  Assets:Bank  12.00 USD
2026-02-06 * "payout" ^payout-2
  Assets:Marketplace:Lantern  -12.00 USD
  Assets:Bank  12.00 USD
""",
    )
    assert books.error().startswith("This is paid twice, by ^payout-1 and ^payout-2")


def test_an_event_paid_again_because_the_payout_came_back() -> None:
    books = load(
        MORE
        + """
2026-02-01 * "sale" ^order-1 ^payout-1 ^payout-2
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Marketplace:Lantern  12.00 USD
2026-02-05 * "payout" ^payout-1
  Assets:Marketplace:Lantern  -12.00 USD
  Assets:Marketplace:Lantern:Transit  12.00 USD
2026-02-06 * "came back" ^payout-1
  Assets:Marketplace:Lantern:Transit  -12.00 USD
  Assets:Marketplace:Lantern  12.00 USD
2026-02-07 * "payout" ^payout-2
  Assets:Marketplace:Lantern  -12.00 USD
  Assets:Bank  12.00 USD
""",
    )
    assert books.messages == []


def test_a_payout_that_is_not_in_the_books_pays_nothing_twice(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1 ^payout-1 ^payout-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
    2026-02-05 * "payout" ^payout-1
      Assets:Marketplace:Lantern  -12.00 USD
      Assets:Bank  12.00 USD
    """


@pytest.mark.parametrize("where", ["Assets:Bank", "Assets:Marketplace:Lantern:Transit"])
def test_a_payout_that_leaves_twice(where: str) -> None:
    books = load(
        f"""{MORE}
2026-02-05 * "payout" ^payout-1
  Assets:Marketplace:Lantern  -12.00 USD
  {where}  12.00 USD
2026-02-06 * "payout" ^payout-1
  Assets:Marketplace:Lantern  -12.00 USD ; blamed
  {where}  12.00 USD
""",
    )
    assert "^payout-1 leaves Assets:Marketplace:Lantern a second time with the same amount, 12.00" in books.error()


def test_a_payout_and_its_deposit_are_no_two_payouts() -> None:
    books = load(
        MORE
        + """
2026-02-05 * "payout" ^payout-1
  Assets:Marketplace:Lantern  -12.00 USD
  Assets:Marketplace:Lantern:Transit  12.00 USD
2026-02-06 * "deposit" ^payout-1
  Assets:Marketplace:Lantern:Transit  -12.00 USD
  Assets:Bank  12.00 USD
""",
    )
    assert books.messages == []


def test_a_payout_from_another_channel_than_its_events() -> None:
    books = load(
        MORE
        + """
2026-02-01 * "sale" ^order-1 ^payout-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Marketplace:Lantern  12.00 USD
2026-02-05 * "payout" ^payout-1
  Assets:Marketplace:Tallowgate  -12.00 USD ; blamed
  Assets:Bank  12.00 USD
""",
    )
    message = books.error()
    assert "paid out of Assets:Marketplace:Tallowgate" in message
    assert "earned on Assets:Marketplace:Lantern" in message


def test_a_payout_whose_sales_are_not_imported_yet_is_no_error(books: LoadedBooks) -> None:
    """
    2026-02-05 * "payout" ^payout-1
      Assets:Marketplace:Lantern  -12.00 USD
      Assets:Bank  12.00 USD
    """
