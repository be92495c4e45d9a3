"""What `millilot profile` says where a file leaves a doubt, contradicts itself, or is no table at all."""

from __future__ import annotations

import json
import re
import tomllib
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from millilot.reports.command import main

from .proposals import CHANNEL, Seller

if TYPE_CHECKING:
    from pathlib import Path

HEAD = "Order,Date,Item,Price,Fee,Net\n"
ROWS = "1,2026-03-04,Cedar Hour 5 mL,12.00,1.20,10.80\n2,2026-03-05,Quiet Reed 5 mL,15.00,1.50,13.50\n"


@pytest.fixture
def seller(tmp_path: Path) -> Seller:
    return Seller(tmp_path)


def of(found: dict[str, Any], key: str) -> tuple[Any, str, str]:
    """Return value, certainty and evidence of a key."""
    (finding,) = [finding for finding in found["findings"] if finding["key"] == key]
    return finding["value"], finding["certainty"], finding["because"]


def test_days_that_fit_both_orders_are_left_to_the_owner(seller: Seller) -> None:
    file = seller.file(
        HEAD + "1,03/04/2026,Cedar Hour 5 mL,12.00,1.20,10.80\n2,05/06/2026,Quiet Reed 5 mL,15.00,1.50,13.50\n"
    )
    found = seller.findings(file)
    value, certainty, because = of(found, "dates.format")
    assert (value, certainty) == (None, "not found")
    assert '"%d/%m/%Y" or "%m/%d/%Y": all days fit both' in because
    assert not found["complete"]
    assert found["trial"] is None
    # The file is written, with the gap in its place; once it is filled, the import works.
    text = seller.proposed.read_text(encoding="utf-8")
    assert re.search(r"\[dates\]\n# format = \.\.\.  <- not found: ", text)
    assert seller.propose(file).exit_code == 1
    seller.proposed.write_text(text.replace("[dates]\n", '[dates]\nformat = "%d/%m/%Y"\n'), encoding="utf-8")
    assert seller.run_import(file)["new"] == 2
    assert seller.sums() == {"sales": "27", "fees": "2.7", "balance": "24.3", "cedar": "5", "reed": "5"}


def test_days_in_both_orders_in_one_column(seller: Seller) -> None:
    file = seller.file(
        HEAD + "1,25/03/2026,Cedar Hour 5 mL,12.00,1.20,10.80\n2,03/26/2026,Quiet Reed 5 mL,15.00,1.50,13.50\n",
    )
    value, certainty, because = of(seller.findings(file), "dates.format")
    assert (value, certainty) == (None, "contradicted")
    assert '"25/03/2026" in Date is day first' in because
    assert '"03/26/2026" in Date is month first' in because


def test_columns_with_different_orders_of_day_and_month(seller: Seller) -> None:
    file = seller.file(
        "Order,Date,Shipped on,Item,Price\n1,25/03/2026,03/26/2026,Cedar Hour 5 mL,12.00\n"
        "2,26/03/2026,03/27/2026,Quiet Reed 5 mL,15.00\n",
    )
    found = seller.findings(file)
    _, certainty, because = of(found, "dates.format")
    assert certainty == "contradicted"
    assert "day first" in because
    assert not found["complete"]


def test_evidence_on_days_that_contradicts_itself(seller: Seller) -> None:
    # Only with the month first are the rows in order; only with the day first is the file about April.
    rows = "".join(f"{day},{day:02}/04/2026,Cedar Hour 5 mL,12.00,1.20,10.80\n" for day in (1, 2, 3, 5, 6))
    rows += "7,04/04/2026,Cedar Hour 5 mL,12.00,1.20,10.80\n"
    found = seller.findings(seller.file(HEAD + rows, "lantern 2026-04.csv"))
    value, certainty, because = of(found, "dates.format")
    assert (value, certainty) == ("%d/%m/%Y", "guessed")
    assert because == "the file is about 2026-04"


def test_decimals_written_both_ways(seller: Seller) -> None:
    file = seller.file(
        'Order,Date,Item,Price\n1,2026-03-04,Cedar Hour 5 mL,"12,00"\n2,2026-03-05,Quiet Reed 5 mL,15.00\n',
    )
    found = seller.findings(file)
    _, certainty, because = of(found, "numbers.decimal")
    assert certainty == "contradicted"
    assert because == 'decimals are written both ways: "12,00" (1 times), "15.00" (1)'
    assert not found["complete"]


