"""Plans for bottles, held against counting and searching."""

from __future__ import annotations

import csv
import datetime
import io
import json
from dataclasses import fields
from decimal import Decimal
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from millilot.ledger.fee_schedule import Fee, FeeBase
from millilot.reports import rounding
from millilot.reports.command import main
from millilot.reports.names import UnknownNameError
from millilot.reports.plan import Plan, Rung, plan, times
from millilot.reports.plan_basis import Request
from millilot.reports.prices import Costs, NoPriceError, Terms, outcome
from millilot.reports.tables import WIDTH, display_width

from .books import HEAD, SHELF, by_bottle, read

if TYPE_CHECKING:
    from collections.abc import Mapping

    from click.testing import Result

    from millilot.ledger.records import Books

CENT = Decimal("0.01")

SETTINGS = """
2020-01-01 custom "pour-loss" 0.1
2020-01-01 custom "kit" "5 mL" 1 VIAL5
2020-01-01 custom "fee-schedule" Assets:Marketplace:Lantern "item+postage" 0.10 0.30 USD
2026-01-02 * "vials"
  Assets:Stock:Supplies  100 VIAL5 {{30.00 USD, "V"}}
  Assets:Bank
"""

#: Three sales: 15 mL for 42.00 and 12.00 of postage; fees 5.40, labels 9.00; one vial of 10 mL.
SALES = """
2026-02-01 * "Lantern" "sold" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Postage  -4.00 USD
  Expenses:Selling:Fees  1.60 USD
  Expenses:Selling:Postage  3.00 USD
  Assets:Marketplace:Lantern
2026-02-11 * "Lantern" "sold" ^order-2
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Postage  -4.00 USD
  Expenses:Selling:Fees  1.60 USD
  Expenses:Selling:Postage  3.00 USD
  Assets:Marketplace:Lantern
2026-03-07 * "Lantern" "sold" ^order-3
  Income:Sales  -10 CEDARHOUR @@ 18.00 USD
  Income:Postage  -4.00 USD
  Expenses:Selling:Fees  2.20 USD
  Expenses:Selling:Postage  3.00 USD
  Assets:Marketplace:Lantern
"""

FEE = Fee(FeeBase.POSTAGE, Decimal("0.10"), Decimal("0.30"))
TERMS = Terms(CENT, FEE, charge=Decimal("4.00"))


def sizes(*ml: object) -> Mapping[Decimal, Decimal]:
    return {Decimal(str(size)): Decimal(1) for size in ml}


def ladder(found: Plan) -> Mapping[Decimal | None, Rung]:
    return {rung.size_ml: rung for rung in found.ladder}


def basis(found: Plan) -> Mapping[str, tuple[Decimal | None, str]]:
    return {each.what: (each.value, each.source) for each in found.basis}


@pytest.fixture(scope="module")
def sold() -> Books:
    return read(SHELF + SETTINGS + SALES)


@pytest.fixture(scope="module")
def sealed() -> Books:
    return read(SHELF + SETTINGS)


# What is free.


def test_figures_of_the_bottle_are_those_of_the_bottles_report(sold: Books) -> None:
    found, row = plan(sold, "CH-1", Request()), by_bottle(sold)["CH-1"]
    for name in ("cost", "net", "to_recover", "payback", "paid_back_on", "ml_left", "ml_kept", "profit"):
        assert getattr(found, name) == row[name]
    # 129.60 - (42 + 12 - 5.40 - 9 - 2 vials at 0.30).
    assert found.to_recover == Decimal("90.60")


def test_what_is_to_be_kept_less_what_was_kept_and_what_is_claimed_are_not_free() -> None:
    text = SHELF.replace('"CH-1"}}\n', '"CH-1"}}\n    keep: 20\n') + """
2026-02-01 * "kept"
  Equity:PersonalUse  5 CEDARHOUR
2026-02-02 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
"""
    books = read(text)
    found = plan(books, "CH-1", Request())
    # 95 left, 15 still to keep, 30 claimed.
    assert (found.ml_left, found.keep, found.ml_kept, found.reserved, found.free) == (95, 20, 5, 45, 50)
    asked = plan(books, "CH-1", Request(keep=Decimal(40)))
    assert (asked.keep, asked.reserved, asked.free) == (40, 65, 30)
    assert plan(books, "CH-1", Request(keep=Decimal(0))).free == 65
    assert plan(books, "CH-1", Request(keep=Decimal(500))).free == 0


