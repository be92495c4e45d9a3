"""The pack: its sheets, its files, and the folder they go to."""

from __future__ import annotations

import csv
import datetime
import io
import json
import os
import re
import subprocess
import sys
import zipfile
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, Phase, given, settings

from millilot.reports.command import main
from millilot.reports.forms import find_form, read_forms
from millilot.reports.pack import PAGE, WORKBOOK, Outside, charts, pack, tables
from millilot.reports.pack.archive import archive
from millilot.reports.pack.folder import FolderError, put
from millilot.reports.pack.manifest import NAME
from millilot.reports.pack.table import Holds
from millilot.reports.thresholds import read_thresholds

from .books import HEAD, SHELF
from .sheets import assert_sums_hold, by_name, calculated, column, sheets_of, span, total
from .test_laws import histories

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

    from millilot.reports.pack.span import Span
    from millilot.reports.pack.table import Table

FORMS = read_forms()
LAST_DAY = datetime.date(2026, 12, 31)
PLAIN = Outside([find_form(FORMS, "plain", LAST_DAY)])
SHOWN = Outside(
    [find_form(FORMS, name, LAST_DAY) for name in ("plain", "us-schedule-c", "us-hobby")],
    thresholds=read_thresholds(),
)

few_books = settings(
    max_examples=12,
    deadline=None,
    # Shrinking whole packs takes minutes.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def sheets(span: Span) -> dict[str, Table]:
    return by_name(tables(span, SHOWN))


def row_of(table: Table, key: str, name: str) -> dict[str, object]:
    [row] = [row for row in table.rows if row.cells.get(key) == name]
    return dict(row.cells)


# --- Sums -----------------------------------------------------------------------------------------------------


@few_books
@given(histories())
def test_all_sums_hold_and_meet_the_year(history: list[str]) -> None:
    for number in (2026, 2027):
        of_year = span("\n".join(history), number)
        found, year = sheets(of_year), of_year.year
        for table in found.values():
            assert_sums_hold(table)
        sales = found["Sales by channel"]
        assert total(sales, "gross_receipts") == year.gross_receipts
        assert total(sales, "refunds") == year.refunds
        assert total(sales, "net_sales") == year.net_receipts
        for line in ("fees", "ads", "exchange"):
            assert total(found["Fees by kind"], "net", line=line) == getattr(year, line)
        costs = found["Cost of goods"]
        for each in costs.columns[2:]:
            assert total(costs, each.name) == getattr(year, each.name)
        assert total(found["Closing stock"], "stock_value") == year.closing_stock
        assert total(found["Supplies on hand"], "stock_value") == year.supplies_on_hand_close
        assert total(found["Purchases"], "amount") == year.purchases
        for line in ("postage", "packing", "other_expenses", "supplies", "other_costs"):
            assert total(found["Supplies and expenses"], "amount", line=line) == getattr(year, line)
        assert total(found["Losses"], "losses") == year.losses
        gifts = found["Swaps and gifts"]
        assert total(gifts, "cost_out", what="sample") == year.samples
        assert total(gifts, "cost_out", what="kept or given away") == year.personal_use
        assert total(gifts, "value_in", what="owned before") == year.contributed


@few_books
@given(histories())
def test_the_year_opens_as_it_closed_bottle_by_bottle(history: list[str]) -> None:
    books = "\n".join(history)
    before, after = (sheets(span(books, number)) for number in (2026, 2027))
    left = {row.cells["bottle"]: row.cells["stock_value"] for row in before["Closing stock"].rows}
    opened = {
        row.cells["bottle"]: row.cells["opening_stock"]
        for row in after["Cost of goods"].rows
        if row.cells["bottle"] and row.cells["opening_stock"]
    }
    assert opened == {bottle: value for bottle, value in left.items() if value}


@settings(few_books, max_examples=6)
@given(histories())
def test_every_formula_gives_the_value_beside_it(history: list[str]) -> None:
    content = pack(span("\n".join(history)), SHOWN)[WORKBOOK]
    formulas, values = sheets_of(content, values=False), sheets_of(content, values=True)
    count = 0
    for name, sheet in formulas.items():
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    shown = Decimal(str(values[name][cell.coordinate].value))
                    assert abs(calculated(cell.value, values[name]) - shown) < Decimal("1E-9"), cell
                    count += 1
    assert count > 40


def test_sums_are_formulas_wherever_a_total_stands() -> None:
    content = pack(span(TWO_CHANNELS), SHOWN)[WORKBOOK]
    summary = sheets_of(content, values=False)["Summary"]
    by_caption = {row[0].value: row[1].value for row in summary.iter_rows(min_row=5)}
    totals = {caption for caption, value in by_caption.items() if isinstance(value, str) and value.startswith("=")}
    assert totals == {
        "Net receipts", "Cost of goods sold", "Gross profit", "Hobby income", "Business profit",
        "Receipts if counted when paid",
    }


# --- Figures worked by hand -----------------------------------------------------------------------------------

TWO_CHANNELS = SHELF + """
2020-01-01 open Assets:Marketplace:Tallowgate USD
2020-01-01 open Liabilities:SalesTax USD
2026-02-01 * "Jolanda Buyer" "Cedar Hour for Jolanda" ^order-l-1
  Income:Sales  -10 CEDARHOUR @@ 20.00 USD
    vials: 2
    discount: 2.00 USD
  Income:Postage  -4.00 USD
  Liabilities:SalesTax  -1.60 USD
  Liabilities:SalesTax  1.60 USD
  Expenses:Selling:Fees  3.00 USD
    fee: "commission"
  Expenses:Selling:Fees  0.30 USD
    fee: "payment"
  Assets:Marketplace:Lantern  20.70 USD
2026-02-20 * "Jolanda Buyer" "Refund for Jolanda" ^order-l-1
  Income:Refunds  5.00 USD
  Expenses:Selling:Fees  -0.75 USD
    fee: "commission"
  Assets:Marketplace:Lantern  -4.25 USD
2026-03-01 * "Quiet Reed for Kilian" ^order-t-1
  Income:Sales  -5 QUIETREED @@ 9.00 USD
  Income:Sales  -5 QUIETREED @@ 9.00 USD
  Assets:Marketplace:Tallowgate  18.00 USD
2026-04-01 * "Kilian Buyer" "Hand to hand" ^order-d-1
  Income:Sales  -5 CEDARHOUR @@ 11.00 USD
  Assets:Bank  11.00 USD
2026-05-01 * "Post office" "Stamps" ^order-d-1
  Expenses:Selling:Postage  2.50 USD
  Assets:Bank
2026-05-02 * "Mast and Loom" "A year of software"
  receipt: TRUE
  Expenses:Selling:Software  12.00 USD
  Assets:Bank
"""


def test_sales_by_channel_before_discounts_and_after_refunds() -> None:
    table = sheets(span(TWO_CHANNELS))["Sales by channel"]
    assert column(table, "channel") == ["Lantern", "Tallowgate", "(no channel)"]
    lantern = row_of(table, "channel", "Lantern")
    assert lantern == {
        "year": "2026", "channel": "Lantern", "orders": 1, "items": 2,
        "gross_items": Decimal("22.00"), "discounts": Decimal("2.00"), "postage_charged": Decimal("4.00"),
        "gross_receipts": Decimal("24.00"), "refunds": Decimal("5.00"), "net_sales": Decimal("19.00"),
        "tax_collected": Decimal("1.60"),
    }
    assert column(table, "orders") == [1, 1, 1]
    assert column(table, "items") == [2, 2, 1]


def test_fees_by_kind_with_what_came_back() -> None:
    table = sheets(span(TWO_CHANNELS))["Fees by kind"]
    rows = [tuple(row.cells.get(each.name) for each in table.columns) for row in table.rows]
    assert rows == [
        ("Lantern", "fees", "commission", Decimal("3.00"), Decimal("0.75"), Decimal("2.25")),
        ("Lantern", "fees", "payment", Decimal("0.30"), Decimal("0.00"), Decimal("0.30")),
    ]


def test_expenses_say_from_whom_and_whether_there_is_a_document() -> None:
    table = sheets(span(TWO_CHANNELS))["Supplies and expenses"]
    rows = [
        (row.cells["line"], row.cells["seller"], row.cells["what"], row.cells["amount"], row.cells["document"])
        for row in table.rows
    ]
    assert rows == [
        ("postage", None, "Postage", Decimal("2.50"), "no"),
        ("other_expenses", "Mast and Loom", "Software: A year of software", Decimal("12.00"), "yes"),
    ]


def test_cost_of_goods_by_bottle() -> None:
    # 15 mL of 100 at 1.296 and 10 mL of 50 at 2.00.
    table = sheets(span(TWO_CHANNELS))["Cost of goods"]
    assert row_of(table, "bottle", "CH-1")["cost_of_goods_sold"] == Decimal("19.44")
    assert row_of(table, "bottle", "QR-1")["cost_of_goods_sold"] == Decimal("20.00")


def test_closing_stock_says_how_it_was_measured() -> None:
    table = sheets(span(SHELF + """
2026-06-01 custom "stocktake" "CH-1" 98 CEDARHOUR
2027-06-01 custom "stocktake" "QR-1" 10 QUIETREED
"""))["Closing stock"]
    cedar, reed = row_of(table, "bottle", "CH-1"), row_of(table, "bottle", "QR-1")
    assert (cedar["ml_left"], cedar["how_measured"], str(cedar["measured_on"])) == (98, "by volume", "2026-06-01")
    assert cedar["stock_value"] == Decimal("127.01")
    assert (reed["how_measured"], reed["measured_on"]) == ("not measured", None)


def test_a_swap_stands_on_one_line() -> None:
    table = sheets(span(SHELF + """
2026-04-11 * "A collector" "Swap"
  Income:Swaps  -20 QUIETREED @@ 45.00 USD
  Assets:Stock:CedarHour  30 CEDARHOUR {{40.00 USD, "CH-2"}}
  Assets:Bank  5.00 USD
"""))["Swaps and gifts"]
    [row] = table.rows
    assert row.cells == {
        "date": row.cells["date"], "what": "swap", "order": None,
        "bottle_out": "QR-1", "ml_out": 20, "cost_out": Decimal("40.00"), "value_out": Decimal("45.00"),
        "bottle_in": "CH-2", "ml_in": 30, "value_in": Decimal("40.00"), "cash": Decimal("5.00"),
    }


def test_a_refund_of_the_next_year_leaves_this_one_alone() -> None:
    later = TWO_CHANNELS + """
2027-01-05 * "back" ^order-d-1
  Income:Refunds  5 CEDARHOUR @@ 11.00 USD
  Assets:Bank  -11.00 USD
"""
    before, after = sheets(span(TWO_CHANNELS)), sheets(span(later))
    # The method says how far the books reach.
    assert {name for name, table in before.items() if table != after[name]} == {"Method"}


# --- The workbook ---------------------------------------------------------------------------------------------


def cells(sheet: Worksheet) -> list[object]:
    return [cell.value for row in sheet.iter_rows() for cell in row if cell.value is not None]


def test_every_sheet_is_set_up_to_be_read_and_printed() -> None:
    of_year = span(TWO_CHANNELS)
    opened = sheets_of(pack(of_year, SHOWN)[WORKBOOK], values=True)
    for table in tables(of_year, SHOWN):
        sheet = opened[table.name]
        assert [cell.value for cell in sheet[4]] == [each.heading for each in table.columns]
        assert sheet.freeze_panes in {"A5", "B5"}
        assert sheet.print_title_rows == "$1:$4"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.page_setup.fitToHeight == 0
        assert "&P of &N" in sheet.oddFooter.right.text.replace("&[Page]", "&P").replace("&[Pages]", "&N")


def test_what_only_remarks_on_a_sum_is_not_bold() -> None:
    files = pack(span(TWO_CHANNELS), SHOWN)
    opened = sheets_of(files[WORKBOOK], values=False)
    # The sheet, how many columns lead up to the last figure, and how many there are.
    for name, figures, columns in (("Summary", 4, 5), ("Form us-schedule-c", 4, 8)):
        sums = [row for row in opened[name].iter_rows(min_row=5) if str(row[figures - 1].value).startswith("=")]
        bold = [[cell.font.b for cell in row] for row in sums if row[0].font.b]
        assert bold
        assert all(each == [True] * figures + [False] * (columns - figures) for each in bold)
    assert 'class="text remark"' in files[PAGE].decode()


def test_no_sheet_is_printed_too_small_to_read() -> None:
    opened = sheets_of(pack(span(TWO_CHANNELS), SHOWN)[WORKBOOK], values=True)
    for name, sheet in opened.items():
        width = sum(sheet.column_dimensions[cell.column_letter].width for cell in sheet[4])
        # One page wide, which is what stands in the file when nothing does; 10 inches hold 137 characters of
        # 7/96 inch, so that 11 points shrink to 6.7 at the least.
        assert (sheet.page_setup.fitToWidth, width < 224) == (None, True), (name, width)


def test_a_column_is_as_wide_as_its_longest_amount() -> None:
    opened = sheets_of(pack(span("""
2026-01-05 open Equity:Owner USD
2026-01-05 * "One bottle of silver"
  Assets:Stock:CedarHour  100 CEDARHOUR {{12345678.90 USD, "CH-1"}}
  Equity:Owner
"""), PLAIN)[WORKBOOK], values=True)
    for name, heading in (("Summary", "2026"), ("Bottle results", "Cost"), ("Closing stock", "Value at cost")):
        sheet = opened[name]
        [letter] = [cell.column_letter for cell in sheet[4] if cell.value == heading]
        assert sheet.column_dimensions[letter].width > len("12,345,678.90") + 1


def test_amounts_are_numbers_with_a_format() -> None:
    of_year = span(TWO_CHANNELS)
    opened = sheets_of(pack(of_year, PLAIN)[WORKBOOK], values=True)
    for table in tables(of_year, PLAIN):
        for place, each in enumerate(table.columns, start=1):
            for number, row in enumerate(table.rows, start=5):
                cell, value = opened[table.name].cell(number, place), row.cells.get(each.name)
                if each.kind is Holds.MONEY and value is not None:
                    assert cell.data_type == "n"
                    assert Decimal(str(cell.value)) == value
                    assert "0.00" in cell.number_format
                elif each.kind is Holds.DATE and value is not None:
                    assert cell.value.date() == value


HOSTILE = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1+1", "<script>alert(1)</script>", "{=1+1}", "http://x.example"]


@pytest.mark.parametrize("text", HOSTILE)
def test_text_stays_text(text: str) -> None:
    of_year = span(f"""
2026-01-04 commodity HOSTILE
  name: "{text}"
2026-01-04 open Assets:Stock:Hostile "NONE"
2026-01-05 * "{text}" "{text}"
  Assets:Stock:Hostile  100 HOSTILE {{{{100.00 USD, "{text} 1"}}}}
    batch: "{text}"
  Assets:Bank
2026-01-06 * "{text}"
  Expenses:Loss  1 HOSTILE
""")
    assert of_year.errors == []
    files = pack(of_year, PLAIN)
    neutral = f"'{text}" if text[0] in "=+-@\t" else text
    sheet = sheets_of(files[WORKBOOK], values=False)["Closing stock"]
    found = [cell for row in sheet.iter_rows(min_row=5, max_row=5) for cell in row][1]
    assert (found.value, found.data_type, found.hyperlink) == (neutral, "s", None)
    [row] = csv.DictReader(io.StringIO(files["closing-stock.csv"].decode(), newline=""))
    assert (row["fragrance"], row["batch"]) == (neutral, neutral)
    assert "<script>" not in files[PAGE].decode()
    formulas = [
        value
        for each in sheets_of(files[WORKBOOK], values=False).values()
        for value in cells(each)
        if isinstance(value, str) and value.startswith("=")
    ]
    assert all(set(formula) <= set("=SUM():+-ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") for formula in formulas)
    assert not [formula for formula in formulas if "1+1" in formula]


def test_a_currency_without_cents_has_none() -> None:
    head = """
plugin "millilot.plugins"
option "operating_currency" "JPY"
2020-01-01 open Assets:Bank JPY
2020-01-01 open Assets:Stock:CedarHour CEDARHOUR "NONE"
2020-01-01 open Income:Sales JPY
2020-01-01 open Expenses:CostOfGoods:Fragrance JPY
"""
    of_year = span(
        """
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  30 CEDARHOUR {{10000 JPY, "CH-1"}}
  Assets:Bank
2026-02-01 * "sale" ^order-1
  Income:Sales  -7 CEDARHOUR @@ 4000 JPY
  Assets:Bank
""",
        head=head,
    )
    for table in tables(of_year, PLAIN):
        assert_sums_hold(table, Decimal(1))
    sheet = sheets_of(pack(of_year, PLAIN)[WORKBOOK], values=True)["Closing stock"]
    [cell] = [cell for cell in sheet[5] if cell.value == 7667]
    assert cell.number_format == "#,##0;-#,##0"


# --- The files ------------------------------------------------------------------------------------------------


def test_the_csv_files_hold_what_the_sheets_hold() -> None:
    of_year = span(TWO_CHANNELS)
    files = pack(of_year, PLAIN)
    for table in tables(of_year, PLAIN):
        rows = list(csv.DictReader(io.StringIO(files[table.file].decode(), newline="")))
        assert len(rows) == len(table.rows)
        for name in (each.name for each in table.columns if each.kind is Holds.MONEY):
            assert [row[name] for row in rows] == [
                "" if value is None else str(value) for value in column(table, name)
            ]


def test_buyers_are_nowhere_and_sellers_are() -> None:
    files = pack(span(TWO_CHANNELS + """
2026-06-01 * "Jolanda Buyer" "A claim of Jolanda" ^split-1 ^order-s-1
  Assets:Bank  30.00 USD
  Liabilities:Claims  -30.00 USD
2026-06-02 * "Jolanda Buyer" "A sample for Jolanda" ^order-l-1
  Expenses:Samples  1 CEDARHOUR
2026-06-03 * "Jolanda Buyer" "Poured again for Jolanda" ^order-l-1
  Expenses:Loss  1 CEDARHOUR
2026-06-04 * "Jolanda Buyer" "Swapped with Jolanda"
  Income:Swaps  -1 CEDARHOUR @@ 2.00 USD
  Assets:Bank
2026-06-05 * "Jolanda Buyer" "Jolanda paid"
  Income:Unsorted  -9.00 USD
  Assets:Marketplace:Lantern  9.00 USD
2026-06-06 * "Jolanda Buyer" "Jolanda bought the box"
  Income:Sales  -3.00 USD
  Assets:Bank
2026-06-07 * "Jolanda Buyer" "Payout, less what Jolanda got back"
  Assets:Marketplace:Lantern  -1.00 USD
  Assets:Bank
"""), PLAIN)
    unpacked = dict(files)
    with zipfile.ZipFile(io.BytesIO(files[WORKBOOK])) as book:
        unpacked |= {name: book.read(name) for name in book.namelist()}
    assert [name for name, content in unpacked.items() if b"Jolanda" in content or b"Kilian" in content] == []
    assert b"Mast and Loom" in files["supplies-and-expenses.csv"]


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample books with their channels' files imported."""
    folder = tmp_path_factory.mktemp("sample") / "books"
    assert CliRunner().invoke(main, ["demo", str(folder)]).exit_code == 0
    return folder


def packed(books: Path, folder: Path, **environment: str) -> dict[str, bytes]:
    command = [str(Path(sys.executable).with_name("millilot")), "pack", "2025", "-o", str(folder)]
    subprocess.run(
        [*command, "-b", str(books)], check=True, env={**os.environ, **environment}, capture_output=True,
    )
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_the_same_books_give_the_same_bytes_wherever_and_whenever(sample: Path, tmp_path: Path) -> None:
    moved = tmp_path / "elsewhere"
    moved.mkdir()
    moved.joinpath("main.beancount").write_bytes(sample.joinpath("main.beancount").read_bytes())
    first = packed(sample / "main.beancount", tmp_path / "a", PYTHONHASHSEED="1", TZ="UTC", LC_ALL="C.UTF-8")
    second = packed(moved / "main.beancount", tmp_path / "b", PYTHONHASHSEED="2", TZ="Pacific/Auckland")
    assert first == second
    assert not [name for name, content in first.items() if str(sample).encode() in content]


def test_the_manifest_names_books_range_and_files(sample: Path, tmp_path: Path) -> None:
    included = tmp_path / "main.beancount"
    included.write_text(f'include "{sample}/main.beancount"\ninclude "more/*.beancount"\n', encoding="utf-8")
    more = tmp_path / "more" / "b.beancount"
    more.parent.mkdir()
    more.write_text('2025-12-31 note Assets:Bank:Checking "nothing"\n', encoding="utf-8")
    folder = tmp_path / "pack"
    result = CliRunner().invoke(main, ["pack", "2025", "-o", str(folder), "-b", str(included)])
    assert result.exit_code == 0, result.output
    manifest = json.loads(folder.joinpath(NAME).read_bytes())
    assert manifest["range"] == {"name": "2025", "from": "2025-01-01", "to": "2025-12-31"}
    assert manifest["books"]["main"] == "main.beancount"
    assert manifest["books"]["files"]["main.beancount"] == sha256(included.read_bytes()).hexdigest()
    assert manifest["books"]["files"]["more/b.beancount"] == sha256(more.read_bytes()).hexdigest()
    assert len(manifest["books"]["files"]) == 3
    lines = "".join(f"{of_file}  {name}\n" for name, of_file in manifest["books"]["files"].items())
    assert manifest["books"]["sha256"] == sha256(lines.encode()).hexdigest()
    assert manifest["versions"]["millilot"]
    there = {path.name: sha256(path.read_bytes()).hexdigest() for path in folder.iterdir() if path.name != NAME}
    assert manifest["files"] == there


# --- The folder -----------------------------------------------------------------------------------------------

OURS = {
    "a.csv": b"1",
    NAME: json.dumps({"kind": "millilot-pack", "files": {"a.csv": sha256(b"1").hexdigest()}}).encode(),
}


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_an_earlier_pack_is_replaced(tmp_path: Path) -> None:
    folder = tmp_path / "pack"
    put(OURS, folder)
    put({"b.csv": b"2"}, folder)
    assert contents(folder) == {"b.csv": b"2"}
    assert list(tmp_path.iterdir()) == [folder]


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    folder = tmp_path / "pack"
    folder.mkdir()
    put(OURS, folder)
    assert contents(folder) == OURS


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"a.csv": b"changed"}, "changed since it was packed: a.csv"),
        ({"notes.txt": b"mine"}, "did not bring: notes.txt"),
        ({NAME: b"{}"}, "holds no earlier pack"),
        ({NAME: b"no json"}, "holds no earlier pack"),
    ],
)
def test_what_is_not_ours_stays(change: dict[str, bytes], said: str, tmp_path: Path) -> None:
    folder = tmp_path / "pack"
    put(OURS, folder)
    for name, content in change.items():
        folder.joinpath(name).write_bytes(content)
    before = contents(folder)
    with pytest.raises(FolderError, match=said):
        put({"b.csv": b"2"}, folder)
    assert contents(folder) == before


