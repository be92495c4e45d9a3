"""Which account plays which role.

A role has a default account, and a sub-account plays the role of the account above it. The owner may name
another account; from that date on it takes the place of the default::

    2026-01-01 custom "millilot-account" "sales" Income:Decants

Several accounts may be the bank, and several may hold other expenses; there a directive adds one. A bottle that
came into a stock account stays stock when another account takes the role.
"""

from __future__ import annotations

from bisect import bisect_right
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Mapping, Sequence


class Role(StrEnum):
    """What an account is for. Accounts without a role are private and change no figure."""

    STOCK = "stock"
    INBOUND = "inbound"
    BANK = "bank"
    MARKETPLACE = "marketplace"
    CLAIMS = "claims"
    SALES_TAX = "sales-tax"
    SALES = "sales"
    POSTAGE_CHARGED = "postage-charged"
    REFUNDS = "refunds"
    SWAPS = "swaps"
    UNSORTED = "unsorted"
    COMPENSATION = "compensation"
    COST_OF_GOODS = "cost-of-goods"
    SUPPLIES_USED = "supplies-used"
    SHRINKAGE = "shrinkage"
    OTHER_COSTS = "other-costs"
    FEES = "fees"
    POSTAGE = "postage"
    PACKING = "packing"
    ADS = "ads"
    EXCHANGE = "exchange"
    OTHER_EXPENSES = "other-expenses"
    SAMPLES = "samples"
    LOSS = "loss"
    PERSONAL_USE = "personal-use"
    CONTRIBUTED = "contributed"


#: What the roots of accounts are called here; books may give them other names.
ROOTS = ("Assets", "Liabilities", "Equity", "Income", "Expenses")

DEFAULT_ACCOUNTS: Mapping[Role, str] = {
    Role.STOCK: "Assets:Stock",
    Role.INBOUND: "Assets:Stock:Inbound",
    Role.BANK: "Assets:Bank",
    Role.MARKETPLACE: "Assets:Marketplace",
    Role.CLAIMS: "Liabilities:Claims",
    Role.SALES_TAX: "Liabilities:SalesTax",
    Role.SALES: "Income:Sales",
    Role.POSTAGE_CHARGED: "Income:Postage",
    Role.REFUNDS: "Income:Refunds",
    Role.SWAPS: "Income:Swaps",
    Role.UNSORTED: "Income:Unsorted",
    Role.COMPENSATION: "Income:Compensation",
    Role.COST_OF_GOODS: "Expenses:CostOfGoods:Fragrance",
    Role.SUPPLIES_USED: "Expenses:CostOfGoods:Supplies",
    Role.SHRINKAGE: "Expenses:CostOfGoods:Shrinkage",
    Role.OTHER_COSTS: "Expenses:CostOfGoods",
    Role.FEES: "Expenses:Selling:Fees",
    Role.POSTAGE: "Expenses:Selling:Postage",
    Role.PACKING: "Expenses:Selling:Packing",
    Role.ADS: "Expenses:Selling:Ads",
    Role.EXCHANGE: "Expenses:Selling:Exchange",
    Role.OTHER_EXPENSES: "Expenses:Selling",
    Role.SAMPLES: "Expenses:Samples",
    Role.LOSS: "Expenses:Loss",
    Role.PERSONAL_USE: "Equity:PersonalUse",
    Role.CONTRIBUTED: "Equity:Contributed",
}

#: Roles that several accounts may play at once.
SHARED_ROLES = frozenset({Role.BANK, Role.OTHER_EXPENSES, Role.OTHER_COSTS, Role.MARKETPLACE})

#: Where the cost of fragrance that left its bottle may stand as cost of goods.
LIQUID_COST_ROLES = frozenset({Role.COST_OF_GOODS, Role.SHRINKAGE})


def root(account: str) -> str:
    """Return the first part of the name of an account, which tells its kind."""
    return account.partition(":")[0]


