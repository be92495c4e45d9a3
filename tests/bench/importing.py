"""How long a channel's file takes to import, beside importers made for that one file with beangulp's csvbase.

The file has a row an order and 19 columns. It is read three times:

- millilot: `ChannelImporter.extract`, which checks every row and tells what became of it;
- csvbase: an importer of the same columns that books the same entries. This is held against the entries
  themselves before anything is timed;
- bare: csvbase as it comes, with one posting an order from three columns, for scale.

Every import has a process of its own, takes turns with the others and is timed in processor time. Run it as::

    .venv/bin/python tests/bench/importing.py
    .venv/bin/python tests/bench/importing.py --rows 1000 10000
"""

from __future__ import annotations

import argparse
import datetime
import json
import random
import re
import resource
import subprocess
import sys
import tempfile
import time
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core import data
from beancount.core.amount import Amount
from beangulp.importers import csvbase

from millilot.importers.channel import ChannelImporter

if TYPE_CHECKING:
    from collections.abc import Iterator

    from beancount.core.data import Directive, Posting, Transaction

SEED = 20250701
FIRST_DAY = datetime.date(2025, 7, 1)
DAYS = 500
NAMES = {
    "Cedar Hour": "CEDARHOUR",
    "Quiet Reed": "QUIETREED",
    "Ash Parcel": "ASHPARCEL",
    "Grey Gannet": "GREYGANNET",
    "Moss Teller": "MOSSTELLER",
}
#: mL and cents of the vials sold.
VIALS = [(2, 650), (3, 800), (5, 1200), (10, 2100)]
POSTAGE = (0, 495)
LABELS = (435, 468)

HEADINGS = (
    "Order,Ordered on,Shipped on,Settled on,Status,Buyer,Item,Quantity,Item total,Postage charged,Sales tax,"
    "Selling fee,Label,Net,Payout,Refunded,Refunded on,Fee refunded,Tax refunded"
)

PROFILE = """
channel = "Lantern"
currency = "USD"
dates.format = "%Y-%m-%d"

[columns]
order = "Order"
ordered = "Ordered on"
settled = "Settled on"
shipped = "Shipped on"
title = "Item"
quantity = "Quantity"
price = "Item total"
postage = "Postage charged"
tax = "Sales tax"
net = "Net"
payout = "Payout"
status = "Status"

[status]
skip = ["Unpaid"]
book = ["Paid", "Shipped"]

[[fees]]
column = "Selling fee"
kind = "commission"

[[fees]]
column = "Label"
kind = "label"
role = "postage"

[refund]
amount = "Refunded"
date = "Refunded on"
fee = "Fee refunded"
tax = "Tax refunded"

[titles.names]
""" + "\n".join(f'"{name}" = "{code}"' for name, code in NAMES.items())

SIZES = (1_000, 10_000, 100_000)
#: How often each size is imported; the best run counts.
ROUNDS = {1_000: 5, 10_000: 9, 100_000: 3}
#: Rows of the file in which the entries are compared.
COMPARED = 500

AGAINST_CSVBASE = Decimal("1.0")
GROWTH = Decimal("1.2")
#: Entries have to be held; little else should be.
MEMORY = Decimal("2.0")
#: Below this size what is done once for a file counts for more than its rows.
SMALLEST_BOUND = 10_000

KINDS = ("millilot", "csvbase", "bare")


class _Optional(csvbase.Amount):
    """An amount that may be left out."""

    def parse(self, value: str) -> Decimal | None:
        return Decimal(value) if value else None


class _OptionalDate(csvbase.Date):
    """A day that may be left out."""

    def parse(self, value: str) -> datetime.date | None:
        day: datetime.date | None = super().parse(value) if value else None
        return day


class BareImporter(csvbase.Importer):
    """Books what an order left with the channel, and nothing else."""

    date = csvbase.Date("Ordered on")
    narration = csvbase.Column("Item")
    amount = csvbase.Amount("Net")

    def __init__(self) -> None:
        super().__init__("Assets:Marketplace:Lantern", "USD")

    def identify(self, filepath: str) -> bool:
        return filepath.endswith(".csv")


