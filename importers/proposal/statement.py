"""A profile for the statement of a bank account that channels pay into."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from millilot.importers.proposal.evidence import Column, Evidence, Holds
from millilot.importers.proposal.findings import Certainty, Draft
from millilot.importers.proposal.headings import normalise
from millilot.importers.proposal.roles import assign

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

_NOT_HERE = frozenset(
    {"type", "price", "unit_price", "postage", "fee", "title", "order", "status", "net", "gross"}
)
_PAYOUT = re.compile(
    r"\b(?:payouts?|settlements?|disbursements?|auszahlung|versement|reglement|liquidacion|abono|accredito|uitbetaling"
    r"|marketplace)\b",
)
#: A number of a payout: a text with digits, at least four characters long.
_NUMBER = re.compile(r"(?=\S*\d)[A-Za-z0-9][\w./-]{2,}$|(?=\S*\d)[A-Za-z0-9][\w./-]{2,}")


def is_statement(evidence: Evidence, *, directed: bool = False) -> bool:
    """Whether the rows are the movements of a bank account.

    Args:
        evidence: what the columns hold.
        directed: whether words say which way the money went.
    """
    roles = assign(evidence.columns)
    if any(roles.one(role) for role in ("order", "sku", "quantity", "postage", "unit_price", "fee", "payout")):
        return False
    plain = assign(evidence.columns, without=_NOT_HERE)
    both = plain.one("credit") is not None and plain.one("debit") is not None
    amount = plain.one("amount")
    signed = amount is not None and (
        directed or plain.one("balance") is not None or any(number and number < 0 for number in amount.numbers)
    )
    return (both or signed) and _text(evidence) is not None


def _text(evidence: Evidence) -> Column | None:
    """Return the column that says what a movement was."""
    roles = assign(evidence.columns, without=_NOT_HERE)
    detail = roles.one("detail")
    if detail is not None and detail.filled:
        return detail
    texts = [column for column in evidence.columns if column.holds in {Holds.TEXT, Holds.WORDS}]
    return max(texts, key=lambda column: sum(map(len, column.cells)), default=None)


def propose_statement(evidence: Evidence, draft: Draft, account: str, channels: tuple[str, ...] = ()) -> str:
    """Put down the keys of a statement; return what a row is, in words.

    Args:
        evidence: what the columns hold.
        draft: takes the findings.
        account: the bank's account, or empty.
        channels: the accounts of the channels in the books.
    """
    roles = assign(evidence.columns, without=_NOT_HERE)
    text = _text(evidence)
    assert text is not None  # noqa: S101  # else it is no statement
    draft.sure("file.row", "event", "amounts in and out with a text, and nothing of orders")
    if not account:
        draft.guess("account", "Assets:Bank:Checking", "the file does not name your account; --account does")
    date = roles.one("date") or next((each for each in evidence.columns if each.holds is Holds.DAYS), None)
    if date is None:
        draft.missing("columns.date", "no column holds days")
    else:
        draft.put("columns.date", date.heading, _certainty(roles.scores.get(date.heading, 0.0)), "its heading")
    draft.put(
        "columns.detail",
        text.heading,
        _certainty(roles.scores.get(text.heading, 0.0)),
        "it says what each row was",
    )
    amounts = _amounts(evidence, draft)
    propose_balance(evidence, amounts, draft)
    _deposits(text, amounts, draft, channels)
    return "one row a movement of a bank account"


def _certainty(score: float) -> Certainty:
    return Certainty.SURE if score >= 0.9 else Certainty.GUESSED


def _amounts(evidence: Evidence, draft: Draft) -> list[Decimal]:
    roles = assign(evidence.columns, without=_NOT_HERE)
    credit, debit, amount = (roles.one(role) for role in ("credit", "debit", "amount"))
    zero = next(number * 0 for column in evidence.columns for number in column.numbers if number is not None)
    if credit is not None and debit is not None:
        draft.put("columns.credit", credit.heading, _certainty(roles.scores[credit.heading]), "its heading")
        draft.put("columns.debit", debit.heading, _certainty(roles.scores[debit.heading]), "its heading")
        return [
            (plus or zero) - abs(minus or zero) for plus, minus in zip(credit.numbers, debit.numbers, strict=True)
        ]
    assert amount is not None  # noqa: S101
    draft.put("columns.amount", amount.heading, _certainty(roles.scores[amount.heading]), "its heading")
    return [number or zero for number in amount.numbers]


def propose_balance(evidence: Evidence, amounts: Sequence[Decimal], draft: Draft) -> None:
    """Put down the running balance, if it follows the amounts row by row."""
    balance = assign(evidence.columns, without=_NOT_HERE).one("balance")
    if balance is None:
        return
    numbers = balance.numbers
    places = [row for row in range(1, len(numbers)) if numbers[row] is not None and numbers[row - 1] is not None]
    follows = {
        "rising": sum(numbers[row] == numbers[row - 1] + amounts[row] for row in places),  # type: ignore[operator]
        "falling": sum(numbers[row - 1] == numbers[row] + amounts[row - 1] for row in places),  # type: ignore[operator]
    }
    order = max(follows, key=lambda each: follows[each])
    if places and follows[order] == len(places):
        draft.sure("columns.balance", balance.heading, "it follows the amounts row by row")
        draft.sure("file.balance", order, f"the oldest row is {'first' if order == 'rising' else 'last'}")
    elif follows[order] * 2 < len(places):
        draft.gap(
            f'"{balance.heading}" follows the amounts in {follows[order]} of {len(places)} rows only: an amount '
            "went another way than it seems, or is something else, or rows are missing."
        )
    elif places:
        draft.notes.append(f'"{balance.heading}" does not follow the amounts row by row; it is not checked.')


def _deposits(text: Column, amounts: list[Decimal], draft: Draft, channels: tuple[str, ...]) -> None:
    """Put down by which texts payouts of channels are known."""
    found: dict[str, list[str]] = {}
    for cell, amount in zip(text.cells, amounts, strict=True):
        if amount <= 0:
            continue
        channel = next((each for each in channels if normalise(each.rpartition(":")[2]) in normalise(cell)), "")
        if channel:
            found.setdefault(channel, []).append(cell)
        elif _PAYOUT.search(normalise(cell)):
            name = _name_before(cell)
            found.setdefault(f"Assets:Marketplace:{name}" if name else "", []).append(cell)
    found.pop("", None)
    for channel, cells in found.items():
        name = channel.rpartition(":")[2]
        pattern = _pattern(cells)
        draft.event(
            Certainty.GUESSED,
            f'texts like "{cells[0][:60]}"',
            pattern=pattern,
            **{"is": "deposit"},
            **{"from": f"{channel}:Transit"},
            channel=name,
        )
    if not found:
        draft.gap(
            "No text names the payout of a channel; [[events]] must say by a pattern which rows are deposits."
        )
        draft.missing("events", "no text names the payout of a channel")


def _name_before(cell: str) -> str:
    """Return the name before the word for a payout, as part of an account."""
    words = re.findall(r"[^\W\d_]+", cell)
    name: list[str] = []
    for word in words:
        if _PAYOUT.fullmatch(normalise(word)):
            break
        name.append(word.capitalize())
    return "".join(name[-2:]) if name and name[-1].isascii() else ""


def _pattern(cells: list[str]) -> str:
    """Return a pattern for texts of one kind, with the number of the payout if each has one at the same place."""
    words = [cell.split() for cell in cells]
    head: list[str] = []
    for column in zip(*words, strict=False):
        if len({word.casefold() for word in column}) > 1 or any(map(str.isdigit, column[0])):
            break
        head.append(column[0])
    rest = [each[len(head)] if len(each) > len(head) else "" for each in words]
    start = r"\s+".join(map(re.escape, head))
    if head and all(_NUMBER.fullmatch(word) for word in rest):
        return rf"{start}\s+(?P<payout>\S+)"
    return start or re.escape(words[0][0])