def test_a_net_amount_that_nothing_makes(seller: Seller) -> None:
    file = seller.file(
        HEAD + "1,2026-03-04,Cedar Hour 5 mL,12.00,1.20,10.31\n2,2026-03-05,Quiet Reed 5 mL,15.00,1.50,12.77\n"
        "3,2026-03-06,Quiet Reed 5 mL,15.00,1.50,13.02\n",
    )
    result = seller.propose(file)
    assert result.exit_code == 1
    assert "The file contradicts itself" in result.output
    assert "no sum of the other columns makes it" in result.output.replace("\n     ", "")
    # The importer checks the net, so nothing wrong is booked.
    assert seller.run_import(file)["refused"] == 3
    assert seller.sums() == {}


def test_a_sum_that_fails_in_a_file_without_orders_names_the_row(seller: Seller) -> None:
    file = seller.file(
        "Date,Item,Price,Fee,Net\n2026-03-04,Cedar Hour 5 mL,12.00,1.20,10.80\n"
        "2026-03-05,Quiet Reed 5 mL,15.00,1.50,13.50\n2026-03-06,Cedar Hour 5 mL,12.00,1.20,10.80\n"
        "2026-03-07,Cedar Hour 5 mL,13.00,1.30,11.60\n",
    )
    result = seller.propose(file)
    assert '"Net" is not the sum of the other columns in 1 of 4 orders: row 5.' in " ".join(result.output.split())
    assert all(character.isprintable() or character == "\n" for character in result.output)


def test_a_sum_that_fails_in_one_row_names_the_order(seller: Seller) -> None:
    rows = "".join(
        f"{order},2026-03-0{order},Cedar Hour 5 mL,12.00,1.{order}0,10.{100 - 10 * order}\n"
        for order in range(1, 8)
    )
    file = seller.file(HEAD + rows.replace("10.50", "10.41"))
    found = seller.findings(file)
    assert (
        '"Net" is not the sum of the other columns in 1 of 7 orders: 5. These will be refused.' in found["notes"]
    )
    assert found["trial"]["counts"]["refused"] == 1
    assert found["trial"]["refusals"] == [
        "row 6: column 'Net': expected 10.50 from the other columns, found 10.41"
    ]


def test_amounts_that_add_up_in_two_ways(seller: Seller) -> None:
    file = seller.file(
        "Order,Date,Item,Price,Selling fee,Payment fee,Net\n1,2026-03-04,Cedar Hour 5 mL,12.00,1.20,1.20,10.80\n"
        "2,2026-03-05,Quiet Reed 5 mL,15.00,1.50,1.50,13.50\n3,2026-03-06,Quiet Reed 5 mL,15.00,1.50,1.50,13.50\n",
    )
    found = seller.findings(file)
    assert of(found, "columns.net")[1] == "guessed"
    assert any(note.startswith("The amounts add up in another way as well") for note in found["notes"])


def test_words_nobody_knows(seller: Seller) -> None:
    file = seller.file(
        "Order,Date,Item,Price,Status\n1,2026-03-04,Cedar Hour 5 mL,12.00,Shipped\n"
        "2,2026-03-05,Quiet Reed 5 mL,15.00,Zorbed\n",
    )
    found = seller.findings(file)
    [gap] = found["gaps"]
    assert gap == (
        'The status "Zorbed" is not known; its 1 row(s) are refused until you write under [status] what it means: '
        'book = ["Shipped", "Zorbed"] to count it as sold, or cancelled = ["Zorbed"] to count it as called off.'
    )
    assert not found["complete"]
    assert seller.run_import(file)["refused"] == 1
    ledger = seller.file(
        "Date,Type,Order,Item,Amount\n2026-03-04,Sale,1,Cedar Hour 5 mL,12.00\n2026-03-04,Fee,1,,-1.20\n"
        "2026-03-05,Zorb,1,,-3.00\n",
        "ledger.csv",
    )
    found = seller.findings(ledger)
    assert found["gaps"] == [
        'What "Zorb" means could not be found; its 1 row(s) are refused until [[events]] says so.',
    ]
    assert seller.propose(ledger).exit_code == 1


