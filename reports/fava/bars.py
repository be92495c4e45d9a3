"""Bars: what parts a whole has, as lengths beside each other, each in a pattern of its own and told in words."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from millilot.reports.bottles import Row
    from millilot.reports.stock import Stock

#: Where the mL of a bottle went, in the order of the bar.
ML_PARTS = ("sold", "kept", "sampled", "lost", "left")

#: What a bottle has brought back of its cost: up to the cost, above it, and what is missing.
COST_PARTS = ("recovered", "beyond", "missing")

_HUNDREDTH = Decimal("0.01")


class Part(NamedTuple):
    """A part of a bar: its pattern, by name, and how long it is, in per cent of the bar."""

    name: str
    width: str


class Bar(NamedTuple):
    """A bar, and what it says in words."""

    parts: tuple[Part, ...]
    words: str


def ml_bar(row: Row, figure: Callable[[Decimal], str]) -> Bar:
    """Return where the mL of a bottle went.

    Args:
        row: of the bottles report, rounded.
        figure: writes a quantity.
    """
    amounts = [(name, row[f"ml_{name}"]) for name in ML_PARTS]
    told = ", ".join(f"{figure(amount)} {name}" for name, amount in amounts if amount)
    return Bar(_parts(amounts), f"mL: {told}" if told else "no mL")


def cost_bar(row: Row, percentage: str) -> Bar | None:
    """Return how far a bottle has paid for itself; None for one that cost nothing.

    Up to its cost the bar is the cost; above it, all that was taken in, in two parts.

    Args:
        row: of the bottles report, rounded.
        percentage: its payback as the page writes it.
    """
    payback = row["payback"]
    if payback is None:
        return None
    amounts = [
        ("recovered", min(max(payback, ZERO), Decimal(1))),
        ("beyond", max(payback - 1, ZERO)),
        ("missing", min(max(1 - payback, ZERO), Decimal(1))),
    ]
    return Bar(_parts(amounts), f"{percentage} of its cost recovered")


def stock_bar(stock: Stock, figure: Callable[[Decimal], str]) -> Bar:
    """Return what of a bottle is free and what reserved; reserved is never more than is left here.

    Args:
        stock: a bottle of the stock report.
        figure: writes a quantity.
    """
    left, free = stock.ml_left or ZERO, stock.free or ZERO
    amounts = [("free", free), ("reserved", left - free)]
    told = ", ".join(f"{figure(amount)} {name}" for name, amount in amounts if amount)
    return Bar(_parts(amounts), f"mL: {told}" if told else "no mL")


def _parts(amounts: Iterable[tuple[str, Decimal]]) -> tuple[Part, ...]:
    """Return the parts with their lengths; what is nought or below has none."""
    shown = [(name, amount) for name, amount in amounts if amount > 0]
    whole = sum((amount for _, amount in shown), ZERO)
    return tuple(
        Part(name, f"{(amount * 100 / whole).quantize(_HUNDREDTH, ROUND_HALF_EVEN):f}%") for name, amount in shown
    )
