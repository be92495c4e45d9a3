"""What the headings of a file can mean: the words of bookkeeping in six languages, which stand in `headings.toml`.

Accents and the case of letters count for nothing. A heading means the more of something the more of it a phrase
explains.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from functools import lru_cache
from importlib.resources import files

#: Roles whose cells must not reach the books, and are of no use here.
PRIVATE = "private"

#: Words that say nothing about which column it is.
_WORDS = """
    the a an your my of for on by from to at and with buyer customer charged amount order item cents pence centimes
    der die das des vom von fur am im zum de la le les du del el los las il lo di da per al van het een voor en et
    e y und
"""
_EMPTY_WORDS = frozenset(_WORDS.split())
_ZONE = re.compile(
    r"\(?\b(?:(?:UTC|GMT)(?:\s?[-+\u2212]\s?\d{1,2}(?::?\d{2})?)?(?!\w)"
    r"|(?:Africa|America|Asia|Atlantic|Australia|Europe|Indian|Pacific)/[A-Z][A-Za-z_/-]+)\)?",
)
_CURRENCY = re.compile(r"\(?\b(?:USD|EUR|GBP|CHF|CAD|AUD|SEK|NOK|DKK|PLN|JPY|NZD|CZK|HUF)\b\)?|[$€£¥]")


def normalise(text: str) -> str:
    """Return a text as words in lower case, without accents, marks, currencies and zones."""
    text = _CURRENCY.sub(" ", _ZONE.sub(" ", text))
    text = re.sub(r"(?<=[a-z\u00df-\u00ff])(?=[A-Z])", " ", text.replace("MwSt", "Mwst"))
    plain = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(character for character in plain if not unicodedata.combining(character))
    return " ".join(re.findall(r"[^\W_]+", plain))


def read_phrases(name: str) -> dict[str, tuple[tuple[str, ...], ...]]:
    """Return the phrases of a file beside this one, each as its words, by what they mean."""
    text = files(__package__ or "").joinpath(name).read_text(encoding="utf-8")
    return {
        meaning: tuple(
            dict.fromkeys(
                tuple(phrase.split())
                for line in phrases.splitlines()
                for phrase in line.split("|")
                if phrase.strip()
            )
        )
        for meaning, phrases in tomllib.loads(text).items()
    }


_TABLE = read_phrases("headings.toml")


_BACK = re.compile(
    r"\b(?:refund\w*|\w*erstatt\w*|rembours\w*|reembols\w*|rimbors\w*|terugbet\w*|returned|given back"
    r"|zuruck(?!behalt|gehalt|gestell)\w*|devuelt\w*|devoluc\w*|restitu\w*)\b",
)
_TAX = re.compile(r"\b(?:tax\w*|vat|gst|mwst|ust|\w*steuer|tva|iva|impuestos?|imposta|btw)\b")
_CHARGED = re.compile(r"\b(?:charges?|costs?|fees?|\w*kosten|\w*gebuhr\w*|frais)\b")
_FEE = re.compile(r"\b(?:fees?|commission\w*|\w*gebuhr\w*|\w*provision|frais|comision\w*|tariff[ae]|commissie)\b")


_WITH_IT = re.compile(r"\b(?:incl|including|included|inc|inkl\w*|ttc|brutto|with|mit|avec|con|met)\b")
_RATE = re.compile(r"\b(?:rate|percent\w*|prozent\w*|satz|taux|tasa|tasso|tarief)\b|\w+satz\b")


#: What a longer heading is about if no phrase explains most of it, the words that say most first.
_ABOUT = {
    "parent": (0.51, re.compile(r"\b(?:parent|related|original|linked|refers|verwandt\w*|ursprung\w*|liee)\b")),
    "refund": (0.5, _BACK),
    "tax": (0.49, _TAX),
    "label": (0.48, re.compile(r"\b(?:labels?|\w*etikett\w*|etiquettes?|etiquetas?|etichett\w*)\b")),
    "ads": (
        0.47,
        re.compile(r"\b(?:ads?|advert\w*|werbe\w*|werbung|publicit\w*|publicidad|pubblicita)\b"),
    ),
    "fee": (0.46, re.compile(rf"{_FEE.pattern}|\b(?:cut|processing|charges?|kommission|entgelt\w*)\b")),
    "discount": (
        0.45,
        re.compile(r"\b(?:discount\w*|coupons?|vouchers?|promo|rabatt\w*|remise|sconto|descuento|korting)\b"),
    ),
    "postage": (
        0.44,
        re.compile(r"\b(?:shipping|postage|delivery|versand\w*|porto|port|envio|spedizion\w*|verzend\w*)\b"),
    ),
    "event": (0.42, re.compile(r"\b(?:txn?|trx|transaction|transaktion\w*|transaccion|transazione|transactie)\b")),
    "net": (0.43, re.compile(r"\b(?:net|netto|proceeds|earnings?|payout|auszahlung\w*)\b")),
}


@lru_cache(maxsize=20_000)
def meanings(heading: str) -> dict[str, float]:
    """Return what a heading may mean, with how well each fits: 1 when a phrase is the whole of it."""
    words = normalise(heading[:200]).split()
    scores = {}
    for role, phrases in _TABLE.items():
        best = max((fit(phrase, words) for phrase in phrases), default=0.0)
        if best > 0:
            scores[role] = best
    if max(scores.values(), default=0.0) < 0.6:
        for role, (score, about) in _ABOUT.items():
            if about.search(" ".join(words)):
                scores[role] = max(scores.get(role, 0.0), score)
    if "discount" in scores and _CHARGED.search(" ".join(words)):
        # What the channel charges for a promotion is no discount to the buyer.
        scores["ads"] = max(scores.get("ads", 0.0), scores.pop("discount"))
    _tell_tax_from_fee(" ".join(words), scores)
    return scores


def _tell_tax_from_fee(text: str, scores: dict[str, float]) -> None:
    """Change what a heading with words for taxes, fees and what was given back may mean."""
    taxes_fee = _TAX.search(text) and _FEE.search(text) and not _RATE.search(text)
    if _BACK.search(text):
        # What went back: of the tax, of the fees, or when.
        for role, word in (("refund_tax", _TAX), ("refund_fee", _FEE)):
            if word.search(text) and not (taxes_fee and role == "refund_tax"):
                scores[role] = max(scores.get(role, 0.0), 0.95)
    elif taxes_fee and max(scores.values(), default=0.0) < 1 and not scores.keys() & {"postage", "extra"}:
        # Tax on a fee is the seller's cost, not the buyer's tax; a fee with its tax is the sum of both.
        scores.pop("tax", None)
        scores["fee_total" if _WITH_IT.search(text) else "fee"] = 0.95


def fit(phrase: tuple[str, ...], words: list[str]) -> float:
    """Return how much of some words a phrase explains, 1 for all."""
    if len(phrase) > len(words):
        return 0.0
    total = sum(map(_weight, words))
    for start in range(len(words) - len(phrase) + 1):
        part = words[start : start + len(phrase)]
        if all(_same(pattern, word) for pattern, word in zip(phrase, part, strict=True)):
            share = sum(map(_weight, part)) / total
            if len(part) == len(words):
                # Part of a compound says less than the whole word does.
                return 0.9 if any("*" in pattern for pattern in phrase) else 1.0
            # What a longer phrase says is said more surely.
            return share * (0.72 + 0.06 * len(phrase))
    return 0.0


def _weight(word: str) -> float:
    return len(word) * (0.15 if word in _EMPTY_WORDS else 1.0)


def _same(pattern: str, word: str) -> bool:
    if "*" not in pattern:
        return pattern == word
    return word.endswith(pattern.lstrip("*"))