def test_an_order_to_be_poured_has_left_the_books() -> None:
    waiting = """
2026-02-01 * "sold" #to-pour
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
"""
    found = plan(read(SHELF + waiting), "CH-1", Request())
    assert (found.ml_left, found.reserved, found.free) == (95, 0, 95)


# Sizes and their mix.


def test_sizes_are_asked_for_or_known_from_the_bottle_its_fragrance_the_kits_or_practice(sold: Books) -> None:
    asked = plan(sold, "CH-1", Request(sizes={Decimal(5): Decimal(3), Decimal(2): Decimal(1)}))
    assert [(rung.size_ml, rung.share) for rung in asked.ladder] == [
        (2, Decimal("0.25")), (5, Decimal("0.75")), (None, 1),
    ]
    assert asked.sizes_from == "as asked"
    own = plan(sold, "CH-1", Request())
    assert [(rung.size_ml, rung.share) for rung in own.ladder[:-1]] == [
        (5, Decimal("0.6667")), (10, Decimal("0.3333")),
    ]
    assert own.sizes_from == "sold from this bottle"
    second = """
2026-04-01 * "another"
  Assets:Stock:CedarHour  50 CEDARHOUR {{90.00 USD, "CH-2"}}
  Assets:Bank
"""
    fragrance = plan(read(SHELF + SETTINGS + SALES + second), "CH-2", Request())
    assert ([*ladder(fragrance)], fragrance.sizes_from) == ([5, 10, None], "sold of this fragrance")
    kits = plan(sold, "QR-1", Request())
    assert ([*ladder(kits)], kits.sizes_from) == ([5, None], "assumed: those with a kit, in equal shares")
    usual = plan(read(SHELF), "QR-1", Request())
    assert ([*ladder(usual)], usual.sizes_from) == ([2, 5, 10, None], "assumed: the usual ones, in equal shares")


def test_a_kit_of_a_later_day_is_not_offered_yet() -> None:
    books = read(SHELF + '2026-05-01 custom "kit" "5 mL" 1 VIAL5\n')
    offered = {day: plan(books, "QR-1", Request(), datetime.date.fromisoformat(day)) for day in (
        "2026-04-30", "2026-05-01",
    )}
    assert [each.sizes_from for each in offered.values()] == [
        "assumed: the usual ones, in equal shares", "assumed: those with a kit, in equal shares",
    ]


# Measured or assumed.


def test_a_bottle_with_sales_enough_plans_by_its_own_figures(sold: Books) -> None:
    found = plan(sold, "CH-1", Request())
    three = "measured from 3 sales"
    # 0.3 mL for 3 vials; 5.40 of 54.00; 12.00 and 9.00 for three; 42.00 for 20 mL; 20 mL in 61 days.
    assert basis(found) == {
        "Loss per vial": (Decimal("0.1"), three),
        "Fee share": (Decimal("0.1"), three),
        "Postage charged": (Decimal("4.00"), three),
        "Label": (Decimal("3.00"), three),
        "Refund share": (0, three),
        "Price per mL": (Decimal("2.10"), three),
        "Pace, mL a month": (Decimal("9.9803"), three),
    }
    assert found.prices_from == f"as it sold on average, {three}"
    assert [rung.price for rung in found.ladder] == [Decimal("12.00"), Decimal("18.00"), Decimal("14.00")]


def test_a_size_it_has_not_sold_stands_at_its_average_price(sold: Books) -> None:
    assert ladder(plan(sold, "CH-1", Request(sizes=sizes(3))))[Decimal(3)].price == Decimal("6.30")


