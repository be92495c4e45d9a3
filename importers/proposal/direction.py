"""Which way money went, where amounts have no sign: by a column of words for it, or by words behind the amounts.

A running balance that changes by just the amount tells it more surely than the words do.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

from millilot.importers.amounts import in_plain_marks
from millilot.importers.proposal.evidence import Column, Evidence, Holds
from millilot.importers.proposal.findings import Certainty
from millilot.importers.proposal.marks import word_behind
from millilot.importers.proposal.roles import assign
from millilot.importers.proposal.words import event_of, side_of, status_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from decimal import Decimal

    from millilot.importers.proposal.findings import Draft
    from millilot.importers.proposal.roles import Assigned

#: Columns whose amounts went the way that the word says, the one that is most likely the amount first.
_MOVED = ("amount", "gross", "net", "price")
#: From here on, a heading says what its column is.
_NAMED = 0.6
#: As many rows of a column must have words that are known, if some are not.
_MOST_ROWS = 0.8
#: Fewer changes of the balance than these do not tell what words mean that nobody knows.
_LEAST_CHANGES = 4
#: Nor do fewer than these turn round what words mean.
_LEAST_TURNED = 3
#: From this share of its texts on, a column names goods.
_SIZED = 0.25
#: As many different words there are of directions: perhaps one for what was neither.
_WORDS = frozenset({2, 3})


@dataclass(frozen=True, slots=True)
class Directions:
    """Words that say which way money went.

    Attributes:
        heading: of their column; empty where they stand behind the amounts.
        signs: 1 or -1 by the word, as the file writes it; the empty word stands for none at all.
        certainty: how much is known of it.
        because: the evidence, in words.
        evidence: what the columns hold, with the signs the words give and without the column of the words.
        gap: which rows will be refused, or empty.
        note: what else the owner should know, or empty.
        is_named: whether the heading of the column says what it is.
    """

    heading: str
    signs: Mapping[str, int]
    certainty: Certainty
    because: str
    evidence: Evidence
    gap: str = ""
    note: str = ""
    is_named: bool = False

    def put(self, draft: Draft) -> None:
        """Put down the keys."""
        because = self.because
        if self.heading:
            draft.put("columns.direction", self.heading, self.certainty, because)
            because = "the words of that column"
        for key, side in (("in", 1), ("out", -1)):
            words = sorted((word for word in self.signs if self.signs[word] == side), reverse=True)
            spellings = {_plain(word): word for word in words}
            if spellings:
                draft.put(f"direction.{key}", sorted(spellings.values()), self.certainty, because)
        if self.gap:
            draft.gap(self.gap)
        if self.note:
            draft.notes.append(self.note)


def find_directions(evidence: Evidence) -> Directions | None:
    """Return the words for directions, None where the amounts have signs or two columns, or no word is one."""
    found = [each for column in evidence.columns if (each := _beside(column, evidence)) is not None]
    # What a column is called counts for more than what else its words could mean.
    return max(found, key=_surely) if found else _behind(evidence)


@dataclass(frozen=True, slots=True)
class Question:
    """A column whose words may say which way money went, where nothing else in the file does.

    Attributes:
        heading: of the column.
        words: what stands in it.
    """

    heading: str
    words: tuple[str, ...]

    def put(self, draft: Draft) -> None:
        """Put down what only the owner can tell."""
        because = "no amount has a sign, and its words could say which way the money went"
        draft.guess("columns.direction", self.heading, because)
        words = " or ".join(f'"{word}"' for word in self.words)
        draft.missing("direction.in", f"which of {words} means that money came in")
        draft.missing("direction.out", f"which of {words} means that money went out")
        draft.gap(
            f"No amount has a sign, and nothing tells whether {words} came in or went out: [columns] "
            f'direction = "{self.heading}" stays, and [direction] in and out must name the words; if they mean '
            "something else, both go."
        )


def find_question(evidence: Evidence) -> Question | None:
    """Return the column to ask about, None where signs or two columns tell, or the balance follows the amounts."""
    roles = assign(evidence.columns)
    moved, balance = _moved(roles, evidence)[:1], roles.one("balance")
    if not moved or any(column.sizes >= _SIZED for column in evidence.columns) or _follows(moved[0], balance):
        return None
    if any(number is not None and number < 0 for number in moved[0].numbers):
        return None
    for column in evidence.columns:
        asked = column.holds is Holds.WORDS and len(column.values) in _WORDS and column.filled == len(column.cells)
        if asked and roles.role(column.heading) not in {"currency", "status", "order", "payout", "sku"}:
            return Question(column.heading, tuple(sorted(column.values)))
    return None


def _surely(found: Directions) -> tuple[bool, bool, bool]:
    """Return how sure a column is: by what confirms it, by its heading, and by its words."""
    return found.certainty is not Certainty.CONTRADICTED, found.is_named, found.certainty is Certainty.SURE


def _moved(roles: Assigned, evidence: Evidence) -> list[Column]:
    """Return the columns of amounts that move the account, the likeliest first; none where there are two sides."""
    if roles.one("credit") is not None and roles.one("debit") is not None:
        return []
    named = [column for role in _MOVED if (column := roles.one(role)) is not None and column.numbers]
    amounts = [column for column in evidence.columns if column.holds is Holds.AMOUNTS]
    return named or (amounts if len(amounts) == 1 else [])


def _beside(column: Column, evidence: Evidence) -> Directions | None:
    """Return the words of a column, if they are for directions and the amounts need them."""
    if column.holds is not Holds.WORDS:
        return None
    signs = _by_words(column)
    if not signs and (len(column.values) not in _WORDS or _has_a_meaning(column.values)):
        return None
    rest = replace(evidence, columns=tuple(other for other in evidence.columns if other is not column))
    roles = assign(rest.columns)
    moved, balance = _moved(roles, rest), roles.one("balance")
    if not moved:
        return None
    votes, changes = _by_balance(column.cells, moved, balance, signs)
    told = _of_known(column, signs, votes, changes) if signs else _of_unknown(column, votes, changes)
    own = _against_signs(told.signs, column, moved[0], balance, rest.lines) if told is not None else None
    if told is None or own is None:
        return None
    problem = told.problem or own
    if problem and not votes and not _is_named(column):
        return None
    certainty = Certainty.CONTRADICTED if problem else Certainty.SURE if told.sure else Certainty.GUESSED
    signed = _signed(rest, moved, [told.signs.get(word, 0) for word in column.cells])
    gap = _refused(column, moved[0], told.signs)
    because = problem or told.because
    return Directions(
        column.heading, told.signs, certainty, because, signed, gap, is_named=_is_named(column),
    )


class _Told(NamedTuple):
    """What the words of a column mean, whether that is sure, why, and what contradicts it."""

    signs: Mapping[str, int]
    sure: bool
    because: str
    problem: str = ""


def _of_known(
    column: Column, signs: Mapping[str, int], votes: Mapping[str, tuple[int, int]], changes: int,
) -> _Told | None:
    """Return what words mean that are known, None where they may be about goods."""
    problem, turned = _against_balance(signs, votes, changes)
    if not _is_named(column) and any(status_of(word)[0] for word in signs) and (problem or not votes):
        # Goods are sent and received as money is.
        return None
    if turned:
        signs = {word: -sign for word, sign in signs.items()}
    of_bank = any(side_of(word)[1] for word in signs)
    sure = not of_bank or all(_plain(word) in votes for word in signs)
    because = "what the words mean"
    if votes:
        because = f"the balance follows them in {changes} rows"
    elif of_bank:
        because = "what the words mean to a bank; in books of your own they mean the opposite"
    return _Told(signs, sure, because, problem)


def _of_unknown(column: Column, votes: Mapping[str, tuple[int, int]], changes: int) -> _Told | None:
    """Return what words mean that nobody knows, None where the balance does not tell."""
    if changes < _LEAST_CHANGES or not _tells(votes, column.values):
        return None
    signs = {word: 1 if votes[_plain(word)][1] else -1 for word in column.values}
    because = f"nobody knows the words, but the balance follows them in {changes} rows"
    return _Told(signs, _is_named(column), because)


def _plain(word: str) -> str:
    """Return a word as any spelling of it is: case and kinds of dashes count for nothing."""
    return in_plain_marks(word).casefold()


def _is_named(column: Column) -> bool:
    return column.meanings.get("direction", 0.0) >= _NAMED


def _by_words(column: Column) -> dict[str, int]:
    """Return what the words of a column mean by themselves; nothing if it is not one of directions."""
    known = {word: side_of(word) for word in column.values if side_of(word)[0]}
    sides = {sign for sign, _ in known.values()}
    of_bank = any(bank for _, bank in known.values())
    named = _is_named(column)
    rows = sum(word in known for word in column.cells)
    if len(known) < len(column.values) and not (named and rows >= _MOST_ROWS * column.filled):
        return {}
    # One word alone may say anything else as well, and so may letters, or what was sent and received of goods.
    letters = any(len(word) == 1 and word.isalpha() for word in known)
    told = (len(sides) == 2 or of_bank) and not letters and column.meanings.get("status", 0.0) < _NAMED
    return {word: sign for word, (sign, _) in known.items()} if told or named else {}


def _refused(column: Column, amount: Column, signs: Mapping[str, int]) -> str:
    """Return which rows have an amount and no word for its direction."""
    rows = [row for row, word in enumerate(column.cells) if word not in signs and amount.numbers[row]]
    if not rows:
        return ""
    words = " or ".join(sorted({f'"{column.cells[row]}"' if column.cells[row] else "nothing" for row in rows}))
    return f'"{column.heading}" says {words} in {len(rows)} row(s): neither in nor out, so they are refused.'


def _has_a_meaning(words: Iterable[str]) -> bool:
    """Whether some word says what happened, or how an order stands."""
    return any(event_of(word)[0] or status_of(word)[0] for word in words)


def _by_balance(
    cells: Sequence[str], moved: Iterable[Column], balance: Column | None, signs: Mapping[str, int],
) -> tuple[dict[str, tuple[int, int]], int]:
    """Return how often the balance falls and rises by the amount, by word in lower case, and how often it does.

    Nothing is returned where it follows the amounts in half of the rows or fewer. Where an amount comes again and
    again, it may follow them upwards and downwards; then that goes which has it do one thing with one word, and
    what the word means.
    """
    best: tuple[dict[str, tuple[int, int]], int] = ({}, 0)
    meant = {_plain(word): sign for word, sign in signs.items()}
    rank = (0, 0, 0)
    if balance is None:
        return best
    for column in moved:
        for step in (-1, 1):
            votes: defaultdict[str, Counter[bool]] = defaultdict(Counter)
            pairs = 0
            for word, amount, change in _changes(cells, column, balance, step):
                pairs += 1
                if change in {amount, -amount}:
                    votes[_plain(word)][change > 0] += 1
            follows = sum(counter.total() for counter in votes.values())
            mixed = sum(min(counter[False], counter[True]) for counter in votes.values())
            agrees = sum(counter[meant[word] > 0] for word, counter in votes.items() if word in meant)
            if follows * 2 > pairs and (follows, -mixed, agrees) > rank:
                rank = follows, -mixed, agrees
                best = {word: (counter[False], counter[True]) for word, counter in votes.items()}, follows
    return best


def _changes(
    cells: Sequence[str], column: Column, balance: Column, step: int,
) -> Iterator[tuple[str, Decimal, Decimal]]:
    """Yield word, amount and change of the balance since the row before it, which is above or below."""
    for row, (word, amount, after) in enumerate(zip(cells, column.numbers, balance.numbers, strict=True)):
        earlier = row + step
        before = balance.numbers[earlier] if 0 <= earlier < len(cells) else None
        if word and amount and after is not None and before is not None:
            yield word, amount, after - before


def _tells(votes: Mapping[str, tuple[int, int]], words: Iterable[str]) -> bool:
    """Whether the balance only rises with some word, and only falls with another."""
    told = [votes.get(word, (0, 0)) for word in set(map(_plain, words))]
    return {(bool(falls), bool(rises)) for falls, rises in told} == {(False, True), (True, False)}


def _against_balance(
    signs: Mapping[str, int], votes: Mapping[str, tuple[int, int]], changes: int,
) -> tuple[str, bool]:
    """Return how the balance contradicts the words, and whether they mean the opposite of what a bank means."""
    against = [
        (word, sign, votes[_plain(word)])
        for word, sign in signs.items()
        if _plain(word) in votes and votes[_plain(word)][sign < 0]
    ]
    if not against:
        return "", False
    agreed = any(votes.get(_plain(word), (0, 0))[sign > 0] for word, sign in signs.items())
    both = len(set(signs.values())) == 2 and changes >= _LEAST_TURNED
    if not agreed and both and all(side_of(word)[1] for word in signs):
        return "", True
    word, sign, (falls, rises) = against[0]
    comes = "comes in" if sign > 0 else "goes out"
    return f'"{word}" {comes}, but the balance falls in {falls} of its rows and rises in {rises}', False


def _against_signs(
    signs: Mapping[str, int], column: Column, amount: Column, balance: Column | None, lines: Sequence[int],
) -> str | None:
    """Return how the amounts' own signs contradict the words; None where the signs tell all without them."""
    cells = column.cells
    numbered = [(row, number, signs.get(cells[row])) for row, number in enumerate(amount.numbers) if number]
    rows = [(row, number, sign) for row, number, sign in numbered if sign is not None]
    if all(number > 0 for _, number, _ in rows):
        return ""
    opposed = [row for row, number, sign in rows if number < 0 < sign]
    agree = all((number > 0) is (sign > 0) for _, number, sign in rows)
    opposite = all((number > 0) is (sign < 0) for _, number, sign in rows)
    if agree or (opposite and all(side_of(word)[1] for word in signs)) or _follows(amount, balance):
        return None
    if not opposed:
        return ""
    row = opposed[0]
    return f'row {lines[row]} says "{cells[row]}" of {amount.cells[row]}'


