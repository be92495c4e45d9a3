"""From the text of a cell to an amount, a date or a count, by what the profile says of the file."""

from __future__ import annotations

import datetime
import re
import unicodedata
from decimal import Decimal
from typing import TYPE_CHECKING

from millilot.importers.table import RowError
from millilot.ledger.money import minor_digits

if TYPE_CHECKING:
    from millilot.importers.profile import Profile
    from millilot.importers.table import Row

ZERO = Decimal(0)

#: What channels write where there is no amount.
_NOTHING = frozenset({"", "-", "--", "\N{EN DASH}", "\N{EM DASH}"})


#: Nothing sold here costs more digits, and sums of such amounts stay exact.
_MOST_DIGITS = 12


class CellReader:
    """Reads the cells of one file."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        decimal = re.escape(profile.decimal)
        # Cells are single-spaced in plain spaces, whatever kind of space the file has between thousands.
        thousands = " " if profile.thousands.isspace() else re.escape(profile.thousands)
        grouped = f"[0-9]{{1,3}}(?:{thousands}[0-9]{{3}})+|" if thousands else ""
        self._number = re.compile(f"(?P<whole>{grouped}[0-9]+)?(?:{decimal}(?P<fraction>[0-9]+))?")
        self._digits = minor_digits(profile.currency)
        self._example = f"1{profile.thousands}234" + (f"{profile.decimal}50" if self._digits else "")

    def amount(self, row: Row, heading: str) -> Decimal | None:
        """Return an amount in the profile's currency, None for an empty cell or no column.

        Raises:
            RowError: when the cell is not a number, or finer than the currency's minor unit.
        """
        text = row[heading]
        if text in _NOTHING:
            return None
        number = self._parse(text)
        if number is None or -int(number.as_tuple().exponent) > max(self._digits, 2):
            raise self._refuse(row, heading, f"an amount like {self._example}")
        if number.adjusted() >= _MOST_DIGITS:
            raise self._refuse(row, heading, f"an amount of at most {_MOST_DIGITS} digits")
        minor = number.quantize(Decimal(1).scaleb(-self._digits))
        if minor != number:
            raise self._refuse(row, heading, f"at most {self._digits} decimals")
        return minor

    def amount_above(self, row: Row, heading: str) -> Decimal | None:
        """Return an amount of 0 or more, None for an empty cell or no column.

        Raises:
            RowError: as `amount`, and for an amount below 0.
        """
        amount = self.amount(row, heading)
        if amount is not None and amount < 0:
            raise self._refuse(row, heading, "an amount, 0 or above")
        return amount

    def count(self, row: Row, heading: str) -> int:
        """Return a whole number above 0, 1 for an empty cell or no column.

        Raises:
            RowError: when it is anything else.
        """
        text = row[heading]
        if not text:
            return 1
        number = self._parse(text)
        if number is None or number < 1 or number != int(number) or number.adjusted() >= _MOST_DIGITS:
            raise self._refuse(row, heading, "a whole number above 0")
        return int(number)

    def date(self, row: Row, heading: str) -> datetime.date | None:
        """Return the day, None for an empty cell or no column.

        Raises:
            RowError: when the cell does not have the profile's date format.
        """
        text = row[heading]
        if not text:
            return None
        layout = self._profile.date_format
        try:
            # Books have days without a zone; the day is the one the file writes.
            return datetime.datetime.strptime(text, layout).date()  # noqa: DTZ007
        except ValueError:
            example = datetime.date(2026, 1, 31).strftime(layout)
            raise self._refuse(row, heading, f"a date like {example}") from None

    def _parse(self, text: str) -> Decimal | None:
        text = text.replace("\N{MINUS SIGN}", "-").replace(self._profile.currency, "")
        text = "".join(mark for mark in text if unicodedata.category(mark) != "Sc").strip()
        negative = False
        if text.startswith("(") and text.endswith(")"):
            negative, text = True, text[1:-1]
        elif text.startswith(("-", "+")):
            negative, text = text[0] == "-", text[1:]
        elif text.endswith("-"):
            negative, text = True, text[:-1]
        match = self._number.fullmatch(text.strip())
        if match is None or not match[0]:
            return None
        whole = re.sub("[^0-9]", "", match["whole"] or "0")
        number = Decimal(f"{whole}.{match['fraction'] or ''}")
        return -number if negative else number

    @staticmethod
    def _refuse(row: Row, heading: str, expected: str) -> RowError:
        return RowError(row.number, f"column '{heading}': expected {expected}, found {found(row, heading)}")


def found(row: Row, heading: str) -> str:
    """Return what a cell says, for a message."""
    return repr(row[heading]) if row[heading] else "nothing"


def missing(row: Row, heading: str, expected: str) -> RowError:
    """Return the error of a cell that must not be empty."""
    return RowError(row.number, f"column '{heading}': expected {expected}, found nothing")