class LanternImporter(csvbase.Importer):
    """Books the orders as the profile does, for this file and no other."""

    date = csvbase.Date("Ordered on")
    narration = csvbase.Column("Item")
    amount = csvbase.Amount("Net")
    order_number = csvbase.Column("Order")
    shipped = csvbase.Column("Shipped on")
    settled = _OptionalDate("Settled on")
    status = csvbase.Column("Status")
    quantity = csvbase.Amount("Quantity")
    price = csvbase.Amount("Item total")
    postage = _Optional("Postage charged")
    tax = _Optional("Sales tax")
    fee = _Optional("Selling fee")
    label = _Optional("Label")
    payout = csvbase.Column("Payout")
    refunded = _Optional("Refunded")
    refunded_on = _OptionalDate("Refunded on")
    fee_refunded = _Optional("Fee refunded")
    tax_refunded = _Optional("Tax refunded")

    _title = re.compile(r"(?P<name>.+) decant, (?P<ml>\d+) mL")

    def __init__(self) -> None:
        super().__init__("Assets:Marketplace:Lantern", "USD")

    def identify(self, filepath: str) -> bool:
        return filepath.endswith(".csv")

    def metadata(self, filepath: str, lineno: int, row: Any) -> dict[str, Any]:
        meta: dict[str, Any] = super().metadata(filepath, lineno, row)
        meta["event"] = f"lantern/sale/{row.order_number}"
        meta["ordered"] = row.date
        if settled := row.settled:
            meta["settled"] = settled
        return meta

    def finalize(self, txn: Transaction, row: Any) -> Transaction | None:
        self._check(row)
        if row.status == "Unpaid":
            return None
        postings = self._postings(row)
        links = {f"order-lantern-{row.order_number}"}
        if payout := row.payout:
            links.add(f"payout-lantern-{payout}")
        tags = data.EMPTY_SET if row.shipped else frozenset({"to-pour"})
        return txn._replace(tags=tags, links=frozenset(links), postings=postings)

    @staticmethod
    def _check(row: Any) -> None:
        if row.status not in {"Unpaid", "Paid", "Shipped"}:
            raise ValueError(f"status {row.status}")
        if row.refunded or row.refunded_on or row.fee_refunded or row.tax_refunded:
            raise ValueError("refunds would be transactions of their own, and csvbase has one a row")

    def _postings(self, row: Any) -> list[Posting]:
        price, postage, tax = row.price, row.postage, row.tax
        fees = [("Expenses:Selling:Fees", "commission", row.fee), ("Expenses:Selling:Postage", "label", row.label)]
        title = self._title.fullmatch(row.narration)
        if title is None:
            raise ValueError(f"title {row.narration}")
        ml = row.quantity * int(title["ml"])
        sold = Amount(-ml, NAMES[title["name"]])
        postings: list[Posting] = [
            data.Posting("Income:Sales", sold, None, Amount(price / ml, "USD"), None, {}),
        ]
        net = price
        if postage:
            postings.append(_posting("Income:Postage", -postage, {}))
            net += postage
        for account, kind, amount in fees:
            if amount:
                postings.append(_posting(account, amount, {"fee": kind}))
                net -= amount
        if tax:
            postings += [_posting("Liabilities:SalesTax", -tax, {}), _posting("Liabilities:SalesTax", tax, {})]
        if net != row.amount:
            raise ValueError(f"net {row.amount}")
        postings.append(_posting("Assets:Marketplace:Lantern", net, {}))
        return postings


def _posting(account: str, amount: Decimal, meta: dict[str, Any]) -> Posting:
    return data.Posting(account, Amount(amount, "USD"), None, None, None, meta)


def write_file(rows: int, folder: Path) -> Path:
    """Write the file of a size, and the profile beside it."""
    chance = random.Random(SEED)
    (folder / "lantern.toml").write_text(PROFILE)
    file = folder / f"lantern-{rows}.csv"
    with file.open("w") as out:
        print(HEADINGS, file=out)
        for number in range(rows):
            day = FIRST_DAY + datetime.timedelta(days=number * DAYS // rows)
            ml, price = chance.choice(VIALS)
            postage, label = chance.choice(POSTAGE), chance.choice(LABELS)
            tax = price * 8 // 100 if chance.random() < 0.1 else 0
            fee = (price + postage) * 12 // 100 + 40
            amounts = (price, postage, tax, fee, label, price + postage - fee - label)
            cells = [f"{cents / 100:.2f}" if cents else "" for cents in amounts]
            print(
                10_000 + number, day, day, day + datetime.timedelta(days=2), "Shipped", f"buyer-{number}",
                f'"{chance.choice(list(NAMES))} decant, {ml} mL"', 1, *cells, f"L-{day:%y%m}", "", "", "", "",
                sep=",", file=out,
            )
    return file


def extract(kind: str, file: Path) -> list[Directive]:
    """Return the entries of a file, as one of the kinds makes them."""
    if kind == "millilot":
        return ChannelImporter(file.parent / "lantern.toml").extract(str(file), [])
    importer = LanternImporter() if kind == "csvbase" else BareImporter()
    entries: list[Directive] = importer.extract(str(file), [])
    return entries


class Run(NamedTuple):
    """One import: seconds of processor time, and peak memory in MiB."""

    seconds: float
    memory: float


def import_here(kind: str, file: Path) -> None:
    """Import a file in this process and print the figures as JSON."""
    start = time.process_time()
    entries = extract(kind, file)
    seconds = time.process_time() - start
    # Linux counts in KiB.
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "memory": memory, "entries": len(entries)}))


