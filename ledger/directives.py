"""What the owner sets in the books: account roles, pour loss and the commodities' own words.

A setting applies from its date on::

    2026-01-01 custom "millilot-account" "sales" Income:Decants
    2026-01-01 custom "pour-loss" 0.1
    2026-01-01 commodity CEDARHOUR
      name: "Cedar Hour"
      unit: "mL"
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core import account as account_names
from beancount.core.amount import Amount
from beancount.core.data import Commodity as CommodityDirective
from beancount.core.data import Custom

from millilot.ledger.accounts import AccountRoles, Role

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Mapping

    from beancount.core.data import Directive

ZERO = Decimal(0)
MILLILITRES = "mL"
EACH = "each"


class Complaint(NamedTuple):
    """Something written in a way that cannot be read: where, and what was expected and found."""

    source: dict[str, Any]
    message: str
    entry: Directive


@dataclass(frozen=True, slots=True)
class Commodity:
    """A fragrance (measured in mL) or a supply (counted).

    `name` falls back to the code of the commodity; `density` is in g/mL.
    """

    code: str
    name: str
    unit: str = MILLILITRES
    strength: str = ""
    notes: str = ""
    density: Decimal | None = None

    @property
    def is_fragrance(self) -> bool:
        """Whether it is measured in millilitres."""
        return self.unit == MILLILITRES


class Commodities(dict[str, Commodity]):
    """Commodities by code; one the books do not describe is a fragrance called by its code."""

    def __missing__(self, code: str) -> Commodity:
        commodity = self[code] = Commodity(code, code)
        return commodity


class AccountSetting(NamedTuple):
    """From a day on, an account plays a role."""

    day: datetime.date
    role: Role
    account: str


class PourLoss(NamedTuple):
    """From a day on, so many mL are lost per vial of a sale."""

    day: datetime.date
    loss: Decimal


class Stocktake(NamedTuple):
    """At the start of a day, a bottle held so much of its commodity."""

    day: datetime.date
    bottle: str
    quantity: Decimal
    commodity: str
    entry: Custom


class Weighing(NamedTuple):
    """At the start of a day, a bottle weighed so many grams."""

    day: datetime.date
    bottle: str
    grams: Decimal
    entry: Custom


@dataclass(frozen=True)
class Settings:
    """Everything the owner set, read once from the books."""

    roles: AccountRoles
    commodities: Commodities
    declared_goods: frozenset[str]
    pour_losses: tuple[PourLoss, ...] = ()
    stocktakes: tuple[Stocktake, ...] = ()
    weighings: tuple[Weighing, ...] = ()

    def pour_loss(self, day: datetime.date) -> Decimal:
        """Return the mL lost per vial of a sale by default on a day (0 when nothing is set)."""
        position = bisect_right(self.pour_losses, day, key=lambda setting: setting.day)
        return self.pour_losses[position - 1].loss if position else ZERO


def _read_account(entry: Custom) -> AccountSetting | str:
    expected = f'expected: {entry.date} custom "millilot-account" "sales" Income:Sales'
    values = [(value.value, value.dtype) for value in entry.values or []]
    match values:
        case [(str(role), _), (str(account), dtype)] if dtype == account_names.TYPE:
            try:
                return AccountSetting(entry.date, Role(role), account)
            except ValueError:
                return f'There is no role "{role}"; the roles are {", ".join(Role)}.'
    return f"An account setting names a role and an account; {expected}"


def _read_pour_loss(entry: Custom) -> PourLoss | str:
    match [value.value for value in entry.values or []]:
        case [Decimal() as loss] if loss >= 0:
            return PourLoss(entry.date, loss)
    expected = f'{entry.date} custom "pour-loss" 0.1'
    return f"A pour loss is one number of mL per vial, not below 0; expected: {expected}"


def _read_stocktake(entry: Custom) -> Stocktake | str:
    match [value.value for value in entry.values or []]:
        case [str(bottle), Amount(number=Decimal() as quantity, currency=str(commodity))] if quantity >= 0:
            return Stocktake(entry.date, bottle, quantity, commodity, entry)
    expected = f'{entry.date} custom "stocktake" "CH-1" 41.5 CEDARHOUR'
    return f"A stocktake names a bottle and what was in it, not below 0; expected: {expected}"


def _read_weighing(entry: Custom) -> Weighing | str:
    match [value.value for value in entry.values or []]:
        case [str(bottle), Decimal() as grams] if grams > 0:
            return Weighing(entry.date, bottle, grams, entry)
    expected = f'{entry.date} custom "weighing" "CH-1" 187.4'
    return f"A weighing names a bottle and its weight in grams; expected: {expected}"


def _read_commodity(entry: CommodityDirective) -> Commodity | str:
    meta: Mapping[str, Any] = entry.meta
    unit = meta.get("unit", MILLILITRES)
    density = meta.get("density")
    if unit not in {MILLILITRES, EACH}:
        return f'unit: is "{MILLILITRES}" for a fragrance or "{EACH}" for a supply, not {unit!r}.'
    if density is not None and not (isinstance(density, Decimal) and density > 0):
        return f"density: is a number of g/mL above 0 without quotes, not {density!r}."
    return Commodity(
        code=entry.currency,
        name=str(meta.get("name") or entry.currency),
        unit=unit,
        strength=str(meta.get("strength") or ""),
        notes=str(meta.get("notes") or ""),
        density=density,
    )


_READERS = {
    "millilot-account": _read_account,
    "pour-loss": _read_pour_loss,
    "stocktake": _read_stocktake,
    "weighing": _read_weighing,
}


def read_settings(entries: Iterable[Directive]) -> tuple[Settings, list[Complaint]]:
    """Read all settings from the books.

    Returns:
        The settings, and a complaint for each directive that cannot be read (it is then left out).
    """
    read: dict[type, list[Any]] = {kind: [] for kind in (AccountSetting, PourLoss, Stocktake, Weighing)}
    commodities = Commodities()
    declared = set()
    complaints = []
    for entry in entries:
        if isinstance(entry, CommodityDirective):
            result: object = _read_commodity(entry)
        elif isinstance(entry, Custom) and entry.type in _READERS:
            result = _READERS[entry.type](entry)
        else:
            continue
        if isinstance(result, str):
            complaints.append(Complaint(entry.meta, result, entry))
        elif isinstance(result, Commodity):
            commodities[result.code] = result
            if "unit" in entry.meta:
                declared.add(result.code)
        else:
            read[type(result)].append(result)
    settings = Settings(
        AccountRoles(read[AccountSetting]),
        commodities,
        frozenset(declared),
        tuple(sorted(read[PourLoss])),
        tuple(read[Stocktake]),
        tuple(read[Weighing]),
    )
    return settings, complaints
