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


@dataclass(frozen=True)
class Settings:
    """Everything the owner set, read once from the books."""

    roles: AccountRoles
    commodities: Commodities
    declared_goods: frozenset[str]
    pour_losses: tuple[PourLoss, ...] = ()

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


_READERS = {"millilot-account": _read_account, "pour-loss": _read_pour_loss}


def read_settings(entries: Iterable[Directive]) -> tuple[Settings, list[Complaint]]:
    """Read all settings from the books.

    Returns:
        The settings, and a complaint for each directive that cannot be read (it is then left out).
    """
    roles: list[AccountSetting] = []
    losses: list[PourLoss] = []
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
        match result:
            case str():
                complaints.append(Complaint(entry.meta, result, entry))
            case Commodity():
                commodities[result.code] = result
                if "unit" in entry.meta:
                    declared.add(result.code)
            case AccountSetting():
                roles.append(result)
            case PourLoss():
                losses.append(result)
    losses.sort()
    settings = Settings(AccountRoles(roles), commodities, frozenset(declared), tuple(losses))
    return settings, complaints
