"""A title gives fragrance, mL and vials, or nothing."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millilot.importers.title_rules import Bundle, Part, Pour, TitleRules
from millilot.importers.titles import TitleReader
from millilot.ledger.directives import Commodity

FRAGRANCES = [
    Commodity("CEDARHOUR", "Cedar Hour"),
    Commodity("CEDARHOURDUSK", "Cedar Hour Dusk"),
    Commodity("FIG", "Fig No. 5", strength="Extrait"),
    Commodity("TIDEEDT", "Low Tide", strength="EDT"),
    Commodity("TIDEEDP", "Low Tide", strength="EDP"),
    Commodity("SAMEA", "Twin"),
    Commodity("SAMEB", "Twin"),
    Commodity("VIAL5", "Vial", unit="each"),
    Commodity("ROOK", "Amber Rook", strength="EDP Intense"),
    Commodity("ETE", "\N{LATIN CAPITAL LETTER E WITH ACUTE}t\N{LATIN SMALL LETTER E WITH ACUTE} Sill"),
    Commodity("RIVERS", "Five Rivers"),
    Commodity("FERN", "Fern"),
    Commodity("FERN5", "Fern 5"),
]


def pour(title: str, sku: str = "", rules: TitleRules = TitleRules()) -> Pour | Bundle | None:  # noqa: B008
    return TitleReader(rules, FRAGRANCES).read(sku, title)


@pytest.mark.parametrize(
    ("title", "expected"),
    [
        ("Cedar Hour 5 mL", ("CEDARHOUR", "5", 1)),
        ("CEDAR  HOUR - 5ML decant", ("CEDARHOUR", "5", 1)),
        ("cedarhour 2.5 ml", ("CEDARHOUR", "2.5", 1)),
        # In other languages too.
        ("Cedar Hour Abf\u00fcllung 5 ml Zerst\u00e4uber", ("CEDARHOUR", "5", 1)),
        ("\u00c9chantillon Cedar Hour 2 ml", ("CEDARHOUR", "2", 1)),
        ("2,5 mL of Cedar Hour", ("CEDARHOUR", "2.5", 1)),
        ("Cedar Hour 3 x 2 mL", ("CEDARHOUR", "2", 3)),
        ("Cedar Hour 2 mL x 3 (travel spray)", ("CEDARHOUR", "2", 3)),
        ("Cedar Hour Dusk 10 mL", ("CEDARHOURDUSK", "10", 1)),
        ("Fig No. 5 Extrait, 5 mL sample", ("FIG", "5", 1)),
        ("Low Tide EDT 5 mL", ("TIDEEDT", "5", 1)),
        # The count may stand in front of the name, and a strength the books do not state says nothing against it.
        ("2 x Cedar Hour EDP 5ml sprayer", ("CEDARHOUR", "5", 2)),
        ("5x2ml Cedar Hour", ("CEDARHOUR", "2", 5)),
        ("Cedar Hour 2ml x5", ("CEDARHOUR", "2", 5)),
        ("Cedar Hour 2 mL (x5)", ("CEDARHOUR", "2", 5)),
        ("Cedar Hour, set of 3 x 2 mL", ("CEDARHOUR", "2", 3)),
        ("Set of three Cedar Hour 2 mL", ("CEDARHOUR", "2", 3)),
        ("3 vials of 2 mL Cedar Hour", ("CEDARHOUR", "2", 3)),
        ("Cedar Hour 3-pack, 2 mL each", ("CEDARHOUR", "2", 3)),
        ("Cedar Hour 10ml (2x5ml)", ("CEDARHOUR", "5", 2)),
        ("Cedar Hour 0.17 fl oz / 5 ml", ("CEDARHOUR", "5", 1)),
        ("Cedar Hour 10 mL (0.33 fl. oz.)", ("CEDARHOUR", "10", 1)),
        ("Cedar Hour 2 x 5 ml / 0.17 oz", ("CEDARHOUR", "5", 2)),
        # 0.34 US fluid ounces are 10.06 mL, 0.07 are 2.07, 1.01 are 29.87.
        ("Cedar Hour 0.34 fl oz", ("CEDARHOUR", "10", 1)),
        ("Cedar Hour 0.07 US fl oz", ("CEDARHOUR", "2", 1)),
        ("Cedar Hour 1.01 fluid ounces", ("CEDARHOUR", "30", 1)),
        ("Low Tide eau de parfum 5 mL", ("TIDEEDP", "5", 1)),
        ("Low Tide Eau de Toilette 5 mL", ("TIDEEDT", "5", 1)),
        ("Amber Rook EDP Intense 5 mL", ("ROOK", "5", 1)),
        ("Amber Rook Intense 5 mL", ("ROOK", "5", 1)),
        ("ETE SILL 5 mL", ("ETE", "5", 1)),
        ("E\N{COMBINING ACUTE ACCENT}te\N{COMBINING ACUTE ACCENT}-Sill 5\N{SQUARE ML}", ("ETE", "5", 1)),
        ("Cedar\N{NO-BREAK SPACE}Hour 2\N{MULTIPLICATION SIGN}\N{FULLWIDTH DIGIT FIVE}ml", ("CEDARHOUR", "5", 2)),
        ("Five Rivers 2 mL", ("RIVERS", "2", 1)),
        ("Fern 5 2 mL", ("FERN5", "2", 1)),
        ("Fern 2 mL", ("FERN", "2", 1)),
    ],
)
def test_by_words(title: str, expected: tuple[str, str, int]) -> None:
    code, ml, vials = expected
    assert pour(title) == Pour(code, Decimal(ml), vials)


@pytest.mark.parametrize(
    "title",
    [
        "",
        "Mystery 5 mL",
        "Cedar Hour",
        "Cedar Hour 0 mL",
        "Cedar Hour Night 5 mL",
        "Cedar Hours 5 mL",
        "Cedar Hour empty bottle 100 mL",
        "Cedar Hour 5 mL and Fig No. 5 5 mL",
        "Cedar Hour 5 mL, Cedar Hour Dusk",
        "Cedar Hour 5 mL from a 100 mL bottle",
        "2 x 5 mL x 3 Cedar Hour",
        "Cedar 5 mL Hour",
        "Low Tide 5 mL",
        "Twin 5 mL",
        "Vial 5 mL",
        "Fig No. 5 EDP 5 mL",
        "Cedar Hour Intense 5 mL",
        "Cedar Hour Dusky 5 mL",
        "Cedar, Hour 5 mL",
        "Cedar - Hour 5 mL",
        "Hour Cedar 5 mL",
        "Cedar Hour 5 mL Cedar Hour",
        "Low Tide Parfum 5 mL",
        "Amber Rook EDP 5 mL",
        "Amber Rook 5 mL",
        "Fern 5 mL",
        "Fern 5 x 2 mL",
        "Cedar Hour 10ml (2x4ml)",
        "Cedar Hour 2 mL, 2 x 2 mL",
        "2 x Cedar Hour 5 mL x 2",
        "Set of 3 Cedar Hour 2 x 2 mL",
        "Set of Cedar Hour 5 mL",
        "0 x 5 mL Cedar Hour",
        "Cedar Hour 10 mL in 2 vials",
        "Cedar Hour 2-5 mL",
        "Cedar Hour 5 or 10 mL",
        "Cedar Hour 5/10 mL",
        "Cedar Hour 1,500 mL",
        "Cedar Hour 2.5.1 mL",
        "Cedar Hour 2\N{VULGAR FRACTION ONE HALF} mL",
        "Cedar Hour 5\N{SUPERSCRIPT TWO} mL",
        "Cedar Hour 0.5 fl oz / 5 mL",
        "Cedar Hour 0.17 oz",
        # 15 mL are 0.507 fl oz, and 14 mL are 0.473; 0.12 fl oz are 3.55 mL.
        "Cedar Hour 0.5 fl oz",
        "Cedar Hour 1 fl oz",
        "Cedar Hour 0.12 fl oz",
    ],
)
def test_doubt_is_unsorted(title: str) -> None:
    assert pour(title) is None


def test_words_to_ignore_and_other_names() -> None:
    rules = TitleRules(ignore=("oakmere house",), names={"cedar hr": "CEDARHOUR"})
    assert pour("Oakmere House Cedar Hr 5 mL", rules=rules) == Pour("CEDARHOUR", Decimal(5))
    assert pour("Oakmere Cedar Hr 5 mL", rules=rules) is None


def test_a_pattern_must_fit_the_whole_title() -> None:
    pattern = re.compile(r"(?P<name>.+?) /(?P<ml>[\d.,]+)/(?P<vials>\d*)", re.IGNORECASE)
    rules = TitleRules(pattern=pattern)
    assert pour("Cedar Hour /5/2", rules=rules) == Pour("CEDARHOUR", Decimal(5), 2)
    assert pour("Cedar Hour /5/", rules=rules) == Pour("CEDARHOUR", Decimal(5), 1)
    assert pour("Cedar Hour /5/2 sealed", rules=rules) is None
    assert pour("Cedar Hour /5.5.5/2", rules=rules) is None
    assert pour("Cedar Night /5/2", rules=rules) is None
    assert pour("Cedar Hour 5 mL", rules=rules) is None


def test_a_sku_goes_before_the_title_and_a_whole_title_before_its_words() -> None:
    sealed, try_out = Pour("CEDARHOUR", Decimal(100), 0), Pour("FIG", Decimal(1))
    rules = TitleRules(skus={"CH-FULL": sealed}, items={"cedar hour 5 ml": try_out})
    assert pour("Cedar Hour 5 mL", "CH-FULL", rules) == sealed
    assert sealed.total == 100
    assert pour("Cedar  Hour 5 mL", "other", rules) == try_out


def test_a_letter_with_a_mark_is_another_letter_in_other_scripts() -> None:
    ka, ga = "\N{HIRAGANA LETTER KA}\N{HIRAGANA LETTER KI}", "\N{HIRAGANA LETTER GA}\N{HIRAGANA LETTER KI}"
    reader = TitleReader(TitleRules(), [Commodity("KAKI", ka)])
    assert reader.read("", f"{ka} 5 mL") == Pour("KAKI", Decimal(5))
    assert reader.read("", f"{ga} 5 mL") is None


def test_marks_are_no_name_of_a_fragrance() -> None:
    named = {"MARKS": "!!!", "SHOUT": "Shout!", "AB": "A & B"}
    reader = TitleReader(TitleRules(), [Commodity(code, name) for code, name in named.items()])
    assert reader.read("", "decant !!! 5 mL") is None
    assert reader.read("", "Shout 5 mL") == reader.read("", "shout! - 5 mL") == Pour("SHOUT", Decimal(5))
    assert reader.read("", "A and B 5 mL") == Pour("AB", Decimal(5))
    assert reader.read("", "A / B 5 mL") is None


def test_a_count_in_front_that_may_be_the_quantity_is_in_doubt() -> None:
    reader = TitleReader(TitleRules(), FRAGRANCES)
    assert reader.read("", "2 x Cedar Hour 5 mL", 2) is None
    assert reader.read("", "2 x Cedar Hour 5 mL", 3) == Pour("CEDARHOUR", Decimal(5), 2)
    assert reader.read("", "Cedar Hour 2 x 5 mL", 2) == Pour("CEDARHOUR", Decimal(5), 2)


def test_a_set_by_title_and_by_sku() -> None:
    bundle = Bundle((Part(Pour("CEDARHOUR", Decimal(2)), Decimal(6)), Part(Pour("FIG", Decimal(1)), Decimal(5))))
    rules = TitleRules(sets={"Forest Set": bundle, "FS-1": bundle})
    assert pour("forest  set", rules=rules) == bundle
    assert pour("whatever", "FS-1", rules) == bundle
    assert pour("Cedar Hour 5 mL", "FS-2", rules) == Pour("CEDARHOUR", Decimal(5))


@pytest.mark.parametrize(
    ("title", "expected"),
    [
        ("Cedar Hour 5 mL", [("CEDARHOUR 5 mL", 100)]),
        # Of cedar, hour, night and the size, three are in common; with dusk, three of five.
        ("Cedar Hour Night 2 x 5 mL", [("CEDARHOUR 5 mL x 2", 75), ("CEDARHOURDUSK 5 mL x 2", 60)]),
        ("Cedar Hour", [("CEDARHOUR ? mL", 66), ("CEDARHOURDUSK ? mL", 50)]),
        ("Hour Cedar 5 mL", [("CEDARHOUR 5 mL", 90), ("CEDARHOURDUSK 5 mL", 75)]),
        ("Low Tide 5 mL", [("TIDEEDP 5 mL", 75), ("TIDEEDT 5 mL", 75)]),
        ("Low Tide Parfum 5 mL", [("TIDEEDP 5 mL", 60), ("TIDEEDT 5 mL", 60)]),
        ("Cedar Hour 1 fl oz", [("CEDARHOUR 29.6 mL", 66), ("CEDARHOURDUSK 29.6 mL", 50)]),
        ("Autumn mystery vial, 3 mL", []),
    ],
)
def test_suggestions_are_as_certain_as_the_words_in_common(title: str, expected: list[tuple[str, int]]) -> None:
    suggestions = TitleReader(TitleRules(), FRAGRANCES).suggest("", title)
    assert [(str(suggestion), suggestion.certainty) for suggestion in suggestions] == expected


words = st.sampled_from(
    ["cedar", "hour", "dusk", "night", "fig", "no", "5", "2", "x", "5 ml", "2x5ml", "(", ")", "/", "set of",
     "three", "0.17 fl oz", "low tide", "edp", "edt", "extrait", "decant", "ml", "-", ",", "vials"],
)


@given(st.lists(words, max_size=8).map(" ".join))
def test_what_is_read_for_certain_is_all_in_the_title(title: str) -> None:
    read = TitleReader(TitleRules(), FRAGRANCES).read("", title)
    if read is None:
        return
    assert isinstance(read, Pour)
    name = next(each for each in FRAGRANCES if each.code == read.fragrance).name.casefold().replace(".", "")
    assert name in title or read.fragrance.casefold() in title
    assert "night" not in title
    assert ("dusk" in title) is (read.fragrance == "CEDARHOURDUSK")
    assert read.ml == 5
    assert read.vials in {1, 2, 3, 5}


def test_a_text_that_is_too_long_for_a_title_is_left_alone() -> None:
    reader = TitleReader(TitleRules(), FRAGRANCES)
    assert reader.read("", "Cedar Hour 5 mL " + "glass " * 80) == Pour("CEDARHOUR", Decimal(5))
    endless = "Cedar Hour 5 mL " * 1_000_000
    assert reader.read("", endless) is None
    assert reader.suggest("", endless) == []


@given(st.text(max_size=40))
def test_any_text_is_read_or_left_alone(title: str) -> None:
    reader = TitleReader(TitleRules(), FRAGRANCES)
    for suggestion in reader.suggest("", f"Cedar Hour {title} 5 mL"):
        assert 0 < suggestion.certainty <= 100


@pytest.mark.parametrize(
    ("title", "doubt"),
    [
        ("Cedar Hour 5 mL", ""),
        ("", "it has no title"),
        ("Mystery vial 3 mL", "its title names no fragrance of the books"),
        ("Cedar Hour and Five Rivers 2 mL", "its title names several fragrances"),
        ("Cedar Hour", "its title names no size in mL"),
        ("Cedar Hour 5 mL or 10 mL", "its title leaves open how many vials of which size it is"),
        ("Twin 5 mL", "its title fits several fragrances of the books"),
        (
            "Cedar Hour Night, 5 mL, rare",
            'its title has "night", "rare", which may mean another fragrance; if not, add it to [titles] ignore',
        ),
    ],
)
def test_a_doubt_is_said_in_words(title: str, doubt: str) -> None:
    assert TitleReader(TitleRules(), FRAGRANCES).doubt("", title) == doubt


def test_a_title_that_does_not_fit_the_pattern_is_a_doubt() -> None:
    rules = TitleRules(pattern=re.compile("(?P<name>.+), (?P<ml>.+) mL"))
    doubt = TitleReader(rules, FRAGRANCES).doubt("", "Cedar Hour 5 mL")
    assert doubt == "its title does not fit the pattern with a fragrance of the books"
