"""`millilot sort`: the unsorted lines, and what the owner says they were."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from typing import TYPE_CHECKING

import pytest
from beancount import loader
from beancount.parser import printer
from click.testing import CliRunner, Result

from millilot.importers.answers import Answers
from millilot.importers.booking import BooksFile
from millilot.reports.commands.sort import sort_command

from .test_pours import FIG, SETS

if TYPE_CHECKING:
    from pathlib import Path

    from .shop import Shop

MYSTERY = {"Item": "Mystery vial, 3 mL"}
NIGHT = {
    "Order": "1002", "Item": "Cedar Hour Night 2 x 5 mL", "Quantity": "2", "Item total": "30.00", "Net": "32.05",
}


def sort(shop: Shop, *arguments: object) -> Result:
    command = [*map(str, arguments), "-b", str(shop.books)]
    return CliRunner().invoke(sort_command, command, catch_exceptions=False)


def sorted_(shop: Shop, *arguments: object) -> str:
    result = sort(shop, *arguments)
    assert result.exit_code == 0, result.output
    assert shop.errors() == []
    return result.stdout


def listed(shop: Shop) -> list[str]:
    return [line["order"] for line in json.loads(sort(shop, "--format", "json").stdout)]


def lines_of(shop: Shop, order: str) -> str:
    """Return an order's transaction as it stands in the books."""
    entries = re.findall(r"(?m)^2026.*\n(?:  .*\n?)*", shop.books.read_text(encoding="utf-8"))
    [entry] = [entry for entry in entries if re.search(rf"order-lantern-{order}\b", entry)]
    return str(entry)


# The list.


def test_the_list_as_a_table(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY, NIGHT))
    assert sort(shop).stdout.splitlines() == [
        "Order         Date        Price  Suggestion          Sure  Title",
        "------------  ----------  -----  ------------------  ----  ---------------------",
        "lantern-1001  2026-03-04  12.00                            Mystery vial, 3 mL",
        "lantern-1002  2026-03-04  30.00  CEDARHOUR 5 mL x 2  75 %  2 of: Cedar Hour Nig\N{HORIZONTAL ELLIPSIS}",
    ]


def test_the_list_for_other_programs(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY, {**NIGHT, "Item": "=1+1 Cedar Hour", "SKU": "N-2"}))
    mystery, night = json.loads(sort(shop, "--format", "json").stdout)
    assert mystery["suggestions"] == []
    assert night == {
        "order": "lantern-1002",
        "date": "2026-03-04",
        "price": "30.00",
        "currency": "USD",
        "quantity": 2,
        "title": "=1+1 Cedar Hour",
        "sku": "N-2",
        # Of 1, cedar, hour and a size, two are in common.
        "suggestions": [{"suggestion": "CEDARHOUR ? mL", "certainty": 50}],
        "written_in": night["written_in"],
    }
    file, line = night["written_in"].split(":")
    assert file == "main.beancount"
    assert "Income:Unsorted" in shop.books.read_text(encoding="utf-8").splitlines()[int(line) - 1]
    _, row = csv.DictReader(io.StringIO(sort(shop, "--format", "csv").stdout))
    assert (row["title"], row["suggestion"], row["certainty"]) == ("'=1+1 Cedar Hour", "CEDARHOUR ? mL", "50")


def test_nothing_is_unsorted(shop: Shop) -> None:
    assert sort(shop).stdout == "Nothing is unsorted.\n"
    assert sort(shop, "--format", "json").stdout == "[]\n"
    assert sort(shop, "--certain").stdout == "No title is certain by now.\n"


# A line is sorted.


def test_a_line_becomes_a_sale_and_the_title_is_known(shop: Shop) -> None:
    shop.outcome(shop.file({**MYSTERY, "Order": "999"}, MYSTERY))
    before, profile = shop.books.read_text(encoding="utf-8"), shop.profile.read_text(encoding="utf-8")
    assert sorted_(shop, "1001", "cedar hour", "3").splitlines() == [
        "lantern-1001: Income:Sales -3 CEDARHOUR @@ 12.00 USD",
        f"Kept in {shop.profile}, for the next import.",
        "1 more line of this title; `millilot sort --certain` sorts what is certain now.",
    ]
    assert lines_of(shop, "1001") == (
        '2026-03-04 * "Mystery vial, 3 mL" ^order-lantern-1001\n'
        '  event: "lantern/sale/1001"\n'
        "  ordered: 2026-03-04\n"
        "  Income:Sales                    -3 CEDARHOUR @@ 12.00 USD\n"
        '    title: "Mystery vial, 3 mL"\n'
        "  Income:Postage               -4.00 USD\n"
        "  Expenses:Selling:Fees         1.95 USD\n"
        '    fee: "commission"\n'
        "  Assets:Marketplace:Lantern   14.05 USD\n"
    )
    after = shop.books.read_text(encoding="utf-8")
    assert [old == new for old, new in zip(before.splitlines(), after.splitlines(), strict=True)].count(False) == 2
    added = '\n[titles.items]\n"Mystery vial, 3 mL" = { fragrance = "CEDARHOUR", ml = 3 }\n'
    assert shop.profile.read_text(encoding="utf-8") == profile + added
    assert listed(shop) == ["lantern-999"]
    assert sorted_(shop, "--certain") == "lantern-999: Income:Sales -3 CEDARHOUR @@ 12.00 USD\n"
    assert listed(shop) == []
    outcome = shop.outcome(shop.file(MYSTERY, {"Order": "1003", "Item": "MYSTERY vial,  3 mL"}))
    assert (outcome["known"], outcome["new"], outcome["unsorted"]) == (1, 1, 0)


