"""A file that is no table, or a damaged one, is answered with a message: soon, and with the books unchanged."""

from __future__ import annotations

import json
import random
import tempfile
import time
import tracemalloc
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millilot.importers.problems import FileError
from millilot.importers.profile import read_profile
from millilot.importers.table import iter_rows

from .shop import DATA, HEADINGS, ORDER

if TYPE_CHECKING:
    from .shop import Shop

HEAD = ",".join(HEADINGS)
WHOLE = ",".join(ORDER.get(heading, "") for heading in HEADINGS)
MEGABYTE = 1_000_000


def answer(shop: Shop, content: bytes) -> str:
    """Import a file that must bring nothing into the books, and return what is said of it."""
    path = shop.folder / "orders.csv"
    path.write_bytes(content)
    before = shop.books.read_bytes()
    start = time.monotonic()
    result = shop.run(path, "--profile", shop.profile, "--format", "json")
    assert time.monotonic() - start < 10
    assert result.exit_code == 1
    assert shop.books.read_bytes() == before
    assert len(result.output) < 10_000
    fates = json.loads(result.stdout)["fates"] if result.stdout else []
    return "\n".join([result.stderr, *(f"{path}, row {fate['row']}: {fate['reason']}" for fate in fates)])


def with_cell(heading: str, text: str) -> bytes:
    order = {**ORDER, heading: text}
    return "\n".join([HEAD, ",".join(order.get(name, "") for name in HEADINGS), ""]).encode()


LONG_LINE = "expected a line of at most 1000000 characters, found a longer one"
UNCLOSED = "cannot be read as cells: a quotation mark opens a cell that does not end"

FILES = {
    "nothing": (b"", "expected a row of headings, found none"),
    "blank lines": (b"\n\n\r\n  \n", "expected a row of headings, found none"),
    "zeros": (b"\0" * MEGABYTE, "expected a row of headings, found none"),
    "random bytes": (random.Random(7).randbytes(MEGABYTE), "orders.csv"),
    "a workbook": (b"PK\3\4" + bytes(range(256)), "expected a table as text, such as CSV, found a workbook"),
    "one long line": (b"x" * 20 * MEGABYTE, f"row 1: {LONG_LINE}"),
    "one long line of cells": (b"1,2;" * 5 * MEGABYTE, f"row 1: {LONG_LINE}"),
    "one long line of quotes": (b'"' * 20 * MEGABYTE, f"row 1: {LONG_LINE}"),
    "a long row": (f"{HEAD}\n1001,{'9' * 20 * MEGABYTE}\n".encode(), f"row 2: {LONG_LINE}"),
    "a long cell": (f"{HEAD}\n1001,{'9' * 200_000}\n".encode(), "row 2: cannot be read as cells: field larger"),
    "columns": (b",".join(b"column %d" % number for number in range(10_000)) + b"\n", "expects the headings"),
    "rows of columns": ((b"1," * 10_000 + b"\n") * 120, "expects the headings"),
    "a row of columns": (f"{HEAD}\n{WHOLE}{',' * 9_999}x\n".encode(), "as in the headings, found 10019"),
    "cut in a quoted cell": (f'{HEAD}\n{WHOLE}\n1002,"2026-03-04'.encode(), f"row 3: {UNCLOSED}"),
    "cut in a row": (f"{HEAD}\n{WHOLE[:40]}".encode(), "row 2: expected 20 cells as in the headings, found 5"),
    "cut in a character": (f"{HEAD}\n{WHOLE}".encode("utf-16")[:-1], "row 2: is not written in utf-16"),
    "no character": (f"{HEAD}\n".encode("utf-32") + b"\xff" * 9, "row 2: is not written in utf-32"),
    "a quote that is not closed": (
        f'{HEAD}\n1002,"2026-03-04\n'.encode() + f"{WHOLE}\n".encode() * 9_000, f"row 2: {UNCLOSED}",
    ),
    "two encodings": (f"{HEAD}\n{WHOLE}\n".encode() + b"1002,Caf\xe9\n", "row 3: is not written in UTF-8"),
    "a NUL": (with_cell("Item total", "12\0.00"), "row 2: expected text, found a NUL character"),
}

NO_AMOUNT = "column 'Item total': expected an amount like 1,234.50, found"

CELLS = [
    ("Item total", "1e400", f"{NO_AMOUNT} '1e400'"),
    ("Item total", "1e-400", f"{NO_AMOUNT} '1e-400'"),
    ("Item total", "NaN", f"{NO_AMOUNT} 'NaN'"),
    ("Item total", "-Infinity", f"{NO_AMOUNT} '-Infinity'"),
    ("Item total", "0x10", f"{NO_AMOUNT} '0x10'"),
    ("Item total", "1_000", f"{NO_AMOUNT} '1_000'"),
    ("Item total", "\N{ARABIC-INDIC DIGIT ONE}", f"{NO_AMOUNT} '\N{ARABIC-INDIC DIGIT ONE}'"),
    ("Item total", "9" * 100_000, f"{NO_AMOUNT} '{'9' * 80}'... (100000 characters)"),
    ("Item total", "1" + "0" * 12, "column 'Item total': expected an amount of at most 12 digits, found '1000"),
    ("Quantity", "1e400", "column 'Quantity': expected a whole number above 0, found '1e400'"),
    ("Quantity", "9" * 100_000, "column 'Quantity': expected a whole number above 0, found '999"),
    ("Ordered on", "2026-02-30", "column 'Ordered on': expected a date like 2026-01-31, found '2026-02-30'"),
    ("Ordered on", "2" * 100_000, "column 'Ordered on': expected a date like 2026-01-31, found '222"),
]


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_no_table(shop: Shop, name: str) -> None:
    content, message = FILES[name]
    assert message in answer(shop, content)


@pytest.mark.parametrize(("heading", "text", "message"), CELLS, ids=[f"{cell[0]} {cell[1][:9]}" for cell in CELLS])
def test_a_cell_that_is_no_value(shop: Shop, heading: str, text: str, message: str) -> None:
    assert f"row 2: {message}" in answer(shop, with_cell(heading, text))


def test_a_long_file_is_not_held_in_memory(tmp_path: Path) -> None:
    path = tmp_path / "orders.csv"
    path.write_text("\n".join([HEAD, *[f"{WHOLE}{number}" for number in range(20_000)]]), encoding="utf-8")
    how = read_profile(DATA / "lantern.toml")
    tracemalloc.start()
    try:
        count = sum(1 for _ in iter_rows(path, how.file, how.headings))
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert count == 20_000
    assert peak < MEGABYTE < path.stat().st_size


def test_what_is_there_of_a_damaged_file_is_not_hidden(shop: Shop) -> None:
    path = shop.folder / "orders.csv"
    path.write_bytes(f"{HEAD}\n{WHOLE}\n{WHOLE.replace('1001', '1002')[:30]}".encode())
    outcome = shop.outcome(path)
    assert [(fate["row"], fate["fate"]) for fate in outcome["fates"]] == [(2, "new"), (3, "refused")]


@given(st.binary(max_size=400), st.booleans())
def test_no_bytes_bring_a_traceback(content: bytes, below: bool) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "orders.csv"
        path.write_bytes(f"{HEAD}\n".encode() * below + content)
        how = read_profile(DATA / "lantern.toml")
        try:
            rows = list(iter_rows(path, how.file, how.headings))
        except FileError as error:
            assert str(error).startswith(str(path))  # noqa: PT017
        else:
            assert below or not rows
