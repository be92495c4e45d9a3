"""Random lives of bottles with everything that may befall them, and what must be left by plain adding up."""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from hypothesis import strategies as st

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from beancount.core.data import Posting

FIRST_DAY = datetime.date(2026, 1, 5)
POUR_LOSS = Decimal("0.1")

#: What may happen to a bottle, beside the purchases with which all begins.
KINDS = (
    "sale", "sale", "sale to pour", "return", "late cost", "supplier return", "lost", "sampled", "kept", "swap",
    "stocktake", "stocktake",
)
_USED_ON = {"lost": "Expenses:Loss", "sampled": "Expenses:Samples", "kept": "Equity:PersonalUse"}

ACCOUNTS = """
option "operating_currency" "USD"
option "inferred_tolerance_default" "USD:0.005"
option "use_precise_interpolation" "TRUE"
2020-01-01 custom "pour-loss" 0.1
2020-01-01 open Assets:Bank USD
2020-01-01 open Assets:Stock:Cedarhour "NONE"
2020-01-01 open Assets:Stock:Quietreed "NONE"
2020-01-01 open Assets:Stock:Inbound USD
2020-01-01 open Income:Sales USD
2020-01-01 open Income:Refunds USD
2020-01-01 open Income:Swaps USD
2020-01-01 open Expenses:CostOfGoods USD
2020-01-01 open Expenses:CostOfGoods:Fragrance USD
2020-01-01 open Expenses:CostOfGoods:Shrinkage USD
2020-01-01 open Expenses:Samples USD
2020-01-01 open Expenses:Loss USD
2020-01-01 open Equity:PersonalUse USD
"""


@dataclass
class Bottle:
    """A bottle, and the sales from it that can still come back."""

    label: str
    fragrance: str
    size: int
    price: Decimal
    purchase: str
    left: Decimal
    sales: list[tuple[str, Decimal]] = field(default_factory=list)
    waiting: dict[str, Decimal] = field(default_factory=dict)

    @property
    def account(self) -> str:
        return f"Assets:Stock:{self.fragrance.title()}"

    @property
    def bought(self) -> str:
        """The posting that buys it."""
        return f'  {self.account}  {self.size} {self.fragrance} {{{{{self.price} USD, "{self.label}"}}}}\n'


@dataclass
class Life:
    """Entries as an owner writes them, and what follows from them.

    Attributes:
        entries: the texts.
        bottles: by label.
        paid: what came in at cost, less what the supplier refunded, by purchase.
    """

    entries: list[str] = field(default_factory=list)
    bottles: dict[str, Bottle] = field(default_factory=dict)
    paid: dict[str, Decimal] = field(default_factory=lambda: defaultdict(Decimal))

    def left(self) -> dict[str, Decimal]:
        return {label: bottle.left for label, bottle in self.bottles.items() if bottle.left}

    def bring(self, fragrance: str, size: int, price: Decimal, purchase: str) -> Bottle:
        label = f"B{len(self.bottles) + 1}"
        bottle = self.bottles[label] = Bottle(label, fragrance, size, price, purchase, Decimal(size))
        self.paid[purchase] += price
        return bottle

    def write(self, day: datetime.date, head: str, *lines: str) -> None:
        self.entries.append("\n".join([f"\n{day} {head}", *(f"  {line}" for line in lines)]) + "\n")


@st.composite
def lives(draw: Callable[..., Any]) -> Life:
    """Return a strategy for lives over few days, so that much happens on the same one."""
    life = Life()
    cents = st.integers(1, 9_999).map(lambda number: Decimal(number) / 100)
    for number in range(draw(st.integers(1, 3))):
        purchase, inbound = f"purchase-{number}", draw(cents)
        bottles = [
            life.bring(draw(st.sampled_from(["CEDARHOUR", "QUIETREED"])), draw(st.sampled_from([50, 100])),
                       draw(cents), purchase)
            for _ in range(draw(st.integers(1, 2)))
        ]
        life.paid[purchase] += inbound
        life.entries.append(
            f'\n{FIRST_DAY} * "bought" ^{purchase}\n{"".join(bottle.bought for bottle in bottles)}'
            f"  Assets:Stock:Inbound  {inbound} USD\n  Assets:Bank\n",
        )
    happenings = draw(
        st.lists(st.tuples(st.integers(1, 6), st.sampled_from(KINDS), st.integers(0, 99), cents), max_size=14)
    )
    numbered = [(day, number, *rest) for number, (day, *rest) in enumerate(happenings)]
    for day in range(1, 7):
        of_day = [happening for happening in numbered if happening[0] == day]
        # A count is of the morning; a bottle is counted once.
        counted = {
            list(life.bottles)[choice % len(life.bottles)]: amount
            for _, _, kind, choice, amount in of_day
            if kind == "stocktake"
        }
        for label, amount in counted.items():
            _count(life, life.bottles[label], _date(day), amount)
        there = list(life.bottles.values())
        for _, number, kind, choice, amount in of_day:
            if kind != "stocktake":
                _happen(life, there[choice % len(there)], _date(day), kind, (number, amount))
    return life


