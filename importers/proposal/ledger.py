"""A profile for files with a row for each thing that happened, or for each amount of it."""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.proposal.evidence import Column, Evidence, Holds, names_size
from millilot.importers.proposal.findings import Certainty, Draft
from millilot.importers.proposal.roles import Assigned, assign
from millilot.importers.proposal.statuses import propose_statuses
from millilot.importers.proposal.sums import MOST_TERMS, solve
from millilot.importers.proposal.words import COSTS, FALLING, NAMED, RISING, event_of, name_of, slug

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from decimal import Decimal

    from millilot.importers.proposal.findings import Finding

_SALE = frozenset({"price", "postage", "extra", "discount", "tax", "tax-remitted"})
#: What a part of a sale is when it goes back.
_BACK = {
    "price": "refund",
    "postage": "refund",
    "extra": "refund",
    "refund": "refund",
    "tax": "refund-tax",
    "refund-tax": "refund-tax",
    "fee": "fee-refund",
    "fee-refund": "fee-refund",
    "ads": "fee-refund",
    "tax-remitted": "tax-remitted",
    "discount": "refund",
}
#: What lowers the account, and what raises it.
_OUT = frozenset(
    {"fee", "ads", "label", "refund", "refund-tax", "hold", "payout", "dispute", "tax-remitted", "discount"}
)
_IN = frozenset(
    {"price", "postage", "extra", "tax", "release", "fee-refund", "dispute-won", "payout-returned", "compensation"}
)
#: What a column may seem that is gross, fee or net; nothing is what it is by a heading that is known.
_OF_SUMS = frozenset({"", "amount", "gross", "net", "fee", "fee_total"})
#: As many rows with a fee tell which columns are gross, fee and net.
_LEAST_SUMS = 3
#: What numbers of orders seem.
_MAY_NUMBER = frozenset({Holds.TEXT, Holds.WORDS, Holds.WHOLE})
#: Numbers that move nothing.
_NO_AMOUNTS = frozenset({"balance", "quantity", "rate", "unit_price"})
#: More texts than these are not words for kinds of amounts.
_MOST_DETAILS = 12


def is_ledger(evidence: Evidence) -> bool:
    """Whether the rows of a file are events: some column says what each was, and another how much."""
    evidence = _named_by_sums(evidence)
    if _types(evidence) is None:
        return False
    return _has_amount(assign(evidence.columns)) or _only_amount(evidence) is not None


def _has_amount(roles: Assigned) -> bool:
    return any(roles.one(role) for role in ("amount", "credit", "debit", "net", "gross", "price"))


def _named_by_sums(evidence: Evidence) -> Evidence:
    """Return the evidence with three columns as gross, fee and net, if they are so in every row."""
    roles = assign(evidence.columns)
    amounts = [
        column
        for column in evidence.columns
        if column.holds is Holds.AMOUNTS and not column.is_zero and roles.role(column.heading) in _OF_SUMS
    ]
    if len(amounts) > MOST_TERMS:
        return evidence
    found = [each for each in itertools.permutations(amounts, 3) if _is_gross_fee_net(*each)]
    if len(found) != 1:
        return evidence
    named = {column.place: role for column, role in zip(found[0], ("gross", "fee", "net"), strict=True)}
    as_named = all(roles.role(column.heading) in {named[column.place], "amount"} for column in found[0])
    if as_named and roles.role(found[0][1].heading) == "fee":
        return evidence
    columns = tuple(
        replace(column, meanings={named[column.place]: 1.0}) if column.place in named else column
        for column in evidence.columns
    )
    return replace(evidence, columns=columns)


def _with_orders(evidence: Evidence, types: Column | None) -> Evidence:
    """Return the evidence with the column of the orders' numbers, which sales share with other rows."""
    roles = assign(evidence.columns)
    if types is None or roles.one("order") is not None or roles.one("event") is not None:
        return evidence
    sales = [row for row, word in enumerate(types.cells) if event_of(word)[0] == "price"]
    others = sorted(set(range(len(types.cells))) - set(sales))
    for column in evidence.columns:
        sold = {column.cells[row] for row in sales}
        numbers = all(any(map(str.isdigit, cell)) and not names_size(cell) for cell in sold)
        shared = sum(column.cells[row] in sold for row in others)
        spare = column is not types and not roles.role(column.heading) and column.holds in _MAY_NUMBER
        if spare and sold and numbers and len(sold) == len(sales) and shared * 2 >= len(sales):
            named = replace(column, meanings={"order": 0.8})
            return replace(evidence, columns=tuple(named if each is column else each for each in evidence.columns))
    return evidence