def test_what_was_lost_of_each_vial_is_lost_of_a_vial_of_any_size() -> None:
    sales = "".join(f"""
2026-02-0{n} * "sold"
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
""" for n in range(1, 10))
    books = read(SHELF + '\n2020-01-01 custom "pour-loss" 0.2\n' + sales)
    found = plan(books, "CH-1", Request(sizes=sizes(1, 2, 10)))
    assert basis(found)["Loss per vial"] == (Decimal("0.2"), "measured from 9 sales")
    # 100 - 9 * 5.2 = 53.2; 53.2 / 1.2 = 44.3, / 2.2 = 24.2, / 10.2 = 5.2.
    assert found.free == Decimal("53.2")
    assert [rung.fills for rung in found.ladder] == [44, 24, 5, None]
    one = found.ladder[0]
    assert one.sales is not None
    assert one.ml_needed == one.sales * Decimal("1.2")
    # A mL sold at 12.00 / 5 on average; 1.2 mL cost 1.5552.
    assert (one.price, one.profit) == (Decimal("2.40"), Decimal("0.84"))


def test_two_sales_are_too_few_and_what_is_assumed_says_so() -> None:
    books = read(SHELF + SETTINGS + SALES[:SALES.index("2026-03-07")])
    found = basis(plan(books, "CH-1", Request()))
    assert found["Loss per vial"] == (Decimal("0.1"), "assumed: setting pour-loss")
    rate, source = found["Fee rate"]
    assert rate == Decimal("0.1")
    assert source.startswith("assumed: Fee of Lantern, the only channel: 10 % of item + postage and 0.30, by its ")
    assert found["Postage charged"] == (0, "assumed: none, as none is given")
    assert found["Refund share"] == (0, "assumed: 0 of 2 orders were lost")
    assert not any(source.startswith("measured") for _, source in found.values())


def test_what_is_asked_for_comes_before_what_was_measured(sold: Books) -> None:
    asked = Request(
        channel="Lantern",
        charge=Decimal("5.00"),
        label=Decimal("4.00"),
        tax=Decimal("0.08"),
        lost=Decimal("0.02"),
    )
    found = basis(plan(sold, "CH-1", asked))
    assert found["Fee rate"][0] == Decimal("0.1")
    assert found["Fee rate"][1].startswith("as asked: Fee of Lantern:")
    assert (found["Fee fixed"][0], found["Postage charged"][0], found["Label"][0]) == (
        Decimal("0.30"), Decimal("5.00"), Decimal("4.00"),
    )
    assert found["Tax rate"] == (Decimal("0.08"), "as asked")
    assert found["Refund share"] == (Decimal("0.02"), "as asked")
    assert found["Loss per vial"][1] == "measured from 3 sales"


# How many sales, and at what price: by counting and by searching.


def brute_sales(to_recover: Decimal, cash: Decimal) -> int:
    """Sell one after the other until the bottle is paid back."""
    for sales in count():
        if sum([cash] * sales, Decimal(0)) >= to_recover:
            return sales
    raise AssertionError


def brute_price(to_recover: Decimal, vials: int, costs: Costs, terms: Terms) -> Decimal:
    """Try every price to the cent until so many vials pay the bottle back."""
    for cents in count():
        found = outcome(Decimal(cents) * CENT, costs, terms)
        if vials * (found.cash_kept - found.allowance) >= to_recover:
            return found.price
    raise AssertionError


def test_a_plan_worked_by_hand(sealed: Books) -> None:
    asked = Request(sizes=sizes(5), profit=Decimal("6.00"), charge=Decimal("4.00"), label=Decimal("3.50"))
    five = ladder(plan(sealed, "CH-1", asked))[Decimal(5)]
    # 5.1 mL at 1.296 are 6.6096, the vial 0.30, the label 3.50, and 6.00 remain: 16.4096 of price, 4.00 and
    # less 10 % and 0.30. At 14.57 the fee is 2.157, so 2.16, and 18.57 - 2.16 - 10.4096 = 6.0004; at 14.56 it is
    # 2.16 too, and 5.9904 remain.
    assert (five.price, five.profit) == (Decimal("14.57"), Decimal("6.00"))
    # 18.57 - 2.16 - 3.80 = 12.61 of cash; 129.60 / 12.61 = 10.3.
    assert (five.cash, five.sales, five.ml_needed, five.enough) == (Decimal("12.61"), 11, Decimal("56.1"), True)
    # 100 / 5.1 = 19.6; 129.60 / 19 = 6.8211 of cash a vial. At 8.13 the fee is 1.51: 12.13 - 1.51 - 3.80 = 6.82;
    # at 8.14 it is 1.51, and 6.83.
    assert (five.fills, five.vials_at, five.price_at) == (19, 19, Decimal("8.14"))


