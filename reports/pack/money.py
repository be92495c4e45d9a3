"""Money of the channels: from gross to the bank, their payouts, and their own figure of the year."""

from __future__ import annotations

from dataclasses import asdict
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.ledger.channels import read_channels
from millilot.reports.channel import COLUMNS, SIGNS, statement
from millilot.reports.pack.table import Column, Kind, Row, Table, Term, minus, plus
from millilot.reports.payouts import settle, title
from millilot.reports.tie_out import CurrencyError, tie_out

if TYPE_CHECKING:
    from collections.abc import Iterator

    from millilot.ledger.channels import Channel
    from millilot.reports.pack.span import Span
    from millilot.reports.tie_out import Candidate, TieOut


def bank_tie_out(span: Span) -> Table:
    """Return each channel's range from what buyers paid to what was paid out and what is still held."""
    rows = []
    for channel in read_channels(span.closing).values():
        figures = asdict(statement(span.closing, channel.account, span.start, span.end).year)
        rows.append(Row({"channel": channel.name, **{name: _exactly(figures[name], span) for name in COLUMNS}}))
    return Table(
        "Bank tie-out",
        f"What the channels took, paid out and hold, {span.name}",
        (Column("channel", "Channel"), *map(_channel_column, COLUMNS)),
        tuple(rows),
        "Held is the balance on the last day, reserve included; what is in transit had not reached the bank "
        "then. A difference is what of the payouts is neither explained nor on its way.",
    )


def _exactly(figure: Decimal | int, span: Span) -> Decimal | int:
    """Return an amount with all the digits of its minor unit."""
    return figure.quantize(span.unit) if isinstance(figure, Decimal) else figure


def _channel_column(name: str) -> Column:
    heading = name.replace("_", " ").capitalize()
    if name == "transactions":
        return Column(name, heading, Kind.COUNT, total=True)
    of = tuple(Term(sign, line) for line, sign in SIGNS.items()) if name == "held" else ()
    less = "less " if SIGNS.get(name) == -1 else ""
    return Column(name, f"{less}{heading.lower() if less else heading}", Kind.MONEY, total=True, of=of)


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
            Column("date", "Left on", Kind.DATE),
            Column("amount", "Amount", Kind.MONEY, total=True),
            Column("orders", "Orders", Kind.COUNT),
            Column("state", "State"),
            Column("bank_date", "In the bank on", Kind.DATE),
            Column("difference", "Difference", Kind.MONEY, total=True),
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
        "Form tie-out",
        f"The channels' own figures of {span.number} beside the books",
        (
            Column("channel", "Channel"),
            Column("line", "Line"),
            Column("amount", "Amount", Kind.MONEY),
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
