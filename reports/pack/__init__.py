"""The pack: a year's records in one folder, for whoever prepares the return.

A workbook, the same sheets as CSV files, a page to print, and a manifest. The same books give the same files,
byte for byte, as long as the versions named in the manifest are the same.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from millilot.reports.pack.form import cut_off_list, form_sheet, threshold_list
from millilot.reports.pack.goods import (
    bottle_millilitres,
    bottle_results,
    closing_stock,
    cost_of_goods,
    owned_before,
    supplies_on_hand,
)
from millilot.reports.pack.manifest import NAME, manifest
from millilot.reports.pack.method import exception_list, method
from millilot.reports.pack.money import bank_tie_out, form_tie_out, payouts
from millilot.reports.pack.page import page
from millilot.reports.pack.sales import fees_by_kind, sales_by_channel
from millilot.reports.pack.spending import purchases, supplies_and_expenses
from millilot.reports.pack.statement import summary
from millilot.reports.pack.unsold import losses, swaps_and_gifts
from millilot.reports.pack.workbook import workbook
from millilot.reports.tables import to_csv
from millilot.reports.year_statement import CAUTION

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from millilot.reports.forms import Form
    from millilot.reports.pack.span import Span
    from millilot.reports.pack.table import Table
    from millilot.reports.thresholds import Threshold


WORKBOOK = "records.xlsx"
PAGE = "summary.html"


@dataclass(frozen=True, slots=True)
class Outside:
    """What a pack needs besides the books, all of it data.

    Attributes:
        forms: year-end forms, one sheet each.
        choices: options to take where a form leaves a choice open, by choice.
        thresholds: what is reported or taxed from some amount on.
    """

    forms: Sequence[Form] = ()
    choices: Mapping[str, str] = field(default_factory=dict)
    thresholds: Sequence[Threshold] = ()


def tables(span: Span, outside: Outside) -> list[Table]:
    """Return the sheets of a pack, in their order.

    Args:
        span: the books and the range.
        outside: forms and thresholds.

    Raises:
        PeriodError: the range lies in no one year of a form.
    """
    return [
        summary(span),
        *(form_sheet(span, form, outside.choices) for form in outside.forms),
        threshold_list(span, outside.thresholds),
        cut_off_list(span),
        sales_by_channel(span),
        fees_by_kind(span),
        cost_of_goods(span),
        closing_stock(span),
        supplies_on_hand(span),
        bottle_results(span),
        bottle_millilitres(span),
        purchases(span),
        supplies_and_expenses(span),
        losses(span),
        swaps_and_gifts(span),
        owned_before(span),
        payouts(span),
        bank_tie_out(span),
        form_tie_out(span),
        exception_list(span),
        method(span),
    ]


def pack(span: Span, outside: Outside) -> dict[str, bytes]:
    """Return the files of a pack by name; see `tables` for what they are made from."""
    sheets = tables(span, outside)
    subtitle = f"{span.options_map['title']}: {span.start} to {span.end}, {span.currency}"
    files = {
        WORKBOOK: workbook(sheets, subtitle, CAUTION, span.currency, span.end),
        PAGE: page(span, sheets, subtitle, CAUTION).encode(),
    }
    for table in sheets:
        names = [column.name for column in table.columns]
        rows = [{name: row.cells.get(name) for name in names} for row in table.rows]
        files[table.file] = to_csv(rows, names).encode()
    return {**files, NAME: manifest(span, files)}