def _follows(amount: Column, balance: Column | None) -> bool:
    """Whether the running balance follows the amounts as they are written."""
    if balance is None:
        return False
    every = ["every row"] * len(amount.cells)
    for step in (-1, 1):
        follows = [change == number for _, number, change in _changes(every, amount, balance, step)]
        if follows and all(follows):
            return True
    return False


def _signed(evidence: Evidence, moved: Iterable[Column], signs: Sequence[int]) -> Evidence:
    """Return the evidence with the amounts of some columns below 0 where they went out."""
    places = {column.place for column in moved}
    columns = tuple(
        replace(
            column,
            numbers=tuple(
                number if number is None or sign >= 0 else -abs(number)
                for number, sign in zip(column.numbers, signs, strict=True)
            ),
        )
        if column.place in places
        else column
        for column in evidence.columns
    )
    return replace(evidence, columns=columns)


def _behind(evidence: Evidence) -> Directions | None:
    """Return the words behind the amounts, if there are any."""
    roles = assign(evidence.columns)
    moved, balance = _moved(roles, evidence)[:1], roles.one("balance")
    sides = [column for role in ("credit", "debit") if (column := roles.one(role)) is not None]
    because = "what the words behind the amounts mean"
    signs = _words_behind(moved or sides)
    of_balance = _words_behind([balance] if balance is not None else [])
    if not moved:
        signs |= of_balance
        return Directions("", signs, Certainty.SURE, because, evidence) if sides and signs else None
    if balance is not None and of_balance and not signs:
        rest = tuple(column for column in evidence.columns if column is not balance)
        note = f'"{balance.heading}" has words behind its amounts, and the amounts have none; it is not checked.'
        return Directions("", {}, Certainty.SURE, "", replace(evidence, columns=rest), note=note)
    return _behind_amount(moved[0], signs, balance, evidence) if signs else None


