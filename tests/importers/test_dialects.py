"""The same three orders come back from every file, however it is written."""

from __future__ import annotations

import datetime
import shutil
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pytest

from millilot.importers.cells import CellReader
from millilot.importers.orders import order_number
from millilot.importers.problems import FileError
from millilot.importers.profile import read_profile
from millilot.importers.table import BELOW_THE_ROWS, HEADINGS_AGAIN, TOTALS_ROW, RowError, iter_records, read_rows
from millilot.importers.totals import check_totals

if TYPE_CHECKING:
    from millilot.importers.profile import Profile
    from millilot.importers.table import Row

    from .shop import Shop

FILES = Path(__file__).parent / "files"

ISO = 'dates = { format = "%Y-%m-%d" }'
DOTS = 'dates = { format = "%d.%m.%Y" }'
COMMAS = 'numbers = { decimal = ",", thousands = "." }'
PACIFIC = 'zone = "America/Los_Angeles"'
SEVERAL = '["%Y-%m-%d %H:%M:%S %Z", "%Y-%m-%d"]'
NEW_YORK = 'books-zone = "America/New_York"'


#: Each file, and the tables of the profile that say how it is written.
DIALECTS = [
    ("plain.csv", ISO),
    ("byte-order-mark.csv", f"{DOTS}\n{COMMAS}"),
    ("utf-16-tabs.txt", ISO),
    ("utf-16-tabs.txt", f'{ISO}\nfile = {{ encoding = "utf-16", delimiter = "\\t" }}'),
    ("utf-16-le-without-mark.txt", ISO),
    ("utf-16-be-without-mark.txt", ISO),
    ("utf-16-be-without-mark.txt", f'{ISO}\nfile.encoding = "utf-16"'),
    ("code-page.csv", f'{DOTS}\n{COMMAS}\nfile.encoding = "windows-1252"'),
    ("old-line-ends.csv", ISO),
    ("bars.txt", ISO),
    ("preamble.csv", ISO),
    ("preamble-of-a-known-length.csv", f"{ISO}\nfile.skip-lines = 2"),
    ("line-breaks-in-cells.csv", ISO),
    ("spaces.csv", f'{DOTS}\nnumbers = {{ decimal = ",", thousands = " " }}'),
    ("apostrophes.csv", f'{ISO}\nnumbers.thousands = "\'"'),
    ("lakh-and-crore.csv", f'{ISO}\nnumbers.thousands = ","'),
    ("several-marks.csv", f'{DOTS}\nnumbers = {{ decimal = ",", thousands = ["\u2019", " "] }}'),
    ("parentheses.csv", f'{ISO}\nnumbers.thousands = ","'),
    ("trailing-minus.csv", f"{DOTS}\n{COMMAS}"),
    ("unicode-minus.csv", ISO),
    ("code-before.csv", f'{ISO}\nnumbers.thousands = ","'),
    ("minor-units.csv", f"{ISO}\nnumbers.minor-units = true"),
    ("zeros-dropped.csv", ISO),
    ("nothing.csv", ISO),
    ("day-before-month.csv", 'dates.format = "%d/%m/%Y"'),
    ("two-formats.csv", 'dates.format = ["%Y-%m-%d", "%Y-%m-%d %H:%M"]'),
    ("german-months.csv", 'dates = { format = ["%A, %d. %B %Y", "%a., %d. %b. %Y"], locale = "de" }'),
    ("french-months.csv", 'dates = { format = "%A %d %B %Y", locale = "fr-FR" }'),
    ("english-months.csv", 'dates.format = "%b %d, %Y"'),
    ("twelve-hours.csv", 'dates.format = "%m/%d/%Y %I:%M:%S %p"'),
    ("offsets.csv", f'dates = {{ format = "%Y-%m-%dT%H:%M:%S%z", {NEW_YORK} }}'),
    ("utc-times.csv", f'dates = {{ format = "%Y-%m-%d %H:%M:%S", zone = "UTC", {NEW_YORK} }}'),
    ("named-zones.csv", f'dates = {{ format = "%Y-%m-%d %H:%M:%S %Z", {PACIFIC}, {NEW_YORK} }}'),
    ("separate-times.csv", f'dates = {{ format = {SEVERAL}, times.Date = ["Time", "Zone"], {NEW_YORK} }}'),
    ("order-suffix.csv", f"{ISO}\nfile = {{ row = 'item', order-suffix = '-\\d+$' }}"),
]

