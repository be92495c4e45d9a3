"""What is for sale, in which sizes, at which price."""

from __future__ import annotations

import csv
import datetime
import io
import json
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from markdown_it import MarkdownIt

from millilot.reports.command import main
from millilot.reports.price_list import last_prices, price_list
from millilot.reports.tables import WIDTH, display_width

from .books import HEAD, SHELF, read


def sale(day: str, line: str, *, link: str = "", meta: str = "") -> str:
    return f"""
{day} * "Sale" {link}
  Income:Sales  {line}
{meta}  Assets:Bank
"""


SALES = (
    sale("2026-02-01", "-5 CEDARHOUR @@ 12.00 USD")
    + sale("2026-02-03", "-10 CEDARHOUR @@ 26.00 USD", meta="    vials: 2\n")
    + sale("2026-02-02", "-2 CEDARHOUR @@ 6.00 USD")
)


def offers(text: str, *sizes: str, to: str | None = None) -> dict[str, list[tuple[str, str | None, int]]]:
    day = None if to is None else datetime.date.fromisoformat(to)
    books = read(SHELF + text)
    listed = price_list(books, last_prices(books), [Decimal(size) for size in sizes], day)
    return {
        each.commodity.code: [
            (str(offer.size_ml), None if offer.price is None else str(offer.price), offer.vials)
            for offer in each.offers
        ]
        for each in listed
    }


def test_the_sizes_and_the_last_prices_are_those_of_the_books() -> None:
    # 100 - 5 - 10 - 2 are 83: 41 vials of 2, 16 of 5. Two vials at 26.00 are 13.00 each.
    assert offers(SALES) == {"CEDARHOUR": [("2", "6.00", 41), ("5", "13.00", 16)]}


def test_what_was_not_sold_is_offered_in_the_sizes_that_have_a_kit() -> None:
    kits = '\n2026-01-01 custom "kit" "5 mL" 1 VIAL5\n'
    supplies = '\n2026-01-02 * "v"\n  Assets:Stock:Supplies  9 VIAL5 {{9.00 USD}}\n  Assets:Bank\n'
    assert offers(kits + supplies)["QUIETREED"] == [("5", None, 10)]


def test_a_kit_of_a_later_day_is_not_offered_yet() -> None:
    kits = '\n2026-03-01 custom "kit" "5 mL" 1 VIAL5\n'
    assert offers(kits, to="2026-02-28") == {}
    assert offers(kits, to="2026-03-01")["QUIETREED"] == [("5", None, 10)]


def test_what_was_sold_to_the_last_stays_on_the_list() -> None:
    text = sale("2026-02-01", "-5 CEDARHOUR @@ 12.00 USD")
    text += sale("2026-02-02", "-95 CEDARHOUR @@ 150.00 USD", meta="    vials: 0\n")
    assert offers(text) == {"CEDARHOUR": [("5", "12.00", 0)]}


def test_sizes_that_are_asked_for() -> None:
    assert offers(SALES, "5", "7.5", "5.0")["CEDARHOUR"] == [("5", "13.00", 16), ("7.5", None, 11)]


def test_a_discount_does_not_lower_the_list() -> None:
    text = sale("2026-02-01", "-5 CEDARHOUR @@ 10.00 USD", meta='    discount: "2.00 USD"\n')
    assert offers(text)["CEDARHOUR"] == [("5", "12.00", 19)]


def test_a_price_that_does_not_divide_is_rounded_once() -> None:
    text = sale("2026-02-01", "-15 CEDARHOUR @@ 25.00 USD", meta='    vials: "3"\n')
    assert offers(text)["CEDARHOUR"] == [("5", "8.33", 17)]


def test_what_is_sealed_swapped_or_brought_back_says_nothing_of_the_list() -> None:
    text = sale("2026-02-01", "-5 CEDARHOUR @@ 12.00 USD", link="^order-1")
    text += sale("2026-02-02", "-50 QUIETREED @@ 90.00 USD", meta="    vials: 0\n")
    text += """
2026-02-03 * "Swap"
  Income:Swaps  -3 CEDARHOUR @@ 9.00 USD
  Assets:Bank  9.00 USD
2026-02-04 * "Back" ^order-1
  Income:Refunds  5 CEDARHOUR @@ 12.00 USD
  Assets:Bank  -12.00 USD
"""
    # 100 less the 3 of the swap; QR-1 is empty, and was never sold by the vial.
    assert offers(text) == {"CEDARHOUR": [("5", "12.00", 19)]}


def test_what_is_kept_claimed_or_ordered_is_not_free() -> None:
    text = """
2026-01-20 * "bottle"
  Assets:Stock:CedarHour  20 CEDARHOUR {{20.00 USD, "CH-2"}}
    keep: 8.00
  Assets:Bank
2026-01-21 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
  split: "split-1"
"""
    text += sale("2026-02-01", "-40 CEDARHOUR @@ 60.00 USD", link="^order-1 #to-pour")
    # CH-1: 100 - 40 ordered - 30 claimed = 30 free. CH-2: 20 - 8 kept = 12. 42 in all.
    assert offers(text, "2")["CEDARHOUR"] == [("2", None, 21)]