def test_a_status_that_the_row_contradicts(seller: Seller) -> None:
    file = seller.file(
        "Order,Date,Item,Price,Payout,Status\n1,2026-03-04,Cedar Hour 5 mL,12.00,P-1,Shipped\n"
        "2,2026-03-05,Quiet Reed 5 mL,15.00,P-1,Unpaid\n",
    )
    found = seller.findings(file)
    assert found["gaps"] == [
        'The status "Unpaid" says that no money was taken, but rows of it have something under "Payout".',
    ]


def test_two_currencies(seller: Seller) -> None:
    file = seller.file(
        "Order,Date,Item,Price\n1,2026-03-04,Cedar Hour 5 mL,€12.00\n2,2026-03-05,Quiet Reed 5 mL,£15.00\n"
    )
    assert of(seller.findings(file), "currency")[1:] == ("contradicted", "the file names EUR, GBP")


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("Item,Date,Price\nCedar Hour 5 mL,2026-03-04,12.00\nCedar Hour 5 mL,2026-03-04,12.00\n", "columns.order"),
        ("Order,Item,Price\n1,Cedar Hour 5 mL,12.00\n2,Cedar Hour 5 mL,12.00\n", "columns.ordered"),
        ("Order,Date,Item\n1,2026-03-04,Cedar Hour 5 mL\n2,2026-03-05,Quiet Reed 5 mL\n", "columns.price"),
    ],
)
def test_what_an_import_cannot_do_without(seller: Seller, text: str, key: str) -> None:
    file = seller.file(text)
    found = seller.findings(file)
    assert of(found, key)[:2] == (None, "not found")
    assert f"# {key.partition('.')[2]} = ...  <- not found: " in found["text"]
    assert seller.propose(file).exit_code == 1


def test_a_proposal_by_which_nothing_is_booked_is_not_complete(seller: Seller) -> None:
    # A ledger without a column of types looks like orders, but cannot be read as such.
    file = seller.file(
        "Date,Description,Order,Amount,Net\n2026-03-01,Sale of Cedar Hour 5ml,1001,18.50,18.50\n"
        "2026-03-01,Handling of Cedar Hour 5ml,1001,-1.20,-1.20\n",
    )
    result = seller.propose(file)
    assert result.exit_code == 1
    assert "Every row that counts is refused" in result.output


def run(*arguments: object) -> Any:
    return CliRunner().invoke(main, ["profile", *map(str, arguments)], catch_exceptions=False)


def test_without_books_and_without_an_account(seller: Seller) -> None:
    file = seller.file(HEAD + ROWS, "lantern-orders-2026-03.csv")
    found = json.loads(run(file, "--format", "json").stdout)
    assert of(found, "channel") == ("Lantern", "guessed", "the name of the file")
    assert of(found, "currency")[1] == "not found"
    euros = seller.file((HEAD + ROWS).replace("Price", "Price (EUR)"), "2026-03.csv")
    found = json.loads(run(euros, "--format", "json").stdout)
    assert of(found, "currency") == ("EUR", "sure", "the headings name it")
    assert of(found, "channel")[:2] == ("Channel", "guessed")
    assert found["complete"]


def test_nothing_is_replaced_unasked(seller: Seller) -> None:
    file = seller.file(HEAD + ROWS)
    output = seller.folder / "mine.toml"
    output.write_text("mine", encoding="utf-8")
    result = run(file, "-b", seller.books, "-o", output)
    assert result.exit_code == 1
    assert f"{output} is there already; nothing is written" in result.output
    assert output.read_text(encoding="utf-8") == "mine"
    assert run(file, "-b", seller.books, "-o", output, "--force").exit_code == 0
    assert tomllib.loads(output.read_text(encoding="utf-8"))["channel"] == "Lantern"


def test_nothing_is_booked_and_titles_are_listed(seller: Seller) -> None:
    file = seller.file(HEAD + ROWS + "3,2026-03-06,Mystery box,20.00,2.00,18.00\n")
    before = seller.books.read_bytes()
    result = seller.propose(file)
    assert seller.books.read_bytes() == before
    assert "Tried on the file: 2 new, 0 known, 0 skipped, 1 unsorted, 0 refused." in result.output
    assert "Of 3 titles, 2 can be sorted by themselves.\n  not sorted: Mystery box\n" in result.output
    assert result.output.count("2026-03-0") >= 3
    assert "Income:Sales                   -5 CEDARHOUR @@ 12.00 USD" in result.output


