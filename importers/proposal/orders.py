"""A profile for files of orders or of their items: what each order was sold for, and what the channel took."""

from __future__ import annotations

import re
from collections import defaultdict
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.proposal.evidence import Column, Evidence, Holds
from millilot.importers.proposal.findings import Certainty, Draft
from millilot.importers.proposal.flags import propose_flags
from millilot.importers.proposal.order_sums import Found, Orders, SumFinder
from millilot.importers.proposal.refund_rows import find_refund_rows, tell_refund_rows
from millilot.importers.proposal.roles import assign
from millilot.importers.proposal.statuses import propose_statuses
from millilot.importers.proposal.words import slug

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

#: What a ledger of events has and a file of orders has not.
_NOT_HERE = frozenset({"type", "detail", "event", "parent", "credit", "debit", "balance"})
#: Why a column is put down whose amounts say nothing yet: a later file of the channel may have some.
_EMPTY = "its heading; it is empty or 0 in every row"
_SUFFIX = re.compile(r"(?P<mark>[-_/.])(?P<part>\d{1,2}|[A-Za-z])$")


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
        #: Columns that raise the net amount, of which nothing else is known.
        self.raising: list[str] = []
        #: The sign of the fees given back, where there are any.
        self.fee_back = ""
        #: Places of the rows that give back what was sold in another row.
        self.refund_rows: frozenset[int] = frozenset()

    def run(self) -> None:
        order = self._order()
        self._days()
        orders = self._group(order)
        self._currency()
        tell_refund_rows(self.refund_rows, self.evidence, self.draft)
        given_back = self.roles.one("refund") is not None
        statuses = propose_statuses(
            self.roles, self.draft, given_back=given_back, refund_rows=self.refund_rows,
        )
        off = propose_flags(self.evidence.columns, self.draft, has_status=bool(statuses))
        booked = [
            row
            for row in range(len(orders.numbers))
            # A status that nobody knows says nothing of whether the amounts are those of a sale.
            if statuses.get(row, "book") not in {"skip", "pending", "cancelled", ""}
            and row not in off | self.refund_rows
        ]
        self._texts()
        self._money(orders, set(booked))

    def _currency(self) -> None:
        column = self.roles.one("currency")
        if column is not None and column.filled:
            self._put("columns.currency", column.heading, "its heading", sure=True)

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
        # No order's number begins so.
        rows = [f"\0row {line}" for line in self.evidence.lines]
        numbers = list(rows)
        if order is not None:
            suffix = self._suffix(order)
            for row, cell in enumerate(order.cells):
                number = cell.lstrip("#").strip()
                if suffix:
                    number = re.sub(suffix, "", number) or number
                numbers[row] = number or rows[row]
        self.refund_rows = find_refund_rows(numbers, self.roles)
        groups: defaultdict[str, list[int]] = defaultdict(list)
        for row, number in enumerate(numbers):
            groups[rows[row] if row in self.refund_rows else number].append(row)
        orders = Orders(tuple(numbers), tuple(map(tuple, groups.values())))
        if orders.several:
            self.draft.sure(
                "file.row", "item", f"{len(orders.several)} of {len(orders.groups)} orders have several rows"
            )
        else:
            because = "every order has one row" + (", refunds aside" if self.refund_rows else "")
            self._put("file.row", "order", because, sure=len(orders.groups) > 1)
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
        ordered = self.roles.one("ordered") or self.roles.one("date") or self.roles.one("paid")
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
            by_role = (("date", ""), ("paid",), ("settled", "paid_out", "shipped"))
            fitting = [each for roles in by_role for each in days if self.roles.role(each.heading) in roles]
            column = next(iter(fitting), None)
            if column is None:
                self.draft.missing("columns.ordered", "no column holds days")
            else:
                only = "the only column of days" if len(days) == 1 else "the column of days that is left"
                sure = len(days) == 1 and max(column.meanings.get(name, 0) for name in ("date", "paid")) >= 0.9
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
        self._paid(taken)

    def _paid(self, ordered: str | None) -> None:
        """Put down a day of payment as the day of the payout only if the payouts say that it is theirs."""
        column, payout = self.roles.one("paid"), self.roles.one("payout")
        if column is None or column.heading == ordered or column.holds is not Holds.DAYS:
            return
        pays = self._pays(column, payout, ordered) if payout is not None else None
        if self.draft.value("columns.paid-out") is not None or pays is None:
            self.draft.notes.append(f'"{column.heading}" is taken for the day the buyer paid; it is left out.')
            return
        because = "all orders of a payout have the same day there"
        self._put("columns.paid-out", column.heading, because, sure=pays)

    def _pays(self, column: Column, payout: Column, ordered: str | None) -> bool | None:
        """Return whether a column surely has the days of payouts, None when it has not.

        The orders of a payout are of several days, and what their buyers paid as well; the payout is of one.
        """
        days: defaultdict[str, set[str]] = defaultdict(set)
        ordered_on: defaultdict[str, set[str]] = defaultdict(set)
        of_order = self.evidence.of(ordered).cells if ordered else ("",) * len(column.cells)
        for number, day, first in zip(payout.cells, column.cells, of_order, strict=True):
            if bool(number) is not bool(day):
                return None
            if number:
                days[number].add(day)
                ordered_on[number].add(first[:10])
        if not days or any(len(each) > 1 for each in days.values()):
            return None
        return any(len(each) > 1 for each in ordered_on.values())

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
            if column is not None:
                sure = self.roles.scores[column.heading] >= 0.9
                self._put(f"columns.{role}", column.heading, "its heading", sure=sure)

    # Money.

    def _money(self, orders: Orders, booked: set[int]) -> None:
        amounts = [
            column
            for column in self.evidence.columns
            if column.holds in {Holds.AMOUNTS, Holds.WHOLE} and self._countable(column)
        ]
        finder = SumFinder(self.roles, amounts, orders, booked, self.scale)
        best = finder.best()
        if best is None:
            self._without_sums(finder, orders)
        else:
            self._with_sums(best, finder)
        self._fee_back_sign()
        self._refund_date()
        self._refund_with_tax()

    def _countable(self, column: Column) -> bool:
        role = self.roles.role(column.heading)
        if role in {"order", "payout", "line", "rate", "quantity", "sku", "private"}:
            return False
        return not (role == "" and column.holds is Holds.WHOLE and column.unique and len(column.cells) > 3)

    def _with_sums(self, best: Found, finder: SumFinder) -> None:
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
            # A discount is taken off whether the file writes it above or below 0.
            lowers = sign < 0 or (finder.role(name, best) == "discount" and finder.is_above_zero(name))
            words.append(f"{'-' if lowers else '+'} {finder.label(name)}")
        self.draft.notes.append(f'"{net}" = {" ".join(words).removeprefix("+ ")}.')
        self._place_raising()
        self._left_out(solution.signs, finder)

    def _term(self, name: str, sign: int, best: Found, finder: SumFinder, *, certain: bool) -> None:
        role = finder.role(name, best)
        because = "part of the sum"
        heading = finder.heading(name)
        cents = finder.vector(name, best.mode)
        lowers = sign * sum(cents) < 0
        if role == "product":
            self._put("columns.unit-price", heading, "times the quantity it is part of the sum", sure=certain)
        elif role in {"price", "postage"}:
            self._put(f"columns.{role}", heading, because, sure=certain and self.roles.role(heading) == role)
        elif role == "extra" and not lowers:
            self._extra(heading, because, sure=certain)
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
            self._refund_sign(heading, role, positive=positive)
            self._put("refund.in-net", True, "the net amount has it taken off", sure=certain)
        elif role == "tax_withheld":
            self.draft.notes.append(
                f'"{heading}" takes the tax out of the net amount again: the channel hands it on.'
            )
            self._put("tax.remitted", True, f'"{heading}" hands it on', sure=certain)
        else:
            self._fee(heading, role, lowers=lowers, sign=sign, certain=certain)

    def _refund_sign(self, heading: str, role: str, *, positive: bool) -> None:
        sign = "positive" if positive else "negative"
        if role == "refund_fee":
            self.fee_back = sign
            return
        known = self.draft.value("refund.sign")
        if known is not None and known != sign:
            self.draft.contradicted("refund.sign", known, f'"{heading}" has the other sign')
        elif sign == "negative" or known is None:
            self.draft.sure("refund.sign", sign, "the sign of its amounts")

    def _fee_back_sign(self) -> None:
        """Put down the sign of the fees given back, where it is not that of what was given back."""
        if self.fee_back and self.draft.value("refund.sign") is None:
            self.draft.sure("refund.sign", self.fee_back, "the sign of its amounts")
        elif self.fee_back and self.fee_back != self.draft.value("refund.sign"):
            self.draft.sure("refund.fee-sign", self.fee_back, "the sign of its amounts")

    def _fee(self, heading: str, role: str, *, lowers: bool, sign: int, certain: bool) -> None:
        books = {"ads": "ads", "label": "postage"}.get(role, "fees")
        known = role in {"fee", "ads", "label", "fee_total"}
        if not known and not lowers:
            self.raising.append(heading)
            return
        because = "taken off in the sum" + ("" if known else "; nothing else is known of it")
        self.draft.fee(
            heading,
            slug(heading),
            role=books,
            sign="positive" if sign < 0 else "negative",
            certainty=Certainty.SURE if certain and known else Certainty.GUESSED,
            because=because,
        )

    def _place_raising(self) -> None:
        """Put down one unknown column as postage where no other is, and more as what the buyer paid besides."""
        because = "added in the sum, and nothing else is known of it"
        for heading in self.raising:
            if self.draft.value("columns.postage") is None:
                self.draft.guess("columns.postage", heading, because)
            else:
                self._extra(heading, because, sure=False)

    def _extra(self, heading: str, because: str, *, sure: bool) -> None:
        """Put down one more column of what the buyer paid besides; one guess among them makes all a guess."""
        known = self.draft.finding("columns.extras")
        headings = [*known.value, heading] if known is not None else [heading]
        sure = sure and (known is None or known.certainty is Certainty.SURE)
        self._put("columns.extras", headings, because, sure=sure)

    def _left_out(self, signs: Mapping[str, int], finder: SumFinder) -> None:
        """Put down what is no part of the sum: tax handed on, refunds that come later, columns of zeros."""
        used = {finder.heading(name) for name in signs} | {self.draft.value("columns.net")}
        for column in self.evidence.columns:
            if column.heading in used or column.holds not in {Holds.AMOUNTS, Holds.WHOLE, Holds.NOTHING}:
                continue
            role = self.roles.role(column.heading)
            if role == "tax" and self.draft.value("columns.tax") is None:
                self._tax_outside(column, finder, zero=column.is_zero)
            elif role in {"refund", "refund_tax", "refund_fee"}:
                self._refund_outside(column, role)
            elif column.is_zero:
                self._zero_outside(column, role, finder)
            else:
                self._amount_outside(column, role, finder)

    def _zero_outside(self, column: Column, role: str, finder: SumFinder) -> None:
        if role == "postage":
            self.draft.guess("columns.postage", column.heading, _EMPTY)
        elif role == "extra":
            self._extra(column.heading, _EMPTY, sure=False)
        elif role in {"fee", "ads", "label"}:
            self._fee_by_heading(column)
        elif role == "discount":
            self._empty_discount(column, finder)

    def _empty_discount(self, column: Column, finder: SumFinder) -> None:
        """Put down a discount that nobody has had yet, unless another column is one."""
        keys = ("columns.discount", "columns.order-discount")
        if not any(map(self.draft.value, keys)):
            by_item = finder.by_item(column.heading, self.draft.value("file.order-amounts") or "")
            self.draft.guess(keys[0] if by_item else keys[1], column.heading, _EMPTY)

    def _amount_outside(self, column: Column, role: str, finder: SumFinder) -> None:
        if role == "discount":
            self.draft.notes.append(f'"{column.heading}" is left out: the sum holds without it.')
        elif role in {"postage", "extra", "fee", "ads", "label"}:
            self.draft.no_part(column.heading, self.draft.value("columns.net"))
        elif role == "" and finder.explains_gross(column.heading):
            because = "the buyer paid it, and it is not in the net amount"
            self.draft.guess("columns.tax", column.heading, because)
            self.draft.guess("tax.remitted", value=True, because="the net amount is without it")
        elif role == "" and column.holds is Holds.AMOUNTS:
            self.draft.left_out(column.heading)

    def _tax_outside(self, column: Column, finder: SumFinder, *, zero: bool) -> None:
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
        if role in {"refund", "refund_tax", "refund_fee"}:
            key = {"refund": "amount", "refund_tax": "tax", "refund_fee": "fee"}[role]
            self._put(
                f"refund.{key}", column.heading, "its heading", sure=self.roles.scores[column.heading] >= 0.9
            )
            if not column.is_zero:
                total = sum((number for number in column.numbers if number), ZERO)
                self._refund_sign(column.heading, role, positive=total > 0)
            elif role == "refund" and self.draft.value("columns.net"):
                because = "nothing was given back yet; write true if the net amount will have it taken off"
                self.draft.guess("refund.in-net", value=False, because=because)

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

    def _refund_with_tax(self) -> None:
        """Tell from refunds of all that was paid whether the tax is in them."""
        names = [self.draft.value(key) for key in ("refund.amount", "columns.price", "columns.tax")]
        if not all(names) or self.draft.value("refund.tax"):
            return
        refund, price, tax = (self.evidence.of(name).numbers for name in names)
        names = [self.draft.value(key) for key in ("columns.postage", "columns.discount")]
        postage, discount = (self.evidence.of(name).numbers if name else (None,) * len(tax) for name in names)
        extras = [self.evidence.of(name).numbers for name in self.draft.value("columns.extras") or ()]
        found = {True: 0, False: 0}
        for row, (back, item, taxed) in enumerate(zip(refund, price, tax, strict=True)):
            off = discount[row]
            if back and item and taxed:
                paid = item + sum((numbers[row] or ZERO for numbers in (postage, *extras)), ZERO)
                for whole in {paid, paid - abs(off or ZERO)}:
                    found[True] += abs(back) == whole + taxed
                    found[False] += abs(back) == whole
        if found[True] and found[False]:
            because = "some whole refunds have the tax in them, and some have not"
            self.draft.contradicted("refund.with-tax", value=True, because=because)
        elif found[True]:
            because = "what was given back is all that was paid, the tax included"
            self._put("refund.with-tax", value=True, because=because, sure=found[True] > 1)

    def _without_sums(self, finder: SumFinder, orders: Orders) -> None:
        """Put down what the headings say where no sum confirms it."""
        self._net_by_heading(finder)
        self._price_by_heading(finder)
        if orders.several:
            mode, because, sure = finder.mode_by_values()
            self._put("file.order-amounts", mode, because, sure=sure)
        self._charges_by_heading()
        self._unknown_amounts()
        if self.draft.value("columns.tax"):
            self.draft.guess(
                "tax.remitted", value=True, because="most channels hand it on; nothing in the file tells"
            )
        for column in sorted(self.roles.all("discount"), key=lambda column: column.is_zero):
            self._discount_by_gross(column, finder)
        fees, total = self.roles.all("fee", "ads", "label"), self.roles.all("fee_total")
        told = any(not column.is_zero for column in fees)
        for column in fees if told or not total else total:
            self._fee_by_heading(column)
        for role in ("refund", "refund_tax", "refund_fee"):
            refunded = self.roles.one(role)
            if refunded is not None:
                self._refund_outside(refunded, role)

    def _unknown_amounts(self) -> None:
        """Tell of amounts that are left out, as no net amount can prove what they are."""
        for column in self.evidence.columns:
            unknown = self.roles.role(column.heading) == "" and column.heading != self.draft.value("columns.price")
            if unknown and column.holds is Holds.AMOUNTS and not column.is_zero:
                self.draft.left_out(column.heading)

    def _charges_by_heading(self) -> None:
        """Put down what the buyer paid besides the goods."""
        for role in ("postage", "tax"):
            column = self.roles.one(role)
            if column is not None:
                self._by_heading(f"columns.{role}", column)
        for extra in self.roles.all("extra"):
            self._extra(extra.heading, "its heading", sure=self.roles.scores[extra.heading] >= 0.9)

    def _net_by_heading(self, finder: SumFinder) -> None:
        net = self.roles.one("net")
        if net is not None and not finder.groups:
            self.draft.guess("columns.net", net.heading, "its heading; there is no order to test it by")
        elif net is not None and not net.is_zero:
            self.draft.contradicted(
                "columns.net",
                net.heading,
                "its heading; but no sum of the other columns makes it: an amount is missing from the file, or "
                "one of the columns is something else",
            )

    def _price_by_heading(self, finder: SumFinder) -> None:
        price, unit = self.roles.one("price"), self.roles.one("unit_price")
        per_unit = price or unit
        if per_unit is not None and (total := finder.line_total(per_unit)):
            self.draft.sure("columns.price", total, f'it is "{per_unit.heading}" times the quantity')
        elif price is not None and finder.is_per_unit(price):
            self.draft.guess("columns.unit-price", price.heading, "it is the same however many are sold")
        elif price is not None:
            sure = self.roles.scores[price.heading] >= 0.9 and not finder.has_quantities
            self._put("columns.price", price.heading, "its heading", sure=sure)
        elif unit is not None:
            self._by_heading("columns.unit-price", unit)
        elif (whole := self.roles.one("amount") or self.roles.one("gross")) is not None:
            self.draft.guess("columns.price", whole.heading, "its heading; there is no other price")
        else:
            self.draft.missing("columns.price", "no column of amounts is known to be the price")

    def _discount_by_gross(self, column: Column, finder: SumFinder) -> None:
        gross = finder.explains_gross(column.heading)
        key = "discount" if finder.by_item(column.heading, self.draft.value("file.order-amounts") or "") else ""
        key = key or "order-discount"
        per_unit = self.roles.one("price") or self.roles.one("unit_price")
        if not gross and not column.is_zero and per_unit is not None and finder.line_total(per_unit):
            because = f'the prices are "{per_unit.heading}" times the quantity, so it is not in them'
            self.draft.guess(f"columns.{key}", column.heading, because)
        elif gross:
            self._put(f"columns.{key}", column.heading, f'"{gross}" has it taken off', sure=True)
        elif column.is_zero:
            self._empty_discount(column, finder)
        else:
            self.draft.notes.append(f'Whether prices are before or after "{column.heading}" could not be found.')

    def _fee_by_heading(self, column: Column) -> None:
        total = sum((number for number in column.numbers if number), ZERO)
        sure = not column.is_zero and self.roles.scores[column.heading] >= 0.9
        self.draft.fee(
            column.heading,
            slug(column.heading),
            role={"ads": "ads", "label": "postage"}.get(self.roles.role(column.heading), "fees"),
            sign="negative" if total < 0 or (column.is_zero and self._fees_below_zero()) else "positive",
            certainty=Certainty.SURE if sure else Certainty.GUESSED,
            because=_EMPTY if column.is_zero else "its heading, and the sign of its amounts",
        )

    def _fees_below_zero(self) -> bool:
        """Whether what the channel takes is written below 0, where it is written."""
        fees = self.roles.all("fee", "ads", "label", "fee_total")
        totals = [sum((number for number in fee.numbers if number), ZERO) for fee in fees]
        return min(totals, default=ZERO) < 0 >= max(totals, default=ZERO)

    def _by_heading(self, key: str, column: Column) -> None:
        self._put(key, column.heading, "its heading", sure=self.roles.scores[column.heading] >= 0.9)

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
