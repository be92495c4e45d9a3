"""The sample books, imported and reported, and what they have to show."""

from __future__ import annotations

import datetime
import socket
import subprocess
import sys
import tempfile
import urllib.request
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from signal import SIGINT
from typing import TYPE_CHECKING, Any

import pytest
from beancount import loader
from beancount.core.data import Transaction
from beancount.core.number import ZERO
from click.testing import CliRunner
from fava.core import FavaLedger

from millilot.importers.profile import read_profile
from millilot.ledger.accounts import Role
from millilot.ledger.directives import Commodities, Settings
from millilot.ledger.money import weight
from millilot.ledger.reading import read_books
from millilot.ledger.records import Books, Kind
from millilot.reports.bottles import bottles, rows_of
from millilot.reports.check import problems, remarks
from millilot.reports.commands.bottles import bottles_command
from millilot.reports.commands.demo import demo, latest_full_year
from millilot.reports.commands.import_files import import_files
from millilot.reports.commands.year import year_command
from millilot.reports.splits import splits
from millilot.reports.year import year

if TYPE_CHECKING:
    from collections.abc import Iterator

    from beancount.core.data import Directive

    from millilot.ledger.records import Move, Record

BEAN_CHECK = Path(sys.executable).with_name("bean-check")
PROGRAM = [sys.executable, "-c", "from millilot.reports.commands.demo import demo; demo()"]


@dataclass
class Demo:
    """What `millilot demo` printed and left behind."""

    output: str
    folder: Path

    @property
    def path(self) -> Path:
        return self.folder / "main.beancount"

    @property
    def files(self) -> list[Path]:
        return sorted(self.folder.glob("files/*.csv"))

    @cached_property
    def loaded(self) -> tuple[list[Directive], list[Any], dict[str, Any]]:
        return loader.load_file(str(self.path))

    @cached_property
    def books(self) -> Books:
        entries, _, options = self.loaded
        return read_books(entries, options)

    @cached_property
    def rows(self) -> dict[str | None, dict[str, Any]]:
        return {row["bottle"]: row for row in rows_of(bottles(self.books))}

    def moves(self, kind: Kind) -> list[tuple[Record, Move]]:
        return [
            (record, move) for record in self.books.records for move in record.moves if move.kind is kind
        ]

    def records(self, role: Role) -> list[Record]:
        """Return the records with money on an account of a role."""
        return [record for record in self.books.records if any(money.role is role for money in record.money)]

    def balance(self, account: str, until: datetime.date | None = None) -> Decimal:
        entries = [entry for entry in self.loaded[0] if isinstance(entry, Transaction)]
        return sum(
            (
                weight(posting).number
                for entry in entries
                if until is None or entry.date <= until
                for posting in entry.postings
                if posting.account == account
            ),
            ZERO,
        )


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    folder = tmp_path_factory.mktemp("demo") / "books"
    result = CliRunner().invoke(demo, [str(folder)], catch_exceptions=False)
    assert (result.exit_code, result.stderr) == (0, "")
    return Demo(result.stdout, folder)


# What the command does.


def test_it_prints_what_the_reports_print(sample: Demo) -> None:
    for command, arguments in ((bottles_command, []), (year_command, ["2025"])):
        report = CliRunner().invoke(command, [*arguments, "-b", str(sample.path)]).stdout
        assert len(report.splitlines()) > 10
        assert report in sample.output


def test_it_says_what_became_of_the_rows(sample: Demo) -> None:
    rows = sum(len(path.read_text(encoding="utf-8").splitlines()) - 1 for path in sample.files)
    assert f"{rows} rows: " in sample.output
    assert "1 skipped, 1 unsorted, 0 refused" in sample.output


def test_it_says_how_to_go_on(sample: Demo) -> None:
    assert sample.output.rstrip().endswith(f"$ fava {sample.path}")
    assert f"$ millilot bottles -b {sample.path}" in sample.output


def test_importing_the_files_again_changes_no_byte(sample: Demo) -> None:
    before = sample.path.read_bytes()
    arguments = [*map(str, sample.files), "-b", str(sample.path)]
    result = CliRunner().invoke(import_files, arguments, catch_exceptions=False)
    assert result.exit_code == 0
    assert " 0 new, " in result.stdout
    assert sample.path.read_bytes() == before


