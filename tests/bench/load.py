"""How long books in draws take to load, beside the same events written out by hand.

Each size is written three times with the same events:

- draws: as an owner writes them, with the plugin;
- bare: the same text without the plugin line, so nothing is booked to stock;
- native: every stock and cost posting by hand, `{}` under FIFO and the cost left for Beancount to fill in;
  goods that come back name the lot and the cost they left at, as nothing else would bring them there.

With `--full` every sale also uses a vial and a mailer, and bottles are counted now and then; kits and stocktakes
write their postings in draws, native has them all by hand, and bare has none of them.

Every load has a process of its own, takes turns with the others and is timed in processor time. Run it as::

    .venv/bin/python tests/bench/load.py
    .venv/bin/python tests/bench/load.py --full
    .venv/bin/python tests/bench/load.py --sales 1000 10000
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

SEED = 20250101
FIRST_DAY = datetime.date(2025, 1, 1)
DAYS = 540
SALES_PER_FRAGRANCE = 25
#: mL and price of the bottles bought; most do not divide evenly.
BOTTLES = [(30, "64.90"), (50, "89.00"), (75, "100.00"), (100, "129.60")]
#: mL and price of the vials sold.
VIALS = [(2, "6.50"), (3, "8.00"), (5, "12.00"), (10, "21.00")]
TWO_LINES = 0.03
RETURNED = 0.01
#: Of the sales, how many are followed by a count of the bottle next in line; it shows 1 mL less than the books.
COUNTED = 0.02
#: What a pack of vials or mailers holds and costs.
PACK, PACK_PRICE = 500, "120.00"
PACK_COST = Decimal(PACK_PRICE) / PACK

SIZES = (1_000, 10_000, 100_000)
#: How often each size is loaded; the best run counts.
ROUNDS = {1_000: 5, 10_000: 11, 100_000: 3}

AGAINST_NATIVE = Decimal("0.8")
AGAINST_BARE = Decimal("1.4")
GROWTH = Decimal("1.3")
MEMORY = Decimal("1.0")
#: Below this size starting up hides the ratios.
SMALLEST_BOUND = 10_000

KINDS = ("draws", "bare", "native")


class Lot(NamedTuple):
    """A bottle: its label, mL, cost per mL and the day it came in."""

    label: str
    size: int
    cost: Decimal
    date: datetime.date


class Shelf:
    """The open bottles of one fragrance, oldest first, with the mL left in each."""

    def __init__(self) -> None:
        self.open: list[tuple[Lot, int]] = []
        self.bought = 0

    @property
    def left(self) -> int:
        return sum(left for _, left in self.open)

    def take(self, quantity: int) -> list[tuple[Lot, int]]:
        """Take mL from the oldest bottles; return (bottle, mL) for each."""
        parts = []
        while quantity:
            lot, left = self.open[0]
            taken = min(left, quantity)
            parts.append((lot, taken))
            quantity -= taken
            self.open[:1] = [(lot, left - taken)] if left > taken else []
        return parts

    def put_back(self, parts: list[tuple[Lot, int]]) -> None:
        """Return mL to the bottles they left."""
        lefts = dict(self.open)
        for lot, quantity in parts:
            lefts[lot] = lefts.get(lot, 0) + quantity
        self.open = sorted(lefts.items(), key=lambda item: (item[0].date, item[0].label))


class Texts:
    """The same events in both ways of writing, as lines.

    Args:
        full: whether sales use supplies.
    """

    def __init__(self, *, full: bool) -> None:
        self.full = full
        self.draws: list[str] = []
        self.native: list[str] = []

    def both(self, *lines: str) -> None:
        self.draws.extend(lines)
        self.native.extend(lines)

    def open(self, day: datetime.date, fragrances: list[str]) -> None:
        self.both(
            'option "operating_currency" "USD"',
            'option "inferred_tolerance_default" "USD:0.005"',
            'option "use_precise_interpolation" "TRUE"',
        )
        for account in (
            "Assets:Bank", "Assets:Marketplace:Lantern", "Income:Refunds", "Expenses:Selling:Fees",
            "Expenses:CostOfGoods:Fragrance", "Assets:Stock:Inbound",
        ):
            self.both(f"{day} open {account}")
        for fragrance in fragrances:
            self.both(f"{day} open Income:Sales:{_account(fragrance)}")
            self.draws.append(f'{day} open Assets:Stock:{_account(fragrance)} "NONE"')
            self.native.append(f'{day} open Assets:Stock:{_account(fragrance)} "FIFO"')
        if self.full:
            self._open_supplies(day)

    def _open_supplies(self, day: datetime.date) -> None:
        for account in ("CostOfGoods:Supplies", "CostOfGoods:Shrinkage", "Selling:Packing"):
            self.both(f"{day} open Expenses:{account}")
        for supply in ("VIAL", "MAILER"):
            self.both(f"{day} commodity {supply}", '  unit: "each"')
            self.draws.append(f'{day} open Assets:Stock:{_account(supply)} "NONE"')
            self.native.append(f'{day} open Assets:Stock:{_account(supply)} "FIFO"')
        self.draws += [f'{day} custom "kit" "{size} mL" 1 VIAL' for size, _ in VIALS]
        self.draws.append(f'{day} custom "kit" "parcel" 1 MAILER')

    def count(self, day: datetime.date, lot: Lot, left: int) -> None:
        fragrance = lot.label.partition("-")[0]
        self.draws.append(f'{day} custom "stocktake" "{lot.label}" {left} {fragrance}')
        self.native += [
            f'{day - datetime.timedelta(days=1)} * "Stocktake of {lot.label}"',
            f"  Assets:Stock:{_account(fragrance)}  -1 {fragrance} {{}}",
            "  Expenses:CostOfGoods:Shrinkage",
        ]

    def purchase(self, day: datetime.date, fragrance: str, label: str, size: int, price: str) -> None:
        self.both(
            f'{day} * "Supplier" "{label}" ^purchase-{label}',
            f'  Assets:Stock:{_account(fragrance)}  {size} {fragrance} {{{{{price} USD, "{label}"}}}}',
            f"  Assets:Bank  -{price} USD",
        )

    def sale(self, day: datetime.date, number: int, lines: list[tuple[str, int, str]]) -> None:
        total = sum(Decimal(price) for _, _, price in lines)
        fee = (total * Decimal("0.09")).quantize(Decimal("0.01"))
        self.both(f'{day} * "Lantern" "Order {number}" ^order-{number}')
        for fragrance, quantity, price in lines:
            account = _account(fragrance)
            self.draws.append(f"  Income:Sales:{account}  -{quantity} {fragrance} @@ {price} USD")
            self.native.append(f"  Income:Sales:{account}  -{price} USD")
        self.both(f"  Expenses:Selling:Fees  {fee} USD", f"  Assets:Marketplace:Lantern  {total - fee} USD")
        for fragrance, quantity, _ in lines:
            self.native.append(f"  Assets:Stock:{_account(fragrance)}  -{quantity} {fragrance} {{}}")
        self.native.append("  Expenses:CostOfGoods:Fragrance")
        if self.full:
            self.native += [
                f"  Assets:Stock:Vial  -{len(lines)} VIAL {{}}",
                f"  Expenses:CostOfGoods:Supplies  {len(lines) * PACK_COST} USD",
                "  Assets:Stock:Mailer  -1 MAILER {}",
                f"  Expenses:Selling:Packing  {PACK_COST} USD",
            ]

    def goods_back(
        self, day: datetime.date, number: int, fragrance: str, price: str, parts: list[tuple[Lot, int]],
    ) -> None:
        quantity = sum(taken for _, taken in parts)
        self.both(f'{day} * "Lantern" "Order {number} came back" ^order-{number}')
        self.draws.append(f"  Income:Refunds  {quantity} {fragrance} @@ {price} USD")
        self.native.append(f"  Income:Refunds  {price} USD")
        self.both(f"  Assets:Marketplace:Lantern  -{price} USD")
        for lot, taken in parts:
            cost = f'{{{lot.cost} USD, {lot.date}, "{lot.label}"}}'
            self.native.append(f"  Assets:Stock:{_account(fragrance)}  {taken} {fragrance} {cost}")
        self.native.append("  Expenses:CostOfGoods:Fragrance")


def _account(fragrance: str) -> str:
    return fragrance.title()


class Seller:
    """Someone who sells a number of orders over the days, and writes it all down.

    Args:
        sales: how many orders.
        full: whether sales use supplies, and bottles are counted.
    """

    def __init__(self, sales: int, *, full: bool) -> None:
        self._chance = random.Random(SEED)
        self._sales = sales
        self._full = full
        self._fragrances = [f"SCENT{number:05d}" for number in range(1, max(2, sales // SALES_PER_FRAGRANCE) + 1)]
        self._shelves = {fragrance: Shelf() for fragrance in self._fragrances}
        self._back: list[tuple[datetime.date, int, str, str, list[tuple[Lot, int]]]] = []
        self._uncounted: set[str] = set()
        self.texts = Texts(full=full)

    def write(self) -> Texts:
        """Write everything that happens."""
        self.texts.open(FIRST_DAY, self._fragrances)
        for fragrance in self._fragrances:
            self._buy(FIRST_DAY, fragrance)
            self._buy(FIRST_DAY, fragrance)
        yesterday = FIRST_DAY
        for number in range(1, self._sales + 1):
            day = FIRST_DAY + datetime.timedelta(days=1 + number * DAYS // self._sales)
            if day > yesterday:
                self._begin(day)
                yesterday = day
            if self._full and number % (PACK // 2) == 1:
                # Few orders have two lines, so a pack lasts for more orders than that.
                for supply in ("VIAL", "MAILER"):
                    self.texts.purchase(day, supply, f"{supply}-{number}", PACK, PACK_PRICE)
            self._sell(day, number)
        return self.texts

    def _begin(self, day: datetime.date) -> None:
        """Take in what came back until today, and count bottles of yesterday's sales."""
        while self._back and self._back[0][0] < day:
            came, earlier, fragrance, price, parts = self._back.pop(0)
            self.texts.goods_back(came, earlier, fragrance, price, parts)
            self._shelves[fragrance].put_back(parts)
        for fragrance in sorted(self._uncounted):
            # The books have 1 mL more than is found.
            ((lot, _),) = self._shelves[fragrance].take(1)
            self.texts.count(day, lot, dict(self._shelves[fragrance].open).get(lot, 0))
        self._uncounted.clear()

    def _sell(self, day: datetime.date, number: int) -> None:
        chosen = self._chance.sample(self._fragrances, 2 if self._chance.random() < TWO_LINES else 1)
        lines = [(fragrance, *self._chance.choice(VIALS)) for fragrance in chosen]
        for fragrance, quantity, _ in lines:
            if self._shelves[fragrance].left < quantity + BOTTLES[0][0]:
                self._buy(day, fragrance)
        self.texts.sale(day, number, lines)
        taken = [self._shelves[fragrance].take(quantity) for fragrance, quantity, _ in lines]
        fragrance, _, price = lines[0]
        if self._chance.random() < RETURNED:
            self._back.append((day + datetime.timedelta(days=9), number, fragrance, price, taken[0]))
        if self._full and self._chance.random() < COUNTED:
            self._uncounted.add(fragrance)

    def _buy(self, day: datetime.date, fragrance: str) -> None:
        shelf = self._shelves[fragrance]
        shelf.bought += 1
        size, price = self._chance.choice(BOTTLES)
        label = f"{fragrance}-{shelf.bought}"
        shelf.open.append((Lot(label, size, Decimal(price) / size, day), size))
        self.texts.purchase(day, fragrance, label, size, price)