def test_headings_are_quoted_for_toml(seller: Seller) -> None:
    # Quotes, a backslash, marks of a spreadsheet's formula, and a heading of a terminal's control characters.
    file = seller.file(
        'Order "no\\",Date,Item,=Price,Fee \x1b[31m,Net\n' + ROWS,
    )
    result = seller.propose(file)
    assert "\x1b" not in result.output
    assert seller.profile()["columns.order"] == 'Order "no\\"'
    assert seller.run_import(file)["new"] == 2


def test_an_account_that_is_none(seller: Seller) -> None:
    result = run(seller.file(HEAD + ROWS), "--account", "lantern")
    assert result.exit_code == 2
    assert 'expected one like "Assets:Marketplace:Lantern", found "lantern"' in result.output


WIDE = ",".join(f"c{column}" for column in range(10_000)) + "\n" + ",".join(["1"] * 10_000) + "\n"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "found an empty file"),
        (b"\n\n  \n", "found an empty file"),
        (b"Order,Date,Item,Price\n", "expected rows below the headings"),
        (b"just one column\nof text\n", "expected a row of headings"),
        (b"Order,Date\n1,\x00\n", "found a NUL"),
        (bytes(range(256)) * 40, "NUL"),
        (b"\x89PNG\r\n\x1a\n\x01\x02\x03\x04\x05\x06\x07\x08" * 200, "found a picture"),
        (b"\x01\x02\xff\x8e" * 400, "found control characters"),
        (
            b'Order,Date,Item,Price\n1,2026-03-04,"Cedar,12.00\n2,2026-03-05,Quiet,15.00\n' * 3,
            "row 2: cannot be read as cells",
        ),
        (WIDE.encode(), "expected at most 500 columns, found 10000"),
        (b"a," * 2_500_000, "expected a line of at most 1000000 characters, found a longer one"),
        (b"a" * 5_000_000, "expected a line of at most 1000000 characters, found a longer one"),
        (b"\xff\xfeO\x00r", "row 1: expected text in utf-16"),
    ],
)
def test_what_is_no_table(seller: Seller, content: bytes, message: str) -> None:
    file = seller.file(content)
    result = seller.propose(file)
    assert result.exit_code == 1
    assert result.output.startswith("Error: ")
    assert message in result.output
    assert not seller.proposed.exists()


def test_numbers_that_are_none(seller: Seller) -> None:
    rows = "3,2026-03-06,Quiet Reed 5 mL,1e400,0.00,1e400\n4,2026-03-07,Quiet Reed 5 mL,NaN,0.00,NaN\n"
    more = "".join(f"{order},2026-03-08,Cedar Hour 5 mL,12.00,1.20,10.80\n" for order in range(5, 15))
    file = seller.file(HEAD + ROWS + rows + more)
    found = seller.findings(file)
    assert '"Price" in row 4 and 1 more is no number: "1e400".' in found["notes"]
    assert seller.run_import(file)["refused"] == 2
    assert seller.sums()["sales"] == "147"


CELLS = st.sampled_from(
    [
        "",
        "1",
        "1001",
        "12.00",
        "-1,50",
        "1.250,00",
        "2026-03-04",
        "31/12/2026",
        "03/04/2026",
        "Sale",
        "Refund",
        "Paid",
        "Cedar Hour 5 mL",
        "Total",
        "€",
        "EUR",
        "NaN",
        "1e9",
        "((",
        "\N{MINUS SIGN}3",
        "=1+1",
        "'",
        "a\tb",
    ],
)
NAMES = st.sampled_from(
    [
        "Order",
        "Date",
        "Type",
        "Item",
        "Price",
        "Fee",
        "Net",
        "Amount",
        "Balance",
        "Credit",
        "Debit",
        "Status",
        "Payout",
        "Quantity",
        "Tax",
        "Refund",
        "",
        "Total",
        "Currency",
        "Description",
        "Paid on",
        "x",
    ],
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    table=st.lists(NAMES, min_size=2, max_size=9).flatmap(
        lambda names: st.tuples(
            st.just(names), st.lists(st.lists(CELLS, min_size=len(names), max_size=len(names)), max_size=8)
        ),
    ),
    delimiter=st.sampled_from([",", ";", "\t"]),
)
def test_any_table_ends_in_words(seller: Seller, table: tuple[list[str], list[list[str]]], delimiter: str) -> None:
    names, rows = table
    lines = [delimiter.join(f'"{cell}"' for cell in row) for row in [names, *rows]]
    result = seller.propose(seller.file("\n".join(lines)))
    assert result.exit_code in {0, 1}
    assert "Traceback" not in result.output
    if not result.output.startswith("Error"):
        tomllib.loads(seller.proposed.read_text(encoding="utf-8"))
        assert f'account = "{CHANNEL}"' in seller.proposed.read_text(encoding="utf-8")