def test_the_imported_books_have_no_error_and_one_remark_on_what_is_to_be_found(sample: Demo) -> None:
    entries, errors, _ = sample.loaded
    assert problems(entries, errors) == []
    [remark] = remarks(entries, sample.books)
    assert remark.message.startswith("tallowgate-2026-06: 0.35 of it has not reached the bank")
    assert str(remark.entry.date) == "2026-07-02"
    check = subprocess.run([BEAN_CHECK, sample.path], capture_output=True, text=True, check=False)
    assert (check.returncode, check.stdout, check.stderr) == (0, "", "")


@pytest.mark.parametrize("number", [2025, 2026])
def test_the_profit_of_a_year_is_the_net_profit_of_fava(sample: Demo, number: int) -> None:
    ledger = FavaLedger(str(sample.path))
    assert [error.message for error in ledger.errors] == []
    tree = ledger.get_filtered(time=str(number)).root_tree
    [amount] = tree.net_profit(ledger.options, "Net Profit").balance_children.values()
    whole_year = year(sample.books, datetime.date(number, 1, 1), datetime.date(number, 12, 31))
    profit = whole_year.rounded("USD").business_profit
    assert profit == -amount.quantize(Decimal("0.01"))
    assert profit > 0


def test_without_a_folder_the_books_are_laid_in_a_new_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    for _ in range(2):
        assert CliRunner().invoke(demo, catch_exceptions=False).exit_code == 0
    assert len(list(tmp_path.glob("*/main.beancount"))) == 2


def test_a_folder_with_files_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "main.beancount").write_text("; mine", encoding="utf-8")
    result = CliRunner().invoke(demo, [str(tmp_path)], catch_exceptions=False)
    assert result.exit_code == 1
    assert "is not empty" in result.stderr
    assert [(path.name, path.read_text(encoding="utf-8")) for path in tmp_path.iterdir()] == [
        ("main.beancount", "; mine"),
    ]


@pytest.mark.parametrize(("last", "expected"), [("2026-11-14", 2025), ("2026-12-31", 2026), ("2027-01-01", 2026)])
def test_a_year_is_full_when_the_books_reach_its_last_day(last: str, expected: int) -> None:
    entries, errors, options = loader.load_string(f"""
        2020-01-01 open Assets:Bank USD
        2020-01-01 open Income:Sales USD
        {last} * "sale"
          Income:Sales  -1.00 USD
          Assets:Bank    1.00 USD
    """, dedent=True)
    assert errors == []
    assert latest_full_year(read_books(entries, options)) == expected


def test_empty_books_have_no_full_year(sample: Demo) -> None:
    settings = Settings(sample.books.settings.roles, Commodities(), frozenset())
    with pytest.raises(ValueError, match="no year"):
        latest_full_year(Books("USD", settings, {}, ()))


