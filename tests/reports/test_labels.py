"""Labels: one for each vial, what stands on it, and the sheet it is printed on."""

from __future__ import annotations

import datetime
import html
import json
import re
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from millilot.ledger.records import Kind
from millilot.reports.command import main
from millilot.reports.labels import CAUTION, NOT_COMPLETE, Label, LabelError, of_bottle, of_parcels
from millilot.reports.labels.fit import LINE, Part, fit
from millilot.reports.labels.page import labels_page
from millilot.reports.labels.sheets import SheetError, find_sheet, read_sheets
from millilot.reports.parcels import UnknownOrderError, parcels
from millilot.reports.vials import Vials

from .books import HEAD, SHELF, read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from click.testing import Result

    from millilot.ledger.records import Books

DAY = datetime.date(2026, 11, 25)
A4, LETTER = (find_sheet(read_sheets(), name, "USD") for name in ("a4-65", "letter-30"))

#: 12 mL in 3 vials and an unopened 10 wait; 5 mL are poured; a sample waits without a vial, another in one.
ORDERS = """
2026-02-01 * "Lantern" "Three vials" ^order-lantern-1 #to-pour
  Income:Sales  -12 CEDARHOUR @@ 24.00 USD
    vials: 3
  Income:Sales  -10 QUIETREED @@ 40.00 USD
    vials: 0
  Expenses:Samples  1 QUIETREED
  Expenses:Samples  2 QUIETREED
    vials: 1
  Assets:Marketplace:Lantern
2026-02-02 * "Lantern" "Poured" ^order-lantern-2
  poured: 2026-02-03
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Marketplace:Lantern
"""


def shown(books: Books, *names: str) -> list[tuple[str | None, str, Decimal]]:
    """Return order, fragrance and mL of each label."""
    labels = of_parcels(parcels(books, names), books, DAY)
    return [(each.order, each.fragrance, each.ml) for each in labels]


def test_each_vial_that_waits_has_a_label() -> None:
    first = "order-lantern-1"
    # Not the unopened bottle, nor the sample of which no vial is known.
    assert shown(read(SHELF + ORDERS)) == [
        *[(first, "Cedar Hour", Decimal(4))] * 3, (first, "Quiet Reed", Decimal(2)),
    ]


@pytest.mark.parametrize("name", ["lantern-2", "order-lantern-2", "^order-lantern-2"])
def test_an_order_that_is_named_needs_not_wait(name: str) -> None:
    assert shown(read(SHELF + ORDERS), name, name) == [("order-lantern-2", "Cedar Hour", Decimal(5))]


def test_an_order_nobody_knows_is_named_beside_those_near_it() -> None:
    with pytest.raises(UnknownOrderError, match=r"no order 'lantern-3'\. Near it: lantern-"):
        parcels(read(SHELF + ORDERS), ["lantern-3"])


def test_what_came_back_needs_no_label() -> None:
    back = """
2026-02-04 * "Lantern" "One came back" ^order-lantern-1
  Income:Refunds  4 CEDARHOUR @@ 8.00 USD
  Assets:Marketplace:Lantern
"""
    books = read(SHELF + ORDERS + back)
    for names in ((), ("lantern-1",)):
        assert [ml for _, fragrance, ml in shown(books, *names) if fragrance == "Cedar Hour"] == [4, 4]


def test_what_is_poured_again_counts_while_it_waits() -> None:
    again = '2026-02-05 * "Lost, poured again" ^order-lantern-2{tag}\n  Expenses:Loss  5 CEDARHOUR\n    vials: 1\n'
    poured, waiting = (read(SHELF + ORDERS + again.format(tag=tag)) for tag in ("", " #to-pour"))
    assert len(shown(poured, "lantern-2")) == 1
    assert len(shown(waiting, "lantern-2")) == 2
    assert ("order-lantern-2", "Cedar Hour", Decimal(5)) in shown(waiting)


def test_a_label_says_what_the_books_say_of_the_bottle() -> None:
    head = HEAD.replace('  name: "Cedar Hour"\n', '  name: "Cedar Hour"\n  strength: "extrait"\n')
    shelf = SHELF.replace('"CH-1"}}', '"CH-1"}}\n    batch: "04321"')
    [label] = of_parcels(parcels(books := read(shelf + ORDERS, head), ["lantern-2"]), books, DAY)
    # The books have it poured the day after it was sold.
    poured = datetime.date(2026, 2, 3)
    assert label == Label("order-lantern-2", ("CH-1",), "Cedar Hour", "extrait", Decimal(5), "04321", poured)
    page = words(labels_page([label], LETTER, "Ann Bell"))
    for text in (
        "Cedar Hour",
        "5 mL · extrait",
        "Batch 04321 · poured 2026-02-03",
        "Poured from the original bottle by Ann Bell; not affiliated with the maker.",
        CAUTION,
    ):
        assert text in page