def test_a_file_or_a_link_is_no_folder(tmp_path: Path) -> None:
    file, link = tmp_path / "file", tmp_path / "link"
    file.write_bytes(b"mine")
    link.symlink_to(tmp_path)
    for path in (file, link):
        with pytest.raises(FolderError, match="is not a folder"):
            put(OURS, path)
    assert file.read_bytes() == b"mine"


@pytest.mark.parametrize("earlier", [False, True])
def test_a_failure_leaves_all_as_it_was(earlier: bool, tmp_path: Path) -> None:
    folder = tmp_path / "pack"
    if earlier:
        put(OURS, folder)
    with pytest.raises(FolderError, match="cannot be written"):
        put({"b.csv": b"2", "no/such/folder": b"3"}, folder)
    assert list(tmp_path.iterdir()) == ([folder] if earlier else [])
    assert not earlier or contents(folder) == OURS


def test_the_folder_one_is_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    put(OURS, Path())
    assert contents(tmp_path) == OURS


def test_what_is_wrong_in_the_books_is_on_the_list() -> None:
    # Without the plugin nothing is drawn.
    of_year = span("2026-01-05 * \"unbalanced\"\n  Assets:Bank  1.00 USD\n", head=HEAD.replace("plugin", ";"))
    causes = [(row.cells["cause"], row.cells["what"]) for row in sheets(of_year)["Exceptions"].rows]
    assert [cause for cause, _ in causes] == ["error in the books"] * 2
    assert any("plugin" in str(what) for _, what in causes)
    assert any("balance" in str(what) for _, what in causes)


