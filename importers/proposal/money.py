"""In which currency a file is, and whether its amounts are in minor units."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

from millilot.importers.proposal.evidence import Evidence, Holds
from millilot.importers.proposal.marks import CODE, currencies_of, usual
from millilot.importers.proposal.roles import AMOUNTS, assign
from millilot.ledger.money import minor_digits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millilot.importers.proposal.findings import Draft
    from millilot.importers.proposal.sheet import Sheet

_SYMBOLS = {"\u20ac": "EUR", "\u00a3": "GBP", "$": "USD"}
_MINOR = re.compile(
    r"\b(?:cents?|pence|pennies|minor(?: units?)?|centimes|c[ée]ntimos|centesimi|rappen|ct)\b", re.IGNORECASE
)


def find_currency(sheet: Sheet, evidence: Evidence, of_books: Sequence[str], draft: Draft) -> str:
    """Put down the currency; return it, or the one of the books or nothing where it is not known."""
    column = assign(evidence.columns).one("currency")
    if column is not None:
        counts = Counter(cell.upper() for cell in column.cells if cell)
        (first, count), *others = counts.most_common()
        if not others:
            draft.sure("currency", first, f'all rows of "{column.heading}"')
        else:
            draft.guess("currency", first, f'{count} of {sum(counts.values())} rows of "{column.heading}"')
            rest = ", ".join(f"{code} ({number})" for code, number in others)
            draft.notes.append(f"Rows in other currencies: {rest}.")
        return first
    if _by_amounts(evidence, of_books, draft):
        return str(draft.value("currency"))
    named = Counter(code for heading in sheet.headings for code in CODE.findall(heading))
    named.update(code for heading in sheet.headings for symbol, code in _SYMBOLS.items() if symbol in heading)
    if named:
        return _settle(named, draft, "the headings name it")
    above = Counter(code for record in sheet.preamble for cell in record.cells for code in CODE.findall(cell))
    if above:
        return _settle(above, draft, "the lines above the headings name it")
    if of_books:
        draft.guess("currency", of_books[0], "the file names none; it is that of the books")
        return of_books[0]
    draft.missing("currency", "neither a column nor an amount nor a heading names it; -b takes that of the books")
    return ""


def _by_amounts(evidence: Evidence, of_books: Sequence[str], draft: Draft) -> bool:
    """Put down the currency that the amounts name; return whether they do."""
    found = Counter(
        currencies
        for column in evidence.columns
        if column.holds is Holds.AMOUNTS
        for cell in dict.fromkeys(column.cells)
        if (currencies := currencies_of(cell))
    )
    named = Counter[str]()
    several = False
    # The sign of several currencies is that of one which another amount names.
    for currencies, count in sorted(found.items(), key=lambda each: len(usual(each[0]))):
        likely = usual(currencies)
        known = [code for code in named if code in currencies]
        own = [code for code in of_books[:1] if code in currencies]
        several = several or (not known and (len(likely) > 1 or (bool(own) and own[0] not in likely)))
        named[(known or own or likely)[0]] += count
    if not named:
        return False
    if several and len(named) == 1:
        code = next(iter(named))
        of = "; the books are in it" if code in of_books[:1] else ""
        draft.guess("currency", code, f"its sign in the amounts, which others have as well{of}")
    else:
        _settle(named, draft, "the amounts name it")
    return True


def _settle(found: Counter[str], draft: Draft, because: str) -> str:
    (first, _), *others = found.most_common()
    if others:
        codes = ", ".join(code for code, _ in found.most_common())
        draft.contradicted("currency", first, f"the file names {codes}")
    else:
        draft.sure("currency", first, because)
    return first


def find_minor_units(evidence: Evidence, currency: str, draft: Draft) -> bool:
    """Put down whether 1250 is 12.50; return it."""
    if currency and minor_digits(currency) == 0:
        return False
    roles = assign(evidence.columns)
    columns = [
        column
        for role in AMOUNTS
        for column in roles.columns.get(role, ())
        if column.holds in {Holds.AMOUNTS, Holds.WHOLE}
    ]
    named = [column for column in columns if _MINOR.search(column.heading)]
    if named:
        draft.sure("numbers.minor-units", True, f'the heading "{named[0].heading}"')
        return True
    numbers = [number for column in columns for number in column.numbers if number]
    if len(numbers) < 6 or any(column.holds is not Holds.WHOLE for column in columns):
        return False
    largest = max(columns, key=lambda column: sum(abs(number) for number in column.numbers if number))
    amounts = sorted(abs(number) for number in largest.numbers if number)
    odd = sum(1 for number in numbers if number % 100)
    if amounts and amounts[len(amounts) // 2] >= 400 and odd * 3 > len(numbers):
        draft.guess("numbers.minor-units", True, "no amount has decimals, and all would be large")
        return True
    return False
