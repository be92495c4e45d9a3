"""`millilot import`, from file to books."""

from __future__ import annotations

import json
import re
import shutil
from typing import TYPE_CHECKING

import pytest
from beancount import loader
from click.testing import CliRunner

from millilot.reports.commands.import_files import import_files

from .shop import DATA

if TYPE_CHECKING:
    from .shop import Shop

FATES = {
    2: ("new", "1001", ""),
    3: ("unsorted", "1002", "its title names no fragrance of the books"),
    5: ("new", "1003", ""),
    6: ("skipped", "1004", "status Cancelled"),
    7: ("refused", "1005", "column 'Ordered on': expected a date like 2026-01-31, found '31/1'"),
    8: ("refused", "1006", "column 'Net': expected 12.00 from the other columns, found 11.00"),
    10: ("new", "1007", ""),
    11: ("new", "1008", ""),
}


@pytest.fixture
def orders(shop: Shop) -> str:
    return str(shutil.copy(DATA / "orders.csv", shop.folder))


def appended(shop: Shop) -> str:
    """Return what the import appended to the books of the data folder."""
    before = (DATA / "main.beancount").read_text(encoding="utf-8")
    after = shop.books.read_text(encoding="utf-8")
    assert after.startswith(before)
    return after.removeprefix(before)


def test_what_is_booked(shop: Shop, orders: str) -> None:
    outcome = shop.outcome(orders)
    assert appended(shop) == (DATA / "booked.beancount").read_text(encoding="utf-8")
    assert list(outcome) == ["rows", "new", "known", "skipped", "unsorted", "refused", "fates", "money"]
    counts = {name: outcome[name] for name in ("rows", "new", "known", "skipped", "unsorted", "refused")}
    assert counts == {"rows": 8, "new": 4, "known": 0, "skipped": 1, "unsorted": 1, "refused": 2}
    assert {fate["row"]: (fate["fate"], fate["order"], fate["reason"]) for fate in outcome["fates"]} == FATES
    assert {fate["file"] for fate in outcome["fates"]} == {orders}
    assert outcome["money"] == {
        "USD": {"rows": "1370.55", "booked": "1334.55", "known": "0.00", "skipped": "12.00", "refused": "24.00"},
    }


def test_the_books_have_no_error_and_hold_no_buyer(shop: Shop, orders: str) -> None:
    shop.run(orders)
    assert shop.errors() == []
    assert not re.search("Onymous|Oldtown|Long Lane", shop.books.read_text(encoding="utf-8"))


def test_again_adds_nothing_and_changes_no_byte(shop: Shop, orders: str) -> None:
    shop.run(orders)
    before, status = shop.books.read_bytes(), shop.books.stat()
    outcome = shop.outcome(orders)
    assert shop.books.read_bytes() == before
    assert shop.books.stat() == status
    assert (outcome["new"], outcome["unsorted"], outcome["known"], outcome["refused"]) == (0, 0, 5, 2)
    assert outcome["money"]["USD"]["known"] == "1334.55"


def test_a_file_that_overlaps_adds_what_is_new(shop: Shop) -> None:
    shop.outcome(shop.file({"Order": "1"}, {"Order": "2"}))
    outcome = shop.outcome(shop.file({"Order": "2"}, {"Order": "3"}, name="later.csv"))
    assert [fate["fate"] for fate in outcome["fates"]] == ["known", "new"]
    links = re.findall(r"\^order-\S+", shop.books.read_text(encoding="utf-8"))
    assert links == ["^order-lantern-1", "^order-lantern-2", "^order-lantern-3"]


def test_two_files_that_overlap_in_one_import(shop: Shop) -> None:
    later = shop.file({"Order": "2"}, {"Order": "3", "Ordered on": "2026-02-01"}, name="later.csv")
    first = shop.file({"Order": "1"}, {"Order": "2"})
    outcome = shop.outcome(first, later)
    assert [fate["fate"] for fate in outcome["fates"]] == ["new", "new", "known", "new"]
    assert outcome["fates"][2]["reason"] == f"the same sale as in {first}, row 3"
    assert re.findall(r"(?m)^2026-\S+ \*.*(order\S+)", appended(shop)) == [
        "order-lantern-3", "order-lantern-1", "order-lantern-2",
    ]


def test_an_order_twice_in_a_file_with_other_amounts_is_refused(shop: Shop) -> None:
    path = shop.file({"Order": "1"}, {"Order": "1", "Postage charged": "5.00", "Net": "15.05"})
    outcome = shop.outcome(path)
    assert [fate["fate"] for fate in outcome["fates"]] == ["new", "refused"]
    assert outcome["fates"][1]["reason"] == f"another sale of the order stands in {path}, row 2"


