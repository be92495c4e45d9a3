"""Files of orders and of payouts in which a heading alone says too little, or something else than the amounts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from millilot.importers.proposal.headings import meanings

from .proposals import Seller

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def seller(tmp_path: Path) -> Seller:
    return Seller(tmp_path)


# A row for each payout.

@pytest.mark.parametrize(("text", "net", "gross"), [
    (
        """\
Transfer,Arrived,Takings,Charges,Given back,Sent to you
V-001,2026-03-20,103.54,-10.35,-6.91,86.28
V-002,2026-04-13,148.37,-14.84,-9.89,123.64
""",
        "Sent to you", "Takings",
    ),
    (
        """\
Auszahlung;Datum;Einnahmen;Abzüge;Überwiesen
V-001;20.03.2026;100,00;-13,72;86,28
V-002;13.04.2026;150,00;-26,36;123,64
""",
        "Überwiesen", "Einnahmen",
    ),
    (
        """\
Payout,Paid on,Earnings,Commission,Zorbling
V-001,2026-03-20,100.00,13.72,86.28
V-002,2026-04-13,150.00,26.36,123.64
""",
        "Zorbling", "Earnings",
    ),
])
def test_what_was_paid_out_is_what_the_others_add_up_to(seller: Seller, text: str, net: str, gross: str) -> None:
    file = seller.file(text)
    seller.propose(file)
    profile = seller.profile()
    assert (profile["file.row"], profile["columns.net"], profile["columns.gross"]) == ("payout", net, gross)
    assert seller.run_import(file)["new"] == 2
    # 86.28 + 123.64
    assert seller.sums() == {"transit": "209.92", "balance": "-209.92"}


def test_rows_with_a_number_a_day_and_totals_are_payouts(seller: Seller) -> None:
    seller.currency = "EUR"
    file = seller.file("""\
Paiement n°;Versé le;Brut;Frais;Remboursements;Net versé
V-001;20 mars 2026;€ 103,54;-€ 10,35;-€ 6,91;€ 86,28
V-002;3 avril 2026;€ 1.510,42;-€ 151,04;-€ 100,70;€ 1.258,68
""")
    seller.propose(file)
    profile = seller.profile()
    assert (profile["file.row"], profile["columns.payout"]) == ("payout", "Paiement n°")
    assert seller.run_import(file)["new"] == 2
    # 86.28 + 1258.68; no sale is made of it
    assert seller.sums() == {"transit": "1344.96", "balance": "-1344.96"}


@pytest.mark.parametrize("headings", [
    "Ref,Date,Price,Fees,Net",
    "Order no.,Date,Gross,Fees,Net",
    "Zorbling,Date,Gross,Fees,Net,Title",
])
def test_rows_of_orders_are_no_payouts(seller: Seller, headings: str) -> None:
    title = ",Cedar Hour 5 ml" if headings.endswith("Title") else ""
    file = seller.file(
        f"{headings}\nA-1,2026-03-20,20.00,2.00,18.00{title}\nA-2,2026-03-21,30.00,3.00,27.00{title}\n"
        f"A-3,2026-03-22,30.00,3.00,27.00{title}\n",
    )
    seller.propose(file)
    assert seller.profile()["file.row"] == "order"


def test_payouts_that_failed_are_left_out(seller: Seller) -> None:
    file = seller.file("""\
