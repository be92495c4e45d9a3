"""What the plugin makes of a draw."""

from __future__ import annotations

from decimal import Decimal

from beancount.core.amount import Amount

from .books import ACCOUNTS, SHELF, LoadedBooks, as_text, load


def test_a_sale_becomes_income_stock_and_cost(books: LoadedBooks) -> None:
    """
    2026-02-01 * "Lantern" "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Marketplace:Lantern  12.00 USD
    """
    assert books.lines("sale") == [
        "Income:Sales -12.00 USD [5 CEDARHOUR]",
        "Assets:Marketplace:Lantern 12.00 USD",
        'Assets:Stock:CedarHour -5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [draw]',
        "Expenses:CostOfGoods:Fragrance 6.480 USD [draw]",
    ]


def test_the_written_line_keeps_what_was_poured_as_an_amount(books: LoadedBooks) -> None:
    """
    2026-02-01 * "Lantern" "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
        note: "mine"
      Assets:Marketplace:Lantern  12.00 USD
    """
    meta = books.transaction("sale").postings[0].meta
    assert meta["poured"] == Amount(Decimal(5), "CEDARHOUR")
    assert meta["note"] == "mine"


def test_generated_postings_point_at_the_line_they_serve(books: LoadedBooks) -> None:
    """
    2026-02-01 * "Lantern" "sale" ^order-1
      Assets:Marketplace:Lantern  12.00 USD
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
    """
    postings = books.transaction("sale").postings
    places = {(posting.meta["filename"], posting.meta["lineno"]) for posting in postings[1:]}
    assert len(postings) == 4
    assert places == {("<string>", postings[1].meta["lineno"])}
    assert "Income:Sales" in books.text.splitlines()[postings[1].meta["lineno"] - 1]


def test_what_the_owner_keeps_is_drawn_at_cost_and_never_cost_of_goods(books: LoadedBooks) -> None:
    """
    2026-02-01 * "kept"
      Equity:PersonalUse  10 CEDARHOUR
    """
    assert books.lines("kept") == [
        'Assets:Stock:CedarHour -10 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [draw]',
        "Equity:PersonalUse 12.960 USD [10 CEDARHOUR]",
    ]
    assert books.balance("Expenses") == 0


def test_pairs_stand_behind_the_owners_own_postings(books: LoadedBooks) -> None:
    """
    2026-02-01 * "Lantern" "sale with a sample" ^order-1
      Expenses:Samples  1 CEDARHOUR
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Expenses:Selling:Fees  1.20 USD
      Assets:Marketplace:Lantern  10.80 USD
    """
    accounts = [posting.account for posting in books.transaction("sale with a sample").postings]
    assert accounts[:3] == ["Income:Sales", "Expenses:Selling:Fees", "Assets:Marketplace:Lantern"]
    assert sorted(zip(accounts[3::2], accounts[4::2], strict=True)) == [
        ("Assets:Stock:CedarHour", "Expenses:CostOfGoods:Fragrance"),
        ("Assets:Stock:CedarHour", "Expenses:Samples"),
    ]


