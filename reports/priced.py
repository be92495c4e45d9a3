"""What a decant of a fragrance is to cost in each of some sizes, with the words that say how that is reckoned."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.money import minor_unit
from millilot.reports import rounding
from millilot.reports.decants import bottles_of, decant, find_fragrance
from millilot.reports.fees import fee_of
from millilot.reports.lost_parcels import lost_parcels
from millilot.reports.next_draw import next_draw
from millilot.reports.prices import Terms
from millilot.reports.quote import Wish, quote, row, statement

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from millilot.ledger.records import Books
    from millilot.reports.fee_drift import FeeDrift
    from millilot.reports.fees import ChannelFee
    from millilot.reports.quote import Quote, Statement

#: A price part by part: what each line is called, and its name in a statement; None for an empty line.
LINES = (
    ("Price", "price"),
    ("Postage charged", "postage_charged"),
    ("less fee", "fee"),
    ("less supplies", "supplies"),
    ("less postage label", "postage"),
    ("Cash kept", "cash_kept"),
    ("less liquid", "liquid"),
    ("less lost in the pour", "loss"),
    ("less lost parcels", "lost_parcels"),
    ("Profit", "profit"),
    ("Margin", "margin"),
    ("", None),
    ("Buyer's tax", "tax"),
    ("Buyer pays", "buyer_pays"),
)


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked.

    Attributes:
        fragrance: its name or code.
        sizes: mL in the vials; at least one.
        wish: what is wanted of a price.
        channel: the name or account of the channel it is sold on.
        charge: what the buyer pays for postage.
        label: what the postage costs.
        tax: the rate of the buyer's tax.
        lost: the part of parcels lost; None for that of the books.
        bottle: the one to pour from; None for the next in turn.
    """

    fragrance: str
    sizes: Collection[Decimal]
    wish: Wish
    channel: str | None = None
    charge: Decimal = ZERO
    label: Decimal = ZERO
    tax: Decimal = ZERO
    lost: Decimal | None = None
    bottle: str | None = None


@dataclass(frozen=True, slots=True)
class Priced:
    """What was reckoned, and what there is to say of it.

    Attributes:
        fragrance: its name.
        quotes: by size, the smallest first.
        wish: what was wanted of a price.
        fee: what the channel takes.
        notes: sentences: where the figures are from, and what they leave out.
    """

    fragrance: str
    quotes: Sequence[Quote]
    wish: Wish
    fee: ChannelFee
    notes: Sequence[str]

    def rows(self) -> list[dict[str, object]]:
        """Return a row for each size, rounded."""
        drift = self.fee.drift.drift if self.fee.drift else None
        return [row(each, self.fragrance, self.fee.channel, drift) for each in self.quotes]

    def side_by_side(self, of: Quote) -> Mapping[str, Statement]:
        """Return the prices of a size by what each is called."""
        prices = {
            "Break-even": of.break_even,
            _title(self.wish): of.asked,
            "Finished": of.finished,
            "Rule of thumb": of.rule,
        }
        return {title: statement(of, leaves) for title, leaves in prices.items() if leaves is not None}


def priced(books: Books, asked: Question, to: datetime.date | None = None) -> Priced:
    """Return what was asked for.

    Args:
        books: read up to the day.
        asked: what is asked.
        to: the day whose settings count; None for the last ones of the books.

    Raises:
        UnknownNameError: there is no such fragrance, or no such bottle of it.
        UnknownChannelError: there is no such channel.
        NoPriceError: no price leaves what is wanted.
    """
    # Without a day, all that stands in the books counts, the last setting too.
    day = to or datetime.date.max
    fee = fee_of(books, asked.channel, day)
    share, about_lost = _lost(books, asked.lost)
    terms = Terms(minor_unit(books.currency), fee.fee, asked.charge, asked.tax, share)
    fragrance, stock = find_fragrance(books, asked.fragrance), next_draw(books)
    bottles = bottles_of(books, stock, fragrance, asked.bottle)
    quotes = [
        quote(decant(books, stock, bottles, size, day=day), asked.label, terms, asked.wish)
        for size in sorted(set(asked.sizes))
    ]
    notes = (
        *_about(quotes), fee.says, *_drift(fee.drift), about_lost, *_given(quotes[0], asked.wish), *_rule(quotes),
    )
    return Priced(fragrance.name, quotes, asked.wish, fee, notes)


