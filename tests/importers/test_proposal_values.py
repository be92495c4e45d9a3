"""What stands in a column tells what it is, where its heading says little or something else."""

# ruff: noqa: E501  # files are as wide as they are

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import pytest

from .proposals import Seller

if TYPE_CHECKING:
    from pathlib import Path

STATES = """\
Order number,Ordered at,Product,Units,Item price,Item fee,{heading}
1001,2026-03-24,Cedar Hour EDP 5ml sprayer,1,13.25,1.20,{paid}
1002,2026-03-25,Cedar Hour EDP 5ml sprayer,1,13.25,1.20,{off}
1003,2026-03-26,Cedar Hour EDP 5ml sprayer,1,13.25,1.20,{unpaid}
1004,2026-03-27,Quiet Reed EDP 5ml sprayer,1,13.25,1.20,{paid}
"""


@pytest.fixture
def seller(tmp_path: Path) -> Seller:
    return Seller(tmp_path)


@pytest.mark.parametrize(("heading", "paid", "off", "unpaid"), [
    ("Payment state", "Paid", "Voided", "Not paid"),
    ("Condition", "Paid", "Cancelled", "Awaiting payment"),
    ("Wie weit", "bezahlt", "storniert", "wartet auf Zahlung"),
])
def test_words_that_call_an_order_off_are_its_status(
    seller: Seller, heading: str, paid: str, off: str, unpaid: str,
) -> None:
    file = seller.file(STATES.format(heading=heading, paid=paid, off=off, unpaid=unpaid))
    [found] = (each for each in seller.findings(file)["findings"] if each["key"] == "columns.status")
    assert (found["value"], found["certainty"], found["because"]) == (heading, "guessed", "its words")
    outcome = seller.run_import(file)
    assert (outcome["new"], outcome["skipped"]) == (2, 2)
    assert seller.sums() == {"sales": "26.5", "fees": "2.4", "balance": "24.1", "cedar": "5", "reed": "5"}


@pytest.mark.parametrize("words", [("New", "Used", "Open box"), ("New", "Open", "Received")])
def test_words_that_call_nothing_off_are_no_status(seller: Seller, words: tuple[str, str, str]) -> None:
    file = seller.file(STATES.format(heading="Condition", paid=words[0], off=words[1], unpaid=words[2]))
    seller.propose(file)
    assert "columns.status" not in seller.profile()
    assert seller.run_import(file)["new"] == 4


FLAGS = """\
Order,Date,{heading},Item,Qty,Price,Fee
1001,2026-03-15,{stands},Cedar Hour 5 ml,1,13.25,1.20
1002,2026-03-16,{off},Quiet Reed 5 ml,1,11.25,1.10
1003,2026-03-17,{stands},Quiet Reed 5 ml,2,26.50,3.00
"""


@pytest.mark.parametrize(("heading", "stands", "off", "key"), [
    ("Cancelled on", "", "2026-03-17", "columns.cancelled"),
    ("Cancelled", "", "x", "columns.cancelled"),
    ("Cancelled", "no", "yes", "columns.status"),
    ("Storniert", "nein", "ja", "columns.status"),
    ("Paid", "Y", "N", "columns.status"),
])
def test_a_day_or_a_yes_or_no_tells_which_orders_count(
    seller: Seller, heading: str, stands: str, off: str, key: str,
) -> None:
    file = seller.file(FLAGS.format(heading=heading, stands=stands, off=off))
    seller.propose(file)
    assert seller.profile()[key] == heading
    outcome = seller.run_import(file)
    assert [fate["fate"] for fate in outcome["fates"]] == ["new", "skipped", "new"]
    assert seller.sums() == {"sales": "39.75", "fees": "4.2", "balance": "35.55", "cedar": "5", "reed": "10"}


def test_an_order_called_off_whose_money_was_taken_is_booked_without_goods(seller: Seller) -> None:
    text = FLAGS.format(heading="Cancelled on", stands="", off="2026-03-17")
    rows = [f"{row},{paid}" for row, paid in zip(text.splitlines(), ["Settled on", *["2026-03-19"] * 3], strict=True)]
    file = seller.file("\n".join(rows) + "\n")
    seller.propose(file)
    assert seller.run_import(file)["new"] == 3
    # Sold for 51.00 in all; 11.25 of it was given back, and of its fee the file says nothing.
    assert seller.sums() == {
        "sales": "51", "refunds": "11.25", "fees": "5.3", "balance": "34.45", "cedar": "5", "reed": "10",
    }


