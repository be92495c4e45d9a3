"""What the words of a status column mean for whether a row counts."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from millilot.importers.proposal.findings import Certainty
from millilot.importers.proposal.words import gives_back, status_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millilot.importers.proposal.evidence import Column
    from millilot.importers.proposal.findings import Draft
    from millilot.importers.proposal.roles import Assigned

_KEYS = ("skip", "pending", "cancelled", "to-pour", "book")


def propose_statuses(
    roles: Assigned,
    draft: Draft,
    *,
    given_back: bool = True,
    of_payouts: bool = False,
    refund_rows: frozenset[int] = frozenset(),
) -> dict[int, str]:
    """Put down the column of the status and what its words mean; return the key of each row that has one.

    Args:
        roles: the columns by role.
        draft: takes the findings.
        given_back: whether the file says elsewhere how much was given back.
        of_payouts: whether a row is a payout, which has a number and a day before any money moved, and no goods.
        refund_rows: places of rows that cannot be booked, whatever their words mean.
    """
    column = roles.one("status")
    if column is None or not column.filled:
        return {}
    score = roles.scores[column.heading]
    named = column.meanings.get("status", 0.0) >= score
    draft.put("columns.status", column.heading, _certainty(score), "its heading" if named else "its words")
    proofs = [] if of_payouts else _proofs(roles)
    refunding = {word for word in column.values if refund_rows.issuperset(_rows(word, column))}
    of_word = {
        word: "" if word in refunding else status_of(word)[0] or _by_rows(word, column, proofs, draft)
        for word in sorted(column.values)
    }
    if of_payouts:
        of_word = {word: "book" if meaning == "to-pour" else meaning for word, meaning in of_word.items()}
    unknown = [word for word, meaning in of_word.items() if not meaning and word not in refunding]
    refunded = [] if given_back else _refunded(of_word)
    of_word |= dict.fromkeys(refunded, "")
    booked = [word for word, meaning in of_word.items() if meaning in {"book", "to-pour"}]
    # Where no word is one to book, the importer refuses none.
    fate = "are refused" if booked else "count as sold"
    for word in unknown:
        draft.gap(
            f'The status "{word}" is not known; its {len(_rows(word, column))} row(s) {fate} until you write '
            f"under [status] what it means: {_choices(word, booked, of_payouts=of_payouts)}.",
        )
    for word in refunded:
        draft.gap(
            f'The status "{word}" says that money went back, and no column says how much; its '
            f"{len(_rows(word, column))} row(s) {fate} until you write under [status] "
            f"{_choices(word, booked, of_payouts=of_payouts)}. What went back is then left for you to enter.",
        )
    _skipped_but_paid(of_word, column, proofs, draft)
    for key in _KEYS:
        wanted = {"book", "to-pour"} if key == "book" else {key}
        words = [word for word, meaning in of_word.items() if meaning in wanted]
        if key == "to-pour":
            _check_shipped(words, column, roles, draft)
        if words:
            scores = [status_of(word)[1] for word in words]
            # Without a column of days on which things were sent, nothing but the word says that they were not.
            proved = key != "to-pour" or roles.one("shipped") is not None
            certainty = _certainty(min(scores)) if proved else Certainty.GUESSED
            draft.put(f"status.{key}", words, certainty, "what the words mean")
    return {row: of_word[cell] for row, cell in enumerate(column.cells) if cell}


def _certainty(score: float) -> Certainty:
    return Certainty.SURE if score >= 0.9 else Certainty.GUESSED


def _proofs(roles: Assigned) -> list[Column]:
    """Return the columns that are filled where money was taken or goods sent."""
    found = (roles.one(role) for role in ("settled", "paid_out", "payout", "shipped"))
    return [column for column in found if column is not None]


def _rows(word: str, column: Column) -> list[int]:
    return [row for row, cell in enumerate(column.cells) if cell == word]


def _by_rows(word: str, column: Column, proofs: Sequence[Column], draft: Draft) -> str:
    """Return what a word that is not known means by what else stands in its rows."""
    rows = _rows(word, column)
    if any(all(proof.cells[row] for row in rows) for proof in proofs):
        draft.notes.append(
            f'The status "{word}" is not known; all its rows are settled or shipped, so they count.'
        )
        return "book"
    return ""


def _choices(word: str, booked: Sequence[str], *, of_payouts: bool) -> str:
    """Return the lines of a profile that would tell what a word means, each with what it does."""
    counts, other = _written([*booked, word]), _written([word])
    if of_payouts:
        return f"book = {counts} if it was paid out, or skip = {other} if it was not"
    return f"book = {counts} to count it as sold, or cancelled = {other} to count it as called off"


def _written(words: Sequence[str]) -> str:
    """Return a list as TOML has it."""
    return json.dumps(list(words), ensure_ascii=False)


def _refunded(of_word: dict[str, str]) -> list[str]:
    """Return the words that would count as sold, but say that money went back."""
    return [word for word, meaning in of_word.items() if meaning == "book" and gives_back(word)]


def _skipped_but_paid(
    of_word: dict[str, str], column: Column, proofs: Sequence[Column], draft: Draft,
) -> None:
    """A row that is called unpaid, but was settled, contradicts itself; the importer refuses it."""
    for word, meaning in of_word.items():
        if meaning not in {"skip", "pending"}:
            continue
        rows = _rows(word, column)
        paid = [proof for proof in proofs if any(proof.cells[row] for row in rows)]
        if paid:
            draft.gap(
                f'The status "{word}" says that no money was taken, but rows of it have something under '
                f'"{paid[0].heading}".',
            )


def _check_shipped(words: Sequence[str], status: Column, roles: Assigned, draft: Draft) -> None:
    shipped = roles.one("shipped")
    if shipped is None:
        return
    for word in words:
        if any(shipped.cells[row] for row in _rows(word, status)):
            draft.notes.append(
                f'The status "{word}" waits to be poured, but rows of it have a day under "{shipped.heading}".',
            )
