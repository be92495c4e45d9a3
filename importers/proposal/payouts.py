"""A profile for files with a row for each payout."""

from __future__ import annotations

from dataclasses import dataclass

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
#: What is taken off a payout, and under which role the books have it if not as a fee.
_TAKEN = frozenset({"fee", "ads", "label", "refund"})
_BOOKED_AS = {"ads": "ads", "label": "postage"}
#: A sum that costs so much has fees or refunds that raise what is paid out, or a gross that lowers it.
_CONTRARY = 6.0
#: How little a role agrees with being what was paid out, and with being what that is made from.
_DOUBTS = {"net": (0.0, 0.5), "amount": (0.2, 0.5), "gross": (1.0, 0.0), "price": (1.0, 0.0), "": (0.5, 0.5)}


@dataclass(frozen=True, slots=True)
class _Made:
    """What was paid out, and how the other amounts make it.

    Attributes:
        net: the column of what was paid out.
        gross: what it is made from, None where no sum holds.
        solution: the sum.
    """

    net: Column
    gross: Column | None = None
    solution: Solution | None = None


def is_payouts(evidence: Evidence) -> bool:
    """Whether a row is a payout: its number or day, totals, and nothing of any one order."""
    full = assign(evidence.columns)
    roles = assign(evidence.columns, without=_NOT_HERE)
    if any(full.one(role) for role in ("order", "title", "sku", "unit_price", "quantity", "shipped")):
        return False
    made = _made(evidence, roles)
    if made is None:
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
    number = _number(evidence, roles) if made.gross is not None and _is_total(made.gross, roles) else None
    return all(roles.role(column.heading) in _BESIDE or column is number for column in texts)


def _is_total(gross: Column, roles: Assigned) -> bool:
    """Whether an amount is not called the price of something, and no postage stands beside it."""
    return roles.role(gross.heading) != "price" and roles.one("postage") is None


def _number(evidence: Evidence, roles: Assigned) -> Column | None:
    """Return the column of the payouts' numbers: by its heading, or the first with another number in each row."""
    return roles.one("payout") or next(
        (
            column
            for column in evidence.columns
            if column.holds in {Holds.TEXT, Holds.WORDS, Holds.WHOLE}
            and roles.role(column.heading) in {"", "event", "line"}
            and column.unique
            and all(any(map(str.isdigit, cell)) for cell in column.cells)
        ),
        None,
    )


def propose_payouts(evidence: Evidence, draft: Draft) -> str:
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
    settled = roles.one("settled")
    if settled is not None and settled is not date and settled.filled:
        draft.put("columns.settled", settled.heading, _certainty(roles.scores[settled.heading]), "its heading")
    made = _made(evidence, roles)
    assert made is not None  # noqa: S101  # else these are no payouts
    number = _number(evidence, roles)
    if number is not None and number is not date and number is not made.net and number.filled:
        named = roles.role(number.heading) == "payout"
        certainty = _certainty(roles.scores[number.heading] if named else 0.0)
        because = "its heading" if named else "each row has another"
        draft.put("columns.payout", number.heading, certainty, because)
    _net(made, roles, draft)
    _parts(evidence, roles, made, draft)
    draft.notes.append("Only payouts are booked from this file; sales and fees are, from the channel's orders.")
    propose_statuses(roles, draft, of_payouts=True)
    currency = roles.one("currency")
    if currency is not None and currency.filled:
        draft.sure("columns.currency", currency.heading, "its heading")
    return "one row a payout"


def _certainty(score: float) -> Certainty:
    return Certainty.SURE if score >= 0.9 else Certainty.GUESSED


def _net(made: _Made, roles: Assigned, draft: Draft) -> None:
    """Put down what was paid out; where another heading says so of its amounts, the sum has proved it wrong."""
    called = roles.one("net")
    if roles.role(made.net.heading) in {"net", "amount"}:
        score = roles.scores[made.net.heading]
        draft.put("columns.net", made.net.heading, _certainty(score), "its heading")
        return
    because = "what the other columns add up to"
    if called is not None:
        because += f', "{called.heading}" among them'
    draft.guess("columns.net", made.net.heading, because)


