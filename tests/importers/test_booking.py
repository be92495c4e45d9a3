"""All or nothing: killed, crowded and interrupted imports."""

from __future__ import annotations

import fcntl
import os
import signal
import stat
import subprocess
import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

import pytest

from millilot.importers.batch import Batch
from millilot.importers.booking import BooksFile, open_books
from millilot.importers.problems import BooksError
from millilot.importers.profile import read_profile

if TYPE_CHECKING:
    from pathlib import Path

    from beancount.core.data import Directive, Transaction

    from millilot.importers.booking import Problem

    from .shop import Shop

#: Runs an import that is killed at the named call: before it, or after it.
KILLED = """
import os, pathlib, signal, sys

call, when = sys.argv.pop(1), sys.argv.pop(1)
module, name = (os, call) if hasattr(os, call) else (pathlib.Path, call)
real = getattr(module, name)

def killing(*arguments):
    if when == "before":
        os.kill(os.getpid(), signal.SIGKILL)
    real(*arguments)
    os.kill(os.getpid(), signal.SIGKILL)

setattr(module, name, killing)

from millilot.reports.commands.import_files import import_files
import_files()
"""


def entries_of(shop: Shop, *orders: dict[str, str]) -> list[Transaction]:
    batch = Batch([])
    batch.add(shop.file(*({"Item": "Mystery", **order} for order in orders)), read_profile(shop.profile))
    return batch.new


@pytest.mark.parametrize(
    ("call", "when", "written"),
    [
        ("fchmod", "before", False),
        ("fsync", "before", False),
        ("fsync", "after", False),
        ("replace", "before", False),
        ("replace", "after", True),
        ("unlink", "before", False),
    ],
)
def test_a_killed_import_leaves_the_old_books_or_the_new(shop: Shop, call: str, when: str, written: bool) -> None:
    orders = shop.file(*({"Order": str(number), "Item": "Cedar Hour 1 mL"} for number in range(20)))
    old = shop.books.read_bytes()
    command = [sys.executable, "-c", KILLED, call, when, str(orders), "-b", str(shop.books)]
    killed = subprocess.run(command, check=False, capture_output=True, text=True, timeout=60)
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert (shop.books.read_bytes() != old) is written
    assert shop.errors() == []
    outcome = shop.outcome(orders)
    assert (outcome["new"], outcome["known"]) == ((0, 20) if written else (20, 0))
    assert shop.errors() == []
    assert sorted(path.name for path in shop.folder.iterdir()) == ["main.beancount", "orders.csv", "profiles"]


def test_imports_at_the_same_time_wait_for_each_other(shop: Shop) -> None:
    code = "from millilot.reports.commands.import_files import import_files; import_files()"
    running = []
    for number in range(4):
        # Two files share each order.
        path = shop.file({"Order": str(number % 2)}, {"Order": f"own-{number}"}, name=f"{number}.csv")
        command = [sys.executable, "-c", code, str(path), "-b", str(shop.books)]
        running.append(subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True))
    for process in running:
        output, _ = process.communicate(timeout=120)
        assert process.returncode == 0, output
    assert shop.books.read_text(encoding="utf-8").count("event:") == 6
    assert shop.errors() == []


def test_books_changed_by_an_editor_meanwhile_are_left_alone(shop: Shop) -> None:
    with open_books(shop.books) as books:
        shop.books.write_bytes(shop.books.read_bytes() + b"; mine\n")
        with pytest.raises(BooksError, match="changed while the import ran; nothing is written"):
            books.append(entries_of(shop, {}))
    assert shop.books.read_bytes().endswith(b"; mine\n")


def test_an_import_says_that_the_books_changed_meanwhile(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    real = BooksFile.append

    def meanwhile(self: BooksFile, *arguments: Any, **options: Any) -> list[Problem]:
        # Fava's editor writes the whole file anew.
        shop.books.write_bytes(shop.books.read_bytes() + b"; mine\n")
        return real(self, *arguments, **options)

    monkeypatch.setattr(BooksFile, "append", meanwhile)
    before = shop.books.read_bytes()
    result = shop.run(shop.file({}))
    assert result.exit_code == 1
    assert "changed while the import ran; nothing is written, import again" in result.stderr
    assert shop.books.read_bytes() == before + b"; mine\n"


def test_books_replaced_by_an_editor_meanwhile_are_left_alone(shop: Shop) -> None:
    with open_books(shop.books) as books:
        same = shop.folder / "same"
        same.write_bytes(shop.books.read_bytes())
        same.replace(shop.books)
        with pytest.raises(BooksError, match="changed while the import ran"):
            books.append(entries_of(shop, {}))


def test_the_mode_of_the_file_stays(shop: Shop) -> None:
    shop.books.chmod(0o640)
    shop.run(shop.file({}))
    assert stat.S_IMODE(shop.books.stat().st_mode) == 0o640


def test_a_symbolic_link_stays_one(shop: Shop) -> None:
    real = shop.folder / "kept" / "books.beancount"
    real.parent.mkdir()
    shop.books.rename(real)
    shop.books.symlink_to(real)
    path = shop.file({})
    assert shop.run(path, "--profile", shop.profile).exit_code == 0
    assert shop.books.is_symlink()
    assert "lantern/sale/1001" in real.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("before", "joined"),
    [
        (b"; end", b"; end\n\n2026"),
        (b"; end\n", b"; end\n\n2026"),
        (b"; end\n\n", b"; end\n\n2026"),
        (b"; end\r\n", b"; end\r\n\r\n2026"),
    ],
)
def test_the_text_is_appended_after_a_blank_line(shop: Shop, before: bytes, joined: bytes) -> None:
    content = shop.books.read_bytes()
    if b"\r" in before:
        content = content.replace(b"\n", b"\r\n")
    shop.books.write_bytes(content + before)
    assert shop.outcome(shop.file({}))["new"] == 1
    after = shop.books.read_bytes()
    assert after.startswith(content + joined)
    assert (after.count(b"\n") == after.count(b"\r\n")) is (b"\r" in before)
    assert shop.errors() == []


