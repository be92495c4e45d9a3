"""How many decants a bottle is away from having paid for itself.

The usual size of a bottle is the one most of its decants were sold in, the larger of two sold as often; of one
that has sold none, that of its fragrance. What such a decant leaves is its average price, times the part of all
sales that was left after refunds, fees, postage and supplies: these are shared by price, so a part of the price is
what a decant of any size bears of them (common practice, no source).
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING, Any

from beancount.core.number import ZERO

from millilot.reports.rounding import nearest
from millilot.reports.vials import vials_sold

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from millilot.ledger.records import Books
    from millilot.reports.bottles import Row
    from millilot.reports.stock import Stock

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
        is_enough: whether as many can be poured, with what is lost by default, from what is free; None without a
            number.
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


def to_go(books: Books, exact: Iterable[Row], on_hand: Iterable[Stock]) -> dict[str, ToGo]:
    """Return what is to be poured of each bottle of fragrance.

    Args:
        books: the books.
        exact: the exact rows of `bottles`; the row without a bottle counts for nothing.
        on_hand: what is free of each bottle.
    """
    free = {each.bottle: each.free or ZERO for each in on_hand}
    loss = books.settings.pour_loss(books.last or datetime.date.max)
    of_bottle: dict[str, dict[Decimal, _Sold]] = defaultdict(dict)
    of_fragrance: dict[str, dict[Decimal, _Sold]] = defaultdict(dict)
    for each in vials_sold(books):
        for sizes in (of_bottle[each.bottle], of_fragrance[books.bottles[each.bottle].commodity.code]):
            sold = sizes.setdefault(each.size, _Sold())
            sold.decants += each.number
            sold.price += each.price
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
            found[name] = _to_go(row, of_bottle[name], row, free[name], loss)
        else:
            found[name] = _to_go(row, of_fragrance[code], sums[code], free[name], loss)
    return found


def _to_go(
    row: Row, sizes: Mapping[Decimal, _Sold], sums: Mapping[str, Any], free: Decimal, loss: Decimal,
) -> ToGo:
    if not sizes:
        return ToGo(None, None, None if row["to_recover"] else 0, None if row["to_recover"] else True)
    size = max(sizes, key=lambda size: (sizes[size].decants, size))
    price = sizes[size].price / sizes[size].decants
    net = price * sums["net"] / sums["sales"] if sums["sales"] > 0 else None
    if not row["to_recover"]:
        return ToGo(size, net, 0, is_enough=True)
    if net is None or net <= 0 or not row["ml_left"]:
        # What an empty bottle has not brought, it will not bring.
        return ToGo(size, net, None, None)
    decants = int(nearest(row["to_recover"] / net, _NOISE).to_integral_value(ROUND_CEILING))
    return ToGo(size, net, decants, decants * (size + loss) <= free)
