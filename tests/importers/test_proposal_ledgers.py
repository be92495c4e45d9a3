"""`millilot profile` on ledgers, activities of payment services and statements whose sums tell what is what."""

# ruff: noqa: E501  # files are as wide as they are

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from millilot.importers.proposal.marks import bare

from .proposals import Seller

if TYPE_CHECKING:
    from pathlib import Path

BANK = "Assets:Bank:Checking"


@pytest.fixture
def seller(tmp_path: Path) -> Seller:
    return Seller(tmp_path)


PARTS = """\
Order,Date,Kind,Title,Qty,Price,Postage,Fee,Net
1001,2026-02-05,Sale,Cedar Hour 5 mL decant,1,12.00,3.95,1.80,14.15
1002,2026-02-15,Sale,Quiet Reed 5 mL decant,1,13.00,3.95,1.90,15.05
1003,2026-02-18,Sale,Quiet Reed 5 mL decant,1,14.00,3.95,2.00,15.95
1002,2026-02-20,Refund,Quiet Reed 5 mL decant,1,-13.00,-3.95,-1.50,-15.45
1004,2026-02-25,Sale,Cedar Hour 5 mL decant,1,12.00,3.95,1.80,14.15
"""


@pytest.mark.parametrize("payout", ["", ",2026-02-27,Payout,,,,,,-20.00\n", ",2026-02-27,Payout,,,0.00,0.00,0.00,-20.00\n"])
def test_parts_make_the_amount_of_a_refund_where_only_the_net_has_a_column(seller: Seller, payout: str) -> None:
    file = seller.file(PARTS + payout)
    assert seller.propose(file).exit_code == 0
    assert (seller.profile()["columns.net"], "columns.amount" in seller.profile()) == ("Net", False)
    assert {fate["fate"] for fate in seller.run_import(file)["fates"]} == {"new"}
    # Sold for 51.00 with 15.80 postage; 16.95 went back, and of the fees of 7.50 a part of 1.50.
    sums = seller.sums()
    assert (sums["sales"], sums["postage"], sums["refunds"], sums["fees"]) == ("51", "15.8", "16.95", "6")
    assert (sums["balance"], sums.get("transit")) == (("23.85", "20") if payout else ("43.85", None))


def test_a_net_amount_that_its_parts_do_not_make_is_refused_in_any_row(seller: Seller) -> None:
    seller.propose(seller.file(PARTS))
    file = seller.file(PARTS.replace("-15.45", "-15.40").replace("15.95\n", "15.59\n"))
    outcome = seller.run_import(file)
    assert [(fate["row"], fate["reason"]) for fate in outcome["fates"] if fate["fate"] == "refused"] == [
        (4, "column 'Net': expected 15.95 from the other columns, found 15.59"),
        (5, "column 'Net': expected -15.45 from the other columns, found -15.40"),
    ]


# A bank account that had 100.00 before the first row; 120.00 came of the channel, and 80.50 more.
WORDED = """\
Date;Text;Amount;Way{balance}
05/03/2026;Tram ticket;3.20;{out}{b1}
15/03/2026;LANTERN PAYOUT 4001;120.00;{in_}{b2}
16/03/2026;Glass vials;40.00;{out}{b3}
29/03/2026;LANTERN PAYOUT 4002;80.50;{in_}{b4}
30/03/2026;Taken back of 4002;80.50;{out}{b5}
"""
BALANCES = ("Balance", "96.80", "216.80", "176.80", "257.30", "176.80")


def worded(in_: str, out: str, balances: tuple[str, ...] = ("",) * 6) -> str:
    cells = [f";{cell}" if cell else "" for cell in balances]
    columns = dict(zip(("balance", "b1", "b2", "b3", "b4", "b5"), cells, strict=True))
    return WORDED.format(in_=in_, out=out, **columns)