def test_the_day_of_pouring_is_that_of_the_books_or_today_or_the_owners() -> None:
    books = read(SHELF + ORDERS.replace("  poured: 2026-02-03\n", ""))
    of_both = parcels(books, ["lantern-1", "lantern-2"])
    assert {(each.order, each.poured) for each in of_parcels(of_both, books, DAY)} == {
        ("order-lantern-1", DAY), ("order-lantern-2", datetime.date(2026, 2, 2)),
    }
    other = datetime.date(2026, 3, 1)
    assert {each.poured for each in of_parcels(of_both, books, DAY, other)} == {other}


def test_a_vial_of_two_bottles_names_both_batches() -> None:
    shelf = """
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  7 CEDARHOUR {{7.00 USD, "CH-0"}}
    batch: "A1"
  Assets:Bank
""" + SHELF.replace("2026-01-05", "2026-01-07").replace('"CH-1"}}', '"CH-1"}}\n    batch: "B2"')
    books = read(shelf + ORDERS)
    labels = of_parcels(parcels(books), books, DAY)
    # 12 mL in 3 vials: 4 of CH-0, 3 of CH-0 with 1 of CH-1, 4 of CH-1.
    assert [label.batch for label in labels if label.fragrance == "Cedar Hour"] == ["A1", "A1 / B2", "B2"]
    assert sum(label.ml for label in labels if label.fragrance == "Cedar Hour") == 12


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.lists(
            st.tuples(st.sampled_from(["CEDARHOUR", "QUIETREED"]), st.integers(1, 40), st.integers(1, 7)),
            min_size=1, max_size=3,
        ),
        max_size=4,
    ),
)
def test_the_labels_hold_the_ml_that_were_sold(orders: Sequence[Sequence[tuple[str, int, int]]]) -> None:
    text = "".join(
        f'2026-02-01 * "sale" ^order-{number} #to-pour\n'
        + "".join(
            f"  Income:Sales  -{Decimal(tenths) / 10} {code} @@ 5.00 USD\n    vials: {vials}\n"
            for code, tenths, vials in lines
        )
        + "  Assets:Bank\n"
        for number, lines in enumerate(orders)
    )
    books = read(SHELF + text)
    labels = of_parcels(parcels(books), books, DAY)
    assert len(labels) == sum(vials for lines in orders for _, _, vials in lines)
    for number, lines in enumerate(orders):
        of_order = [label for label in labels if label.order == f"order-{number}"]
        named = of_parcels(parcels(books, [str(number)]), books, DAY)
        assert sorted(map(repr, of_order)) == sorted(map(repr, named))
        for code, name in (("CEDARHOUR", "Cedar Hour"), ("QUIETREED", "Quiet Reed")):
            sold = Decimal(sum(tenths for each, tenths, _ in lines if each == code)) / 10
            # A third of 10 mL has no end.
            assert abs(sum(label.ml for label in of_order if label.fragrance == name) - sold) < Decimal("1E-20")


def test_vials_poured_ahead() -> None:
    books = read(SHELF)
    labels = of_bottle(books, "CH-1", Decimal("2.5"), 3, DAY)
    assert [(each.order, each.bottles, each.ml) for each in labels] == [(None, ("CH-1",), Decimal("2.5"))] * 3
    with pytest.raises(LabelError, match=r"no bottle of fragrance 'CH-2'\. Near it: CH-1"):
        of_bottle(books, "CH-2", Decimal(1), 1, DAY)


# -- the page


def words(page: str) -> str:
    """Return the text of a page, without its style; lines of a paragraph are one."""
    body = page.partition("<body>")[2].replace("</bdi><bdi>", " ")
    return html.unescape(re.sub(r"<[^>]*>", " ", body))


EVIL = "<script>alert(1)</script>\x1b[31m"


def label(**changes: Any) -> Label:
    values: dict[str, Any] = {
        "order": None, "bottles": ("B",), "fragrance": "Cedar Hour", "strength": "extrait", "ml": Decimal(5),
        "batch": "1", "poured": DAY,
    }
    return Label(**{**values, **changes})


def test_a_page_runs_nothing_and_fetches_nothing() -> None:
    page = labels_page([label(fragrance=EVIL, strength=EVIL, batch=EVIL)], A4, EVIL)
    assert "default-src 'none'" in page
    for forbidden in ("<script", "\x1b", "http:", "https:", "src=", "url(", "@import", "<link"):
        assert forbidden not in page.lower()
    assert "&lt;script&gt;" in page