def _date(day: int) -> datetime.date:
    return FIRST_DAY + datetime.timedelta(days=day)


def _count(life: Life, bottle: Bottle, day: datetime.date, amount: Decimal) -> None:
    """Count a little more or less than there should be."""
    found = Decimal(int(amount * 100) % 41 - 20) / 10
    expected = bottle.left + sum(bottle.waiting.values())
    life.write(day, f'custom "stocktake" "{bottle.label}" {expected + found} {bottle.fragrance}')
    bottle.left += found


def _happen(life: Life, bottle: Bottle, day: datetime.date, kind: str, how: tuple[int, Decimal]) -> None:
    number, amount = how
    quantity = Decimal(int(amount * 100) % 150 + 1) / 100
    goods = f"{quantity} {bottle.fragrance}"
    named = f'  bottle: "{bottle.label}"'
    match kind:
        case "sale" | "sale to pour":
            link = f"order-{number}"
            tag = " #to-pour" if kind == "sale to pour" else ""
            life.write(
                day, f'* "{kind}" ^{link}{tag}', f"Income:Sales  -{goods} @@ {amount} USD", named, "Assets:Bank",
            )
            bottle.left -= quantity + POUR_LOSS
            bottle.sales.append((link, quantity))
            if tag:
                bottle.waiting[link] = quantity + POUR_LOSS
        case "return":
            if bottle.sales:
                link, sold = bottle.sales.pop()
                life.write(
                    day, f'* "came back" ^{link}', f"Income:Refunds  {sold} {bottle.fragrance} @@ 1.00 USD",
                    "Assets:Bank",
                )
                bottle.left += sold
                if link in bottle.waiting:
                    bottle.waiting[link] -= sold
        case "late cost":
            life.write(
                day, f'* "duty" ^{bottle.purchase}', f"Assets:Stock:Inbound  {amount} USD", "Assets:Bank",
            )
            life.paid[bottle.purchase] += amount
        case "supplier return":
            each = bottle.price / bottle.size
            life.write(
                day, f'* "sent back {number}"',
                f'{bottle.account}  -{quantity} {bottle.fragrance} {{{each} USD, "{bottle.label}"}}',
                f"Assets:Bank  {quantity * each} USD",
            )
            bottle.left -= quantity
            life.paid[bottle.purchase] -= quantity * each
        case "swap":
            new = life.bring(bottle.fragrance, 50, amount, f"purchase-swap-{number}")
            life.write(
                day, f'* "swap" ^{new.purchase}', f"Income:Swaps  -{goods} @@ {amount} USD", named,
                new.bought.strip(),
            )
            bottle.left -= quantity + POUR_LOSS
        case _:
            life.write(day, f'* "{kind} {number}"', f"{_USED_ON[kind]}  {goods}", named)
            bottle.left -= quantity


def out_of_stock(postings: list[Posting]) -> Iterator[tuple[str, Decimal]]:
    """Yield (label, cost) of what left bottles, of late cost for what is gone, and of inbound not refunded."""
    label = ""
    for before, posting in pairwise(postings):
        if before.cost is not None:
            label = before.cost.label
        if posting.cost is not None or not posting.account.startswith(("Expenses:", "Equity:")):
            continue
        mark = (posting.meta or {}).get("millilot")
        # What is marked like this names its bottle, or follows the one bottle of its transaction.
        if mark == "recost":
            yield posting.meta["bottle"], posting.units.number
        elif mark == "inbound" or before.cost is not None:
            yield label, posting.units.number