@settings(max_examples=15, deadline=None)
@given(
    size=st.sampled_from(["2", "5", "7.5", "30"]),
    profit=st.integers(0, 3000).map(lambda cents: Decimal(cents) * CENT),
    label=st.integers(0, 600).map(lambda cents: Decimal(cents) * CENT),
    lost=st.sampled_from(["0", "0.03"]),
    paid_back_at=st.one_of(st.none(), st.integers(1, 120).map(Decimal)),
)
def test_sales_and_prices_are_those_of_brute_force(
    sealed: Books, *, size: str, profit: Decimal, label: Decimal, lost: str, paid_back_at: Decimal | None,
) -> None:
    asked = Request(
        sizes=sizes(size), profit=profit, charge=Decimal("4.00"), label=label, lost=Decimal(lost),
        paid_back_at=paid_back_at,
    )
    found = plan(sealed, "CH-1", asked)
    rung = ladder(found)[Decimal(size)]
    supplies = Decimal("0.30") if size == "5" else Decimal(0)
    costs = Costs(Decimal(0), Decimal(0), supplies, label)
    terms = Terms(CENT, FEE, Decimal("4.00"), lost=Decimal(lost))
    left = outcome(rung.price, costs, terms)
    cash = left.cash_kept - left.allowance
    assert rung.sales == brute_sales(found.to_recover, cash)
    drawn = Decimal(size) + Decimal("0.1")
    assert rung.ml_needed == rung.sales * drawn
    assert rung.enough is (rung.sales * drawn <= 100)
    vials = next(n for n in count() if (n + 1) * drawn > 100)
    assert rung.fills == vials
    if paid_back_at is not None:
        vials = next(n for n in count() if (n + 1) * Decimal(size) > paid_back_at)
    assert rung.vials_at == vials
    assert rung.price_at == (brute_price(found.to_recover, vials, costs, terms) if vials else None)


def test_the_mix_is_a_sale_on_average(sealed: Books) -> None:
    asked = Request(sizes={Decimal(5): Decimal(3), Decimal(10): Decimal(1)}, margin=Decimal("0.4"))
    found = ladder(plan(sealed, "CH-1", asked))
    five, ten, mix = found[Decimal(5)], found[Decimal(10)], found[None]
    assert mix.cash == rounding.nearest((3 * five.cash + ten.cash) / 4, CENT)
    assert mix.sales == brute_sales(Decimal("129.60"), (3 * five.cash + ten.cash) / 4)
    assert mix.ml_needed == mix.sales * (3 * Decimal("5.1") + Decimal("10.1")) / 4
    assert min(five.margin, ten.margin) >= Decimal("0.4")
    assert max(five.margin, ten.margin) < Decimal("0.401")


def test_what_is_free_may_not_suffice(sealed: Books) -> None:
    # 11 sales of 5.1 mL: 56.1.
    for keep, enough in (("43.9", True), ("44", False)):
        asked = Request(
            sizes=sizes(5),
            keep=Decimal(keep),
            profit=Decimal("6.00"),
            charge=Decimal("4.00"),
            label=Decimal("3.50"),
        )
        five, mix = plan(sealed, "CH-1", asked).ladder
        assert (five.sales, five.enough, mix.enough) == (11, enough, enough)


@pytest.mark.parametrize(
    ("amount", "each", "expected"),
    [
        ("10", "2.5", 4),
        ("10.01", "2.5", 5),
        ("0", "2.5", 0),
        ("-1", "0", 0),
        ("10", "0", None),
        ("10", "-1", None),
        # The noise of 28 digits is no sale.
        ("12.96", "1.295999999999999999999999999", 10),
    ],
)
def test_a_last_sale_counts_whole(amount: str, each: str, expected: int | None) -> None:
    assert times(Decimal(amount), Decimal(each)) == expected


def test_the_pace_tells_how_long_it_takes(sold: Books) -> None:
    found = plan(sold, "CH-1", Request(sizes=sizes(5)))
    # 12.00 and 4.00, less 1.60, 3.00 and 0.30, are 11.10; 90.60 take 9 sales, 45 mL at 9.98 a month.
    assert (found.ladder[-1].sales, found.months) == (9, Decimal("4.5"))
    assert plan(sold, "CH-1", Request(sizes=sizes(5), keep=Decimal(60))).months is None
    assert plan(read(SHELF), "CH-1", Request()).months is None


