"""How many decants a bottle is away from having paid for itself.

The usual size of a bottle is the one most of its decants were sold in, the larger of two sold as often; of one
that has sold none, that of its fragrance. What such a decant leaves is its average price, times the part of all
sales that was left after refunds, fees, postage and supplies: these are shared by price, so a part of the price is
what a decant of any size bears of them (common practice, no source).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING, Any

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.reports.bottles import plain
from millilot.reports.rounding import nearest

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from millilot.ledger.records import Books, Money
    from millilot.reports.bottles import Row

#: Sums of divided amounts differ in their last digits; a decant more shall not come of that.
_NOISE = Decimal("1E-9")


@dataclass(frozen=True, slots=True)
class ToGo:
    """What is to be poured until a bottle has paid for itself.

    Attributes:
        size: the usual size in mL; None when the fragrance has never been sold.
        net: what a decant of it leaves, exact, in the operating currency; None without a size, or without sales
            to tell it from.
        decants: how many it takes; 0 when the bottle has paid for itself, None when that cannot be said, or when
            a decant leaves nothing.
        is_enough: whether as many can be poured from what is left; None without a number.
    """

    size: Decimal | None
    net: Decimal | None
    decants: int | None
    is_enough: bool | None


@dataclass(slots=True)
class _Sold:
    """What was sold in one size, as a number of decants and their price."""

    decants: Decimal = ZERO
    price: Decimal = ZERO


def to_go(books: Books, exact: Iterable[Row]) -> dict[str, ToGo]:
    """Return what is to be poured of each bottle of fragrance.

    Args:
        books: the books.
        exact: the exact rows of `bottles`; the row without a bottle counts for nothing.
    """
    of_bottle: dict[str, dict[Decimal, _Sold]] = defaultdict(dict)
    of_fragrance: dict[str, dict[Decimal, _Sold]] = defaultdict(dict)
    for bottle, size, decants, price in _decants(books):
        for sizes in (of_bottle[bottle], of_fragrance[books.bottles[bottle].commodity.code]):
            sold = sizes.setdefault(size, _Sold())
            sold.decants += decants
            sold.price += price
    rows = {row["bottle"]: row for row in exact if row["bottle"] is not None}
    sums: dict[str, dict[str, Decimal]] = defaultdict(lambda: {"sales": ZERO, "net": ZERO})
    for name, row in rows.items():
        of_code = sums[books.bottles[name].commodity.code]
        for column in of_code:
            of_code[column] += row[column]
    found = {}
    for name, row in rows.items():
        code = books.bottles[name].commodity.code
        if of_bottle[name]:
            found[name] = _to_go(row, of_bottle[name], row)
        else:
            found[name] = _to_go(row, of_fragrance[code], sums[code])
    return found


def _decants(books: Books) -> Iterator[tuple[str, Decimal, Decimal, Decimal]]:
    """Yield each sale of decants by the bottles it was poured from: bottle, mL of a decant, how many, price."""
    for record in books.records:
        for money in record.money:
            line = money.line
            if line is None or money.role is not Role.SALES or line.price <= 0:
                continue
            quantity = sum((poured for _, poured in line.parts), ZERO)
            vials = _vials(money)
            if quantity <= 0 or not vials:
                continue
            for bottle, poured in line.parts:
                if bottle in books.fragrances:
                    part = poured / quantity
                    yield bottle, plain(quantity / vials), vials * part, line.price * part


def _vials(money: Money) -> Decimal:
    """Return into how many vials a sale was poured; none when it was sold unopened."""
    vials: Any = money.meta.get("vials", Decimal(1))
    # Importers write a number as text.
    return Decimal(vials) if isinstance(vials, Decimal) or (isinstance(vials, str) and vials.isdecimal()) else ZERO


def _to_go(row: Row, sizes: Mapping[Decimal, _Sold], sums: Mapping[str, Any]) -> ToGo:
    if not sizes:
        return ToGo(None, None, None if row["to_recover"] else 0, None if row["to_recover"] else True)
    size = max(sizes, key=lambda size: (sizes[size].decants, size))
    price = sizes[size].price / sizes[size].decants
    net = price * sums["net"] / sums["sales"] if sums["sales"] > 0 else None
    if not row["to_recover"]:
        return ToGo(size, net, 0, is_enough=True)
    if net is None or net <= 0:
        return ToGo(size, net, None, None)
    decants = int(nearest(row["to_recover"] / net, _NOISE).to_integral_value(ROUND_CEILING))
    return ToGo(size, net, decants, decants * size <= row["ml_left"])
