"""What the words in the cells mean: the status of an order, and what happened on a channel."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING

from millilot.importers.amounts import in_plain_marks
from millilot.importers.proposal.headings import fit, normalise, read_phrases

if TYPE_CHECKING:
    from collections.abc import Iterable
    from decimal import Decimal

#: What a longer text is about if no phrase explains it: words it must have one of, each.
_ABOUT = (
    (
        "payout-returned",
        (
            r"pay ?outs?|transfer|withdrawal|auszahlung|virement|bonifico|uitbetaling",
            r"return\w*|fail\w*|revers\w*|reject\w*|bounced|zuruck\w*|rejete|devuelt\w*|mislukt",
        ),
    ),
    (
        "fee-refund",
        (
            (
                r"fees?|commissions?|\w*gebuhr\w*|\w*provision|frais|comision\w*|commission[ei]|commissie|tariff[ae]"
                r"|\w*kosten"
            ),
            (
                r"refund\w*|credit\w*|return\w*|revers\w*|\w*erstatt\w*|rembours\w*|reembols\w*|rimbors\w*"
                r"|terugbet\w*|teruggave|\w*gutschrift|avoir|ristourne|devol\w*|storno|back"
            ),
        ),
    ),
    (
        "refund-tax",
        (
            r"tax\w*|vat|gst|mwst|ust|\w*steuer|tva|iva|btw",
            r"refund\w*|return\w*|\w*erstatt\w*|rembours\w*|reembols\w*|rimbors\w*|terugbet\w*",
        ),
    ),
    (
        "tax-remitted",
        (
            r"tax\w*|vat|gst|mwst|ust|\w*steuer|tva|iva|btw",
            (
                r"remit\w*|withh\w*|kept|passed|handed|\w*gefuhrt\w*|\w*behalten\w*|reverse\w*|retenu\w*"
                r"|retenid\w*|versat\w*|trattenut\w*|\w*gedragen|ingehouden"
            ),
        ),
    ),
    ("label", (r"\w*labels?|\w*etikett\w*|etiquettes?|etiquetas?|etichett\w*|paketschein",)),
    (
        "dispute-won",
        (
            r"dispute|chargeback|case|claim|streitfall|litige|disputa",
            r"won|favou?r|gewonnen|gagne|ganad\w*|vint\w*",
        ),
    ),
    (
        "dispute-lost",
        (r"dispute|chargeback|case|claim|streitfall|litige|disputa", r"lost|verloren|perdu|perdid\w*|pers\w*"),
    ),
    ("dispute", (r"disputes?|disputed|chargebacks?|streitfall|litige|disputa|geschil",)),
    ("release", (r"releas\w*|freigab\w*|freigegeben|liber\w*|debloqu\w*|sblocc\w*|vrijg\w*",)),
    ("hold", (r"holds?|held|reserv\w*|einbehalt\w*|retenue|retencion|trattenut\w*|inhouding",)),
    (
        "payout",
        (
            (
                r"pay ?outs?|withdrawals?|disburse\w*|auszahlung\w*|versement|virement|bonifico|uitbetaling\w*"
                r"|transferencia"
            ),
        ),
    ),
    ("refund", (r"refund\w*|\w*erstatt\w*|rembours\w*|reembols\w*|rimbors\w*|terugbet\w*|ruckzahlung",)),
    (
        "ads",
        (
            r"adverts?|advertis\w*|ads?|werbe\w*|werbung|publicit\w*|publicidad|pubblicita|reclame|advertentie\w*",
        ),
    ),
    (
        "compensation",
        (r"compensat\w*|reimburse\w*|insurance|goodwill|entschadig\w*|indemni\w*|vergoeding|risarciment\w*",),
    ),
    (
        "fee",
        (
            (
                r"fees?|commission\w*|commissie|\w*gebuhr\w*|\w*provision|frais|comision\w*|tarif\w*|subscription"
                r"|charges?|abonnement"
            ),
        ),
    ),
    ("adjustment", (r"adjust\w*|correct\w*|\w*korrektur|ajust\w*|rettific\w*|corre[zc]\w*",)),
    ("exchange", (r"conver\w*|exchange|\w*umrechnung|fx",)),
    ("tax", (r"tax|vat|gst|mwst|ust|\w*steuer|tva|iva|btw",)),
    ("postage", (r"postage|shipping|delivery|versand\w*|porto|port|envio|spedizion\w*|verzend\w*",)),
    ("price", (r"sales?|sold|verkauf\w*|vente|venta|vendita|verkoop",)),
)

_GIVES_BACK = re.compile(
    r"\b(?:refund(?:ed)?|returned|\w*erstattet|\w*erstattung|zuruckgesendet|remboursee?s?|remboursement|retournee?"
    r"|reembolsad[oa]|devuelto|rimborsat[oa]|terugbetaald|geretourneerd)\b",
)
#: What a longer status is about. Whether money was taken of what was called off, the importer sees by the amounts.
_ABOUT_STATUS = (
    (
        "cancelled",
        re.compile(
            r"\b(?:cancell?ed|voided|storniert\w*|annulee?s?|annull?iert|cancelad[oa]|anulad[oa]|annullat[oa]"
            r"|cancellat[oa]|geannuleerde?)\b",
        ),
    ),
    ("book", _GIVES_BACK),
)
_SIDES = {
    meaning: frozenset(map(" ".join, phrases)) for meaning, phrases in read_phrases("directions.toml").items()
}
_STATUS_TABLE = read_phrases("statuses.toml")
_EVENT_TABLE = read_phrases("events.toml")


@lru_cache(maxsize=5000)
def status_of(text: str) -> tuple[str, float]:
    """Return the key of `[status]` a word belongs to, and how well; the empty key for a word nobody knows."""
    words = normalise(text).split()
    scores = {
        status: max((fit(phrase, words) for phrase in table), default=0.0)
        for status, table in _STATUS_TABLE.items()
    }
    best = max(scores, key=lambda status: scores[status])
    if scores[best] >= 0.5:
        return best, scores[best]
    about = next((status for status, words in _ABOUT_STATUS if words.search(normalise(text))), "")
    return (about, 0.6) if about else ("", 0.0)


def gives_back(text: str) -> bool:
    """Whether a status says that money, or goods, went back."""
    return _GIVES_BACK.search(normalise(text)) is not None


@lru_cache(maxsize=5000)
def side_of(text: str) -> tuple[int, bool]:
    """Return 1 for what comes in, -1 for what goes out, 0 for a word nobody knows; and whether a bank says so."""
    word = normalise(text) or {"+": "plus", "-": "minus"}.get(in_plain_marks(text), "")
    side = next((side for side, words in _SIDES.items() if word in words), "")
    return {"in": 1, "credit": 1, "out": -1, "debit": -1}.get(side, 0), side in {"credit", "debit"}


@lru_cache(maxsize=5000)
def event_of(text: str) -> tuple[str, float]:
    """Return what a word for an event is, and how well it fits; the empty kind for a word nobody knows."""
    words = normalise(text).split()
    scores = {
        kind: max((fit(phrase, words) for phrase in table), default=0.0) for kind, table in _EVENT_TABLE.items()
    }
    best = max(scores, key=lambda kind: scores[kind])
    if scores[best] >= 0.6:
        return best, scores[best]
    plain = " ".join(words)
    for kind, groups in _ABOUT:
        if all(re.search(rf"\b(?:{group})\b", plain) for group in groups):
            return kind, 0.6
    return (best, scores[best]) if scores[best] >= 0.45 else ("", 0.0)


#: What a sale is made of.
SALE = frozenset({"price", "postage", "extra", "discount", "tax", "tax-remitted"})
#: What the channel takes.
COSTS = frozenset({"fee", "ads", "label"})
#: What has a name of its own, kept with the amount.
NAMED = COSTS | {"extra"}
#: What something is whose amounts all come in, and all go out.
RISING = {
    "fee": "fee-refund",
    "payout": "payout-returned",
    "refund-tax": "tax-remitted",
    "adjustment": "compensation",
}
FALLING = {"tax": "tax-remitted", "postage": "label", "extra": "refund", "fee-refund": "fee", "price": "refund"}
_RISES = frozenset({"price", "postage", "extra", "tax", "release", "fee-refund", "dispute-won", "compensation"})
_FALLS = frozenset({*COSTS, "refund", "refund-tax", "hold", "payout", "dispute", "tax-remitted", "discount"})


def by_sign(kind: str, amounts: Iterable[Decimal]) -> str:
    """Return what something is by the signs of its amounts; nothing where they contradict it."""
    amounts = list(amounts)
    if kind in _FALLS and all(amount > 0 for amount in amounts):
        return RISING.get(kind, kind if kind == "label" else "")
    if kind in _RISES and all(amount < 0 for amount in amounts):
        return FALLING.get(kind, "")
    return kind


#: Words that a kind has already in its name.
_OF_KIND = {
    "extra": frozenset({"extra", "extras", "charge", "paid", "buyer"}),
    "fee": frozenset({"fee", "fees", "charge", "charges", "gebuhr", "gebuhren", "frais", "kosten"}),
    "ads": frozenset({"ad", "ads", "advertising", "fee", "fees"}),
    "label": frozenset({"label", "labels", "shipping", "postage", "purchase", "fee"}),
}


def name_of(kind: str, text: str) -> str | None:
    """Return what words for a cost or an extra charge say more than that it is one; None when they do not."""
    if kind not in NAMED:
        return None
    words = [word for word in slug(text).split("-") if word not in _OF_KIND[kind]]
    return "-".join(words) or None


def slug(text: str) -> str:
    """Return a heading or a word as the kind of a fee: lower case, with hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", normalise(text)).strip("-") or "fee"