def test_vials_times_the_quantity(shop: Shop) -> None:
    shop.outcome(shop.file(NIGHT))
    sorted_(shop, "^order-lantern-1002", "CEDARHOUR", "2.5 mL", "--vials", "2")
    assert "-10 CEDARHOUR @@ 30.00 USD\n    vials: \"4\"\n    title:" in lines_of(shop, "1002")
    assert '"Cedar Hour Night 2 x 5 mL" = { fragrance = "CEDARHOUR", ml = 2.5, vials = 2 }' in (
        shop.profile.read_text(encoding="utf-8")
    )


def test_several_lines_of_an_order(shop: Shop) -> None:
    shop.change_profile("[dates]", '[file]\nrow = "item"\n\n[dates]')
    net = {"Net": "26.05"}
    shop.outcome(shop.file(MYSTERY | net, net, {"Item": "Other", "Item total": "0"} | net))
    assert listed(shop) == ["lantern-1001:1", "lantern-1001:3"]
    result = sort(shop, "1001", "CEDARHOUR", "5")
    assert result.exit_code == 1
    assert "1001: expected one line, found lantern-1001:1, lantern-1001:3" in result.stderr
    sorted_(shop, "lantern-1001:3", "CEDARHOUR", "1")
    assert lines_of(shop, "1001").startswith("2026-03-04 ! ")
    sorted_(shop, "lantern-1001", "CEDARHOUR", "3")
    assert lines_of(shop, "1001").startswith("2026-03-04 * ")
    assert lines_of(shop, "1001").count("Income:Sales") == 3


def test_what_is_done_for_other_programs(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY))
    result = sort(shop, "1001", "CEDARHOUR", "3", "--format", "json")
    assert json.loads(result.stdout) == [
        {"order": "lantern-1001", "account": "Income:Sales", "draw": "-3 CEDARHOUR @@ 12.00 USD"},
    ]
    assert "Kept in" in result.stderr
    assert sort(shop, "--certain", "--format", "csv").stdout == "order,account,draw\n"


def test_once_keeps_nothing(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY))
    before = shop.profile.read_bytes()
    assert "Kept" not in sorted_(shop, "1001", "CEDARHOUR", "3", "--once")
    assert shop.profile.read_bytes() == before


def test_an_item_without_a_title_is_kept_by_its_sku(shop: Shop) -> None:
    shop.outcome(shop.file({"Item": "", "SKU": "Q-7"}))
    sorted_(shop, "1001", "CEDARHOUR", "3", "--vials", "0")
    assert '\nQ-7 = { fragrance = "CEDARHOUR", ml = 3, vials = 0 }\n' in shop.profile.read_text(encoding="utf-8")
    assert shop.outcome(shop.file({"Order": "2", "Item": "", "SKU": "Q-7"}))["new"] == 1


def test_a_set_that_the_profile_knows_by_now(shop: Shop) -> None:
    shop.books.write_text(shop.books.read_text(encoding="utf-8") + FIG, encoding="utf-8")
    shop.outcome(shop.file({"Item": "Forest set", "Quantity": "2", "Item total": "16.00", "Net": "18.05"}))
    assert "its title is not certain" in sort(shop, "1001").stderr
    shop.change_profile("[titles.skus]", f"{SETS}\n[titles.skus]")
    sorted_(shop, "1001")
    assert (
        '-4 CEDARHOUR @@ 5.33 USD\n    vials: "2"\n    title: "Forest set"\n    quantity: "2"\n'
        "  Income:Sales                    -8 FIG @@ 10.67 USD\n"
        '    vials: "4"\n  Income:Postage'
    ) in lines_of(shop, "1001")


def test_a_line_as_beancount_prints_it(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY))
    entries, _, _ = loader.load_file(str(shop.books))
    [entry] = [entry for entry in entries if "event" in entry.meta]
    text = shop.books.read_text(encoding="utf-8")
    shop.books.write_text(text[: text.index("2026-03-04 ")] + printer.format_entry(entry), encoding="utf-8")
    sorted_(shop, "1001", "CEDARHOUR", "3")
    assert lines_of(shop, "1001").startswith("2026-03-04 * ")
    assert listed(shop) == []