def _words_behind(columns: Iterable[Column]) -> dict[str, int]:
    """Return the words behind the amounts of some columns, with what they mean."""
    words = {word_behind(cell) for column in columns for cell in column.values}
    return {word: side_of(word)[0] for word in words if word}


def _behind_amount(
    amount: Column, signs: dict[str, int], balance: Column | None, evidence: Evidence,
) -> Directions:
    """Return the words behind the amounts of the one column that has them."""
    found = [word_behind(cell) for cell in amount.cells]
    plain = [row for row, word in enumerate(found) if not word and amount.numbers[row]]
    because, certainty, gap = "what the words behind the amounts mean", Certainty.SURE, ""
    if plain and len(set(signs.values())) == 1:
        signs[""] = -next(iter(signs.values()))
        because = f"{because}; {len(plain)} row(s) have none, so they went the other way"
        certainty = Certainty.GUESSED
    elif plain:
        gap = f'{len(plain)} row(s) have no word behind the amount under "{amount.heading}"; they are refused.'
    signed = _signed(evidence, [amount], [signs.get(word, 0) for word in found])
    told = {word or "no word": sign for word, sign in signs.items()}
    votes, changes = _by_balance([word or "no word" for word in found], [amount], balance, told)
    against = [word for word, sign in told.items() if votes.get(_plain(word), (0, 0))[sign < 0]]
    if against:
        because, certainty = f'the balance does not follow "{against[0]}"', Certainty.CONTRADICTED
    elif votes:
        because, certainty = f"the balance follows the words behind the amounts in {changes} rows", Certainty.SURE
    return Directions("", signs, certainty, because, signed, gap)
