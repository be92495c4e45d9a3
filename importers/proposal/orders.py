"""A profile for files of orders or of their items: what each order was sold for, and what the channel took."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from millilot.importers.proposal.evidence import Column, Evidence, Holds
from millilot.importers.proposal.findings import Certainty, Draft
from millilot.importers.proposal.roles import Assigned, assign
from millilot.importers.proposal.statuses import propose_statuses
from millilot.importers.proposal.sums import Solution, Vector, solve
from millilot.importers.proposal.words import slug

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from decimal import Decimal

#: What a ledger of events has and a file of orders has not.
_NOT_HERE = frozenset({"type", "detail", "event", "parent", "credit", "debit", "balance"})
_SUFFIX = re.compile(r"(?P<mark>[-_/.])(?P<part>\d{1,2}|[A-Za-z])$")

#: The part of an order's number that goes with the sign of each role's amounts: what it does to the net amount,
#: as (penalty when it raises it, when it lowers it, when it is no part of it).
_EXPECTED = {
    "price": (0.0, 9.0, 3.0),
    "product": (0.0, 9.0, 3.0),
    "postage": (0.0, 6.0, 2.0),
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


def propose_orders(evidence: Evidence, draft: Draft, digits: int) -> None:
    """Put down the keys of a file of orders or items.

    Args:
        evidence: what the columns hold.
        draft: takes the findings.
        digits: decimals of the currency's minor unit.
    """
    _Proposer(evidence, draft, digits).run()


class _Proposer:
    """Finds the keys of one file."""

    def __init__(self, evidence: Evidence, draft: Draft, digits: int) -> None:
        self.evidence = evidence
        self.draft = draft
        self.scale = 10**digits
        self.roles = assign(evidence.columns, without=_NOT_HERE)
        self.moved: dict[str, str] = {}

    def run(self) -> None:
        order = self._order()
        self._days()
        orders = self._group(order)
        statuses = propose_statuses(self.roles, self.draft)
        booked = [
            row for row in range(len(orders.numbers)) if statuses.get(row) not in {"skip", "pending", "cancelled"}
        ]
        self._texts()
        self._money(orders, set(booked))

    # The number of the order, and which rows it joins.

    def _order(self) -> Column | None:
        column = self.roles.one("order")
        if column is None or column.holds is Holds.NOTHING:
            column = self._order_by_values()
            if column is None:
                self.draft.missing("columns.order", "no column holds a number for each order")
                return None
            self.draft.guess("columns.order", column.heading, "its values look like numbers of orders")
            return column
        score = self.roles.scores[column.heading]
        because = "its heading" + (", and no number comes twice" if column.unique else ", and numbers come again")
        self._put("columns.order", column.heading, because, sure=score >= 0.9 and column.filled > 0)
        return column

    def _order_by_values(self) -> Column | None:
        fits = [
            column
            for column in self.evidence.columns
            if column.holds in {Holds.TEXT, Holds.WHOLE}
            and self.roles.role(column.heading) in {"", "line", "sku"}
            and column.filled == len(column.cells)
            and all(re.search(r"\d", value) and re.fullmatch(r"#?[\w./-]{3,40}", value) for value in column.values)
        ]
        event = [
            column
            for column in self.evidence.columns
            if column.meanings.get("event", 0) >= 0.9 and column.holds in {Holds.TEXT, Holds.WHOLE, Holds.WORDS}
        ]
        candidates = event or sorted(fits, key=lambda column: (-len(column.values), column.place))
        return candidates[0] if candidates else None

    def _group(self, order: Column | None) -> Orders:
        count = len(self.evidence.columns[0].cells) if self.evidence.columns else 0
        numbers = [f"\0{row}" for row in range(count)]
        if order is not None:
            suffix = self._suffix(order)
            for row, cell in enumerate(order.cells):
                number = cell.lstrip("#").strip()
                if suffix:
                    number = re.sub(suffix, "", number) or number
                numbers[row] = number or f"\0{row}"
        groups: defaultdict[str, list[int]] = defaultdict(list)
        for row, number in enumerate(numbers):
            groups[number].append(row)
        orders = Orders(tuple(numbers), tuple(map(tuple, groups.values())))
        if orders.several:
            self.draft.sure(
                "file.row", "item", f"{len(orders.several)} of {len(orders.groups)} orders have several rows"
            )
        else:
            self._put("file.row", "order", "every order has one row", sure=len(orders.groups) > 1)
        return orders

    def _suffix(self, order: Column) -> str:
        """Return the pattern of what makes parts of an order's number, or nothing."""
        parts: defaultdict[str, list[tuple[int, str]]] = defaultdict(list)
        bare = set(order.values)
        for row, cell in enumerate(order.cells):
            if match := _SUFFIX.search(cell):
                parts[cell[: match.start()]].append((row, match["part"]))
        joined = 0
        pattern = ""
        for base, found in parts.items():
            runs = sorted({part for _, part in found})
            starts = {"1", "01", "A", "a"} & set(runs) or base in bare
            consecutive = runs == _run(runs)
            if not (starts and consecutive and (len(found) > 1 or base in bare)):
                continue
            rows = [row for row, _ in found] + [row for row, cell in enumerate(order.cells) if cell == base]
            if all(self._same_day(rows[0], row) for row in rows[1:]):
                joined += 1
                mark = order.cells[found[0][0]][len(base)]
                kind = r"\d{1,2}" if runs[0].isdigit() else "[A-Za-z]"
                pattern = f"{re.escape(mark) if mark == '.' else mark}{kind}$"
        # Numbers that all end in such a part are numbers of another kind, unless most of them join.
        if not joined or (len(parts) > 3 and joined * 4 < len(parts) and base_share(parts, bare) < 0.5):
            return ""
        self.draft.guess(
            "file.order-suffix", pattern, f"{joined} order(s) whose numbers differ in the last part only"
        )
        return pattern

    def _same_day(self, first: int, second: int) -> bool:
        ordered = self.roles.one("ordered") or self.roles.one("date")
        return ordered is not None and ordered.cells[first][:10] == ordered.cells[second][:10]

    # Days.

    def _days(self) -> None:
        days = [column for column in self.evidence.columns if column.holds is Holds.DAYS]
        ordered = self.roles.one("ordered")
        if ordered is not None and ordered.holds is Holds.DAYS:
            self._put(
                "columns.ordered", ordered.heading, "its heading", sure=self.roles.scores[ordered.heading] >= 0.9
            )
        else:
            free = [column for column in days if self.roles.role(column.heading) in {"date", ""}]
            others = [
                column for column in days if self.roles.role(column.heading) in {"settled", "paid_out", "shipped"}
            ]
            column = next(iter([*free, *others]), None)
            if column is None:
                self.draft.missing("columns.ordered", "no column holds days")
            else:
                only = "the only column of days" if len(days) == 1 else "the column of days that is left"
                sure = len(days) == 1 and column.meanings.get("date", 0) >= 0.9
                self._put("columns.ordered", column.heading, only, sure=sure)
        taken = self.draft.value("columns.ordered")
        for role, key in (("settled", "settled"), ("paid_out", "paid-out"), ("shipped", "shipped")):
            column = self.roles.one(role)
            if column is None or column.heading == taken:
                continue
            because = "its heading"
            if role == "shipped":
                empty = len(column.cells) - column.filled
                because = f"its heading; empty in {empty} row(s): to pour" if empty else "its heading"
            self._put(f"columns.{key}", column.heading, because, sure=self.roles.scores[column.heading] >= 0.9)

    # Texts.

    def _texts(self) -> None:
        title = self.roles.one("title")
        if title is not None:
            named = title.sizes
            because = "its texts name sizes" if named >= 0.25 else "its heading"
            self._put(
                "columns.title",
                title.heading,
                because,
                sure=named >= 0.5 or self.roles.scores[title.heading] >= 0.9,
            )
        else:
            self.draft.notes.append("No column holds titles: nothing of the file can be sorted by fragrance.")
        for role in ("sku", "quantity", "payout"):
            column = self.roles.one(role)
            if column is not None and column.holds is not Holds.NOTHING:
                self._put(
                    f"columns.{role}", column.heading, "its heading", sure=self.roles.scores[column.heading] >= 0.9
                )

    # Money.

    def _money(self, orders: Orders, booked: set[int]) -> None:
        quantity = self.roles.one("quantity")
        amounts = [
            column
            for column in self.evidence.columns
            if column.holds in {Holds.AMOUNTS, Holds.WHOLE} and self._countable(column)
        ]
        finder = _SumFinder(self.roles, amounts, quantity, orders, booked, self.scale)
        best = finder.best()
        if best is None:
            self._without_sums(finder, orders)
        else:
            self._with_sums(best, finder)
        self._refund_date()

    def _countable(self, column: Column) -> bool:
        role = self.roles.role(column.heading)
        if role in {"order", "payout", "line", "rate", "quantity", "sku", "private"}:
            return False
        return not (role == "" and column.holds is Holds.WHOLE and column.unique and len(column.cells) > 3)

    def _with_sums(self, best: Found, finder: _SumFinder) -> None:
        solution = best.solution
        count = len(best.rows)
        failing = [best.rows[place] for place in solution.failing]
        total = f"the sum holds in {count - len(failing)} of {count} orders"
        certain = not failing and count >= 3 and not best.rivals
        if best.mode:
            self._put("file.order-amounts", best.mode, best.because_mode, sure=best.mode_sure)
        net = best.target
        self._put("columns.net", net, f"what the other columns add up to: {total}", sure=certain)
        if failing:
            lines = ", ".join(finder.names(row) for row in failing[:3])
            self.draft.notes.append(
                f'"{net}" is not the sum of the other columns in {len(failing)} of {count} orders: {lines}. '
                "These will be refused.",
            )
        if best.rivals:
            self.draft.notes.append(f"The amounts add up in another way as well: {best.rivals[0]}.")
        words = []
        for name, sign in solution.signs.items():
            self._term(name, sign, best, finder, certain=certain)
            words.append(f"{'+' if sign > 0 else '-'} {finder.label(name)}")
        self.draft.notes.append(f'"{net}" = {" ".join(words).removeprefix("+ ")}.')
        self._left_out(solution, finder)

    def _term(self, name: str, sign: int, best: Found, finder: _SumFinder, *, certain: bool) -> None:
        role = finder.role(name, best)
        because = "part of the sum"
        heading = finder.heading(name)
        cents = finder.vector(name, best.mode)
        lowers = sign * sum(cents) < 0
        if role == "product":
            self._put("columns.unit-price", heading, "times the quantity it is part of the sum", sure=certain)
        elif role in {"price", "postage"}:
            self._put(f"columns.{role}", heading, because, sure=certain and self.roles.role(heading) == role)
        elif role == "tax":
            self._put("columns.tax", heading, because, sure=certain)
            self._put("tax.remitted", False, "the net amount has the tax in it", sure=certain)
        elif role == "discount":
            key = "discount" if finder.by_item(name, best.mode) else "order-discount"
            self._put(f"columns.{key}", heading, "taken off in the sum", sure=certain)
        elif role in {"refund", "refund_tax", "refund_fee"}:
            key = {"refund": "amount", "refund_tax": "tax", "refund_fee": "fee"}[role]
            positive = sum(cents) > 0
            self._put(f"refund.{key}", heading, because, sure=certain)
            self._refund_sign(heading, positive=positive)
            self._put("refund.in-net", True, "the net amount has it taken off", sure=certain)
        elif role == "tax_withheld":
            self.draft.notes.append(
                f'"{heading}" takes the tax out of the net amount again: the channel hands it on.'
            )
            self._put("tax.remitted", True, f'"{heading}" hands it on', sure=certain)
        else:
            self._fee(heading, role, lowers=lowers, sign=sign, certain=certain)

    def _refund_sign(self, heading: str, *, positive: bool) -> None:
        sign = "positive" if positive else "negative"
        known = self.draft.value("refund.sign")
        if known is not None and known != sign:
            self.draft.contradicted("refund.sign", known, f'"{heading}" has the other sign')
        elif sign == "negative" or known is None:
            self.draft.sure("refund.sign", sign, "the sign of its amounts")

    def _fee(self, heading: str, role: str, *, lowers: bool, sign: int, certain: bool) -> None:
        books = {"ads": "ads", "label": "postage"}.get(role, "fees")
        known = role in {"fee", "ads", "label", "fee_total"}
        if not known and not lowers:
            self.draft.guess("columns.postage", heading, "added in the sum, and nothing else is known of it")
            return
        because = "taken off in the sum" + ("" if known else "; nothing else is known of it")
        self.draft.fee(
            heading,
            slug(heading),
            books,
            "positive" if sign < 0 else "negative",
            Certainty.SURE if certain and known else Certainty.GUESSED,
            because,
        )

    def _left_out(self, solution: Solution, finder: _SumFinder) -> None:
        """Put down what is no part of the sum: tax handed on, refunds that come later, columns of zeros."""
        used = {finder.heading(name) for name in solution.signs}
        for column in self.evidence.columns:
            role = self.roles.role(column.heading)
            if column.heading in used or column.holds not in {Holds.AMOUNTS, Holds.WHOLE, Holds.NOTHING}:
                continue
            zero = column.is_zero
            if role == "tax" and self.draft.value("columns.tax") is None:
                self._tax_outside(column, finder, zero=zero)
            elif role == "postage" and zero:
                self.draft.guess("columns.postage", column.heading, "its heading; it is empty or 0 in every row")
            elif role in {"fee", "ads", "label"} and zero:
                self._fee(column.heading, role, lowers=True, sign=-1, certain=False)
            elif role in {"refund", "refund_tax", "refund_fee"}:
                self._refund_outside(column, role)
            elif role == "discount" and not zero:
                self.draft.notes.append(f'"{column.heading}" is no part of the sum: the prices are after it.')
            elif role in {"postage", "fee", "ads", "label"} and not zero:
                self.draft.notes.append(
                    f'"{column.heading}" is no part of "{self.draft.value("columns.net")}"; it is left out.'
                )
            elif role == "" and not zero and column.holds is Holds.AMOUNTS:
                self.draft.notes.append(f'What "{column.heading}" is could not be found; it is left out.')

    def _tax_outside(self, column: Column, finder: _SumFinder, *, zero: bool) -> None:
        if finder.inside_price(column.heading):
            self.draft.notes.append(
                f'"{column.heading}" is within the prices (what the buyer paid has it only once); it is left out.',
            )
            return
        self.draft.guess("columns.tax", column.heading, "its heading") if zero else self.draft.sure(
            "columns.tax",
            column.heading,
            "its heading",
        )
        because = "no tax was taken" if zero else "the net amount is without it"
        self._put("tax.remitted", True, because, sure=not zero)

    def _refund_outside(self, column: Column, role: str) -> None:
        if role == "refund_tax" or role == "refund_fee" or role == "refund":
            key = {"refund": "amount", "refund_tax": "tax", "refund_fee": "fee"}[role]
            self._put(
                f"refund.{key}", column.heading, "its heading", sure=self.roles.scores[column.heading] >= 0.9
            )
            if not column.is_zero:
                total = sum((number for number in column.numbers if number), self.scale * 0)
                self._refund_sign(column.heading, positive=total > 0)

    def _refund_date(self) -> None:
        amount = self.draft.value("refund.amount")
        others = [key for key in ("refund.tax", "refund.fee") if self.draft.value(key)]
        if amount is None:
            if others:
                self.draft.missing("refund.amount", "there are columns of refunds, but none of the amount")
            return
        column = self.roles.one("refund_date")
        if column is not None and column.holds in {Holds.DAYS, Holds.NOTHING}:
            self._put("refund.date", column.heading, "its heading", sure=column.holds is Holds.DAYS)
            return
        for key in ("columns.settled", "columns.paid-out", "columns.ordered"):
            if heading := self.draft.value(key):
                self.draft.guess("refund.date", heading, "no column has the day of the refund")
                return
        self.draft.missing("refund.date", "no column has the day of the refund")

    def _without_sums(self, finder: _SumFinder, orders: Orders) -> None:
        """Put down what the headings say where no sum confirms it."""
        net = self.roles.one("net")
        if net is not None and not finder.groups:
            self.draft.guess("columns.net", net.heading, "its heading; there is no order to test it by")
        elif net is not None and not net.is_zero:
            self.draft.contradicted(
                "columns.net",
                net.heading,
                "its heading; but no sum of the other columns makes it: an amount is missing from the file, or one of "
                "the columns is something else",
            )
        price = self.roles.one("price") or self.roles.one("gross") or self.roles.one("amount")
        unit = self.roles.one("unit_price")
        if price is not None and self.roles.role(price.heading) == "price" and finder.is_per_unit(price):
            unit, price = price, None
        if price is not None and self.roles.role(price.heading) != "price" and unit is not None:
            price = None
        if price is not None:
            sure = self.roles.role(price.heading) == "price" and self.roles.scores[price.heading] >= 0.9
            self._put("columns.price", price.heading, "its heading", sure=sure and not finder.has_quantities)
        elif unit is not None:
            self._put(
                "columns.unit-price", unit.heading, "its heading", sure=self.roles.scores[unit.heading] >= 0.9
            )
        else:
            self.draft.missing("columns.price", "no column of amounts is known to be the price")
        if orders.several:
            mode, because, sure = finder.mode_by_values()
            self._put("file.order-amounts", mode, because, sure=sure)
        for role in ("postage", "tax"):
            column = self.roles.one(role)
            if column is not None and column.holds is not Holds.NOTHING:
                self._put(
                    f"columns.{role}", column.heading, "its heading", sure=self.roles.scores[column.heading] >= 0.9
                )
                if role == "tax":
                    self.draft.guess("tax.remitted", True, "most channels hand it on; nothing in the file tells")
        for column in self.roles.all("discount"):
            gross = finder.explains_gross(column.heading)
            if gross:
                key = (
                    "discount"
                    if not orders.several or finder.by_item(column.heading, "each")
                    else "order-discount"
                )
                self._put(f"columns.{key}", column.heading, f'"{gross}" has it taken off', sure=True)
            elif not column.is_zero:
                self.draft.notes.append(
                    f'Whether the prices are before or after "{column.heading}" could not be found.'
                )
        parts = self.roles.all("fee", "ads", "label") or self.roles.all("fee_total")
        for column in parts:
            if column.holds is Holds.NOTHING:
                continue
            total = sum((number for number in column.numbers if number), self.scale * 0)
            self.draft.fee(
                column.heading,
                slug(column.heading),
                {"ads": "ads", "label": "postage"}.get(self.roles.role(column.heading), "fees"),
                "negative" if total < 0 else "positive",
                Certainty.SURE if self.roles.scores[column.heading] >= 0.9 else Certainty.GUESSED,
                "its heading, and the sign of its amounts",
            )
        for role in ("refund", "refund_tax", "refund_fee"):
            column = self.roles.one(role)
            if column is not None:
                self._refund_outside(column, role)

    def _put(self, key: str, value: object, because: str, *, sure: bool) -> None:
        self.draft.put(key, value, Certainty.SURE if sure else Certainty.GUESSED, because)