def test_line_endings_comments_and_old_errors_stay(shop: Shop) -> None:
    shop.outcome(shop.file(NIGHT))
    text = shop.books.read_text(encoding="utf-8").replace("-30.00 USD", "-30.00 USD ; whose?")
    text += "\n2026-04-01 balance Assets:Bank 1 USD\n\n2026-04-02 balance Assets:Bank 2 USD\n"
    shop.books.write_bytes(text.replace("\n", "\r\n").encode())
    old = shop.errors()
    assert len(old) == 2
    assert sort(shop, "1002", "CEDARHOUR", "5", "--vials", "2").exit_code == 0
    assert shop.errors() == old
    after = shop.books.read_bytes()
    assert after.count(b"\n") == after.count(b"\r\n") == text.count("\n") + 1
    assert b"@@ 30.00 USD ; whose?\r\n" in after


def test_a_dry_run_writes_nothing(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY))
    before = shop.books.read_bytes(), shop.profile.read_bytes()
    assert sort(shop, "1001", "CEDARHOUR", "3", "--dry-run").stdout == (
        "lantern-1001: Income:Sales -3 CEDARHOUR @@ 12.00 USD\n"
    )
    assert (shop.books.read_bytes(), shop.profile.read_bytes()) == before


# The profile stays as it is written.


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (
            '[titles.items] # whole titles\n"A" = { fragrance = "FIG", ml = 1 }   # one\n\n# the end\n',
            """[titles.items] # whole titles
"A" = { fragrance = "FIG", ml = 1 }   # one
"x \\"1\\"" = { fragrance = "CEDARHOUR", ml = 3 }

# the end
""",
        ),
        ('[titles]\nignore = ["b"] # c', '[titles]\nignore = ["b"] # c\n\n[titles.items]\n"x \\"1\\"" = {'),
        (
            '[titles.items]\n\'X  "1"\' = { fragrance = "FIG", ml = 1 } # was wrong\n',
            '[titles.items]\n\'X  "1"\' = { fragrance = "CEDARHOUR", ml = 3 } # was wrong\n',
        ),
    ],
)
def test_comments_and_layout_of_the_profile_stay(shop: Shop, before: str, after: str) -> None:
    shop.outcome(shop.file({"Item": 'x "1"'}))
    shop.change_profile("[dates]", "[dates]   # as written")
    head = shop.profile.read_text(encoding="utf-8").partition("[titles")[0]
    shop.profile.write_text(head + before, encoding="utf-8")
    sorted_(shop, "1001", "CEDARHOUR", "3")
    assert shop.profile.read_text(encoding="utf-8").startswith(head + after)


def test_a_profile_that_cannot_be_added_to(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY))
    text = shop.profile.read_text(encoding="utf-8").partition("[titles")[0]
    shop.profile.write_text(f'titles = {{ ignore = ["a"] }}\n{text}', encoding="utf-8")
    before = shop.books.read_bytes()
    result = sort(shop, "1001", "CEDARHOUR", "3")
    assert result.exit_code == 1
    assert "write below [titles.items]: " in result.stderr
    assert '"Mystery vial, 3 mL" = { fragrance = "CEDARHOUR", ml = 3 }' in result.stderr
    assert shop.books.read_bytes() == before


def test_a_set_is_changed_where_it_stands(shop: Shop) -> None:
    shop.outcome(shop.file({"Item": "Forest SET"}))
    shop.change_profile("[titles.skus]", f"{SETS}\n[titles.skus]")
    before = shop.books.read_bytes(), shop.profile.read_bytes()
    result = sort(shop, "1001", "CEDARHOUR", "3")
    assert '"Forest SET" is a set in [titles.sets]; change it there' in result.stderr
    assert (shop.books.read_bytes(), shop.profile.read_bytes()) == before


# What is refused, and changes nothing.


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["1002", "CEDARHOUR", "5"], "1002: expected an unsorted line, found none of this name"),
        (["1001", "Cedar", "5"], "Cedar: expected a fragrance of the books, one of CEDARHOUR"),
        (["1001", "CEDARHOUR", "five"], "five: expected mL of one vial, such as 5 or 2.5"),
        (["1001", "CEDARHOUR", "0"], "0: expected mL of one vial"),
        (["1001", "CEDARHOUR", "nan"], "nan: expected mL of one vial"),
        (["1001", "CEDARHOUR"], "Expected ORDER FRAGRANCE ML"),
        (["1001", "--certain"], "Expected ORDER FRAGRANCE ML"),
        (["1001"], "lantern-1001: its title is not certain; say the fragrance and the mL of a vial"),
        (["1001", "CEDARHOUR", "101"], "CEDARHOUR has 100 left on 2026-03-04; this line asks for 101"),
    ],
)
def test_what_is_refused_changes_nothing(shop: Shop, arguments: list[str], message: str) -> None:
    shop.outcome(shop.file(MYSTERY))
    before = shop.books.read_bytes(), shop.profile.read_bytes()
    result = sort(shop, *arguments)
    assert result.exit_code != 0
    assert message in result.stderr
    assert (shop.books.read_bytes(), shop.profile.read_bytes()) == before


