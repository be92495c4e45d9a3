"""Goods that come back, and money that goes back without them."""

from __future__ import annotations

from decimal import Decimal

from .books import LoadedBooks, load, states


def test_goods_return_to_the_lot_and_cost_they_left(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-09 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD
    """
    assert books.lines("back") == [
        "Income:Refunds 12.00 USD [-5 CEDARHOUR]",
        "Assets:Bank -12.00 USD",
        'Assets:Stock:CedarHour 5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [draw]',
        "Expenses:CostOfGoods:Fragrance -6.480 USD [draw]",
    ]
    assert books.left() == {"CH-1": 100}


def test_a_return_written_on_the_sales_account_is_booked_to_refunds(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-09 * "back" ^order-1
      Income:Sales  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD
    """
    assert books.balance("Income:Sales") == Decimal("-12.00")
    assert books.balance("Income:Refunds") == Decimal("12.00")
    assert books.left() == {"CH-1": 100}


def test_a_refund_without_goods_leaves_them_sold(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-09 * "refund" ^order-1
      Income:Refunds  12.00 USD
      Assets:Bank  -12.00 USD
    """
    assert books.lines("refund") == ["Income:Refunds 12.00 USD", "Assets:Bank -12.00 USD"]
    assert books.left() == {"CH-1": 95}
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("6.48")


def test_a_lost_parcel_poured_again_is_a_loss_and_one_sale(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-09 * "poured again" ^order-1
      Expenses:Loss  5 CEDARHOUR
    """
    assert books.balance("Income:Sales") == Decimal("-12.00")
    assert books.balance("Expenses:Loss") == Decimal("6.48")
    assert books.left() == {"CH-1": 90}


def test_a_part_of_an_order_comes_back(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -10 CEDARHOUR @@ 22.00 USD
        vials: 2
      Assets:Bank  22.00 USD

    2026-02-09 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 11.00 USD
      Assets:Bank  -11.00 USD
    """
    assert books.left() == {"CH-1": 95}


def test_what_came_from_two_bottles_goes_back_to_both(books: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "sale" ^order-1
      Income:Sales  -103 CEDARHOUR @@ 212.00 USD
      Assets:Bank  212.00 USD

    2026-02-09 * "back" ^order-1
      Income:Refunds  103 CEDARHOUR @@ 212.00 USD
      Assets:Bank  -212.00 USD
    """
    assert books.left() == {"CH-1": 100, "CH-2": 50}
    assert books.balance("Expenses:CostOfGoods:Fragrance") == 0


def test_the_pour_loss_does_not_come_back(books: LoadedBooks) -> None:
    """
    2026-01-01 custom "pour-loss" 0.1

    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-09 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD
    """
    assert books.left() == {"CH-1": Decimal("99.9")}
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("0.1296")


def test_a_return_of_the_same_day_may_stand_above_its_sale(books: LoadedBooks) -> None:
    """
    2026-02-01 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD

    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert books.left() == {"CH-1": 100}


def test_a_return_counts_in_the_year_it_happens(books: LoadedBooks) -> None:
    """
    2026-12-30 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2027-01-04 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD
    """
    costs = {
        entry.date.year: posting.units.number
        for entry in books.transactions
        for posting in entry.postings
        if posting.account == "Expenses:CostOfGoods:Fragrance"
    }
    assert costs == {2026: Decimal("6.48"), 2027: Decimal("-6.48")}


def test_goods_that_came_back_can_be_sold_again(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -100 CEDARHOUR @@ 200.00 USD
      Assets:Bank  200.00 USD

    2026-02-09 * "back" ^order-1
      Income:Refunds  100 CEDARHOUR @@ 200.00 USD
      Assets:Bank  -200.00 USD

    2026-02-10 * "again" ^order-2
      Income:Sales  -100 CEDARHOUR @@ 180.00 USD
      Assets:Bank  180.00 USD
    """
    assert books.left() == {}
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("129.60")


def test_a_sample_comes_back(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sample" ^order-1
      Expenses:Samples  2 CEDARHOUR

    2026-02-09 * "back" ^order-1
      Expenses:Samples  -2 CEDARHOUR
    """
    assert books.left() == {"CH-1": 100}
    assert books.balance("Expenses:Samples") == 0


def test_a_return_without_a_sale_says_how_a_sale_is_written(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "missing minus" ^order-1
      Income:Sales  5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  -12.00 USD
    """
    message = faulty.error()
    assert states(message, "5", "minus")
    assert faulty.left() == {"CH-1": 100}
    assert faulty.balance("Assets:Bank") == Decimal("-141.60")


def test_a_return_without_a_link_is_an_error(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-09 * "back"
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  -12.00 USD
    """
    assert states(faulty.error(), "5", "link")
    assert faulty.left() == {"CH-1": 95}
    assert faulty.balance("Income:Refunds") == Decimal("12.00")


def test_a_return_of_more_than_was_sold_is_an_error(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-09 * "back" ^order-1
      Income:Refunds  7 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  -12.00 USD
    """
    assert states(faulty.error(), "7", "5")
    assert faulty.left() == {"CH-1": 95}
    assert faulty.balance("Expenses:CostOfGoods:Fragrance") == Decimal("6.48")


def test_only_what_is_still_out_can_come_back(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-09 * "back" ^order-1
      Income:Refunds  3 CEDARHOUR @@ 7.00 USD
      Assets:Bank  -7.00 USD

    2026-02-10 * "back again" ^order-1
      Income:Refunds  4 CEDARHOUR @@ 5.00 USD  ; blamed
      Assets:Bank  -5.00 USD
    """
    assert states(faulty.error(), "4", "2")
    assert faulty.left() == {"CH-1": 98}


def test_a_return_before_its_sale_is_an_error(faulty: LoadedBooks) -> None:
    """
    2026-02-01 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD  ; blamed
      Assets:Bank  -12.00 USD

    2026-02-09 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    faulty.error()
    assert faulty.left() == {"CH-1": 95}


def test_another_fragrance_cannot_come_back(faulty: LoadedBooks) -> None:
    """
    2026-01-06 * "second fragrance"
      Assets:Stock:QuietReed  50 QUIETREED {{80.00 USD, "QR-1"}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-09 * "back" ^order-1
      Income:Refunds  5 QUIETREED @@ 12.00 USD  ; blamed
      Assets:Bank  -12.00 USD
    """
    assert "QUIETREED" in faulty.error()
    assert faulty.left() == {"CH-1": 95, "QR-1": 50}


def test_the_last_to_leave_comes_back_first(books: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "sale" ^order-1
      Income:Sales  -103 CEDARHOUR @@ 212.00 USD
      Assets:Bank  212.00 USD

    2026-02-09 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 10.00 USD
      Assets:Bank  -10.00 USD
    """
    assert books.left() == {"CH-1": 2, "CH-2": 50}


def test_what_came_back_lies_with_what_was_left(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-09 * "back" ^order-1
      Income:Refunds  5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  -12.00 USD

    2026-02-10 * "nearly all" ^order-2
      Income:Sales  -98 CEDARHOUR @@ 200.00 USD
      Assets:Bank  200.00 USD
    """
    assert books.lines("nearly all")[2:] == [
        'Assets:Stock:CedarHour -98 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [draw]',
        "Expenses:CostOfGoods:Fragrance 127.008 USD [draw]",
    ]


#: Pairs by hand: all of the bottle, and what of it comes back.
BY_HAND = """
2026-02-01 * "{narration}" ^order-1
  Assets:Stock:CedarHour  {quantity} CEDARHOUR {{1.296 USD, 2026-01-05, "CH-1"}}
  Expenses:CostOfGoods:Fragrance  {cost} USD
"""


def test_pairs_by_hand_may_bring_back_what_left_that_day() -> None:
    back = BY_HAND.format(narration="back", quantity=5, cost="-6.48")
    gone = BY_HAND.format(narration="gone", quantity=-5, cost="6.48")
    books = load(back + gone)
    assert books.messages == []
    assert books.left() == {"CH-1": 100}


def test_pairs_by_hand_may_take_what_came_back_that_day() -> None:
    all_of_it = BY_HAND.format(narration="all", quantity=-100, cost="129.60")
    back = BY_HAND.format(narration="back", quantity=100, cost="-129.60").replace("02-01", "02-02")
    again = BY_HAND.format(narration="again", quantity=-100, cost="129.60").replace("02-01", "02-02")
    books = load(all_of_it + again + back)
    assert books.messages == []
    assert books.left() == {}
