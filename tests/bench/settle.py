"""How long it takes to find what payouts without numbers paid, beside loading the books.

The books hold 10,000 sales and 500 payouts of one channel. No link names a payout; now and then an event is held
back for a payout or two, and each payout leaves what became available in its last day for the next. Both parts
are timed in processor time, and what is found is held against what was paid. Run it as::

    .venv/bin/python tests/bench/settle.py
    .venv/bin/python tests/bench/settle.py --sales 2000 --payouts 100
"""

from __future__ import annotations

import argparse
import datetime
import random
import sys
import tempfile
import time
from decimal import Decimal
from pathlib import Path

from beancount import loader

from millilot.ledger.reading import read_books
from millilot.reports.payouts import settle

SEED = 20250101
FIRST_DAY = datetime.date(2015, 1, 1)
FRAGRANCES = 200
#: One sale in so many is held back.
HELD = 100
#: Finding what was paid may take as long as loading.
BOUND = 1.0

HEAD = """plugin "millilot.plugins"
option "operating_currency" "USD"
option "inferred_tolerance_default" "USD:0.005"
2014-01-01 open Assets:Bank USD
2014-01-01 open Assets:Marketplace:Lantern USD
2014-01-01 open Income:Sales USD
2014-01-01 open Expenses:CostOfGoods:Fragrance USD
2014-01-01 open Expenses:Selling:Fees USD
2014-01-01 open Equity:Contributed USD
"""


def write(path: Path, sales: int, payouts: int) -> list[set[str]]:
    """Write the books; return the orders that each payout paid."""
    chance = random.Random(SEED)
    lines = [HEAD]
    for number in range(FRAGRANCES):
        lines += [
            f'2014-01-01 open Assets:Stock:F{number} "NONE"',
            '2014-01-02 * "bottle"',
            f'  Assets:Stock:F{number}  100000 FR{number} {{{{100000.00 USD, "B{number}"}}}}',
            "  Equity:Contributed",
        ]
    each = sales // payouts
    waiting: list[tuple[str, Decimal]] = []
    truth = []
    for payout in range(payouts):
        day = FIRST_DAY + datetime.timedelta(days=7 * payout)
        late = []
        for sale in range(each):
            order = f"order-lantern-{payout * each + sale}"
            price = Decimal(chance.randrange(500, 4000)).scaleb(-2)
            fee = (price * Decimal("0.13")).quantize(Decimal("0.01")) + Decimal("0.40")
            on = day + datetime.timedelta(days=7 * sale // each)
            lines += [
                f'{on} * "sale" ^{order}',
                f"  Income:Sales  -5 FR{chance.randrange(FRAGRANCES)} @@ {price} USD",
                f"  Expenses:Selling:Fees  {fee} USD",
                f"  Assets:Marketplace:Lantern  {price - fee} USD",
            ]
            stays = sale == each - 1 or chance.randrange(HELD) == 0
            (late if stays else waiting).append((order, price - fee))
        total = sum((amount for _, amount in waiting), Decimal(0))
        truth.append({order for order, _ in waiting})
        lines += [
            f'{day + datetime.timedelta(days=6)} * "payout"',
            f"  Assets:Marketplace:Lantern  {-total} USD",
            f"  Assets:Bank  {total} USD",
        ]
        waiting = late
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return truth


def main() -> None:
    """Load the books, settle them, and hold the time and the findings to what is promised."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--sales", type=int, default=10_000, metavar="N")
    parser.add_argument("--payouts", type=int, default=500, metavar="N")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "main.beancount"
        truth = write(path, arguments.sales, arguments.payouts)
        start = time.process_time()
        entries, errors, options = loader._load([(str(path), True)], None, None, None)
        loading = time.process_time() - start
    if errors:
        sys.exit(f"The books have errors: {errors[0].message}")
    books = read_books(entries, options)
    start = time.process_time()
    [settlement] = settle(books)
    settling = time.process_time() - start
    # Of orders of one amount that could stand for each other none is named, so fewer may be found than were paid.
    found = [set(each.payout.orders) for each in settlement.payouts]
    wrong = sum(not orders <= paid for orders, paid in zip(found, truth, strict=True))
    whole = sum(orders == paid for orders, paid in zip(found, truth, strict=True))
    matched = sum(each.payout.state == "matched" for each in settlement.payouts)
    several = sum(each.ambiguous for each in settlement.payouts)
    print(f"loading {loading:.2f} s, settling {settling:.2f} s, bound {BOUND} of it")
    print(f"{len(truth)} payouts: {matched} matched, {whole} with every order named; {several} with several")
    print(f"explanations; {wrong} wrong")
    if wrong or settling > loading * BOUND:
        sys.exit(1)


if __name__ == "__main__":
    main()
