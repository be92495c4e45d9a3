"""What pages to print have in common: the paper that goes with a currency, and how templates are read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jinja2 import Environment, PackageLoader, StrictUndefined

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Currencies of countries whose paper is Letter; elsewhere it is A4.
_LETTER_CURRENCIES = frozenset({"USD", "CAD", "MXN", "CLP", "COP", "PHP"})


def is_letter(currency: str) -> bool:
    """Whether the paper of those who use a currency is Letter; else it is A4."""
    return currency in _LETTER_CURRENCIES


def paper(currency: str) -> str:
    """Return the paper that goes with a currency, as CSS calls it."""
    return "letter" if is_letter(currency) else "A4"


def templates(package: str, extensions: Sequence[str] = ()) -> Environment:
    """Return the environment of a package's templates, in which all text is escaped."""
    return Environment(
        loader=PackageLoader(package), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, extensions=extensions,
    )