@pytest.mark.parametrize("balances", [("",) * 6, BALANCES])
@pytest.mark.parametrize(("in_", "out"), [
    ("Deposit", "Withdrawal"),
    ("Einzahlung", "Abhebung"),
    ("D\u00e9p\u00f4t", "Retrait"),
    ("Dep\u00f3sito", "Retiro"),
    ("Versamento", "Prelievo"),
    ("Storting", "Opname"),
])
def test_words_for_deposits_say_which_way_money_went(
    seller: Seller, in_: str, out: str, balances: tuple[str, ...],
) -> None:
    file = seller.file(worded(in_, out, balances))
    assert seller.propose(file, account=BANK).exit_code == 0
    profile = seller.profile()
    assert (profile["columns.direction"], profile["direction.in"], profile["direction.out"]) == ("Way", [in_], [out])
    assert [fate["fate"] for fate in seller.run_import(file)["fates"]] == ["skipped", "new", "skipped", "new", "skipped"]
    assert seller.sums()["bank"] == "200.5"


def test_words_nobody_knows_are_asked_for_where_no_amount_has_a_sign(seller: Seller) -> None:
    file = seller.file(worded("Arrived", "Left"))
    result = seller.findings(file, BANK)
    assert not result["complete"]
    assert any('[columns] direction = "Way"' in gap and '"Arrived" or "Left"' in gap for gap in result["gaps"])
    assert "direction.in" not in seller.profile()
    told = seller.proposed.read_text(encoding="utf-8").replace("\n[direction]\n", '\n[direction]\nin = ["Arrived"]\nout = ["Left"]\n')
    seller.proposed.write_text(told, encoding="utf-8")
    assert [fate["fate"] for fate in seller.run_import(file)["fates"]] == ["skipped", "new", "skipped", "new", "skipped"]


def test_a_balance_tells_three_words_apart(seller: Seller) -> None:
    text = worded("Arrived", "Left", BALANCES).replace("40.00;Left", "40.00;Card")
    file = seller.file(text)
    assert seller.propose(file, account=BANK).exit_code == 0
    profile = seller.profile()
    assert (profile["direction.in"], profile["direction.out"]) == (["Arrived"], ["Card", "Left"])


def test_a_balance_that_follows_no_amount_is_asked_about(seller: Seller) -> None:
    file = seller.file("""\
Date,Text,Amount,Balance
05/03/2026,Tram ticket,3.20,96.80
15/03/2026,LANTERN PAYOUT 4001,120.00,216.80
16/03/2026,Glass vials,40.00,176.80
29/03/2026,Boxes,10.50,166.30
30/03/2026,Rent,66.30,100.00
""")
    result = seller.findings(file, BANK)
    # Of the four changes one is that of its amount: 96.80 and 120.00 are 216.80.
    [gap] = (gap for gap in result["gaps"] if "Balance" in gap)
    assert gap.startswith('"Balance" follows the amounts in 1 of 4 rows only')
    assert not result["complete"]


@pytest.mark.parametrize(("in_", "out"), [
    ("Paid in", "Paid out"), ("Eingang", "Ausgang"), ("in", "out"), ("Deposit", "Withdrawal"),
])
def test_any_known_word_may_stand_behind_an_amount(seller: Seller, in_: str, out: str) -> None:
    text = worded(in_, out).replace(f";{in_}", f" {in_}").replace(f";{out}", f" {out}").replace("Amount;Way", "Amount")
    file = seller.file(text)
    assert seller.propose(file, account=BANK).exit_code == 0
    profile = seller.profile()
    assert (profile["direction.in"], profile["direction.out"]) == ([in_], [out])
    assert [fate["fate"] for fate in seller.run_import(file)["fates"]] == ["skipped", "new", "skipped", "new", "skipped"]
    assert seller.sums()["bank"] == "200.5"


PRICED = """\
Order;Date;Title;Qty;Price;Postage;Fee;Net
1;2026-02-05;Cedar Hour 5 mL decant;1;{0};{1};{2};{3}
2;2026-02-15;Quiet Reed 5 mL decant;1;{4};{1};{2};{5}
3;2026-02-25;Cedar Hour 5 mL decant;2;{0};{1};{2};{3}
"""
NUMBERS = ("1200.00", "3.95", "1.80", "1202.15", "13.00", "15.15")


