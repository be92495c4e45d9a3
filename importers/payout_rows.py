"""From rows to payouts, where a row is a payout with its totals.

The sales it is made of come from other files, so only the money on its way to the bank is booked; the totals are
checked against it and kept with it.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from functools import partial
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.importers.cells import CellReader, missing
from millilot.importers.event_rules import EventRule, Kind
from millilot.importers.events import Dates, Group, LeftOut, Movement, NothingToBookError, fees_from
from millilot.importers.standing import is_in_currency, require_currency, require_standing
from millilot.importers.table import RowError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from decimal import Decimal

    from millilot.importers.profile import Profile
    from millilot.importers.table import Row

_PAYOUT = EventRule(Kind.PAYOUT)


def read_payout_rows(rows: Iterable[Row], profile: Profile) -> Iterator[Group | LeftOut]:
    """Read the payouts in the order of the file."""
    cells = CellReader(profile)
    equal: Counter[str] = Counter()
    for row in rows:
        try:
            payout = _read(row, profile, cells, equal)
        except NothingToBookError as nothing:
            yield LeftOut("", {row.number: str(nothing)}, refused=False, net=_money(row, profile, cells))
        except RowError as error:
            yield LeftOut("", {row.number: error.reason}, refused=True, net=_money(row, profile, cells))
        else:
            yield Group("", (row.number,), (payout,))


def _read(row: Row, profile: Profile, cells: CellReader, equal: Counter[str]) -> Movement:
    columns = profile.columns
    if row.problem:
        raise RowError(row.number, row.problem)
    require_currency(row, profile)
    require_standing(row, row[columns.status], profile, lambda: "")
    date = cells.date(row, columns.date)
    if date is None:
        raise missing(row, columns.date, "a date")
    net = cells.amount(row, columns.net)
    if net is None:
        raise missing(row, columns.net, "an amount")
    made_of = _made_of(row, profile, cells)
    if made_of and sum(made_of.values(), ZERO) != net:
        reason = f"expected {sum(made_of.values(), ZERO)} from the other columns, found {net}"
        raise RowError(row.number, f"column '{columns.net}': {reason}")
    if not net:
        raise NothingToBookError("no money moved")
    number = row[columns.payout]
    if not number:
        digest = hashlib.sha256(f"{date}\n{net:f}".encode()).hexdigest()[:12]
        equal[digest] += 1
        number = digest if equal[digest] == 1 else f"{digest}/{equal[digest]}"
    return Movement(
        number=number,
        order="",
        date=date,
        dates=Dates(
            cells.date(row, columns.ordered), cells.date(row, columns.settled), cells.date(row, columns.paid_out),
        ),
        rule=_PAYOUT,
        amount=-net,
        payout=row[columns.payout],
        made_of=made_of,
    )


def _made_of(row: Row, profile: Profile, cells: CellReader) -> dict[str, Decimal]:
    """Return what the payout is made of, what was taken off below 0; empty when the file does not say."""
    columns, refund = profile.columns, profile.refund
    if not columns.gross:
        return {}

    def amount(heading: str) -> Decimal:
        return cells.amount(row, heading) or ZERO

    fees = fees_from(profile.fees, partial(cells.amount, row))
    parts = {
        "gross": amount(columns.gross),
        "postage": amount(columns.postage),
        "tax": ZERO if profile.tax_remitted else amount(columns.tax),
        "fees": -sum((fee.amount for fee in fees), ZERO),
    }
    if refund is not None:
        parts["fees"] += amount(refund.fee) * refund.fee_sign
        parts["refunds"] = -(amount(refund.amount) + amount(refund.tax)) * refund.sign
    return {name: part for name, part in parts.items() if part}


def _money(row: Row, profile: Profile, cells: CellReader) -> Decimal | None:
    try:
        readable = not row.problem and is_in_currency(row, profile)
        net = cells.amount(row, profile.columns.net) if readable else None
    except RowError:
        return None
    return None if net is None else -net
