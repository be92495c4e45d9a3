"""What a price leaves, and which price leaves enough."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millilot.ledger.fee_schedule import NO_FEE, Fee, FeeBase
from millilot.reports.prices import Costs, NoPriceError, Terms, finished, outcome, solve

CENT = Decimal("0.01")

#: 160.00 for 100 mL: 5 mL are 8.00, and 0.1 mL lost are 0.16. Supplies 0.98, label 5.00.
COSTS = Costs(Decimal("8.00"), Decimal("0.16"), Decimal("0.98"), Decimal("5.00"))


def terms(base: FeeBase = FeeBase.TAX) -> Terms:
    """Return the textbook's: 13 % and 0.40, 5.00 of postage charged, 8 % tax on both."""
    fee = Fee(base, Decimal("0.13"), Decimal("0.40"))
    return Terms(CENT, fee, charge=Decimal("5.00"), tax=Decimal("0.08"))


def test_the_textbook_price_forwards() -> None:
    leaves = outcome(Decimal("20.00"), COSTS, terms())
    # 25.00 and 8 % of it; 13 % of 27.00 and 0.40; 25.00 - 3.91 - 0.98 - 5.00; less 8.16 of liquid.
    assert (leaves.tax, leaves.buyer_pays) == (Decimal("2.00"), Decimal("27.00"))
    assert leaves.fee == Decimal("3.91")
    assert leaves.cash_kept == Decimal("15.11")
    assert leaves.profit == Decimal("6.95")
    assert leaves.margin == Decimal("6.95") / Decimal("20.00")


def test_a_price_of_nought_has_no_sign() -> None:
    # 4.996 - 5.00 is just below 0, so 0.00 is the least price in cents.
    price = solve(Costs(Decimal("4.996")), Terms(CENT, charge=Decimal("5.00")))
    assert str(price) == "0.00"


def test_the_textbook_price_backwards() -> None:
    # (8.16 + 0.98 + 5.00 + 6.95 + 0.40) / (1 - 0.13 * 1.08) - 5.00 = 21.49 / 0.8596 - 5.00 = 20.00
    assert solve(COSTS, terms(), profit=Decimal("6.95")) == Decimal("20.00")


@pytest.mark.parametrize(
    ("base", "price"),
    [
        # Of a price 100 - 30 - 13 % remain: (14.14 + 0.40 - 5.00) / 0.57 = 16.737. A cent less does, as its fee of
        # 2.5749 is 2.57: 21.73 - 2.57 - 14.14 = 5.02, and 30 % are 5.019.
        (FeeBase.ITEM, "16.73"),
        # (14.14 + 0.40 + 0.65 - 5.00) / 0.57 = 17.877. At 17.87 the fee is 3.37: 5.36 remain, and 30 % are 5.361.
        (FeeBase.POSTAGE, "17.88"),
        # 14.04 % with tax: (14.14 + 0.40 + 0.702 - 5.00) / 0.5596 = 18.302. At 18.30 tax is 1.86 and the fee
        # 3.6708, 3.67 rounded: 23.30 - 3.67 - 14.14 = 5.49, and 30 % are 5.49.
        (FeeBase.TAX, "18.30"),
    ],
)
def test_a_margin_on_each_base(base: FeeBase, price: str) -> None:
    assert solve(COSTS, terms(base), margin=Decimal("0.3")) == Decimal(price)


def test_lost_parcels_give_price_and_postage_back() -> None:
    one_in_fifty = Terms(CENT, NO_FEE, charge=Decimal("5.00"), lost=Decimal("0.02"))
    leaves = outcome(Decimal("20.00"), COSTS, one_in_fifty)
    # 2 % of 25.00; no cash leaves for them yet.
    assert leaves.allowance == Decimal("0.50")
    assert leaves.cash_kept == Decimal("19.02")
    assert leaves.profit == Decimal("19.02") - Decimal("8.16") - Decimal("0.50")


def test_nothing_charged_has_no_margin() -> None:
    assert outcome(Decimal(0), COSTS, terms()).margin is None


def test_postage_charged_may_pay_for_all() -> None:
    generous = Terms(CENT, NO_FEE, charge=Decimal("20.00"))
    assert solve(COSTS, generous) == 0


@pytest.mark.parametrize("margin", ["0.8596", "0.95"])
def test_fee_and_margin_may_leave_nothing_for_the_costs(margin: str) -> None:
    with pytest.raises(NoPriceError, match=r"0\.1404 for the fee \+ .* for the margin"):
        solve(COSTS, terms(), margin=Decimal(margin))


def test_a_currency_without_minor_unit() -> None:
    yen = Terms(Decimal(1), Fee(FeeBase.ITEM, Decimal("0.1"), Decimal(30)))
    # (500 + 30) / 0.9 = 588.9
    assert solve(Costs(Decimal(500)), yen) == Decimal(589)
    assert outcome(Decimal(589), Costs(Decimal(500)), yen).fee == Decimal(89)


AMOUNTS = st.decimals(0, 300, places=4)
COST = st.builds(Costs, AMOUNTS, AMOUNTS, AMOUNTS, AMOUNTS)
FEES = st.builds(Fee, st.sampled_from(FeeBase), st.decimals(0, "0.35", places=4), st.decimals(0, 3, places=2))
TERMS = st.builds(
    Terms,
    st.sampled_from([CENT, Decimal(1), Decimal("0.001")]),
    FEES,
    st.integers(0, 12).map(Decimal),
    st.decimals(0, "0.25", places=4),
    st.decimals(0, "0.1", places=4),
)


@given(COST, TERMS, st.decimals(0, "0.4", places=3), st.decimals(0, 50, places=2))
def test_a_solved_price_is_the_least_that_leaves_what_is_wanted(
    costs: Costs, on: Terms, margin: Decimal, profit: Decimal,
) -> None:
    price = solve(costs, on, margin, profit)

    def over(tried: Decimal) -> Decimal:
        """Return by how much a price leaves more than is wanted."""
        return outcome(tried, costs, on).profit - profit - margin * tried

    assert price >= 0
    assert price % on.unit == 0
    assert over(price) >= 0
    if price:
        # It is reached by less than one unit, and by no price below.
        assert over(price) < on.unit
        below = (price - on.unit * units for units in range(1, 60))
        assert all(over(tried) < 0 for tried in below if tried >= 0)


@given(COST, TERMS, st.decimals(0, "0.4", places=3))
def test_without_rounding_the_margin_is_the_one_wanted(costs: Costs, on: Terms, margin: Decimal) -> None:
    fine = Terms(Decimal("1E-12"), on.fee, on.charge, on.tax, on.lost)
    price = solve(costs, fine, margin)
    if price:
        assert abs(outcome(price, costs, fine).profit - margin * price) <= Decimal("1E-12")


@pytest.mark.parametrize(
    ("price", "endings", "ends"),
    [
        ("16.53", [], "16.53"),
        ("16.53", [".50"], "17.50"),
        ("16.50", [".50"], "16.50"),
        ("16.53", [".00", ".50"], "17.00"),
        ("16.53", [".50", ".95"], "16.95"),
        ("16.96", [".50", ".95"], "17.50"),
        ("0.00", [".95"], "0.95"),
    ],
)
def test_a_finished_price_is_the_next_one_at_or_above(price: str, endings: list[str], ends: str) -> None:
    assert finished(Decimal(price), list(map(Decimal, endings))) == Decimal(ends)
