"""What a preparer asks about the books rather than about a figure: the list of exceptions, and the method."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from millilot.ledger.accounts import Role
from millilot.ledger.records import Kind
from millilot.reports.check import plugin_order, problems
from millilot.reports.exceptions import exceptions
from millilot.reports.pack.table import Column, Holds, Row, Table
from millilot.reports.year_notes import year_notes

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from typing import Any

    from millilot.reports.pack.span import Span


def exception_list(span: Span) -> Table:
    """Return what is not proven, not explained, or odd."""
    wrong = [*plugin_order(span.options_map), *problems(span.entries, span.errors)]
    found = exceptions(span.entries, wrong, span.closing, span.start, span.end, documented=span.documented)
    rows = [
        Row(
            {
                "cause": each.cause.value,
                "date": each.date,
                "what": _without_folder(each.what, span),
                "detail": each.detail,
                "amount": each.amount,
                "written_in": place(each.source, span),
            },
        )
        for each in found
    ]
    return Table(
        "Exceptions",
        f"What to look into, {span.name}",
        (
            Column("cause", "Why"),
            Column("date", "Date", Holds.DATE),
            Column("what", "What"),
            Column("detail", "What is known"),
            Column("amount", "Amount", Holds.MONEY),
            Column("written_in", "Written in"),
        ),
        tuple(rows),
        f"{len(rows)} in all." if rows else "None.",
    )


def folder_of(span: Span) -> Path:
    """Return the folder of the books."""
    return Path(span.options_map["filename"]).parent


def place(source: Mapping[str, Any] | None, span: Span) -> str:
    """Return file and line, the file as seen from the folder of the books."""
    name = str((source or {}).get("filename") or "")
    if not name or name.startswith("<"):
        return "the books"
    return f"{Path(os.path.relpath(name, folder_of(span))).as_posix()}:{(source or {}).get('lineno') or 0}"


def _without_folder(text: str, span: Span) -> str:
    """Return an error's words without the place of the books on this machine."""
    return text.replace(f"{folder_of(span)}{os.sep}", "")


def method(span: Span) -> Table:
    """Return how the figures were come by, and what changed since the range before."""
    rows = [
        Row({"topic": topic, "text": text})
        for topic, text in (
            *_RULES.items(),
            *_settings(span),
            ("Changes", _changes(span)),
            *(("This range", note) for note in year_notes(span.all, span.start, span.end)),
        )
    ]
    return Table(
        "Method",
        f"Method, {span.name}",
        (Column("topic", "Topic"), Column("text", "How it is done")),
        tuple(rows),
    )


_RULES = {
    "Costing": (
        "Each bottle is a lot of its own, with its cost per mL. A sale that names its bottle is costed from "
        "that bottle; any other from the oldest of its fragrance (first in, first out). Never an average."
    ),
    "Landed cost": (
        "Delivery, duty, sales tax and discounts of a purchase are part of what its bottles cost, shared by "
        "value. When such a cost comes later, the share of what is gone by then is cost of goods on the later "
        "day."
    ),
    "Bottles at no cost": (
        "A gift with a purchase is stock at zero; its sales have no cost of goods."
    ),
    "Bottles owned before": (
        "They come in at the cost the owner states, which should be the lower of what was paid and what they "
        "were worth when selling began. The sheet Owned before has both."
    ),
    "Supplies": (
        "Vials and labels are stock until they are used, then cost of goods on a line of their own. Mailers "
        "and what goes with the parcel are packing, an expense. Closing stock is fragrance only."
    ),
    "Basis": (
        "A sale counts on the day it is written, gross: before fees, refunds and postage, whatever was paid "
        "out. Money taken for a claim is owed until it is poured; the last line of the Summary counts it when "
        "paid instead. Tax that a channel collects and hands on is neither income nor expense."
    ),
    "Returns and refunds": (
        "They count in the year in which they happen. Goods that come back unopened return to their bottle at "
        "the cost they left with; a refund without goods takes nothing off cost of goods."
    ),
    "Personal use, samples, losses": (
        "All are taken out of cost of goods, at cost: personal use to the owner, samples and losses to "
        "expenses. What stays in the syringe, and what is missing when counted, stays in cost of goods."
    ),
    "Swaps": (
        "Income at the value of what was given; what comes in is bought at its value."
    ),
    "Closing stock": (
        "What the books have left of each bottle, at cost. A measurement corrects the books on its morning. "
        "Vials poured in advance are not kept apart: what is not sold is still in its bottle."
    ),
    "Rounding": (
        "The books are exact and a figure is rounded when it is shown, so that lines add up to their total. "
        "The figure of one bottle may be a cent or so off its exact one."
    ),
    "Names": (
        "Buyers are not in this pack: neither names nor the words of an order. Sellers of purchases and "
        "expenses are, as the proof of them; the owner's own words stand beside expenses and losses."
    ),
}


def _settings(span: Span) -> Iterator[tuple[str, str]]:
    """Yield what the owner set and the books say."""
    settings = span.closing.settings
    foreign = len(span.closing.foreign)
    yield "Currency", f"{span.currency}." + (f" Postings left out, in another: {foreign}." if foreign else "")
    yield "Pour loss", f"{settings.pour_loss(span.end):f} mL a vial on {span.end}."
    kits = len({kit.size for kit in settings.kits if kit.day <= span.end})
    yield "Kits", f"{kits} kits say which supplies are taken with a vial of a size, or with a parcel."
    within = [move for record in span.records for move in record.moves if move.bottle in span.closing.fragrances]
    days = [*(take.day for take in settings.stocktakes), *(take.day for take in settings.weighings)]
    measured = sum(span.start <= day <= span.end for day in days)
    shrunk = sum(move.kind is Kind.SHRINKAGE for move in within)
    yield "Measured", f"{measured} measurements in the range; {shrunk} found less than the books had."


def _changes(span: Span) -> str:
    """Return what changed in the settings within the range, in words."""
    first = span.closing.first
    if first is None or first >= span.start:
        return "These are the first days of the books, so there is nothing to compare with."
    settings = span.closing.settings
    changes = [
        *_changed("the pour loss", ((loss.day, f"{loss.loss:f} mL") for loss in settings.pour_losses), span),
        *_changed(
            "a kit",
            ((kit.day, "the parcel" if kit.size is None else f"{kit.size:f} mL") for kit in settings.kits),
            span,
        ),
        *_changed("an account", _accounts(span), span),
    ]
    if not changes:
        return "No change since the year before in costing, pour loss, kits or accounts."
    return "Costing is as the year before. Set within the range: " + "; ".join(changes) + "."


def _accounts(span: Span) -> Iterator[tuple[Any, str]]:
    for role in Role:
        before = span.closing.settings.roles.on(span.opening.last or span.start).account(role)
        after = span.closing.settings.roles.on(span.end).account(role)
        if before != after:
            yield span.end, f"{role.value} is {after} by its last day, and was {before}"


def _changed(what: str, settings: Iterable[tuple[Any, str]], span: Span) -> Iterator[str]:
    for day, words in settings:
        if span.start <= day <= span.end:
            yield f"{what} ({day}: {words})"
