"""What happens to the books while they load.

Load it before any other plugin::

    plugin "millilot.plugins"

The stages run one after the other in the order of `STAGES`. Each takes the entries and Beancount's options and
returns new entries and its errors; none changes an entry in place.
"""

from __future__ import annotations

import gc
from contextlib import contextmanager, nullcontext
from typing import TYPE_CHECKING, Any

from millilot.plugins.claims import check_claims
from millilot.plugins.draws import book_draws
from millilot.plugins.landed_cost import spread_inbound
from millilot.plugins.lots import name_lots
from millilot.plugins.named import check_names
from millilot.plugins.padding import refuse_padding
from millilot.plugins.payouts import link_payouts
from millilot.plugins.settings import check_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from beancount.core.data import Directives

    from millilot.plugins.problems import Problem

    Stage = Callable[[Directives, dict[str, Any]], tuple[Directives, list[Problem]]]

__plugins__ = ["book"]

#: Books of fewer entries are loaded before the collector is any trouble.
MANY = 5_000

STAGES: tuple[Stage, ...] = (
    check_settings,
    refuse_padding,
    name_lots,
    check_names,
    spread_inbound,
    book_draws,
    check_claims,
    link_payouts,
)


def book(entries: Directives, options_map: dict[str, Any]) -> tuple[Directives, list[Problem]]:
    """Book everything Millilot knows of: the one function Beancount calls."""
    errors = []
    with _collector_at_rest() if len(entries) > MANY else nullcontext():
        for stage in STAGES:
            entries, found = stage(entries, options_map)
            errors.extend(found)
    return entries, errors


@contextmanager
def _collector_at_rest() -> Iterator[None]:
    """Keep the garbage collector from walking all entries again and again while they are copied, and afterwards.

    Nearly all that is there lives until the books are loaded again, so it is set aside until then. On 10,000 sales
    this takes a twelfth off the time of the whole load.
    """
    if not gc.isenabled():
        yield
        return
    if gc.get_freeze_count():
        # What was set aside by the load before, and is no longer needed, goes now.
        gc.unfreeze()
        gc.collect()
    gc.disable()
    try:
        yield
        gc.freeze()
    finally:
        gc.enable()
