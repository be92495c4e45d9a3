"""The rule of thumb: liquid, vial and postage, and the liquid's cost once more."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from millilot.ledger.fee_schedule import Fee, FeeBase
from millilot.reports.prices import Costs, Terms
from millilot.reports.rule_of_thumb import rule_of_thumb

CENT = Decimal("0.01")
BOTTLE = Decimal("160.00")

#: 5 mL of 100 that cost 160.00.
COSTS = Costs(Decimal("8.00"), Decimal(0), Decimal("0.98"), Decimal("5.00"))


def test_half_a_bottle_by_the_rule_pays_for_the_whole_where_nothing_is_taken_or_lost() -> None:
    rule = rule_of_thumb(COSTS, Terms(CENT, charge=Decimal("5.00")))
    # 8.00 + 0.98 + 5.00 + 8.00 less the 5.00 the buyer pays beside the price.
    assert rule.price == Decimal("16.98")
    # Ten vials are 50 mL: half of the bottle stays.
    assert 10 * rule.cash_kept == BOTTLE
    # What it means to leave: the liquid's cost once more.
    assert rule.profit == COSTS.liquid


def test_with_a_fee_it_falls_short_by_the_fee() -> None:
    fee = Fee(FeeBase.POSTAGE, Decimal("0.13"), Decimal("0.40"))
    rule = rule_of_thumb(COSTS, Terms(CENT, fee, charge=Decimal("5.00")))
    # 13 % of 21.98 are 2.8574, with 0.40 it is 3.26: ten vials bring 127.40, 32.60 less than the bottle cost.
    assert rule.fee == Decimal("3.26")
    assert 10 * rule.cash_kept == BOTTLE - Decimal("32.60")
    assert COSTS.liquid - rule.profit == Decimal("3.26")


def test_lost_ml_and_lost_parcels_are_not_in_it_either() -> None:
    costs = Costs(COSTS.liquid, Decimal("0.16"), COSTS.supplies, COSTS.postage)
    rule = rule_of_thumb(costs, Terms(CENT, charge=Decimal("5.00"), lost=Decimal("0.02")))
    # 0.16 of liquid, and 2 % of 16.98 + 5.00.
    assert rule.price == Decimal("16.98")
    assert COSTS.liquid - rule.profit == Decimal("0.16") + Decimal("0.4396")


def test_postage_charged_beyond_all_costs_leaves_no_price() -> None:
    rule = rule_of_thumb(COSTS, Terms(CENT, charge=Decimal("30.00")))
    assert rule.price == 0


@given(st.decimals(1, 900, places=2), st.integers(1, 60), st.decimals(0, 9, places=2), st.decimals(0, 9, places=2))
def test_half_of_any_bottle(cost: Decimal, vials: int, supplies: Decimal, label: Decimal) -> None:
    """Sold in so many vials, half a bottle brings what all of it cost, but for the cents rounded up."""
    rule = rule_of_thumb(Costs(cost / 2 / vials, Decimal(0), supplies, label), Terms(CENT))
    assert 0 <= vials * rule.cash_kept - cost < vials * CENT + Decimal("1E-20")