# Odd bottles.


def test_a_sale_that_leaves_nothing_never_pays_back(sealed: Books) -> None:
    found = plan(sealed, "CH-1", Request(sizes=sizes(5), profit=Decimal(0), keep=Decimal(100)))
    assert ladder(found)[Decimal(5)].sales is not None
    # A bottle that only ever sold below its costs.
    loss = read(SHELF + "".join(f"""
2026-02-0{n} * "sold"
  Income:Sales  -5 CEDARHOUR @@ 1.00 USD
  Expenses:Selling:Postage  4.00 USD
  Assets:Bank
""" for n in (1, 2, 3)))
    rung = plan(loss, "CH-1", Request()).ladder[0]
    assert (rung.cash, rung.sales, rung.ml_needed, rung.enough) == (Decimal("-3.00"), None, None, False)


@pytest.mark.parametrize(("fee", "refund"), [("12.00", "0.00"), ("6.00", "6.00"), ("9.00", "15.00")])
def test_where_fees_and_refunds_leave_nothing_of_a_price_none_pays_back(fee: str, refund: str) -> None:
    books = read(SHELF + "".join(f"""
2026-02-0{n} * "sold" ^order-{n}
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Expenses:Selling:Fees  {fee} USD
  Assets:Bank
2026-02-1{n} * "refund" ^order-{n}
  Income:Refunds  {refund} USD
  Assets:Bank
""" for n in (1, 2, 3)))
    found = plan(books, "CH-1", Request())
    shares = [basis(found)[what][0] for what in ("Fee share", "Refund share")]
    assert shares == [Decimal(fee) / 12, Decimal(refund) / 12]
    five = found.ladder[0]
    assert five.vials_at == 17
    assert (five.price, five.sales, five.price_at) == (Decimal("12.00"), None, None)
    with pytest.raises(NoPriceError):
        plan(books, "CH-1", Request(margin=Decimal("0.1")))


@pytest.mark.parametrize(
    ("asked", "remarks"),
    [
        (Request(paid_back_at=Decimal(95)), ()),
        (Request(paid_back_at=Decimal("95.5")), ("95.5 mL more to sell were asked for; only 95 mL are free.",)),
        (Request(keep=Decimal(100)), ()),
        (
            Request(keep=Decimal(200), paid_back_at=Decimal(40)),
            (
                "200 mL to keep were asked for; only 95 are left, beside 5 kept already.",
                "40 mL more to sell were asked for; only 0 mL are free.",
            ),
        ),
    ],
)
def test_more_than_there_is_is_remarked(asked: Request, remarks: tuple[str, ...]) -> None:
    books = read(SHELF + '\n2026-02-01 * "kept"\n  Equity:PersonalUse  5 CEDARHOUR\n')
    found = plan(books, "CH-1", asked).remarks
    assert tuple(remark for remark in found if "asked for" in remark) == remarks


def test_a_bottle_that_cost_nothing_has_nothing_to_pay_back() -> None:
    gift = read(SETTINGS + """
2026-01-05 * "a gift"
  Assets:Stock:CedarHour  7.5 CEDARHOUR {{0.00 USD, "G"}}
  Assets:Bank  0.00 USD
2026-03-06 * "another gift"
  Assets:Stock:QuietReed  7.5 QUIETREED {{0.00 USD, "H"}}
  Assets:Bank  0.00 USD
""")
    found = plan(gift, "G", Request(sizes=sizes(5)))
    assert (found.cost, found.to_recover, found.payback, found.latest_bottle, found.days) == (0, 0, None, None, 60)
    five = found.ladder[0]
    # A vial at 0.30 and a fee of 0.30 and a tenth: 0.67 less 0.37.
    assert (five.price, five.cash, five.sales, five.enough, five.price_at) == (
        Decimal("0.67"), 0, 0, True, None,
    )