class RoleMap:
    """The roles of all accounts on one day.

    Args:
        accounts: the accounts of each role, first the one that entries of ours use.
        former_stock: accounts that were stock, each with the day from which it was not.
    """

    def __init__(
        self,
        accounts: Mapping[Role, tuple[str, ...]],
        former_stock: Mapping[str, datetime.date] | None = None,
    ) -> None:
        self._accounts = accounts
        self._former_stock = former_stock or {}
        self._role_of_root = {account: role for role, names in accounts.items() for account in names}
        self._known: dict[str, Role | None] = {}
        # Books may call the roots otherwise, but an account never leaves its root.
        self._assets, self._income, self._expenses = (
            f"{root(self.account(role))}:" for role in (Role.STOCK, Role.SALES, Role.COST_OF_GOODS)
        )

    def account(self, role: Role) -> str:
        """Return the account that entries of ours use for a role."""
        return self._accounts[role][0]

    def accounts(self, role: Role) -> tuple[str, ...]:
        """Return all accounts that were given a role."""
        return self._accounts[role]

    def is_asset(self, account: str) -> bool:
        """Whether an account is one of assets, those without a role too."""
        return account.startswith(self._assets)

    def is_bank(self, account: str) -> bool:
        """Whether payouts may arrive on an account: a bank's, or one of assets without a role."""
        role = self.role(account)
        return role is Role.BANK or (role is None and self.is_asset(account))

    def is_income(self, account: str) -> bool:
        """Whether an account is one of income, those without a role too."""
        return account.startswith(self._income)

    def is_expense(self, account: str) -> bool:
        """Whether an account is one of expenses, those without a role too."""
        return account.startswith(self._expenses)

    def role(self, account: str) -> Role | None:
        """Return the role of the nearest account at or above this one, or None for a private account."""
        try:
            return self._known[account]
        except KeyError:
            parent = account
            while parent and parent not in self._role_of_root:
                parent = parent.rpartition(":")[0]
            role = self._known[account] = self._role_of_root.get(parent)
            return role

    def holds_stock(self, account: str, since: datetime.date | None) -> bool:
        """Whether a lot stands in a stock account: one that is, or that was on the day the lot is of.

        Args:
            account: where it stands.
            since: the day the lot is of; None for what leaves, which may have come in on any day.
        """
        role = self.role(account)
        if role is not None or not self._former_stock:
            return role is Role.STOCK
        return any(
            f"{account}:".startswith(f"{root}:") and (since is None or since < until)
            for root, until in self._former_stock.items()
        )

    def replace(self, role: Role, account: str, day: datetime.date) -> RoleMap:
        """Return the roles with one account changed on a day, or added where several may share the role."""
        kept = self._accounts[role] if role in SHARED_ROLES else ()
        if account in kept:
            return self
        former = dict(self._former_stock)
        if role is Role.STOCK:
            former[self.account(role)] = day
            former.pop(account, None)
        return RoleMap({**self._accounts, role: (*kept, account)}, former)


def default_roles(roots: Sequence[str] = ROOTS) -> RoleMap:
    """Return the roles of accounts before any change.

    Args:
        roots: what the books call the roots of accounts, in the order of `ROOTS`.
    """
    names = dict(zip(ROOTS, roots, strict=True))
    return RoleMap(
        {
            role: (names[root(account)] + account.removeprefix(root(account)),)
            for role, account in DEFAULT_ACCOUNTS.items()
        },
    )


class AccountRoles:
    """The roles of all accounts over time.

    Args:
        overrides: (day, role, account) for each change the owner wrote; a later one of a day wins.
        roles: those before any change.
    """

    def __init__(
        self, overrides: Iterable[tuple[datetime.date, Role, str]] = (), roles: RoleMap | None = None,
    ) -> None:
        roles = roles or default_roles()
        self._days: list[datetime.date] = []
        self._maps = [roles]
        for day, role, account in sorted(overrides, key=lambda override: override[0]):
            roles = roles.replace(role, account, day)
            self._days.append(day)
            self._maps.append(roles)

    def on(self, day: datetime.date) -> RoleMap:
        """Return the roles in force on a day, its own directives included."""
        return self._maps[bisect_right(self._days, day)] if self._days else self._maps[0]

    def ever(self, account: str) -> set[Role | None]:
        """Return every role an account plays at some time."""
        return {roles.role(account) for roles in self._maps}
