"""What a plan for a bottle reckons with, and where each figure is from.

What the owner asks for comes first, then what the bottle has taught, once it has sold enough, then what is set in
the books, and last an assumption of ours. Each figure says which of them it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.ledger.fee_schedule import Fee, FeeBase
from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.bottles import plain
from millilot.reports.fees import fee_of
from millilot.reports.lessons import sizes_sold
from millilot.reports.lost_parcels import lost_parcels
from millilot.reports.prices import Terms

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping

    from millilot.ledger.records import Books, Bottle
    from millilot.reports.lessons import Lessons

#: Sizes to offer when the books know none, in mL: common practice, no source.
USUAL_SIZES = (Decimal(2), Decimal(5), Decimal(10))

_FOUR_DIGITS = Decimal("0.0001")


@dataclass(frozen=True, slots=True)
class Request:
    """What the owner asks of a plan; what is None follows from the books.

    Attributes:
        sizes: mL of a vial to its share of the sales; the shares need not add up to 1.
        keep: mL to keep of the bottle in all, what was kept already included.
        margin: the part of each price that shall remain, from 0 to below 1.
        profit: an amount that shall remain of each sale.
        channel: the name or account of the channel it is sold on.
        charge: what a buyer pays for postage.
        label: what postage costs.
        tax: the rate of the buyer's tax.
        lost: the share of price and postage that is given back.
        paid_back_at: mL, sold from now on, by which the bottle shall be paid back; by default all that is free.
    """

    sizes: Mapping[Decimal, Decimal] | None = None
    keep: Decimal | None = None
    margin: Decimal | None = None
    profit: Decimal | None = None
    channel: str | None = None
    charge: Decimal | None = None
    label: Decimal | None = None
    tax: Decimal = ZERO
    lost: Decimal | None = None
    paid_back_at: Decimal | None = None


class Basis(NamedTuple):
    """A figure that a plan reckons with.

    Attributes:
        what: its name.
        value: exact; None when nothing is known.
        source: where it is from.
        is_money: whether it is an amount.
    """

    what: str
    value: Decimal | None
    source: str
    is_money: bool = False

    def rounded(self, unit: Decimal) -> Basis:
        """Return it with money in minor units, and anything else to 4 digits."""
        if self.value is None:
            return self
        if self.is_money:
            return self._replace(value=rounding.nearest(self.value, unit))
        return self._replace(value=plain(rounding.nearest(self.value, _FOUR_DIGITS)))


class Offer(NamedTuple):
    """The sizes to offer: the share of each in the sales, adding up to 1, and where they are from."""

    shares: Mapping[Decimal, Decimal]
    source: str


class Reckoning(NamedTuple):
    """What a plan reckons with.

    Attributes:
        terms: on which terms a vial is sold.
        label: what postage costs.
        loss: mL lost with each vial, whatever its size.
        basis: these figures, and the pace, with their sources.
    """

    terms: Terms
    label: Decimal
    loss: Decimal
    basis: tuple[Basis, ...]


def offer(books: Books, bottle: Bottle, asked: Request, day: datetime.date) -> Offer:
    """Return the sizes asked for, else those the bottle or its fragrance sold, those with a kit, the usual."""
    if asked.sizes:
        return Offer(_shares(asked.sizes), "as asked")
    fragrance = [each.name for each in books.fragrances.values() if each.commodity.code == bottle.commodity.code]
    for names, words in (([bottle.name], "sold from this bottle"), (fragrance, "sold of this fragrance")):
        vials = sizes_sold(books, names)
        if vials:
            return Offer(_shares({size: of_size.number for size, of_size in vials.items()}), words)
    kits = {kit.size for kit in books.settings.kits if kit.size is not None and kit.day <= day}
    if kits:
        return Offer(_shares(dict.fromkeys(kits, Decimal(1))), "assumed: those with a kit, in equal shares")
    return Offer(_shares(dict.fromkeys(USUAL_SIZES, Decimal(1))), "assumed: the usual ones, in equal shares")


def reckoning(books: Books, taught: Lessons, asked: Request, day: datetime.date) -> Reckoning:
    """Return what a plan reckons with, by the settings of a day.

    Raises:
        UnknownChannelError: there is no such channel.
    """
    unit = minor_unit(books.currency)
    measured = _measured(taught)
    if taught.enough and taught.loss_per_vial is not None:
        lost, source = taught.loss_per_vial, measured
    else:
        lost = books.settings.pour_loss(day)
        source = f"assumed: {'setting pour-loss' if lost else 'none is set'}"
    loss = Basis("Loss per vial", lost, source)
    fee, fees = _fee(books, taught, asked, day)
    charge = _asked(asked.charge, taught, taught.postage_charged, "Postage charged")
    label = _asked(asked.label, taught, taught.label, "Label")
    refunds = _refunds(books, taught, asked.lost)
    tax = [Basis("Tax rate", asked.tax, "as asked")] if asked.tax else []
    price = Basis("Price per mL", taught.price_per_ml, measured, is_money=True)
    pace = Basis("Pace, mL a month", taught.ml_per_month, measured)
    return Reckoning(
        Terms(unit, fee, charge.value or ZERO, asked.tax, refunds.value or ZERO),
        label.value or ZERO,
        lost,
        tuple(
            each.rounded(unit)
            for each in (loss, *fees, charge, label, *tax, refunds, *((price, pace) if taught.enough else ()))
        ),
    )


def _refunds(books: Books, taught: Lessons, asked: Decimal | None) -> Basis:
    if asked is not None:
        return Basis("Refund share", asked, "as asked")
    if taught.enough and taught.refund_share is not None:
        return Basis("Refund share", taught.refund_share, _measured(taught))
    lost = lost_parcels(books)
    return Basis("Refund share", lost.share, f"assumed: {lost.lost} of {lost.orders} orders were lost")


def _asked(asked: Decimal | None, taught: Lessons, value: Decimal | None, what: str) -> Basis:
    """Return a figure that is asked for, measured or taken to be nought."""
    if asked is not None:
        return Basis(what, asked, "as asked", is_money=True)
    if taught.enough and value is not None:
        return Basis(what, value, _measured(taught), is_money=True)
    return Basis(what, ZERO, "assumed: none, as none is given", is_money=True)


def _fee(books: Books, taught: Lessons, asked: Request, day: datetime.date) -> tuple[Fee, list[Basis]]:
    """Return the fee of the channel that is asked for, else the measured one, else what is known of a channel."""
    if asked.channel is None and taught.enough and taught.fee_share is not None:
        share = Basis("Fee share", taught.fee_share, _measured(taught))
        return Fee(FeeBase.POSTAGE, taught.fee_share, ZERO), [share]
    known = fee_of(books, asked.channel, day)
    source = f"{'assumed' if asked.channel is None else 'as asked'}: {known.says.removesuffix('.')}"
    fixed = [Basis("Fee fixed", known.fee.fixed, "the same", is_money=True)] if known.fee.fixed else []
    return known.fee, [Basis("Fee rate", known.fee.rate, source), *fixed]


def _measured(taught: Lessons) -> str:
    return f"measured from {taught.sales} sales"


def _shares(numbers: Mapping[Decimal, Decimal]) -> Mapping[Decimal, Decimal]:
    whole = sum(numbers.values(), ZERO)
    return {size: number / whole for size, number in sorted(numbers.items())}
