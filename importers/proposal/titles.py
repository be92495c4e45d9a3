"""Which words of the titles say nothing about the fragrance: those that stand beside each of them."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from millilot.importers.spelling import fold
from millilot.importers.title_rules import TitleRules
from millilot.importers.titles import TitleReader

if TYPE_CHECKING:
    from collections.abc import Iterable

    from millilot.importers.proposal.evidence import Evidence
    from millilot.importers.proposal.findings import Draft
    from millilot.ledger.directives import Commodity

#: Beside so many fragrances a word is no part of a name, and is worth a guess.
_ENOUGH = 3
#: Words that tell one fragrance from another, or a decant from something else, whatever they stand beside.
_WORDS = """
    intense intensive intens absolu absolue absolute elixir extreme noir nuit night sport essence legere light
    summer winter limited edition vintage reformulation reformulated batch hair mist set kit trio duo
    lotion cream creme gel soap oil balm deodorant candle shampoo body bath shower wax solid
    empty box cap bottle flacon flakon tester miniature mini sealed unopened full partial half refill dupe type
    inspired like and with plus without or free gift
    leer leere leerer leeres flasche karton seife kerze creme probeset und mit oder ohne
    vide boite bougie savon et avec ou sans coffret vuoto vuota scatola sapone e con o senza
    vacio vacia caja jabon y sin estuche leeg lege doos zeep en met of zonder
"""
_TELLING = frozenset(_WORDS.split())


def propose_ignored_words(evidence: Evidence, commodities: Iterable[Commodity], draft: Draft) -> None:
    """Put down the words to ignore in titles.

    A word beside which at least three fragrances of the books stand, each with a size, and which is in the name
    of none, tells none from another. What it says of the thing itself may matter, so such words are never ignored.

    Args:
        evidence: what the columns hold.
        commodities: of the books.
        draft: has the column of the titles; takes the finding.
    """
    heading = draft.value("columns.title")
    if heading is None:
        return
    reader = TitleReader(TitleRules(), commodities)
    beside: defaultdict[str, set[str]] = defaultdict(set)
    for title in evidence.of(heading).values:
        for code, words in reader.in_the_way(title):
            for word in words:
                beside[word].add(code)
    ignored = sorted(
        word
        for word, codes in beside.items()
        if len(codes) >= _ENOUGH and word.isalpha() and len(word) > 1 and fold(word) not in _TELLING
    )
    if ignored:
        draft.guess("titles.ignore", ignored, f"beside {_ENOUGH} fragrances or more, so no part of a name")
