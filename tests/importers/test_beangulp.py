"""The importer in beangulp's own command line, and in Fava's import page."""

from __future__ import annotations

import re
import shutil
from typing import TYPE_CHECKING

import beangulp
import pytest
from beancount.core.data import Transaction
from click.testing import CliRunner, Result
from fava.core import FavaLedger
from fava.core.file import insert_entry

from millilot.importers.channel import ChannelImporter
from millilot.importers.problems import FileError

if TYPE_CHECKING:
    from .shop import Shop


def beangulp_run(shop: Shop, *arguments: object) -> Result:
    ingest = beangulp.Ingest([ChannelImporter(shop.profile)])
    return CliRunner().invoke(ingest.cli, list(map(str, arguments)), catch_exceptions=False)


def test_identify(shop: Shop) -> None:
    other = shop.folder / "notes.txt"
    other.write_text("hello", encoding="utf-8")
    result = beangulp_run(shop, "identify", "-v", shop.file({}), other, shop.profile)
    assert result.exit_code == 0
    assert re.findall(r"(?m)^  (\S+)$", result.output) == ["millilot.lantern", "Assets:Marketplace:Lantern"]


def test_identify_gives_a_bool_for_anything(shop: Shop) -> None:
    importer = ChannelImporter(shop.profile)
    photo = shop.folder / "photo.jpg"
    photo.write_bytes(bytes(range(256)) * 100)
    empty = shop.folder / "empty.csv"
    empty.touch()
    for path in (photo, empty, shop.folder, shop.folder / "none", shop.books):
        assert importer.identify(str(path)) is False
    assert importer.identify(str(shop.file({}))) is True


def test_what_beangulp_extracts_loads_without_error(shop: Shop) -> None:
    path = shop.file({"Refunded": "12.00", "Refunded on": "2026-04-01"}, {"Order": "2", "Item": "Cedar Hour 3 mL"})
    result = beangulp_run(shop, "extract", "-q", path)
    assert result.exit_code == 0
    with shop.books.open("a", encoding="utf-8") as books:
        books.write(result.stdout)
    assert shop.errors() == []
    assert shop.outcome(path)["known"] == 2


def test_what_is_booked_is_marked_however_far_the_days_are_apart(shop: Shop) -> None:
    shop.run(shop.file({"Order": "1"}))
    # The same sum on the same day, but another buyer's order; and the known one at another date.
    path = shop.file({"Order": "2"}, {"Order": "1", "Ordered on": "2026-03-24"})
    result = beangulp_run(shop, "extract", "-e", shop.books, path)
    assert re.findall(r"(?m)^(;? ?2026-\S+) .*(order\S+)", result.stdout) == [
        ("2026-03-04", "order-lantern-2"), ("; 2026-03-24", "order-lantern-1"),
    ]
    assert f"duplicate of {shop.books}:" in result.stdout


def test_a_refused_row_stops_the_file_with_its_line(shop: Shop) -> None:
    path = shop.file({}, {"Order": "2", "Ordered on": "31/1"})
    result = beangulp_run(shop, "extract", path)
    assert result.exit_code == 1
    assert f"{path}, row 3: column 'Ordered on': expected a date like 2026-01-31, found '31/1'" in result.output
    assert "Traceback" not in result.output
    with pytest.raises(FileError):
        ChannelImporter(shop.profile).extract(str(path), [])


def test_a_file_that_cannot_be_read_to_its_end_has_no_date(shop: Shop) -> None:
    path = shop.file({})
    path.write_bytes(path.read_bytes().replace(b"2026-03-04", b"\xe9", 1))
    assert ChannelImporter(shop.profile).date(str(path)) is None


def test_archive(shop: Shop) -> None:
    path = shop.file({}, {"Order": "2", "Ordered on": "2026-03-24"}, name="2026-03 orders.csv")
    target = shop.folder / "documents"
    target.mkdir()
    assert beangulp_run(shop, "archive", "-o", target, path).exit_code == 0
    assert [str(file.relative_to(target)) for file in target.rglob("*.csv")] == [
        "Assets/Marketplace/Lantern/2026-03-24.lantern.2026-03 orders.csv",
    ]


def fava(shop: Shop) -> FavaLedger:
    """Open the books in Fava with its import page set up."""
    second = shop.profile.with_name("second.toml")
    shutil.copy(shop.profile, second)
    config = shop.folder / "import.py"
    config.write_text(
        "from millilot.importers.channel import ChannelImporter\n"
        f"CONFIG = [ChannelImporter({str(shop.profile)!r}), ChannelImporter({str(second)!r})]\n",
        encoding="utf-8",
    )
    (shop.folder / "inbox").mkdir()
    with shop.books.open("a", encoding="utf-8") as books:
        books.write(
            '2026-01-01 custom "fava-option" "import-config" "import.py"\n'
            '2026-01-01 custom "fava-option" "import-dirs" "inbox"\n',
        )
    return FavaLedger(str(shop.books))


def test_fava_lists_the_file_with_both_importers(shop: Shop) -> None:
    ledger = fava(shop)
    shop.file({}).rename(shop.folder / "inbox" / "orders.csv")
    assert ledger.ingest.errors == ()
    (listed,) = ledger.ingest.import_data()
    assert [(info.importer_name, info.account, str(info.date), info.name) for info in listed.importers] == [
        ("millilot.lantern", "Assets:Marketplace:Lantern", "2026-03-04", "lantern.orders.csv"),
        ("millilot.second", "Assets:Marketplace:Lantern", "2026-03-04", "lantern.orders.csv"),
    ]


def test_what_fava_imports_is_known_and_without_error(shop: Shop) -> None:
    ledger = fava(shop)
    thirds = {"Item": "Cedar Hour 3 mL", "Item total": "10.00", "Net": "12.05"}
    path = shop.file(thirds, {"Order": "2", "Item": "Mystery"})
    entries = ledger.ingest.extract(str(path), "millilot.lantern")
    assert [entry.meta.get("__duplicate__") for entry in entries] == [None, None]
    for entry in entries:
        insert_entry(entry, str(shop.books), [], currency_column=60, indent=2)
    assert shop.errors() == []
    assert shop.outcome(path, "--profile", shop.profile)["known"] == 2
    again = FavaLedger(str(shop.books)).ingest.extract(str(path), "millilot.lantern")
    assert all(isinstance(entry.meta["__duplicate__"], Transaction) for entry in again)
