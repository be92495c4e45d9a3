"""What to say when the bottles cannot do what a line asks: what was found, and what is left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.plugins.asks import Ask, Way

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping
    from decimal import Decimal

    from millilot.plugins.drafts import Draft
    from millilot.plugins.lots import Arrival
    from millilot.plugins.returns import Outstanding
    from millilot.plugins.stock import Lot, Shelf


class Explain:
    """The words of the walk's errors.

    Args:
        shelf: the lots that have come in.
        coming: every lot of the books by name, those still to come too.
    """

    def __init__(self, shelf: Shelf, coming: Mapping[str, Arrival]) -> None:
        self._shelf = shelf
        self._coming = coming

    def unknown(self, name: str, commodity: str | None) -> str:
        """Say why a name serves no draw (of a commodity, when one is asked for), and which bottles would."""
        lot = self._shelf.get(name)
        coming = self._coming.get(name)
        if lot is not None and lot.commodity != commodity:
            reason = f"{name} holds {lot.commodity}, not {commodity}."
        elif lot is not None:
            reason = f"{name} comes in with this very transaction, so nothing can be drawn from it here."
        elif coming is not None:
            reason = f"{name} came in on {coming.entry.date}, which is too late for this."
        else:
            reason = f'There is no bottle "{name}"' + (f" of {commodity}." if commodity else ".")
        return f"{reason} {self.what_is_left(commodity)}" if commodity else reason

    def what_is_left(self, commodity: str) -> str:
        """Say which bottles of a commodity hold something."""
        lots = [lot for lot in self._shelf.of_commodity(commodity) if lot.layers]
        if lots:
            return f"Left of {commodity}: {_list_lots(lots)}."
        first = min((a.entry.date for a in self._coming.values() if a.stock.commodity == commodity), default=None)
        if first is None:
            return f"{commodity} was never bought."
        if not self._shelf.of_commodity(commodity):
            return f"{commodity} was first bought on {first}, after this day."
        return f"Nothing is left of {commodity}."

    def overdrawn(
        self, day: datetime.date, ask: Ask, wanted: Decimal, lots: list[Lot], waiting: Mapping[str, Decimal],
    ) -> str:
        """Say what the lots a line may take from hold, and the count that would cure it."""
        held = sum((lot.left for lot in lots), ZERO)
        loss = f" ({ask.quantity} and {ask.loss} lost in the pour)" if ask.loss else ""
        what = ask.bottle or ask.commodity
        message = f"{what} has {held} left on {day}; this line asks for {wanted}{loss}."
        if ask.bottle is None:
            message += f" {self.what_is_left(ask.commodity)}"
        if held:
            last = next(lot for lot in reversed(lots) if lot.left)
            needed = f"{wanted - held + last.left + waiting[last.name]} {last.commodity}"
            message += (
                f" If {last.name} held more than the books say, measure it and write: "
                f'{day} custom "stocktake" "{last.name}" {needed}'
            )
        return message

    def no_such_sale(self, draft: Draft, ask: Ask, outstanding: Outstanding) -> str:
        """Say why a line that brings goods back finds no sale, and how a sale is written."""
        links = " ".join(f"^{link}" for link in sorted(outstanding.links_of(draft.entry)))
        out = outstanding.still_out(draft, ask)
        written = f"{ask.quantity} {ask.commodity}"
        if not links:
            found = "This transaction has no link, so there is no sale it could belong to."
        elif out:
            found = f"Of {links}, {out} {ask.commodity} are still out; this line brings back {ask.quantity}."
        else:
            found = f"No {ask.commodity} went out under {links} that could come back."
        if ask.way is Way.SOLD_BACK:
            return f"{found} Goods sold are written with a minus: -{written}."
        return f"{found} Goods used are written with a plus: {written}."


def _list_lots(lots: list[Lot], most: int = 5) -> str:
    named = ", ".join(f"{lot.name} {lot.left}" for lot in lots[:most])
    return named if len(lots) <= most else f"{named} and {len(lots) - most} more"