GERMAN = "Bestellnummer;Datum;Artikel;Preis\n1;2026-03-04;Zerstäuber Größe Öl Cedar Hour 5 ml;12,00\n"
DEARER = "Order;Date;Item;Price\n1;2026-03-04;Cedar Hour 5 ml;12,00 €\n2;2026-03-05;Cedar Hour 5 ml;13,00 €\n"
POLISH = "Order;Date;Item;Price\n1;2026-03-04;Próbka źródło żółć 5 ml;12,00\n"


@pytest.mark.parametrize(
    ("text", "page", "proposed"),
    [
        (GERMAN, "cp1252", "cp1252"),
        # Where both write the same, the usual one is proposed.
        (GERMAN, "iso8859_15", "cp1252"),
        (GERMAN, "cp850", "cp850"),
        (GERMAN, "mac_roman", "mac_roman"),
        (DEARER, "cp1252", "cp1252"),
        (DEARER, "iso8859_15", "iso8859_15"),
        (DEARER, "mac_roman", "mac_roman"),
        (POLISH, "cp1250", "cp1250"),
    ],
)
def test_the_code_page_is_the_one_that_makes_words(seller: Seller, text: str, page: str, proposed: str) -> None:
    found = seller.findings(seller.file(text.encode(page)))
    assert of(found, "file.encoding")[:2] == (proposed, "guessed")


def _decants(word: str, *names: str) -> str:
    rows = [f"{number},2026-03-04,{name} {word} 5 mL,12.00" for number, name in enumerate(names)]
    return "Order,Date,Item,Price\n" + "\n".join(rows) + "\n"


THIRD = """
2026-01-01 commodity SALTFERN
  name: "Salt Fern"
2026-01-01 open Assets:Stock:SaltFern SALTFERN "NONE"
2026-01-10 * "A third"
  Assets:Stock:SaltFern  1000 SALTFERN {{1000.00 USD, "SF-1"}}
  Assets:Bank:Checking  -1000.00 USD
"""


@pytest.mark.parametrize(
    ("word", "names", "sold"),
    [
        ("brandnew", ("Cedar Hour", "Quiet Reed", "Salt Fern"), {"sales": "36", "cedar": "5", "reed": "5"}),
        # Beside two fragrances it may be part of two names.
        ("brandnew", ("Cedar Hour", "Quiet Reed", "Quiet Reed"), {"unsorted": "36"}),
        # Such words are another fragrance, or no decant, beside whatever they stand.
        ("Intense", ("Cedar Hour", "Quiet Reed", "Salt Fern"), {"unsorted": "36"}),
        ("Body Lotion", ("Cedar Hour", "Quiet Reed", "Salt Fern"), {"unsorted": "36"}),
    ],
)
def test_words_beside_several_fragrances(
    seller: Seller, word: str, names: tuple[str, ...], sold: dict[str, str],
) -> None:
    seller.books.write_text(seller.books.read_text(encoding="utf-8") + THIRD, encoding="utf-8")
    file = seller.file(_decants(word, *names))
    found = seller.findings(file)
    if "sales" in sold:
        assert of(found, "titles.ignore")[:2] == ([word], "guessed")
    seller.run_import(file)
    assert seller.sums() == {**sold, "balance": "36"}


def test_a_balance_that_does_not_follow_the_amounts(seller: Seller) -> None:
    # The balance follows what is left after a fee that has no column.
    file = seller.file(
        "Date,Type,Order,Details,Amount,Balance\n"
        "2026-03-01,Sale,1,Cedar Hour 5 ml,12.00,10.80\n"
        "2026-03-02,Sale,2,Quiet Reed 5 ml,15.00,24.30\n"
        "2026-03-03,Sale,3,Quiet Reed 5 ml,15.00,37.80\n"
        "2026-03-05,Refund,3,,-5.00,33.30\n"
    )
    result = seller.propose(file)
    assert result.exit_code == 1
    assert "The file contradicts itself" in result.output
    assert '"Balance" follows the amounts in 0 of 3 rows only' in " ".join(result.output.split())


