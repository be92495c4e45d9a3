"""Random events of a small shop, written once in draws and once by hand for Beancount's own booking."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from hypothesis import strategies as st

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

FIRST_DAY = datetime.date(2026, 1, 1)
FRAGRANCES = ("CEDARHOUR", "QUIETREED", "SALTVEIL")

#: Account a draw is written on, and the account its cost ends up on.
DRAW_ACCOUNTS = {
    "Income:Sales": "Expenses:CostOfGoods:Fragrance",
    "Income:Swaps": "Expenses:CostOfGoods:Fragrance",
    "Expenses:Samples": "Expenses:Samples",
    "Expenses:Loss": "Expenses:Loss",
    "Equity:PersonalUse": "Equity:PersonalUse",
}
PRICED = {"Income:Sales", "Income:Swaps"}

OPTIONS = """\
option "operating_currency" "USD"
option "inferred_tolerance_default" "USD:0.005"
option "use_precise_interpolation" "TRUE"
"""


@dataclass(frozen=True)
class Bottle:
    """A purchase of one bottle: its total cost need not divide by its size."""

    number: int
    day: int
    fragrance: str
    size: Decimal
    total: Decimal

    @property
    def label(self) -> str:
        return f"B{self.number}"


@dataclass(frozen=True)
class Line:
    """What leaves for one account: from a bottle if it names one, else from the oldest."""

    fragrance: str
    quantity: Decimal
    bottle: str | None = None


@dataclass(frozen=True)
class Draw:
    """A transaction in draws, and the day its lines with a price came back, if they did."""

    number: int
    day: int
    account: str
    lines: tuple[Line, ...]
    returned: int | None = None


@dataclass(frozen=True)
class Events:
    """What happened, in no particular order."""

    bottles: tuple[Bottle, ...]
    draws: tuple[Draw, ...]

    def in_draws(self) -> list[str]:
        """Return the entries as an owner writes them."""
        entries = [_purchase(bottle) for bottle in self.bottles]
        for draw in self.draws:
            entries.append(_draw(draw, draw.day, 1))
            if draw.returned is not None:
                entries.append(_draw(draw, draw.returned, -1))
        return entries

    def by_hand(self) -> list[str]:
        """Return the entries as Beancount books them by itself, in the order in which they happened."""
        bottles = sorted(self.bottles, key=lambda bottle: (bottle.day, 0, bottle.number))
        draws = sorted(self.draws, key=lambda draw: (draw.day, 1, draw.number))
        dated = [(bottle.day, 0, _purchase(bottle)) for bottle in bottles]
        dated += [(draw.day, 1, _by_hand(draw)) for draw in draws]
        return [text for _, _, text in sorted(dated, key=lambda item: item[:2])]


def accounts(booking: str) -> str:
    """Return the lines that open all accounts, stock with this booking method."""
    stock = [f'2020-01-01 open Assets:Stock:{fragrance.title()} "{booking}"' for fragrance in FRAGRANCES]
    others = {"Assets:Bank", "Income:Refunds", *DRAW_ACCOUNTS, *DRAW_ACCOUNTS.values()}
    return "\n".join([*stock, *(f"2020-01-01 open {account} USD" for account in sorted(others))])


def _date(day: int) -> datetime.date:
    return FIRST_DAY + datetime.timedelta(days=day)


def _purchase(bottle: Bottle) -> str:
    lot = f'{{{{{bottle.total} USD, "{bottle.label}"}}}}'
    return f"""
{_date(bottle.day)} * "bottle" ^purchase-{bottle.number}
  Assets:Stock:{bottle.fragrance.title()}  {bottle.size} {bottle.fragrance} {lot}
  Assets:Bank  {-bottle.total} USD