def write_books(sales: int, folder: Path, *, full: bool = False) -> dict[str, Path]:
    """Write the books of a size, with kits and stocktakes if they are to be full; return the file of each kind."""
    texts = Seller(sales, full=full).write()
    files = {kind: folder / f"{kind}-{sales}.beancount" for kind in KINDS}
    draws = "\n".join(texts.draws) + "\n"
    files["draws"].write_text(f'plugin "millilot.plugins"\n{draws}')
    files["bare"].write_text(draws)
    files["native"].write_text("\n".join(texts.native) + "\n")
    return files


class Load(NamedTuple):
    """One load: seconds of processor time and peak memory in MiB."""

    seconds: float
    memory: float


def load_here(file: str) -> None:
    """Load books in this process and print the figures as JSON."""
    from beancount import loader

    if Path(file).name.startswith("draws"):
        import millilot.plugins  # noqa: F401  # its import is no part of loading books

    start = time.process_time()
    entries, errors, _ = loader.load_file(file)
    seconds = time.process_time() - start
    if errors:
        sys.exit(f"{len(errors)} errors in {file}; the first: {errors[0].source} {errors[0].message}")
    # Linux counts in KiB.
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "memory": memory, "entries": len(entries)}))


def load_in_child(file: Path) -> Load:
    """Load books in a fresh process without the load cache."""
    command = [sys.executable, __file__, "--file", str(file)]
    environment = {**os.environ, "BEANCOUNT_DISABLE_LOAD_CACHE": "1"}
    result = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    if result.returncode:
        sys.exit(result.stderr.strip())
    figures = json.loads(result.stdout)
    return Load(figures["seconds"], figures["memory"])


