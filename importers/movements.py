"""What a movement is about, in our own words, and which account is its other side."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millilot.importers.event_rules import Kind
from millilot.importers.events import FEE_ROLES
from millilot.ledger.accounts import Role
from millilot.ledger.channels import Pocket

if TYPE_CHECKING:
    from millilot.importers.events import Movement
    from millilot.ledger.accounts import RoleMap

#: What moves money to the reserve or back.
HELD = frozenset({Kind.HOLD, Kind.RELEASE, Kind.DISPUTE, Kind.DISPUTE_WON})
_PART_OF_CHANNEL = {
    Kind.PAYOUT: Pocket.TRANSIT,
    Kind.PAYOUT_RETURNED: Pocket.TRANSIT,
    **dict.fromkeys(HELD, Pocket.RESERVE),
}
_ROLES = {
    **FEE_ROLES,
    Kind.POSTAGE: Role.POSTAGE_CHARGED,
    Kind.EXTRA: Role.SALES,
    Kind.DISCOUNT: Role.SALES,
    Kind.TAX: Role.SALES_TAX,
    Kind.TAX_REMITTED: Role.SALES_TAX,
    Kind.REFUND: Role.REFUNDS,
    Kind.REFUND_TAX: Role.SALES_TAX,
    Kind.DISPUTE_LOST: Role.REFUNDS,
    Kind.COMPENSATION: Role.COMPENSATION,
    Kind.EXCHANGE: Role.EXCHANGE,
}
_WORDS = {
    Kind.FEE: "Fee",
    Kind.ADS: "Ads",
    Kind.LABEL: "Label",
    Kind.POSTAGE: "Postage charged",
    Kind.EXTRA: "Extra charge",
    Kind.DISCOUNT: "Discount",
    Kind.TAX: "Tax",
    Kind.TAX_REMITTED: "Tax remitted",
    Kind.REFUND: "Refund",
    Kind.REFUND_TAX: "Tax refunded",
    Kind.FEE_REFUND: "Fee refunded",
    Kind.COMPENSATION: "Compensation",
    Kind.ADJUSTMENT: "Adjustment",
    Kind.HOLD: "Hold",
    Kind.RELEASE: "Release",
    Kind.DISPUTE: "Dispute",
    Kind.DISPUTE_WON: "Dispute won",
    Kind.DISPUTE_LOST: "Dispute lost",
    Kind.PAYOUT: "Payout",
    Kind.PAYOUT_RETURNED: "Payout returned",
    Kind.EXCHANGE: "Exchange",
    Kind.PRIVATE: "Private",
    Kind.DEPOSIT: "Deposit",
}


def other_account(movement: Movement, channel: str, roles: RoleMap) -> str:
    """Return the account that gives or takes what the channel's account gets or gives."""
    kind = movement.rule.kind
    if movement.rule.account:
        return movement.rule.account
    if kind in _PART_OF_CHANNEL:
        return f"{channel}:{_PART_OF_CHANNEL[kind]}"
    return roles.account(_ROLES[kind])


def about(movement: Movement) -> str:
    """Return the narration of a movement."""
    kind = movement.rule.kind
    words = _WORDS[kind]
    said = movement.rule.fee in {"", kind.value} or movement.rule.fee in movement.title.casefold()
    if kind is Kind.LABEL and movement.amount > 0:
        words = "Label voided"
    elif not said:
        words = f"{words}, {movement.rule.fee}"
    if movement.payout and (movement.is_payout or kind is Kind.DEPOSIT):
        return f"{words} {movement.payout}"
    # A channel's text may say just what kind it is.
    title = "" if movement.title.casefold() == words.casefold() else movement.title
    if title or movement.order:
        return f"{words}: {narration_of(movement.order, (title,))}"
    return words


def narration_of(order: str, titles: tuple[str, ...]) -> str:
    """Return the titles of what an order was of, or its number when it has none."""
    return "; ".join(title for title in titles if title) or f"Order {order}"
