"""What the words of a ledger mean: by themselves, by the signs of their amounts, and by the rows they stand in."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.proposal.evidence import names_size
from millilot.importers.proposal.findings import Certainty
from millilot.importers.proposal.words import COSTS, FALLING, NAMED, RISING, SALE, event_of, name_of, slug

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from decimal import Decimal

    from millilot.importers.proposal.evidence import Column, Evidence
    from millilot.importers.proposal.findings import Draft, Finding
    from millilot.importers.proposal.roles import Assigned

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
#: More texts than these are not words for kinds of amounts.
_MOST_DETAILS = 12


@dataclass(slots=True)
class LedgerWords:
    """The words of one file.

    Attributes:
        evidence: what the columns hold.
        roles: the columns by role, but for that of the types.
        type: the column that says what happened.
        detail: the column that says more of it, or None.
        title: the column of titles, or None.
        amounts: what each row moved before fees; empty where no column tells.
        signed: whether two columns, or words, say which way the money went, so that no sign is turned round.
        draft: takes the findings.
        price_details: what is the price where no word of a sale says so, by type.
        inverted: whether the file writes what goes out above 0.
    """

    evidence: Evidence
    roles: Assigned
    type: Column
    detail: Column | None
    title: Column | None
    amounts: tuple[Decimal | None, ...]
    signed: bool
    draft: Draft
    price_details: dict[str, str] = field(init=False, default_factory=dict)
    inverted: bool = field(init=False, default=False)

    def __post_init__(self) -> None:
        self._find_price_details()
        self.inverted = self._is_inverted()

    def propose(self) -> None:
        """Put down what each word means."""
        self._rules()
        self._orders_of_payouts()

    def _pairs(self) -> dict[tuple[str, str], list[int]]:
        """Return the rows by type and detail."""
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

    def is_component(self) -> bool:
        """Whether a row is one amount of a sale."""
        order = self.roles.one("order")
        if order is None:
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
        return self.type.meanings.get("detail", 0) >= 0.9

    def _rules(self) -> None:
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
        fixed = self.signed or self.inverted
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
        if kind == "fee" and not any(event_of(word)[0] == "price" for word in self.type.values):
            return "price", self.inverted, "it only raises the balance, and no other word is a sale"
        doubt = "it only raises the balance" if kind == "adjustment" else ""
        return RISING.get(kind, kind), self.inverted, doubt

    def _negative_price(self, word: str) -> str:
        """Return what something is that would be a sale if its amounts were not below 0."""
        return "private" if self.roles.one("order") is None and event_of(word)[0] == "price" else "refund"

    def _is_inverted(self) -> bool:
        """Whether the file writes everything that goes out above 0, and what comes in below."""
        if self.signed or not self.amounts:
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

    def _orders_of_payouts(self) -> None:
        """Say which rules have a number under `order` that is none."""
        order = self.roles.one("order")
        if order is None:
            return
        of_sales = {order.cells[row] for row in self._rows_of(SALE) if order.cells[row]}
        for table in self.draft.events:
            if table["is"].value in {"payout", "payout-returned", "hold", "release", "private"}:
                cells = {order.cells[row] for row in self.rows_of_table(table)} - {""}
                if cells and not cells & of_sales:
                    self.draft.add(table, "order", False)

    def _rows_of(self, kinds: frozenset[str]) -> list[int]:
        return [
            row for table in self.draft.events if table["is"].value in kinds for row in self.rows_of_table(table)
        ]

    def rows_of_table(self, table: Mapping[str, Finding]) -> list[int]:
        """Return the places of the rows that a rule is for."""
        words = table["type"].value if "type" in table else None
        details = table["detail"].value if "detail" in table else None
        return [
            row
            for (word, detail), rows in self._pairs().items()
            if (words is None or word in words) and (details is None or detail in details)
            for row in rows
        ]


def _place(kind: str) -> int:
    """Return where a kind stands in a profile: sales first, payouts last."""
    order = ("price", "postage", "extra", "discount", "tax", "tax-remitted", "fee", "ads", "label", "refund")
    return order.index(kind) if kind in order else len(order)