def _parts(evidence: Evidence, roles: Assigned, made: _Made, draft: Draft) -> None:
    """Put down what the payouts are made of, if that adds up."""
    net = made.net
    if made.gross is None or made.solution is None:
        if roles.one("gross") or roles.one("price"):
            draft.notes.append(f'No sum of the other columns makes "{net.heading}", so its parts are left out.')
        return
    draft.sure("columns.gross", made.gross.heading, f'with the other columns it makes "{net.heading}"')
    if failing := made.solution.failing:
        draft.notes.append(
            f'"{net.heading}" is not the sum of the other columns in {len(failing)} of {len(net.numbers)} rows, '
            "which are refused.",
        )
    for heading, sign in made.solution.signs.items():
        if heading != made.gross.heading:
            positive = sum(_units(evidence.of(heading))) > 0
            _part(heading, roles.role(heading), sign, draft, positive=positive)
    _empty_parts(evidence, roles, made.solution, draft)


def _empty_parts(evidence: Evidence, roles: Assigned, solution: Solution, draft: Draft) -> None:
    """Put down the columns of fees and refunds that are 0 or empty here: a later payout may have some."""
    taken = [sign for heading, sign in solution.signs.items() if roles.role(heading) in _TAKEN]
    sign = "negative" if taken and min(taken) > 0 else "positive"
    because = "its heading; it is empty or 0 in every row"
    for column in evidence.columns:
        role = roles.role(column.heading)
        if role not in _TAKEN or not column.is_zero:
            continue
        if role == "refund":
            draft.guess("refund.amount", column.heading, because)
            draft.guess("refund.sign", sign, "the sign of the fees")
        else:
            draft.fee(
                column.heading,
                slug(column.heading),
                role=_BOOKED_AS.get(role, "fees"),
                sign=sign,
                certainty=Certainty.GUESSED,
                because=because,
            )


def _made(evidence: Evidence, roles: Assigned) -> _Made | None:
    """Return what was paid out: what the other amounts add up to, else by its heading; None when nothing is.

    What the channel took tells the two ends of the sum apart: it is taken off in what was paid out.
    """
    ends = [
        column
        for column in evidence.columns
        if column.holds in {Holds.AMOUNTS, Holds.WHOLE} and roles.role(column.heading) in _DOUBTS
    ]
    known = roles.one("net") or roles.one("amount")
    found: list[tuple[float, _Made]] = []
    for net in ends:
        for gross in ends:
            named = net is known and roles.role(gross.heading) in {"gross", "price"}
            if net is gross or not (named or len(net.numbers) > 1):
                continue
            for solution in _sums(evidence, roles, net, gross)[:1]:
                proved = not solution.failing and len(solution.signs) > 1 and solution.penalty < _CONTRARY
                if named or proved:
                    of_net, of_gross = _DOUBTS[roles.role(net.heading)][0], _DOUBTS[roles.role(gross.heading)][1]
                    found.append((solution.penalty + of_net + of_gross, _Made(net, gross, solution)))
    if found:
        return min(found, key=lambda pair: pair[0])[1]
    return _Made(known) if known is not None else None


def _sums(evidence: Evidence, roles: Assigned, net: Column, gross: Column) -> list[Solution]:
    """Return the ways in which the other columns make what was paid out."""
    vectors = {
        column.heading: _units(column)
        for column in evidence.columns
        if column is not net
        and column.holds in {Holds.AMOUNTS, Holds.WHOLE}
        and (column is gross or roles.role(column.heading) in {*_SIGNS, "price"})
    }
    totals = {heading: sum(amounts) for heading, amounts in vectors.items()}

    def penalty(heading: str, sign: int) -> float:
        raises, lowers, absent = _SIGNS.get(roles.role(heading), (2.0, 2.0, 1.0))
        if not sign:
            return absent
        return raises if sign * totals[heading] > 0 else lowers

    return solve(_units(net), vectors, penalty, fixed=(gross.heading,))


def _units(column: Column) -> tuple[int, ...]:
    return tuple(int((number or 0) * _FINEST) for number in column.numbers)


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
            role=_BOOKED_AS.get(role, "fees"),
            sign="positive" if sign < 0 else "negative",
            certainty=Certainty.SURE,
            because="taken off in the sum",
        )
