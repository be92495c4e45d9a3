"""What the README shows is what one gets."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from beancount.loader import load_string

README = Path(__file__).parent.parent / "README.md"
BLOCKS = re.findall(r"```(\w*)\n(.*?)```", README.read_text(encoding="utf-8"), flags=re.DOTALL)
#: Commands of the tour that only read the sample books or import into them, in the order of the page.
SHOWN = [block for _, block in BLOCKS if re.match(r"\$ (millilot|bean-query) (?!.*example)", block)]


def shell(command: str, folder: Path) -> str:
    """Run a command of this environment in a folder and return what it prints."""
    words = shlex.split(command)
    words[0] = str(Path(sys.executable).with_name(words[0]))
    expanded = [
        str(path.relative_to(folder)) if "*" in word else word
        for word in words
        for path in (sorted(folder.glob(word)) if "*" in word else [folder])
    ]
    return subprocess.run(expanded, cwd=folder, capture_output=True, text=True, check=True).stdout


def pattern(shown: str) -> str:
    """Return a pattern for shown output, in which a line of dots stands for any lines left out."""
    lines = (line.rstrip() for line in shown.splitlines())
    return "".join(r"(?:.*\n)*?" if line == "..." else re.escape(line) + r"\s*\n" for line in lines)


def test_the_example_books_load(tmp_path: Path) -> None:
    [ledger] = [block for language, block in BLOCKS if language == "beancount"]
    entries, errors, _ = load_string(ledger)
    assert errors == []
    assert len(entries) > 10


@pytest.fixture(scope="module")
def tour(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tour") / "books"
    shell(f"millilot new {folder} --sample", folder.parent)
    return folder


def test_the_tour_shows_what_the_commands_print(tour: Path) -> None:
    assert len(SHOWN) >= 6
    for block in SHOWN:
        command, shown = block.removeprefix("$ ").split("\n", 1)
        printed = shell(command, tour)
        assert re.match(pattern(shown.strip("\n") + "\n"), printed.lstrip("\n") + "\n"), f"$ {command}\n{printed}"
