"""Figures on the command line: amounts, millilitres and shares, as exact decimals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from millilot.reports import figures
from millilot.reports.figures import Bounds, FigureError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from decimal import Decimal

    _OfDecimal = click.ParamType[Decimal]
else:
    # Older releases of Click know no type of what a parameter becomes.
    _OfDecimal = click.ParamType


class Figure(_OfDecimal):
    """A decimal figure within bounds."""

    name = "figure"

    def __init__(self, bounds: Bounds) -> None:
        self._bounds = bounds

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> Decimal:
        """Return the figure.

        Raises:
            click.BadParameter: it is none, or out of bounds.
        """
        try:
            return self._bounds.read(str(value))
        except FigureError as error:
            self.fail(str(error), param, ctx)


AMOUNT = Figure(figures.AMOUNT)
MILLILITRES = Figure(figures.MILLILITRES)
RATE = Figure(figures.RATE)
SHARE = Figure(figures.SHARE)
ENDING = Figure(figures.ENDING)


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
    try:
        figures.require_minor_units(
            currency, (*amounts.items(), *(("--ending", ending) for ending in endings)),
        )
    except FigureError as error:
        raise click.UsageError(str(error)) from None
