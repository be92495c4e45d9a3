"""How a cost came about, to the file and line."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from millilot.reports.bottles import plain
from millilot.reports.command import main
from millilot.reports.names import UnknownNameError
from millilot.reports.tables import WIDTH, display_width
from millilot.reports.trace import Step, trace

from .books import HEAD, by_bottle, read

if TYPE_CHECKING:
    from click.testing import Result

BOOKS = """
2020-01-01 custom "pour-loss" 0.1
2020-01-01 custom "kit" "5 mL" 1 VIAL5
2026-01-05 * "two bottles" ^purchase-1
  Assets:Stock:CedarHour  100 CEDARHOUR {{120.00 USD, "CH-1"}}  ; CH-1
    batch: "0417"
  Assets:Stock:QuietReed  50 QUIETREED {{80.00 USD, "QR-1"}}
    batch: "0417"
  Assets:Stock:Inbound  10.00 USD  ; delivery
  Assets:Bank
2026-01-07 * "vials"
  Assets:Stock:Supplies  100 VIAL5 {{30.00 USD, "V-1"}}
  Assets:Bank
2026-02-01 * "Lantern" "sale" ^order-lantern-17
  Income:Sales  -5 CEDARHOUR @@ 14.00 USD  ; first line
  Income:Sales  -5 QUIETREED @@ 16.00 USD  ; second line
  Income:Postage  -6.00 USD  ; charged
  Expenses:Selling:Fees  4.80 USD  ; fee
  Assets:Marketplace:Lantern
2026-02-03 * "label" ^order-lantern-17
  Expenses:Selling:Postage  5.10 USD  ; label
  Assets:Marketplace:Lantern
2026-02-05 * "Lantern" "sale" ^order-lantern-18
  Income:Sales  -5 CEDARHOUR @@ 14.00 USD
  Assets:Marketplace:Lantern
2026-02-07 * "Lantern" "back" ^order-lantern-18
  Income:Refunds  5 CEDARHOUR @@ 14.00 USD
  Assets:Marketplace:Lantern
2026-02-10 * "duty" ^purchase-1
  Assets:Stock:Inbound  20.00 USD  ; duty
  Assets:Bank
2026-02-11 * "a sample at the fair"
  Expenses:Samples  1 CEDARHOUR
2026-02-12 * "kept"
  Equity:PersonalUse  2 CEDARHOUR