def test_a_folder_in_no_folder_is_refused_in_words(sample: Path, tmp_path: Path) -> None:
    folder = tmp_path / "no" / "pack"
    result = CliRunner().invoke(main, ["pack", "2025", "-o", str(folder), "-b", str(sample / "main.beancount")])
    assert result.exit_code == 1
    assert "cannot be written" in result.output
    assert "Traceback" not in result.output


def test_another_year_than_the_calendars(sample: Path, tmp_path: Path) -> None:
    books, folder = str(sample / "main.beancount"), tmp_path / "pack"
    arguments = ["pack", "2026", "-o", str(folder), "-b", books, "--from", "2025-07-01"]
    result = CliRunner().invoke(main, [*arguments, "--form", "us-hobby", "--choose", "vials=out"])
    assert result.exit_code == 1  # a form of the calendar year
    assert "2025-07-01 to 2026-06-30 lies in two" in result.output
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.output
    assert json.loads(folder.joinpath(NAME).read_bytes())["range"]["to"] == "2026-06-30"
    result = CliRunner().invoke(main, ["pack", "2024", *arguments[2:]])
    assert "2025-07-01 to 2026-06-30 is not the year 2024" in result.output


def test_choices_go_to_the_forms_that_have_them(sample: Path, tmp_path: Path) -> None:
    forms = ["--form", "us-hobby", "--form", "plain"]
    arguments = ["pack", "2025", "-o", str(tmp_path / "pack"), "-b", str(sample / "main.beancount"), *forms]
    result = CliRunner().invoke(main, [*arguments, "--choose", "vials=out"])
    assert result.exit_code == 0, result.output
    text = tmp_path.joinpath("pack", "form-us-hobby.csv").read_text(encoding="utf-8")
    # 434.77 with the vials, which cost 17.16.
    assert "8j,Income of a hobby: c - i + k,451.93" in text
    result = CliRunner().invoke(main, [*arguments, "--choose", "vial=out"])
    assert result.exit_code == 1
    assert "'vial'" in result.output