def test_a_bottle_that_is_paid_back_takes_no_more_sales() -> None:
    text = SHELF + '\n2026-02-05 * "sold"\n  Income:Sales  -50 CEDARHOUR @@ 150.00 USD\n  Assets:Bank\n'
    found = plan(read(text), "CH-1", Request(), datetime.date(2026, 6, 1))
    assert (found.to_recover, found.paid_back_on, found.days) == (0, datetime.date(2026, 2, 5), 31)
    assert {rung.sales for rung in found.ladder} == {0}
    assert {rung.price_at for rung in found.ladder} == {None}
    assert found.ml_sold_share == Decimal("0.5")


def test_an_empty_bottle_cannot_be_paid_back() -> None:
    text = SHELF + '\n2026-02-05 * "spilt"\n  Expenses:Loss  100 CEDARHOUR\n'
    found = plan(read(text), "CH-1", Request())
    assert (found.ml_left, found.free) == (0, 0)
    assert (found.to_recover, found.profit) == (Decimal("129.60"), Decimal("-129.60"))
    assert [(rung.fills, rung.enough, rung.price_at) for rung in found.ladder] == [(0, False, None)] * 3 + [
        (None, False, None),
    ]
    assert found.remarks == ()


def test_an_estimated_cost_is_said() -> None:
    text = SHELF.replace('"CH-1"}}\n', '"CH-1"}}\n    estimated: TRUE\n')
    books = read(text)
    assert [plan(books, name, Request()).estimated for name in ("CH-1", "QR-1")] == [True, False]


def test_no_price_keeps_a_margin_that_the_fee_takes(sealed: Books) -> None:
    with pytest.raises(NoPriceError):
        plan(sealed, "CH-1", Request(margin=Decimal("0.95")))


@pytest.mark.parametrize(("name", "near"), [
    ("CH1", " Near it: CH-1."),
    ("zzzz", ""),
    ("V", ""),
    ("cedar hour", " Bottles of Cedar Hour: CH-1."),
    ("CEDARHOUR", " Bottles of Cedar Hour: CH-1."),
])
def test_only_a_bottle_has_a_plan(sealed: Books, name: str, near: str) -> None:
    with pytest.raises(UnknownNameError) as caught:
        plan(sealed, name, Request())
    assert str(caught.value) == f"There is no bottle {name!r}.{near}"


# Buy it again?


def test_cost_then_and_now() -> None:
    later = """
2026-04-01 * "a gift, which says nothing of prices"
  Assets:Stock:CedarHour  10 CEDARHOUR {{0.00 USD, "CH-3"}}
  Assets:Bank  0.00 USD
2026-03-06 * "dearer"
  Assets:Stock:CedarHour  50 CEDARHOUR {{90.00 USD, "CH-2"}}
  Assets:Bank
"""
    found = plan(read(SHELF + later), "CH-1", Request())
    assert (found.days, found.ml_sold_share, found.cost_per_ml) == (86, 0, Decimal("1.2960"))
    assert (found.latest_bottle, found.latest_bought, found.latest_cost_per_ml) == (
        "CH-2", datetime.date(2026, 3, 6), Decimal("1.8000"),
    )
    assert plan(read(SHELF + later), "CH-2", Request()).latest_bottle == "CH-2"


# On the command line.


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str, books: str = SHELF + SETTINGS + SALES) -> Result:
    Path("main.beancount").write_text(HEAD + books, encoding="utf-8")
    return CliRunner().invoke(main, ["plan", *arguments], catch_exceptions=False)


@pytest.mark.parametrize("arguments", [
    ("CH-1",),
    ("QR-1", "--channel", "Lantern", "--size", "2:1.5", "--size", "100:1", "--paid-back-at", "90", "--keep", "3"),
])
def test_the_page_fits_the_terminal(arguments: tuple[str, ...]) -> None:
    result = run(*arguments)
    assert result.exit_code == 0
    assert max(map(display_width, result.stdout.splitlines())) <= WIDTH


def test_csv_is_the_ladder_of_the_json() -> None:
    plan = json.loads(run("CH-1", "--format", "json").stdout)
    # Two of three sales leave 11.10, one 16.80: 13.00 on average, so 7 of them, with 46.67 mL at 9.98 a month.
    assert (plan["to_recover"], plan["free"], plan["months"]) == ("90.60", "79.7", "4.7")
    assert plan["basis"][0] == {"what": "Loss per vial", "value": "0.1", "source": "measured from 3 sales"}
    rows = list(csv.DictReader(io.StringIO(run("CH-1", "--format", "csv").stdout, newline="")))
    assert rows == [
        {key: "" if cell is None else str(cell) for key, cell in each.items()} for each in plan["ladder"]
    ]
    assert [row["size_ml"] for row in rows] == ["5", "10", ""]


