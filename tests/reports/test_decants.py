"""What a decant costs, held against what the books book when it is sold."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millilot.ledger.accounts import Role
from millilot.ledger.records import Kind
from millilot.reports.decants import bottles_of, decant, find_fragrance
from millilot.reports.names import UnknownNameError
from millilot.reports.next_draw import NextDraw, Piece

from .books import HEAD, SHELF, read

if TYPE_CHECKING:
    from millilot.ledger.records import Books
    from millilot.reports.decants import Decant

DAY = datetime.date(2026, 2, 1)

SUPPLIES = """
2026-01-01 custom "pour-loss" 0.1
2026-01-01 custom "kit" "5 mL" 1 VIAL5
2026-01-01 custom "kit" "parcel" 2 VIAL5
2026-01-02 * "vials"
  Assets:Stock:Supplies  2 VIAL5 {{0.60 USD, "V-1"}}
  Assets:Stock:Supplies  9 VIAL5 {{3.60 USD, "V-2"}}
  Assets:Bank
"""

#: A second bottle of Cedar Hour, at 2.00 a mL.
SECOND = """
2026-01-08 * "bottle"
  Assets:Stock:CedarHour  50 CEDARHOUR {{100.00 USD, "CH-2"}}
  Assets:Bank
"""


def kept(ml: object, day: str = "2026-01-20") -> str:
    return f'{day} * "kept"\n  Equity:PersonalUse  {ml} CEDARHOUR\n'


def cost(books: Books, size: object, bottle: str | None = None, name: str = "Cedar Hour") -> Decant:
    stock = NextDraw(books)
    bottles = bottles_of(books, stock, find_fragrance(books, name), bottle)
    return decant(books, stock, bottles, Decimal(str(size)), day=DAY)


def test_liquid_loss_and_supplies() -> None:
    found = cost(read(SHELF + SUPPLIES), 5)
    # 5 and 0.1 mL at 1.296. Three vials, two at 0.30 and one at 0.40.
    assert found.pieces == (Piece("CH-1", Decimal(5), Decimal("1.296")),)
    assert (found.liquid, found.loss) == (Decimal("6.48"), Decimal("0.1296"))
    assert found.supplies == Decimal("1.00")
    assert found.bottles == ("CH-1",)
    assert found.remarks == ()


def test_a_size_that_runs_over_takes_the_cost_of_both_bottles() -> None:
    found = cost(read(SHELF + SECOND + SUPPLIES + kept(97)), 5)
    # 3 mL at 1.296 and 2 at 2.00; the loss is the second's.
    assert found.bottles == ("CH-1", "CH-2")
    assert found.liquid == Decimal("7.888")
    assert found.loss == Decimal("0.200")


def test_a_named_bottle_gives_and_no_other() -> None:
    found = cost(read(SHELF + SECOND + SUPPLIES), 5, "CH-2")
    assert (found.bottles, found.liquid) == (("CH-2",), Decimal("10.00"))


def test_what_is_not_there_is_counted_at_the_last_cost_and_said() -> None:
    found = cost(read(SHELF + SUPPLIES + kept(98)), 5)
    assert found.liquid == Decimal("6.48")
    assert found.remarks == ("Only 2 of 5 mL are left; the rest is at the last cost.",)


def test_what_several_bottles_lack_is_counted_at_the_cost_of_the_newest() -> None:
    found = cost(read(SHELF + SECOND + SUPPLIES + kept(147)), 5)
    # CH-1 is empty; 3 mL of CH-2 at 2.00, and 2 more at the same.
    assert (found.bottles, found.liquid) == (("CH-2",), Decimal("10.00"))
    assert found.remarks == ("Only 3 of 5 mL are left; the rest is at the last cost.",)


def test_an_empty_bottle_is_counted_at_its_last_cost() -> None:
    found = cost(read(SHELF + SUPPLIES + kept(100)), 5)
    assert (found.bottles, found.pieces, found.liquid) == (("CH-1",), (), Decimal("6.48"))
    assert found.remarks == ("CH-1 is empty; what its last mL cost is counted.",)


def test_sizes_without_a_kit_and_supplies_that_ran_out_are_said() -> None:
    books = read(
        SHELF
        + """
2026-01-01 custom "kit" "5 mL" 1 VIAL5
2026-01-02 * "vials"
  Assets:Stock:Supplies  1 VIAL5 {{0.30 USD, "V-1"}}
  Assets:Bank
2026-01-20 * "sold" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
""",
    )
    no_parcel = "No kit is set for a parcel, so no supplies are counted for it."
    assert cost(books, 5).supplies == Decimal("0.30")
    assert cost(books, 5).remarks == (no_parcel, "There is no Vial of 5 mL left; its last cost is counted.")
    assert cost(books, 4).supplies == 0
    assert cost(books, 4).remarks == (
        "No kit is set for a vial of 4 mL, so no supplies are counted for it.", no_parcel,
    )


def test_a_supply_never_bought_is_said() -> None:
    found = cost(read(SHELF + '2026-01-01 custom "kit" "5 mL" 1 VIAL5\n'), 5)
    assert found.supplies == 0
    assert "There is no Vial of 5 mL left; nothing is counted for it." in found.remarks


def test_settings_count_from_their_day_on() -> None:
    books = read(SHELF + '2026-03-01 custom "pour-loss" 0.5\n')
    stock = NextDraw(books)
    later = decant(books, stock, ["CH-1"], Decimal(5), day=datetime.date(2026, 3, 1))
    assert (cost(books, 5).loss, later.loss) == (0, Decimal("0.648"))
    given = decant(books, stock, ["CH-1"], Decimal(5), day=DAY, loss=Decimal(1))
    assert given.loss == Decimal("1.296")


SALE = """
2026-02-01 * "sold" ^order-new
  Income:Sales  -{size} CEDARHOUR @@ 12.00 USD
  Assets:Bank
