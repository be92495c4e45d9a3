"""What `millilot channel --form` prints: the bridge from the books to a channel's form."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from millilot.reports.commands.options import Format
from millilot.reports.commands.payouts import paragraph
from millilot.reports.tables import WIDTH, Column, to_csv, to_json, to_table
from millilot.reports.tie_out import CurrencyError, is_stated, tie_out, verdict, way
from millilot.reports.year_statement import CAUTION

if TYPE_CHECKING:
    from collections.abc import Iterator

    from millilot.ledger.records import Books
    from millilot.reports.tie_out import TieOut


_TITLES = {
    "gross_receipts": "Books: gross receipts",
    "tax_collected": "Sales tax collected",
    "discounts": "Discounts paid by the seller",
    "cancelled": "Cancelled orders whose payment was taken",
    "claims_paid": "Claims paid here and not poured yet",
    "claims_poured": "Earlier years' claims poured now",
    "private": "Private items and transfers",
    "overpaid": "Rounded up by buyers, tips",
    "unsorted": "Unsorted receipts",
    "other_side": "Orders on the other side of the year's ends",
    "currency": "Conversion of the form's currency",
}
_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


def show_form(books: Books, name: str, year: int, style: str, *, wide: bool) -> None:
    """Print a channel's form beside the books.

    Raises:
        UnknownChannelError: there is no such channel.
        click.ClickException: the form's currency cannot be compared.
    """
    try:
        report = tie_out(books, name, year)
    except CurrencyError as error:
        raise click.ClickException(str(error)) from None
    match style:
        case Format.JSON:
            click.echo(to_json(_object(report)), nl=False)
        case Format.CSV:
            row = {key: value for key, value in _object(report).items() if not isinstance(value, list)}
            click.echo(to_csv([row], list(row)), nl=False)
        case _:
            click.echo("\n".join(_page(report, books.currency, wide=wide)))


def _object(report: TieOut) -> dict[str, Any]:
    chosen = report.chosen
    return {
        "channel": report.channel.name,
        "year": report.year,
        "form": None if report.form is None else report.form.gross,
        **asdict(chosen.bridge),
        "difference": chosen.difference,
        "basis": chosen.basis.value,
        "days_shifted": chosen.shift,
        "tax": "in" if chosen.tax else "out",
        "verdict": verdict(report),
        "payments": report.payments,
        "form_payments": None if report.form is None else report.form.payments,
        "candidates": [
            {
                "basis": candidate.basis.value,
                "days_shifted": candidate.shift,
                "tax": "in" if candidate.tax else "out",
                "expected": candidate.expected,
                "difference": candidate.difference,
            }
            for candidate in report.candidates
        ],
        "untried": list(report.untried),
        "orders": [crossing._asdict() for crossing in chosen.orders],
        "months": [month._asdict() for month in report.months],
    }


def _page(report: TieOut, currency: str, *, wide: bool) -> Iterator[str]:
    chosen = report.chosen
    lines = asdict(chosen.bridge)
    rows: list[tuple[object, ...]] = [
        (title, lines[name]) for name, title in _TITLES.items() if wide or lines[name] or name == "gross_receipts"
    ]
    rows.append(("The form should say", chosen.expected))
    if report.form is not None:
        rows += [("The form says", report.form.gross), ("Difference", chosen.difference)]
    heading = f"{report.channel.name} {report.year}: {way(chosen)}"
    yield to_table((Column(heading, right=False), Column(currency)), rows)
    yield from paragraph(_sentence(report, currency))
    yield from (line for reason in report.untried for line in paragraph(f"{reason}."))
    yield ""
    columns = (Column("Every way", right=False), Column("The form should say"), Column("Difference"))
    yield to_table(
        columns, [(way(candidate), candidate.expected, candidate.difference) for candidate in report.candidates],
    )
    if chosen.orders:
        yield "On the other side of the year's ends by this way\n"
        yield to_table(
            (
                Column("Order", right=False, flexible=True),
                Column("In the books", right=False),
                Column("On the form", right=False),
                Column("Amount"),
            ),
            [(each.order, each.booked, each.counted or "no day yet", each.amount) for each in chosen.orders],
        )
    yield _months(report)
    yield CAUTION


def _months(report: TieOut) -> str:
    told = any(month.form is not None for month in report.months)
    columns = [Column("Month", right=False), Column("Payments"), Column("The form should say")]
    rows: list[list[object]] = [
        [_MONTHS[month.month - 1], month.payments, month.expected] for month in report.months
    ]
    foot: list[object] = ["Total", report.payments, report.chosen.expected - report.chosen.bridge.currency]
    if told:
        columns += [Column("The form says"), Column("Difference")]
        for row, month in zip(rows, report.months, strict=True):
            row += [month.form, None if month.form is None else month.form - month.expected]
        foot += [None, None]
    text = to_table(columns, rows, foot, width=WIDTH)
    counted = report.form.payments if report.form else None
    if counted is not None and counted != report.payments:
        text += f"\nPayments: {counted} on the form, {report.payments} in the books.\n"
    return text


def _sentence(report: TieOut, currency: str) -> str:
    """Return what came of the comparison as a sentence."""
    fitting = report.fitting
    if report.form is None:
        return (
            f"The books do not say what the form says. Write its figure so: {report.year}-12-31 custom "
            f'"annual-gross" {report.channel.account} {report.year} 1234.56 {currency}'
        )
    if not fitting:
        return f"No way meets the form to the cent. The nearest is {report.chosen.difference} off."
    if verdict(report) == "fits":
        text = f"It fits to the cent: {way(report.chosen)}"
        if not is_stated(report.chosen, report.form):
            return f"{text}. The books say it counts otherwise."
        others = [candidate for candidate in fitting if candidate is not report.chosen]
        also = f"; so do, unlike what the books say, {' and '.join(map(way, others))}" if others else ""
        return f"{text}{also}."
    same = len({candidate.orders for candidate in fitting}) == 1
    harmless = " They count the same orders, so it makes no difference in this year." if same else ""
    return (
        f"Ambiguous: {len(fitting)} ways meet the form to the cent, {' and '.join(map(way, fitting))}.{harmless} "
        f"Write basis: and tax: below the form to say which it is."
    )