def test_a_filed_year_is_written_into_the_books(sample: Path, tmp_path: Path) -> None:
    books, folder = tmp_path / "main.beancount", tmp_path / "pack"
    books.write_bytes(sample.joinpath("main.beancount").read_bytes())
    arguments = ["pack", "2025", "-o", str(folder), "-b", str(books), "--filed"]
    for _ in range(2):
        result = CliRunner().invoke(main, arguments)
        assert result.exit_code == 0, result.output
        text = books.read_text(encoding="utf-8")
        assert text.count('2026-01-01 custom "filed" 2025 281.81 USD 335.53 USD') == 1
    digests = json.loads(folder.joinpath(NAME).read_bytes())["books"]["files"]
    assert digests == {"main.beancount": sha256(books.read_bytes()).hexdigest()}
    assert "Filed on 2026-01-01" in folder.joinpath("method.csv").read_text(encoding="utf-8")


@pytest.mark.parametrize("trouble", ["a mistake in the books", "a folder that is not ours"])
def test_nothing_is_filed_when_something_is_wrong(trouble: str, sample: Path, tmp_path: Path) -> None:
    books, folder = tmp_path / "main.beancount", tmp_path / "pack"
    content = sample.joinpath("main.beancount").read_bytes()
    if trouble == "a mistake in the books":
        content += b'\n2025-12-30 * "more than there is"\n  Expenses:Loss  900 CEDARHOUR\n'
    else:
        folder.mkdir()
        folder.joinpath("mine.txt").write_bytes(b"mine")
    books.write_bytes(content)
    result = CliRunner().invoke(main, ["pack", "2025", "-o", str(folder), "-b", str(books), "--filed"])
    assert result.exit_code == 1
    assert books.read_bytes() == content