@pytest.mark.parametrize(
    ("account", "message"),
    [
        (f"{CHANNEL}:Transit", f"expected the channel's own account, such as {CHANNEL}"),
        (f"{CHANNEL}:Reserve", f"expected the channel's own account, such as {CHANNEL}"),
        ("Income:Sales", "expected an account of Assets, found Income:Sales"),
    ],
)
def test_accounts_that_are_no_channel(seller: Seller, account: str, message: str) -> None:
    result = seller.propose(seller.file(HEAD + ROWS), account=account)
    assert result.exit_code == 2
    assert message in " ".join(result.output.split())
    assert not seller.proposed.exists()


def test_an_account_the_books_have_not(seller: Seller) -> None:
    file = seller.file(HEAD + ROWS)
    found = seller.findings(file, account=f"{CHANNEL}:Second")
    assert found["complete"]
    assert of(found, "channel")[0] == "Second"
    assert f"The books have no account {CHANNEL}:Second: open it before you import." in found["notes"]


def test_an_account_for_another_currency(seller: Seller) -> None:
    file = seller.file(HEAD.replace("Net", "Net (EUR)") + ROWS)
    assert f"The books open {CHANNEL} for USD, but the file is in EUR." in seller.findings(file)["notes"]


@pytest.mark.parametrize(
    ("net", "rows"),
    [
        # Two rows are of one payout.
        ("Net payout", "PO-17,50.00,-6.00,44.00 PO-17,30.00,-3.00,27.00 PO-19,12.00,-1.20,10.80"),
        # No heading says what was paid out, and 12.00 - 1.20 are not 10.70.
        (
            "Mystery",
            ("PO-17,50.00,-6.00,44.00 PO-18,30.00,-3.00,27.00 PO-19,40.00,-4.00,36.00 "
             "PO-20,20.00,-2.50,17.50 PO-21,11.00,-1.00,10.00 PO-22,13.00,-1.10,11.90 PO-23,12.00,-1.20,10.70"),
        ),
    ],
)
def test_rows_that_are_no_payout_each(seller: Seller, net: str, rows: str) -> None:
    days = "".join(f"2026-03-{day},{row}\n" for day, row in enumerate(rows.split(), 10))
    found = seller.findings(seller.file(f"Payout date,Payout ID,Gross sales,Fees,{net}\n{days}"))
    assert of(found, "file.row")[0] == "order"


@pytest.mark.parametrize("heading", ["Paid on", "Payment date", "Paid", "Date paid"])
def test_a_day_of_payment_is_the_buyers(seller: Seller, heading: str) -> None:
    file = seller.file(
        f"Order,{heading},Order date,Item,Price,Fee,Net\n"
        "1,2026-03-15,2026-03-14,Cedar Hour 5 mL,12.00,1.20,10.80\n"
        "2,2026-03-16,2026-03-16,Quiet Reed 5 mL,15.00,1.50,13.50\n"
        "3,2026-03-18,2026-03-17,Quiet Reed 5 mL,15.00,1.50,13.50\n"
    )
    found = seller.findings(file)
    assert of(found, "columns.ordered")[:2] == ("Order date", "sure")
    assert all(finding["key"] != "columns.paid-out" for finding in found["findings"])
    assert f'"{heading}" is taken for the day the buyer paid; it is left out.' in found["notes"]


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        # The orders of P-1 are of two days, and all have the day of the payout.
        (("2026-03-20", "2026-03-20", "2026-03-27"), ("Paid on", "sure")),
        # Each buyer paid on a day of their own, whatever the payout.
        (("2026-03-14", "2026-03-16", "2026-03-17"), None),
        (("2026-03-20", "", "2026-03-27"), None),
    ],
)
def test_a_day_of_payment_beside_the_number_of_a_payout(
    seller: Seller, days: tuple[str, str, str], expected: tuple[str, str] | None,
) -> None:
    file = seller.file(
        "Order,Order date,Paid on,Payout,Item,Price,Fee,Net\n"
        f"1,2026-03-14,{days[0]},P-1,Cedar Hour 5 mL,12.00,1.20,10.80\n"
        f"2,2026-03-16,{days[1]},P-1,Quiet Reed 5 mL,15.00,1.50,13.50\n"
        f"3,2026-03-17,{days[2]},P-2,Quiet Reed 5 mL,15.00,1.50,13.50\n"
    )
    found = seller.findings(file)
    keys = {finding["key"] for finding in found["findings"]}
    assert ("columns.paid-out" in keys) is (expected is not None)
    if expected is not None:
        assert of(found, "columns.paid-out")[:2] == expected