def measure(sales: int, folder: Path, *, full: bool) -> dict[str, Load]:
    """Return the best load of each kind."""
    files = write_books(sales, folder, full=full)
    loads: dict[str, list[Load]] = {kind: [] for kind in KINDS}
    for turn in range(ROUNDS.get(sales, 1)):
        for kind in KINDS if turn % 2 == 0 else reversed(KINDS):
            loads[kind].append(load_in_child(files[kind]))
    return {
        kind: Load(min(load.seconds for load in runs), min(load.memory for load in runs))
        for kind, runs in loads.items()
    }


def verdicts(results: dict[int, dict[str, Load]]) -> Iterator[tuple[str, float, Decimal, bool]]:
    """Yield (what, ratio, bound, whether the bound applies) for every ratio."""
    for sales, best in results.items():
        bound = sales >= SMALLEST_BOUND
        draws, bare, native = (best[kind] for kind in KINDS)
        yield f"{sales:,} sales: time, draws / native", draws.seconds / native.seconds, AGAINST_NATIVE, bound
        yield f"{sales:,} sales: time, draws / bare", draws.seconds / bare.seconds, AGAINST_BARE, bound
        yield f"{sales:,} sales: memory, draws / native", draws.memory / native.memory, MEMORY, bound
    if {10_000, 100_000} <= results.keys():
        growth = results[100_000]["draws"].seconds / results[10_000]["draws"].seconds / 10
        yield "time per sale, 100,000 / 10,000", growth, GROWTH, True


def main() -> None:
    """Load books of every size, print what was found and hold it to the bounds."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--sales", nargs="+", type=int, default=SIZES, metavar="N", help="sizes to load")
    parser.add_argument("--full", action="store_true", help="with kits and stocktakes")
    parser.add_argument("--file", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.file:
        load_here(arguments.file)
        return
    results = {}
    print(f"{'sales':>8}  {'kind':<7} {'seconds':>8} {'ms/sale':>8} {'MiB':>7}")
    with tempfile.TemporaryDirectory() as folder:
        for size in sorted(arguments.sales):
            results[size] = measure(size, Path(folder), full=arguments.full)
            for kind, load in results[size].items():
                each = load.seconds / size * 1000
                print(f"{size:>8,}  {kind:<7} {load.seconds:>8.2f} {each:>8.3f} {load.memory:>7.0f}")
    broken = 0
    print(f"\n{'':<44} {'ratio':>6} {'bound':>6}")
    for what, ratio, bound, applies in verdicts(results):
        missed = applies and ratio > bound
        broken += missed
        word = "missed" if missed else "held" if applies else "not judged"
        print(f"{what:<44} {ratio:>6.3f} {bound:>6} {word}")
    if broken:
        sys.exit(1)


if __name__ == "__main__":
    main()