def test_a_form_of_another_year_is_refused_in_words(sample: Path, tmp_path: Path) -> None:
    books = str(sample / "main.beancount")
    arguments = ["pack", "2025", "-o", str(tmp_path / "pack"), "-b", books, "--form"]
    result = CliRunner().invoke(main, [*arguments, "uk-sa103s"])
    assert result.exit_code == 1
    assert "uk-sa103s" in result.output
    assert not (tmp_path / "pack").exists()


def test_a_pack_in_one_file_tells_no_time_and_can_be_read_by_anybody() -> None:
    files = {"summary.html": b"<p>", "sheets/sales.csv": b"a" * 999}
    with zipfile.ZipFile(io.BytesIO(archive(files, "records-2025"))) as zipped:
        told = zipped.infolist()
        assert {each.filename: zipped.read(each) for each in told} == {
            f"records-2025/{name}": content for name, content in files.items()
        }
    assert {each.date_time for each in told} == {(1980, 1, 1, 0, 0, 0)}
    # rw-r--r--
    assert {each.external_attr >> 16 for each in told} == {0o644}
    assert told[1].compress_size < 999


@pytest.mark.parametrize("books", ["", SHELF])
def test_books_with_little_in_them_give_a_pack_too(books: str) -> None:
    for number in (2025, 2026):
        of_year = span(books, number)
        for table in tables(of_year, PLAIN):
            assert_sums_hold(table)
        assert WORKBOOK in pack(of_year, PLAIN)


