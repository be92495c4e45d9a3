"""Books whose roots of accounts have other names give the same figures."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from millilot.reports.command import main

if TYPE_CHECKING:
    from pathlib import Path

NAMES = {
    "Assets": "Besitz", "Liabilities": "Schulden", "Equity": "Eigenes", "Income": "Ertrag", "Expenses": "Aufwand",
}
REPORTS = (
    "bottles", "year 2025", "year 2026", "payouts", "channel Lantern 2026", "stock", "collection", "splits",
)


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The sample books, imported, with a bank that has no role: with the usual roots, and with other names."""
    plain, renamed = (tmp_path_factory.mktemp("roots") / name for name in ("plain", "renamed"))
    for folder, names in ((plain, {}), (renamed, NAMES)):
        run(f"demo {folder}")
        path = folder / "main.beancount"
        text = path.read_text(encoding="utf-8").replace("Assets:Bank:", "Assets:Giro:")
        for root, name in names.items():
            text = re.sub(rf"\b{root}:", f"{name}:", text)
        options = [f'option "name_{root.lower()}" "{name}"' for root, name in names.items()]
        # In place of comments, so that every line keeps its number.
        lines = text.splitlines()
        assert all(line.startswith(";") for line in lines[:len(options)])
        path.write_text("\n".join([*options, *lines[len(options):], ""]), encoding="utf-8")
    return plain, renamed


def run(command: str) -> str:
    result = CliRunner().invoke(main, command.split(), catch_exceptions=False)
    assert (result.exit_code, result.stderr) == (0, ""), result.output
    return result.stdout


@pytest.mark.parametrize("report", REPORTS)
def test_the_figures_are_the_same(folders: tuple[Path, Path], report: str) -> None:
    plain, renamed = (
        run(f"{report} -b {folder / 'main.beancount'} --format json").replace(str(folder), "")
        for folder in folders
    )
    for root, name in NAMES.items():
        renamed = renamed.replace(f"{name}:", f"{root}:")
    assert renamed == plain
