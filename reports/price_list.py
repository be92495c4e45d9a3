"""What is for sale: each fragrance with what is free of it, the sizes it is offered in and their prices.

Free is what the bottles of a fragrance have left, less what is kept and claimed; what is ordered has left them
already. A size is sold out when less is free than a vial of it and its pour loss take.

Where prices come from is not decided here: `price_list` is given a function of a fragrance and a size, such as
what was last asked for it (`last_prices`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, TypeAlias

from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.bottles import plain
from millilot.reports.stock import stock
from millilot.reports.vials import vials_sold

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterator, Sequence

    from millilot.ledger.directives import Commodity
    from millilot.ledger.records import Books
    from millilot.reports.vials import Sold

#: The price of a vial, in minor units of the operating currency: of a commodity's code and the mL in the vial;
#: None where there is none.
Price: TypeAlias = Callable[[str, Decimal], Decimal | None]


@dataclass(frozen=True, slots=True)
class Offer:
    """A size a fragrance is offered in.

    Attributes:
        size_ml: mL in a vial.
        price: in minor units of the operating currency, or None.
        vials: how many could be poured of what is free, were it all poured into this size.
    """

    size_ml: Decimal
    price: Decimal | None
    vials: int

    @property
    def sold_out(self) -> bool:
        """Whether not even one can be poured."""
        return not self.vials


@dataclass(frozen=True, slots=True)
class Listed:
    """A fragrance on the list.

    Attributes:
        commodity: its code, name, strength and notes, as the books describe it.
        free: mL left of all its bottles that are neither kept nor claimed.
        offers: by size.
    """

    commodity: Commodity
    free: Decimal
    offers: tuple[Offer, ...]


def price_list(
    books: Books, price: Price, sizes: Sequence[Decimal] = (), to: datetime.date | None = None,
) -> list[Listed]:
    """Return what is for sale, by name.

    Left out is what was never sold and is not free, and what has no size to be offered in.

    Args:
        books: read up to the day.
        price: where prices come from.
        sizes: mL of the vials to offer; otherwise those a fragrance was sold in, or else those with a kit.
        to: the day of the list; the last day of the books unless stated.
    """
    day = to or books.last
    if day is None:
        return []
    free: dict[str, Decimal] = {}
    for line in stock(books, day):
        if line.bottle is not None and line.free is not None:
            code = books.fragrances[line.bottle].commodity.code
            free[code] = free.get(code, ZERO) + line.free
    sold: dict[str, set[Decimal]] = defaultdict(set)
    for each in _sold(books):
        sold[books.fragrances[each.bottle].commodity.code].add(each.size)
    with_kit = {kit.size for kit in books.settings.kits if kit.size is not None and kit.day <= day}
    loss = books.settings.pour_loss(day)
    listed = []
    for code, ml in free.items():
        offered = sorted({plain(size) for size in sizes or sold.get(code) or with_kit})
        if offered and (ml or code in sold):
            offers = (Offer(size, price(code, size), int(ml // (size + loss))) for size in offered)
            listed.append(Listed(books.settings.commodities[code], plain(ml), tuple(offers)))
    return sorted(listed, key=lambda each: (each.commodity.name.casefold(), each.commodity.code))


def last_prices(books: Books) -> Price:
    """Return the prices at which each size was last sold, before any discount."""
    unit = minor_unit(books.currency)
    prices = {}
    for sold in _sold(books):
        prices[books.fragrances[sold.bottle].commodity.code, sold.size] = rounding.nearest(sold.asked, unit)
    return lambda commodity, size: prices.get((commodity, size))


def _sold(books: Books) -> Iterator[Sold]:
    """Yield what was sold by the vial.

    Shares of a split have the price and the size of the split, so they tell nothing of the list.
    """
    for sold in vials_sold(books):
        if all(money.role is not Role.CLAIMS for money in sold.record.money):
            yield sold
