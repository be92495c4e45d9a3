"""Figures that somebody types: exact decimals within bounds, wherever they are asked for."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from millilot.ledger.money import minor_unit

if TYPE_CHECKING:
    from collections.abc import Iterable

#: Nobody asks for as much, or as finely; beyond, sums of 28 digits would not be exact.
_MOST = Decimal(10) ** 9
_FINEST = -9


class FigureError(ValueError):
    """What was typed is not the figure that is asked for; the message says what is expected."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """The bounds of a figure.

    Attributes:
        expected: what is expected, for the message.
        above: it must be more than this; None for no less than 0.
        below: it must be less than this.
        up_to: or no more than this.
    """

    expected: str
    above: Decimal | None = None
    below: Decimal = _MOST
    up_to: Decimal = _MOST

    def read(self, text: str) -> Decimal:
        """Return the figure that a text is.

        Raises:
            FigureError: it is none, or out of bounds.
        """
        try:
            figure = Decimal(text)
        except InvalidOperation:
            figure = Decimal("NaN")
        exponent = figure.as_tuple().exponent
        exact = isinstance(exponent, int) and exponent >= _FINEST
        if not (exact and figure < self.below and figure <= self.up_to and self._is_enough(figure)):
            raise FigureError(f"{text!r} is not {self.expected}.")
        return figure

    def _is_enough(self, figure: Decimal) -> bool:
        return figure >= 0 if self.above is None else figure > self.above


AMOUNT = Bounds("an amount not below 0, such as 4.50")
MILLILITRES = Bounds("mL above 0, such as 5", above=Decimal(0))
RATE = Bounds("a rate from 0 to 1, such as 0.08 for 8 %", up_to=Decimal(1))
SHARE = Bounds("a part from 0 to below 1, such as 0.3 for 30 %", below=Decimal(1))
ENDING = Bounds("an ending from .00 to .99", below=Decimal(1))


def require_minor_units(currency: str, amounts: Iterable[tuple[str, Decimal | None]]) -> None:
    """Make sure that somebody can pay the amounts that were given.

    Args:
        currency: of the amounts.
        amounts: what each is called, and None where it was left out.

    Raises:
        FigureError: one is finer than the currency.
    """
    unit = minor_unit(currency)
    for name, amount in amounts:
        if amount is not None and amount % unit:
            raise FigureError(f"{name} {amount:f} is finer than {unit:f} {currency}, the smallest amount.")