def test_shares_of_a_split_say_nothing_of_the_list() -> None:
    text = """
2026-01-21 custom "claim" "CH-1" 30 CEDARHOUR 45.00 USD
  split: "split-1"
2026-01-22 * "Paid" ^split-1
  Assets:Bank  45.00 USD
  Liabilities:Claims
2026-01-23 * "Poured" ^split-1
  Income:Sales  -30 CEDARHOUR @@ 45.00 USD
  Liabilities:Claims  45.00 USD
"""
    assert offers(text) == {}


@pytest.mark.parametrize(("left", "vials"), [("5.09", 0), ("5.1", 1), ("10.19", 1), ("10.2", 2)])
def test_a_vial_takes_its_loss_too(left: str, vials: int) -> None:
    text = f"""
2026-01-01 custom "pour-loss" 0.1
2026-01-07 * "Kept"
  Equity:PersonalUse  {100 - Decimal(left)} CEDARHOUR
"""
    assert offers(text, "5")["CEDARHOUR"] == [("5", None, vials)]


def test_an_earlier_day() -> None:
    books = read(SHELF + '\n2026-02-01 custom "pour-loss" 5\n' + SALES)
    [cedar, _] = price_list(books, last_prices(books), [Decimal(5)], datetime.date(2026, 1, 31))
    # The loss of that day is none; what the books hold is for the caller to say.
    assert cedar.offers[0].vials == cedar.free // 5


def test_prices_may_come_from_elsewhere() -> None:
    books = read(SHELF)
    listed = price_list(books, lambda code, ml: ml * 2 if code == "CEDARHOUR" else None, [Decimal(5)])
    assert [offer.price for each in listed for offer in each.offers] == [10, None]


# The command.


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


EVIL = "=Cedar | `Hour` <script>x</script> [a](http://b) *c* www.d.e \x1b[2J\u202e\nnext"

FULL = HEAD.replace('name: "Cedar Hour"', f'name: "{EVIL}"\n  strength: "<b>extrait</b>"\n  notes: "fig, *ink*"')


def run(*arguments: str, books: str = SALES, head: str = HEAD) -> str:
    Path("main.beancount").write_text(head + SHELF + books, encoding="utf-8")
    result: Result = CliRunner().invoke(main, ["list", *arguments], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


SOLD_OUT = sale("2026-03-01", "-80 CEDARHOUR @@ 90.00 USD", meta="    vials: 0\n")


def test_a_text_to_paste() -> None:
    assert run("--format", "text") == "Cedar Hour: 2 mL 6.00 USD, 5 mL 13.00 USD\n"
    # 3 mL are left.
    assert run("--format", "text", "--size", "5ml", "--size", "3", books=SALES + SOLD_OUT) == (
        "Cedar Hour: 3 mL on request, 5 mL sold out\nQuiet Reed: 3 mL on request, 5 mL on request\n"
    )


def test_the_fuller_text() -> None:
    head = HEAD.replace('name: "Cedar Hour"', 'name: "Cedar Hour"\n  strength: "extrait"\n  notes: "fig, ink"')
    assert run("--format", "text", "--notes", head=head) == (
        "Cedar Hour: 2 mL 6.00 USD, 5 mL 13.00 USD\n  extrait; fig, ink\n"
    )


def test_markdown() -> None:
    assert run("--format", "markdown", "--size", "2", "--size", "5", books=SALES + SOLD_OUT) == (
        "| Fragrance | 2 mL, USD | 5 mL, USD |\n"
        "| --- | --: | --: |\n"
        "| Cedar Hour | 6.00 | sold out |\n"
        "| Quiet Reed | on request | on request |\n"
    )


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag: str, attrs: object) -> None:  # noqa: ARG002  # the parser's own signature
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


def test_markdown_shows_hostile_names_as_they_are() -> None:
    tags = Tags()
    tags.feed(MarkdownIt("commonmark").enable("table").render(run("--format", "markdown", "--notes", head=FULL)))
    assert tags.tags == {"table", "thead", "tbody", "tr", "th", "td"}
    assert "=Cedar | `Hour` <script>x</script> [a](http://b) *c* www.d.e" in tags.text
    assert "<b>extrait</b>" in tags.text


@pytest.mark.parametrize("style", ["table", "text", "markdown", "html"])
def test_no_control_gets_through(style: str) -> None:
    text = run("--format", style, "--notes", head=FULL)
    assert all(character.isprintable() or character == "\n" for character in text)


def test_the_page_escapes_names() -> None:
    page = run("--format", "html", "--notes", head=FULL)
    assert "<script" not in page
    assert "<b>" not in page
    assert "fig, *ink*" in page
    assert "size: letter" in page