def test_text_that_would_not_be_read_as_entries_is_not_written(shop: Shop) -> None:
    # Nobody closes this quote, so what is appended would become part of it.
    shop.books.write_bytes(shop.books.read_bytes() + b'2026-02-01 note Assets:Bank "never closed\n')
    before = shop.books.read_bytes()
    result = shop.run(shop.file({}))
    assert result.exit_code == 1
    assert "Traceback" not in result.output
    assert shop.books.read_bytes() == before


def test_entries_that_another_plugin_takes_out_are_not_written(
    shop: Shop, monkeypatch: pytest.MonkeyPatch,
) -> None:
    def drop(entries: list[Directive], _: object) -> tuple[list[Directive], list[object]]:
        return [entry for entry in entries if "event" not in entry.meta], []

    plugin = ModuleType("dropping")
    plugin.__plugins__ = [drop]  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "dropping", plugin)
    shop.books.write_text(f'plugin "dropping"\n{shop.books.read_text(encoding="utf-8")}', encoding="utf-8")
    before = shop.books.read_bytes()
    result = shop.run(shop.file({}))
    assert result.exit_code == 1
    assert "the books do not show the new entries once loaded; nothing is written" in result.stderr
    assert shop.books.read_bytes() == before


def test_bytes_that_are_not_utf_8_stay_as_they_are(shop: Shop) -> None:
    before = shop.books.read_bytes() + b'2026-02-01 note Assets:Bank "caf\xe9"\n'
    shop.books.write_bytes(before)
    assert shop.outcome(shop.file({}))["new"] == 1
    assert shop.books.read_bytes().startswith(before)


def test_included_files_are_found_from_the_copy(shop: Shop) -> None:
    (shop.folder / "more").mkdir()
    shop.books.rename(shop.folder / "more" / "all.beancount")
    options = 'option "inferred_tolerance_default" "USD:0.005"\nplugin "millilot.plugins"\n'
    shop.books.write_text(options + 'include "more/*.beancount"\n', encoding="utf-8")
    assert shop.outcome(shop.file({}))["new"] == 1
    assert shop.errors() == []
    assert shop.outcome(shop.folder / "orders.csv")["known"] == 1


def test_books_that_cannot_be_opened_for_writing(tmp_path: Path) -> None:
    with pytest.raises(BooksError, match="cannot be opened for writing: Is a directory"), open_books(tmp_path):
        pass


def test_a_full_disk_is_a_message(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(file: int) -> None:
        raise OSError(28, "No space left on device")

    before = shop.books.read_bytes()
    with open_books(shop.books) as books:
        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(BooksError, match="cannot be written: No space left on device"):
            books.append(entries_of(shop, {}))
    assert shop.books.read_bytes() == before
    assert not list(shop.folder.glob(".*"))


def test_books_that_were_replaced_while_waiting_for_the_lock_are_opened_anew(
    shop: Shop, monkeypatch: pytest.MonkeyPatch,
) -> None:
    lock = fcntl.flock
    new = shop.books.read_bytes() + b"; of the import before\n"

    def after_another_import(file: int, operation: int) -> None:
        lock(file, operation)
        if shop.books.read_bytes() != new:
            copy = shop.folder / "copy"
            copy.write_bytes(new)
            copy.replace(shop.books)

    monkeypatch.setattr(fcntl, "flock", after_another_import)
    with open_books(shop.books) as books:
        with shop.books.open("rb") as current, pytest.raises(BlockingIOError):
            lock(current, fcntl.LOCK_EX | fcntl.LOCK_NB)
        assert books.append(entries_of(shop, {})) == []
    assert shop.books.read_bytes().startswith(new)