def test_orders_that_went_back_without_an_amount_are_asked_for(seller: Seller) -> None:
    file = seller.file(FLAGS.format(heading="State", stands="Complete", off="Refunded"))
    assert any('"Refunded" says that money went back' in gap for gap in seller.findings(file)["gaps"])
    outcome = seller.run_import(file)
    assert [fate["fate"] for fate in outcome["fates"]] == ["new", "refused", "new"]


def test_an_order_in_another_currency_is_refused_and_its_money_is_of_none(seller: Seller) -> None:
    file = seller.file("""\
Order,Date,Item,Qty,Price,Fee,Net,Currency
1001,2026-03-15,Cedar Hour 5 ml,1,13.25,1.20,12.05,USD
1002,2026-03-16,Quiet Reed 5 ml,1,11.25,1.10,10.15,EUR
1003,2026-03-17,Quiet Reed 5 ml,2,26.50,3.00,23.50,usd
""")
    seller.propose(file)
    outcome = seller.run_import(file)
    assert [(fate["fate"], fate["reason"]) for fate in outcome["fates"]] == [
        ("new", ""), ("refused", "column 'Currency': expected USD, found 'EUR'"), ("new", ""),
    ]
    assert outcome["money"]["USD"]["rows"] == outcome["money"]["USD"]["booked"] == "35.55"


def test_a_payout_in_another_currency_is_refused(seller: Seller) -> None:
    file = seller.file("""\
Payout,Paid on,Sales,Fees,Paid out,Currency
PO-71,2026-02-01,100.00,10.00,90.00,USD
PO-72,2026-03-01,100.00,10.00,90.00,EUR
PO-73,2026-04-01,178.84,22.39,156.45,USD
""")
    seller.propose(file)
    assert [fate["fate"] for fate in seller.run_import(file)["fates"]] == ["new", "refused", "new"]
    assert seller.sums() == {"balance": "-246.45", "transit": "246.45"}


def test_the_money_of_a_row_with_another_fault_is_what_its_net_says(seller: Seller) -> None:
    file = seller.file("""\
Order,Date,Item,Qty,Price,Fee,Net
1001,2026-03-15,Cedar Hour 5 ml,1,13.25,1.20,12.05
1002,2026-03-16,Quiet Reed 5 ml,0,11.25,1.10,10.15
1003,2026-03-17,Quiet Reed 5 ml,2,26.50,3.00,23.50
""")
    seller.propose(file)
    money = seller.run_import(file)["money"]["USD"]
    assert (money["rows"], money["booked"], money["refused"]) == ("45.70", "35.55", "10.15")


def test_amounts_that_nothing_proves_are_named(seller: Seller) -> None:
    file = seller.file("""\
Order,Date,Item,Qty,Price,Postage,Green levy
1001,2026-03-15,Cedar Hour 5 ml,1,13.25,4.20,0.35
1002,2026-03-16,Quiet Reed 5 ml,1,13.25,4.20,0.35
1003,2026-03-17,Quiet Reed 5 ml,2,26.50,4.20,0.70
""")
    assert 'What "Green levy" is could not be found; it is left out.' in seller.findings(file)["notes"]


class Case(NamedTuple):
    """A file, some keys of its profile, how many rows are booked, and what they sum up to."""

    text: str
    keys: dict[str, Any]
    new: int
    sums: dict[str, str]


CASES: dict[str, Case] = {}

