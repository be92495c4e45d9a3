"""Currencies: which one the books are kept in, and how many digits its minor unit has."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple, cast

from beancount.core import convert
from beancount.core.amount import Amount

if TYPE_CHECKING:
    from collections.abc import Mapping

    from beancount.core.data import Posting

#: A product of a quantity and a 28-digit price lies this close to the amount that was written.
SNAP_DISTANCE = Decimal("1E-12")


#: Currencies whose minor unit is not a hundredth, after ISO 4217. A table of our own, as every load of the books
#: would otherwise pay for the whole of a locale library; the tests hold it against that library.
_NO_MINOR_UNIT = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF"
_THOUSANDTHS = "BHD IQD JOD KWD LYD OMR TND"
_DIGITS: Mapping[str, int] = {
    **dict.fromkeys(_NO_MINOR_UNIT.split(), 0),
    **dict.fromkeys(_THOUSANDTHS.split(), 3),
}


def minor_digits(currency: str) -> int:
    """Return the decimal places of a currency's minor unit (ISO 4217; 2 for one not listed there)."""
    return _DIGITS.get(currency, 2)


@lru_cache
def minor_unit(currency: str) -> Decimal:
    """Return the smallest amount of a currency, 0.01 for most."""
    return Decimal(1).scaleb(-minor_digits(currency))


def snap(amount: Decimal, currency: str) -> Decimal:
    """Return the amount in minor units if it is one but for the noise of a 28-digit price.

    `-3 X @@ 10.00 USD` reaches a plugin as -3 at 3.333..., whose product is 9.999...
    """
    rounded = amount.quantize(minor_unit(currency))
    return rounded if abs(rounded - amount) < SNAP_DISTANCE else amount


class Weight(NamedTuple):
    """An amount that is there: booking has filled in every number."""

    number: Decimal
    currency: str


def weight(posting: Posting) -> Weight:
    """Return what a booked posting adds to the balance of its transaction."""
    if posting.cost is None:
        # Nearly every posting; Beancount's function takes its time over amounts on the way.
        number, currency = cast("tuple[Decimal, str]", posting.units)
        if posting.price is None:
            return Weight(number, currency)
        price, of_price = cast("tuple[Decimal, str]", posting.price)
        return Weight(price * number, of_price)
    return Weight(*convert.get_weight(posting))  # type: ignore[no-untyped-call]


def operating_currency(options_map: Mapping[str, Any]) -> str | None:
    """Return the currency the books are kept in, None when the option is not set."""
    currencies = options_map["operating_currency"]
    return str(currencies[0]) if currencies else None


def number_of(value: object) -> Decimal | None:
    """Return a number that was written with or without its currency, None when it is none."""
    if isinstance(value, Amount):
        value = value.number
    return value if isinstance(value, Decimal) else None