def _is_gross_fee_net(gross: Column, fee: Column, net: Column) -> bool:
    """Whether one column is another less a fee, written above 0 or below, that is the smallest of them."""
    rows = [
        (whole, part or ZERO, left)
        for whole, part, left in zip(gross.numbers, fee.numbers, net.numbers, strict=True)
        if whole is not None and left is not None
    ]
    if sum(bool(part) for _, part, _ in rows) < _LEAST_SUMS:
        return False
    taken = [row for row in rows if row[0] > 0 and row[1]]
    small = all(abs(part) * 2 < whole and left < whole for whole, part, left in taken)
    made = [all(whole + sign * part == left for whole, part, left in rows) for sign in (1, -1)]
    return bool(taken) and small and any(made)


def _only_amount(evidence: Evidence) -> Column | None:
    """Return the column of amounts where there is just one."""
    amounts = [column for column in evidence.columns if column.holds is Holds.AMOUNTS]
    return amounts[0] if len(amounts) == 1 else None


def _types(evidence: Evidence) -> Column | None:
    """Return the column that says what happened, None when there is none."""
    found: list[tuple[bool, float, Column]] = []
    roles = assign(evidence.columns)
    booked = (roles.one("credit") is not None and roles.one("debit") is not None) or roles.one(
        "balance"
    ) is not None
    priced = roles.one("price") is not None and (roles.one("postage") or roles.one("net")) is not None
    for column in evidence.columns:
        if column.holds is not Holds.WORDS and not (column.holds is Holds.TEXT and len(column.values) <= 40):
            continue
        if column.sizes >= 0.25 or roles.role(column.heading) in {"order", "status", "currency", "sku", "payout"}:
            continue
        if sum(any(map(str.isdigit, word)) for word in column.values) * 3 > len(column.values):
            continue
        known = [event_of(word) for word in column.values]
        share = sum(score for kind, score in known if kind) / max(len(known), 1)
        kinds = {kind for kind, _ in known if kind}
        named = max(column.meanings.get("type", 0.0), column.meanings.get("detail", 0.0) * 0.8)
        enough = len(kinds) >= 2 or (bool(kinds) and named >= 0.7 and not priced)
        various = len(column.values) > 0.6 * max(column.filled, 5)
        least = 0.35 if named >= 0.7 and (booked or not various) else 0.6
        if not enough or share < least:
            continue
        if priced and kinds <= {"price", "refund"} and roles.role(column.heading) != "type":
            continue
        score = share + named + column.filled / max(len(column.cells), 1)
        # Where one column says the kind and another the amount, the kind goes first, however few its words.
        says_kind = column.meanings.get("type", 0.0) > column.meanings.get("detail", 0.0)
        found.append((says_kind, score, column))
    best = max(found, key=lambda each: each[:2])[2] if found else None
    return next((column for *_, column in found if best is not None and _has_parts(column, best)), best)


