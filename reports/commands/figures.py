"""Figures on the command line: amounts, millilitres and shares, as exact decimals."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

import click

from millilot.ledger.money import minor_unit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    _OfDecimal = click.ParamType[Decimal]
else:
    # Older releases of Click know no type of what a parameter becomes.
    _OfDecimal = click.ParamType

#: Nobody asks for as much, or as finely; beyond, sums of 28 digits would not be exact.
_MOST = Decimal(10) ** 9
_FINEST = -9


class Figure(_OfDecimal):
    """A decimal figure within bounds.

    Args:
        expected: what is expected, for the message.
        above: it must be more than this; None for no less than 0.
        below: it must be less than this.
        up_to: or no more than this.
    """

    name = "figure"

    def __init__(
        self, expected: str, *, above: Decimal | None = None, below: Decimal = _MOST, up_to: Decimal = _MOST,
    ) -> None:
        self._expected = expected
        self._above, self._below, self._up_to = above, below, up_to

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> Decimal:
        """Return the figure.

        Raises:
            click.BadParameter: it is none, or out of bounds.
        """
        try:
            figure = Decimal(str(value))
        except InvalidOperation:
            figure = Decimal("NaN")
        exponent = figure.as_tuple().exponent
        exact = isinstance(exponent, int) and exponent >= _FINEST
        if not (exact and figure < self._below and figure <= self._up_to and self._is_enough(figure)):
            self.fail(f"{str(value)!r} is not {self._expected}.", param, ctx)
        return figure

    def _is_enough(self, figure: Decimal) -> bool:
        return figure >= 0 if self._above is None else figure > self._above


AMOUNT = Figure("an amount not below 0, such as 4.50")
MILLILITRES = Figure("mL above 0, such as 5", above=Decimal(0))
RATE = Figure("a rate from 0 to 1, such as 0.08 for 8 %", up_to=Decimal(1))
SHARE = Figure("a part from 0 to below 1, such as 0.3 for 30 %", below=Decimal(1))
ENDING = Figure("an ending from .00 to .99", below=Decimal(1))


def require_minor_units(
    currency: str, amounts: Mapping[str, Decimal | None], endings: Sequence[Decimal] = (),
) -> None:
    """Make sure that somebody can pay the amounts that were given.

    Args:
        currency: of the amounts.
        amounts: by option; None where it was left out.
        endings: what prices may end in.

    Raises:
        click.UsageError: one is finer than the currency.
    """
    unit = minor_unit(currency)
    for option, amount in (*amounts.items(), *(("--ending", ending) for ending in endings)):
        if amount is not None and amount % unit:
            raise click.UsageError(f"{option} {amount:f} is finer than {unit:f} {currency}, the smallest amount.")