# 5.00 + 4.20 - 1.26 - 0.20 = 7.74; the second was given back with its fee: 13 - 1.47 - 13 + 1.47 = 0, written "--".
CASES["what is charged for promotion, and when it was given back"] = Case(
    """\
Purchase ref,Placed,Sent,What was bought,Pieces,Goods total,Shipping paid by buyer,Our commission,Promotion charge,Given back,Given back on,Commission given back,You keep
1001,03/14/2026,03/15/2026,Cedar Hour EDP 5ml sprayer,1,$5.00,$4.20,$1.26,$0.20,--,,--,$7.74
1002,03/15/2026,03/16/2026,Quiet Reed EDP 2ml sprayer,2,$13.00,--,$1.47,--,$13.00,03/20/2026,$1.47,--
1003,03/16/2026,03/17/2026,Cedar Hour EDP 5ml sprayer,1,$13.25,--,$1.49,--,$4.00,04/02/2026,--,$7.76
1004,03/18/2026,03/19/2026,Cedar Hour EDP 5ml sprayer,1,$13.25,$4.20,$1.49,$0.40,--,,--,$15.56
""",
    {
        "columns.order": "Purchase ref", "columns.shipped": "Sent", "refund.date": "Given back on",
        "refund.in-net": True, "columns.net": "You keep",
    },
    4,
    {
        "sales": "44.5", "postage": "8.4", "refunds": "17", "fees": "4.24", "ads": "0.6", "balance": "31.06",
        "cedar": "15", "reed": "4",
    },
)

CASES["a refund below 0, and its fee above"] = Case(
    """\
Order,Sold at,Listing,Qty,Amount,Fee,Refund,Refund date,Fee returned,Net
1001,2026-03-24,Cedar Hour EDP 5ml sprayer,1,13.25,-1.20,0.00,,0.00,12.05
1002,2026-03-25,Cedar Hour EDP 5ml sprayer,1,14.25,-1.30,-14.25,2026-03-29,1.30,0.00
1003,2026-03-26,Quiet Reed EDP 5ml sprayer,1,13.25,-1.20,-4.00,2026-03-30,0.00,8.05
""",
    {"refund.sign": "negative", "refund.fee-sign": "positive", "refund.fee": "Fee returned"},
    3,
    {"sales": "40.75", "refunds": "18.25", "fees": "2.4", "balance": "20.1", "cedar": "10", "reed": "5"},
)

CASES["payouts in cents, two of them alike"] = Case(
    """\
Transfer,Transfer date,Gross (cents),Fees (cents),Refunds (cents),Transferred (cents),To account
PO-71,2026-02-01,10000,1000,0,9000,ending 4411
PO-72,2026-03-01,10000,1000,0,9000,ending 4411
PO-73,2026-04-01,17884,2239,368,15277,ending 4411
""",
    {"file.row": "payout", "columns.payout": "Transfer", "columns.net": "Transferred (cents)"},
    3,
    {"balance": "-332.77", "transit": "332.77"},
)

# The payout stands first, above 0, and is what the other rows come to: 13.25 - 1.20 + 11.20 - 1.20.
CASES["a total of the payout above its parts"] = Case(
    """\
Settlement,Day,Order,What,Text,Pieces,Amount
V-88,2026-03-30,,Settlement total,,,22.05
V-88,2026-03-24,1001,Item,Cedar Hour EDP 5ml sprayer,1,13.25
V-88,2026-03-24,1001,Commission,,,-1.20
V-88,2026-03-25,1002,Item,Quiet Reed EDP 5ml sprayer,1,11.20
V-88,2026-03-25,1002,Commission,,,-1.20
""",
    {"columns.payout": "Settlement"},
    5,
    {"sales": "24.45", "fees": "2.4", "transit": "22.05", "cedar": "5", "reed": "5"},
)

# The same decant costs 13.25 whether tax was collected or not, so the tax is not in the gross amount.
CASES["tax beside the amounts"] = Case(
    """\
Date,Kind,Order,Title,Gross,Fee,Net,Tax,Balance
2026-03-14,Order,1001,Cedar Hour EDP 5ml sprayer,13.25,-1.20,12.05,0.00,12.05
2026-03-15,Order,1002,Cedar Hour EDP 5ml sprayer,13.25,-1.20,12.05,0.93,24.10
2026-03-16,Order,1003,Quiet Reed EDP 5ml sprayer,11.25,-1.00,10.25,0.00,34.35
2026-03-25,Transfer to bank,,,-34.35,0.00,-34.35,0.00,0.00
""",
    {"columns.price": "Gross", "columns.tax": "Tax", "tax.remitted": True},
    4,
    {"sales": "37.75", "fees": "3.4", "transit": "34.35", "cedar": "10", "reed": "5"},
)