def test_csv_and_json_say_the_same() -> None:
    def written(style: str) -> str:
        return run("--format", style, "--size", "5", books=SALES + SOLD_OUT, head=FULL)

    found = json.loads(written("json"))
    rows = list(csv.DictReader(io.StringIO(written("csv"), newline="")))
    assert [(row["size_ml"], row["price"] or None, row["vials"], bool(row["sold_out"])) for row in rows] == [
        (each["size_ml"], each["price"], str(each["vials"]), each["sold_out"]) for each in found
    ]
    assert found[0]["price"] == "13.00"
    assert found[0]["sold_out"] is True
    assert rows[0]["fragrance"].startswith("'=Cedar")


@pytest.mark.parametrize("arguments", [(), ("--notes",)])
def test_the_table_fits_the_terminal(arguments: tuple[str, ...]) -> None:
    assert max(map(display_width, run(*arguments, head=FULL).splitlines())) <= WIDTH


#: 160.00 for 100 mL, 0.98 of supplies for 5 mL, and 13 % and 0.40 on item and postage.
COSTED = """
2026-01-01 custom "pour-loss" 0.1
2026-01-01 custom "kit" "5 mL" 2 VIAL5
2026-01-01 custom "kit" "parcel" 0.5 VIAL5
2026-01-01 custom "fee-schedule" Assets:Marketplace:Lantern "item+postage" 0.13 0.40 USD
2026-01-04 * "vials"
  Assets:Stock:Supplies  100 VIAL5 {{39.20 USD, "V-1"}}
  Assets:Bank
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  100 CEDARHOUR {{160.00 USD, "CH-1"}}
  Assets:Bank
"""


def listed_prices(*arguments: str) -> Result:
    Path("main.beancount").write_text(HEAD + COSTED, encoding="utf-8")
    return CliRunner().invoke(main, ["list", "--size", "5", *arguments, "--format", "json"])


def test_prices_that_leave_what_is_wanted() -> None:
    terms = ("--channel", "Lantern", "--charge", "5", "--label", "5")
    # (8.00 + 0.16 + 0.98 + 5.00 + 0.40 + 0.65 - 5.00) / (1 - 0.30 - 0.13) = 17.877
    result = listed_prices("--margin", "0.3", *terms)
    assert [each["price"] for each in json.loads(result.stdout)] == ["17.88"]
    assert "13 % of item + postage and 0.40" in result.stderr
    assert "Lost parcels: none of 0 orders; nothing is set aside." in result.stderr
    assert "No label is given" not in result.stderr
    result = listed_prices("--margin", "0.3", *terms, "--ending", ".50")
    assert [each["price"] for each in json.loads(result.stdout)] == ["18.50"]
    assert "No label is given" in listed_prices("--margin", "0.3", "--channel", "Lantern").stderr
    # (10.19 + 2.00) / 0.87 = 14.011
    result = listed_prices("--profit", "2", *terms)
    assert [each["price"] for each in json.loads(result.stdout)] == ["14.01"]


def test_what_prices_leave_out_is_said_of_sizes_that_are_for_sale() -> None:
    Path("main.beancount").write_text(HEAD + COSTED, encoding="utf-8")
    arguments = ["list", "--size", "7", "--size", "200", "--margin", "0.3"]
    said = " ".join(CliRunner().invoke(main, arguments).stderr.split())
    assert "No kit is set for a vial of 7 mL, so no supplies are counted for it." in said
    assert "200" not in said


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        (("--charge", "5"), "go with --margin or --profit"),
        (("--margin", "0.3", "--profit", "2"), "give one of them"),
        (("--margin", "0.95", "--channel", "Lantern"), "No price can give that"),
        (("--margin", "0.3", "--channel", "Lanten"), "Lanten"),
        (("--profit", "0.001"), "--profit 0.001 is finer than 0.01 USD"),
    ],
)
def test_prices_that_cannot_be_reckoned(arguments: tuple[str, ...], problem: str) -> None:
    result = listed_prices(*arguments)
    assert result.exit_code != 0
    assert problem in " ".join(result.stderr.split())


def test_nothing_for_sale() -> None:
    Path("main.beancount").write_text(HEAD, encoding="utf-8")
    for style in ("text", "markdown", "html"):
        result = CliRunner().invoke(main, ["list", "--format", style], catch_exceptions=False)
        assert "Nothing is for sale." in result.stdout


@pytest.mark.parametrize("size", ["0", "-1", "big", "nan", "inf"])
def test_a_size_that_is_none(size: str) -> None:
    Path("main.beancount").write_text(HEAD, encoding="utf-8")
    result = CliRunner().invoke(main, ["list", f"--size={size}"])
    assert result.exit_code == 2
    assert "is not mL above 0, such as 5" in result.stderr