"""

HISTORY = {
    "one bottle": SHELF,
    "two bottles": SHELF + SECOND + kept("96.5"),
    "the older one came later": kept(10, "2026-01-22") + SECOND.replace("2026-01-08", "2026-01-03") + SHELF,
    "more was found": SHELF + kept(50) + '2026-01-25 custom "stocktake" "CH-1" 55 CEDARHOUR\n',
    "less was found": SHELF + kept(50) + '2026-01-25 custom "stocktake" "CH-1" 41 CEDARHOUR\n',
    "duty came late": SHELF.replace('"bottle"', '"bottle" ^purchase-1', 1)
    + kept(50)
    + '2026-01-25 * "duty" ^purchase-1\n  Assets:Stock:Inbound  7.00 USD\n  Assets:Bank\n',
    "some came back after more was found": SHELF
    + '2026-01-18 * "sold" ^order-1\n  Income:Sales  -20 CEDARHOUR @@ 40.00 USD\n  Assets:Bank\n'
    + kept(70)
    + '2026-01-25 custom "stocktake" "CH-1" 12 CEDARHOUR\n'
    + '2026-01-26 * "back" ^order-1\n  Income:Refunds  20 CEDARHOUR @@ 40.00 USD\n  Assets:Bank\n',
}


@pytest.mark.parametrize("size", [2, 5, 11])
@pytest.mark.parametrize("history", HISTORY.values(), ids=list(HISTORY))
def test_the_books_book_a_sale_at_the_cost_that_was_reckoned(history: str, size: int) -> None:
    kits = SUPPLIES.replace("5 mL", f"{size} mL")
    before, after = read(history + kits), read(history + kits + SALE.format(size=size))
    [sale] = [record for record in after.records if record.order == "order-new"]
    found = cost(before, size)

    def booked(*kinds: Kind) -> Decimal:
        liquid = after.fragrances
        return -sum((m.cost for m in sale.moves if m.kind in kinds and m.bottle in liquid), Decimal(0))

    assert abs(found.liquid - booked(Kind.SOLD)) < Decimal("1E-18")
    assert abs(found.loss - booked(Kind.POUR_LOSS)) < Decimal("1E-18")
    used = [move for move in sale.moves if move.to in {Role.SUPPLIES_USED, Role.PACKING}]
    assert found.supplies == -sum((move.cost for move in used), Decimal(0))


@given(st.lists(st.decimals("0.5", 20, places=1), max_size=6), st.decimals("0.5", 120, places=1))
def test_what_is_taken_and_what_is_missing_are_all_that_was_asked_for(gone: list[Decimal], size: Decimal) -> None:
    stock = NextDraw(SHELVES)
    taken = stock.take(stock.lots("CEDARHOUR"), size + sum(gone))
    assert sum((piece.quantity for piece in taken.pieces), taken.missing) == size + sum(gone)
    assert taken.missing == max(size + sum(gone) - 150, Decimal(0))


SHELVES = read(SHELF + SECOND)


@pytest.mark.parametrize("name", ["CEDARHOUR", "cedarhour", "Cedar Hour", "cedar hour"])
def test_a_fragrance_is_found_by_code_and_by_name(name: str) -> None:
    assert find_fragrance(SHELVES, name).code == "CEDARHOUR"


@pytest.mark.parametrize(
    ("name", "bottle", "message"),
    [
        ("Cedar Hours", None, r"There is no fragrance 'Cedar Hours'\. Near it: Cedar Hour, CEDARHOUR\."),
        ("Vial of 5 mL", None, "There is no fragrance"),
        ("Cedar Hour", "CH1", r"There is no bottle 'CH1' of Cedar Hour\. Near it: CH-1\."),
        ("Cedar Hour", "QR-1", r"QR-1 holds Quiet Reed, not Cedar Hour\."),
    ],
)
def test_what_is_not_there_is_said_with_what_is_near(name: str, bottle: str | None, message: str) -> None:
    with pytest.raises(UnknownNameError, match=message):
        cost(SHELVES, 5, bottle, name)


def test_a_fragrance_without_a_bottle_has_no_cost() -> None:
    with pytest.raises(UnknownNameError, match="The books have no bottle of Quiet Reed"):
        cost(read(SHELF.split("2026-01-06")[0]), 5, name="QUIETREED")


def test_a_name_of_two_fragrances_is_asked_about() -> None:
    twins = HEAD.replace('name: "Quiet Reed"', 'name: "Cedar Hour"')
    with pytest.raises(UnknownNameError, match="is the name of CEDARHOUR and QUIETREED"):
        cost(read(SHELF, twins), 5)