# --- The page -------------------------------------------------------------------------------------------------


@few_books
@given(histories())
def test_charts_stay_in_their_frame_and_show_the_years_figures(history: list[str]) -> None:
    of_year = span("\n".join(history))
    found = sheets(of_year)
    way = charts.waterfall(found["Summary"], "amount")
    drawn = [way, charts.by_month(of_year), charts.payback(found["Bottle results"])]
    for chart in filter(None, drawn):
        for box in chart.boxes:
            assert box.width >= 0
            assert 0 <= box.x <= box.x + box.width <= charts.WIDTH
            assert 0 <= box.y <= box.y + box.height <= chart.height
    shown = [Decimal(words.text.replace(",", "")) for words in way.words if words.anchor == "start"]
    # The steps lead from the first bar to the last.
    assert sum(shown[:-1]) == shown[-1] == of_year.year.business_profit


def test_the_page_needs_nothing_else() -> None:
    text = pack(span(TWO_CHANNELS), SHOWN)[PAGE].decode()
    assert text.startswith("<!doctype html>")
    assert text.count("<svg") == 3
    assert not re.search(r"<script|<link|src=|href=|url\(|@import", text)
    assert "Records, not tax advice" in text
    assert "us-hobby" in text


def test_sums_of_the_page_are_those_of_the_sheets() -> None:
    of_year = span(TWO_CHANNELS)
    text = pack(of_year, SHOWN)[PAGE].decode()
    # 5 + 10 mL at 1.296 and 10 mL at 2.00; 20 + 4 + 18 + 11 received.
    for figure in ("39.44", "53.00"):
        assert f">{figure}<" in text
