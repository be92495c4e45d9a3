"""From the text of a cell to an amount, a date or a count, by what the profile says of the file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millilot.importers.amounts import AmountReader, UnreadableError, directed, is_nothing
from millilot.importers.days import DayReader
from millilot.importers.table import RowError

if TYPE_CHECKING:
    import datetime
    from decimal import Decimal

    from millilot.importers.profile import Profile
    from millilot.importers.table import Row


#: As much of a cell as a message shows.
_MOST_SHOWN = 80


class CellReader:
    """Reads the cells of one file."""

    def __init__(self, profile: Profile) -> None:
        # Where the words have a column of their own, none stands behind an amount.
        self._beside = profile.columns.direction
        self._direction = profile.direction
        amounts = AmountReader(profile.numbers, profile.currency, None if self._beside else profile.direction)
        self._amount, self._count = amounts.amount, amounts.count
        self._fee_signs = {column.column: column.sign for column in profile.fees}
        self._day = DayReader(profile.dates).day
        self._times = profile.dates.times

    def amount(self, row: Row, heading: str) -> Decimal | None:
        """Return an amount in the profile's currency, None for an empty cell or no column.

        Raises:
            RowError: when the cell is not a number, or finer than the currency's minor unit.
        """
        try:
            return self._amount(row[heading])
        except UnreadableError as error:
            raise _refuse(row, heading, str(error)) from None

    def directed(self, row: Row, heading: str) -> Decimal | None:
        """Return an amount as `amount`, below 0 if the word beside it or behind it says that it went out.

        Raises:
            RowError: as `amount`, when the word is none of the profile's, or the amount has the other sign.
        """
        amount = self.amount(row, heading)
        if amount is None or self._direction is None:
            return amount
        word = row[self._beside] if self._beside else self._direction.split(row[heading])[1]
        sign = self._direction.sign(word)
        if sign is None and not amount and not word:
            return amount
        if sign is None:
            behind = "" if self._beside else " behind it"
            raise _refuse(row, self._beside or heading, f"{self._direction.expected}{behind}")
        try:
            return directed(amount, row[heading], sign, self._beside or word)
        except UnreadableError as error:
            raise _refuse(row, heading, str(error)) from None

    def charge(self, row: Row, heading: str) -> Decimal | None:
        """Return a fee as its column has it; a word behind it says whether it was taken or given back.

        Raises:
            RowError: as `amount`.
        """
        amount = self.amount(row, heading)
        if amount and self._direction is not None and not self._beside and self._direction.split(row[heading])[1]:
            return -amount * self._fee_signs[heading]
        return amount

    def require_side(self, row: Row, heading: str, sign: int) -> None:
        """Make sure that no word behind an amount says that it went the other way than its column does.

        Raises:
            RowError: when one does.
        """
        word = self._direction.split(row[heading])[1] if self._direction else ""
        if word and self._direction and self._direction.sign(word) != sign:
            side = "comes in" if sign > 0 else "goes out"
            raise _refuse(row, heading, f"no word, or that of an amount that {side}")

    def amount_above(self, row: Row, heading: str) -> Decimal | None:
        """Return an amount of 0 or more, None for an empty cell or no column.

        Raises:
            RowError: as `amount`, and for an amount below 0.
        """
        amount = self.amount(row, heading)
        if amount is not None and amount < 0:
            raise _refuse(row, heading, "an amount, 0 or above")
        return amount

    def count(self, row: Row, heading: str) -> int:
        """Return a whole number above 0, 1 for an empty cell or no column.

        Raises:
            RowError: when it is anything else.
        """
        try:
            return self._count(row[heading])
        except UnreadableError as error:
            raise _refuse(row, heading, str(error)) from None

    def date(self, row: Row, heading: str) -> datetime.date | None:
        """Return the day in the books, None for an empty cell or no column.

        Raises:
            RowError: when the cell has none of the profile's formats, or could mean two days.
        """
        text = row[heading]
        times = self._times.get(heading) if self._times else None
        if times and not is_nothing(text):
            text = " ".join(filter(None, [text, *(row[time] for time in times)]))
        try:
            return self._day(text)
        except UnreadableError as error:
            raise _refuse(row, heading, str(error)) from None


def _refuse(row: Row, heading: str, expected: str) -> RowError:
    return RowError(row.number, f"column '{heading}': expected {expected}, found {found(row, heading)}")


def found(row: Row, heading: str) -> str:
    """Return what a cell says, for a message."""
    text = row[heading]
    if len(text) > _MOST_SHOWN:
        return f"{text[:_MOST_SHOWN]!r}... ({len(text)} characters)"
    return repr(text) if text else "nothing"


def missing(row: Row, heading: str, expected: str) -> RowError:
    """Return the error of a cell that must not be empty."""
    return RowError(row.number, f"column '{heading}': expected {expected}, found nothing")
