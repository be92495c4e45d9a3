"""What a bottle has taught so far: how its mL sell, what is lost of them, and what a sale brings and costs.

All is measured in the books, from the same sums the bottles report shows. Three sales are few, but more than an
assumption; before them a bottle has taught nothing. The number is a choice of ours, common sense without a source.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.reports.days import DAYS_A_MONTH
from millilot.reports.vials import vials_sold

if TYPE_CHECKING:
    import datetime
    from collections.abc import Collection, Iterator, Mapping

    from millilot.ledger.records import Books, Line, Money
    from millilot.reports.bottles import Row

#: From so many sales on, a bottle's own figures take the place of assumptions.
ENOUGH_SALES = 3



@dataclass(frozen=True, slots=True)
class Lessons:
    """What was measured of one bottle; None where nothing can be.

    Attributes:
        sales: lines sold from it at a price, those that came back included; a swap is none.
        loss_per_vial: mL lost for each vial sold, swapped ones and those at no price included: pour loss,
            shrinkage and what was spilt, less what stocktakes found; not below 0.
        fee_share: fees, ads and exchange for each unit of money received for sales and postage.
        refund_share: refunds with nothing back for each unit of money received for sales and postage.
        postage_charged: what buyers paid for postage, a sale.
        label: what postage cost, a sale.
        price_per_ml: what a mL was sold at, before refunds.
        ml_per_month: mL sold a month since the purchase, until today or, from an empty bottle, the last sale.
    """

    sales: int
    loss_per_vial: Decimal | None
    fee_share: Decimal | None
    refund_share: Decimal | None
    postage_charged: Decimal | None
    label: Decimal | None
    price_per_ml: Decimal | None
    ml_per_month: Decimal | None

    @property
    def enough(self) -> bool:
        """Whether there are sales enough to plan by."""
        return self.sales >= ENOUGH_SALES


class SizeSold(NamedTuple):
    """Vials of one size that were sold: how many, and the price of one on average, before refunds."""

    number: Decimal
    price: Decimal


def lessons(books: Books, row: Row, day: datetime.date) -> Lessons:
    """Return what a bottle has taught.

    Args:
        books: read up to the day.
        row: the exact figures of the bottle, from `bottles`.
        day: the day of the report.
    """
    name: str = row["bottle"]
    vials = sum((money.vials * share for _, money, _, share in _given(books, {name})), ZERO)
    sold = list(_sold(books, {name}))
    sales = len(sold)
    priced = sum((line.price * share for _, _, line, share in sold), ZERO)
    poured = sum((_quantity(line) * share for _, _, line, share in sold), ZERO)
    received = row["sales"] - row["of_which_swaps"] + row["postage_charged"]
    last = day if row["ml_left"] > 0 else max((date for date, *_ in sold), default=day)
    months = max((last - row["bought"]).days, 1) / DAYS_A_MONTH
    return Lessons(
        sales=sales,
        loss_per_vial=_ratio(max(row["ml_lost"] - row["ml_found"], ZERO), vials),
        fee_share=_ratio(row["fees"], received),
        refund_share=_ratio(max(row["refunds"] - _came_back(books, name), ZERO), received),
        postage_charged=_ratio(row["postage_charged"], Decimal(sales)),
        label=_ratio(row["postage"], Decimal(sales)),
        price_per_ml=_ratio(priced, poured),
        ml_per_month=row["ml_sold"] / months if sales and row["ml_sold"] > 0 else None,
    )


def sizes_sold(books: Books, bottles: Collection[str]) -> Mapping[Decimal, SizeSold]:
    """Return what was poured from some bottles and sold, by mL in a vial, the smallest first."""
    numbers: dict[Decimal, Decimal] = defaultdict(Decimal)
    charged: dict[Decimal, Decimal] = defaultdict(Decimal)
    for sold in vials_sold(books):
        if sold.bottle in bottles:
            numbers[sold.size] += sold.number
            charged[sold.size] += sold.price
    return {size: SizeSold(number, charged[size] / number) for size, number in sorted(numbers.items())}


def _sold(
    books: Books, bottles: Collection[str],
) -> Iterator[tuple[datetime.date, Money, Line, Decimal]]:
    """Yield the lines sold at a price from some bottles, each with the part of its mL that came from them."""
    for date, money, line, share in _given(books, bottles):
        if line.role is Role.SALES and line.price > 0:
            yield date, money, line, share


def _given(
    books: Books, bottles: Collection[str],
) -> Iterator[tuple[datetime.date, Money, Line, Decimal]]:
    """Yield the lines sold or swapped from some bottles, each with the part of its mL that came from them."""
    for record in books.records:
        for money in record.money:
            line = money.line
            if line is None:
                continue
            # What came back has negative mL.
            own = sum((quantity for bottle, quantity in line.parts if bottle in bottles), ZERO)
            if own > 0:
                yield record.date, money, line, own / _quantity(line)


def _came_back(books: Books, name: str) -> Decimal:
    """Return the prices that were given back for goods that came back into a bottle."""
    return sum(
        (
            -line.price * quantity / _quantity(line)
            for record in books.records
            for line in record.lines
            if line.price < 0
            for bottle, quantity in line.parts
            if bottle == name
        ),
        ZERO,
    )


def _quantity(line: Line) -> Decimal:
    """Return the mL of a line."""
    return sum((quantity for _, quantity in line.parts), ZERO)


def _ratio(part: Decimal, whole: Decimal) -> Decimal | None:
    return part / whole if whole > 0 else None
