"""A profile for files with a row for each thing that happened, or for each amount of it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.proposal.evidence import Column, Evidence, Holds, names_size
from millilot.importers.proposal.findings import Certainty, Draft
from millilot.importers.proposal.ledger_columns import (
    find_types,
    has_amount,
    named_by_sums,
    only_amount,
    with_orders,
)
from millilot.importers.proposal.ledger_words import LedgerWords
from millilot.importers.proposal.roles import assign
from millilot.importers.proposal.statuses import propose_statuses
from millilot.importers.proposal.sums import solve
from millilot.importers.proposal.words import event_of, slug

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from decimal import Decimal


#: Numbers that move nothing.
_NO_AMOUNTS = frozenset({"balance", "quantity", "rate", "unit_price"})


def is_ledger(evidence: Evidence) -> bool:
    """Whether the rows of a file are events: some column says what each was, and another how much."""
    evidence = named_by_sums(evidence)
    if find_types(evidence) is None:
        return False
    return has_amount(assign(evidence.columns)) or only_amount(evidence) is not None


def propose_ledger(evidence: Evidence, draft: Draft, digits: int, *, directed: bool = False) -> str:
    """Put down the keys of a ledger; return what a row is, in words.

    Args:
        evidence: what the columns hold.
        draft: takes the findings.
        digits: of the currency's minor unit.
        directed: whether words say which way the money went.
    """
    return _Proposer(evidence, draft, digits, directed=directed).run()


class _Proposer:
    """Finds the keys of one file."""

    def __init__(self, evidence: Evidence, draft: Draft, digits: int, *, directed: bool) -> None:
        self.by_heading = evidence
        self.evidence = evidence = named_by_sums(evidence)
        self.draft = draft
        self.scale = 10**digits
        self.type = find_types(evidence)
        self.evidence = evidence = with_orders(evidence, self.type)
        self.roles = assign(
            [column for column in evidence.columns if column is not self.type],
            without=frozenset({"type", "refund", "refund_tax", "refund_fee", "refund_date"}),
        )
        self.detail = self._find_detail()
        self.title = self.roles.one("title") or self._title_of_prices()
        self.amounts: tuple[Decimal | None, ...] = ()
        self.two_columns = False
        #: Whether words say which way the money went, so that no sign is turned round.
        self.directed = directed

    def run(self) -> str:
        assert self.type is not None  # noqa: S101  # else it is no ledger
        self._columns()
        self._amount()
        self._empty_fees()
        words = LedgerWords(
            self.evidence, self.roles, self.type, self.detail, self.title, self.amounts,
            self.two_columns or self.directed, self.draft,
        )
        component = words.is_component()
        self.draft.sure(
            "file.row", "component" if component else "event", f'"{self.type.heading}" says what each row is'
        )
        words.propose()
        numbered = self.draft.finding("columns.order") or self.draft.finding("columns.event")
        if not numbered and any(table["is"].value == "price" for table in self.draft.events):
            self.draft.missing("columns.order", "no column holds the number of a sale")
        statuses = propose_statuses(self.roles, self.draft)
        self._balance(words, {row for row, key in statuses.items() if key in {"skip", "pending", "cancelled"}})
        self._left_out()
        return "one row an amount" if component else "one row an event"

    def _left_out(self) -> None:
        """Tell of amounts that no key has."""
        used = _values(self.draft) | {table["column"].value for table in self.draft.fees}
        for column in self.evidence.columns:
            known = column.heading in used or self.roles.role(column.heading) in _NO_AMOUNTS
            if column.holds is Holds.AMOUNTS and not column.is_zero and not known:
                self.draft.left_out(column.heading)

    def _put(self, key: str, column: Column | None, because: str = "its heading") -> None:
        if column is not None:
            score = self.roles.scores.get(column.heading, 0.0)
            self.draft.put(key, column.heading, Certainty.SURE if score >= 0.9 else Certainty.GUESSED, because)

    def _find_detail(self) -> Column | None:
        """Return the column that says more of what a row is: the one whose words tell the most apart."""
        best: tuple[int, float, Column] | None = None
        for column in self.evidence.columns:
            if column is self.type or column.holds not in {Holds.WORDS, Holds.TEXT} or column.sizes >= 0.25:
                continue
            if self.roles.role(column.heading) in {"status", "currency", "order", "payout", "sku"}:
                continue
            kinds = [event_of(word)[0] for word in column.values]
            various, known = len({kind for kind in kinds if kind}), sum(map(bool, kinds))
            named = column.meanings.get("detail", 0.0)
            if various < 2 or known < 0.6 * len(kinds) or (best is not None and (various, named) <= best[:2]):
                continue
            best = various, named, column
        if best is not None:
            return best[2]
        named_so = self.roles.one("detail")
        return named_so if named_so is not None and named_so.sizes < 0.25 else None

    def _title_of_prices(self) -> Column | None:
        """Return the column whose texts name sizes in the rows of prices, whatever the other rows have in it."""
        if self.type is None:
            return None
        rows = [row for row, word in enumerate(self.type.cells) if event_of(word)[0] == "price"]
        for column in self.evidence.columns:
            texts = [column.cells[row] for row in rows if column.cells[row]]
            if column is not self.type and texts and sum(map(names_size, texts)) * 2 >= len(texts):
                return column
        return None

    def _columns(self) -> None:
        assert self.type is not None  # noqa: S101
        score = self.type.meanings.get("type", 0.0)
        certainty = Certainty.SURE if score >= 0.9 else Certainty.GUESSED
        self.draft.put("columns.type", self.type.heading, certainty, "its words say what happened")
        date = self.roles.one("date")
        ordered = self.roles.one("ordered")
        if date is not None:
            self._put("columns.date", date)
            self._put("columns.ordered", ordered)
        else:
            days = [column for column in self.evidence.columns if column.holds is Holds.DAYS]
            date = ordered or self.roles.one("settled") or next(iter(days), None)
            if date is None:
                self.draft.missing("columns.date", "no column holds days")
            else:
                self._put("columns.date", date, "the column of days")
        for role, key in (("settled", "settled"), ("paid_out", "paid-out"), ("shipped", "shipped")):
            column = self.roles.one(role)
            if column is not None and column is not date and column.filled:
                self._put(f"columns.{key}", column)
        if self.title is not None and self.title is not self.roles.one("title"):
            self.draft.sure("columns.title", self.title.heading, "its texts name sizes in the rows of sales")
        for role in ("order", "event", "parent", "payout", "sku", "quantity", "title"):
            column = self.roles.one(role)
            if column is not None and (column.filled or self.roles.scores[column.heading] >= 0.5):
                self._put(f"columns.{role}", column)
        if self.detail is not None and self.detail.heading not in _values(self.draft):
            self.draft.put(
                "columns.detail",
                self.detail.heading,
                Certainty.SURE if self.detail.meanings.get("detail", 0) >= 0.9 else Certainty.GUESSED,
                "its words say more of it",
            )
        self._currency()

    def _currency(self) -> None:
        column = self.roles.one("currency")
        if column is not None and len(column.values) > 1:
            self._put("columns.currency", column, "its codes")

    # Amounts.

    def _amount(self) -> None:
        credit, debit, amount = (self.roles.one(role) for role in ("credit", "debit", "amount"))
        if credit is not None and debit is not None and (amount is None or amount.is_zero):
            self._two_sides(credit, debit)
        else:
            self._one_column(amount)

    def _two_sides(self, credit: Column, debit: Column) -> None:
        self.two_columns = True
        self._put("columns.credit", credit)
        self._put("columns.debit", debit)
        self.amounts = tuple(
            None if plus is None and minus is None else (plus or ZERO) - abs(minus or ZERO)
            for plus, minus in zip(credit.numbers, debit.numbers, strict=True)
        )

    def _one_column(self, amount: Column | None) -> None:
        gross, net, price = (self.roles.one(role) for role in ("gross", "net", "price"))
        parts = [column for column in self.roles.all("fee", "ads", "label") if not column.is_zero]
        total = next(filter(self._is_total, self.evidence.columns), None)
        if total is not None:
            self.draft.guess("columns.total", total.heading, "filled in rows without an amount of their own")
            self._day_of_total(total)
            gross, net = (None if each is total else each for each in (gross, net))
        if net is not None and amount is None and gross is None:
            gross = self._before_fees(net, parts)
            parts = [column for column in parts if column is not gross]
        if amount is not None and net is None and gross is not None and self._adds_up(amount, parts, gross):
            net, gross = gross, None
        if amount is None and price is not None and gross is None and net is None:
            amount, price = price, None
        if net is not None and price is not None and amount is None and gross is None and parts:
            self._sum_of_parts(net, price, parts)
            return
        column = amount or gross or net or price or only_amount(self.evidence)
        if column is None:
            self.draft.missing("columns.amount", "no column of amounts")
            return
        if amount is not None and net is not None and gross is None and not parts:
            column = amount
        by_heading = column.meanings == self.by_heading.of(column.heading).meanings
        self._put("columns.amount", column, "its heading" if by_heading else "the sums of the rows tell it")
        self.amounts = column.numbers
        if net is not None and net is not column:
            self._fees_and_net(column, net, parts)
        elif parts:
            self._fees_without_net(column, parts)
        self._parts_of_price(column)

    def _adds_up(self, amount: Column, parts: Sequence[Column], total: Column) -> bool:
        """Whether a total is the amount and the fees."""
        rows = range(len(total.numbers))
        columns = {column.heading: tuple(self._cents(column, row) for row in rows) for column in (amount, *parts)}
        goal = tuple(self._cents(total, row) for row in rows)
        solutions = solve(goal, columns, lambda _name, _sign: 0.0, fixed=(amount.heading,))
        return bool(parts) and bool(solutions) and not solutions[0].failing and len(solutions[0].signs) > 1

    def _is_total(self, gross: Column) -> bool:
        amount = self.roles.one("amount")
        if amount is None or gross is amount or gross.holds is not Holds.AMOUNTS or gross.is_zero:
            return False
        rows = [row for row, number in enumerate(gross.numbers) if number is not None]
        if len(rows) * 2 > len(gross.numbers) or any(amount.numbers[row] for row in rows):
            return False
        of_all = sum((number for number in amount.numbers if number), ZERO)
        return self.roles.role(gross.heading) in {"gross", "net"} or abs(of_all) == abs(
            sum((number for number in gross.numbers if number), ZERO)
        )

    def _before_fees(self, net: Column, parts: Sequence[Column]) -> Column | None:
        """Return the column that is the net amount before fees: with them taken off it makes the net."""
        rows = [row for row, number in enumerate(net.numbers) if number is not None]
        goal = tuple(self._cents(net, row) for row in rows)
        for column in self.evidence.columns:
            known = column is net or self.roles.role(column.heading) in {"balance", "postage", "tax", "quantity"}
            fees = [part for part in parts if part is not column]
            if known or column.holds is not Holds.AMOUNTS or not fees or len(rows) < 3:
                continue
            columns = {each.heading: tuple(self._cents(each, row) for row in rows) for each in (column, *fees)}
            solutions = solve(goal, columns, lambda _name, _sign: 0.0, fixed=(column.heading,))
            if solutions and not solutions[0].failing and len(solutions[0].signs) == len(columns):
                moved = sum(filter(None, column.numbers), ZERO)
                if abs(moved) >= abs(sum(filter(None, net.numbers), ZERO)):
                    return column
        return None

    def _sum_of_parts(self, net: Column, price: Column, fees: Sequence[Column]) -> None:
        """Put down the net amount of rows whose amount before fees stands in its parts only."""
        parts = [each for each in self.roles.all("postage", "extra", "tax") if not each.is_zero]
        # A row with the net amount alone, such as that of a payout, has no parts.
        rows = [
            row
            for row, number in enumerate(net.numbers)
            if number is not None and any(each.numbers[row] for each in (price, *parts))
        ]
        signs = self._prove_net(net, price, parts, fees, rows)
        if signs is None:
            signs = dict.fromkeys((each.heading for each in parts), 1)
        inside = [price, *(each for each in parts if signs.get(each.heading, 0) > 0)]
        self.amounts = tuple(
            sum(filter(None, (each.numbers[row] for each in inside)), ZERO) or self._with_fees(number, row)
            for row, number in enumerate(net.numbers)
        )
        self._parts_of_price(replace(net, numbers=self.amounts))

    def _with_fees(self, net: Decimal | None, row: int) -> Decimal | None:
        """Return a net amount as it was before the fees that are put down."""
        if net is None:
            return None
        for table in self.draft.fees:
            fee = self.evidence.of(table["column"].value).numbers[row] or ZERO
            net += -fee if "sign" in table else fee
        return net

    def _day_of_total(self, total: Column) -> None:
        """Put down which column has the day of a payout, where its row has no other."""
        rows = [row for row, number in enumerate(total.numbers) if number is not None]
        date = self.draft.value("columns.date")
        if date and all(self.evidence.of(date).cells[row] for row in rows):
            return
        days = [
            column
            for column in self.evidence.columns
            if column.holds is Holds.DAYS and column.heading != date and all(column.cells[row] for row in rows)
        ]
        named = [column for column in days if self.roles.role(column.heading) == "paid_out"]
        if chosen := (named or days[-1:]):
            self.draft.put(
                "columns.paid-out", chosen[0].heading, Certainty.GUESSED, "it has the day of the totals"
            )

    def _fees_and_net(self, amount: Column, net: Column, fees: Sequence[Column]) -> None:
        rows = [
            row for row, number in enumerate(net.numbers) if number is not None and amount.numbers[row] is not None
        ]
        tax = [column for column in self.roles.all("tax", "tax_withheld") if not column.is_zero]
        self._prove_net(net, amount, tax, fees, rows)

    def _prove_net(
        self, net: Column, base: Column, others: Sequence[Column], fees: Sequence[Column], rows: Sequence[int],
    ) -> Mapping[str, int] | None:
        """Put down the net amount and the fees that are in it.

        Args:
            net: the net amount.
            base: what it is made from.
            others: what may be in it as well.
            fees: what may be taken off.
            rows: the rows it is tried in.

        Returns:
            The signs of the columns that make it, by heading; None where they do not.
        """

        def cents(column: Column) -> tuple[int, ...]:
            return tuple(self._cents(column, row) for row in rows)

        what = ", ".join(f'"{column.heading}"' for column in (base, *others)) + " and the fees"
        columns = {column.heading: cents(column) for column in (base, *others, *fees)}
        solutions = solve(cents(net), columns, lambda _name, sign: 0.0 if sign else 1.0, fixed=(base.heading,))
        if not solutions:
            self.draft.contradicted("columns.net", net.heading, f"{what} do not make it in most rows")
            self._fees_without_net(base, fees)
            return None
        signs, failing = solutions[0].signs, solutions[0].failing
        certainty = Certainty.SURE if not failing and len(rows) >= 3 else Certainty.GUESSED
        because = f"{what} make it in {len(rows) - len(failing)} of {len(rows)} rows"
        self.draft.put("columns.net", net.heading, certainty, because)
        for column in fees:
            if sign := signs.get(column.heading):
                self._fee(column, "positive" if sign < 0 else "negative", certainty, "taken off in the sum")
            else:
                self.draft.no_part(column.heading, net.heading)
        return signs

    def _cents(self, column: Column, row: int) -> int:
        return int((column.numbers[row] or 0) * self.scale)

    def _fees_without_net(self, amount: Column, parts: Sequence[Column]) -> None:
        for column in parts:
            pairs = [
                (number, of) for number, of in zip(column.numbers, amount.numbers, strict=True) if number and of
            ]
            same = sum((number > 0) is (of > 0) for number, of in pairs)
            sign = "positive" if same * 2 > len(pairs) else "negative"
            self._fee(column, sign, Certainty.GUESSED, "its heading, and the sign of its amounts")

    def _fee(self, column: Column, sign: str, certainty: Certainty, because: str) -> None:
        role = {"ads": "ads", "label": "postage"}.get(self.roles.role(column.heading), "fees")
        self.draft.fee(
            column.heading,
            slug(column.heading),
            role=role,
            sign=sign,
            certainty=certainty,
            because=because,
        )

    def _empty_fees(self) -> None:
        """Put down the columns of fees that have none in this file, as the next may have."""
        because = "its heading; it is empty or 0 in every row, and its sign is taken for that of the amounts"
        lowers = any(number is not None and number < 0 for number in self.amounts)
        put = {table["column"].value for table in self.draft.fees} | _values(self.draft)
        for column in self.roles.all("fee", "ads", "label"):
            if column.is_zero and column.heading not in put and not self.two_columns:
                self._fee(column, "negative" if lowers else "positive", Certainty.GUESSED, because)

    def _parts_of_price(self, amount: Column) -> None:
        """Put down columns that say what of a sale's amount is postage and tax."""
        for role in ("postage", "tax"):
            column = self.roles.one(role)
            if column is not None and column is not amount and not column.is_zero:
                self._put(f"columns.{role}", column)
        extras = [each for each in self.roles.all("extra") if each is not amount and not each.is_zero]
        if extras:
            sure = all(self.roles.scores[each.heading] >= 0.9 for each in extras)
            certainty = Certainty.SURE if sure else Certainty.GUESSED
            self.draft.put("columns.extras", [each.heading for each in extras], certainty, "by heading")
        tax = self.roles.one("tax")
        price = self.roles.one("price")
        if price is not None and price is not amount and not price.is_zero and not self.two_columns:
            self._put("columns.price", price)
        if tax is not None and self.draft.value("columns.tax"):
            self._tax_in_amount(amount, tax, price)

    def _tax_in_amount(self, amount: Column, tax: Column, price: Column | None) -> None:
        """Put down whether the channel hands the tax on, if the file tells."""
        withheld = self.roles.one("tax_withheld")
        postage = self.roles.one("postage")
        if price is None or price is amount:
            inside, outside = self._by_same_titles(amount, tax)
            if outside and not inside and withheld is None and postage is None:
                because = f'the same titles cost as much without "{tax.heading}"'
                self.draft.guess("columns.price", amount.heading, because)
                self.draft.guess("tax.remitted", value=True, because=because)
                return
            self.draft.guess(
                "tax.remitted",
                withheld is not None,
                "a column of tax handed on"
                if withheld
                else "no column of tax handed on; the amounts have it in them",
            )
            return
        inside = outside = 0
        for row, number in enumerate(tax.numbers):
            if number and amount.numbers[row] is not None:
                others = filter(None, (postage, *self.roles.all("extra")))
                goods = sum((each.numbers[row] or ZERO for each in others), price.numbers[row] or ZERO)
                inside += amount.numbers[row] == goods + number
                outside += amount.numbers[row] == goods
        self.draft.put(
            "tax.remitted",
            inside < outside,
            Certainty.SURE if bool(inside) is not bool(outside) else Certainty.GUESSED,
            "the amounts are without it" if inside < outside else "the amounts have it in them",
        )

    def _by_same_titles(self, amount: Column, tax: Column) -> tuple[int, int]:
        """Return in how many rows an amount is that of its title and the tax, and in how many it is without."""
        if self.title is None:
            return 0, 0
        quantity = self.roles.one("quantity")
        sold = [
            (title, quantity.cells[row] if quantity is not None else "")
            for row, title in enumerate(self.title.cells)
        ]
        untaxed: defaultdict[tuple[str, str], set[Decimal]] = defaultdict(set)
        for what, number, taxed in zip(sold, amount.numbers, tax.numbers, strict=True):
            if number and not taxed:
                untaxed[what].add(number)
        inside = outside = 0
        for what, number, taxed in zip(sold, amount.numbers, tax.numbers, strict=True):
            if number and taxed:
                inside += number - taxed in untaxed[what]
                outside += number in untaxed[what]
        return inside, outside

    def _balance(self, words: LedgerWords, left_out: set[int]) -> None:
        """Put down the running balance, if it follows the rows that count, of each currency by itself."""
        balance = self.roles.one("balance")
        if balance is None or not balance.filled:
            return
        moved = self._moved(words)
        good = {"rising": 0, "falling": 0}
        pairs = 0
        numbers = balance.numbers
        currency = self.roles.one("currency")
        last: dict[str, int] = {}
        for row, after in enumerate(numbers):
            code = currency.cells[row] if currency is not None else ""
            first = last.get(code)
            last[code] = row
            if first is None or after is None or (before := numbers[first]) is None:
                continue
            if row in left_out or first in left_out:
                # What does not count may have moved its money or not.
                continue
            pairs += 1
            good["rising"] += after == before + moved[row]
            good["falling"] += before == after + moved[first]
        best = max(good, key=lambda key: good[key])
        if pairs and good[best] == pairs:
            self.draft.put("columns.balance", balance.heading, Certainty.SURE, "it follows the amounts row by row")
            oldest = "first" if best == "rising" else "last"
            self.draft.put("file.balance", best, Certainty.SURE, f"the oldest row is {oldest}")
        elif pairs and good[best] >= 0.5 * pairs:
            self.draft.notes.append(
                f'"{balance.heading}" follows the amounts in {good[best]} of {pairs} rows; it is not checked.',
            )
        elif pairs >= 3:
            self.draft.contradicted(
                "columns.balance",
                None,
                f'"{balance.heading}" follows the amounts in {good[best]} of {pairs} rows only: an amount is '
                "something else than it seems, or rows are missing",
            )
        elif pairs:
            self.draft.notes.append(
                f'"{balance.heading}" does not follow the amounts row by row; it is not checked.'
            )

    def _moved(self, words: LedgerWords) -> list[Decimal]:
        """Return what each row moves on the account."""
        zero = (self.amounts[0] or 0) * 0 if self.amounts else 0
        signs = dict.fromkeys(range(len(self.amounts)), 1)
        for table in self.draft.events:
            if "reversed" in table:
                signs.update(dict.fromkeys(words.rows_of_table(table), -1))
            if table["is"].value == "skip":
                signs.update(dict.fromkeys(words.rows_of_table(table), 0))
        moved = [(number or zero) * signs[row] for row, number in enumerate(self.amounts)]
        for table in self.draft.fees:
            column = self.evidence.of(table["column"].value)
            sign = -1 if "sign" not in table else 1
            moved = [
                amount + sign * (number or zero) for amount, number in zip(moved, column.numbers, strict=True)
            ]
        return moved  # type: ignore[return-value]


def _values(draft: Draft) -> set[object]:
    found = [finding.value for finding in draft.findings if finding.key.startswith("columns.")]
    return {each for value in found for each in (value if isinstance(value, list) else [value])}
