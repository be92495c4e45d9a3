"""How goods stand in a booked transaction.

Whatever leaves a bottle is a pair of postings: a stock posting at the lot's cost and, directly behind it, the
posting that carries the same cost to where the goods went::

    Assets:Stock:CedarHour         -5 CEDARHOUR {1.296 USD, 2026-01-10, "CH-1"}
    Expenses:CostOfGoods:Fragrance                                     6.48 USD

A pair with both signs turned is a return. A stock posting at cost without such a partner is a purchase (when
positive), a return to the supplier (when negative), or one half of a lot that is re-costed, or moved to another
stock account. Plugin and reports both read the books by this rule, so it makes no difference who wrote the pair.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple, cast

from beancount.core.position import Cost

from millilot.ledger.accounts import Role
from millilot.ledger.money import weight

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from beancount.core.data import Posting, Transaction

    from millilot.ledger.accounts import RoleMap

#: Metadata of a generated posting: which stage wrote it.
MARK = "millilot"
#: Metadata of a written line: how much left the bottle for it (negative for a return).
POURED = "poured"

DRAW = "draw"
POUR_LOSS = "loss"
KIT = "kit"
INBOUND = "inbound"
RECOST = "recost"
STOCKTAKE = "stocktake"
#: The money of a line whose goods were refused: it belongs to no bottle.
REFUSED = "refused"

#: A partner's amount equals the cost that left to within the noise of 28-digit products.
EXACT = Decimal("1E-12")


class StockPosting(NamedTuple):
    """A stock posting at cost, as booking leaves it, and its partner.

    Attributes:
        account: the stock account.
        commodity: what is in the lot.
        quantity: how much came in (positive) or left.
        cost: the lot's cost per unit, date and label.
        meta: the posting's metadata, empty when it has none.
        place: its index in the transaction.
        partner: the posting that carries the opposite cost, or None.
    """

    account: str
    commodity: str
    quantity: Decimal
    cost: Cost
    meta: Mapping[str, Any]
    place: int
    partner: Posting | None

    @property
    def value(self) -> Decimal:
        """Quantity times cost per unit."""
        return self.quantity * self.cost.number


def is_booked(entry: Transaction) -> bool:
    """Whether booking filled in every number; where it failed, Beancount has reported it."""
    for posting in entry.postings:
        if posting.units is None or not isinstance(posting.units.number, Decimal):
            return False
        if posting.cost is not None and not isinstance(posting.cost, Cost):
            return False
    return True


def carries_cost(account: str, roles: RoleMap) -> bool:
    """Whether an account can be where goods went: any expense, or the owner's own use."""
    return roles.is_expense(account) or roles.role(account) is Role.PERSONAL_USE


def is_in_stock(posting: Posting, roles: RoleMap) -> bool:
    """Whether a posting stands at its cost in a stock account."""
    if not isinstance(posting.cost, Cost):
        return False
    number: Decimal = posting.units.number  # type: ignore[union-attr,assignment]  # booking has filled it in
    # Where the owner wrote no date of the lot, booking gives what leaves the day of its transaction.
    return roles.holds_stock(posting.account, posting.cost.date if number > 0 else None)


def stock_postings(postings: Sequence[Posting], roles: RoleMap) -> Iterator[StockPosting]:
    """Yield the stock postings at cost of a transaction, each with its partner."""
    last = len(postings) - 1
    for index, posting in enumerate(postings):
        if not is_in_stock(posting, roles):
            continue
        quantity, commodity = cast("tuple[Decimal, str]", posting.units)
        cost = cast("Cost", posting.cost)
        stock = StockPosting(
            posting.account, commodity, quantity, cost, posting.meta or {}, index, partner=None,
        )
        if index < last and _is_partner(postings[index + 1], stock, roles):
            stock = stock._replace(partner=postings[index + 1])
        yield stock


def both_ways(stock: Iterable[StockPosting]) -> dict[str, list[StockPosting]]:
    """Return the unpaired postings of each lot, by label, that both leaves and comes in a transaction."""
    by_label: dict[str, list[StockPosting]] = {}
    for item in stock:
        if item.partner is None and item.cost.label is not None:
            by_label.setdefault(item.cost.label, []).append(item)
    return {
        label: items for label, items in by_label.items() if len({item.quantity > 0 for item in items}) > 1
    }


def _is_partner(posting: Posting, stock: StockPosting, roles: RoleMap) -> bool:
    if posting.cost is not None or posting.price is not None or not carries_cost(posting.account, roles):
        return False
    number, currency = weight(posting)
    return currency == stock.cost.currency and abs(stock.value + number) < EXACT
