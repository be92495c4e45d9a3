"""Which account's own journal adds up to a line of the year, so that a page can lead there.

Most lines are what one account took in a range of days, but not all: stock is no change of an account, receipts
stand in several, and a line may have given way by a cent to its total. So nothing is assumed. The account of the
role is tried, with the accounts below it, and only one that comes to the very figure is named. A journal shows
each change in minor units, so goods at cost, which are finer, would not add up as they are shown: an account with
such changes is not named either.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from beancount.core.data import Transaction
from beancount.core.number import ZERO

from millilot.ledger.accounts import Role
from millilot.ledger.money import minor_unit
from millilot.reports import rounding

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Mapping
    from decimal import Decimal

    from beancount.core.data import Directive

    from millilot.ledger.records import Books

#: The role whose account may hold a line or total and nothing else.
ROLE_OF_LINE: Mapping[str, Role] = {
    "gross_receipts": Role.SALES,
    "refunds": Role.REFUNDS,
    "contributed": Role.CONTRIBUTED,
    "personal_use": Role.PERSONAL_USE,
    "supplies": Role.SUPPLIES_USED,
    "other_costs": Role.SHRINKAGE,
    "cost_of_goods_sold": Role.OTHER_COSTS,
    "fees": Role.FEES,
    "postage": Role.POSTAGE,
    "packing": Role.PACKING,
    "ads": Role.ADS,
    "exchange": Role.EXCHANGE,
    "samples": Role.SAMPLES,
    "losses": Role.LOSS,
    "other_expenses": Role.OTHER_EXPENSES,
    "other_income": Role.COMPENSATION,
}

#: Accounts of these roles are not emptied when a year begins, so their journal opens with what was there.
_CARRIED = frozenset({Role.CONTRIBUTED, Role.PERSONAL_USE})


class Accounts:
    """What every account, with those below it, took in a range of days.

    Args:
        entries: all of them.
        currency: of the figures; an account that holds anything else comes to no figure.
        start: the first day.
        end: the last day, itself included.
    """

    def __init__(
        self, entries: Iterable[Directive], currency: str, start: datetime.date, end: datetime.date,
    ) -> None:
        self._within: dict[str, Decimal] = defaultdict(lambda: ZERO)
        self._before: set[str] = set()
        self._mixed: set[str] = set()
        self._finer: set[str] = set()
        unit = minor_unit(currency)
        for entry in entries:
            if not isinstance(entry, Transaction) or entry.date > end:
                continue
            for posting in entry.postings:
                amount = posting.units
                is_plain = amount is not None and amount.currency == currency and posting.cost is None
                for account in _upwards(posting.account):
                    if amount is None or amount.number is None or not is_plain:
                        self._mixed.add(account)
                    elif entry.date < start:
                        self._before.add(account)
                    else:
                        self._within[account] += amount.number
                        if amount.number % unit:
                            self._finer.add(account)

    def comes_to(self, account: str, figure: Decimal, unit: Decimal, *, carried: bool = False) -> bool:
        """Whether the journal of an account adds up to a figure, with either sign.

        Args:
            account: its name; those below it count.
            figure: in whole units.
            unit: the smallest amount.
            carried: whether the account keeps from year to year what it holds.
        """
        if account in self._mixed or account not in self._within or (carried and account in self._before):
            return False
        return abs(rounding.nearest(self._within[account], unit)) == abs(figure)

    def adds_up_as_shown(self, account: str) -> bool:
        """Whether all changes of an account, with those below it, are in whole minor units."""
        return account not in self._finer


def journals(
    accounts: Accounts, books: Books, end: datetime.date, figures: Mapping[str, Decimal | None],
) -> dict[str, str]:
    """Return for each line whose figure is the sum of one account's journal the name of that account.

    Args:
        accounts: what the accounts took.
        books: the books.
        end: the last day; accounts are those of their roles then.
        figures: the lines and totals of the year, rounded.
    """
    roles, unit = books.settings.roles.on(end), minor_unit(books.currency)
    found = {}
    for line, role in ROLE_OF_LINE.items():
        figure, account = figures.get(line), roles.account(role)
        comes = figure and accounts.comes_to(account, figure, unit, carried=role in _CARRIED)
        if comes and accounts.adds_up_as_shown(account):
            found[line] = account
    return found


def _upwards(account: str) -> Iterable[str]:
    """Yield an account and those above it."""
    while account:
        yield account
        account = account.rpartition(":")[0]