@pytest.mark.parametrize(("written", "currency", "books", "certainty"), [
    ("US${}", "USD", "USD", "sure"),
    ("${}", "USD", "USD", "guessed"),
    ("${}", "AUD", "AUD", "guessed"),
    ("C${}", "CAD", "CAD", "sure"),
    ("A$ {}", "AUD", "AUD", "sure"),
    ("{} kr", "DKK", "DKK", "guessed"),
    ("kr. {}", "SEK", "SEK", "guessed"),
    ("{} Ft.", "HUF", "HUF", "sure"),
    ("\u20b1{}", "PHP", "PHP", "sure"),
    ("R {}", "ZAR", "ZAR", "sure"),
])
def test_every_sign_that_the_importer_reads_is_seen(
    tmp_path: Path, written: str, currency: str, books: str, certainty: str,
) -> None:
    seller = Seller(tmp_path, books)
    file = seller.file(PRICED.format(*map(written.format, NUMBERS)))
    [found] = (each for each in seller.findings(file)["findings"] if each["key"] == "currency")
    assert (found["value"], found["certainty"]) == (currency, certainty)
    assert {fate["fate"] for fate in seller.run_import(file)["fates"]} == {"new"}
    # 1200.00, 13.00 and 1200.00, each with postage of 3.95 and a fee of 1.80.
    sums = seller.sums()
    assert (sums["sales"], sums["postage"], sums["fees"], sums["balance"]) == ("2413", "11.85", "5.4", "2419.45")


def test_a_sign_of_many_currencies_is_that_of_another_amount(tmp_path: Path) -> None:
    seller = Seller(tmp_path, "SEK")
    file = seller.file(PRICED.format("1200.00 NOK", *(f"{number} kr" for number in NUMBERS[1:])))
    [found] = (each for each in seller.findings(file)["findings"] if each["key"] == "currency")
    assert (found["value"], found["certainty"]) == ("NOK", "sure")


@pytest.mark.parametrize("text", ["Fr. 12.00", "R100", "L12", "12 EURO", "PO12.00", "12.00 krx", "$$ 12.00", "0.05 L", "RM12", "SR-1"])
def test_what_the_importer_refuses_is_no_amount(text: str) -> None:
    assert bare(text) is None


def test_amounts_that_are_left_out_of_a_ledger_are_told_of(seller: Seller) -> None:
    file = seller.file("""\
Date,Type,Order,Title,Quantity,Amount,Reference,Conversion cost,Gift wrap,Balance
2026-02-05,Sale,1001,Cedar Hour 5 mL,1,12.00,a1,-0.20,2.00,12.00
2026-02-15,Sale,1002,Quiet Reed 5 mL,1,13.00,a2,-0.30,,25.00
2026-02-16,Fee,1002,,,-1.30,a3,0.00,,23.70
2026-02-20,Payout,,,,-20.00,a4,0.00,,3.70
""")
    found = seller.findings(file)
    assert [note for note in found["notes"] if "left out" in note] == [
        'What "Conversion cost" is could not be found; it is left out.',
    ]


@pytest.mark.parametrize("nothing", ["0.00", ""])
def test_a_column_of_fees_counts_in_the_next_file_though_it_had_none_in_the_first(
    seller: Seller, nothing: str,
) -> None:
    head = "Date,Type,Order,Title,Quantity,Amount,Fee\n"
    seller.propose(seller.file(f"""\
{head}2026-02-05,Sale,1001,Cedar Hour 5 mL,1,12.00,{nothing}
2026-02-15,Sale,1002,Quiet Reed 5 mL,1,13.00,{nothing}
2026-02-16,Payout,,,,-20.00,{nothing}
"""))
    seller.run_import(seller.file(f"{head}2026-03-05,Sale,1004,Cedar Hour 5 mL,1,12.00,-1.00\n", "next.csv"))
    assert seller.sums() == {"sales": "12", "fees": "1", "balance": "11", "cedar": "5"}