#: Those in which some rows are none to book: the keys of `[file]`, and the rows.
ROWS_LEFT_OUT: list[tuple[str, str, dict[int, str]]] = [
    ("headings-again.csv", "", {3: HEADINGS_AGAIN, 6: HEADINGS_AGAIN}),
    ("headings-in-another-order.csv", "", {4: HEADINGS_AGAIN}),
    ("totals.csv", 'totals = ["Total"]', {5: TOTALS_ROW}),
    ("totals-by-section.csv", 'totals = ["total", "subtotal"]', {3: TOTALS_ROW, 6: TOTALS_ROW, 7: TOTALS_ROW}),
    ("totals-first.csv", 'totals = ["TOTAL"]', {2: TOTALS_ROW}),
    ("notes-below.csv", 'end = ["Notes:"]', dict.fromkeys((6, 7, 8), BELOW_THE_ROWS)),
]


class Read(NamedTuple):
    order: str
    date: datetime.date
    item: str
    price: Decimal
    fee: Decimal


ORDERS = [
    Read("1001", datetime.date(2026, 3, 4), "Caf\xe9 Noir 5 mL", Decimal("1234.50"), Decimal("-1.95")),
    Read("1002", datetime.date(2026, 3, 31), "Cedar Hour, 2 mL", Decimal("12.00"), Decimal("0.00")),
    Read("1003", datetime.date(2026, 12, 4), "Gro\xdfe Nacht 10 mL", Decimal("1234567.80"), Decimal("-120.00")),
]


def profile(folder: Path, tables: str, currency: str = "USD", date: str = "Date") -> Profile:
    path = folder / "lantern.toml"
    path.write_text(
        f'channel = "Lantern"\ncurrency = "{currency}"\n{tables}\n'
        f"""columns = {{ order = "Order", ordered = '{date}', title = "Item", price = "Price" }}\n"""
        'fees = [{ column = "Fee", kind = "commission", sign = "negative" }]\n',
        encoding="utf-8",
    )
    return read_profile(path)


def rows(name: str, how: Profile) -> list[Row]:
    read = read_rows(FILES / name, how.file, how.headings)
    return list(check_totals(read, how, CellReader(how)))


def orders(read: list[Row], how: Profile) -> list[Read]:
    cells = CellReader(how)
    columns = how.columns
    found = []
    for row in read:
        date, price = cells.date(row, columns.ordered), cells.amount(row, columns.price)
        assert date is not None
        assert price is not None
        fee = cells.amount(row, "Fee") or Decimal("0.00")
        found.append(Read(order_number(row, how), date, row[columns.title], price, fee))
    return found


@pytest.mark.parametrize(("name", "tables"), DIALECTS)
def test_a_dialect(tmp_path: Path, name: str, tables: str) -> None:
    how = profile(tmp_path, tables)
    read = rows(name, how)
    assert [row.skip or row.problem for row in read] == ["", "", ""]
    assert orders(read, how) == ORDERS


@pytest.mark.parametrize(
    ("name", "tables"), DIALECTS + [(name, f"{ISO}\nfile = {{ {keys} }}") for name, keys, _ in ROWS_LEFT_OUT],
)
def test_what_is_booked(shop: Shop, name: str, tables: str) -> None:
    profile(shop.profile.parent, tables)
    before = shop.books.read_text(encoding="utf-8")
    result = shop.run(shutil.copy(FILES / name, shop.folder))
    assert result.exit_code == 0, result.output
    booked = (FILES / "booked.beancount").read_text(encoding="utf-8")
    assert shop.books.read_text(encoding="utf-8").removeprefix(before) == booked