def test_an_order_twice_in_a_file_on_another_day_is_refused(shop: Shop) -> None:
    path = shop.file({"Order": "1"}, {"Order": "1", "Ordered on": "2026-03-02"})
    outcome = shop.outcome(path)
    assert [fate["fate"] for fate in outcome["fates"]] == ["new", "refused"]
    assert outcome["fates"][1]["reason"] == f"another sale of the order stands in {path}, row 2"


def test_a_fee_that_changes_is_booked_on_the_last_day_of_the_sale(shop: Shop) -> None:
    shop.run(shop.file({}))
    before = shop.books.read_text(encoding="utf-8")
    # 14.05 less 0.20 more of a fee.
    later = shop.file({"Selling fee": "2.15", "Net": "13.85", "Settled on": "2026-03-20"})
    assert shop.outcome(later)["fates"][0]["reason"] == "the correction only"
    added = shop.books.read_text(encoding="utf-8").removeprefix(before)
    assert added.startswith("\n2026-03-20 * ")
    assert "Expenses:Selling:Fees        0.20 USD\n" in added


def test_less_tax_than_went_back_already_is_refused(shop: Shop) -> None:
    shop.change_profile("[numbers]", "[tax]\nremitted = false\n\n[numbers]")
    taxed = {"Sales tax": "1.00", "Net": "15.05", "Refunded on": "2026-03-10"}
    first = shop.outcome(shop.file({**taxed, "Refunded": "4.00", "Tax refunded": "0.50"}))
    assert first["new"] == 1
    before = shop.books.read_bytes()
    second = shop.outcome(shop.file({**taxed, "Refunded": "6.00", "Tax refunded": "0.25"}))
    assert [(fate["fate"], fate["reason"]) for fate in second["fates"]] == [
        ("refused", "expected tax of at least 0.50 USD as in the books, found 0.25"),
    ]
    assert shop.books.read_bytes() == before


def test_a_refund_that_comes_later_is_all_that_is_added(shop: Shop) -> None:
    shop.run(shop.file({}))
    before = shop.books.read_text(encoding="utf-8")
    path = shop.file({"Refunded": "12.00", "Refunded on": "2027-01-10", "Fee refunded": "1.50"})
    outcome = shop.outcome(path)
    assert [(fate["fate"], fate["reason"]) for fate in outcome["fates"]] == [("new", "the refund only")]
    assert shop.books.read_text(encoding="utf-8").removeprefix(before) == (
        '\n2027-01-10 * "Refund: Cedar Hour 5 mL" ^order-lantern-1001\n'
        '  event: "lantern/refund/1001"\n'
        "  Income:Refunds               12.00 USD\n"
        "  Expenses:Selling:Fees        -1.50 USD\n"
        '    fee: "refunded"\n'
        "  Assets:Marketplace:Lantern  -10.50 USD\n"
    )
    assert shop.outcome(path)["known"] == 1
    assert shop.errors() == []


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"Refunded": "12.00"}, "column 'Refunded on': expected the date of the refund, found nothing"),
        ({"Refunded": "-12.00", "Refunded on": "2026-04-01"}, "expected an amount above 0, found -12.00"),
        ({"Order": "#"}, "column 'Order': expected the number of an order, found nothing"),
        ({"Ordered on": ""}, "column 'Ordered on': expected a date, found nothing"),
        ({"Item total": ""}, "column 'Item total': expected a price, found nothing"),
        ({"Item total": "-12.00"}, "column 'Item total': expected an amount, 0 or above, found '-12.00'"),
        ({"Quantity": "0"}, "column 'Quantity': expected a whole number above 0, found '0'"),
        ({"Net": ""}, "column 'Net': expected 14.05 from the other columns, found nothing"),
        ({"Selling fee": "1.95 EUR"}, "column 'Selling fee': expected an amount like 1,234.50, found '1.95 EUR'"),
    ],
)
def test_a_refused_row_does_not_keep_the_others_out(shop: Shop, change: dict[str, str], reason: str) -> None:
    outcome = shop.outcome(shop.file(change, {"Order": "1002"}))
    refused, booked = outcome["fates"]
    assert (refused["row"], refused["fate"]) == (2, "refused")
    assert reason in refused["reason"]
    assert booked["fate"] == "new"
    assert shop.errors() == []
    assert shop.run(shop.folder / "orders.csv").exit_code == 1


