"""Small files of every shape, each with its profile and the transactions it must give, written by hand.

A case is NAME.csv, NAME.toml and NAME.beancount; NAME.2.csv is imported after the first, with NAME.2.toml if there
is one. In the expected transactions a * in `event:` stands for what only a digest can tell, and comments such as
`; row 4 skipped: status Pending` say what becomes of the rows that are not new (`2.csv row 4` of a second file).
"""

from __future__ import annotations

import csv
import json
import re
import shutil
import tempfile
from collections import Counter
from decimal import Decimal
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from beancount import loader
from beancount.core.data import Transaction
from beancount.parser import parser
from hypothesis import given, settings
from hypothesis import strategies as st

from millilot.importers.profile import read_profile

from .shop import Shop

if TYPE_CHECKING:
    from collections.abc import Iterable

CORPUS = Path(__file__).parent / "corpus"
CASES = sorted(path.stem for path in CORPUS.glob("*.toml") if not path.stem.endswith(".2"))
#: Files that are hard to read rather than to understand.
READING = [name for name in CASES if name.startswith("reading_")]
MEANING = [name for name in CASES if name not in READING]

#: What the files say of buyers, who are nobody's business.
PEOPLE = re.compile("Onymous|example[.]org|Long Lane|Oldtown")
FATE = re.compile(r"; (?:(?P<file>2\.csv) )?row (?P<row>\d+) (?P<fate>\w+)(?:: (?P<reason>.*))?")


def lay_down(name: str, folder: Path) -> tuple[Shop, list[tuple[Path, Path]]]:
    """Lay the books and the files of a case in a folder; return each file with its profile."""
    shop = Shop(folder)
    shutil.copy(CORPUS / "books.beancount", shop.books)
    files = []
    for part in ("", ".2"):
        source = CORPUS / f"{name}{part}.csv"
        if source.exists():
            path = Path(shutil.copy(source, folder))
            own = CORPUS / f"{name}{part}.toml"
            # The name of a profile is no part of what it says.
            profile = folder / f"profile{part}.toml"
            shutil.copy(own if own.exists() else CORPUS / f"{name}.toml", profile)
            files.append((path, profile))
    return shop, files


def told(entries: Iterable[Any]) -> list[dict[str, Any]]:
    """Return what transactions say, wherever they stand."""
    return [
        {
            "head": (entry.date, entry.flag, entry.narration, sorted(entry.tags), sorted(entry.links)),
            "meta": meta(entry.meta),
            "postings": sorted(
                (
                    (posting.account, str(posting.units), str(posting.price), sorted(meta(posting.meta).items()))
                    for posting in entry.postings
                ),
            ),
        }
        for entry in entries
        if isinstance(entry, Transaction)
    ]


def meta(values: dict[str, Any] | None) -> dict[str, str]:
    return {key: str(value) for key, value in (values or {}).items() if key not in {"filename", "lineno"}}


def parsed(text: str) -> list[dict[str, Any]]:
    entries, errors, _ = parser.parse_string(text)
    assert errors == []
    return told(entries)


def held(books: Path, account: str) -> Decimal:
    """Return what an account of the books holds, without its sub-accounts."""
    entries, errors, _ = loader.load_file(str(books))
    assert [error.message for error in errors] == []
    return sum(
        (
            posting.units.number
            for entry in entries
            if isinstance(entry, Transaction)
            for posting in entry.postings
            if posting.account == account
        ),
        Decimal(0),
    )


def account_of(profile: Path) -> str:
    return read_profile(profile).account or "Assets:Marketplace:Lantern"


@pytest.mark.parametrize("name", [*MEANING, *READING])
def test_the_file_gives_the_transactions(name: str, tmp_path: Path) -> None:
    shop, files = lay_down(name, tmp_path)
    before = shop.books.read_text(encoding="utf-8")
    expected = (CORPUS / f"{name}.beancount").read_text(encoding="utf-8")
    fates = {}
    for path, profile in files:
        held_before = held(shop.books, account_of(profile))
        outcome = shop.outcome(path, "--profile", profile)
        assert outcome["rows"] == len(outcome["fates"])
        assert outcome["rows"] == sum(
            outcome[fate] for fate in ("new", "known", "skipped", "unsorted", "refused")
        )
        for money in outcome["money"].values():
            amounts = {key: Decimal(amount) for key, amount in money.items()}
            assert amounts.pop("rows") == sum(amounts.values())
            assert held(shop.books, account_of(profile)) - held_before == amounts["booked"]
        for fate in outcome["fates"]:
            if fate["fate"] != "new" or fate["reason"]:
                reason = fate["reason"].replace(str(path), "FILE")
                fates[path.name.removeprefix(f"{name}."), fate["row"]] = (fate["fate"], reason)
    after = shop.books.read_text(encoding="utf-8")
    assert after.startswith(before)
    booked, wanted = parsed(after.removeprefix(before)), parsed(expected)
    for entry, pattern in zip(booked, wanted, strict=False):
        if fnmatchcase(entry["meta"].get("event", ""), pattern["meta"].get("event", "")):
            pattern["meta"]["event"] = entry["meta"]["event"]
    assert booked == wanted
    listed = {
        (match["file"] or "csv", int(match["row"])): (match["fate"], match["reason"] or "")
        for match in FATE.finditer(expected)
    }
    assert fates == listed
    # Nothing of a buyer, and nothing at all when it is imported again.
    assert not PEOPLE.search(after.removeprefix(before))
    for path, profile in files:
        again = shop.outcome(path, "--profile", profile)
        assert (again["new"], again["unsorted"]) == (0, 0)
    assert shop.books.read_text(encoding="utf-8") == after


CELLS = st.sampled_from(
    ["", "0", "-1", "1e400", "NaN", "Infinity", "12.005", "1,2,3", "99999999999999", "2026-02-30", "Sale",
     "Refund", "1001", "T1", "USD", "EUR", "\x1b[31m", "\N{RIGHT-TO-LEFT OVERRIDE}x", '"', "'", "=1+1",
     "Completed", "P-9"],
)
CHANGE = st.tuples(st.integers(1, 9), st.integers(0, 9), CELLS)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(MEANING), st.lists(CHANGE, max_size=4))
def test_whatever_stands_in_the_cells_each_row_has_a_fate(name: str, changes: list[tuple[int, int, str]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        shop, [(path, profile), *_] = lay_down(name, Path(folder))
        rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
        for row, column, text in changes:
            if row < len(rows) and column < len(rows[row]):
                rows[row][column] = text
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
        before = held(shop.books, account_of(profile))
        result = shop.run(path, "--profile", profile, "--format", "json")
        if result.stdout.startswith("{"):
            outcome = json.loads(result.stdout)
            assert outcome["rows"] == len(rows) - 1 == len({fate["row"] for fate in outcome["fates"]})
            for money in outcome["money"].values():
                amounts = {key: Decimal(amount) for key, amount in money.items()}
                assert amounts.pop("rows") == sum(amounts.values())
                assert held(shop.books, account_of(profile)) - before == amounts["booked"]
            again = shop.outcome(path, "--profile", profile)
            assert (again["new"], again["unsorted"]) == (0, 0)
        else:
            assert "nothing is written" in result.stderr
            assert held(shop.books, account_of(profile)) == before


def test_there_are_files_of_every_shape() -> None:
    shapes = Counter(name[0] for name in MEANING)
    assert set(shapes) == set("abcdefg")
    assert len(CASES) >= 40