@pytest.fixture
def server(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    arguments = [str(tmp_path / "books"), "--serve", "--port", "0"]
    # A shell starts what runs in the background with Ctrl-C ignored, and that is passed on to these tests.
    listening = f"import signal; signal.signal(signal.SIGINT, signal.default_int_handler); {PROGRAM[-1]}"
    process = subprocess.Popen(
        [*PROGRAM[:-1], listening, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )
    yield process
    process.kill()
    process.communicate()


def test_it_opens_the_books_in_fava(server: subprocess.Popen[str]) -> None:
    assert server.stdout is not None
    line = next(line for line in server.stdout if line.startswith("Fava shows"))
    address = line.split()[5]
    assert address.startswith("http://127.0.0.1:")
    with urllib.request.urlopen(address, timeout=60) as response:  # noqa: S310
        page = response.read().decode()
    assert "Decants of an invented seller" in page
    server.send_signal(SIGINT)
    _, errors = server.communicate(timeout=60)
    assert (server.returncode, errors) == (0, "")


def test_a_port_in_use_ends_in_a_message(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        result = CliRunner().invoke(demo, [str(tmp_path / "books"), "--serve", "--port", str(port)])
    assert result.exit_code == 1
    assert f"Port {port} cannot be used" in result.stderr


# What the books have to show; looked up in what Beancount and the plugin made of them.


def test_two_bottles_of_one_fragrance_cost_differently(sample: Demo) -> None:
    costs = defaultdict(set)
    for name, bottle in sample.books.fragrances.items():
        costs[bottle.commodity.code].add(sample.rows[name]["cost_per_ml"])
    assert any(len(of_fragrance) > 1 for of_fragrance in costs.values())


def test_every_fragrance_has_its_own_stock_account(sample: Demo) -> None:
    accounts = defaultdict(set)
    for bottle in sample.books.fragrances.values():
        accounts[bottle.account].add(bottle.commodity.code)
    assert len(accounts) >= 8
    assert all(len(codes) == 1 for codes in accounts.values())


def test_a_partial_is_a_lot_of_what_was_measured(sample: Demo) -> None:
    bought = {name: row["ml_bought"] for name, row in sample.rows.items() if name}
    purchased = {move.bottle for _, move in sample.moves(Kind.BOUGHT)}
    assert [name for name in purchased if bought.get(name) == 62]


def test_a_bottle_owned_before_is_estimated_at_the_lower_value(sample: Demo) -> None:
    [(_, move)] = sample.moves(Kind.CONTRIBUTED)
    bottle = sample.books.bottles[move.bottle]
    assert bottle.estimated
    assert bottle.paid is not None
    assert bottle.paid > move.cost
    assert bottle.market_value == move.cost


def test_a_gift_with_a_purchase_costs_nothing_and_sells(sample: Demo) -> None:
    [row] = [row for row in sample.rows.values() if row["bottle"] and row["cost"] == 0]
    assert row["ml_sold"] > 0
    source = sample.books.bottles[row["bottle"]].source
    assert sum(bottle.source is source for bottle in sample.books.bottles.values()) == 2


def test_delivery_is_shared_by_the_lots_of_a_purchase(sample: Demo) -> None:
    shared = defaultdict(list)
    for bottle in sample.books.fragrances.values():
        if any(posting.account == "Assets:Stock:Inbound" for posting in bottle.source.postings):
            shared[id(bottle.source)].append(bottle.name)
    assert max(map(len, shared.values())) == 3
    assert sample.balance("Assets:Stock:Inbound") == 0


def test_vials_of_several_sizes_are_sold(sample: Demo) -> None:
    sizes = {-move.quantity for _, move in sample.moves(Kind.SOLD)}
    assert sizes >= {2, 3, 5, 6, 10}


def test_something_is_lost_in_every_pour(sample: Demo) -> None:
    assert {-move.quantity for _, move in sample.moves(Kind.POUR_LOSS)} == {
        Decimal("0.1"), Decimal("0.2"), Decimal("0.3"),
    }


def test_kits_take_vials_and_mailers_and_none_runs_out(sample: Demo) -> None:
    used = sample.moves(Kind.USED)
    codes: dict[Role | None, set[str]] = defaultdict(set)
    for _, move in used:
        codes[move.to].add(sample.books.bottles[move.bottle].commodity.code)
    assert codes == {
        Role.SUPPLIES_USED: {"VIAL2", "VIAL5", "VIAL10", "LABEL"}, Role.PACKING: {"MAILER", "TAPE"},
    }
    assert Decimal("-0.02") in {move.quantity for _, move in used}
    assert len({move.bottle for _, move in used if move.bottle.startswith("VIAL5")}) == 2
    left: dict[str, Decimal] = defaultdict(Decimal)
    for record in sample.books.records:
        for move in record.moves:
            if move.bottle not in sample.books.fragrances:
                left[sample.books.bottles[move.bottle].commodity.code] += move.quantity
    assert len(left) == 6
    assert min(left.values()) > 0


def test_one_bottle_held_less_than_the_books_said_and_one_that_was_weighed_more(sample: Demo) -> None:
    [(counted, less)], [(weighed, more)] = sample.moves(Kind.SHRINKAGE), sample.moves(Kind.FOUND)
    assert (less.quantity, more.quantity) == (Decimal("-0.6"), Decimal("0.14"))
    assert "47.4 CEDARHOUR counted" in str(counted.entry.narration)
    assert "density assumed" in str(weighed.entry.narration)
    assert str(counted.date) == str(weighed.date) == "2026-06-30"


def test_an_order_is_packed_once(sample: Demo) -> None:
    mailers: dict[str | None, Decimal] = defaultdict(Decimal)
    for record, move in sample.moves(Kind.USED):
        if sample.books.bottles[move.bottle].commodity.code == "MAILER":
            mailers[record.order] -= move.quantity
    sold = {record.order for record in sample.books.records if any(line.price > 0 for line in record.lines)}
    assert mailers == dict.fromkeys(sold, 1)


def refunds(sample: Demo) -> dict[str, list[Record]]:
    """Return the records of refunds by order, without goods that came back."""
    found = defaultdict(list)
    for record in sample.records(Role.REFUNDS):
        if not record.lines:
            assert record.order is not None
            found[record.order].append(record)
    return found


def sale_of(sample: Demo, order: str | None) -> Record:
    return next(
        record
        for record in sample.books.records
        if record.order == order and any(line.price > 0 for line in record.lines)
    )


def test_goods_came_back_once(sample: Demo) -> None:
    [returned] = [
        record for record in sample.records(Role.REFUNDS) if any(line.price < 0 for line in record.lines)
    ]
    [move] = returned.moves
    assert move.kind is Kind.SOLD
    assert move.quantity > 0
    assert sale_of(sample, returned.order).date < returned.date


def test_money_went_back_without_goods_also_in_the_next_year(sample: Demo) -> None:
    years = [
        (sale_of(sample, order).date.year, record.date.year)
        for order, records in refunds(sample).items()
        for record in records
    ]
    assert sorted(years) == [(2025, 2025), (2025, 2026), (2026, 2026)]


def test_a_lost_parcel_is_refunded_and_compensated(sample: Demo) -> None:
    [paid] = sample.records(Role.COMPENSATION)
    [refund] = refunds(sample)[str(paid.order)]
    money = {each.role: each.amount for each in sale_of(sample, paid.order).money}
    back = {each.role: each.amount for each in refund.money}
    assert back[Role.REFUNDS] == -(money[Role.SALES] + money[Role.POSTAGE_CHARGED])


def test_another_lost_parcel_is_poured_again(sample: Demo) -> None:
    [(record, move)] = [found for found in sample.moves(Kind.LOST) if found[0].order is not None]
    [line] = sale_of(sample, record.order).lines
    assert sum(quantity for _, quantity in line.parts) == -move.quantity


def test_fragrance_is_spilt_sampled_and_kept(sample: Demo) -> None:
    assert [record for record, _ in sample.moves(Kind.LOST) if record.order is None]
    assert {record.order is None for record, _ in sample.moves(Kind.SAMPLED)} == {True, False}
    assert len(sample.moves(Kind.KEPT)) > 3


def test_a_swap_brings_a_bottle_at_what_went_out(sample: Demo) -> None:
    [(record, move)] = sample.moves(Kind.SWAPPED_IN)
    [line] = record.lines
    assert (line.role, line.price) == (Role.SWAPS, move.cost)


def test_one_split_is_poured_and_another_still_gathers_claims(sample: Demo) -> None:
    poured, gathering, unnamed = splits(sample.books)
    assert (poured.state, poured.ml_poured, poured.money_held, poured.money_due) == ("poured", 60, 0, 0)
    assert poured.bottle is not None
    bottle = sample.books.bottles[poured.bottle]
    # Whoever dropped out has his money again, and the host's own share is stock.
    assert [claim.quantity for claim in sample.books.settings.claims if claim.quantity < 0] == [-20]
    assert bottle.keep < sample.rows[bottle.name]["ml_left"] < 40
    assert (gathering.state, gathering.bottle in sample.books.bottles) == ("open", False)
    assert gathering.money_held > 0
    assert gathering.money_held + unnamed.money_held == -sample.balance("Liabilities:Claims")


def test_duty_comes_late_for_bottles_already_opened(sample: Demo) -> None:
    late = sample.moves(Kind.LATE_COST)
    assert len(late) == 3
    assert all(record.date > sample.books.bottles[move.bottle].bought for record, move in late)
    gone = [
        move.cost for record, move in sample.moves(Kind.SOLD) if record is late[0][0] and move.quantity == 0
    ]
    assert gone
    assert max(gone) < 0


def test_a_bottle_is_sold_sealed(sample: Demo) -> None:
    [(_, move)] = [found for found in sample.moves(Kind.SOLD) if found[1].quantity == -50]
    assert [other.bottle for _, other in sample.moves(Kind.POUR_LOSS)].count(move.bottle) == 0
    assert sample.rows[move.bottle]["ml_left"] == 0


def test_an_empty_bottle_is_sold(sample: Demo) -> None:
    [money] = [
        money
        for record in sample.records(Role.SALES)
        for money in record.money
        if money.role is Role.SALES and money.line is None
    ]
    assert money.bottle is not None
    assert sample.rows[money.bottle]["ml_left"] == 0


def test_a_sale_is_unsorted_and_an_order_waits_to_be_poured(sample: Demo) -> None:
    [unsorted] = sample.records(Role.UNSORTED)
    assert unsorted.entry.flag == "!"
    waiting = [record.order for record in sample.books.records if "to-pour" in record.entry.tags]
    assert waiting == ["order-lantern-1048"]


def test_a_payout_is_under_way_at_the_year_end_and_one_is_short(sample: Demo) -> None:
    transit = "Assets:Marketplace:Tallowgate:Transit"
    open_by_payout: dict[frozenset[str], dict[int, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
    for entry in sample.loaded[0]:
        if isinstance(entry, Transaction):
            for posting in entry.postings:
                if posting.account == transit:
                    open_by_payout[entry.links][entry.date.year] += weight(posting).number
    under_way = [years for years in open_by_payout.values() if years[2025] and not sum(years.values())]
    assert len(under_way) == 1
    short = [sum(years.values()) for years in open_by_payout.values() if sum(years.values())]
    assert short == [Decimal("0.35")]


@pytest.mark.parametrize("channel", ["Lantern", "Tallowgate"])
def test_a_channel_holds_the_orders_it_has_not_paid_out(sample: Demo, channel: str) -> None:
    account = f"Assets:Marketplace:{channel}"
    waiting = [
        money.amount
        for record in sample.books.records
        if record.order and not any(link.startswith("payout-") for link in record.entry.links)
        and not any(money.role is Role.REFUNDS for money in record.money)
        for money in record.money
        if money.account == account
    ]
    assert len(waiting) in {1, 2}
    assert sample.balance(account) == sum(waiting)


def test_eighteen_months_of_a_small_seller(sample: Demo) -> None:
    assert len(sample.books.fragrances) >= 8
    orders = {record.order for record in sample.books.records if record.order and record.lines}
    assert 60 <= len(orders) <= 90
    assert str(sample.books.first) == "2025-06-01"
    assert str(sample.books.last) == "2026-11-14"


def test_bottles_pay_back_early_nearly_and_slowly(sample: Demo) -> None:
    rows = [row for row in sample.rows.values() if row["bottle"] and row["cost"]]
    assert any(row["paid_back_on"] and (row["paid_back_on"] - row["bought"]).days < 180 for row in rows)
    assert any(Decimal("0.9") < row["payback"] < 1 for row in rows)
    assert any(row["payback"] < Decimal("0.2") for row in rows)


def test_the_channels_write_their_files_differently(sample: Demo) -> None:
    one, other = (read_profile(path) for path in sorted(sample.folder.glob("profiles/*.toml")))
    assert (one.file.delimiter, one.numbers.decimal, one.file.row) == ("", ".", "order")
    assert (other.file.delimiter, other.numbers.decimal, other.file.row) == (";", ",", "item")
    assert one.dates.formats != other.dates.formats


def test_no_buyer_enters_the_books(sample: Demo) -> None:
    text = sample.path.read_text(encoding="utf-8")
    assert any("buyer-" in path.read_text(encoding="utf-8") for path in sample.files)
    assert "buyer-" not in text
    assert "customer-" not in text
