"""An order's life: from the channel's file to the pour, the payout and the year."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from click.testing import CliRunner

from millilot.reports.command import main

if TYPE_CHECKING:
    from .shop import Shop


def ask(shop: Shop, *arguments: str) -> Any:
    """Run a report on the books and return its JSON."""
    command = [*arguments, "-b", str(shop.books), "--format", "json"]
    result = CliRunner().invoke(main, command, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    assert result.stderr == ""
    return json.loads(result.stdout)


def waiting(shop: Shop, day: str) -> list[tuple[str, str, str, int]]:
    """Return the orders on the pour list of a day, with their bottle, mL and days."""
    return [
        (pour["order"], pour["bottle"], pour["ml"], pour["days"])
        for bottle in ask(shop, "pour", "--to", day)["bottles"]
        for pour in bottle["pours"]
    ]


def test_from_the_file_to_the_pour_to_the_payout_to_the_year(shop: Shop) -> None:
    """The buyer pays 12.00 and 4.00 postage; the channel takes 1.95 and pays out 14.05.

    The 5 mL cost 5 x 1.296 = 6.48. Receipts of 16.00 less that are 9.52, less the fee 7.57.
    """
    unshipped = {"Shipped on": "", "Settled on": "", "Payout": "", "Status": "Paid"}
    first = shop.outcome(shop.file(unshipped, name="march-04.csv"))
    assert (first["new"], first["rows"]) == (1, 1)

    # It waits, though its mL have left the bottle in the books.
    assert waiting(shop, "2026-03-06") == [("order-lantern-1001", "CH-1", "5", 2)]
    [bottle] = ask(shop, "stock", "--to", "2026-03-06")
    assert bottle["ml_left"] == "95"
    [held] = ask(shop, "pour", "--to", "2026-03-06")["bottles"]
    assert (held["held"], held["after"]) == ("100", "95")

    # Poured: nothing waits, and no figure has moved.
    command = ["poured", "lantern-1001", "--on", "2026-03-06", "-b", str(shop.books)]
    assert CliRunner().invoke(main, command, catch_exceptions=False).exit_code == 0
    assert waiting(shop, "2026-03-07") == []
    assert ask(shop, "stock", "--to", "2026-03-07")[0]["ml_left"] == "95"

    # The next file tells of the same order, now on its way, and adds nothing.
    again = shop.outcome(shop.file({}, name="march-11.csv"))
    assert (again["new"], again["known"]) == (0, 1)
    assert waiting(shop, "2026-03-11") == []

    # The channel pays, and the bank has it the same day.
    with shop.books.open("a", encoding="utf-8") as books:
        books.write(
            '\n2026-03-12 * "Payout" ^payout-lantern-P-9\n'
            "  Assets:Bank  14.05 USD\n  Assets:Marketplace:Lantern  -14.05 USD\n",
        )
    [payout] = ask(shop, "payouts")
    assert (payout["payout"], payout["amount"], payout["orders"], payout["state"], payout["bank_date"]) == (
        "payout-lantern-P-9", "14.05", ["order-lantern-1001"], "matched", "2026-03-12",
    )

    year = ask(shop, "year", "2026")
    assert {name: year[name] for name in ("gross_receipts", "cost_of_goods_sold", "fees", "business_profit")} == {
        "gross_receipts": "16.00", "cost_of_goods_sold": "6.48", "fees": "1.95", "business_profit": "7.57",
    }
    assert shop.errors() == []
