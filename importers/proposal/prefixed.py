"""A profile for a ledger whose texts begin with what each row is, as in "Sale: NAME 5 ml (order 7)"."""

from __future__ import annotations

import re
from collections import defaultdict
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.proposal.evidence import Column, Evidence, Holds
from millilot.importers.proposal.findings import Certainty, Draft
from millilot.importers.proposal.roles import assign
from millilot.importers.proposal.statement import propose_balance
from millilot.importers.proposal.words import by_sign, event_of, name_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

#: Of what there may be no column, or the texts are not all that is known of the rows.
_NOT_HERE = ("order", "sku", "quantity", "postage", "unit_price", "fee", "credit", "debit")
#: What a row is ends where its text names something.
_HEAD = re.compile(r"(?P<head>[^\W\d_][^:(#\[]*?)\s*(?P<mark>[:(#\[]|\s[-\u2013\u2014]\s|$)")
_ORDER = r"(?:\b(?:order|bestellung|commande|pedido|ordine|bestelling)\b[^\w]*(?:n[or]?\b[^\w]*)?|#)"
_NUMBER = r"[\w/-]*\d[\w/-]*"
_OF_ORDER = re.compile(rf"{_ORDER}(?P<order>{_NUMBER})", re.IGNORECASE)
_SIZED = r"(?P<name>.+?) (?P<ml>\d+(?:[.,]\d+)?) ?ml"


def find_prefixed(evidence: Evidence) -> Column | None:
    """Return the column whose texts begin with what each row is; None when there is none."""
    roles = assign(evidence.columns, without=frozenset({"type", "title"}))
    if any(roles.one(role) for role in _NOT_HERE) or roles.one("amount") is None:
        return None
    for column in evidence.columns:
        if column.holds not in {Holds.TEXT, Holds.WORDS} or column.filled < len(column.cells):
            continue
        kinds = [event_of(_head(text))[0] for text in column.cells]
        if "price" in kinds and len(set(kinds) - {""}) >= 2 and sum(map(bool, kinds)) * 5 >= 4 * len(kinds):
            return column
    return None


def propose_prefixed(evidence: Evidence, text: Column, draft: Draft) -> str:
    """Put down the keys of such a ledger; return what a row is, in words."""
    roles = assign(evidence.columns, without=frozenset({"type", "title"}))
    amount = roles.one("amount")
    assert amount is not None  # noqa: S101  # else it is no such ledger
    date = roles.one("date") or next((each for each in evidence.columns if each.holds is Holds.DAYS), None)
    draft.sure("file.row", "event", f'"{text.heading}" begins with what each row is')
    if date is None:
        draft.missing("columns.date", "no column holds days")
    else:
        draft.guess("columns.date", date.heading, "the column of days")
    draft.sure("columns.detail", text.heading, "its texts begin with what each row is")
    draft.sure("columns.title", text.heading, "its texts name what was sold")
    draft.guess("columns.amount", amount.heading, "its heading")
    amounts = [number or ZERO for number in amount.numbers]
    propose_balance(evidence, amounts, draft)
    _rules(text, amounts, draft)
    draft.notes.append(
        "A row whose text begins with none of these words is refused, until [[events]] has a pattern for it."
    )
    return "one row an event"


def _head(text: str) -> str:
    match = _HEAD.match(text)
    if match is None:
        return ""
    # A number at the end is that of a payout.
    return re.sub(rf"\s+{_NUMBER}$", "", match["head"])


def _rules(text: Column, amounts: Sequence[Decimal], draft: Draft) -> None:
    rows_of: defaultdict[str, list[int]] = defaultdict(list)
    for row, cell in enumerate(text.cells):
        rows_of[_head(cell)].append(row)
    # What begins with the words of another goes before it.
    for head, rows in sorted(rows_of.items(), key=lambda each: (-len(each[0]), each[0])):
        kind = by_sign(event_of(head)[0], [amounts[row] for row in rows])
        if not head or not kind:
            example = text.cells[rows[0]][:50]
            draft.gap(f'What rows like "{example}" are could not be found; [[events]] must say so by a pattern.')
            continue
        start = rf"^{re.escape(head)}\b".replace(r"\ ", " ")
        draft.event(
            Certainty.GUESSED,
            f'texts like "{text.cells[rows[0]][:60]}"',
            pattern=_with_number(start, kind, [text.cells[row] for row in rows]),
            **{"is": kind},
            kind=name_of(kind, head),
            account="Equity:Owner" if kind in {"private", "adjustment"} else None,
        )
        if kind == "price":
            _titles(head, [text.cells[row] for row in rows], draft)


def _with_number(start: str, kind: str, texts: Sequence[str]) -> str:
    """Return a pattern with the number of the order or the payout, if each text has one."""
    if kind.startswith("payout"):
        named = rf"{start}.*\s(?P<payout>{_NUMBER})$"
        return named if all(re.search(named, text) for text in texts) else start
    before = _before_order(texts[0])
    same = before and all(_before_order(text) == before for text in texts)
    return rf"{start}.*{before}(?P<order>[\w/-]+)" if same else start


def _before_order(text: str) -> str:
    """Return the pattern of what stands right before the number of the order, or nothing."""
    match = _OF_ORDER.search(text)
    return re.escape(text[match.start() : match.start("order")]).replace(r"\ ", " ") if match else ""


def _titles(head: str, texts: Sequence[str], draft: Draft) -> None:
    """Put down where in the text of a sale name and size stand, and nothing beside them."""
    before = _before_order(texts[0]).casefold()
    behind = rf"\W+{before}[\w/-]+\W*" if before else ""
    pattern = rf"{re.escape(head.casefold())}\W+{_SIZED}{behind}".replace(r"\ ", " ")
    fitting = sum(re.fullmatch(pattern, text.casefold()) is not None for text in texts)
    if fitting:
        draft.guess("titles.pattern", pattern, f"{fitting} of {len(texts)} texts of sales are so")