def test_another_currency(tmp_path: Path) -> None:
    how = profile(tmp_path, f"{DOTS}\n{COMMAS}", currency="EUR")
    assert orders(rows("symbol-after.csv", how), how) == ORDERS
    other = profile(tmp_path, f"{DOTS}\n{COMMAS}", currency="USD")
    with pytest.raises(RowError, match=r"expected an amount like 1\.234,50, found '1\.234,50 \u20ac'"):
        orders(rows("symbol-after.csv", other), other)


def test_headings_of_two_lines(tmp_path: Path) -> None:
    how = profile(tmp_path, ISO, date="Date (local)")
    read = rows("line-breaks-in-headings.csv", how)
    assert [row.number for row in read] == [3, 4, 5]
    assert orders(read, how) == ORDERS


@pytest.mark.parametrize(("name", "keys", "skipped"), ROWS_LEFT_OUT)
def test_rows_that_are_not_to_be_booked(tmp_path: Path, name: str, keys: str, skipped: dict[int, str]) -> None:
    how = profile(tmp_path, f"{ISO}\nfile = {{ {keys} }}")
    read = rows(name, how)
    assert {row.number: row.skip for row in read if row.skip} == skipped
    assert [row.problem for row in read if row.problem] == []
    assert orders([row for row in read if not row.skip], how) == ORDERS


def test_a_totals_row_that_differs_is_a_problem(tmp_path: Path) -> None:
    how = profile(tmp_path, f'{ISO}\nfile.totals = ["Total"]')
    *others, total = rows("sums-that-differ.csv", how)
    assert orders(others, how) == ORDERS
    assert (total.number, total.skip) == (5, "")
    assert total.problem == "column 'Fee': expected -121.95 as the sum of the rows, found -121.94"


def test_the_total_of_repeated_amounts_counts_them_once_or_each_time(tmp_path: Path) -> None:
    how = profile(tmp_path, f'{ISO}\nfile = {{ row = "item", totals = ["Total"] }}')
    path = tmp_path / "items.csv"

    def problem(price: str, fee: str) -> str:
        path.write_text(
            "Order,Date,Item,Price,Fee\n1001,2026-03-04,a,5.00,-1.00\n1001,2026-03-04,b,7.00,-1.00\n"
            f"1002,2026-03-04,c,8.00,-2.00\nTotal,,,{price},{fee}\n",
            encoding="utf-8",
        )
        read = read_rows(path, how.file, how.headings)
        return list(check_totals(read, how, CellReader(how)))[-1].problem

    assert [problem("20.00", fee) for fee in ("-3.00", "-4.00", "--", "n/a")] == ["", "", "", ""]
    assert "expected -4.00 as the sum of the rows, found -2.00" in problem("20.00", "-2.00")
    assert "expected 20.00 as the sum of the rows, found 13.00" in problem("13.00", "-4.00")


def test_the_total_of_amounts_with_a_direction_is_their_sum_or_what_is_left(tmp_path: Path) -> None:
    (tmp_path / "bank.toml").write_text(
        'channel = "Bank"\ncurrency = "USD"\ndates.format = "%Y-%m-%d"\n'
        'file = { row = "event", totals = ["Total"] }\ndirection = { in = ["In"], out = ["Out"] }\n'
        'columns = { date = "Date", detail = "Text", amount = "Amount", direction = "Side" }\n'
        'events = [{ pattern = "x", is = "deposit", from = "Assets:Transit" }]\n',
        encoding="utf-8",
    )
    how = read_profile(tmp_path / "bank.toml")
    path = tmp_path / "bank.csv"

    def problem(total: str, side: str = "Out") -> str:
        path.write_text(
            f"Text,Date,Side,Amount\nx,2026-03-04,In,5.00\ny,2026-03-05,{side},7.00\nTotal,,,{total}\n",
            encoding="utf-8",
        )
        read = read_rows(path, how.file, how.headings)
        return list(check_totals(read, how, CellReader(how)))[-1].problem

    assert [problem(total) for total in ("12.00", "-2.00")] == ["", ""]
    assert problem("2.00") == "column 'Amount': expected 12.00 as the sum of the rows, found 2.00"
    assert problem("2.00", side="Sideways") == ""