"""


def _draw(draw: Draw, day: int, sign: int) -> str:
    priced = draw.account in PRICED
    text = f'\n{_date(day)} * "{"out" if sign > 0 else "back"}" ^order-{draw.number}\n'
    for line in draw.lines:
        quantity = line.quantity * sign * (-1 if priced else 1)
        text += f"  {draw.account}  {quantity} {line.fragrance}{' @@ 10.00 USD' if priced else ''}\n"
        if line.bottle and sign > 0:
            text += f'    bottle: "{line.bottle}"\n'
    if priced:
        text += f"  Assets:Bank  {sign * 10 * len(draw.lines)}.00 USD\n"
    return text


def _by_hand(draw: Draw) -> str:
    text = f'\n{_date(draw.day)} * "out" ^order-{draw.number}\n'
    if draw.account in PRICED:
        text += f"  {draw.account}  -{10 * len(draw.lines)}.00 USD\n  Assets:Bank  {10 * len(draw.lines)}.00 USD\n"
    for line in draw.lines:
        lot = f'{{"{line.bottle}"}}' if line.bottle else "{}"
        text += f"  Assets:Stock:{line.fragrance.title()}  -{line.quantity} {line.fragrance} {lot}\n"
    return f"{text}  {DRAW_ACCOUNTS[draw.account]}\n"


@dataclass
class Shelf:
    """The mL left, so that what is asked for can be given."""

    left: dict[Bottle, Decimal] = field(default_factory=dict)

    def give(self, wanted: Iterable[tuple[str, Decimal, int | None]]) -> tuple[Line, ...]:
        """Turn (fragrance, mL, which bottle) into lines that do not ask for more than is left."""
        lines = []
        for fragrance, quantity, choice in wanted:
            open_bottles = [
                bottle for bottle, left in self.left.items() if bottle.fragrance == fragrance and left
            ]
            if not open_bottles:
                continue
            open_bottles.sort(key=lambda bottle: (bottle.day, bottle.number))
            if choice is not None:
                open_bottles = [open_bottles[choice % len(open_bottles)]]
            given = min(quantity, sum(self.left[bottle] for bottle in open_bottles))
            lines.append(Line(fragrance, given, open_bottles[0].label if choice is not None else None))
            for bottle in open_bottles:
                taken = min(given, self.left[bottle])
                self.left[bottle] -= taken
                given -= taken
        return tuple(lines)


Wanted = tuple[int, int, str, list[tuple[str, Decimal, int | None]], int | None]


def possible(bottles: Iterable[Bottle], wanted: Iterable[Wanted]) -> Events:
    """Return events in which every draw of (day, number, account, lines, days until it comes back) can be met."""
    bottles = tuple(bottles)
    shelf = Shelf()
    draws = []
    coming = sorted(bottles, key=lambda bottle: (bottle.day, bottle.number), reverse=True)
    for day, number, account, lines, back in sorted(wanted, key=lambda draw: draw[:2]):
        while coming and coming[-1].day <= day:
            bottle = coming.pop()
            shelf.left[bottle] = bottle.size
        given = shelf.give(lines)
        if given:
            draws.append(Draw(number, day, account, given, back))
    return Events(bottles, tuple(draws))


@st.composite
def events(draw: Callable[[st.SearchStrategy[object]], object], *, returns: bool = False) -> Events:
    """Return a strategy for events: few days and fragrances, so that they collide.

    Args:
        draw: how Hypothesis picks values.
        returns: whether orders may come back, all after the last draw.
    """
    hundredths = st.integers(1, 4_000).map(lambda number: Decimal(number) / 100)
    bottles = draw(
        st.lists(
            st.tuples(
                st.integers(0, 5),
                st.sampled_from(FRAGRANCES),
                st.sampled_from([Decimal(size) for size in ("7", "30", "33.3", "90")]),
                st.integers(0, 20_000).map(lambda cents: Decimal(cents) / 100),
            ),
            min_size=1,
            max_size=8,
        )
    )
    line = st.tuples(st.sampled_from(FRAGRANCES), hundredths, st.none() | st.integers(0, 3))
    wanted = draw(
        st.lists(
            st.tuples(
                st.integers(0, 7),
                st.sampled_from(sorted(DRAW_ACCOUNTS)),
                st.lists(line, min_size=1, max_size=3),
                st.none() | st.integers(8, 9) if returns else st.none(),
            ),
            max_size=14,
        )
    )
    numbers = draw(st.permutations(range(1, len(wanted) + 1)))
    chosen = [
        (day, number, account, lines, back if account in PRICED else None)
        for number, (day, account, lines, back) in zip(numbers, wanted, strict=True)
    ]
    labels = draw(st.permutations(range(1, len(bottles) + 1)))
    stock = [Bottle(number, *bottle) for number, bottle in zip(labels, bottles, strict=True)]
    return possible(stock, chosen)
