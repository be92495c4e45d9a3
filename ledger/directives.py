"""What the owner sets in the books: account roles, pour loss, kits and the commodities' own words.

A setting applies from its date on::

    2026-01-01 custom "millilot-account" "sales" Income:Decants
    2026-01-01 custom "pour-loss" 0.1
    2026-01-01 custom "kit" "5 mL" 1 VIAL5 1 LABEL
    2026-01-01 custom "kit" "parcel" 1 MAILER
    2026-01-01 commodity CEDARHOUR
      name: "Cedar Hour"
      unit: "mL"

What a channel charges and says, and what was handed in, are read in `fee_schedule`, `annual_gross` and `filed`.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from operator import attrgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core import account as account_names
from beancount.core.amount import Amount
from beancount.core.data import Commodity as CommodityDirective
from beancount.core.data import Custom
from beancount.core.number import ZERO

from millilot.ledger import goods
from millilot.ledger.accounts import ROOTS, SHARED_ROLES, AccountRoles, Role, default_roles, root
from millilot.ledger.annual_gross import AnnualGross, read_annual_gross
from millilot.ledger.fee_schedule import FeeSchedule, read_fee_schedule
from millilot.ledger.filed import Filed, read_filed
from millilot.ledger.money import Weight

if TYPE_CHECKING:
    import datetime
    from collections.abc import Callable, Iterable, Mapping

    from beancount.core.data import Directive

    from millilot.ledger.accounts import RoleMap

MILLILITRES = "mL"
EACH = "each"

#: What a kit is called that is used with each order.
PARCEL = "parcel"
_SIZE = re.compile(rf"\d+(\.\d+)? {MILLILITRES}", re.ASCII)
_LINK = re.compile(r"\^?([A-Za-z0-9\-_/.]+)")

#: The directive in which the plugin hands on what the books call the roots of accounts, where they rename them.
ROOT_NAMES = "millilot-roots"

#: Roles whose account may be of the kind of another's too: a card may be a bank.
_ALSO_LIKE = {Role.BANK: (Role.CLAIMS,)}

#: What a stage writes into the metadata of a claim that cannot be met; no report counts it then.
REFUSED = "refused"


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
    entry: Custom


class RootNames(NamedTuple):
    """What the books call the roots of accounts, in the order of `millilot.ledger.accounts.ROOTS`."""

    names: tuple[str, ...]


class PourLoss(NamedTuple):
    """From a day on, so many mL are lost per vial of a sale."""

    day: datetime.date
    loss: Decimal


class Kit(NamedTuple):
    """From a day on, these supplies are used with each vial of a size, or with each order.

    Attributes:
        day: the first day it is in force.
        size: mL of the vial; None for the parcel of an order.
        supplies: how much of each is used, in pieces.
        entry: the directive.
    """

    day: datetime.date
    size: Decimal | None
    supplies: tuple[Weight, ...]
    entry: Custom


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


class Claim(NamedTuple):
    """On the morning of a day, somebody claims part of a bottle, or takes a claim back.

    Attributes:
        day: the day.
        bottle: the bottle, which may still have to come in.
        quantity: mL; negative when a claim is taken back.
        commodity: the fragrance.
        price: what is owed for it, with the sign of the quantity.
        currency: of the price.
        split: the link of the split without its caret, "" outside any split.
        size: mL the bottle will hold, told while it is not in the books; else None.
        refused: whether a stage found that it cannot be met.
        entry: the directive.
    """

    day: datetime.date
    bottle: str
    quantity: Decimal
    commodity: str
    price: Decimal
    currency: str
    split: str
    size: Decimal | None
    refused: bool
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
    kits: tuple[Kit, ...] = ()
    claims: tuple[Claim, ...] = ()
    annual_gross: tuple[AnnualGross, ...] = ()
    filed: tuple[Filed, ...] = ()
    fee_schedules: tuple[FeeSchedule, ...] = ()

    def pour_loss(self, day: datetime.date) -> Decimal:
        """Return the mL lost per vial of a sale by default on a day (0 when nothing is set)."""
        position = bisect_right(self.pour_losses, day, key=lambda setting: setting.day)
        return self.pour_losses[position - 1].loss if position else ZERO

    def kit(self, size: Decimal, day: datetime.date) -> Kit | None:
        """Return the supplies used with each vial of a size in mL on a day, None when nothing is set."""
        return self._kit(size, day)

    def parcel_kit(self, day: datetime.date) -> Kit | None:
        """Return the supplies used with each order on a day, None when nothing is set."""
        return self._kit(None, day)

    def fee_schedule(self, account: str, day: datetime.date) -> FeeSchedule | None:
        """Return what a channel takes of an order on a day, None when nothing is set."""
        ruling = (each for each in reversed(self.fee_schedules) if each.account == account and each.day <= day)
        return next(ruling, None)

    def _kit(self, size: Decimal | None, day: datetime.date) -> Kit | None:
        return next((kit for kit in reversed(self.kits) if kit.size == size and kit.day <= day), None)


def _read_account(entry: Custom) -> AccountSetting | str:
    expected = f'expected: {entry.date} custom "millilot-account" "sales" Income:Sales'
    values = [(value.value, value.dtype) for value in entry.values or []]
    match values:
        case [(str(role), _), (str(account), dtype)] if dtype == account_names.TYPE:
            try:
                return AccountSetting(entry.date, Role(role), account, entry)
            except ValueError:
                return f'There is no role "{role}"; the roles are {", ".join(Role)}.'
    return f"An account setting names a role and an account; {expected}"


def _read_roots(entry: Custom) -> RootNames | str:
    names = tuple(value.value for value in entry.values or [])
    if len(names) != len(ROOTS) or not all(isinstance(name, str) for name in names):
        return f'The names of the roots are written as options, such as option "name_assets" "{ROOTS[0]}".'
    return RootNames(names)


def _settle_accounts(
    settings: Iterable[AccountSetting], roles: RoleMap,
) -> tuple[AccountRoles, list[Complaint]]:
    """Give accounts their roles, and refuse those that are of another kind or have another role already."""
    complaints: list[Complaint] = []
    fitting: list[AccountSetting] = []
    start = roles
    for _, of_day in groupby(sorted(settings, key=attrgetter("day")), key=attrgetter("day")):
        changes = list(of_day)
        # What is replaced today is free to take another role.
        replaced = {change.role for change in changes} - SHARED_ROLES
        taken = {
            account: role for role in Role if role not in replaced for account in roles.accounts(role)
        }
        for change in changes:
            problem = _misfit(change, taken.setdefault(change.account, change.role), start)
            if problem is not None:
                complaints.append(Complaint(change.entry.meta, problem, change.entry))
                continue
            fitting.append(change)
            roles = roles.replace(change.role, change.account, change.day)
    return AccountRoles((change[:3] for change in fitting), start), complaints


def _misfit(change: AccountSetting, taken_by: Role, start: RoleMap) -> str | None:
    day, role, account, _ = change
    kinds = {root(start.account(like)) for like in (role, *_ALSO_LIKE.get(role, ()))}
    expected = f'expected: {day} custom "millilot-account" "{role}"'
    if root(account) not in kinds:
        return (
            f"The role {role} is played by an account under {' or '.join(sorted(kinds))}, not by {account}; "
            f"{expected} {start.account(role)}"
        )
    if taken_by is not role:
        return f"{account} plays the role {taken_by}, and an account has one role; {expected} and another account"
    return None


def _read_pour_loss(entry: Custom) -> PourLoss | str:
    match [value.value for value in entry.values or []]:
        case [Decimal() as loss] if loss >= 0:
            return PourLoss(entry.date, loss)
    expected = f'{entry.date} custom "pour-loss" 0.1'
    return f"A pour loss is one number of mL per vial, not below 0; expected: {expected}"


def _read_kit(entry: Custom) -> Kit | str:
    match [value.value for value in entry.values or []]:
        case [str(name), first, *others] if name == PARCEL or _SIZE.fullmatch(name):
            size = None if name == PARCEL else Decimal(name.removesuffix(MILLILITRES))
            supplies = [Weight(*used) for used in (first, *others) if _is_used(used)]
            if size != 0 and len(supplies) == len(others) + 1:
                return Kit(entry.date, size, tuple(supplies), entry)
    return (
        "A kit names the size of a vial in mL, or the parcel, and the supplies it uses, each above 0; expected: "
        f'{entry.date} custom "kit" "5 mL" 1 VIAL5 1 LABEL or {entry.date} custom "kit" "parcel" 1 MAILER'
    )


def _is_used(value: object) -> bool:
    return isinstance(value, Amount) and isinstance(value.number, Decimal) and value.number > 0


def _not_counted(kit: Kit, commodities: Commodities) -> str | None:
    """Say which supply of a kit the books do not describe as one."""
    for _, code in kit.supplies:
        if code not in commodities or commodities[code].is_fragrance:
            return (
                f"{code} is measured in {MILLILITRES}, and a kit uses supplies, which are counted. If it is one, "
                f'write unit: "{EACH}" below the line: {kit.day} commodity {code}'
            )
    return None


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


def _read_claim(entry: Custom) -> Claim | str:
    expected = f'expected: {entry.date} custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD'
    split, size = entry.meta.get("split"), entry.meta.get("size")
    link = _LINK.fullmatch(split) if isinstance(split, str) else None
    if split is not None and link is None:
        return f'split: is the link of a split in quotes, such as "split-2026-03", not {split!r}.'
    if size is not None and not (isinstance(size, Decimal) and size > 0):
        return f"size: is the mL the bottle will hold, above 0 and without quotes, not {size!r}."
    match [value.value for value in entry.values or []]:
        case [
            str(bottle),
            Amount(number=Decimal() as quantity, currency=str(commodity)),
            Amount(number=Decimal() as price, currency=str(currency)),
        ]:
            if not quantity or quantity * price < 0:
                return (
                    "A claim has a quantity above 0 and a price not below 0, and both with a minus when it is "
                    f"taken back; {expected}"
                )
            refused = entry.meta.get(goods.MARK) == REFUSED
            name = link[1] if link else ""
            return Claim(
                entry.date, bottle, quantity, commodity, price, currency, name, size, refused, entry,
            )
    return f"A claim names a bottle, what is claimed of it and its price; {expected}"


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


_READERS: Mapping[str, Callable[[Custom], object]] = {
    ROOT_NAMES: _read_roots,
    "millilot-account": _read_account,
    "pour-loss": _read_pour_loss,
    "kit": _read_kit,
    "stocktake": _read_stocktake,
    "weighing": _read_weighing,
    "claim": _read_claim,
    "annual-gross": read_annual_gross,
    "filed": read_filed,
    "fee-schedule": read_fee_schedule,
}


#: What our custom directives are called.
DIRECTIVES = tuple(name for name in _READERS if name != ROOT_NAMES)


def is_setting(entry: Custom) -> bool:
    """Whether a directive is one of ours."""
    return entry.type in _READERS


def read_settings(entries: Iterable[Directive]) -> tuple[Settings, list[Complaint]]:
    """Read all settings from the books.

    Returns:
        The settings, and a complaint for each directive that cannot be read (it is then left out).
    """
    kinds = (
        RootNames, AccountSetting, PourLoss, Kit, Stocktake, Weighing, Claim, AnnualGross, Filed, FeeSchedule,
    )
    read: dict[type, list[Any]] = {kind: [] for kind in kinds}
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
    kits = []
    for kit in read[Kit]:
        # A commodity may be described after the kit that uses it.
        problem = _not_counted(kit, commodities)
        if problem is None:
            kits.append(kit)
        else:
            complaints.append(Complaint(kit.entry.meta, problem, kit.entry))
    names = next((each.names for each in read[RootNames]), ROOTS)
    roles, misfits = _settle_accounts(read[AccountSetting], default_roles(names))
    complaints += misfits
    settings = Settings(
        roles,
        commodities,
        frozenset(declared),
        tuple(sorted(read[PourLoss])),
        tuple(read[Stocktake]),
        tuple(read[Weighing]),
        tuple(sorted(kits, key=attrgetter("day"))),
        tuple(sorted(read[Claim], key=attrgetter("day"))),
        tuple(sorted(read[AnnualGross], key=attrgetter("day"))),
        tuple(sorted(read[Filed], key=attrgetter("day"))),
        tuple(sorted(read[FeeSchedule], key=attrgetter("day"))),
    )
    return settings, complaints