def test_without_a_profile_of_the_channel(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY))
    elsewhere = shop.profile.rename(shop.folder / "lantern.toml")
    result = sort(shop, "1001", "CEDARHOUR", "3")
    assert 'expected one profile of the channel "lantern" to keep the answer in' in result.stderr
    assert f"Kept in {elsewhere}" in sorted_(shop, "1001", "CEDARHOUR", "3", "--profile", elsewhere)


def test_two_profiles_of_the_channel(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY))
    shutil.copy(shop.profile, shop.profile.with_name("second.toml"))
    assert "expected one profile of the channel" in sort(shop, "1001", "CEDARHOUR", "3").stderr
    sorted_(shop, "1001", "CEDARHOUR", "3", "--once")


def test_a_line_that_was_changed_by_hand(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY))
    text = shop.books.read_text(encoding="utf-8")
    shop.books.write_text(text.replace("-12.00 USD\n", "-(6 + 6) USD\n"), encoding="utf-8")
    result = sort(shop, "1001", "CEDARHOUR", "3")
    expected = r"main.beancount:\d+: expected a line like Income:Unsorted -12 USD, found 'Income"
    assert re.search(expected, result.stderr)


def test_a_line_in_an_included_file(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY))
    text = shop.books.read_text(encoding="utf-8")
    head, order = text[: text.index("2026-03-04 ")], text[text.index("2026-03-04 ") :]
    (shop.folder / "2026.beancount").write_text(order, encoding="utf-8")
    shop.books.write_text(f'{head}include "2026.beancount"\n', encoding="utf-8")
    assert listed(shop) == ["lantern-1001"]
    result = sort(shop, "1001", "CEDARHOUR", "3")
    assert result.exit_code == 1
    assert f"{shop.folder}/2026.beancount:4: lantern-1001 is in a file that the books include" in result.stderr
    assert "write there: Income:Sales -3 CEDARHOUR @@ 12.00 USD" in result.stderr


def test_a_line_without_an_order_is_called_by_its_place(shop: Shop) -> None:
    text = shop.books.read_text(encoding="utf-8")
    own = '\n2026-03-01 ! "By hand"\n  Income:Unsorted  -7.00 USD\n  Assets:Bank\n'
    shop.books.write_text(text + own, encoding="utf-8")
    [name] = listed(shop)
    assert re.fullmatch(r"main.beancount:\d+", name)
    sorted_(shop, name, "CEDARHOUR", "2", "--once")
    text = shop.books.read_text(encoding="utf-8")
    assert '* "By hand"\n  Income:Sales        -2 CEDARHOUR @@ 7.00 USD\n' in text


def test_books_changed_meanwhile(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.outcome(shop.file(MYSTERY))
    profile = shop.profile.read_bytes()
    real = BooksFile.replace

    def meanwhile(self: BooksFile, *arguments: object, **options: object) -> object:
        with shop.books.open("a", encoding="utf-8") as books:
            books.write("; mine\n")
        return real(self, *arguments, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(BooksFile, "replace", meanwhile)
    before = shop.books.read_bytes()
    result = sort(shop, "1001", "CEDARHOUR", "3")
    assert f"{shop.books}: changed while the sort ran; nothing is written, sort again" in result.stderr
    assert shop.books.read_bytes() == before + b"; mine\n"
    assert shop.profile.read_bytes() == profile


def test_a_profile_changed_meanwhile(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.outcome(shop.file(MYSTERY))
    real = Answers.write

    def meanwhile(self: Answers) -> None:
        shop.profile.write_bytes(shop.profile.read_bytes() + b"# mine\n")
        real(self)

    monkeypatch.setattr(Answers, "write", meanwhile)
    result = sort(shop, "1001", "CEDARHOUR", "3")
    assert f"{shop.profile}: changed meanwhile; the answer is not kept in it" in result.stderr
    assert shop.profile.read_bytes().endswith(b"# mine\n")
    assert listed(shop) == []


def leftovers(folder: Path) -> list[str]:
    return [path.name for path in folder.rglob(".*")]


def test_no_copy_is_left_behind(shop: Shop) -> None:
    shop.outcome(shop.file(MYSTERY))
    sorted_(shop, "1001", "CEDARHOUR", "3")
    assert leftovers(shop.folder) == []
