"""What to charge, on the command line."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from millilot.reports.command import main
from millilot.reports.tables import WIDTH, display_width

from .books import HEAD

if TYPE_CHECKING:
    from click.testing import Result

#: 160.00 for 100 mL, 0.98 of supplies for 5 mL, and 13 % and 0.40 on all.
BOOKS = """
2026-01-01 custom "pour-loss" 0.1
2026-01-01 custom "kit" "5 mL" 1 VIAL5
2026-01-01 custom "kit" "parcel" 1 VIAL5
2026-01-01 custom "fee-schedule" Assets:Marketplace:Lantern "item+postage+tax" 0.13 0.40 USD
2026-01-04 * "vials"
  Assets:Stock:Supplies  100 VIAL5 {{49.00 USD, "V-1"}}
  Assets:Bank
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{150.00 USD, "CH-1"}}
  Assets:Stock:Inbound  10.00 USD
  Assets:Bank
"""

ASKED = ("--size", "5", "--charge", "5", "--label", "5", "--tax", "0.08")


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def price(*arguments: str, books: str = BOOKS, head: str = HEAD) -> Result:
    Path("main.beancount").write_text(head + books, encoding="utf-8")
    return CliRunner().invoke(main, ("price", *arguments))


def as_json(*arguments: str) -> Any:
    return json.loads(price("Cedar Hour", *arguments, "--format", "json").stdout)


def test_the_textbook_price() -> None:
    found = as_json(*ASKED, "--at", "20.00")
    expected = {
        "size_ml": "5",
        "liquid": "8.00",
        "loss": "0.16",
        "supplies": "0.98",
        "postage": "5.00",
        "fee": "3.91",
        # (8.16 + 0.98 + 5.00 + 0.40) / 0.8596 - 5.00 = 11.914; at 11.91 the fee of 2.774 is 2.77, and 0.00 remain.
        "break_even": "11.91",
        "price": "20.00",
        "profit": "6.95",
        "margin": "0.3475",
        "cash_kept": "15.11",
        "buyer_pays": "27.00",
        "tax": "2.00",
        "finished": None,
        # 8.00 + 0.98 + 5.00 + 8.00 - 5.00; the fee is 13 % of 16.98 + 5.00 + 1.76 and 0.40.
        "rule_price": "16.98",
        "rule_profit": "4.35",
        "rule_short": "3.65",
        "bottle": "CH-1",
        "channel": "Lantern",
        "fee_drift": None,
    }
    assert {name: found[name] for name in expected} == expected
    assert list(found)[:10] == [
        "size_ml", "liquid", "loss", "supplies", "postage", "fee", "break_even", "price", "profit", "margin",
    ]


def test_an_allowance_for_lost_parcels_is_taken_off_the_profit() -> None:
    found = as_json(*ASKED, "--at", "20.00", "--lost", "0.02")
    # 2 % of 20.00 and 5.00 are 0.50; without it 6.95 remain.
    assert (found["cash_kept"], found["lost_parcels"], found["profit"]) == ("15.11", "0.50", "6.45")


def test_what_is_solved_is_what_is_tried() -> None:
    solved = as_json(*ASKED, "--margin", "0.3", "--ending", ".50", "--ending", ".95")
    assert (solved["price"], solved["margin"], solved["finished"]) == ("18.30", "0.3000", "18.50")
    tried = as_json(*ASKED, "--at", "18.50")
    assert (tried["profit"], tried["margin"]) == (solved["finished_profit"], solved["finished_margin"])
    assert as_json(*ASKED, "--profit", "6.95")["price"] == "20.00"
    assert as_json(*ASKED)["price"] == as_json(*ASKED)["break_even"] == "11.91"


def test_several_sizes_make_a_ladder_by_size() -> None:
    rows = as_json(*ASKED, "--size", "2", "--size", "5.0")
    assert [row["size_ml"] for row in rows] == ["2", "5"]
    table = price("Cedar Hour", *ASKED, "--size", "2", "--margin", "0.3").stdout.splitlines()
    assert table[0] == "Cedar Hour; postage charged 5.00, label 5.00"
    assert [line.split()[0] for line in table[4:6]] == ["2", "5"]


@pytest.mark.parametrize("more", [(), ("--size", "2", "--size", "30"), ("--ending", ".95", "--margin", "0.3")])
def test_tables_fit_the_terminal_and_formats_agree(more: tuple[str, ...]) -> None:
    shown = price("Cedar Hour", *ASKED, *more)
    assert shown.exit_code == 0, shown.output
    assert max(map(display_width, shown.stdout.splitlines())) <= WIDTH
    rows = as_json(*ASKED, *more)
    rows = rows if isinstance(rows, list) else [rows]
    written = price("Cedar Hour", *ASKED, *more, "--format", "csv").stdout
    assert list(csv.DictReader(io.StringIO(written, newline=""))) == [
        {name: value or "" for name, value in row.items()} for row in rows
    ]
    wide = price("Cedar Hour", *ASKED, *more, "--wide").stdout
    assert wide.splitlines()[0].split() == list(rows[0])


def test_each_column_of_the_statement_adds_up() -> None:
    asked = (*ASKED, "--margin", "0.3", "--lost", "0.013", "--ending", ".95")
    lines = price("Cedar Hour", *asked).stdout.splitlines()
    columns: dict[str, list[int]] = {}
    for line in lines[2:12]:
        name, *amounts = line.rsplit(maxsplit=4)
        columns[name] = [int(amount.replace(".", "")) for amount in amounts]
    for at in range(4):
        of = {name: amounts[at] for name, amounts in columns.items()}
        taken = of["less fee"] + of["less supplies"] + of["less postage label"]
        assert of["Cash kept"] == of["Price"] + of["Postage charged"] - taken
        goods = of["less liquid"] + of["less lost in the pour"] + of["less lost parcels"]
        assert of["Profit"] == of["Cash kept"] - goods


def test_what_is_assumed_is_said() -> None:
    said = " ".join(price("cedarhour", "--size", "4", "--ending", ".50").stdout.split())
    for sentence in (
        "Liquid: CH-1 at 1.6000 a mL.",
        "No kit is set for a vial of 4 mL",
        "Fee of Lantern, the only channel: 13 % of item + postage + tax and 0.40",
        "Lost parcels: none of 0 orders; nothing is set aside.",
        "No label is given, so the postage costs nothing here.",
        "so the price is the break-even price.",
        "Rule of thumb (common practice, no source)",
    ):
        assert sentence in said


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("Cedar Hours", "--size", "5"), "Near it: Cedar Hour"),
        (("Cedar Hour", "--size", "5", "--bottle", "QR-9"), "There is no bottle 'QR-9' of Cedar Hour."),
        (("Cedar Hour", "--size", "5", "--channel", "Nowhere"), 'no channel "Nowhere"; the books have Lantern'),
        (("Cedar Hour", "--size", "5", "--margin", "0.9"), "No price can give that: 0.13 for the fee"),
        (("Cedar Hour", "--size", "5", "--margin", "0.3", "--at", "9"), "give one of them"),
        (("Cedar Hour", "--size", "0"), "is not mL above 0"),
        (("Cedar Hour", "--size", "NaN"), "is not mL above 0"),
        (("Cedar Hour", "--size", "1e99"), "is not mL above 0"),
        (("Cedar Hour", "--size", "5", "--tax", "8"), "0.08 for 8 %"),
        (("Cedar Hour", "--size", "5", "--margin", "1"), "0.3 for 30 %"),
        (("Cedar Hour", "--size", "5", "--label", "4,50"), "such as 4.50"),
        (("Cedar Hour", "--size", "5", "--label", "0.001"), "--label 0.001 is finer than 0.01 USD"),
        (("Cedar Hour", "--size", "5", "--ending", ".505"), "--ending 0.505 is finer"),
        (("Cedar Hour", "--size", "5", "--ending", "95"), "an ending from .00 to .99"),
    ],
)
def test_a_mistake_ends_in_a_message(arguments: tuple[str, ...], message: str) -> None:
    result = price(*arguments)
    assert result.exit_code != 0
    assert message in result.stderr
    assert "Traceback" not in result.output


def test_a_name_from_the_books_cannot_steer_the_terminal() -> None:
    steering = HEAD.replace('name: "Cedar Hour"', 'name: "Cedar\x1b[2J"')
    for sizes in (("--size", "5"), ("--size", "5", "--size", "2")):
        assert "\x1b" not in price("CEDARHOUR", *sizes, head=steering).stdout


def test_books_without_anything_end_in_a_message() -> None:
    result = price("Cedar Hour", "--size", "5", books="")
    assert result.exit_code == 1
    assert "The books have no bottle of Cedar Hour" in result.stderr


def test_a_fee_schedule_that_cannot_be_read_is_said_with_its_place() -> None:
    books = BOOKS.replace("0.13 0.40 USD", "13 0.40 USD")
    result = price("Cedar Hour", "--size", "5", books=books)
    assert result.exit_code == 0
    [line] = [number for number, text in enumerate((HEAD + books).splitlines(), 1) if "fee-schedule" in text]
    assert f"main.beancount:{line}: A fee schedule names" in result.stderr
    assert "No channel, so no fee" in result.stdout


def test_the_state_of_a_day() -> None:
    dearer = """
2026-03-01 custom "pour-loss" 0.5
2026-03-01 custom "fee-schedule" Assets:Marketplace:Lantern "item" 0.20 0 USD
2026-03-02 * "worn"
  Equity:PersonalUse  100 CEDARHOUR
2026-03-03 * "bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{200.00 USD, "CH-2"}}
  Assets:Bank
"""
    asked = ("Cedar Hour", *ASKED, "--at", "20.00", "--format", "json")
    now = json.loads(price(*asked, books=BOOKS + dearer).stdout)
    then = json.loads(price(*asked, "--to", "2026-02-28", books=BOOKS + dearer).stdout)
    # 5 and 0.5 mL at 2.00, and 20 % of 20.00.
    assert [now[name] for name in ("bottle", "liquid", "loss", "fee")] == ["CH-2", "10.00", "1.00", "4.00"]
    assert [then[name] for name in ("bottle", "liquid", "loss", "fee")] == ["CH-1", "8.00", "0.16", "3.91"]