def _has_parts(whole: Column, part: Column) -> bool:
    """Whether a column tells sales from refunds, and the words of another are parts of both."""
    sides: defaultdict[str, set[str]] = defaultdict(set)
    for word, of_part in zip(whole.cells, part.cells, strict=True):
        sides[event_of(word)[0]].add(of_part)
    both = (sides["price"] & sides["refund"]) - {""}
    return whole is not part and any(event_of(word)[0] in _SALE | COSTS for word in both)


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
        self.evidence = evidence = _named_by_sums(evidence)
        self.draft = draft
        self.scale = 10**digits
        self.type = _types(evidence)
        self.evidence = evidence = _with_orders(evidence, self.type)
        self.roles = assign(
            [column for column in evidence.columns if column is not self.type],
            without=frozenset({"type", "refund", "refund_tax", "refund_fee", "refund_date"}),
        )
        self.detail = self._find_detail()
        self.title = self.roles.one("title") or self._title_of_prices()
        self.amounts: tuple[Decimal | None, ...] = ()
        #: What is the price where no word of a sale says so, by type.
        self.price_details: dict[str, str] = {}
        self.two_columns = False
        #: Whether words say which way the money went, so that no sign is turned round.
        self.directed = directed
        self.inverted = False

    def run(self) -> str:
        assert self.type is not None  # noqa: S101  # else it is no ledger
        self._columns()
        self._amount()
        self._empty_fees()
        self._find_price_details()
        component = self._is_component()
        self.inverted = self._is_inverted()
        words = "one row an amount" if component else "one row an event"
        self.draft.sure(
            "file.row", "component" if component else "event", f'"{self.type.heading}" says what each row is'
        )
        self._rules()
        numbered = self.draft.finding("columns.order") or self.draft.finding("columns.event")
        if not numbered and any(table["is"].value == "price" for table in self.draft.events):
            self.draft.missing("columns.order", "no column holds the number of a sale")
        self._orders_of_payouts()
        statuses = propose_statuses(self.roles, self.draft)
        self._balance({row for row, key in statuses.items() if key in {"skip", "pending", "cancelled"}})
        self._left_out()
        return words

    def _left_out(self) -> None:
        """Tell of amounts that no key has."""
        used = _values(self.draft) | {table["column"].value for table in self.draft.fees}
        for column in self.evidence.columns:
            known = column.heading in used or self.roles.role(column.heading) in _NO_AMOUNTS
            if column.holds is Holds.AMOUNTS and not column.is_zero and not known:
                self.draft.notes.append(f'What "{column.heading}" is could not be found; it is left out.')

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
        column = amount or gross or net or price or _only_amount(self.evidence)
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
        goal = tuple(self._cents(net, row) for row in rows)
        columns = {
            each.heading: tuple(self._cents(each, row) for row in rows) for each in (price, *parts, *fees)
        }
        solutions = solve(goal, columns, lambda _name, sign: 0.0 if sign else 1.0, fixed=(price.heading,))
        if solutions:
            signs, failing = solutions[0].signs, solutions[0].failing
            certainty = Certainty.SURE if not failing and len(rows) >= 3 else Certainty.GUESSED
            because = f"the other columns make it in {len(rows) - len(failing)} of {len(rows)} rows"
            self.draft.put("columns.net", net.heading, certainty, because)
            for fee in fees:
                if sign := signs.get(fee.heading):
                    self._fee(fee, "positive" if sign < 0 else "negative", certainty, "taken off in the sum")
                else:
                    self.draft.notes.append(f'"{fee.heading}" is no part of "{net.heading}"; it is left out.')
        else:
            because = f'"{price.heading}", the other columns and the fees do not make it in most rows'
            self.draft.contradicted("columns.net", net.heading, because)
            self._fees_without_net(price, fees)
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

    def _fees_and_net(self, amount: Column, net: Column, parts: Sequence[Column]) -> None:
        rows = [
            row for row, number in enumerate(net.numbers) if number is not None and amount.numbers[row] is not None
        ]
        goal = tuple(self._cents(net, row) for row in rows)
        base = tuple(self._cents(amount, row) for row in rows)
        columns = {amount.heading: base}
        columns.update({column.heading: tuple(self._cents(column, row) for row in rows) for column in parts})
        tax = [column for column in self.roles.all("tax", "tax_withheld") if not column.is_zero]
        columns.update(
            {
                column.heading: tuple(self._cents(column, row) for row in tax_rows)
                for column in tax
                for tax_rows in [rows]
            }
        )
        solutions = solve(goal, columns, lambda _name, sign: 0.0 if sign else 1.0, fixed=(amount.heading,))
        if not solutions:
            self.draft.contradicted(
                "columns.net",
                net.heading,
                f'"{amount.heading}" and the fees do not make it in most rows',
            )
            self._fees_without_net(amount, parts)
            return
        signs, failing = solutions[0].signs, solutions[0].failing
        certainty = Certainty.SURE if not failing and len(rows) >= 3 else Certainty.GUESSED
        because = f'"{amount.heading}" and the fees make it in {len(rows) - len(failing)} of {len(rows)} rows'
        self.draft.put("columns.net", net.heading, certainty, because)
        for column in parts:
            sign = signs.get(column.heading)
            if sign is None:
                self.draft.notes.append(f'"{column.heading}" is no part of "{net.heading}"; it is left out.')
                continue
            self._fee(column, "positive" if sign < 0 else "negative", certainty, "taken off in the sum")

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

    # What the words mean.

    def _pairs(self) -> dict[tuple[str, str], list[int]]:
        """Return the rows by type and detail."""
        assert self.type is not None  # noqa: S101
        pairs: defaultdict[tuple[str, str], list[int]] = defaultdict(list)
        details = self.detail.cells if self.detail else ("",) * len(self.type.cells)
        if self.detail is not None and self.detail is self.title:
            # What was sold says nothing more of what the row is.
            details = tuple(
                "" if event_of(word)[0] == "price" else text
                for word, text in zip(self.type.cells, details, strict=True)
            )
        for row, (word, detail) in enumerate(zip(self.type.cells, details, strict=True)):
            pairs[word, detail].append(row)
        return dict(pairs)

    def _find_price_details(self) -> None:
        """Find the word for the price of a sale that has none: the only one in each order that just raises it.

        What sounds like a cost and raises the account is not given back where it was never taken.
        """
        order = self.roles.one("order")
        by_type: defaultdict[str, dict[str, list[int]]] = defaultdict(dict)
        for (word, detail), rows in self._pairs().items():
            by_type[word][detail] = rows
        for word, details in by_type.items():
            kinds = {detail: event_of(detail)[0] for detail in details}
            if order is None or event_of(word)[0] != "price" or "" in details or "price" in kinds.values():
                continue
            orders = {order.cells[row] for rows in details.values() for row in rows}
            fitting = [
                detail
                for detail, rows in details.items()
                if kinds[detail] in {"", *COSTS}
                and all((self.amounts[row] or 0) > 0 for row in rows)
                and {order.cells[row] for row in rows} == orders
            ]
            if len(fitting) == 1 and self.amounts:
                self.price_details[word] = fitting[0]

    def _detail_of(self, word: str, detail: str) -> tuple[str, float]:
        """Return what a detail means beside a type, and how well it fits."""
        known = self.price_details
        # What is the price in a sale is the price that goes back in a refund.
        is_price = known.get(word) == detail or (event_of(word)[0] == "refund" and detail in known.values())
        return ("price", 0.5) if is_price else event_of(detail)

    def _is_component(self) -> bool:
        """Whether a row is one amount of a sale."""
        order = self.roles.one("order")
        if order is None or self.type is None:
            return False
        if self.detail is None:
            kinds = {event_of(word)[0] for word in self.type.values}
            named = {word for word in self.type.values if event_of(word)[0] == "price"}
            parts = kinds & {"postage", "extra", "tax"}
            return (
                bool(parts)
                and bool(named)
                and not kinds & {"refund"}
                and "hold" not in kinds
                and self._by_amount()
            )
        parts = set()
        for word, detail in self._pairs():
            if event_of(word)[0] in {"price", ""}:
                parts.add(self._detail_of(word, detail)[0])
        return "price" in parts and len(parts & {"postage", "extra", "tax", "fee", "price", "discount"}) >= 2

    def _by_amount(self) -> bool:
        assert self.type is not None  # noqa: S101
        return self.type.meanings.get("detail", 0) >= 0.9

    def _rules(self) -> None:
        assert self.type is not None  # noqa: S101
        by_type: defaultdict[str, dict[str, list[int]]] = defaultdict(dict)
        for (word, detail), rows in self._pairs().items():
            by_type[word][detail] = rows
        for word, details in sorted(by_type.items(), key=lambda item: _place(event_of(item[0])[0])):
            if not word and self._is_total_rows(details):
                continue
            self._rules_of(word, details)

    def _is_total_rows(self, details: dict[str, list[int]]) -> bool:
        total = self.draft.value("columns.total")
        column = self.evidence.of(total) if total else None
        return column is not None and all(
            column.numbers[row] is not None for rows in details.values() for row in rows
        )

    def _rules_of(self, word: str, details: dict[str, list[int]]) -> None:
        """Put down what a type means, by its details where those tell more."""
        kind, score = event_of(word)
        by_detail = {detail: self._detail_of(word, detail) for detail in details if detail}
        told = [detail for detail, (of_detail, _) in by_detail.items() if of_detail]
        few = 0 < len(by_detail) <= _MOST_DETAILS and len(told) * 2 >= len(by_detail)
        inside = {by_detail[detail][0] for detail in told}
        if few and (kind in {"fee", "adjustment"} or (kind in {"price", "refund", ""} and inside - {kind})):
            self._rules_by_detail(word, details, by_detail)
            return
        every = [row for rows in details.values() for row in rows]
        if kind:
            self._rule(kind, word, None, every, score)
        elif told and len(told) == len(by_detail) and len(inside) == 1:
            self._rule(next(iter(inside)), word, None, every, 0.5)
        else:
            self._unknown(word, None, every)

    def _rules_by_detail(
        self,
        word: str,
        details: dict[str, list[int]],
        by_detail: dict[str, tuple[str, float]],
    ) -> None:
        kind, score = event_of(word)
        grouped: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
        for detail, rows in details.items():
            of_detail, _ = by_detail.get(detail, ("", 0.0))
            meant = self._together(kind, of_detail, detail)
            if not meant and kind == "price" and self._lowers(rows):
                # Nobody knows the word, but it is taken off a sale.
                meant = "fee"
            grouped[meant, slug(detail) if meant in NAMED and detail else ""].append(detail)
        for (meant, _), texts in grouped.items():
            every = [row for text in texts for row in details[text]]
            named = [text for text in texts if text] or None
            if not meant:
                self._unknown(word, named, every)
                continue
            sure = min((by_detail[text][1] for text in named or ()), default=score * 0.9)
            self._rule(meant, word, named, every, min(sure, score or 1.0))

    def _lowers(self, rows: Iterable[int]) -> bool:
        numbers = [self.amounts[row] or 0 for row in rows] if self.amounts else []
        return bool(numbers) and all(number < 0 for number in numbers)

    @staticmethod
    def _together(kind: str, detail: str, text: str) -> str:
        """Return what a row is whose type and detail are of some kinds."""
        if kind == "refund":
            return _BACK.get(detail, detail or ("" if text else "refund"))
        if kind in {"price", "", "adjustment"}:
            return detail or ("" if text else kind)
        if kind == "fee":
            return detail if detail in {"ads", "label", "fee-refund", "tax-remitted", "fee"} else "fee"
        return kind

    def _rule(self, kind: str, word: str, details: list[str] | None, rows: Sequence[int], score: float) -> None:
        """Put down what a type, with some details, means."""
        certainty = Certainty.SURE if score >= 0.9 and kind != "skip" else Certainty.GUESSED
        because = "what the words mean"
        if kind == "discount" and self.roles.one("order") is None:
            kind, certainty = "ads", Certainty.GUESSED
        kind, turned, doubt = self._by_sign(kind, word, rows)
        if doubt:
            because = f"{because}; {doubt}"
            certainty = Certainty.GUESSED if turned is not True else certainty
        account = {"private": "Equity:Owner", "adjustment": "Expenses:Selling:Fees"}.get(kind)
        if account:
            certainty, because = Certainty.GUESSED, f"{because}; only you know the account"
        self.draft.event(
            certainty,
            because,
            type=[word] if word else None,
            detail=details,
            **{"is": kind},
            kind=name_of(kind, " ".join(details[:1]) if details else word),
            account=account,
            reversed=turned or None,
        )

    def _by_sign(self, kind: str, word: str, rows: Iterable[int]) -> tuple[str, bool, str]:
        """Return what something is by the signs of its amounts, whether they are turned round, and a doubt."""
        numbers = [number for row in rows if (number := self.amounts[row])] if self.amounts else []
        raised = sum(number > 0 for number in numbers)
        if not numbers or 0 < raised < len(numbers):
            return kind, self.inverted, ""
        fixed = self.two_columns or self.directed or self.inverted
        if (raised > 0) is not self.inverted:
            return self._rising(kind, rows, fixed=fixed)
        if kind in {"release", "dispute-won"} and not fixed:
            return kind, True, "its amounts are below 0 though they come in"
        if kind == "price":
            return self._negative_price(word), self.inverted, "its amounts are below 0"
        return FALLING.get(kind, kind), self.inverted, ""

    def _rising(self, kind: str, rows: Iterable[int], *, fixed: bool) -> tuple[str, bool, str]:
        """Return what something is whose amounts are all above 0."""
        if kind == "payout" and not fixed and self._is_sum(rows):
            return kind, True, "each is what the other rows of the payout come to"
        if kind in _OUT and not fixed and self._is_reversed(rows):
            return kind, True, "its amounts are above 0 though they go out"
        if kind == "fee" and self.type and not any(event_of(word)[0] == "price" for word in self.type.values):
            return "price", self.inverted, "it only raises the balance, and no other word is a sale"
        doubt = "it only raises the balance" if kind == "adjustment" else ""
        return RISING.get(kind, kind), self.inverted, doubt

    def _negative_price(self, word: str) -> str:
        """Return what something is that would be a sale if its amounts were not below 0."""
        return "private" if self.roles.one("order") is None and event_of(word)[0] == "price" else "refund"

    def _is_inverted(self) -> bool:
        """Whether the file writes everything that goes out above 0, and what comes in below."""
        if self.two_columns or self.directed or not self.amounts:
            return False
        votes = {True: 0, False: 0}
        for (word, _), rows in self._pairs().items():
            kind = event_of(word)[0]
            numbers = [number for row in rows if (number := self.amounts[row]) is not None and number]
            raised = sum(number > 0 for number in numbers)
            if numbers and kind in _IN | _OUT and raised in {0, len(numbers)}:
                votes[(raised > 0) is (kind in _OUT)] += 1
        return votes[True] >= 2 and not votes[False]

    def _is_sum(self, rows: Iterable[int]) -> bool:
        """Whether each row has what the others of its payout come to, or of the file where none is numbered."""
        rows, payout = set(rows), self.roles.one("payout")
        numbers = payout.cells if payout is not None else ("",) * len(self.amounts)
        sums: defaultdict[str, Decimal] = defaultdict(lambda: ZERO)
        for row, number in enumerate(numbers):
            sums[number] += (self.amounts[row] or ZERO) * (-1 if row in rows else 1)
        return not any(sums[numbers[row]] for row in rows)

    def _is_reversed(self, rows: Iterable[int]) -> bool:
        """Whether amounts above 0 go out: the running balance tells, else whether anything is below 0 at all."""
        told = self._by_balance(rows)
        if told is not None:
            return told
        return not any(number is not None and number < 0 for number in self.amounts)

    def _by_balance(self, rows: Iterable[int]) -> bool | None:
        balance = self.roles.one("balance")
        if balance is None:
            return None
        falls = rises = 0
        numbers = balance.numbers
        for row in rows:
            amount = self.amounts[row]
            for other in (row - 1, row + 1):
                if (
                    amount
                    and 0 <= other < len(numbers)
                    and numbers[row] is not None
                    and numbers[other] is not None
                ):
                    change = numbers[row] - numbers[other]  # type: ignore[operator]
                    falls += change == -amount
                    rises += change == amount
        return None if falls == rises else falls > rises

    def _unknown(self, word: str, details: list[str] | None, rows: Sequence[int]) -> None:
        """Guess what a word nobody knows means from where its rows stand, or say that it is not known."""
        kind = self._by_place(rows)
        if kind:
            because = {
                "fee": "nobody knows the word, but each is a small part of a sale of the same day",
                "price": "nobody knows the word, but each row is the first of its number and names a size",
                "fee-refund": "nobody knows the word, but each gives back a fee of the same order",
                "refund": "nobody knows the word, but each gives back what the order was sold for",
            }[kind]
            self.draft.event(
                Certainty.GUESSED,
                because,
                type=[word] if word else None,
                detail=details,
                **{"is": kind},
                kind=name_of(kind, " ".join(details) if details else word),
            )
            return
        place = f'"{word}"' + (f" with {', '.join(repr(text[:40]) for text in details[:3])}" if details else "")
        if not word:
            place = "a row without a word"
        self.draft.gap(
            f"What {place} means could not be found; its {len(rows)} row(s) are refused until [[events]] says so.",
        )

    def _by_place(self, rows: Sequence[int]) -> str:
        """Return what rows are by the orders they belong to, or nothing."""
        order, title, date = self.roles.one("order"), self.roles.one("title"), self.draft.value("columns.date")
        if order is None and self.roles.one("event") is not None and self._all_sized(rows):
            return "price"
        if order is None or not self.amounts or date is None or not all(order.cells[row] for row in rows):
            return ""
        days = self.evidence.of(date).cells
        amounts = [self.amounts[row] or ZERO for row in rows]
        if kind := self._gives_back(rows, amounts, order):
            return kind
        if all(amount < 0 for amount in amounts):
            sales: defaultdict[tuple[str, str], Decimal] = defaultdict(lambda: ZERO)
            for row, number in enumerate(self.amounts):
                if number is not None and number > 0:
                    sales[order.cells[row], days[row][:10]] += number
            small = all(
                -amount * 3 <= sales[order.cells[row], days[row][:10]]
                for row, amount in zip(rows, amounts, strict=True)
            )
            return "fee" if small else ""
        first = {number: row for row, number in reversed(list(enumerate(order.cells)))}
        sized = title is not None and title.sizes >= 0.5 and all(title.cells[row] for row in rows)
        alone = all(first[order.cells[row]] == row for row in rows)
        return "price" if sized and alone and all(amount > 0 for amount in amounts) else ""

    def _all_sized(self, rows: Iterable[int]) -> bool:
        """Whether each row comes in and its title names a size."""
        return self.title is not None and all(
            (self.amounts[row] or ZERO) > 0 and names_size(self.title.cells[row]) for row in rows
        )

    def _gives_back(self, rows: Sequence[int], amounts: Sequence[Decimal], order: Column) -> str:
        """Return which kind undoes, in each row, what other rows of the order have brought; else nothing."""
        brought: defaultdict[tuple[str, str], list[Decimal]] = defaultdict(list)
        for (word, detail), others in self._pairs().items():
            kind = event_of(detail)[0] or event_of(word)[0]
            for row in others:
                brought[order.cells[row], kind].append(self.amounts[row] or ZERO)
        if all(
            amount > 0 and any(-amount in brought[order.cells[row], kind] for kind in COSTS)
            for row, amount in zip(rows, amounts, strict=True)
        ):
            return "fee-refund"
        parts = ("price", "postage", "extra", "tax", "discount")
        if all(
            amount < 0
            and brought[order.cells[row], "price"]
            and -amount in {
                sum(brought[order.cells[row], "price"], ZERO),
                sum((each for kind in parts for each in brought[order.cells[row], kind]), ZERO),
            }
            for row, amount in zip(rows, amounts, strict=True)
        ):
            return "refund"
        return ""

    # What stands in the rows of payouts, and the running balance.

    def _orders_of_payouts(self) -> None:
        """Say which rules have a number under `order` that is none."""
        order = self.roles.one("order")
        if order is None:
            return
        of_sales = {order.cells[row] for row in self._rows_of(_SALE) if order.cells[row]}
        for table in self.draft.events:
            if table["is"].value in {"payout", "payout-returned", "hold", "release", "private"}:
                cells = {order.cells[row] for row in self._rows_of_table(table)} - {""}
                if cells and not cells & of_sales:
                    self.draft.add(table, "order", False)

    def _rows_of(self, kinds: frozenset[str]) -> list[int]:
        return [
            row for table in self.draft.events if table["is"].value in kinds for row in self._rows_of_table(table)
        ]

    def _rows_of_table(self, table: Mapping[str, Finding]) -> list[int]:
        words = table["type"].value if "type" in table else None
        details = table["detail"].value if "detail" in table else None
        return [
            row
            for (word, detail), rows in self._pairs().items()
            if (words is None or word in words) and (details is None or detail in details)
            for row in rows
        ]

    def _balance(self, left_out: set[int]) -> None:
        """Put down the running balance, if it follows the rows that count, of each currency by itself."""
        balance = self.roles.one("balance")
        if balance is None or not balance.filled:
            return
        moved = self._moved()
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

    def _moved(self) -> list[Decimal]:
        """Return what each row moves on the account."""
        zero = (self.amounts[0] or 0) * 0 if self.amounts else 0
        signs = dict.fromkeys(range(len(self.amounts)), 1)
        for table in self.draft.events:
            if "reversed" in table:
                signs.update(dict.fromkeys(self._rows_of_table(table), -1))
            if table["is"].value == "skip":
                signs.update(dict.fromkeys(self._rows_of_table(table), 0))
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


def _place(kind: str) -> int:
    """Return where a kind stands in a profile: sales first, payouts last."""
    order = ("price", "postage", "extra", "discount", "tax", "tax-remitted", "fee", "ads", "label", "refund")
    return order.index(kind) if kind in order else len(order)