CASES["payments whose titles name sizes"] = Case(
    """\
Datum;Vorgang;Stand;Währung;Brutto;Gebühr;Netto;Kennung;Guthaben;Betreff
05.03.2026;Zahlung;Abgeschlossen;EUR;6,50;-0,54;5,96;K0001;5,96;Quiet Reed EDP 2ml sprayer
06.03.2026;Zahlung;Abgeschlossen;EUR;30,70;-1,24;29,46;K0002;35,42;2 x Cedar Hour EDP 5ml sprayer
07.03.2026;Zahlung;Abgeschlossen;EUR;12,00;-0,70;11,30;K0003;46,72;Cedar Hour EDP 5ml sprayer
09.03.2026;Auszahlung;Abgeschlossen;EUR;-46,72;0,00;-46,72;K0004;0,00;
""",
    {"columns.event": "Kennung", "columns.balance": "Guthaben", "columns.title": "Betreff"},
    4,
    {"sales": "49.2", "fees": "2.48", "transit": "46.72", "cedar": "15", "reed": "2"},
)


@pytest.mark.parametrize("name", CASES)
def test_sums_of_files_whose_values_tell(tmp_path: Path, name: str) -> None:
    case = CASES[name]
    seller = Seller(tmp_path, "EUR" if "EUR" in case.text else "USD")
    file = seller.file(case.text)
    result = seller.propose(file)
    assert result.exit_code == 0, result.output
    assert {key: seller.profile().get(key) for key in case.keys} == case.keys
    outcome = seller.run_import(file)
    assert (outcome["new"], outcome["refused"]) == (case.new, 0), outcome["fates"]
    assert seller.sums() == case.sums


def test_a_sum_that_is_not_that_of_the_other_rows_is_no_payout(seller: Seller) -> None:
    file = seller.file(CASES["a total of the payout above its parts"].text.replace("22.05", "22.06"))
    seller.propose(file)
    [rule] = (each for each in seller.profile()["events"] if each["type"] == ["Settlement total"])
    assert (rule["is"], "reversed" in rule) == ("payout-returned", False)


def test_tax_that_raises_the_amounts_is_in_them(seller: Seller) -> None:
    text = CASES["tax beside the amounts"].text
    for before, after in (
        ("13.25,-1.20,12.05,0.93,24.10", "14.18,-1.20,12.98,0.93,25.03"), ("34.35", "35.28"),
    ):
        text = text.replace(before, after)
    seller.propose(seller.file(text))
    keys = seller.profile()
    assert (keys["tax.remitted"], "columns.price" in keys) == (False, False)


def test_whoever_sends_money_is_no_channel(seller: Seller) -> None:
    file = seller.file("""\
Posting day,Wording,Sum,Balance
2026-03-02,LANTERN PAYOUT 301,45.43,145.43
2026-03-04,Transfer from aunt,50.00,195.43
2026-03-08,Rent,-30.50,164.93
""")
    seller.propose(file, account="Assets:Bank:Checking")
    assert [rule["from"] for rule in seller.profile()["events"]] == ["Assets:Marketplace:Lantern:Transit"]
    assert seller.run_import(file)["new"] == 1
    assert seller.sums() == {"bank": "45.43", "transit": "-45.43"}


def test_columns_that_no_key_names_are_told(seller: Seller) -> None:
    file = seller.file("""\
Order,Date,Item,Qty,Price,Fee,Net,Buyer,Mood,Weight in g
1001,2026-03-15,Cedar Hour 5 ml,1,13.25,1.20,12.05,Ann,calm,12.50
1002,2026-03-16,Quiet Reed 5 ml,1,11.25,1.10,10.15,Bob,,13.75
1003,2026-03-17,Quiet Reed 5 ml,2,26.50,3.00,23.50,Cyd,,20.00
""")
    told = seller.findings(file)["notes"]
    assert 'Nothing of these columns is booked: "Buyer", "Mood".' in told
    # Of amounts the proposal says why.
    assert 'What "Weight in g" is could not be found; it is left out.' in told