def test_the_page_says_what_is_missing_free_and_measured() -> None:
    page = run("CH-1").stdout
    assert page.startswith("CH-1, Cedar Hour, on 2026-03-07, in USD\nCost 129.60, net 39.00 (30.09 %): 90.60 to ")
    assert "79.7 mL left: 79.7 free to sell." in page
    assert "measured from 3 sales" in page
    assert "is measured takes the place" not in page
    assert "From 3 sales on, what is measured takes the place of what is assumed." in run("QR-1").stdout


def test_the_page_says_where_more_is_asked_for_than_there_is() -> None:
    page = run("CH-1", "--paid-back-at", "90").stdout
    assert "90 mL more to sell were asked for; only 79.7 mL are free." in page
    assert "of every size" not in page
    assert "What is free does not fill 79 mL of every size." in run(
        "CH-1", "--paid-back-at", "79", "--size", "1",
    ).stdout
    paid = SHELF + '\n2026-02-05 * "sold"\n  Income:Sales  -50 CEDARHOUR @@ 150.00 USD\n  Assets:Bank\n'
    assert "60 mL to keep were asked for; only 49" not in run("CH-1", "--keep", "50", books=paid).stdout
    assert "60 mL to keep were asked for; only 50 are left." in run("CH-1", "--keep", "60", books=paid).stdout


def test_wide_shows_every_column() -> None:
    assert tuple(field.name for field in fields(Rung)) in {
        tuple(line.split()) for line in run("CH-1", "--wide").stdout.splitlines()
    }


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("CH1",), "There is no bottle 'CH1'. Near it: CH-1."),
        (("CH-1", "--channel", "Lantrn"), 'There is no channel "Lantrn"'),
        (("CH-1", "--margin", "0.3", "--profit", "2"), "give one of them"),
        (("CH-1", "--margin", "0.95"), "No price"),
        (("CH-1", "--size", "5", "--size", "5.0:2"), "5.0 mL is there twice"),
        (("CH-1", "--size", "5:0"), "'0' is not a share of the sales above 0"),
        (("CH-1", "--size", "5:"), "'' is not a share of the sales above 0"),
        (("CH-1", "--size", ":5"), "'' is not mL above 0"),
        (("CH-1", "--keep", "-1"), "is not mL not below 0"),
        (("CH-1", "--label", "1.005"), "--label 1.005 is finer than 0.01 USD"),
    ],
)
def test_a_mistake_ends_in_a_message(arguments: tuple[str, ...], message: str) -> None:
    result = run(*arguments)
    assert result.exit_code > 0
    assert message in result.stderr


def test_an_empty_a_free_and_a_paid_back_bottle_say_so() -> None:
    spilt = SHELF + '\n2026-02-05 * "spilt"\n  Expenses:Loss  100 CEDARHOUR\n'
    assert "The bottle is empty." in run("CH-1", books=spilt).stdout
    assert "more than what is free" in run("CH-1", books=spilt).stdout
    gift = SHELF.replace("129.60 USD", "0.00 USD")
    assert "nothing to pay back" in run("CH-1", books=gift).stdout
    assert "Bought 1 day ago, for nothing" in run("CH-1", books=gift).stdout
    paid = SHELF + '\n2026-02-05 * "sold"\n  Income:Sales  -50 CEDARHOUR @@ 150.00 USD\n  Assets:Bank\n'
    page = run("CH-1", books=paid).stdout
    assert "(115.74 %): paid back; what is sold from now on comes" in page
    assert "Back at" not in page


def test_names_from_the_books_cannot_steer_the_terminal() -> None:
    hostile = SHELF.replace("CH-1", "CH\x1b[2J")
    assert "\x1b" not in run("CH\x1b[2J", books=hostile).stdout
    assert "\x1b" not in run("CH\x1b[3J", books=hostile).stderr
