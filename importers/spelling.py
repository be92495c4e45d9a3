"""How titles and names are compared: by what they say, not by how it is spelt."""

from __future__ import annotations

import re
import unicodedata

#: Accents on Latin letters; in other scripts a mark of this kind makes another letter.
_ACCENTED = re.compile("([a-z])[\N{COMBINING GRAVE ACCENT}-\N{COMBINING LATIN SMALL LETTER X}]+")
#: Letters that Unicode does not take apart, and marks that stand for the same thing.
_SAME = str.maketrans(
    {
        "\N{LATIN SMALL LETTER O WITH STROKE}": "o",
        "\N{LATIN SMALL LETTER L WITH STROKE}": "l",
        "\N{LATIN SMALL LETTER D WITH STROKE}": "d",
        "\N{LATIN SMALL LETTER DOTLESS I}": "i",
        "\N{LATIN SMALL LETTER AE}": "ae",
        "\N{LATIN SMALL LIGATURE OE}": "oe",
        "\N{MULTIPLICATION SIGN}": "x",
        "\N{LEFT SINGLE QUOTATION MARK}": "'",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "\N{MODIFIER LETTER APOSTROPHE}": "'",
        "\N{PRIME}": "'",
        "\N{ACUTE ACCENT}": "'",
        "`": "'",
    },
)


def plain(text: str) -> str:
    """Return a text in lower case and single-spaced, its accents kept."""
    return " ".join(unicodedata.normalize("NFC", text).casefold().split())


def fold(text: str) -> str:
    """Return a text in lower case, single-spaced, without accents, and with plain letters and digits.

    Raised digits and fractions stay as they are: read as digits, a footnote behind a 5 would make 52 of it.
    """
    marked = text.translate(_SAME)
    apart = "".join(
        character if unicodedata.category(character) == "No" else unicodedata.normalize("NFKD", character)
        for character in marked
        if unicodedata.category(character) != "Cf"
    )
    folded = _ACCENTED.sub(r"\1", apart.casefold()).translate(_SAME)
    return " ".join(unicodedata.normalize("NFC", folded).split())
