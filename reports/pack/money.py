"""Money of the channels: from gross to the bank, their payouts, and their own figure of the year."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.channels import read_channels
from millilot.reports.channel import SIGNS, statement
from millilot.reports.pack.table import Column, Holds, Row, Table, Term, minus, plus
from millilot.reports.payouts import settle, title
from millilot.reports.tie_out import CurrencyError, tie_out

if TYPE_CHECKING:
    from collections.abc import Iterator
    from decimal import Decimal

    from millilot.ledger.channels import Channel
    from millilot.reports.pack.span import Span
    from millilot.reports.tie_out import Candidate, TieOut


#: The lines of a channel's range, in words; the first ones lead to what is held.
_CHANNEL_LINES = {
    "opening": "Held at the start",
    "gross": "Gross receipts",
    "tax_collected": "Sales tax collected",
    "tax_remitted": "less sales tax handed on",
    "refunds": "less refunds",
    "fees": "less fees",
    "ads": "less ads",
    "labels": "less labels",
    "exchange": "less exchange",
    "compensation": "Compensation",
    "other": "Other",
    "paid_out": "less paid out",
    "held": "Held at the end",
    "reserved": "of which held back",
    "in_transit": "Paid out and not in the bank yet",
    "difference": "Difference of payouts",
}


def bank_tie_out(span: Span) -> Table:
    """Return each channel's range from what buyers paid to what was paid out and what is still held."""
    channels = list(read_channels(span.closing).values())
    years = {each.account: statement(span.closing, each.account, span.start, span.end).year for each in channels}
    rows = []
    for line, words in _CHANNEL_LINES.items():
        amounts = {account: _exactly(getattr(of_channel, line), span) for account, of_channel in years.items()}
        total = sum(amounts.values(), _exactly(ZERO, span))
        of = tuple(Term(sign, name) for name, sign in SIGNS.items()) if line == "held" else ()
        rows.append(Row({"line": line, "caption": words, **amounts, "total": total}, line, of))
    return Table(
        "Tie-out to bank",
        f"What the channels took, paid out and hold, {span.name}",
        (
            Column("caption", "Line"),
            *(Column(each.account, each.name, Holds.MONEY) for each in channels),
            Column("total", "Total", Holds.MONEY, of=plus(*years)),
            Column("line", "Its name in Millilot"),
        ),
        tuple(rows) if channels else (),
        "A difference is what of the payouts is not explained, or overdue at the bank.",
    )


def _exactly(amount: Decimal, span: Span) -> Decimal:
    """Return an amount with all the digits of its minor unit."""
    return amount.quantize(span.unit)


def payouts(span: Span) -> Table:
    """Return the payouts that left a channel in the range, and earlier ones that reached the bank in it."""
    found = [
        (settled.payout, title(settled))
        for settlement in settle(span.closing)
        for settled in settlement.payouts
        if settled.payout.date >= span.start
        or settled.payout.bank_date is None
        or settled.payout.bank_date >= span.start
    ]
    found.sort(key=lambda each: (each[0].date, each[0].channel))
    rows = [
        Row(
            {
                "channel": payout.channel,
                "payout": name,
                "date": payout.date,
                "amount": _exactly(payout.amount, span),
                "orders": len(payout.orders),
                "state": payout.state.value,
                "bank_date": payout.bank_date,
                "difference": _exactly(payout.difference, span),
            },
        )
        for payout, name in found
    ]
    return Table(
        "Payouts",
        f"Payouts, {span.name}",
        (
            Column("channel", "Channel"),
            Column("payout", "Payout"),
            Column("date", "Left on", Holds.DATE),
            Column("amount", "Amount", Holds.MONEY, total=True),
            Column("orders", "Orders", Holds.COUNT),
            Column("state", "State"),
            Column("bank_date", "In the bank on", Holds.DATE),
            Column("difference", "Difference", Holds.MONEY, total=True),
        ),
        tuple(rows),
        "The difference is what reached the bank less what the events it paid come to; what is under way is in "
        "it. Explained means that named refunds, labels or money held back account for it.",
    )


#: The lines of the bridge from the books to a form, in words.
_BRIDGE = {
    "gross_receipts": "Books: sales and postage charged",
    "tax_collected": "Sales tax collected",
    "discounts": "Discounts paid by the seller",
    "cancelled": "Cancelled orders whose payment was taken",
    "claims_paid": "Claims paid here and not poured yet",
    "claims_poured": "Claims of earlier years poured now",
    "private": "Private items and transfers",
    "overpaid": "Rounded up by buyers, tips",
    "unsorted": "Unsorted receipts",
    "other_side": "Orders on the other side of the year's ends",
    "currency": "Conversion of the form's currency",
}


def form_tie_out(span: Span) -> Table:
    """Return for each channel the bridge from the books to its form of the year."""
    rows = [row for channel in read_channels(span.all).values() for row in _bridge(span, channel)]
    return Table(
        "Tie-out to forms",
        f"The channels' own figures of {span.number} beside the books",
        (
            Column("channel", "Channel"),
            Column("line", "Line"),
            Column("amount", "Amount", Holds.MONEY),
            Column("remark", "Remark"),
        ),
        tuple(rows),
        "A channel's form counts payments before fees, refunds, labels and disputes, so these are no lines. It is "
        "of the calendar year, whatever the range of the other sheets.",
    )


def _bridge(span: Span, channel: Channel) -> Iterator[Row]:
    try:
        report = tie_out(span.all, channel.account, span.number)
    except CurrencyError as error:
        yield Row({"channel": channel.name, "line": "Not compared", "remark": str(error)})
        return
    lines = asdict(report.chosen.bridge)
    shown = [name for name in _BRIDGE if lines[name] or name == "gross_receipts"]

    def row(
        line: str, words: str, amount: Decimal | None, of: tuple[Term, ...] = (), remark: str | None = None,
    ) -> Row:
        terms = tuple(Term(sign, f"{channel.account} {name}") for sign, name in of)
        whole = None if amount is None else _exactly(amount, span)
        cells = {"channel": channel.name, "line": words, "amount": whole, "remark": remark}
        return Row(cells, f"{channel.account} {line}", terms)

    for name in shown:
        yield row(name, _BRIDGE[name], lines[name])
    yield row("expected", "The form should say", report.chosen.expected, plus(*shown), _way(report.chosen))
    if report.form is None:
        yield Row({"channel": channel.name, "line": "The form says", "remark": "The books do not say"})
        return
    expected, difference = report.chosen.expected, report.chosen.difference
    form = None if difference is None else expected + difference
    yield row("form", "The form says", form)
    of = (*plus("form"), *minus("expected"))
    yield row("difference", "Difference", difference, of, _verdict(report))


def _way(candidate: Candidate) -> str:
    shift = {0: "", -1: " a day earlier", 1: " a day later"}[candidate.shift]
    return f"counted by {candidate.basis.value} date{shift}, tax {'in' if candidate.tax else 'not in'}"


def _verdict(report: TieOut) -> str:
    ways = len(report.fitting)
    if ways > 1:
        return f"{ways} ways of counting meet it to the cent"
    return "meets it to the cent" if ways else "no way of counting meets it"