COMPONENTS = """\
Batch,{0},Order,Article,Units,{1},{2},Amount,Day
B1,Order,1001,Cedar Hour 5 mL,1,Price,Goods,12.00,2026-02-05
B1,Order,1001,Cedar Hour 5 mL,,Price,Shipping,3.95,2026-02-05
B1,Order,1001,Cedar Hour 5 mL,,Fees,Commission,-1.80,2026-02-05
B1,Order,1002,Quiet Reed 5 mL,1,Price,Goods,13.00,2026-02-15
B1,Order,1002,Quiet Reed 5 mL,,Fees,Commission,-1.90,2026-02-15
B1,Refund,1002,Quiet Reed 5 mL,,Price,Goods,-13.00,2026-02-20
B1,Refund,1002,Quiet Reed 5 mL,,Fees,Commission,1.40,2026-02-20
"""


@pytest.mark.parametrize("headings", [
    ("happening", "component group", "component"),
    ("Transaction type", "Amount type", "Amount description"),
    ("Thing", "Type", "Detail"),
])
def test_the_column_that_tells_sales_from_refunds_is_the_type(seller: Seller, headings: tuple[str, ...]) -> None:
    file = seller.file(COMPONENTS.format(*headings))
    assert seller.propose(file).exit_code == 0
    assert seller.profile()["columns.type"] == headings[0]
    assert {fate["fate"] for fate in seller.run_import(file)["fates"]} == {"new"}
    # Fees of 1.80 and 1.90, of which 1.40 came back: 28.95 less 13.00 less 2.30 are left.
    assert seller.sums() == {
        "sales": "25", "postage": "3.95", "refunds": "13", "fees": "2.3", "balance": "13.65", "cedar": "5", "reed": "5",
    }


def test_rows_that_the_trial_refuses_are_a_gap(seller: Seller) -> None:
    file = seller.file("""\
Date,Type,Order,Title,Quantity,Amount
2026-02-05,Sale,1001,Cedar Hour 5 mL,1,12.00
2026-02-15,Sale,1002,Quiet Reed 5 mL,1,13.00
2026-02-16,Sale,1003,Quiet Reed 5 mL,1,-13.00
2026-02-20,Payout,,,,-20.00
""")
    result = seller.propose(file)
    assert result.exit_code == 1
    told = " ".join(result.output.split())
    assert "1 row(s) are refused by this profile, the first of them row 4: column 'Amount'" in told
    assert "1 row(s) are refused" in " ".join(seller.proposed.read_text(encoding="utf-8").split())


ACTIVITY = """\
Date,Type,Status,Currency,{0},{1},{2},Event id,About,Invoice
2026-02-07,Payment received,Completed,USD,26.50,{sign}1.66,24.84,E1,2 x Cedar Hour 5 mL,1001
2026-02-08,Payment received,Completed,USD,13.25,{sign}0.59,12.66,E2,Quiet Reed 5 mL,1002
2026-02-14,Payment received,Completed,USD,13.25,{sign}0.59,12.66,E3,Quiet Reed 5 mL,1003
2026-02-15,Payment refund,Completed,USD,-13.25,0.00,-13.25,E4,,1002
2026-02-20,Withdrawal to bank,Completed,USD,-30.00,0.00,-30.00,E5,,
"""


@pytest.mark.parametrize("sign", ["", "-"])
@pytest.mark.parametrize("headings", [
    ("Before charge", "Charge", "After charge"),
    ("Total", "Cut", "Yours"),
    ("Gross", "Fee", "Net"),
])
def test_sums_tell_gross_fee_and_net(seller: Seller, headings: tuple[str, str, str], sign: str) -> None:
    file = seller.file(ACTIVITY.format(*headings, sign=sign))
    assert seller.propose(file).exit_code == 0
    profile = seller.profile()
    assert (profile["columns.amount"], profile["fees"][0]["column"], profile["columns.net"]) == headings
    assert {fate["fate"] for fate in seller.run_import(file)["fates"]} == {"new"}
    sums = seller.sums()
    # 53.00 less 2.84, 13.25 that went back and 30.00 that went to the bank.
    assert (sums["sales"], sums["fees"], sums["refunds"]) == ("53", "2.84", "13.25")
    assert (sums["transit"], sums["balance"]) == ("30", "6.91")


