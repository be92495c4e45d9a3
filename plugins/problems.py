"""The errors of the plugin, one class a cause, in the shape Beancount prints.

`source` is the metadata of the posting at fault, so that the message carries its file and line.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

if TYPE_CHECKING:
    from beancount.core.data import Directive


class SettingError(NamedTuple):
    """A directive of ours that cannot be read."""

    source: dict[str, Any]
    message: str
    entry: Directive


class LotError(NamedTuple):
    """A lot that cannot be told from another, or whose cost cannot be counted."""

    source: dict[str, Any]
    message: str
    entry: Directive


class LandedCostError(NamedTuple):
    """A cost on the inbound account that belongs to no lot."""

    source: dict[str, Any]
    message: str
    entry: Directive


class DrawError(NamedTuple):
    """A draw that no bottle can serve, or a line that is not written as a draw."""

    source: dict[str, Any]
    message: str
    entry: Directive


class ReturnError(NamedTuple):
    """Goods said to come back that never left."""

    source: dict[str, Any]
    message: str
    entry: Directive


class SupplyError(NamedTuple):
    """A supply a kit asks for and that has run out, or was never bought."""

    source: dict[str, Any]
    message: str
    entry: Directive


class StocktakeError(NamedTuple):
    """A count or a weight that the books cannot be brought into line with."""

    source: dict[str, Any]
    message: str
    entry: Directive


class ClaimError(NamedTuple):
    """A claim that its bottle cannot meet."""

    source: dict[str, Any]
    message: str
    entry: Directive


class PayoutError(NamedTuple):
    """Money that would have been paid out twice, or from the wrong channel."""

    source: dict[str, Any]
    message: str
    entry: Directive


class AccountError(NamedTuple):
    """An account the plugin posts to that the books do not open."""

    source: dict[str, Any]
    message: str
    entry: Directive


Problem: TypeAlias = (
    SettingError
    | LotError
    | LandedCostError
    | DrawError
    | ReturnError
    | SupplyError
    | StocktakeError
    | ClaimError
    | PayoutError
    | AccountError
)