def test_a_sample_is_an_expense_at_cost(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sample"
      Expenses:Samples  1 CEDARHOUR
    """
    assert books.balance("Expenses:Samples") == Decimal("1.296")
    assert books.left() == {"CH-1": 99}


def test_a_spill_is_a_loss_at_cost(books: LoadedBooks) -> None:
    """
    2026-02-01 * "spilt"
      Expenses:Loss  3 CEDARHOUR
    """
    assert books.balance("Expenses:Loss") == Decimal("3.888")
    assert books.left() == {"CH-1": 97}


def test_any_other_expense_may_take_goods() -> None:
    books = load(
        """
        2026-02-01 * "for a friend"
          Expenses:Gifts  5 CEDARHOUR
        """,
        f"{SHELF}\n2020-01-01 open Expenses:Gifts USD",
    )
    assert books.messages == []
    assert books.balance("Expenses:Gifts") == Decimal("6.48")


def test_a_swap_is_income_and_its_cost_is_cost_of_goods(books: LoadedBooks) -> None:
    """
    2026-02-01 * "swap"
      Income:Swaps  -30 CEDARHOUR @@ 60.00 USD
      Assets:Stock:QuietReed  50 QUIETREED {{60.00 USD, "QR-1"}}
    """
    assert books.balance("Income:Swaps") == Decimal("-60.00")
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("38.88")
    assert books.left() == {"CH-1": 70, "QR-1": 50}


def test_a_transaction_never_draws_from_what_it_brings_in(books: LoadedBooks) -> None:
    """
    2026-02-01 * "swap"
      Income:Swaps  -30 CEDARHOUR @@ 60.00 USD
      Assets:Stock:CedarHour  50 CEDARHOUR {{60.00 USD, 2025-12-01, "CH-0"}}
    """
    assert books.left() == {"CH-1": 70, "CH-0": 50}


def test_a_draw_runs_on_into_the_next_oldest_lot(books: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "first" ^order-1
      Income:Sales  -98 CEDARHOUR @@ 200.00 USD
      Assets:Bank  200.00 USD

    2026-02-02 * "second" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert books.lines("second") == [
        "Income:Sales -12.00 USD [5 CEDARHOUR]",
        "Assets:Bank 12.00 USD",
        'Assets:Stock:CedarHour -2 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [draw]',
        "Expenses:CostOfGoods:Fragrance 2.592 USD [draw]",
        'Assets:Stock:CedarHour -3 CEDARHOUR {1.60 USD, 2026-01-06, "CH-2"} [draw]',
        "Expenses:CostOfGoods:Fragrance 4.80 USD [draw]",
    ]


def test_what_is_kept_from_two_lots_is_two_pairs(books: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "kept"
      Equity:PersonalUse  101 CEDARHOUR
    """
    postings = books.transaction("kept").postings
    assert [posting.account for posting in postings] == ["Assets:Stock:CedarHour", "Equity:PersonalUse"] * 2
    assert books.balance("Equity:PersonalUse") == Decimal("131.20")
    assert sum(posting.meta["poured"].number for posting in postings if "poured" in posting.meta) == 101


def test_bottle_on_the_line_picks_the_lot(books: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
        bottle: "CH-2"
      Assets:Bank  12.00 USD
    """
    assert books.left() == {"CH-1": 100, "CH-2": 45}
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("8.0")


def test_bottle_on_the_transaction_serves_all_its_lines(books: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "sale" ^order-1
      bottle: "CH-2"
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Expenses:Samples  1 CEDARHOUR
      Assets:Bank  12.00 USD
    """
    assert books.left() == {"CH-1": 100, "CH-2": 44}


def test_bottle_on_the_line_overrides_the_transaction(books: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "sale" ^order-1
      bottle: "CH-2"
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
        bottle: "CH-1"
      Expenses:Samples  1 CEDARHOUR
      Assets:Bank  12.00 USD
    """
    assert books.left() == {"CH-1": 95, "CH-2": 49}


def test_several_lines_of_one_order(books: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Income:Sales  -3 CEDARHOUR @@ 8.00 USD
        bottle: "CH-2"
      Assets:Bank  20.00 USD
    """
    assert books.balance("Income:Sales") == Decimal("-20.00")
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("11.28")
    assert books.left() == {"CH-1": 95, "CH-2": 47}


def test_pour_loss_is_a_pair_of_its_own_to_cost_of_goods(books: LoadedBooks) -> None:
    """
    2026-01-01 custom "pour-loss" 0.1

    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert books.lines("sale")[2:] == [
        'Assets:Stock:CedarHour -5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [draw]',
        "Expenses:CostOfGoods:Fragrance 6.480 USD [draw]",
        'Assets:Stock:CedarHour -0.1 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"} [loss]',
        "Expenses:CostOfGoods:Fragrance 0.1296 USD [loss]",
    ]


def test_pour_loss_is_counted_by_vial(books: LoadedBooks) -> None:
    """
    2026-01-01 custom "pour-loss" 0.1

    2026-02-01 * "sale" ^order-1
      Income:Sales  -10 CEDARHOUR @@ 22.00 USD
        vials: 2
      Assets:Bank  22.00 USD
    """
    assert books.left() == {"CH-1": Decimal("89.8")}


def test_a_sealed_sale_has_no_pour_loss(books: LoadedBooks) -> None:
    """
    2026-01-01 custom "pour-loss" 0.1

    2026-02-01 * "sale" ^order-1
      Income:Sales  -100 CEDARHOUR @@ 150.00 USD
        vials: 0
      Assets:Bank  150.00 USD
    """
    assert books.left() == {}
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("129.60")


def test_what_is_kept_or_given_has_no_pour_loss(books: LoadedBooks) -> None:
    """
    2026-01-01 custom "pour-loss" 0.1

    2026-02-01 * "given"
      Equity:PersonalUse  10 CEDARHOUR
      Expenses:Samples  1 CEDARHOUR
    """
    assert books.left() == {"CH-1": 89}


def test_pour_loss_applies_from_its_date(books: LoadedBooks) -> None:
    """
    2026-02-01 * "before" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD

    2026-02-02 custom "pour-loss" 0.1

    2026-02-02 * "from" ^order-2
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Assets:Bank  12.00 USD
    """
    assert books.left() == {"CH-1": Decimal("89.9")}


def test_a_loss_on_the_line_replaces_the_usual_one(books: LoadedBooks) -> None:
    """
    2026-01-01 custom "pour-loss" 0.1

    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
        loss: 0.5
      Assets:Bank  12.00 USD
    """
    assert books.left() == {"CH-1": Decimal("94.5")}
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("7.128")


def test_the_usual_loss_takes_at_most_what_is_left(books: LoadedBooks) -> None:
    """
    2026-01-01 custom "pour-loss" 0.5

    2026-02-01 * "sale" ^order-1
      Income:Sales  -99.8 CEDARHOUR @@ 150.00 USD
      Assets:Bank  150.00 USD
    """
    assert books.left() == {}
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("129.60")


def test_a_bottle_goes_back_to_the_supplier(books: LoadedBooks) -> None:
    """
    2026-02-01 * "Supplier" "back"
      Assets:Stock:CedarHour  -100 CEDARHOUR {1.296 USD, "CH-1"}
      Assets:Bank  129.60 USD
    """
    assert books.stock().is_empty()
    assert books.balance("Assets:Bank") == 0
    assert books.balance("Expenses") == 0


def test_a_pair_written_by_hand_takes_from_the_lot(books: LoadedBooks) -> None:
    """
    2026-02-01 * "by hand"
      Income:Sales  -12.00 USD
      Assets:Bank  12.00 USD
      Assets:Stock:CedarHour  -5 CEDARHOUR {1.296 USD, 2026-01-05, "CH-1"}
      Expenses:CostOfGoods:Fragrance  6.48 USD

    2026-02-02 * "the rest" ^order-2
      Income:Sales  -95 CEDARHOUR @@ 150.00 USD
      Assets:Bank  150.00 USD
    """
    assert books.left() == {}
    assert books.balance("Expenses:CostOfGoods:Fragrance") == Decimal("129.60")


def test_an_empty_bottle_sold_draws_nothing(books: LoadedBooks) -> None:
    """
    2026-02-01 * "empty bottle"
      Income:Sales  -15.00 USD
        bottle: "CH-1"
      Assets:Bank  15.00 USD
    """
    assert books.lines("empty bottle") == ["Income:Sales -15.00 USD", "Assets:Bank 15.00 USD"]
    assert books.left() == {"CH-1": 100}


def test_private_entries_are_left_alone() -> None:
    books = load(
        """
        2026-02-01 * "shares"
          Assets:Broker  10 SHARES {5.00 USD}
          Assets:Bank  -50.00 USD

        2026-02-02 * "food"
          Expenses:Groceries  30.00 EUR @ 1.10 USD
          Assets:Bank  -33.00 USD
        """,
        f"{SHELF}\n2020-01-01 open Assets:Broker\n2020-01-01 open Expenses:Groceries",
    )
    assert books.messages == []
    assert books.lines("shares")[0] == 'Assets:Broker 10 SHARES {5.00 USD, 2026-02-01, "None"}'
    assert len(books.lines("shares")) == 2
    assert books.lines("food") == ["Expenses:Groceries 30.00 EUR @ 1.10 USD", "Assets:Bank -33.00 USD"]


def test_unnamed_lots_are_numbered_by_day() -> None:
    books = load(
        """
        2026-01-05 * "three"
          Assets:Stock:CedarHour  100 CEDARHOUR {{129.60 USD}}
          Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD}}
          Assets:Stock:QuietReed  50 QUIETREED {{80.00 USD}}
          Assets:Bank  -289.60 USD

        2026-01-06 * "one more"
          Assets:Stock:CedarHour  10 CEDARHOUR {{20.00 USD}}
          Assets:Bank  -20.00 USD
        """,
        ACCOUNTS,
    )
    assert books.messages == []
    assert books.left() == {
        "CEDARHOUR 2026-01-05": 100,
        "CEDARHOUR 2026-01-05 2": 50,
        "QUIETREED 2026-01-05": 50,
        "CEDARHOUR 2026-01-06": 10,
    }


def test_an_unnamed_lot_can_be_named_in_a_draw(books: LoadedBooks) -> None:
    """
    2026-01-07 * "no name"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
        bottle: "CEDARHOUR 2026-01-07"
      Assets:Bank  12.00 USD
    """
    assert books.left() == {"CH-1": 100, "CEDARHOUR 2026-01-07": 45}


def test_a_bottle_at_no_cost_is_a_lot_at_zero() -> None:
    books = load(
        """
        2026-01-05 * "Supplier" "gift with purchase"
          Assets:Stock:QuietReed  10 QUIETREED {0 USD, "QR-GIFT"}

        2026-02-01 * "sale" ^order-1
          Income:Sales  -4 QUIETREED @@ 9.00 USD
          Assets:Bank  9.00 USD
        """,
        ACCOUNTS,
    )
    assert books.messages == []
    assert books.left() == {"QR-GIFT": 6}
    assert books.balance("Expenses:CostOfGoods:Fragrance") == 0


def test_a_blank_stock_leg_that_mirrors_the_draws_becomes_the_lots(books: LoadedBooks) -> None:
    """
    2026-01-06 * "second bottle"
      Assets:Stock:CedarHour  50 CEDARHOUR {{80.00 USD, "CH-2"}}
      Assets:Bank  -80.00 USD

    2026-02-01 * "sample"
      Expenses:Samples  101 CEDARHOUR
      Assets:Stock:CedarHour
    """
    assert books.left() == {"CH-2": 49}
    assert books.balance("Expenses:Samples") == Decimal("131.20")
    assert all(posting.cost is not None for posting in books.postings("Assets:Stock:CedarHour"))


def test_a_blank_money_leg_that_booking_split_is_put_together_again(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale with a sample" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Expenses:Samples  1 CEDARHOUR
      Expenses:Selling:Fees  1.20 USD
      Assets:Marketplace:Lantern
    """
    [received] = books.postings("Assets:Marketplace:Lantern")
    assert as_text(received) == "Assets:Marketplace:Lantern 10.80 USD"
    assert books.left() == {"CH-1": 94}


def test_a_blank_money_leg_of_a_plain_sale(books: LoadedBooks) -> None:
    """
    2026-02-01 * "sale" ^order-1
      Income:Sales  -5 CEDARHOUR @@ 12.00 USD
      Expenses:Selling:Fees  1.20 USD
      Assets:Marketplace:Lantern
    """
    assert books.balance("Assets:Marketplace:Lantern") == Decimal("10.80")
    assert books.left() == {"CH-1": 95}