def test_the_sheet_and_not_the_label_says_what_labels_are_not() -> None:
    page = labels_page([label()] * 66, A4)
    # Once on the screen, and in the margin of both sheets.
    assert page.count(NOT_COMPLETE) == 3
    assert NOT_COMPLETE not in "".join(re.findall(r'<div class="label">.*?</div>', page, flags=re.DOTALL))
    assert "shown from 5 mL in the EU" in NOT_COMPLETE


def test_a_sheet_that_is_begun_is_used_up() -> None:
    page = labels_page([label()] * 5, A4, skip=63)
    sheets = page.split('<div class="sheet">')[1:]
    assert [(sheet.count('"blank"'), sheet.count('"label"')) for sheet in sheets] == [(63, 2), (0, 3)]
    with pytest.raises(LabelError, match="65 labels; 65 cannot be skipped"):
        labels_page([label()], A4, skip=65)


def test_ml_are_rounded_on_the_label_alone() -> None:
    assert "3.33 mL · extrait" in words(labels_page([label(ml=Decimal(10) / 3)], A4))
    assert "10 mL" in words(labels_page([label(ml=Decimal("1E+1"), strength="")], A4))


def test_without_a_batch_or_a_name_the_label_still_makes_sense() -> None:
    page = words(labels_page([label(batch="", strength="")], LETTER))
    assert "Poured 2026-11-25" in page
    assert "by an independent person; not affiliated with the maker." in page


# -- the fit


def part(text: str, size: str = "2", **rest: Any) -> Part:
    return Part(text, Decimal(size), **rest)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.text(st.characters(categories=["L", "N", "P", "Zs"]), max_size=120), min_size=1, max_size=5))
def test_whatever_the_text_it_fits(texts: Sequence[str]) -> None:
    width, height = Decimal("35.3"), Decimal("18.4")
    parts = fit([part(text, before="5 mL · ") for text in texts], width, height)
    assert sum(each.size * LINE * len(each.lines) for each in parts) <= height
    for each in parts:
        assert each.lines[0].startswith("5 mL")


def test_only_what_does_not_fit_is_cut_short() -> None:
    height = Decimal(5)
    long, short = fit([part("word " * 100), part("short")], Decimal(40), height)
    assert long.lines[-1].endswith("…")
    assert short.lines == ("short",)
    whole, = fit([part("a few words")], Decimal(40), height)
    assert whole.lines == ("a few words",)
    with pytest.raises(ValueError, match="too small"):
        fit([part("", before="never cut " * 20)], Decimal(40), height)


@pytest.mark.parametrize(("bold", "wider"), [(False, "1.1"), (True, "1.188")])
def test_a_word_longer_than_a_line_fills_its_lines_and_no_more(bold: bool, wider: str) -> None:
    # A W is 1.02 of its height wide. Something over makes it a tenth wider, and bold type 1.08 of that: 1.188.
    [whole] = fit([part("W" * 40, bold=bold)], Decimal(30), Decimal(30))
    most = int(30 / (whole.size * Decimal("1.02") * Decimal(wider)))
    assert {len(line) for line in whole.lines[:-1]} == {most}
    assert "".join(whole.lines) == "W" * 40


# -- the sheets


def test_the_grids_lie_in_the_middle_of_their_paper() -> None:
    # 5 x 38.1 + 4 x 2.5 = 200.5 of 210 mm, 13 x 21.2 = 275.6 of 297 mm.
    sides = (A4.left, A4.right, A4.top, A4.bottom)
    assert (A4.labels, *sides) == (65, *map(Decimal, ("4.75", "4.75", "10.7", "10.7")))
    # 3 x 66.675 + 2 x 3.175 = 206.375 of 215.9 mm, 10 x 25.4 = 254 of 279.4 mm.
    sides = (LETTER.left, LETTER.right, LETTER.top, LETTER.bottom)
    assert (LETTER.labels, *sides) == (30, *map(Decimal, ("4.7625", "4.7625", "12.7", "12.7")))


def test_the_paper_goes_with_the_currency() -> None:
    sheets = read_sheets()
    assert [find_sheet(sheets, None, currency).name for currency in ("USD", "EUR")] == ["letter-30", "a4-65"]
    with pytest.raises(SheetError, match=r"no sheet 'a5'\. The sheets are a4-65, letter-30"):
        find_sheet(sheets, "a5", "USD")


OWN = """
name = "own"
title = "Mine"
width = "100"
height = "60"
columns = 2
rows = 2
label-width = "45"
label-height = "25"
left = "2"
top = "1"
gap-across = "2"
gap-down = "2"
"""