def test_a_column_that_cannot_be_read_has_no_sum(tmp_path: Path) -> None:
    how = profile(tmp_path, f'{ISO}\nfile.totals = ["Total"]')
    path = tmp_path / "orders.csv"
    path.write_text("Order,Date,Item,Price,Fee\n1001,2026-03-04,a,x,0.50\nTotal,,,5.00,1.00\n", encoding="utf-8")
    *_, total = check_totals(read_rows(path, how.file, how.headings), how, CellReader(how))
    assert total.problem == "column 'Fee': expected 0.50 as the sum of the rows, found 1.00"


def test_each_row_left_out_has_its_fate(shop: Shop) -> None:
    shop.change_profile("[dates]", '[file]\ntotals = ["Total"]\nend = ["Notes"]\n[dates]')
    path = shop.file({"Order": "1001"}, {"Order": "1002"})
    heading, *others = path.read_text(encoding="utf-8").splitlines()
    cells = dict.fromkeys(heading.split(","), "")
    right = ",".join((cells | {"Order": "Total", "Item total": "24.00", "Quantity": "2"}).values())
    wrong = right.replace("24.00", "25.00")
    content = ["Lantern", "", heading, others[0], heading, others[1], right, wrong, "Notes", '"none']
    path.write_text("\n".join(content), encoding="utf-8")
    outcome = shop.outcome(path)
    assert [(fate["row"], fate["fate"], fate["reason"]) for fate in outcome["fates"]] == [
        (4, "new", ""),
        (5, "skipped", "headings again"),
        (6, "new", ""),
        (7, "skipped", "totals row"),
        (8, "refused", "column 'Item total': expected 24.00 as the sum of the rows, found 25.00"),
        (9, "skipped", "text below the rows"),
        (10, "skipped", "text below the rows"),
    ]
    assert outcome["money"]["USD"] == {
        "rows": "28.10", "booked": "28.10", "known": "0.00", "skipped": "0.00", "refused": "0.00",
    }
    assert shop.errors() == []


def test_a_preamble_is_gone_through_to_its_end(tmp_path: Path) -> None:
    content = (FILES / "plain.csv").read_text(encoding="utf-8")
    how = profile(tmp_path, ISO)
    far = tmp_path / "far.csv"
    far.write_text("about us\n" * 99 + content, encoding="utf-8")
    assert orders(read_rows(far, how.file, how.headings), how) == ORDERS
    far.write_text("about us\n" * 100 + content, encoding="utf-8")
    with pytest.raises(FileError, match=r"far\.csv, row 1: expected one heading 'Date', found none"):
        read_rows(far, how.file, how.headings)


def test_the_headings_nearest_to_those_wanted_are_named(tmp_path: Path) -> None:
    how = profile(tmp_path, ISO)
    path = tmp_path / "orders.csv"
    path.write_text("Lantern\n\nOrder;Date;Item;Price\n1;2026-03-04;x;1.00\n", encoding="utf-8")
    with pytest.raises(FileError, match="row 3: expected one heading 'Fee', found none"):
        read_rows(path, how.file, how.headings)


def test_an_encoding_that_changes_within_the_file(tmp_path: Path) -> None:
    how = profile(tmp_path, ISO)
    with pytest.raises(FileError, match=r'both-encodings\.csv, row 3: is not written in UTF-8; it may be cp1252'):
        rows("both-encodings.csv", how)


def test_a_code_page_is_proposed_and_not_assumed(tmp_path: Path) -> None:
    how = profile(tmp_path, f"{DOTS}\n{COMMAS}")
    with pytest.raises(FileError) as caught:
        rows("code-page.csv", how)
    assert str(caught.value).endswith(
        'row 2: is not written in UTF-8; it may be cp1252: then write encoding = "cp1252" under [file]',
    )


def test_records_are_given_as_they_are(tmp_path: Path) -> None:
    how = profile(tmp_path, f'{ISO}\nfile.delimiter = "\\t"')
    records = list(iter_records(FILES / "utf-16-tabs.txt", how.file))
    assert [record.number for record in records] == [1, 2, 3, 4]
    assert records[0].cells == ["Order", "Date", "Item", "Price", "Fee"]
    assert records[2].cells == ["1002", "2026-03-31", "Cedar Hour, 2 mL", "12.00", "0.00"]