def base_share(parts: Mapping[str, Sequence[object]], bare: set[str]) -> float:
    """Return the share of the numbers that end in a part of their own."""
    return 1 - sum(map(len, parts.values())) / max(len(bare), 1)


def _run(parts: Sequence[str]) -> list[str]:
    """Return as many parts as there are, one after the other from the first."""
    if not parts:
        return []
    if all(part.isdigit() for part in parts):
        first, width = int(parts[0]), len(parts[0])
        return [str(first + step).zfill(width) for step in range(len(parts))]
    return [chr(ord(parts[0]) + step) for step in range(len(parts))]


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


class _SumFinder:
    """Finds what the net amount of an order is made of."""

    def __init__(
        self,
        roles: Assigned,
        amounts: Sequence[Column],
        quantity: Column | None,
        orders: Orders,
        booked: set[int],
        scale: int,
    ) -> None:
        self.roles = roles
        self.amounts = {column.heading: column for column in amounts}
        self.quantity = quantity
        self.orders = orders
        self.scale = scale
        self.groups = [rows for rows in orders.groups if booked.issuperset(rows)]
        self.modes = ("repeated", "first", "each") if orders.several else ("",)

    @property
    def has_quantities(self) -> bool:
        """Whether some row is of more than one piece."""
        return self.quantity is not None and any(number and number > 1 for number in self.quantity.numbers)

    def names(self, row: int) -> str:
        """Return the number of a row's order."""
        return self.orders.numbers[row]

    def heading(self, name: str) -> str:
        """Return the heading of a column or of the unit price in the product."""
        return name.removeprefix(_PRODUCT)

    def label(self, name: str) -> str:
        """Return how a column is called in a sum."""
        if name.startswith(_PRODUCT) and self.quantity is not None:
            return f'"{self.heading(name)}" x "{self.quantity.heading}"'
        return f'"{name}"'

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
        item_level = name.startswith(_PRODUCT) or self._role_by_item(name)
        if mode in {"", "each"} or item_level:
            return sum(numbers)
        return numbers[0]

    def _role_by_item(self, name: str) -> bool:
        role = self.roles.role(name)
        return role in {"price", "unit_price"} or (
            role in {"gross", "amount", "discount", ""} and self.by_item_values(name)
        )

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
            for name, column in self.amounts.items()
            if self.roles.role(name) in {"gross", "amount", ""} and sum(filter(None, column.numbers)) > 0
        ]

    def _prices(self) -> list[str]:
        order = {"price": 0, "unit_price": 1, "amount": 2, "gross": 3, "": 4}
        names = [
            name for name in self.amounts if self.roles.role(name) in order and sum(filter(None, self.amounts[name].numbers)) > 0
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
        found = [(cost, each) for cost, each in found if self._meant(each)]
        if not found:
            return None
        found.sort(key=lambda pair: pair[0])
        cost, best = found[0]
        good_modes = {each.mode for price, each in found if price <= cost + 0.5 and each.target == best.target}
        rivals = [
            each
            for price, each in found[1:]
            if price <= cost + 0.05 and each.target == best.target and each.solution.signs != best.solution.signs
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

    def _solutions(self, target: str, mode: str) -> list[tuple[float, Found]]:
        if not self._possible(mode):
            return []
        column = self.amounts[target]
        groups = [
            place for place, rows in enumerate(self.groups) if any(column.numbers[row] is not None for row in rows)
        ]
        if not groups:
            return []
        vectors = {name: self._only(self.vector(name, mode), groups) for name in self.amounts if name != target}
        goal = self._only(self.vector(target, mode), groups)
        rows = tuple(self.groups[place][0] for place in groups)
        found = []
        for price in self._prices():
            if price == target or self.heading(price) == target:
                continue
            columns = dict(vectors)
            columns[price] = self._only(self.vector(price, mode), groups)
            if price.startswith(_PRODUCT):
                columns.pop(self.heading(price), None)
            # A column that says just what another says is no part of its own.
            for name in [name for name in columns if name != price]:
                twin = any(
                    columns[name] == columns[other] and self._weaker(name, other)
                    for other in columns
                    if other != name
                )
                if twin or (
                    columns[name] == columns[price]
                    and self.roles.role(name) in {"gross", "price", "unit_price", "amount", ""}
                ):
                    del columns[name]
            totals = {name: sum(amounts) for name, amounts in columns.items()}

            def penalty(name: str, sign: int, totals: Mapping[str, int] = totals) -> float:
                raises, lowers, absent = _EXPECTED.get(self._expected(name), _EXPECTED[""])
                if not sign:
                    return absent
                return raises if sign * totals[name] > 0 else lowers

            base = 0.0 if self.roles.role(self.heading(price)) in {"price", "unit_price"} else 1.0
            if price.startswith(_PRODUCT):
                base += 0.0 if self.roles.role(self.heading(price)) == "unit_price" else 0.2
            for solution in solve(goal, columns, penalty, fixed=(price,))[:20]:
                each = Found(target, solution, price, mode, mode_sure=False, because_mode="", rows=rows)
                found.append((solution.penalty + base, each))
        return found

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
            role = self.roles.role(name)
            if role not in {"postage", "tax", "net", "fee", "ads", "label", "refund", "refund_tax", "refund_fee"}:
                continue
            if any(self._spread(rows, name) not in {mode, "nothing"} for rows in self.orders.several):
                return False
        return True

    def mode_by_values(self) -> tuple[str, str, bool]:
        """Return where the amounts of orders with several rows stand, why, and whether that is sure."""
        kinds: Counter[str] = Counter()
        for name in self.amounts:
            if self.roles.role(name) in {
                "postage",
                "tax",
                "net",
                "fee",
                "ads",
                "label",
                "refund",
                "refund_tax",
                "refund_fee",
            }:
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
            if self.roles.role(each) in {"postage", "tax", "discount"} and each != name
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
