"""What the net amount of an order is made of, by what adds up to it."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from millilot.importers.proposal.sums import Solution, Vector, solve

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from decimal import Decimal

    from millilot.importers.proposal.evidence import Column
    from millilot.importers.proposal.roles import Assigned

#: How little the role of a column agrees with what it does to the net amount: raise it, lower it, or neither.
_EXPECTED = {
    "price": (0.0, 9.0, 3.0),
    "product": (0.0, 9.0, 3.0),
    "postage": (0.0, 6.0, 2.0),
    "extra": (0.0, 6.0, 1.0),
    "tax": (0.2, 4.0, 0.2),
    "tax_withheld": (5.0, 0.2, 0.4),
    "fee": (6.0, 0.0, 2.0),
    "ads": (6.0, 0.0, 2.0),
    "label": (6.0, 0.0, 1.0),
    "fee_total": (6.0, 1.0, 0.4),
    "discount": (5.0, 0.3, 0.4),
    "refund": (5.0, 0.3, 0.5),
    "refund_tax": (5.0, 0.3, 0.4),
    "refund_fee": (0.3, 5.0, 0.5),
    "gross": (4.0, 6.0, 0.0),
    "unit_price": (3.0, 9.0, 0.0),
    "net": (6.0, 9.0, 0.0),
    "amount": (2.0, 2.0, 0.3),
    "": (2.0, 1.5, 0.5),
}
#: Roles whose amounts are of the order, rather than of an item.
_OF_ORDER = frozenset(
    {"postage", "extra", "tax", "net", "fee", "ads", "label", "refund", "refund_tax", "refund_fee"}
)
#: The name of the product of unit price and quantity among the columns.
_PRODUCT = "\0product"


@dataclass(frozen=True, slots=True)
class Orders:
    """The rows of the file by order.

    Attributes:
        numbers: the order of each row.
        groups: places of the rows of each order.
    """

    numbers: tuple[str, ...]
    groups: tuple[tuple[int, ...], ...]

    @property
    def several(self) -> list[tuple[int, ...]]:
        """The orders of more than one row."""
        return [rows for rows in self.groups if len(rows) > 1]


@dataclass(frozen=True, slots=True)
class Found:
    """How the amounts of the orders add up.

    Attributes:
        target: the heading of the net amount.
        solution: the signs.
        price: which of its columns is the price.
        mode: where the amounts of an order of several rows stand, or empty.
        mode_sure: whether the other places do not add up.
        because_mode: why, in words.
        rows: the first row of each order that was summed.
        rivals: other ways that do as well, in words.
    """

    target: str
    solution: Solution
    price: str
    mode: str
    mode_sure: bool
    because_mode: str
    rows: tuple[int, ...]
    rivals: tuple[str, ...] = ()


class SumFinder:
    """Finds what the net amount of an order is made of."""

    def __init__(
        self,
        roles: Assigned,
        amounts: Sequence[Column],
        orders: Orders,
        booked: set[int],
        scale: int,
    ) -> None:
        self.roles = roles
        self.amounts = {column.heading: column for column in amounts}
        self.quantity = roles.one("quantity")
        self.orders = orders
        self.scale = scale
        self.groups = [rows for rows in orders.groups if booked.issuperset(rows)]
        self.modes = ("repeated", "first", "each") if orders.several else ("",)
        self._booked = [row for rows in self.groups for row in rows]
        self._extras: dict[str, set[str]] = {}

    @property
    def has_quantities(self) -> bool:
        """Whether some row is of more than one piece."""
        return self.quantity is not None and any(number and number > 1 for number in self.quantity.numbers)

    def names(self, row: int) -> str:
        """Return the number of a row's order, or which row it is of an order without one."""
        return self.orders.numbers[row].removeprefix("\0")

    def heading(self, name: str) -> str:
        """Return the heading of a column or of the unit price in the product."""
        return name.removeprefix(_PRODUCT)

    def label(self, name: str) -> str:
        """Return how a column is called in a sum."""
        if name.startswith(_PRODUCT) and self.quantity is not None:
            return f'"{self.heading(name)}" x "{self.quantity.heading}"'
        return f'"{name}"'

    def is_above_zero(self, name: str) -> bool:
        """Whether the file writes a column's amounts above 0."""
        numbers = self.amounts[self.heading(name)].numbers
        return sum(filter(None, (numbers[row] for row in self._booked))) > 0

    def role(self, name: str, best: Found) -> str:
        """Return the role of a column in the sum."""
        if name.startswith(_PRODUCT):
            return "product"
        return "price" if name == best.price else self.roles.role(name)

    def by_item(self, name: str, mode: str) -> bool:
        """Whether an amount belongs to an item rather than to the order."""
        if not mode:
            return True
        kinds = {self._spread(rows, name) for rows in self.orders.several}
        return mode == "each" or "differs" in kinds

    def vector(self, name: str, mode: str) -> Vector:
        """Return the amounts of a column by order, in minor units."""
        return tuple(self._of_order(rows, name, mode) for rows in self.groups)

    def _of_order(self, rows: tuple[int, ...], name: str, mode: str) -> int:
        numbers = [self._number(row, name) for row in rows]
        item_level = name.startswith(_PRODUCT) or self._role_by_item(name) or self._own_extra(name, mode)
        if mode in {"", "each"} or item_level:
            return sum(numbers)
        return numbers[0]

    def _role_by_item(self, name: str) -> bool:
        role = self.roles.role(name)
        return role in {"price", "unit_price"} or (
            role in {"gross", "amount", "discount", ""} and self.by_item_values(name)
        )

    def _own_extra(self, name: str, mode: str) -> bool:
        """Whether an extra does not stand where a mode has the amounts of an order: each item has its own."""
        if self.roles.role(name) != "extra":
            return False
        if name not in self._extras:
            self._extras[name] = {self._spread(rows, name) for rows in self.orders.several}
        return not self._extras[name] <= {mode, "nothing"}

    def by_item_values(self, name: str) -> bool:
        """Whether the amounts differ between the rows of an order."""
        return any(self._spread(rows, name) == "differs" for rows in self.orders.several)

    def _spread(self, rows: Sequence[int], name: str) -> str:
        numbers = [self._number(row, name) for row in rows]
        if not any(numbers):
            return "nothing"
        if len(set(numbers)) == 1:
            return "repeated"
        return "first" if not any(numbers[1:]) else "differs"

    def _number(self, row: int, name: str) -> int:
        column = self.amounts.get(self.heading(name))
        number = column.numbers[row] if column is not None else None
        cents = int((number or 0) * self.scale)
        if self.roles.role(name) == "discount":
            # Files write it above or below 0, some both; it is taken off either way.
            return -abs(cents)
        if name.startswith(_PRODUCT) and self.quantity is not None:
            count = self.quantity.numbers[row]
            cents *= int(count) if count is not None else 1
        return cents

    def _targets(self) -> list[str]:
        net = self.roles.one("net")
        if net is not None and not net.is_zero:
            return [net.heading]
        return [
            name
            for name in self.amounts
            if self.roles.role(name) in {"gross", "amount", ""} and self.is_above_zero(name)
        ]

    def _prices(self) -> list[str]:
        order = {"price": 0, "unit_price": 1, "amount": 2, "gross": 3, "": 4}
        names = [
            name
            for name in self.amounts
            if self.roles.role(name) in order and self.is_above_zero(name)
        ]
        names.sort(key=lambda name: order[self.roles.role(name)])
        products = [_PRODUCT + name for name in names if self.roles.role(name) in {"price", "unit_price", ""}]
        return [*names, *(products if self.has_quantities else ())]

    def best(self) -> Found | None:
        """Return the way the amounts add up that the headings agree with most, None when there is none."""
        found: list[tuple[float, Found]] = []
        for target in self._targets():
            for mode in self.modes:
                found.extend(self._solutions(target, mode))
        found = [(cost, each) for cost, each in found if self._meant(each) and not self._swallowed(each)]
        if not found:
            return None
        found.sort(key=lambda pair: pair[0])
        cost, best = found[0]
        good_modes = {each.mode for price, each in found if price <= cost + 0.5 and each.target == best.target}
        rivals = [
            each
            for price, each in found[1:]
            if price <= cost + 0.05 and each.target == best.target and self._books(each) != self._books(best)
        ]
        words = tuple(
            " ".join(
                f"{'+' if sign > 0 else '-'} {self.label(name)}" for name, sign in rival.solution.signs.items()
            )
            for rival in rivals
        )
        if not best.mode:
            return replace(best, mode_sure=True, rivals=words)
        if len(good_modes) == 1:
            because = f'only so the amounts of orders with several rows make "{best.target}"'
            return replace(best, mode_sure=True, because_mode=because, rivals=words)
        mode, because, sure = self.mode_by_values()
        chosen = next((each for price, each in found if each.mode == mode and price <= cost + 0.5), best)
        return replace(chosen, mode_sure=sure, because_mode=because, rivals=words)

    def _books(self, found: Found) -> tuple[Vector, dict[str, int]]:
        """Return what is booked by a sum: the amounts of its price, and the other columns."""
        others = {name: sign for name, sign in found.solution.signs.items() if name != found.price}
        return self.vector(found.price, found.mode), others

    def _meant(self, found: Found) -> bool:
        """Whether a sum is the net amount, rather than what the buyer paid."""
        if self.roles.role(found.target) == "net":
            return True
        signs = found.solution.signs
        if any(self.roles.role(self.heading(name)) in {"fee", "ads", "label", "fee_total"} for name in signs):
            return True
        # Of columns that nobody knows: less than the price by what the others take off.
        lowered = [name for name, sign in signs.items() if sign * sum(self.vector(name, found.mode)) < 0]
        return bool(lowered) and not found.solution.failing and len(found.rows) > len(signs)

    def _swallowed(self, found: Found) -> bool:
        """Whether a column that nobody knows takes off more than half of what was sold, in most orders.

        No channel charges so much: what is left over of such a sum is not the net amount, but some other part.
        """
        terms = {name: self._signed(name, sign, found.mode) for name, sign in found.solution.signs.items()}
        unknown = [amounts for name, amounts in terms.items() if self.role(name, found) in {"", "amount"}]
        sold = [sum(amount for amount in order if amount > 0) for order in zip(*terms.values(), strict=True)]
        return any(
            sum(-2 * amount > whole for amount, whole in zip(amounts, sold, strict=True)) * 2 > len(sold)
            for amounts in unknown
        )

    def _signed(self, name: str, sign: int, mode: str) -> list[int]:
        return [sign * amount for amount in self.vector(name, mode)]

    def _solutions(self, target: str, mode: str) -> list[tuple[float, Found]]:
        """Return the sums that make a target, each with how little its headings agree with it."""
        column = self.amounts[target]
        groups = [
            place for place, rows in enumerate(self.groups) if any(column.numbers[row] is not None for row in rows)
        ]
        if not groups or not self._possible(mode):
            return []
        goal = self._only(self.vector(target, mode), groups)
        rows = tuple(self.groups[place][0] for place in groups)
        found = []
        for price in self._prices():
            if target in {price, self.heading(price)}:
                continue
            columns = {
                name: self._only(self.vector(name, mode), groups)
                for name in (price, *self.amounts)
                if name not in {target, self.heading(price)} or name == price
            }
            columns = self._without_twins(columns, price)
            for solution in solve(goal, columns, self._penalty(columns), fixed=(price,))[:20]:
                each = Found(target, solution, price, mode, mode_sure=False, because_mode="", rows=rows)
                found.append((solution.penalty + self._doubt(price, solution), each))
        return found

    def _doubt(self, price: str, solution: Solution) -> float:
        """Return how little a column's heading says that it is a price, the less if another's in the sum does."""
        role = self.roles.role(self.heading(price))
        others = (self.roles.role(self.heading(name)) for name in solution.signs if name != price)
        doubt = 0.0 if role in {"price", "unit_price"} else 5.0 if "price" in others else 1.0
        return doubt + (0.2 if price.startswith(_PRODUCT) and role != "unit_price" else 0.0)

    def _without_twins(self, columns: dict[str, Vector], price: str) -> dict[str, Vector]:
        """Return columns without those that say just what another says."""
        again = {"gross", "price", "unit_price", "amount", ""}
        kept = dict(columns)
        for name, amounts in columns.items():
            if name == price:
                continue
            twins = [other for other in kept if other != name and kept[other] == amounts]
            of_price = columns[price] == amounts and self.roles.role(name) in again
            if of_price or any(self._weaker(name, other) for other in twins):
                del kept[name]
        return kept

    def _penalty(self, columns: Mapping[str, Vector]) -> Callable[[str, int], float]:
        totals = {name: sum(amounts) for name, amounts in columns.items()}

        def penalty(name: str, sign: int) -> float:
            raises, lowers, absent = _EXPECTED.get(self._expected(name), _EXPECTED[""])
            if not sign:
                return absent
            return raises if sign * totals[name] > 0 else lowers

        return penalty

    def _expected(self, name: str) -> str:
        return "product" if name.startswith(_PRODUCT) else self.roles.role(name)

    def _weaker(self, name: str, other: str) -> bool:
        """Whether of two columns with the same amounts this is the one that says it again."""
        again = {"fee_total", "gross", "amount", "", "unit_price"}
        return self.roles.role(name) in again and self.roles.role(other) not in again

    @staticmethod
    def _only(vector: Vector, places: Sequence[int]) -> Vector:
        return tuple(vector[place] for place in places)

    def _possible(self, mode: str) -> bool:
        """Whether the amounts of orders can stand where a mode has them, as the importer demands."""
        if mode in {"", "each"}:
            return True
        for name in self.amounts:
            kinds = {self._spread(rows, name) for rows in self.orders.several}
            if self.roles.role(name) in _OF_ORDER - {"extra"} and not kinds <= {mode, "nothing"}:
                return False
        return True

    def mode_by_values(self) -> tuple[str, str, bool]:
        """Return where the amounts of orders with several rows stand, why, and whether that is sure."""
        kinds: Counter[str] = Counter()
        for name in self.amounts:
            if self.roles.role(name) in _OF_ORDER:
                kinds.update(self._spread(rows, name) for rows in self.orders.several)
        kinds.pop("nothing", None)
        if not kinds:
            return "each", "no order with several rows has such amounts", False
        if kinds["differs"]:
            return "each", "they differ between the rows of an order", not kinds["repeated"]
        if kinds["repeated"] and not kinds["first"]:
            return "repeated", "they are the same on all rows of an order", len(self.orders.several) > 1
        if kinds["first"] and not kinds["repeated"]:
            return "first", "they stand on the first row of an order only", True
        return "each", "some stand on the first row, some on each", False

    def line_total(self, price: Column) -> str:
        """Return the heading of the price times the quantity, or nothing where no column is that."""
        if self.quantity is None or not self.has_quantities:
            return ""
        rows = range(len(price.numbers))
        goal = [self._number(row, _PRODUCT + price.heading) for row in rows]
        others = (name for name in self.amounts if name != price.heading)
        return next((name for name in others if [self._number(row, name) for row in rows] == goal), "")

    def is_per_unit(self, price: Column) -> bool:
        """Whether a price stays the same however many pieces are sold."""
        title = self.roles.one("title")
        if title is None or self.quantity is None or not self.has_quantities:
            return False
        seen: defaultdict[str, set[tuple[Decimal | None, Decimal | None]]] = defaultdict(set)
        for text, amount, count in zip(title.cells, price.numbers, self.quantity.numbers, strict=True):
            seen[text].add((amount, count))
        tested = [pairs for pairs in seen.values() if len({count for _, count in pairs}) > 1]
        return bool(tested) and all(len({amount for amount, _ in pairs}) == 1 for pairs in tested)

    def _gross(self) -> list[str]:
        return [
            name
            for name, column in self.amounts.items()
            if self.roles.role(name) == "gross" and not column.is_zero
        ]

    def inside_price(self, tax: str) -> bool:
        """Whether what the buyer paid has the tax within the price."""
        return self._paid(tax, with_it=False) and not self._paid(tax, with_it=True)

    def explains_gross(self, discount: str) -> str:
        """Return the heading of what the buyer paid if a discount is taken off in it, or nothing."""
        return next(iter(self._gross()), "") if self._paid(discount, with_it=True) else ""

    def _paid(self, name: str, *, with_it: bool) -> bool:
        """Whether what the buyer paid is price, postage and some more, with or without a column."""
        if name not in self.amounts or self.amounts[name].is_zero:
            return False
        mode = self.modes[-1]
        more = [
            each
            for each in self.amounts
            if self.roles.role(each) in {"postage", "extra", "tax", "discount"} and each != name
        ]
        for gross in self._gross():
            goal = self.vector(gross, mode)
            for price in self._prices():
                if price == gross:
                    continue
                columns = {each: self.vector(each, mode) for each in (*more, price, name)}
                if not with_it:
                    columns.pop(name)
                fixed = (price, name) if with_it and self.roles.role(name) == "tax" else (price,)
                for solution in solve(goal, columns, lambda _name, _sign: 0.0, fixed=fixed):
                    if not solution.failing and (name in solution.signs) == with_it:
                        return True
        return False