class WishedPrices:
    """The prices that leave what is wanted of what each fragrance costs next, for a list of what is for sale.

    Args:
        books: read up to the day.
        wish: what is wanted of a price.
        channel: the name or account of the channel it is sold on.
        charge: what the buyer pays for postage.
        label: what the postage costs.
        to: the day whose settings count; None for the last ones of the books.

    Raises:
        UnknownChannelError: there is no such channel.
    """

    def __init__(
        self,
        books: Books,
        wish: Wish,
        *,
        channel: str | None = None,
        charge: Decimal = ZERO,
        label: Decimal = ZERO,
        to: datetime.date | None = None,
    ) -> None:
        self._books, self._wish, self._label = books, wish, label
        self._day = to or datetime.date.max
        self._stock = next_draw(books)
        self._fee = fee_of(books, channel, self._day)
        share, self._about_lost = _lost(books, None)
        self._terms = Terms(minor_unit(books.currency), self._fee.fee, charge, lost=share)
        self._quotes: dict[tuple[str, Decimal], Quote] = {}

    def __call__(self, commodity: str, size: Decimal) -> Decimal:
        """Return the price of a vial, in minor units.

        Raises:
            NoPriceError: no price leaves what is wanted.
        """
        poured = decant(self._books, self._stock, self._stock.lots(commodity), size, day=self._day)
        of = self._quotes[commodity, size] = quote(poured, self._label, self._terms, self._wish)
        return (of.finished or of.asked).price.quantize(self._terms.unit)

    def notes(self, offered: Collection[tuple[str, Decimal]]) -> Iterator[str]:
        """Yield where the prices of some fragrances and sizes are from, and what they leave out."""
        quotes = [self._quotes[each] for each in offered]
        yield from dict.fromkeys(remark for each in quotes for remark in each.decant.remarks)
        yield self._fee.says
        yield self._about_lost
        for each in quotes[:1]:
            yield from _given(each, self._wish)


def _lost(books: Books, given: Decimal | None) -> tuple[Decimal, str]:
    """Return the share of parcels to allow for, and where it is from."""
    if given is not None:
        return given, f"Lost parcels: {_percent(given)} of price and postage, as given."
    known = lost_parcels(books)
    found = f"Lost parcels: {known.lost or 'none'} of {known.orders} orders"
    if known.share:
        return known.share, f"{found}, so {_percent(known.share)} of price and postage is set aside."
    why = ", too few to tell by" if known.lost else ""
    return known.share, f"{found}{why}; nothing is set aside."


def _percent(share: Decimal) -> str:
    return f"{rounding.nearest(share * 100, Decimal('0.01')).normalize():f} %"


def _about(quotes: Sequence[Quote]) -> Iterator[str]:
    """Yield from which bottles the liquid is, and what could not be costed."""
    pieces = {(piece.lot, piece.cost_per_unit): None for each in quotes for piece in each.decant.pieces}
    named = ", ".join(f"{lot} at {rounding.nearest(cost, Decimal('0.0001')):f} a mL" for lot, cost in pieces)
    if named:
        yield f"Liquid: {named}."
    yield from dict.fromkeys(remark for each in quotes for remark in each.decant.remarks)


def _drift(drift: FeeDrift | None) -> Iterator[str]:
    """Yield how the schedule compares with the fees of the books."""
    if drift is None:
        return
    part = "" if drift.drift is None else f" ({abs(drift.drift) * 100:.2f} %)"
    more = f"{abs(drift.difference)} {'more' if drift.difference > 0 else 'less'}{part}"
    yield (
        f"On {drift.orders} orders of {drift.channel} it estimates {drift.estimated}, and the books show "
        f"{drift.taken}: {more if drift.difference else 'no drift'}."
    )


def _given(of: Quote, wish: Wish) -> Iterator[str]:
    """Yield what is worth knowing of the options that were given, or not."""
    if not of.costs.postage:
        yield "No label is given, so the postage costs nothing here."
    if of.terms.tax:
        yield "The buyer's tax is collected for others and is no income."
    if wish == Wish(endings=wish.endings):
        yield "Neither a margin nor a profit is given, so the price is the break-even price."


def _rule(quotes: Sequence[Quote]) -> Iterator[str]:
    """Yield what the rule of thumb is, and where it falls short."""
    yield (
        "Rule of thumb (common practice, no source): liquid, supplies and label, and the liquid's cost once more."
    )
    for each in quotes:
        leaves = statement(each, each.rule)
        short = leaves.short_of_liquid
        size = f"{each.decant.size_ml} mL: " if len(quotes) > 1 else ""
        gaps = {"fee": leaves.fee, "lost in the pour": leaves.loss, "lost parcels": leaves.lost_parcels}
        why = ", ".join(f"{name} {amount}" for name, amount in gaps.items() if amount)
        falls_short = f" where it means to leave {leaves.liquid}: {short} short ({why})."
        yield f"{size}{leaves.price} by the rule leaves {leaves.profit}" + (
            falls_short if short > 0 else f", no less than the {leaves.liquid} it means to leave."
        )


def _title(wish: Wish) -> str:
    """Return what the price that was asked for is called; without a wish, it is the break-even price."""
    match wish:
        case Wish(margin=Decimal() as margin):
            return f"Margin {_percent(margin)}"
        case Wish(profit=Decimal() as profit):
            return f"Profit {profit:f}"
        case Wish(at=Decimal() as price):
            return f"At {price:f}"
        case _:
            return "Break-even"
