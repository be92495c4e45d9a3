"""`millilot profile` on ledgers, activities of payment services and statements whose sums tell what is what."""

# ruff: noqa: E501  # files are as wide as they are

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from .proposals import Seller

if TYPE_CHECKING:
    from pathlib import Path

BANK = "Assets:Bank:Checking"


@pytest.fixture
def seller(tmp_path: Path) -> Seller:
    return Seller(tmp_path)


PARTS = """\
Order,Date,Kind,Title,Qty,Price,Postage,Fee,Net
1001,2026-02-05,Sale,Cedar Hour 5 mL decant,1,12.00,3.95,1.80,14.15
1002,2026-02-15,Sale,Quiet Reed 5 mL decant,1,13.00,3.95,1.90,15.05
1003,2026-02-18,Sale,Quiet Reed 5 mL decant,1,14.00,3.95,2.00,15.95
1002,2026-02-20,Refund,Quiet Reed 5 mL decant,1,-13.00,-3.95,-1.50,-15.45
1004,2026-02-25,Sale,Cedar Hour 5 mL decant,1,12.00,3.95,1.80,14.15
"""


@pytest.mark.parametrize("payout", ["", ",2026-02-27,Payout,,,,,,-20.00\n", ",2026-02-27,Payout,,,0.00,0.00,0.00,-20.00\n"])
def test_parts_make_the_amount_of_a_refund_where_only_the_net_has_a_column(seller: Seller, payout: str) -> None:
    file = seller.file(PARTS + payout)
    assert seller.propose(file).exit_code == 0
    assert (seller.profile()["columns.net"], "columns.amount" in seller.profile()) == ("Net", False)
    assert {fate["fate"] for fate in seller.run_import(file)["fates"]} == {"new"}
    # Sold for 51.00 with 15.80 postage; 16.95 went back, and of the fees of 7.50 a part of 1.50.
    sums = seller.sums()
    assert (sums["sales"], sums["postage"], sums["refunds"], sums["fees"]) == ("51", "15.8", "16.95", "6")
    assert (sums["balance"], sums.get("transit")) == (("23.85", "20") if payout else ("43.85", None))


def test_a_net_amount_that_its_parts_do_not_make_is_refused_in_any_row(seller: Seller) -> None:
    seller.propose(seller.file(PARTS))
    file = seller.file(PARTS.replace("-15.45", "-15.40").replace("15.95\n", "15.59\n"))
    outcome = seller.run_import(file)
    assert [(fate["row"], fate["reason"]) for fate in outcome["fates"] if fate["fate"] == "refused"] == [
        (4, "column 'Net': expected 15.95 from the other columns, found 15.59"),
        (5, "column 'Net': expected -15.45 from the other columns, found -15.40"),
    ]
