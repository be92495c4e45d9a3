"""Which column is what: headings and values together, the surest first."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from millilot.importers.proposal.evidence import Column, Holds
from millilot.importers.proposal.headings import PRIVATE
from millilot.importers.proposal.marks import tender
from millilot.importers.proposal.words import status_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

_DAYS = frozenset({"ordered", "date", "settled", "paid_out", "paid", "shipped", "refund_date", "delivered"})
AMOUNTS = frozenset(
    {
        "price",
        "unit_price",
        "discount",
        "postage",
        "extra",
        "tax",
        "tax_withheld",
        "gross",
        "net",
        "fee",
        "fee_total",
        "ads",
        "label",
        "refund",
        "refund_tax",
        "refund_fee",
        "amount",
        "credit",
        "debit",
        "balance",
    }
)
_NUMBERS = frozenset({"order", "event", "parent", "payout", "line"})
_WORDS = frozenset({"status", "type", "currency", "zone"})
#: What the columns of some roles hold, and how well that goes with them.
_HELD: tuple[tuple[frozenset[str], Mapping[Holds, float]], ...] = (
    (_DAYS, {Holds.DAYS: 1.0, Holds.NOTHING: 0.6}),
    (AMOUNTS, {Holds.AMOUNTS: 1.0, Holds.WHOLE: 0.95, Holds.NOTHING: 0.7}),
    (_NUMBERS, {Holds.TEXT: 1.0, Holds.WORDS: 0.95, Holds.WHOLE: 1.0, Holds.NOTHING: 0.5}),
    (_WORDS, {Holds.WORDS: 1.0, Holds.TEXT: 0.6, Holds.NOTHING: 0.5}),
    (frozenset({"quantity"}), {Holds.WHOLE: 1.0, Holds.AMOUNTS: 0.7, Holds.NOTHING: 0.5}),
    (frozenset({"sku"}), {Holds.TEXT: 1.0, Holds.WORDS: 1.0, Holds.WHOLE: 0.8, Holds.NOTHING: 0.5}),
    (frozenset({"title", "detail"}), {Holds.TEXT: 1.0, Holds.WORDS: 1.0, Holds.NOTHING: 0.5}),
    (frozenset({"time"}), {Holds.TEXT: 1.0, Holds.WORDS: 1.0}),
)
#: Roles that more than one column may have.
_MANY = frozenset(
    {"fee", "ads", "label", "rate", "line", "delivered", "tax", "discount", "extra", "time", "gross", PRIVATE}
)
#: Roles that the values alone may tell.
_BY_VALUES: Mapping[str, float] = {"title": 0.0, "status": 0.0, "refund_date": 0.0, "currency": 0.0}
#: What is often empty for months; that a column says nothing yet makes its heading say no less.
_RARE = frozenset({"fee", "ads", "label", "discount", "refund", "refund_tax", "refund_fee", "extra"})
#: Below this a heading says too little.
_LEAST = 0.4


@dataclass(frozen=True, slots=True)
class Assigned:
    """The columns by role.

    Attributes:
        columns: those of each role, the surest first.
        scores: how sure each column's role is, 1 for entirely, by heading.
        spare: columns without a role.
    """

    columns: Mapping[str, tuple[Column, ...]]
    scores: Mapping[str, float]
    spare: tuple[Column, ...] = field(default=())

    def one(self, role: str) -> Column | None:
        """Return the column of a role, or None."""
        found = self.columns.get(role, ())
        return found[0] if found else None

    def all(self, *roles: str) -> tuple[Column, ...]:
        """Return the columns of some roles, in the order of the file."""
        found = [column for role in roles for column in self.columns.get(role, ())]
        return tuple(sorted(found, key=lambda column: column.place))

    def role(self, heading: str) -> str:
        """Return the role of a column, or nothing."""
        for role, columns in self.columns.items():
            if any(column.heading == heading for column in columns):
                return role
        return ""


def assign(columns: Iterable[Column], *, without: frozenset[str] = frozenset()) -> Assigned:
    """Give each column the role that its heading and its values agree on most.

    Args:
        columns: of the file.
        without: roles not to give, because the shape of the file has none of them.
    """
    columns = list(columns)
    offers = []
    for column in columns:
        for role, means in {**_BY_VALUES, **column.meanings}.items():
            score = min(means, 1.0) * _agrees(role, column)
            if role == "title" and column.holds in {Holds.TEXT, Holds.WORDS} and column.sizes >= 0.25:
                score = max(score + 0.3, 1.2 if column.sizes >= 0.5 else 0.7)
            if role == "refund_date" and column.holds is Holds.DAYS:
                # A day under "given back" is that of what was given back.
                score = max(score, column.meanings.get("refund", 0.0))
            if by_values := {"status": _says_status, "currency": _says_currency}.get(role):
                score = max(score, by_values(column))
            # Where its words are needed, the column of directions has been taken away before.
            enough = max(score, means if role in _RARE and column.holds is Holds.NOTHING else 0.0) >= _LEAST
            if enough and role not in without and role != "direction":
                offers.append((score, -column.place, role, column))
    taken: dict[str, list[Column]] = {}
    scores: dict[str, float] = {}
    for role, column in zip(("credit", "debit"), _two_sides(columns) or (), strict=False):
        taken[role] = [column]
        scores[column.heading] = _side(column, role)
    for score, _, role, column in sorted(offers, key=lambda offer: offer[:2], reverse=True):
        if column.heading in scores or (role in taken and role not in _MANY):
            continue
        taken.setdefault(role, []).append(column)
        scores[column.heading] = min(score, 1.0)
    spare = tuple(column for column in columns if column.heading not in scores)
    return Assigned({role: tuple(found) for role, found in taken.items()}, scores, spare)


def _two_sides(columns: list[Column]) -> tuple[Column, Column] | None:
    """Return the columns of what comes in and what goes out, of which each row fills one, or None."""
    numeric = [column for column in columns if column.holds in {Holds.AMOUNTS, Holds.WHOLE}]
    for credit in numeric:
        for debit in numeric:
            if min(_side(credit, "credit"), _side(debit, "debit")) < 0.9 or credit is debit:
                continue
            both = sum(bool(a) and bool(b) for a, b in zip(credit.numbers, debit.numbers, strict=True))
            if both * 5 <= len(credit.numbers):
                return credit, debit
    return None


def _side(column: Column, role: str) -> float:
    """Return how well a heading means what comes in or goes out; amounts paid out go beside those paid in."""
    means = column.meanings
    return max(means.get(role, 0.0), means.get("paid_out", 0.0) if role == "debit" else 0.0)


def _says_status(column: Column) -> float:
    """Return how surely the words of a column are states of orders, some of which do not count, by no heading."""
    if column.holds is not Holds.WORDS:
        return 0.0
    known = [key for key, score in map(status_of, column.values) if score >= 0.9]
    telling = any(key in {"skip", "pending", "cancelled"} for key in known)
    return 0.7 if telling and len(known) * 2 > len(column.values) else 0.0


def _says_currency(column: Column) -> float:
    """Return how surely a column has the codes of currencies and nothing else, by no heading."""
    coded = column.holds is Holds.WORDS and all(len(word) == 3 and word.isupper() for word in column.values)
    return 0.75 if coded and column.values and column.values <= tender() else 0.0


def _agrees(role: str, column: Column) -> float:
    """Return how well what a column holds goes with a role, 0 for not at all."""
    if role == "currency":
        coded = bool(column.values) and all(len(value) == 3 and value.isalpha() for value in column.values)
        return 1.2 if coded else 0.0
    if role == "quantity" and any(number and not 0 < number < 1000 for number in column.numbers):
        return 0.0
    if role == "event" and sum(any(map(str.isdigit, value)) for value in column.values) * 2 < len(column.values):
        # Numbers of events have digits; what has none is a word for what happened.
        return 0.3
    if role in {"status", "type"} and column.holds is Holds.TEXT:
        return 0.8 if column.filled < 8 else 0.4
    fitting = next((held for roles, held in _HELD if role in roles), None)
    if fitting is not None:
        return fitting.get(column.holds, 0.0)
    return 0.3 if column.holds is Holds.AMOUNTS and role != "rate" else 1.0