Payout,Paid on,State,Sales,Fees,Amount paid
V-001,2026-03-20,Paid,100.00,10.00,90.00
V-002,2026-04-13,Paid,150.00,15.00,135.00
V-003,2026-04-20,Failed,150.00,15.00,135.00
V-004,2026-04-27,Paid,70.00,7.00,63.00
""")
    found = seller.findings(file)
    assert found["gaps"] == []
    profile = seller.profile()
    assert (profile["file.row"], profile["columns.net"]) == ("payout", "Amount paid")
    assert (profile["status.book"], profile["status.skip"]) == (["Paid"], ["Failed"])
    assert "status.to-pour" not in profile
    outcome = seller.run_import(file)
    assert (outcome["new"], outcome["skipped"]) == (3, 1)
    # 90 + 135 + 63
    assert seller.sums() == {"transit": "288", "balance": "-288"}


# What the net amount is made of.

HELD = """\
Order,Date,Title,Qty,Price,Postage,Fee,Held back,{net}
1001,2026-03-15,Cedar Hour 5 mL decant,1,12.00,3.95,1.80,0.00,14.15
1002,2026-03-16,Quiet Reed 5 mL decant,1,13.00,3.95,1.90,5.00,10.05
1003,2026-03-18,Quiet Reed 5 mL decant,1,14.00,3.95,2.00,0.00,15.95
"""


def test_what_is_nearly_all_of_the_price_is_no_fee(seller: Seller) -> None:
    file = seller.file(HELD.format(net="Available"))
    seller.propose(file)
    profile = seller.profile()
    assert profile["columns.net"] == "Available"
    assert [fee["column"] for fee in profile["fees"]] == ["Fee", "Held back"]
    assert seller.run_import(file)["new"] == 3
    # 12 + 13 + 14; 3 x 3.95; 1.80 + 1.90 + 2.00 and the 5.00 held back; 14.15 + 10.05 + 15.95
    assert seller.sums() == {
        "sales": "39", "postage": "11.85", "fees": "10.7", "balance": "40.15", "cedar": "5", "reed": "10",
    }


def test_a_net_amount_that_only_a_huge_unknown_fee_would_make_is_not_found(seller: Seller) -> None:
    file = seller.file("""\
Order,Date,Title,Qty,Price,Fee,Zorbling,Net
1001,2026-03-15,Cedar Hour 5 mL decant,1,12.00,1.80,9.70,0.50
1002,2026-03-16,Quiet Reed 5 mL decant,1,13.00,1.90,10.85,0.25
1003,2026-03-18,Quiet Reed 5 mL decant,1,14.00,2.00,11.25,0.75
""")
    found = seller.findings(file)
    [net] = (each for each in found["findings"] if each["key"] == "columns.net")
    assert net["certainty"] == "contradicted"
    assert all(each["value"] != "Zorbling" for each in found["findings"])


# Tax on a fee.

@pytest.mark.parametrize(("heading", "beside"), [
    ("fee tax", "tax"), ("VAT on fees", "VAT"), ("MwSt auf Gebühren", "Steuer"), ("TVA sur commission", "TVA"),
])
def test_tax_on_a_fee_is_a_fee(seller: Seller, heading: str, beside: str) -> None:
    file = seller.file(f"""\
order,created,title,price,postage,{beside},order total,fee,{heading}
1001,2026-03-16,Quiet Reed EDP 3ml sprayer,18.27,0.00,1.28,19.55,1.99,0.40
1002,2026-03-17,Quiet Reed EDP 5ml sprayer,13.72,6.50,1.42,21.64,2.97,0.59
1003,2026-03-18,Cedar Hour EDP 5ml sprayer,13.72,6.50,1.42,21.64,2.97,0.59
""")
    seller.propose(file)
    profile = seller.profile()
    assert profile["columns.tax"] == beside
    assert [fee["column"] for fee in profile["fees"]] == ["fee", heading]
    assert seller.run_import(file)["new"] == 3
    # 1.99 + 2.97 + 2.97 and 0.40 + 0.59 + 0.59; what is left of 45.71 and 13.00
    assert seller.sums() == {
        "sales": "45.71", "postage": "13", "fees": "9.51", "balance": "49.2", "cedar": "5", "reed": "8",
    }


def test_tax_on_a_fee_alone_is_no_tax_of_the_buyer(seller: Seller) -> None:
    file = seller.file("""\
