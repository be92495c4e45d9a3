"""Which columns of a ledger say what happened, and which are gross, fee and net, by values and sums."""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import replace

from beancount.core.number import ZERO

from millilot.importers.proposal.evidence import Column, Evidence, Holds, names_size
from millilot.importers.proposal.roles import Assigned, assign
from millilot.importers.proposal.sums import MOST_TERMS
from millilot.importers.proposal.words import COSTS, SALE, event_of

#: What a column may seem that is gross, fee or net; nothing is what it is by a heading that is known.
_OF_SUMS = frozenset({"", "amount", "gross", "net", "fee", "fee_total"})
#: As many rows with a fee tell which columns are gross, fee and net.
_LEAST_SUMS = 3
#: What numbers of orders seem.
_MAY_NUMBER = frozenset({Holds.TEXT, Holds.WORDS, Holds.WHOLE})


def has_amount(roles: Assigned) -> bool:
    """Whether some column says how much money moved."""
    return any(roles.one(role) for role in ("amount", "credit", "debit", "net", "gross", "price"))


def named_by_sums(evidence: Evidence) -> Evidence:
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


def with_orders(evidence: Evidence, types: Column | None) -> Evidence:
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


def only_amount(evidence: Evidence) -> Column | None:
    """Return the column of amounts where there is just one."""
    amounts = [column for column in evidence.columns if column.holds is Holds.AMOUNTS]
    return amounts[0] if len(amounts) == 1 else None


def find_types(evidence: Evidence) -> Column | None:
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
    return whole is not part and any(event_of(word)[0] in SALE | COSTS for word in both)