def test_an_order_whose_price_changed_is_refused(shop: Shop) -> None:
    shop.run(shop.file({}))
    before = shop.books.read_bytes()
    outcome = shop.outcome(shop.file({"Item total": "13.00", "Net": "15.05"}))
    assert [fate["reason"] for fate in outcome["fates"]] == [
        "expected the price of 12.00 USD as in the books, found 13.00",
    ]
    assert shop.books.read_bytes() == before


def test_an_order_cancelled_after_it_was_booked_is_refused_until_it_is_refunded(shop: Shop) -> None:
    shop.run(shop.file({}))
    cancelled = shop.file({"Status": "Cancelled"})
    assert shop.outcome(cancelled)["fates"][0]["reason"] == (
        "status Cancelled, but the books hold the order and no refund"
    )
    with shop.books.open("a", encoding="utf-8") as books:
        books.write(
            '\n2026-03-09 * "all back" ^order-lantern-1001\n'
            "  Income:Refunds  16.00 USD\n  Assets:Marketplace:Lantern  -16.00 USD\n",
        )
    assert shop.outcome(cancelled)["skipped"] == 1


def test_an_order_the_owner_wrote_by_hand_is_known(shop: Shop) -> None:
    with shop.books.open("a", encoding="utf-8") as books:
        books.write(
            '\n2026-03-03 * "by hand" ^order-lantern-1001\n'
            "  Income:Sales  -5 CEDARHOUR @@ 12.00 USD\n  Assets:Marketplace:Lantern  12.00 USD\n",
        )
    outcome = shop.outcome(shop.file({"Refunded": "12.00", "Refunded on": "2026-04-01"}))
    assert outcome["fates"][0]["reason"] == "the refund only"
    assert shop.outcome(shop.folder / "orders.csv")["fates"][0]["reason"] == (
        "the sale is written by hand, with the order's link"
    )


def test_a_sorted_sale_is_still_known(shop: Shop) -> None:
    path = shop.file({"Item": "Mystery"})
    assert shop.outcome(path)["unsorted"] == 1
    text = shop.books.read_text(encoding="utf-8")
    sorted_text = text.replace("Income:Unsorted             -12.00 USD", "Income:Sales -5 CEDARHOUR @@ 12.00 USD")
    assert sorted_text != text
    shop.books.write_text(sorted_text, encoding="utf-8")
    assert shop.outcome(path)["known"] == 1


def test_order_numbers_of_any_characters_have_links_of_their_own(shop: Shop) -> None:
    numbers = ["A 1", "A-1", "A/1", "\N{NUMERO SIGN}7", 'x"^#\\', "<script>"]
    assert shop.outcome(shop.file(*({"Order": number} for number in numbers)))["new"] == len(numbers)
    assert shop.errors() == []
    entries, _, _ = loader.load_file(str(shop.books))
    links = {entry.links for entry in entries if "event" in entry.meta}
    assert len(links) == len(numbers)
    assert {entry.meta.get("event") for entry in entries} >= {f"lantern/sale/{number}" for number in numbers}


def test_a_new_error_writes_nothing_and_shows_where(shop: Shop) -> None:
    before = shop.books.read_bytes()
    result = shop.run(shop.file({}, {"Order": "2", "Item": "Cedar Hour 99 mL"}))
    assert result.exit_code == 1
    assert shop.books.read_bytes() == before
    # The 99 mL fit; order 1001 then finds 1 mL left.
    line = (DATA / "main.beancount").read_text(encoding="utf-8").count("\n") + 5
    place = f"{shop.books}:{line} ({shop.folder / 'orders.csv'}, row 2): "
    assert result.stderr.startswith(place + "CEDARHOUR has 1 left")
    assert "would get 1 new error; nothing is written." in result.stderr
    assert sorted(path.name for path in shop.folder.iterdir()) == ["main.beancount", "orders.csv", "profiles"]


def test_an_error_the_books_have_already_stops_nothing(shop: Shop) -> None:
    with shop.books.open("a", encoding="utf-8") as books:
        books.write("2026-03-01 balance Assets:Bank 5.00 USD\n")
    assert len(shop.errors()) == 1
    assert shop.outcome(shop.file({}))["new"] == 1
    assert len(shop.errors()) == 1


def test_a_dry_run_shows_the_very_text_and_writes_nothing(shop: Shop, orders: str) -> None:
    before = shop.books.read_bytes()
    shown = shop.run(orders, "--dry-run")
    as_json = json.loads(shop.run(orders, "--dry-run", "--format", "json").stdout)
    assert shop.books.read_bytes() == before
    assert shown.exit_code == 1
    shop.run(orders)
    text = appended(shop).removeprefix("\n")
    assert as_json["text"] == text
    assert shown.stdout.startswith(text)
    assert re.search(r"(?m)^ +2  new +1001$", shown.stdout)


