"""In which zone the times of a file are, and which columns have the time and the zone of a day."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from millilot.importers.proposal.evidence import Column, Evidence, Holds
from millilot.importers.proposal.findings import Certainty, Draft

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from millilot.importers.proposal.sheet import Sheet

_DAYS = (
    "columns.ordered", "columns.date", "columns.settled", "columns.paid-out", "columns.shipped", "refund.date",
)
_TIME = re.compile(r"\d{1,2}:\d{2}(?P<seconds>:\d{2})?(?P<half>\s?[AaPp][Mm])?")
#: UTC, perhaps with an offset, or a region and a place. Short names such as CST mean several zones.
_NAMED = re.compile(
    r"\b(?P<universal>UTC|GMT)(?:\s?(?P<sign>[-+\u2212])\s?(?P<hours>\d{1,2})(?::?00)?)?(?![\w:])"
    r"|\b(?:Africa|America|Asia|Atlantic|Australia|Europe|Indian|Pacific)/[A-Z][A-Za-z_/-]+",
)


def propose_zone(sheet: Sheet, evidence: Evidence, draft: Draft) -> None:
    """Put down the zone of the file's times, once the columns of days are.

    Which zone the books keep no file tells, so `books-zone` is the owner's to write.
    """
    of_days = [evidence.of(heading) for key in _DAYS if (heading := draft.value(key))]
    if evidence.days.zoned:
        _note("name their zone or offset", draft)
    if evidence.days.zoned or not of_days or not draft.value("dates.format"):
        return
    timed = any(re.search("%[HI]", layout) for layout in evidence.days.formats)
    time = None if timed else _time_column(evidence)
    if not timed and time is None:
        return
    zone = next((each for each in evidence.columns if each.meanings.get("zone", 0) >= 0.9 and each.filled), None)
    name, because, certainty = _find_zone(sheet, evidence, [*of_days, *filter(None, (time, zone))])
    various = zone is not None and not name and len(zone.values) > 1
    if various or (name and time is not None):
        _put_times(of_days[0], [each for each in (time, zone if various else None) if each is not None], draft)
    if name:
        draft.put("dates.zone", name, certainty, because)
    if name or various:
        _note(f"are in {name}" if name else "have a column with their zone", draft)


def zone_named(text: str) -> str:
    """Return the zone a text names, as the database of zones has it, or nothing."""
    match = _NAMED.search(text)
    if match is None:
        return ""
    name = match[0]
    if match["universal"]:
        hours = int(match["hours"] or 0)
        # The database counts these the other way round: Etc/GMT-1 is an hour ahead.
        name = f"Etc/GMT{'-' if match['sign'] == '+' else '+'}{hours}" if hours else "UTC"
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return ""
    return name


def _find_zone(sheet: Sheet, evidence: Evidence, near: Iterable[Column]) -> tuple[str, str, Certainty]:
    """Return the one zone the file names, where, and how sure that is."""
    near = list(near)
    for column in near:
        if name := zone_named(column.heading):
            return name, f'the heading "{column.heading}"', Certainty.SURE
        names = {zone_named(value) for value in column.values} if column.holds is not Holds.DAYS else set()
        if len(names) == 1 and (name := names.pop()):
            return name, f'"{column.heading}" names no other', Certainty.SURE
    elsewhere = [column.heading for column in evidence.columns]
    elsewhere += [cell for record in sheet.preamble for cell in record.cells]
    named = {name: text for text in elsewhere if (name := zone_named(text))}
    if len(named) == 1:
        (name, text), = named.items()
        return name, f'"{text[:60]}"', Certainty.GUESSED
    return "", "", Certainty.MISSING


def _time_column(evidence: Evidence) -> Column | None:
    """Return the only column of times of day, None when there is none or another."""
    found = [
        column
        for column in evidence.columns
        if column.meanings.get("time", 0) >= 0.9
        and column.filled
        and all(_TIME.fullmatch(value) for value in column.values)
    ]
    return found[0] if len(found) == 1 else None


def _put_times(day: Column, more: list[Column], draft: Draft) -> None:
    """Put down that columns have the time and the zone of a day, with the layouts of the texts that makes."""
    written = draft.finding("dates.format")
    assert written is not None  # noqa: S101  # else nothing is known of the days
    layouts = [written.value] if isinstance(written.value, str) else list(written.value)
    made = dict.fromkeys(
        f"{layout}{suffix}"
        for layout in layouts
        for suffix in dict.fromkeys(_suffixes(day, more))
    )
    draft.put("dates.format", list(dict.fromkeys([*made, *layouts])), written.certainty, written.because)
    draft.guess("dates.times", {day.heading: [column.heading for column in more]}, "they follow the day's text")


def _suffixes(day: Column, more: list[Column]) -> Iterator[str]:
    """Yield, row by row, the layout of what follows the text of a day."""
    for row, text in enumerate(day.cells):
        if text:
            yield "".join(f" {_layout(column.cells[row])}" for column in more if column.cells[row])


def _layout(text: str) -> str:
    match = _TIME.fullmatch(text)
    if match is None:
        return "%Z"
    half = match["half"]
    layout = ("%I" if half else "%H") + ":%M" + (":%S" if match["seconds"] else "")
    return layout + (half[:-2] + "%p" if half else "")


def _note(what: str, draft: Draft) -> None:
    draft.notes.append(
        f"The times {what}. A day is the file's own; with the zone of your books as books-zone under [dates] it "
        "is theirs."
    )
