"""A command killed at any place at which it writes leaves the old books or the new, and can be run again."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from millilot.importers.profile import read_profile

from .shop import Shop
from .test_sort import MYSTERY, listed, sort

if TYPE_CHECKING:
    import pytest

IMPORT = "millilot.reports.commands.import_files:import_files"
SORT = "millilot.reports.commands.sort:sort_command"


def killed(shop: Shop, target: Path, command: str, *arguments: str) -> list[tuple[str | None, Shop]]:
    """Return the places at which the command was killed, each with the shop it left behind."""
    script = Path(__file__).with_name("killing.py")
    words = [sys.executable, str(script), str(shop.folder), str(target), command, *arguments]
    done = subprocess.run(words, check=False, capture_output=True, text=True, timeout=240)
    assert done.returncode == 0, done.stderr
    places = json.loads(done.stdout)
    return [(place, Shop(target / str(number))) for number, place in enumerate(places, 1)]


def left_behind(shop: Shop) -> list[str]:
    return [path.name for path in shop.folder.rglob(".*")]


def test_an_import(shop: Shop, tmp_path_factory: pytest.TempPathFactory) -> None:
    shop.file({"Order": "1"}, {"Order": "2", "Refunded": "12.00", "Refunded on": "2026-04-01"}, MYSTERY)
    old = shop.books.read_bytes()
    runs = killed(shop, tmp_path_factory.mktemp("killed"), IMPORT, "{}/orders.csv", "-b", "{}/main.beancount")
    new = runs[-1][1].books.read_bytes()
    assert new.startswith(old)
    assert new.count(b"event:") == 4
    places = [place for place, _ in runs]
    assert {"half written", "before replace", "after replace", "after fsync", None} <= set(places)
    books = [left.books.read_bytes() for _, left in runs]
    # The renaming is the one step.
    renamed = places.index("after replace")
    assert books == [old] * renamed + [new] * (len(books) - renamed)
    for _, left in runs:
        assert left.outcome(left.folder / "orders.csv")["refused"] == 0
        assert left.books.read_bytes() == new
        assert left_behind(left) == []


def test_a_sort(shop: Shop, tmp_path_factory: pytest.TempPathFactory) -> None:
    shop.outcome(shop.file(MYSTERY))
    old = shop.books.read_bytes(), shop.profile.read_bytes()
    arguments = ("1001", "CEDARHOUR", "3", "-b", "{}/main.beancount")
    runs = killed(shop, tmp_path_factory.mktemp("killed"), SORT, *arguments)
    last = runs[-1][1]
    new = last.books.read_bytes(), last.profile.read_bytes()
    states = [(left.books.read_bytes(), left.profile.read_bytes()) for _, left in runs]
    # The answer is kept once the books have it.
    between = new[0], old[1]
    assert set(states) == {old, between, new}
    assert states == sorted(states, key=[old, between, new].index)
    for state, (_, left) in zip(states, runs, strict=True):
        assert left.errors() == []
        read_profile(left.profile)
        assert listed(left) == ([] if state[0] == new[0] else ["lantern-1001"])
        if state == old:
            assert sort(left, "1001", "CEDARHOUR", "3").exit_code == 0
            assert (left.books.read_bytes(), left.profile.read_bytes()) == new
            assert left_behind(left) == []
        assert left.outcome(left.folder / "orders.csv")["known"] == 1


RUN = """
import importlib, sys

module, name = sys.argv.pop(1).split(":")
getattr(importlib.import_module(module), name)()
"""


def at_once(*commands: list[str]) -> list[str]:
    running = [
        subprocess.Popen(
            [sys.executable, "-c", RUN, *command], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )
        for command in commands
    ]
    outputs = [process.communicate(timeout=120)[0] for process in running]
    assert [process.returncode for process in running] == [0] * len(running), outputs
    return outputs


def test_one_file_imported_twice_at_once(shop: Shop) -> None:
    path = str(shop.file(*({"Order": str(number), "Item": "Cedar Hour 1 mL"} for number in range(30))))
    outputs = at_once(*([IMPORT, path, "-b", str(shop.books)] for _ in range(3)))
    firsts = sorted(output.splitlines()[0] for output in outputs)
    assert firsts == [
        "30 rows: 0 new, 30 known, 0 skipped, 0 unsorted, 0 refused",
        "30 rows: 0 new, 30 known, 0 skipped, 0 unsorted, 0 refused",
        "30 rows: 30 new, 0 known, 0 skipped, 0 unsorted, 0 refused",
    ]
    assert shop.books.read_text(encoding="utf-8").count("event:") == 30
    assert shop.errors() == []


def test_an_import_beside_a_sort(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY, name="first.csv"))
    path = str(shop.file({"Order": "2"}, {"Order": "3"}))
    at_once(
        [IMPORT, path, "-b", str(shop.books)],
        [SORT, "1001", "CEDARHOUR", "3", "-b", str(shop.books)],
    )
    assert shop.books.read_text(encoding="utf-8").count("event:") == 3
    assert listed(shop) == []
    assert shop.errors() == []
