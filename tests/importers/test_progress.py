"""The bar of a long import is for somebody who watches."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from .shop import Shop

COMMAND = "from millilot.reports.commands.import_files import import_files; import_files()"


def long_file(shop: Shop, rows: int) -> Path:
    """Write a file of cancelled orders and one that is booked."""
    cancelled = ({"Order": str(number), "Status": "Cancelled"} for number in range(2000, 2000 + rows - 1))
    return shop.file({}, *cancelled)


def on_a_terminal(shop: Shop, path: Path) -> tuple[str, str]:
    """Import a file with the error stream on a terminal; return what both streams said."""
    terminal, line = pty.openpty()
    try:
        command = [sys.executable, "-c", COMMAND, str(path), "-b", str(shop.books)]
        done = subprocess.run(command, stdout=subprocess.PIPE, stderr=line, text=True, timeout=60, check=True)
        os.close(line)
        return done.stdout, _rest(terminal)
    finally:
        os.close(terminal)


def _rest(terminal: int) -> str:
    said = b""
    while True:
        try:
            part = os.read(terminal, 1 << 16)
        except OSError:
            # Linux ends a terminal that nobody writes to with an error.
            return said.decode()
        if not part:
            return said.decode()
        said += part


def test_a_long_import_on_a_terminal_shows_how_far_it_is(shop: Shop) -> None:
    output, errors = on_a_terminal(shop, long_file(shop, 1500))
    assert output.startswith("1500 rows: 1 new, 0 known, 1499 skipped")
    assert "orders.csv" in errors
    assert "100%" in errors
    # Some of the way is shown as well, but not each row.
    assert 10 < errors.count("%") < 400


def test_a_short_import_shows_nothing(shop: Shop) -> None:
    output, errors = on_a_terminal(shop, long_file(shop, 20))
    assert output.startswith("20 rows: 1 new")
    assert errors == ""


def test_without_a_terminal_nothing_is_shown(shop: Shop) -> None:
    result = shop.run(long_file(shop, 1500))
    assert result.stdout.startswith("1500 rows: 1 new")
    assert result.stderr == ""