order,created,title,price,fee,fee tax
1001,2026-03-16,Quiet Reed EDP 3ml sprayer,18.27,1.99,0.40
1002,2026-03-17,Quiet Reed EDP 5ml sprayer,13.72,2.97,0.59
""")
    seller.propose(file)
    profile = seller.profile()
    assert "columns.tax" not in profile
    assert [fee["column"] for fee in profile["fees"]] == ["fee", "fee tax"]


@pytest.mark.parametrize(("heading", "role"), [
    ("Fees incl. VAT", "fee_total"), ("Fee tax refunded", "refund_fee"), ("MwSt", "tax"),
    ("Fee VAT rate", "rate"), ("Gebühr zurück", "refund_fee"), ("Comisión devuelta", "refund_fee"),
])
def test_headings_with_words_for_tax_fees_and_what_went_back(heading: str, role: str) -> None:
    means = meanings(heading)
    assert max(means, key=lambda each: means[each]) == role


# Columns that say nothing yet.

def test_a_discount_and_an_ad_that_come_later_are_booked(seller: Seller) -> None:
    head = "Order,Date,Title,Qty,Price,Postage,Cost of advert,Fee,Voucher,Payout ref\n"
    seller.propose(seller.file(
        f"{head}1001,2026-03-15,Cedar Hour 5 mL,1,12.00,3.95,,1.80,0.00,\n"
        "1002,2026-03-16,Quiet Reed 5 mL,1,13.00,3.95,,1.90,0.00,\n"
    ))
    assert seller.profile()["columns.payout"] == "Payout ref"
    later = seller.file(f"{head}1004,2026-04-01,Cedar Hour 5 mL,1,12.00,3.95,0.90,1.80,-2.00,P-7\n", "later.csv")
    assert seller.run_import(later)["new"] == 1
    # 12.00 - 2.00; 10.00 + 3.95 - 0.90 - 1.80
    assert seller.sums() == {
        "sales": "10", "postage": "3.95", "ads": "0.9", "fees": "1.8", "balance": "11.25", "cedar": "5",
    }


@pytest.mark.parametrize(("fee", "advert"), [("1.80", "0.90"), ("-1.80", "-0.90")])
def test_a_fee_that_comes_later_has_the_sign_of_the_others(seller: Seller, fee: str, advert: str) -> None:
    head = "Order,Date,Title,Price,Advert cost,Fee,Voucher,Net\n"
    seller.propose(seller.file(
        f"{head}1001,2026-03-15,Cedar Hour 5 mL,12.00,0.00,{fee},0.00,10.20\n"
        f"1002,2026-03-16,Quiet Reed 5 mL,13.00,0.00,{fee},0.00,11.20\n"
        f"1003,2026-03-17,Quiet Reed 5 mL,14.00,0.00,{fee},0.00,12.20\n"
    ))
    later = seller.file(f"{head}1004,2026-04-01,Cedar Hour 5 mL,12.00,{advert},{fee},2.00,7.30\n", "later.csv")
    assert seller.run_import(later)["new"] == 1
    # 12.00 - 2.00 - 0.90 - 1.80 = 7.30
    assert seller.sums() == {"sales": "10", "ads": "0.9", "fees": "1.8", "balance": "7.3", "cedar": "5"}


def test_a_fee_given_back_later_is_no_cost(seller: Seller) -> None:
    head = "Auftrag;Datum;Ware;Preis;Gebühr;Erstattet;Erstattet am;Gebühr zurück;Bleibt\n"
    seller.propose(seller.file(
        f"{head}1001;15.03.2026;Cedar Hour 5 ml;12,00;1,80;0,00;;0,00;10,20\n"
        "1002;16.03.2026;Quiet Reed 5 ml;13,00;1,90;0,00;;0,00;11,10\n"
        "1003;17.03.2026;Quiet Reed 5 ml;14,00;2,00;0,00;;0,00;12,00\n"
    ))
    profile = seller.profile()
    assert (profile["refund.amount"], profile["refund.fee"]) == ("Erstattet", "Gebühr zurück")
    assert [fee["column"] for fee in profile["fees"]] == ["Gebühr"]
    # Whether it is taken off in the net amount, no row tells yet.
    assert profile["refund.in-net"] is False
    written = seller.proposed.read_text(encoding="utf-8").replace("in-net = false", "in-net = true")
    seller.proposed.write_text(written, encoding="utf-8")
    # 14.00 - 2.00 - 14.00 + 1.50
    later = f"{head}1004;01.04.2026;Quiet Reed 5 ml;14,00;2,00;14,00;05.04.2026;1,50;-0,50\n"
    assert seller.run_import(seller.file(later, "later.csv"))["new"] == 1
    assert seller.sums() == {"sales": "14", "fees": "0.5", "refunds": "14", "balance": "-0.5", "reed": "5"}


def test_fees_whose_parts_are_empty_are_their_total(seller: Seller) -> None:
    file = seller.file(
        "Order,Date,Title,Price,Fee,Total fees\n"
        "1001,2026-03-15,Cedar Hour 5 mL,12.00,,1.80\n1002,2026-03-16,Quiet Reed 5 mL,13.00,,1.90\n"
    )
    seller.propose(file)
    assert [fee["column"] for fee in seller.profile()["fees"]] == ["Total fees"]


@pytest.mark.parametrize("sign", ["", "-"])
def test_a_refund_that_comes_later_is_part_of_a_payout(seller: Seller, sign: str) -> None:
    head = "Payout,Paid on,Gross,Fees,Refunds,Ads,Net payout\n"
    seller.propose(seller.file(
        f"{head}V-1,2026-03-20,100.00,{sign}10.00,0.00,,90.00\nV-2,2026-03-27,150.00,{sign}15.00,0.00,,135.00\n"
    ))
    later = seller.file(f"{head}V-3,2026-04-20,100.00,{sign}10.00,{sign}20.00,{sign}4.00,66.00\n", "later.csv")
    assert seller.run_import(later)["new"] == 1
    assert seller.sums() == {"transit": "66", "balance": "-66"}


# What was given back, and words for it.

REFUNDS = """\
Order,Date,{status}Title,Price,Postage,Fee,Net
1001,2026-03-15,{paid}Cedar Hour 5 mL decant,12.00,3.95,1.80,14.15
1002,2026-03-16,{paid}Quiet Reed 5 mL decant,13.00,3.95,1.90,15.05
1003,2026-03-18,{paid}Quiet Reed 2 mL decant,14.00,3.95,2.00,15.95
1002,2026-03-20,{back}Quiet Reed 5 mL decant,-13.00,-3.95,-1.50,-15.45
1003,2026-03-21,{back}Quiet Reed 2 mL decant,-5.00,0.00,0.00,-5.00
"""


@pytest.mark.parametrize("words", [
    ("Status,", "Paid,", "Refunded,"), ("", "", ""), ("State,", "Paid,", "Zorbled,"),
])
def test_refunds_in_rows_of_their_own_are_told_and_spoil_no_sale(
    seller: Seller, words: tuple[str, str, str],
) -> None:
    status, paid, back = words
    file = seller.file(REFUNDS.format(status=status, paid=paid, back=back))
    [gap] = seller.findings(file)["gaps"]
    assert "row 5, 6." in gap
    assert "refunds" in gap
    outcome = seller.run_import(file)
    assert [fate["fate"] for fate in outcome["fates"]] == ["new", "new", "new", "refused", "refused"]
    # 12 + 13 + 14; 3 x 3.95; 1.80 + 1.90 + 2.00; 14.15 + 15.05 + 15.95
    assert seller.sums() == {
        "sales": "39", "postage": "11.85", "fees": "5.7", "balance": "45.15", "cedar": "5", "reed": "7",
    }


def test_refunds_beside_orders_of_several_rows_are_told(seller: Seller) -> None:
    file = seller.file(
        REFUNDS.format(status="", paid="", back="").replace("1003,2026-03-18", "1001,2026-03-15").split("1003")[0],
    )
    found = seller.findings(file)
    assert [each["value"] for each in found["findings"] if each["key"] == "file.row"] == ["item"]
    [gap] = found["gaps"]
    assert "row 5." in gap
    assert "take these rows out of the file" in gap


def test_a_refund_of_an_order_of_an_earlier_file_is_told(seller: Seller) -> None:
    file = seller.file("""\
