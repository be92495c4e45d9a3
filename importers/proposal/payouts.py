"""A profile for files with a row for each payout."""

from __future__ import annotations

from millilot.importers.proposal.evidence import Column, Evidence, Holds
from millilot.importers.proposal.findings import Certainty, Draft
from millilot.importers.proposal.roles import Assigned, assign
from millilot.importers.proposal.statuses import propose_statuses
from millilot.importers.proposal.sums import Solution, solve
from millilot.importers.proposal.words import slug

_NOT_HERE = frozenset(
    {"type", "detail", "title", "sku", "unit_price", "credit", "debit", "balance", "refund_date", "order"}
)
#: What texts in a file of payouts may be.
_BESIDE = frozenset({"payout", "period", "status", "currency", "private"})
#: Into how many parts an amount is split to be summed, whatever the currency.
_FINEST = 1000
_SIGNS = {
    "gross": (0.0, 9.0, 9.0),
    "postage": (0.0, 6.0, 1.0),
    "tax": (0.2, 4.0, 0.2),
    "fee": (6.0, 0.0, 1.0),
    "ads": (6.0, 0.0, 1.0),
    "label": (6.0, 0.0, 1.0),
    "fee_total": (6.0, 0.5, 0.4),
    "refund": (6.0, 0.0, 1.0),
    "refund_tax": (6.0, 0.3, 0.4),
    "refund_fee": (0.3, 6.0, 0.5),
}


def is_payouts(evidence: Evidence) -> bool:
    """Whether a row is a payout: its number or day, totals, and nothing of any one order."""
    full = assign(evidence.columns)
    roles = assign(evidence.columns, without=_NOT_HERE)
    if any(full.one(role) for role in ("order", "title", "sku", "unit_price", "quantity", "shipped")):
        return False
    if _net(evidence, roles) is None:
        return False
    payout = roles.one("payout")
    if payout is not None and not payout.unique:
        return False
    # A text that is the same in all rows, such as the bank account's number, is about none of them.
    texts = [
        column
        for column in evidence.columns
        if column.holds in {Holds.TEXT, Holds.WORDS} and (len(column.values) > 1 or len(column.cells) == 1)
    ]
    return all(roles.role(column.heading) in _BESIDE for column in texts)


def propose_payouts(evidence: Evidence, draft: Draft, digits: int) -> str:
    """Put down the keys of a file of payouts; return what a row is, in words."""
    roles = assign(evidence.columns, without=_NOT_HERE)
    draft.sure("file.row", "payout", "no column is about an order, and each row has a payout of its own")
    date = next(filter(None, map(roles.one, ("paid_out", "paid", "date", "settled"))), None)
    if date is None:
        date = next((column for column in evidence.columns if column.holds is Holds.DAYS), None)
    if date is None:
        draft.missing("columns.date", "no column holds days")
    else:
        draft.put("columns.date", date.heading, _certainty(roles.scores.get(date.heading, 0.0)), "its heading")
    for role, key in (("settled", "settled"), ("payout", "payout")):
        column = roles.one(role)
        if column is not None and column is not date and column.filled:
            draft.put(f"columns.{key}", column.heading, _certainty(roles.scores[column.heading]), "its heading")
    net = _net(evidence, roles)
    assert net is not None  # noqa: S101  # else these are no payouts
    score = roles.scores.get(net.heading)
    because = "what the other columns add up to" if score is None else "its heading"
    draft.put("columns.net", net.heading, _certainty(score or 0.0), because)
    _parts(evidence, roles, net, draft, 10**digits)
    draft.notes.append("Only payouts are booked from this file; sales and fees are, from the channel's orders.")
    propose_statuses(roles, draft)
    currency = roles.one("currency")
    if currency is not None and currency.filled:
        draft.sure("columns.currency", currency.heading, "its heading")
    return "one row a payout"


def _certainty(score: float) -> Certainty:
    return Certainty.SURE if score >= 0.9 else Certainty.GUESSED


def _parts(evidence: Evidence, roles: Assigned, net: Column, draft: Draft, scale: int) -> None:
    """Put down what the payouts are made of, if that adds up."""
    gross = roles.one("gross") or roles.one("price")
    if gross is None:
        return
    totals = {column.heading: sum(_units(column, scale)) for column in evidence.columns if column.numbers}
    solutions = _sums(evidence, roles, net, gross, scale)
    if not solutions:
        draft.notes.append(f'No sum of the other columns makes "{net.heading}", so its parts are left out.')
        return
    draft.sure("columns.gross", gross.heading, f'with the other columns it makes "{net.heading}"')
    if failing := solutions[0].failing:
        draft.notes.append(
            f'"{net.heading}" is not the sum of the other columns in {len(failing)} of {len(net.numbers)} rows, '
            "which are refused.",
        )
    for heading, sign in solutions[0].signs.items():
        if heading != gross.heading:
            _part(heading, roles.role(heading), sign, draft, positive=totals[heading] > 0)


def _net(evidence: Evidence, roles: Assigned) -> Column | None:
    """Return what was paid out, by its heading or as what the other amounts add up to; None when nothing is."""
    known = roles.one("net") or roles.one("amount")
    gross = roles.one("gross") or roles.one("price")
    if known is not None or gross is None:
        return known
    for column in evidence.columns:
        is_amount = column.holds in {Holds.AMOUNTS, Holds.WHOLE}
        if is_amount and not roles.role(column.heading) and len(column.numbers) > 1:
            solutions = _sums(evidence, roles, column, gross, _FINEST)
            if solutions and not solutions[0].failing and len(solutions[0].signs) > 1:
                return column
    return None


def _sums(evidence: Evidence, roles: Assigned, net: Column, gross: Column, scale: int) -> list[Solution]:
    """Return the ways in which the other columns make what was paid out."""
    vectors = {
        column.heading: _units(column, scale)
        for column in evidence.columns
        if column is not net
        and column.holds in {Holds.AMOUNTS, Holds.WHOLE}
        and roles.role(column.heading) in {*_SIGNS, "price"}
    }
    if gross.heading not in vectors:
        return []
    totals = {heading: sum(amounts) for heading, amounts in vectors.items()}

    def penalty(heading: str, sign: int) -> float:
        raises, lowers, absent = _SIGNS.get(roles.role(heading), (2.0, 2.0, 1.0))
        if not sign:
            return absent
        return raises if sign * totals[heading] > 0 else lowers

    return solve(_units(net, scale), vectors, penalty, fixed=(gross.heading,))


def _units(column: Column, scale: int) -> tuple[int, ...]:
    return tuple(int((number or 0) * scale) for number in column.numbers)


def _part(heading: str, role: str, sign: int, draft: Draft, *, positive: bool) -> None:
    """Put down one of the amounts a payout is made of."""
    if role in {"postage", "tax"}:
        draft.sure(f"columns.{role}", heading, "part of the sum")
        if role == "tax":
            draft.sure("tax.remitted", value=False, because="the payouts have it in them")
    elif role in {"refund", "refund_tax", "refund_fee"}:
        key = {"refund": "amount", "refund_tax": "tax", "refund_fee": "fee"}[role]
        draft.sure(f"refund.{key}", heading, "part of the sum")
        draft.sure("refund.sign", "positive" if positive else "negative", "the sign of its amounts")
    else:
        draft.fee(
            heading,
            slug(heading),
            role={"ads": "ads", "label": "postage"}.get(role, "fees"),
            sign="positive" if sign < 0 else "negative",
            certainty=Certainty.SURE,
            because="taken off in the sum",
        )
