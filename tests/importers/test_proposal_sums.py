"""Which columns add up to which, though a row is odd."""

from __future__ import annotations

import pytest

from millilot.importers.proposal.sums import solve


@pytest.mark.parametrize("odd", range(4))
def test_one_odd_row_of_four(odd: int) -> None:
    price, fee, tax = (1200, 800, 1500, 600), (120, 80, 0, 60), (0, 64, 120, 48)
    net = [a - b + c for a, b, c in zip(price, fee, tax, strict=True)]
    net[odd] += 7
    columns = {"price": price, "fee": fee, "tax": tax}
    best = solve(tuple(net), columns, lambda _name, _sign: 0.0, fixed=("price",))[0]
    assert best.signs == {"price": 1, "fee": -1, "tax": 1}
    assert best.failing == (odd,)