def import_in_child(kind: str, file: Path, rows: int) -> Run:
    """Import a file in a fresh process."""
    command = [sys.executable, __file__, "--kind", kind, "--file", str(file)]
    result = subprocess.run(command, capture_output=True, text=True, check=False)
    if result.returncode:
        sys.exit(result.stderr.strip())
    figures = json.loads(result.stdout)
    if figures["entries"] != rows:
        sys.exit(f"{kind}: {figures['entries']} entries of {rows} rows")
    return Run(figures["seconds"], figures["memory"])


def measure(rows: int, folder: Path) -> dict[str, Run]:
    """Return the best import of each kind."""
    file = write_file(rows, folder)
    runs: dict[str, list[Run]] = {kind: [] for kind in KINDS}
    for turn in range(ROUNDS.get(rows, 1)):
        for kind in KINDS if turn % 2 == 0 else reversed(KINDS):
            runs[kind].append(import_in_child(kind, file, rows))
    return {
        kind: Run(min(run.seconds for run in each), min(run.memory for run in each))
        for kind, each in runs.items()
    }


def require_same_work(folder: Path) -> None:
    """Make sure that both importers give the same entries."""
    file = write_file(COMPARED, folder)
    pairs = zip(extract("millilot", file), extract("csvbase", file), strict=True)
    for ours, other in pairs:
        if ours != other:
            sys.exit(f"the importers differ:\n{ours}\n{other}")


def verdicts(results: dict[int, dict[str, Run]]) -> Iterator[tuple[str, float, Decimal | None]]:
    """Yield (what, ratio, its bound if it has one) for every ratio."""
    for rows, best in results.items():
        ours, other, bare = (best[kind] for kind in KINDS)
        bound = AGAINST_CSVBASE if rows >= SMALLEST_BOUND else None
        yield f"{rows:,} rows: time, millilot / csvbase", ours.seconds / other.seconds, bound
        yield f"{rows:,} rows: time, millilot / bare", ours.seconds / bare.seconds, None
    if {10_000, 100_000} <= results.keys():
        small, large = results[10_000], results[100_000]
        growth = large["millilot"].seconds / small["millilot"].seconds / 10
        yield "time per row, 100,000 / 10,000", growth, GROWTH
        taken = [large[kind].memory - small[kind].memory for kind in ("millilot", "csvbase")]
        yield "memory per row, millilot / csvbase", taken[0] / taken[1], MEMORY


def main() -> None:
    """Import files of every size, print what was found and hold it to the bounds."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--rows", nargs="+", type=int, default=SIZES, metavar="N", help="sizes to import")
    parser.add_argument("--kind", choices=KINDS, help=argparse.SUPPRESS)
    parser.add_argument("--file", type=Path, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.file:
        import_here(arguments.kind, arguments.file)
        return
    results = {}
    print(f"{'rows':>8}  {'kind':<8} {'seconds':>8} {'us/row':>8} {'MiB':>7}")
    with tempfile.TemporaryDirectory() as folder:
        require_same_work(Path(folder))
        for size in sorted(arguments.rows):
            results[size] = measure(size, Path(folder))
            for kind, run in results[size].items():
                each = run.seconds / size * 1_000_000
                print(f"{size:>8,}  {kind:<8} {run.seconds:>8.3f} {each:>8.1f} {run.memory:>7.0f}")
    missed = False
    print(f"\n{'':<42} {'ratio':>6} {'bound':>6}")
    for what, ratio, bound in verdicts(results):
        above = bound is not None and ratio > bound
        missed |= above
        word = "not judged" if bound is None else "missed" if above else "held"
        print(f"{what:<42} {ratio:>6.3f} {bound if bound is not None else '-':>6} {word}")
    if missed:
        sys.exit(1)


if __name__ == "__main__":
    main()
