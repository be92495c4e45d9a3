"""A folder with books to begin with."""

from __future__ import annotations

import re
import runpy
import subprocess
import sys
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from beancount import loader
from beancount.core.data import Open
from click.testing import CliRunner
from fava.core import FavaLedger

from millilot.ledger import templates
from millilot.ledger.accounts import Role
from millilot.ledger.reading import read_books
from millilot.ledger.records import Kind
from millilot.reports.check import problems, remarks
from millilot.reports.commands.new import new

if TYPE_CHECKING:
    from click.testing import Result

BEAN_CHECK = Path(sys.executable).with_name("bean-check")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(new, [str(argument) for argument in arguments], catch_exceptions=False)


def findings(books: Path) -> list[str]:
    """Return all that `millilot check` would say."""
    entries, errors, options = loader.load_file(str(books))
    found = [*problems(entries, errors), *remarks(entries, read_books(entries, options))]
    return [finding.message for finding in found]


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def starter(tmp_path: Path) -> Path:
    """The folder of new books."""
    folder = tmp_path / "books"
    result = run(folder)
    assert result.exit_code == 0, result.output
    return folder


@pytest.mark.parametrize("arguments", [(), ("--currency", "EUR"), ("--currency", "JPY"), ("--sample",)])
def test_new_books_have_no_error_and_no_remark(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    folder = tmp_path / "books"
    assert run(folder, *arguments).exit_code == 0
    assert findings(folder / "main.beancount") == []
    check = subprocess.run([BEAN_CHECK, folder / "main.beancount"], capture_output=True, text=True, check=False)
    assert (check.returncode, check.stdout, check.stderr) == (0, "", "")


@pytest.mark.parametrize("arguments", [(), ("--sample",)])
def test_fava_opens_new_books_without_an_error(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    folder = tmp_path / "books"
    run(folder, *arguments)
    ledger = FavaLedger(str(folder / "main.beancount"))
    assert [error.message for error in ledger.errors] == []
    assert not ledger.ingest.errors
    assert "BottlePayback" in [extension.name for extension in ledger.extensions.extension_details]
    profiles = {f"millilot.{path.stem}" for path in folder.glob("profiles/*.toml")}
    assert ledger.ingest.loaded_config is not None
    assert set(ledger.ingest.loaded_config.importers) == profiles
    assert all(len(file.importers) == 1 for file in ledger.ingest.import_data())


@pytest.mark.parametrize(("currency", "tolerance"), [("USD", "0.005"), ("EUR", "0.005"), ("JPY", "0.5")])
def test_the_currency_of_the_books_is_the_one_asked_for(tmp_path: Path, currency: str, tolerance: str) -> None:
    folder = tmp_path / "books"
    run(folder, "--currency", currency)
    entries, _, options = loader.load_file(str(folder / "main.beancount"))
    assert options["operating_currency"] == [currency]
    assert options["inferred_tolerance_default"] == {currency: Decimal(tolerance)}
    named = {code for entry in entries if isinstance(entry, Open) for code in entry.currencies or ()}
    assert named == {currency, "CEDARHOUR"}
    assert f'currency = "{currency}"' in (folder / "profiles/lantern.toml").read_text(encoding="utf-8")


def test_every_role_has_an_open_account(starter: Path) -> None:
    entries, _, options = loader.load_file(str(starter / "main.beancount"))
    roles = read_books(entries, options).settings.roles
    played = {role for entry in entries if isinstance(entry, Open) for role in roles.ever(entry.account)}
    assert set(Role) <= played


def test_the_examples_in_the_comments_are_right(starter: Path) -> None:
    books = starter / "main.beancount"
    text = re.sub(r"^;(?=\d{4}-| {2})", "", books.read_text(encoding="utf-8"), flags=re.MULTILINE)
    books.write_text(text, encoding="utf-8")
    assert findings(books) == []
    entries, _, options = loader.load_file(str(books))
    records = read_books(entries, options).records
    shown = {move.kind for record in records for move in record.moves}
    assert shown == set(Kind)
    roles = {money.role for record in records for money in record.money}
    assert {Role.SALES, Role.REFUNDS, Role.SWAPS, Role.POSTAGE_CHARGED, Role.FEES, Role.MARKETPLACE} <= roles


def test_the_example_profile_becomes_an_importer(starter: Path) -> None:
    [importer] = runpy.run_path(str(starter / "import.py"))["CONFIG"]
    orders = starter / "files" / "orders.csv"
    headings = sorted(importer.profile.headings)
    orders.write_text(",".join(headings) + "\n", encoding="utf-8")
    assert importer.identify(str(orders))
    assert importer.account(str(orders)) == "Assets:Marketplace:Lantern"


def test_import_script_runs_as_a_program(starter: Path) -> None:
    program = [sys.executable, starter / "import.py", "identify", starter / "files"]
    result = subprocess.run(program, capture_output=True, text=True, check=False)
    assert (result.returncode, result.stderr) == (0, "")


def test_what_to_do_next_names_the_books(tmp_path: Path) -> None:
    output = run(tmp_path / "my books").stdout
    quoted = f"'{tmp_path / 'my books' / 'main.beancount'}'"
    assert f"fava {quoted}" in output
    assert f"millilot check -b {quoted}" in output


def test_a_folder_with_files_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    result = run(tmp_path)
    assert result.exit_code == 1
    assert "is not empty; nothing is written" in result.stderr
    assert files_in(tmp_path) == {"notes.txt": b"mine"}


def test_new_books_again_change_nothing(starter: Path) -> None:
    before = files_in(starter)
    assert run(starter, "--sample").exit_code == 1
    assert files_in(starter) == before


def test_an_empty_folder_one_stands_in_is_filled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(".").exit_code == 0
    # The same folder as before, not another one in its place.
    assert Path("main.beancount").is_file()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["files", "import.py", "main.beancount", "profiles"]


@pytest.mark.parametrize("there", [True, False])
def test_a_full_disk_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, there: bool,
) -> None:
    folder = tmp_path / "books"
    if there:
        folder.mkdir()
    write = Path.write_text

    def fail_at_the_second(path: Path, *args: str, **kwargs: str) -> int:
        if path.name == "main.beancount":
            raise OSError(28, "No space left on device")
        return write(path, *args, **kwargs)

    monkeypatch.setattr(Path, "write_text", fail_at_the_second)
    result = run(folder)
    assert result.exit_code == 1
    assert "No space left on device; nothing is written" in result.stderr
    assert list(tmp_path.rglob("*")) == ([folder] if there else [])


def test_what_was_moved_goes_back_when_the_rest_cannot_follow(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    rename = Path.rename

    def fail_for_the_profiles(path: Path, target: Path) -> Path:
        if path.name == "profiles":
            raise OSError(5, "Input/output error")
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", fail_for_the_profiles)
    assert run(tmp_path).exit_code == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "status", "expected"),
    [
        ((), 2, "DIR"),
        (("missing/books",), 1, "missing/books cannot be written: No such file or directory"),
        (("file",), 2, "file"),
        (("books", "--currency", "usd"), 2, "expected one like USD"),
        (("books", "--currency", "US dollar"), 2, "expected one like USD"),
        (("books", "--currency", "EUR", "--sample"), 2, "leave out --currency or --sample"),
    ],
)
def test_a_slip_ends_in_a_message_and_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], status: int, expected: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("file").touch()
    result = run(*arguments)
    assert result.exit_code == status
    assert expected in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_what_an_installer_compiled_is_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for path in ("starter/import.py", "starter/__pycache__/import.pyc", "sample/files/__pycache__/orders.pyc"):
        file = tmp_path / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(b"\xff" if file.suffix == ".pyc" else b"")
    monkeypatch.setattr(templates, "files", lambda _: tmp_path)
    assert list(templates.starter_books("USD")) == ["import.py"]
    assert list(templates.sample_books()) == ["import.py"]