@pytest.mark.parametrize("heading", ["Currency", "Money", "Unit"])
def test_a_column_of_codes_is_the_currency_whatever_its_heading(seller: Seller, heading: str) -> None:
    text = ACTIVITY.format("Gross", "Fee", "Net", sign="-").replace("Currency", heading)
    file = seller.file(text.replace("USD,13.25,-0.59,12.66,E3", "CAD,13.25,-0.59,12.66,E3"))
    seller.propose(file)
    assert (seller.profile()["currency"], seller.profile()["columns.currency"]) == ("USD", heading)
    outcome = seller.run_import(file)
    assert [fate["fate"] for fate in outcome["fates"]] == ["new", "new", "refused", "new", "new"]


def test_a_column_of_codes_is_the_currency_of_orders(seller: Seller) -> None:
    file = seller.file("""\
Order,Date,Title,Qty,Price,Postage,Fee,Net,Money
1001,2026-02-05,Cedar Hour 5 mL decant,1,12.00,3.95,1.80,14.15,USD
1002,2026-02-15,Quiet Reed 5 mL decant,1,13.00,3.95,1.90,15.05,CAD
1003,2026-02-18,Quiet Reed 5 mL decant,1,14.00,3.95,2.00,15.95,USD
""")
    seller.propose(file)
    assert seller.profile()["columns.currency"] == "Money"
    assert [fate["fate"] for fate in seller.run_import(file)["fates"]] == ["new", "refused", "new"]


def test_words_that_are_no_codes_of_money_are_no_currency(seller: Seller) -> None:
    file = seller.file("""\
Order,Date,Title,Qty,Price,Size
1001,2026-02-05,Cedar Hour 5 mL decant,1,12.00,BIG
1002,2026-02-15,Quiet Reed 5 mL decant,1,13.00,TOP
""")
    seller.propose(file)
    assert "columns.currency" not in seller.profile()
    assert seller.profile()["currency"] == "USD"


FOR = """\
Line,On,What,{0},Thing,How many,In,Out
1,2026-02-07,Sale,#1001,Cedar Hour 5 mL,1,12.00,
2,2026-02-07,Fee,#1001,,,,1.20
3,2026-02-09,Sale,#1002,Quiet Reed 5 mL,1,13.00,
4,2026-02-09,Fee,#1002,,,,1.30
5,2026-02-20,Payout,,,,,20.00
"""


def test_a_number_that_sales_and_fees_share_is_the_order(seller: Seller) -> None:
    file = seller.file(FOR.format("For"))
    assert seller.propose(file).exit_code == 0
    assert seller.profile()["columns.order"] == "For"
    assert {fate["fate"] for fate in seller.run_import(file)["fates"]} == {"new"}
    assert seller.sums() == {"sales": "25", "fees": "2.5", "balance": "2.5", "transit": "20", "cedar": "5", "reed": "5"}


def test_sales_without_a_number_are_asked_about(seller: Seller) -> None:
    file = seller.file(FOR.format("For").replace("#1001", "").replace("#1002", ""))
    [found] = (each for each in seller.findings(file)["findings"] if each["key"] == "columns.order")
    assert (found["certainty"], found["because"]) == ("not found", "no column holds the number of a sale")


@pytest.mark.parametrize(("text", "number"), [
    ("12 kr", "12"), ("kr 1 200", "1 200"), ("12.00kr", "12.00"), ("RM12.00", "12.00"), ("$5", "5"), ("12 z\u0142", "12"),
])
def test_signs_of_letters_stand_apart_or_beside_decimals(text: str, number: str) -> None:
    assert bare(text) == (number, False)
