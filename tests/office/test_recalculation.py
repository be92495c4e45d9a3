"""A spreadsheet program works the pack's formulas out to the values Millilot wrote beside them."""

from __future__ import annotations

import io
import re
import subprocess
import zipfile
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner
from openpyxl import load_workbook

from millilot.reports.command import main
from millilot.reports.pack import WORKBOOK

if TYPE_CHECKING:
    from pathlib import Path

_FORMULA = re.compile(rb"(<f>[^<]*</f>)<v>[^<]*</v>")

HOSTILE = """
2026-11-21 commodity HOSTILE
  name: "=1+1"
2026-11-21 open Assets:Stock:Hostile "NONE"
2026-11-21 * "=1+1" "+1+1"
  Assets:Stock:Hostile  10 HOSTILE {{10.00 USD, "-1+1"}}
    batch: "@SUM(A1:A9)"
  Assets:Bank:Checking  -10.00 USD
"""


@pytest.fixture(scope="module", params=["2025", "2026"])
def packed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pack of the sample books, to which hostile texts were added."""
    folder = tmp_path_factory.mktemp("office")
    books = folder / "books" / "main.beancount"
    assert CliRunner().invoke(main, ["demo", str(books.parent)]).exit_code == 0
    with books.open("a", encoding="utf-8") as file:
        file.write(HOSTILE)
    forms = ["--form", "us-hobby", "--form", "us-schedule-c"]
    arguments = ["pack", request.param, "-o", str(folder / "pack"), "-b", str(books), *forms]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.output
    return folder / "pack" / WORKBOOK


def without_values(content: bytes) -> bytes:
    """Return a workbook whose formulas have no value, so that whoever shows one has to work it out."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as book, zipfile.ZipFile(out, "w") as bare:
        for name in book.namelist():
            bare.writestr(name, _FORMULA.sub(rb"\1", book.read(name)))
    return out.getvalue()


def recalculated(content: bytes, folder: Path) -> bytes:
    """Let LibreOffice open a workbook and save it."""
    source = folder / "source.xlsx"
    source.write_bytes(content)
    profile = f"-env:UserInstallation=file://{folder}/profile"
    command = ["soffice", profile, "--headless", "--convert-to", "xlsx", "--outdir", str(folder / "out")]
    subprocess.run([*command, str(source)], check=True, capture_output=True, timeout=120)
    return folder.joinpath("out", "source.xlsx").read_bytes()


def test_libreoffice_agrees_and_takes_no_text_for_a_formula(packed: Path, tmp_path: Path) -> None:
    content = packed.read_bytes()
    ours = load_workbook(io.BytesIO(content), data_only=True)
    formulas = load_workbook(io.BytesIO(content))
    bare = without_values(content)
    blank = load_workbook(io.BytesIO(bare), data_only=True)
    saved = recalculated(bare, tmp_path)
    theirs, their_formulas = (load_workbook(io.BytesIO(saved), data_only=values) for values in (True, False))
    assert theirs.sheetnames == ours.sheetnames
    count = 0
    for sheet in formulas.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                place = cell.coordinate
                shown = theirs[sheet.title][place].value
                if cell.data_type == "f":
                    assert blank[sheet.title][place].value is None
                    expected = Decimal(str(ours[sheet.title][place].value))
                    assert abs(Decimal(str(shown)) - expected) < Decimal("1E-8"), (sheet.title, place, cell.value)
                    count += 1
                else:
                    assert their_formulas[sheet.title][place].data_type != "f", (sheet.title, place)
                    assert shown == ours[sheet.title][place].value, (sheet.title, place)
    assert count > 100


def test_hostile_texts_are_shown_as_they_are(packed: Path, tmp_path: Path) -> None:
    theirs = load_workbook(io.BytesIO(recalculated(packed.read_bytes(), tmp_path)), data_only=True)
    texts = {
        cell.value
        for sheet in theirs.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "s"
    }
    if "2026" in str(theirs["Summary"]["A1"].value):
        assert {"'=1+1", "'-1+1", "'@SUM(A1:A9)"} <= texts
    assert not texts & {"=1+1", "-1+1", "@SUM(A1:A9)"}
