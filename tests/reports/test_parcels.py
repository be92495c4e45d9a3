"""What is in a parcel, beside figures that carriers go by."""

from __future__ import annotations

import csv
import datetime
import io
import json
import re
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from millilot.reports.command import main
from millilot.reports.parcels import parcels
from millilot.reports.shipping import LimitError, beside, in_force, read_limits
from millilot.reports.tables import WIDTH, display_width

from .books import HEAD, SHELF, read

if TYPE_CHECKING:
    from click.testing import Result

DAY = datetime.date(2026, 11, 25)

#: 30 mL in one vial, 12 in 3 and a sample of 1; then 30.1 mL in one.
ORDERS = """
2026-02-01 * "Lantern" "Many" ^order-lantern-1 #to-pour
  Income:Sales  -30 CEDARHOUR @@ 60.00 USD
  Income:Sales  -12 QUIETREED @@ 40.00 USD
    vials: 3
  Expenses:Samples  1 QUIETREED
  Assets:Marketplace:Lantern
2026-02-02 * "Lantern" "Large" ^order-lantern-2 #to-pour
  Income:Sales  -30.1 CEDARHOUR @@ 60.00 USD
  Assets:Marketplace:Lantern
"""


def test_all_that_an_order_pours_is_in_its_parcel() -> None:
    first, second = parcels(read(SHELF + ORDERS))
    assert (first.order, first.what, first.containers) == ("order-lantern-1", "Many", 5)
    assert (first.ml, first.largest) == (43, 30)
    assert (second.ml, second.largest, second.containers) == (Decimal("30.1"), Decimal("30.1"), 1)


def test_an_order_of_several_days_was_poured_on_the_last() -> None:
    first, _, second = ORDERS.partition("2026-02-02")
    first = first.replace("#to-pour", "\n  poured: 2026-02-09")
    second = second.replace("#to-pour", "\n  poured: 2026-02-07").replace("lantern-2", "lantern-1")
    books = read(f"{SHELF}{first}2026-02-02{second}")
    [parcel] = parcels(books, ["lantern-1"])
    assert (parcel.poured, parcel.containers) == (datetime.date(2026, 2, 9), 6)


def test_a_figure_is_passed_by_what_is_above_it() -> None:
    limits = in_force(read_limits(), "USD", DAY)
    assert [each.name for each in limits] == ["us-mail", "us-road", "air"]
    first, second = parcels(read(SHELF + ORDERS))
    # 30 mL are not above 30 mL; 30.1 are.
    assert [each.above for each in beside(first, limits)] == [False, False, None]
    assert [each.above for each in beside(second, limits)] == [False, True, None]


def test_the_figures_have_a_source_and_a_day() -> None:
    mail, road, air = in_force(read_limits(), "USD", DAY)
    # 16 fl oz of 231 / 128 cubic inches, 16.387064 mL each.
    assert mail.ml == 16 * Decimal(231) / 128 * Decimal("16.387064")
    assert "by surface; by air only where the post has authorised it, none abroad" in mail.note
    assert "none abroad" in mail.note
    assert "packing tests" in road.note
    assert "unless the carrier has authorised air" in air.note
    assert [each.checked is None for each in (mail, road, air)] == [True, False, True]


def test_figures_of_one_country_are_not_shown_to_another() -> None:
    assert [each.name for each in in_force(read_limits(), "EUR", DAY)] == ["air"]


OWN = """
[[limits]]
name = "us-mail"
title = "Mine"
measure = "container"
ml = "10"
figure = "10 mL"
source = "my carrier's letter"
checked = 2026-03-01
"""


def test_an_own_figure_takes_the_place_of_one_shipped_in_its_time(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(OWN + "from = 2026-03-01\nto = 2026-03-31\n", encoding="utf-8")
    limits = read_limits(tmp_path)
    for day, title in (("2026-02-28", "US mail, a package"), ("2026-03-31", "Mine"), ("2026-04-01", "US mail")):
        found = in_force(limits, "USD", datetime.date.fromisoformat(day))
        assert next(each.title for each in found if each.name == "us-mail").startswith(title)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('ml = "10"', 'ml = "0"', 'ml: expected mL above 0 in quotes, such as "30", found "0"'),
        ('ml = "10"', "ml = 10", "ml: expected a text in quotes, found 10"),
        ('figure = "10 mL"\n', "", "the key figure is missing"),
        ('"container"', '"vial"', 'measure: expected "parcel" or "container", found "vial"'),
        ("checked = 2026-03-01", "checked = true", "checked: expected a day such as 2026-12-31, or false"),
        ("[[limits]]", "[[limit]]", "the key limit is not known"),
    ],
)
def test_a_figure_that_cannot_be_read_is_refused(tmp_path: Path, old: str, new: str, said: str) -> None:
    (tmp_path / "own.toml").write_text(OWN.replace(old, new), encoding="utf-8")
    with pytest.raises(LimitError, match=re.escape(said)):
        read_limits(tmp_path)


# -- the command


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str, books: str = SHELF + ORDERS) -> Result:
    Path("main.beancount").write_text(HEAD + books, encoding="utf-8")
    return CliRunner().invoke(main, ["parcel", *arguments])


def test_the_command_never_says_that_a_parcel_may_be_sent() -> None:
    for arguments in ((), ("--wide",), ("--format", "json"), ("lantern-2",)):
        shown = run(*arguments).stdout.lower()
        for word in ("allowed", "permitted", "legal", "safe", "may be sent", "fine"):
            assert word not in shown
    shown = " ".join(run().stdout.split())
    assert "the carrier and local rules have the say" in shown
    assert "local fire rules; your insurer" in shown


def test_the_command_fits_the_terminal_and_names_what_is_passed() -> None:
    books = SHELF + ORDERS.replace('"Many"', f'"{"Many and more " * 9}"')
    lines = run(books=books).stdout.splitlines()
    assert max(map(display_width, lines)) <= WIDTH
    assert lines[3].split() == ["lantern-2", "Large", "1", "30.1", "30.1", "us-road"]


def test_csv_and_json_say_the_same() -> None:
    objects = json.loads(run("--format", "json").stdout)
    rows = list(csv.DictReader(io.StringIO(run("--format", "csv").stdout, newline="")))
    assert [each["above"] for each in objects] == [[], ["us-road"]]
    assert [row["above"] for row in rows] == ["", "us-road"]
    for row, each in zip(rows, objects, strict=True):
        assert row["ml"] == each["ml"]
        assert [limit["limit"] for limit in each["limits"]] == ["us-mail", "us-road", "air"]


def test_orders_may_be_named_and_unknown_ones_are_not_found() -> None:
    assert json.loads(run("lantern-2", "--format", "json").stdout)[0]["order"] == "order-lantern-2"
    result = run("lantern-9")
    assert (result.exit_code, "There is no order 'lantern-9'" in result.stderr) == (1, True)


def test_when_nothing_waits_it_says_so() -> None:
    assert run(books="").stdout.startswith("No order waits to be poured.")
    Path("shipping").mkdir()
    Path("shipping/own.toml").write_text("[[limits]]", encoding="utf-8")
    assert "the key ml is missing" not in run().stderr
    assert "the key name is missing" in run().stderr
