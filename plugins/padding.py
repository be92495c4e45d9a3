"""Stage before the lots are named: `pad` on a stock account is refused.

It would fill a gap with goods that have no cost, and Beancount pads only after all plugins, so nothing could be
made of them any more. A stocktake says the same and knows the cost.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beancount.core.data import Pad

from millilot.ledger.accounts import Role
from millilot.ledger.directives import read_settings
from millilot.plugins.problems import StocktakeError

if TYPE_CHECKING:
    from beancount.core.data import Directives

    from millilot.plugins.problems import Problem


def refuse_padding(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Refuse each `pad` that would fill a stock account, and leave it out so that nothing is filled."""
    del options_map
    pads = [entry for entry in entries if isinstance(entry, Pad)]
    if not pads:
        return entries, []
    settings, _ = read_settings(entries)
    refused = [pad for pad in pads if settings.roles.on(pad.date).role(pad.account) is Role.STOCK]
    left_out = set(map(id, refused))
    kept = [entry for entry in entries if id(entry) not in left_out]
    return kept, [StocktakeError(dict(pad.meta), _message(pad), pad) for pad in refused]


def _message(pad: Pad) -> str:
    return (
        f"pad would fill {pad.account} with goods that have no cost. Leave it out, and write what each bottle "
        f'held: {pad.date} custom "stocktake" "CH-1" 41.5 CEDARHOUR'
    )