def test_a_dry_run_shows_the_errors_the_books_would_get(shop: Shop) -> None:
    result = shop.run(shop.file({"Item": "Cedar Hour 101 mL"}), "--dry-run")
    assert result.exit_code == 1
    assert "would get 1 new error" in result.stderr


def test_the_table_fits_eighty_columns(shop: Shop, orders: str) -> None:
    shop.file({"Order": "9" * 100, "Ordered on": "x" * 100}, name="wide.csv")
    result = shop.run(orders, shop.folder / "wide.csv")
    lines = [line for line in result.stdout.splitlines() if not line.endswith(".csv")]
    assert max(map(len, lines)) <= 80
    assert lines[0] == "9 rows: 4 new, 0 known, 1 skipped, 1 unsorted, 3 refused"


def test_an_import_without_anything_to_say(shop: Shop) -> None:
    result = shop.run(shop.file({}))
    assert result.exit_code == 0
    assert result.stdout == (
        "1 row: 1 new, 0 known, 0 skipped, 0 unsorted, 0 refused\n\n"
        "USD: rows 14.05, booked 14.05, known 0.00, skipped 0.00, refused 0.00\n"
    )


def test_accounts_follow_the_roles_of_the_books(shop: Shop) -> None:
    with shop.books.open("a", encoding="utf-8") as books:
        books.write(
            '2026-01-01 open Income:Decants USD\n2026-03-01 custom "millilot-account" "sales" Income:Decants\n',
        )
    shop.run(shop.file({"Order": "1", "Ordered on": "2026-02-28"}, {"Order": "2"}))
    assert re.findall(r"Income:(\w+) +-5 CEDARHOUR", appended(shop)) == ["Sales", "Decants"]


def test_tax_the_channel_does_not_hand_on_is_owed(shop: Shop) -> None:
    shop.change_profile("[titles.skus]", "[tax]\nremitted = false\n\n[titles.skus]")
    refund = {"Refunded": "12.00", "Refunded on": "2026-04-01", "Tax refunded": "0.90"}
    assert shop.outcome(shop.file({"Sales tax": "1.20", "Net": "15.25", **refund}))["new"] == 1
    amounts = re.findall(r"(?:SalesTax|Lantern) +(-?[\d.]+) USD", appended(shop))
    assert amounts == ["-1.20", "15.25", "0.90", "-12.90"]


def test_booked_on_the_day_it_was_settled(shop: Shop) -> None:
    shop.change_profile('format = "%Y-%m-%d"', 'format = "%Y-%m-%d"\nbook-on = "settled"')
    outcome = shop.outcome(shop.file({"Settled on": "2026-03-09"}, {"Order": "2"}))
    fates = [(fate["fate"], fate["reason"]) for fate in outcome["fates"]]
    assert fates == [("new", ""), ("skipped", "not settled yet")]
    assert '2026-03-09 * "Cedar Hour 5 mL"' in appended(shop)
    assert "  ordered: 2026-03-04\n  settled: 2026-03-09\n" in appended(shop)


def test_statuses(shop: Shop) -> None:
    lists = 'skip = ["Unpaid"]\nto-pour = ["Paid"]\nbook = ["Shipped"]'
    shop.change_profile('skip = ["Cancelled", "Unpaid"]', lists)
    statuses = enumerate(["Shipped", "Paid", "Unpaid", "Lost", ""])
    outcome = shop.outcome(shop.file(*({"Order": str(number), "Status": name} for number, name in statuses)))
    assert [fate["fate"] for fate in outcome["fates"]] == ["new", "new", "skipped", "refused", "refused"]
    expected = "column 'Status': expected one of Paid, Shipped, Unpaid, found 'Lost'"
    assert outcome["fates"][3]["reason"] == expected
    assert re.findall(r"(#to-pour )?\^order-lantern-(\d)", appended(shop)) == [("", "0"), ("#to-pour ", "1")]


def test_fees_written_below_nothing_and_fees_given_back(shop: Shop) -> None:
    shop.change_profile('kind = "commission"', 'kind = "commission"\nsign = "negative"')
    shop.run(shop.file({"Selling fee": "-1.95"}, {"Order": "2", "Selling fee": "0.50", "Net": "16.50"}))
    assert re.findall(r"Fees +(\S+)", appended(shop)) == ["1.95", "-0.50"]