def test_a_day_of_payment_beside_payouts_of_one_order_each_is_a_guess(seller: Seller) -> None:
    file = seller.file(
        "Order,Order date,Paid on,Payout,Item,Price,Fee,Net\n"
        "1,2026-03-14,2026-03-15,P-1,Cedar Hour 5 mL,12.00,1.20,10.80\n"
        "2,2026-03-16,2026-03-17,P-2,Quiet Reed 5 mL,15.00,1.50,13.50\n"
    )
    assert of(seller.findings(file), "columns.paid-out")[:2] == ("Paid on", "guessed")


def test_a_day_of_payout_by_its_heading_goes_before_a_day_of_payment(seller: Seller) -> None:
    file = seller.file(
        "Order,Order date,Paid on,Transferred on,Item,Price,Fee,Net\n"
        "1,2026-03-14,2026-03-15,2026-03-20,Cedar Hour 5 mL,12.00,1.20,10.80\n"
        "2,2026-03-16,2026-03-17,2026-03-20,Quiet Reed 5 mL,15.00,1.50,13.50\n"
    )
    found = seller.findings(file)
    assert of(found, "columns.paid-out")[:2] == ("Transferred on", "sure")
    assert '"Paid on" is taken for the day the buyer paid; it is left out.' in found["notes"]


def test_a_day_of_payment_is_the_day_of_the_order_where_there_is_no_other(seller: Seller) -> None:
    file = seller.file(
        "Order,Paid on,Item,Price,Fee,Net\n"
        "1,2026-03-14,Cedar Hour 5 mL,12.00,1.20,10.80\n"
        "2,2026-03-16,Quiet Reed 5 mL,15.00,1.50,13.50\n"
    )
    assert of(seller.findings(file), "columns.ordered")[:2] == ("Paid on", "sure")


def test_a_second_column_that_raises_the_net_amount_is_guessed_as_paid_besides(seller: Seller) -> None:
    file = seller.file(
        "Order,Date,Item,Price,Shipping,Zorbling,Fee,Net\n"
        "1,2026-03-04,Cedar Hour 5 mL,12.00,4.00,0.00,1.20,14.80\n"
        "2,2026-03-05,Quiet Reed 5 mL,15.00,0.00,2.00,1.50,15.50\n"
        "3,2026-03-06,Quiet Reed 5 mL,15.00,3.00,0.00,1.50,16.50\n"
        "4,2026-03-07,Cedar Hour 5 mL,12.00,4.00,2.00,1.20,16.80\n"
    )
    found = seller.findings(file)
    assert of(found, "columns.postage")[0] == "Shipping"
    extras, certainty, because = of(found, "columns.extras")
    assert (extras, certainty) == (["Zorbling"], "guessed")
    assert because == "added in the sum, and nothing else is known of it"
    outcome = seller.run_import(file)
    assert (outcome["new"], outcome["refused"]) == (4, 0)
    # 12 + 15 + 15 + 12, and 2 + 2 besides.
    assert seller.sums() == {
        "sales": "58", "postage": "11", "fees": "5.4", "balance": "63.6", "cedar": "10", "reed": "10",
    }


def test_a_charge_that_lowers_the_net_amount_is_none_of_the_buyer(seller: Seller) -> None:
    file = seller.file(
        "Order,Date,Item,Price,Shipping,Handling,Fee,Net\n"
        "1,2026-03-04,Cedar Hour 5 mL,12.00,4.00,0.30,1.20,14.50\n"
        "2,2026-03-05,Quiet Reed 5 mL,15.00,0.00,0.35,1.50,13.15\n"
        "3,2026-03-06,Quiet Reed 5 mL,15.00,3.00,0.40,1.50,16.10\n"
    )
    found = seller.findings(file)
    assert all(finding["key"] != "columns.extras" for finding in found["findings"])
    seller.run_import(file)
    # 1.20 + 1.50 + 1.50 and 0.30 + 0.35 + 0.40.
    assert seller.sums() == {
        "sales": "42", "postage": "7", "fees": "5.25", "balance": "43.75", "cedar": "5", "reed": "10",
    }
