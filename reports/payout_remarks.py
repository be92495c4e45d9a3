"""What looks odd about payouts in books that are otherwise right: money that did not arrive, sums that differ."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.reports.payouts import State, settle, title

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from millilot.ledger.records import Books, Record
    from millilot.reports.payouts import Settled


class PayoutRemark(NamedTuple):
    """A remark on a transaction."""

    record: Record
    message: str


def payout_remarks(books: Books) -> Iterator[PayoutRemark]:
    """Yield payouts the bank is missing something of, and those that what they paid does not come to.

    A payout that is merely under way, or that has more than one explanation, is none. Payouts without a number
    that nothing explains are said in one remark a channel, and only where most payouts are explained: books into
    which the sales were not imported yet, or that were never meant to match, are left alone.
    """
    for settlement in settle(books):
        name = settlement.channel.name
        if not settlement.channel.events:
            continue
        unlinked = []
        for settled in settlement.payouts:
            if settled.payout.state is not State.OPEN or not settled.unexplained:
                continue
            if settled.late or settled.linked:
                yield PayoutRemark(_place(settled), f"{title(settled)}: {'; '.join(settled.notes)}.")
            else:
                unlinked.append(settled)
        if 2 * len(unlinked) < len(settlement.payouts) and unlinked:
            yield _first(
                unlinked,
                f"{name} paid out {{}} that nothing it earned explains; millilot payouts shows what is near.",
            )


def _first(payouts: Sequence[Settled], message: str) -> PayoutRemark:
    """Return a remark on several payouts, at the first of them."""
    total = sum((each.payout.amount for each in payouts), ZERO)
    what = f"{total} in {len(payouts)} payouts" if len(payouts) > 1 else f"{total}"
    return PayoutRemark(payouts[0].sending.transfers[0].record, message.format(what))


def _place(settled: Settled) -> Record:
    """Return the deposit that brought too little, or the payout when there is none."""
    sending = settled.sending
    if settled.late and sending.deposits:
        return sending.deposits[-1].deposit.record
    return sending.transfers[0].record