2026-03-01 custom "stocktake" "CH-1" 90 CEDARHOUR
"""


@pytest.fixture(scope="module")
def steps() -> dict[str, list[Step]]:
    books = read(BOOKS)
    return {name: trace(books, name) for name in ("lantern-17", "lantern-18", "CH-1", "0417", "V-1")}


def line(comment: str) -> str:
    """Return the place of the line with a comment."""
    [number] = [
        number for number, text in enumerate((HEAD + BOOKS).splitlines(), 1) if text.endswith(f"; {comment}")
    ]
    return f"<string>:{number}"


def shown(steps: list[Step], *parts: str) -> list[tuple[object, ...]]:
    return [
        (step.what, step.bottle, step.quantity, step.amount, step.place) for step in steps if step.part in parts
    ]


def test_money_in_and_out_is_shared_by_price(steps: dict[str, list[Step]]) -> None:
    assert shown(steps["lantern-17"], "money") == [
        ("sales", "CH-1", 5, Decimal("14.00"), line("first line")),
        ("sales", "QR-1", 5, Decimal("16.00"), line("second line")),
        ("postage charged", "CH-1", None, Decimal("2.80"), line("charged")),
        ("postage charged", "QR-1", None, Decimal("3.20"), line("charged")),
        ("fees", "CH-1", None, Decimal("-2.24"), line("fee")),
        ("fees", "QR-1", None, Decimal("-2.56"), line("fee")),
        ("postage", "CH-1", None, Decimal("-2.38"), line("label")),
        ("postage", "QR-1", None, Decimal("-2.72"), line("label")),
    ]


def test_the_vial_and_the_liquid_stand_at_their_cost(steps: dict[str, list[Step]]) -> None:
    # 100 mL for 126.00 and 50 mL for 84.00, the delivery included; 14.994 in all.
    assert shown(steps["lantern-17"], "supplies", "goods") == [
        ("Vial of 5 mL", "V-1", 1, Decimal("-0.30"), line("first line")),
        ("Vial of 5 mL", "V-1", 1, Decimal("-0.30"), line("second line")),
        ("sold", "CH-1", 5, Decimal("-6.30"), line("first line")),
        ("pour loss", "CH-1", Decimal("0.1"), Decimal("-0.12"), line("first line")),
        ("sold", "QR-1", 5, Decimal("-8.40"), line("second line")),
        ("pour loss", "QR-1", Decimal("0.1"), Decimal("-0.17"), line("second line")),
    ]
    per_ml = {step.bottle: step.cost_per_unit for step in steps["lantern-17"] if step.part == "goods"}
    assert per_ml == {"CH-1": Decimal("1.2600"), "QR-1": Decimal("1.6800")}


def test_the_steps_of_an_order_add_up_to_net_and_profit(steps: dict[str, list[Step]]) -> None:
    results = {step.what: step.amount for step in steps["lantern-17"] if step.part == "result"}
    assert results == {"net": Decimal("25.50"), "profit": Decimal("10.51")}
    amounts = [step.amount or 0 for step in steps["lantern-17"] if step.part != "result"]
    assert sum(amounts) == results["profit"]


def test_goods_that_came_back_are_part_of_the_order(steps: dict[str, list[Step]]) -> None:
    goods = [step for step in steps["lantern-18"] if step.part == "goods"]
    assert [(step.what, step.quantity) for step in goods] == [
        ("sold", 5), ("pour loss", Decimal("0.1")), ("came back", -5),
    ]


def test_what_a_bottle_cost(steps: dict[str, list[Step]]) -> None:
    cost = [step for step in steps["CH-1"] if step.part == "cost"]
    assert [(step.what, step.amount, step.place) for step in cost] == [
        ("bought", Decimal("120.00"), line("CH-1")),
        ("inbound share", Decimal("6.00"), line("delivery")),
        ("late cost", Decimal("12.00"), line("duty")),
        ("in all", Decimal("138.00"), None),
    ]
    assert cost[0].cost_per_unit == Decimal("1.2000")
    assert (cost[-1].quantity, cost[-1].cost_per_unit) == (100, Decimal("1.3800"))
    assert sum(step.amount or 0 for step in cost[:-1]) == cost[-1].amount


def test_every_movement_of_a_bottle_with_what_was_left(steps: dict[str, list[Step]]) -> None:
    moved = [(step.what, step.quantity, step.left) for step in steps["CH-1"] if step.part == "movements"]
    assert moved == [
        ("bought", 100, 100),
        ("sold", -5, 95),
        ("pour loss", Decimal("-0.1"), Decimal("94.9")),
        ("sold", -5, Decimal("89.9")),
        ("pour loss", Decimal("-0.1"), Decimal("89.8")),
        ("came back", 5, Decimal("94.8")),
        ("late cost", 0, Decimal("94.8")),
        ("late, of what is gone", 0, Decimal("94.8")),
        ("sampled", -1, Decimal("93.8")),
        ("kept", -2, Decimal("91.8")),
        ("shrinkage", Decimal("-1.8"), 90),
    ]


def test_the_movements_of_a_bottle_add_up_to_what_is_left(steps: dict[str, list[Step]]) -> None:
    row = by_bottle(read(BOOKS))["CH-1"]
    amounts = [step.amount or 0 for step in steps["CH-1"] if step.part == "movements"]
    assert sum(amounts) == row["stock_value"]
    assert [step.left for step in steps["CH-1"] if step.part == "movements"][-1] == plain(row["ml_left"])


def test_every_order_poured_from_a_bottle_can_be_recalled(steps: dict[str, list[Step]]) -> None:
    recall = [(step.order, step.what, step.quantity) for step in steps["CH-1"] if step.part == "orders"]
    assert recall == [
        ("order-lantern-17", "sold", 5), ("order-lantern-18", "came back", 0), (None, "sampled", 1),
    ]


def test_a_batch_is_all_of_its_bottles(steps: dict[str, list[Step]]) -> None:
    books = read(BOOKS)
    assert steps["0417"] == [*trace(books, "CH-1"), *trace(books, "QR-1")]


def test_a_pack_of_supplies_can_be_traced(steps: dict[str, list[Step]]) -> None:
    assert [step.left for step in steps["V-1"] if step.part == "movements"] == [100, 99, 98, 97]


@pytest.mark.parametrize("name", ["lantern-17", "order-lantern-17", "^order-lantern-17"])
def test_an_order_goes_by_its_link(name: str, steps: dict[str, list[Step]]) -> None:
    assert trace(read(BOOKS), name) == steps["lantern-17"]


@pytest.mark.parametrize(("name", "near"), [("lantern-71", "lantern-17"), ("ch1", "CH-1"), ("417", "0417")])
def test_an_unknown_name_is_told_the_nearest(name: str, near: str) -> None:
    with pytest.raises(UnknownNameError) as caught:
        trace(read(BOOKS), name)
    assert str(caught.value).startswith(f"There is no order, bottle or batch '{name}'. Near it: ")
    assert near in str(caught.value)


def test_a_name_like_none_is_only_unknown() -> None:
    with pytest.raises(UnknownNameError, match=r"'zzzzzz'\.$"):
        trace(read(BOOKS), "zzzzzz")


# On the command line.


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str) -> Result:
    Path("main.beancount").write_text(HEAD + BOOKS, encoding="utf-8")
    return CliRunner().invoke(main, ["trace", *arguments], catch_exceptions=False)


@pytest.mark.parametrize("name", ["lantern-17", "CH-1", "0417"])
def test_the_tables_fit_the_terminal(name: str) -> None:
    result = run(name)
    assert result.exit_code == 0
    assert max(map(display_width, result.stdout.splitlines())) <= WIDTH
    assert "main.beancount:" in result.stdout


@pytest.mark.parametrize("name", ["lantern-17", "CH-1"])
def test_csv_and_json_say_the_same(name: str) -> None:
    objects = json.loads(run(name, "--format", "json").stdout)
    rows = list(csv.DictReader(io.StringIO(run(name, "--format", "csv").stdout, newline="")))
    assert objects
    assert rows == [{key: "" if cell is None else str(cell) for key, cell in each.items()} for each in objects]
    assert objects[0]["place"].startswith(str(Path.cwd()))


def test_an_unknown_name_ends_in_a_message() -> None:
    result = run("lantern-71")
    assert result.exit_code == 1
    assert result.stderr.startswith("Error: There is no order, bottle or batch 'lantern-71'. Near it: ")


def test_a_move_to_another_account_is_no_movement_of_a_bottle() -> None:
    moved = """
2020-01-01 open Assets:Stock:Cellar CEDARHOUR "NONE"
2026-01-05 * "to the cellar"
  Assets:Stock:CedarHour  -100 CEDARHOUR {1.30 USD, 2026-01-05, "CH-1"}
  Assets:Stock:Cellar  100 CEDARHOUR {1.30 USD, 2026-01-05, "CH-1"}
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{130.00 USD, "CH-1"}}
  Assets:Bank
2026-02-11 * "kept"
  Equity:PersonalUse  2 CEDARHOUR
"""
    movements = [(step.what, step.quantity) for step in trace(read(moved), "CH-1") if step.part == "movements"]
    assert movements == [("bought", 100), ("kept", -2)]