Order,Date,Title,Price,Fee,Net
1001,2026-03-15,Cedar Hour 5 mL decant,12.00,1.80,10.20
1002,2026-03-16,Quiet Reed 5 mL decant,13.00,1.90,11.10
0907,2026-03-20,Quiet Reed 5 mL decant,-45.00,-5.00,-40.00
""")
    [gap] = seller.findings(file)["gaps"]
    assert "row 4." in gap
    outcome = seller.run_import(file)
    assert [fate["fate"] for fate in outcome["fates"]] == ["new", "new", "refused"]
    # 12 + 13; 1.80 + 1.90; 10.20 + 11.10
    assert seller.sums() == {"sales": "25", "fees": "3.7", "balance": "21.3", "cedar": "5", "reed": "5"}


def test_a_discount_in_a_row_of_its_own_is_no_refund(seller: Seller) -> None:
    file = seller.file(
        "Order,Date,Title,Price,Fee\n1001,2026-03-15,Cedar Hour 5 mL,12.00,1.80\n"
        "1001,2026-03-15,Spring voucher,-2.00,0.00\n1002,2026-03-16,Quiet Reed 5 mL,13.00,1.90\n"
    )
    # The importer refuses it, which the proposal tells; but not as a refund.
    assert not any("refund" in gap for gap in seller.findings(file)["gaps"])


@pytest.mark.parametrize(("word", "choices"), [
    ("Zorbed", 'book = ["Paid", "Zorbed"] to count it as sold, or cancelled = ["Zorbed"]'),
    ("Refunded", 'book = ["Paid", "Refunded"] to count it as sold, or cancelled = ["Refunded"]'),
])
def test_what_to_write_for_a_status_is_told(seller: Seller, word: str, choices: str) -> None:
    file = seller.file(
        "Order,Date,Status,Title,Price,Fee\n1001,2026-03-15,Paid,Cedar Hour 5 mL,12.00,1.80\n"
        f"1002,2026-03-16,{word},Quiet Reed 5 mL,13.00,1.90\n"
    )
    [gap] = seller.findings(file)["gaps"]
    assert choices in gap
    written = seller.proposed.read_text(encoding="utf-8").replace('book = ["Paid"]', f'book = ["Paid", "{word}"]')
    seller.proposed.write_text(written, encoding="utf-8")
    outcome = seller.run_import(file)
    assert outcome["new"] == 2
    # 12 + 13; 1.80 + 1.90
    assert seller.sums() == {"sales": "25", "fees": "3.7", "balance": "21.3", "cedar": "5", "reed": "5"}


def test_what_to_write_for_a_status_of_payouts_is_told(seller: Seller) -> None:
    file = seller.file(
        "Payout,Paid on,State,Gross,Fees,Net\nV-1,2026-03-20,Paid,100.00,10.00,90.00\n"
        "V-2,2026-03-27,Zorbed,150.00,15.00,135.00\n"
    )
    [gap] = seller.findings(file)["gaps"]
    assert 'book = ["Paid", "Zorbed"] if it was paid out, or skip = ["Zorbed"] if it was not' in gap


def test_a_file_whose_only_status_is_not_known(seller: Seller) -> None:
    file = seller.file("Order,Date,Status,Title,Price\n1001,2026-03-15,Zorbed,Cedar Hour 5 mL,12.00\n")
    [gap] = seller.findings(file)["gaps"]
    assert "its 1 row(s) count as sold until you write under [status]" in gap
    assert seller.run_import(file)["new"] == 1