def test_a_unit_price_counts_for_each(shop: Shop) -> None:
    shop.change_profile('price = "Item total"', 'unit-price = "Item total"')
    assert shop.outcome(shop.file({"Quantity": "2", "Net": "26.05"}))["new"] == 1
    assert "  Income:Sales                  -10 CEDARHOUR @@ 24.00 USD\n    vials: \"2\"\n" in appended(shop)


def test_the_shortest_profile(shop: Shop) -> None:
    shop.profile.write_text(
        """
        channel = "Lantern"
        currency = "USD"
        account = "Assets:Bank"
        dates.format = "%Y-%m-%d"
        columns = { order = "Order", ordered = "Ordered on", price = "Item total" }
        """,
        encoding="utf-8",
    )
    assert shop.outcome(shop.file({"Ordered on": "2026-03-04", "Refunded": "12.00"}))["unsorted"] == 1
    assert appended(shop) == (
        '\n2026-03-04 ! "Order 1001" ^order-lantern-1001\n'
        '  event: "lantern/sale/1001"\n'
        "  ordered: 2026-03-04\n"
        "  Income:Unsorted  -12.00 USD\n"
        '    title: ""\n'
        "  Assets:Bank       12.00 USD\n"
    )
    assert shop.errors() == []


def test_an_order_moved_to_another_account_is_known(shop: Shop) -> None:
    path = shop.file({})
    shop.run(path)
    text = shop.books.read_text(encoding="utf-8")
    moved = text.replace("Assets:Marketplace:Lantern  14.05", "Assets:Bank  14.05")
    assert moved != text
    shop.books.write_text(moved, encoding="utf-8")
    assert shop.outcome(path)["known"] == 1


def test_no_profile_fits(shop: Shop) -> None:
    path = shop.folder / "other.csv"
    path.write_text("a,b\n1,2\n", encoding="utf-8")
    for arguments in ([path], [path, "--profile", shop.profile]):
        result = shop.run(*arguments)
        assert result.exit_code == 1
        assert "lantern expects the headings Fee refunded, Item, " in result.stderr
    shop.profile.unlink()
    assert "there is no profile; expected one in profiles/" in shop.run(path).stderr


def test_several_profiles_fit(shop: Shop) -> None:
    shutil.copy(shop.profile, shop.profile.with_name("second.toml"))
    path = shop.file({})
    result = shop.run(path)
    assert result.exit_code == 1
    assert "several profiles fit: lantern, second; say which with --profile" in result.stderr
    assert shop.outcome(path, "--profile", shop.profile)["new"] == 1


def test_a_faulty_profile_is_a_message(shop: Shop) -> None:
    shop.change_profile('currency = "USD"', "currency = 5")
    result = shop.run(shop.file({}))
    assert result.exit_code == 1
    assert result.stderr == f"Error: {shop.profile}: currency: expected a text in quotes, found 5\n"


def test_a_file_that_is_not_text_is_a_message(shop: Shop) -> None:
    path = shop.folder / "photo.csv"
    path.write_bytes(bytes(range(256)) * 10)
    result = shop.run(path)
    assert result.exit_code == 1
    assert "photo.csv" in result.stderr
    assert "Traceback" not in result.output


def test_books_that_are_not_there(shop: Shop) -> None:
    result = CliRunner().invoke(import_files, [str(shop.file({})), "-b", str(shop.folder / "none.beancount")])
    assert result.exit_code == 2
    assert "none.beancount' does not exist" in result.stderr


def test_many_new_errors_are_counted(shop: Shop) -> None:
    text = shop.books.read_text(encoding="utf-8")
    shop.books.write_text(text.replace("open Income:Postage USD", "open Income:Postage EUR"), encoding="utf-8")
    orders = ({"Order": str(number), "Item": "Mystery"} for number in range(30))
    result = shop.run(shop.file(*orders))
    assert result.exit_code == 1
    assert "... and 10 more\n" in result.stderr
    assert "would get 30 new errors; nothing is written." in result.stderr


def test_an_error_that_names_a_file_cannot_steer_the_terminal(shop: Shop) -> None:
    text = shop.books.read_text(encoding="utf-8")
    shop.books.write_text(re.sub("(?m)^.* open Income:Postage.*$", "", text), encoding="utf-8")
    result = shop.run(shop.file({}, name="orders\x1b[2J.csv"))
    assert result.exit_code == 1
    assert "orders\N{REPLACEMENT CHARACTER}[2J.csv, row 2" in result.stderr
    assert "\x1b" not in result.output
