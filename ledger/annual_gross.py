"""What a channel's year form says, as the owner notes it.

It is held against the books::

2026-12-31 custom "annual-gross" Assets:Marketplace:Lantern 2026 5321.40 USD
basis: "settled"
tax: "out"
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple

from beancount.core import account as account_names
from beancount.core.amount import Amount

from millilot.ledger.money import number_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from beancount.core.data import Custom

#: The months as the metadata names them.
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

_YEARS = range(datetime.MINYEAR, datetime.MAXYEAR + 1)


class Basis(StrEnum):
    """Which of an order's dates says in whose year a channel's form counts it."""

    ORDER = "order"
    SETTLED = "settled"
    PAID_OUT = "paid-out"


class AnnualGross(NamedTuple):
    """What a channel's form says it took in a year.

    Attributes:
        day: the day it is written on.
        account: the channel's account.
        year: the year of the form.
        gross: the form's figure, not below 0.
        currency: of the form.
        basis: the date it counts by, None when the owner does not say.
        tax: whether sales tax is in it, None when the owner does not say.
        payments: how many payments the form counts, None when the owner does not say.
        months: the form's figure of each month that is told, by number.
        rate: what one unit of the form's currency is in that of the books, None when the owner does not say.
        entry: the directive.
    """

    day: datetime.date
    account: str
    year: int
    gross: Decimal
    currency: str
    basis: Basis | None
    tax: bool | None
    payments: int | None
    months: Mapping[int, Decimal]
    rate: Decimal | None
    entry: Custom


def read_annual_gross(entry: Custom) -> AnnualGross | str:
    """Return what a year form says, or what is wrong with it."""
    expected = f'{entry.date} custom "annual-gross" Assets:Marketplace:Lantern {entry.date.year} 5321.40 USD'
    match [(value.value, value.dtype) for value in entry.values or []]:
        case [
            (str(account), dtype),
            (Decimal() as year, _),
            (Amount(number=Decimal() as gross, currency=str(currency)), _),
        ] if dtype == account_names.TYPE and year in _YEARS and gross >= 0:
            about = _about_form(entry.meta)
            if isinstance(about, str):
                return about
            return AnnualGross(entry.date, account, int(year), gross, currency, *about, entry)
    return (
        f"A year form names the channel's account, the year and what the form says, not below 0 (a year and an "
        f"amount with a minus would be read as one amount); expected: {expected}"
    )


_AboutForm = tuple["Basis | None", "bool | None", "int | None", "dict[int, Decimal]", "Decimal | None"]


def _about_form(meta: Mapping[str, Any]) -> _AboutForm | str:
    """Return what the metadata of a year form says of it, or what is wrong with it."""
    basis, tax, payments = meta.get("basis"), meta.get("tax"), meta.get("payments")
    if basis is not None and basis not in set(Basis):
        return f'basis: is {", ".join(f"{each.value!r}" for each in Basis)}, in quotes, not {basis!r}.'
    if tax not in {None, "in", "out"}:
        return f'tax: is "in" or "out", in quotes, not {tax!r}.'
    if payments is not None and not (isinstance(payments, Decimal) and payments >= 0 and payments % 1 == 0):
        return f"payments: is a whole number not below 0 and without quotes, not {payments!r}."
    months = {}
    for number, name in enumerate(MONTHS, start=1):
        told = number_of(meta.get(name))
        if told is not None:
            months[number] = told
        elif meta.get(name) is not None:
            return f"{name}: is what the form says of that month, without quotes, not {meta[name]!r}."
    rate = number_of(meta.get("rate"))
    if meta.get("rate") is not None and not (rate and rate > 0):
        return f"rate: is what one unit of the form's currency is worth, above 0, not {meta['rate']!r}."
    return (
        None if basis is None else Basis(basis),
        None if tax is None else tax == "in",
        None if payments is None else int(payments),
        months,
        rate,
    )