def test_an_own_sheet_lies_beside_the_books(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(OWN, encoding="utf-8")
    sheet = find_sheet(read_sheets(tmp_path), "own", "USD")
    assert (sheet.labels, sheet.right, sheet.bottom) == (4, 6, 7)
    # Its larger margin is below.
    assert "bottom: 0; line-height: 7.0000mm" in labels_page([label()], sheet)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"45"', '"60"', "do not fit the paper: they are 24 mm too wide"),
        ('"60"', '"50"', "do not fit the paper: they are 3 mm too high"),
        ('"45"', '"20"', 'label-width: expected mm in quotes, 30 or above, such as "38.1", found "20"'),
        ('"45"', "45", "label-width: expected a text in quotes, found 45"),
        ('"45"', '"NaN"', 'label-width: expected mm in quotes, 30 or above, such as "38.1", found "NaN"'),
        ("columns = 2", "columns = 0", "columns: expected a whole number above 0"),
        ('title = "Mine"', "", "the key title is missing"),
        ('title = "Mine"', 'title = "Mine"\ncolour = "red"', "the key colour is not known"),
        ('name = "own"', "name =", "not a TOML file"),
    ],
)
def test_a_sheet_that_cannot_be_right_is_refused(tmp_path: Path, old: str, new: str, said: str) -> None:
    (tmp_path / "own.toml").write_text(OWN.replace(old, new), encoding="utf-8")
    with pytest.raises(SheetError, match=re.escape(said)) as raised:
        read_sheets(tmp_path)
    assert "own.toml" in str(raised.value)


# -- the command


@pytest.fixture
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str, books: str = SHELF + ORDERS) -> Result:
    Path("main.beancount").write_text(HEAD + books, encoding="utf-8")
    return CliRunner().invoke(main, ["labels", *arguments])


@pytest.mark.usefixtures("in_a_folder")
def test_the_command_writes_a_page() -> None:
    result = run("-o", "labels.html", "--by", "Ann Bell", "--on", "2026-02-06", "--sheet", "a4-65")
    assert result.exit_code == 0
    assert "labels.html: 4 labels on 1 sheet\nA4, 65 labels of 38.1 x 21.2 mm\n" in result.stdout
    page = words(Path("labels.html").read_text(encoding="utf-8"))
    assert page.count("poured 2026-02-06".capitalize()) == 4
    assert "by Ann Bell;" in page


@pytest.mark.usefixtures("in_a_folder")
def test_the_command_lists_the_labels() -> None:
    listed = json.loads(run("--format", "json", "--on", "2026-02-06").stdout)
    assert [(each["order"], each["ml"], each["bottles"]) for each in listed] == [
        *[("order-lantern-1", "4", ["CH-1"])] * 3, ("order-lantern-1", "2", ["QR-1"]),
    ]
    assert run("lantern-2", "--format", "csv", "--on", "2026-02-06").stdout.splitlines() == [
        "order,bottles,fragrance,strength,ml,batch,poured", "order-lantern-2,CH-1,Cedar Hour,,5,,2026-02-06",
    ]
    assert run("--bottle", "CH-1", "--size", "2.5", "--count", "2").stdout.count("2.5") == 2
    assert run(books=SHELF).stdout == "There is no vial to label.\n"
    mystery = '2026-02-01 * "?" ^order-lantern-9 #to-pour\n  Income:Unsorted  -9.00 USD\n  Assets:Bank\n'
    assert "lantern-9" in run(books=SHELF + mystery).stderr


ONE_OR_THE_OTHER = "Expected orders, or --bottle with --size, or nothing."


@pytest.mark.usefixtures("in_a_folder")
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--bottle", "CH-1"], ONE_OR_THE_OTHER),
        (["--size", "5"], ONE_OR_THE_OTHER),
        (["--count", "5"], ONE_OR_THE_OTHER),
        (["lantern-1", "--bottle", "CH-1", "--size", "5"], ONE_OR_THE_OTHER),
        (["--bottle", "CH-1", "--size", "0"], "'0' is not mL of a vial"),
        (["--bottle", "CH-1", "--size", "inf"], "'inf' is not mL of a vial"),
        (["--bottle", "CH-9", "--size", "5"], "There is no bottle of fragrance 'CH-9'"),
        (["nobody"], "There is no order 'nobody'"),
        (["--sheet", "nobody"], "There is no sheet 'nobody'"),
        (["-o", "labels.html", "--skip", "30"], "30 cannot be skipped"),
        (["-o", "nowhere/labels.html"], "No such file or directory"),
    ],
)
def test_a_mistake_ends_in_a_message(arguments: list[str], said: str) -> None:
    result = run(*arguments)
    assert result.exit_code != 0
    assert said in result.stderr
    assert not Path("labels.html").exists()


def test_vials_that_a_sample_names_are_of_its_kind() -> None:
    [parcel] = parcels(read(SHELF + ORDERS))
    assert [each for each in parcel.vials if each.kind is Kind.SAMPLED] == [
        Vials(Kind.SAMPLED, (("QR-1", Decimal(1)),), 0), Vials(Kind.SAMPLED, (("QR-1", Decimal(2)),), 1),
    ]
