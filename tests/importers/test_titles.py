"""A title gives fragrance, mL and vials, or nothing."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest

from millilot.importers.title_rules import Pour, TitleRules
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
]


def pour(title: str, sku: str = "", rules: TitleRules = TitleRules()) -> Pour | None:  # noqa: B008
    return TitleReader(rules, FRAGRANCES).pour(sku, title)


@pytest.mark.parametrize(
    ("title", "expected"),
    [
        ("Cedar Hour 5 mL", ("CEDARHOUR", "5", 1)),
        ("CEDAR  HOUR - 5ML decant", ("CEDARHOUR", "5", 1)),
        ("cedarhour 2.5 ml", ("CEDARHOUR", "2.5", 1)),
        ("2,5 mL of Cedar Hour", ("CEDARHOUR", "2.5", 1)),
        ("Cedar Hour 3 x 2 mL", ("CEDARHOUR", "2", 3)),
        ("Cedar Hour 2 mL x 3 (travel spray)", ("CEDARHOUR", "2", 3)),
        ("Cedar Hour Dusk 10 mL", ("CEDARHOURDUSK", "10", 1)),
        ("Fig No. 5 Extrait, 5 mL sample", ("FIG", "5", 1)),
        ("Low Tide EDT 5 mL", ("TIDEEDT", "5", 1)),
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
        "2 x Cedar Hour 5 mL",
        "2 x 5 mL x 3 Cedar Hour",
        "Cedar 5 mL Hour",
        "Low Tide 5 mL",
        "Twin 5 mL",
        "Vial 5 mL",
        "Fig No. 5 EDP 5 mL",
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
