"""`millilot profile` on files whose amounts have no sign: words say which way the money went, or the balance."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from io import StringIO
from typing import TYPE_CHECKING, Any

import pandas as pd
import pytest

from millilot.importers.proposal.marks import bare, word_behind
from millilot.importers.proposal.words import side_of

from .proposals import CHANNEL, Seller

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

BANK = "Assets:Bank:Checking"


@dataclass
class Case:
    """A file, what must be proposed of its directions and how surely, and what the import must book."""

    text: str
    keys: dict[str, Any]
    certainty: str
    because: str
    sums: dict[str, str]
    account: str = BANK
    currency: str = "USD"
    complete: bool = True


CASES = {
    "words of a bank": Case(
        """\
Buchungstag;Verwendungszweck;Betrag;Soll/Haben
02.04.2026;Lantern Auszahlung 17;1.040,00;H
05.04.2026;Miete;10,00;S
12.04.2026;Strom;12,00;S
""",
        {"direction": "Soll/Haben", "in": ["H"], "out": ["S"], "balance": None},
        "guessed",
        "what the words mean to a bank",
        {"bank": "1040", "transit": "-1040"},
        currency="EUR",
    ),
    "plain words, the latest first, of which the balance is sure": Case(
        """\
Date,Text,Amount,Flow,Balance
2026-04-20,LANTERN PAYOUT 19,50.00,Paid in,978.00
2026-04-16,Rent,150.00,Paid out,928.00
2026-04-02,LANTERN PAYOUT 17,40.00,paid in,1078.00
""",
        {"direction": "Flow", "in": ["Paid in"], "out": ["Paid out"], "balance": "falling"},
        "sure",
        "the balance follows them in 2 rows",
        {"bank": "90", "transit": "-90"},
    ),
    "words nobody knows, but the balance": Case(
        """\
Datum;Text;Kursrichtung;Betrag;Saldo
20.04.2026;Lantern Auszahlung 19;Zulu;50,00;1.028,00
16.04.2026;Miete;Kilo;150,00;978,00
12.04.2026;Strom;Kilo;12,00;1.128,00
05.04.2026;Miete;Kilo;10,00;1.140,00
02.04.2026;Lantern Auszahlung 17;Zulu;1.040,00;1.150,00
""",
        {"direction": "Kursrichtung", "in": ["Zulu"], "out": ["Kilo"], "balance": "falling"},
        "guessed",
        "nobody knows the words, but the balance follows them in 4 rows",
        {"bank": "1090", "transit": "-1090"},
        currency="EUR",
    ),
    "an account in books of one's own, where debit comes in": Case(
        """\
Date,Details,Type,Amount,Balance
2026-04-02,LANTERN PAYOUT 17,Debit,40.00,140.00
2026-04-05,Rent,Credit,10.00,130.00
2026-04-12,Lunch,Credit,12.00,118.00
2026-04-13,LANTERN PAYOUT 18,Debit,15.00,133.00
""",
        {"direction": "Type", "in": ["Debit"], "out": ["Credit"], "balance": "rising"},
        "sure",
        "the balance follows them in 3 rows",
        {"bank": "55", "transit": "-55"},
    ),
    "sales alone of the same amount, the latest first": Case(
        """\
Date,Event,Order No,Description,Amount,DR/CR,Running balance
2026-03-06,Sale,1003,Quiet Reed 5 mL,12.00,CR,36.00
2026-03-05,Sale,1002,Quiet Reed 5 mL,12.00,CR,24.00
2026-03-04,Sale,1001,Cedar Hour 5 mL,12.00,CR,12.00
""",
        {"direction": "DR/CR", "in": ["CR"], "out": None, "balance": "falling"},
        "sure",
        "the balance follows them in 2 rows",
        {"sales": "36", "balance": "36", "cedar": "5", "reed": "10"},
        account=CHANNEL,
    ),
    "payouts and a rent of the same amount, the latest first": Case(
        """\
Date,Details,Type,Amount,Balance
2026-04-23,LANTERN PAYOUT 19,Credit,50.00,250.00
2026-04-16,LANTERN PAYOUT 18,Credit,50.00,200.00
2026-04-09,LANTERN PAYOUT 17,Credit,50.00,150.00
2026-04-02,Rent,Debit,50.00,100.00
""",
        {"direction": "Type", "in": ["Credit"], "out": ["Debit"], "balance": "falling"},
        # The balance before the rent is not in the file.
        "guessed",
        "the balance follows them in 3 rows",
        {"bank": "150", "transit": "-150"},
    ),
    "where the goods are, beside where the money went": Case(
        """\
Date,Event,Order No,Description,Amount,Parcel,Direction
2026-03-04,Sale,1001,Cedar Hour 5 mL,12.00,Sent,In
2026-03-06,Sale,1002,Quiet Reed 5 mL,9.00,Sent,In
2026-03-09,Refund,1001,,12.00,Received,Out
""",
        {"direction": "Direction", "in": ["In"], "out": ["Out"], "balance": None},
        "sure",
        "what the words mean",
        {"sales": "21", "refunds": "12", "balance": "9", "cedar": "5", "reed": "5"},
        account=CHANNEL,
    ),
    "where the goods are, and nothing of where the money went": Case(
        """\
Date,Event,Order No,Description,Amount,Parcel
2026-03-04,Sale,1001,Cedar Hour 5 mL,12.00,Sent
2026-03-06,Sale,1002,Quiet Reed 5 mL,9.00,Sent
2026-03-09,Refund,1001,,-12.00,Received
""",
        {"direction": None, "in": None, "out": None, "balance": None},
        "",
        "",
        {"sales": "21", "refunds": "12", "balance": "9", "cedar": "5", "reed": "5"},
        account=CHANNEL,
    ),
    "where the goods are, beside amounts without signs": Case(
        """\
Date,Event,Order No,Description,Amount,Parcel
2026-03-04,Sale,1001,Cedar Hour 5 mL,12.00,Sent
2026-03-06,Sale,1002,Quiet Reed 5 mL,9.00,Sent
2026-03-09,Refund,1001,,12.00,Received
""",
        {"direction": None, "in": None, "out": None, "balance": None},
        "",
        "",
        {"sales": "21", "refunds": "12", "balance": "9", "cedar": "5", "reed": "5"},
        account=CHANNEL,
    ),
    "the same amount again and again, the latest first": Case(
        """\
Date,Text,Amount,Flow,Balance
2026-04-20,LANTERN PAYOUT 20,10.00,In,110.00
2026-04-19,LANTERN PAYOUT 19,10.00,In,100.00
2026-04-18,Rent,10.00,Out,90.00
2026-04-17,LANTERN PAYOUT 17,10.00,In,100.00
2026-04-16,Rent,10.00,Out,90.00
""",
        {"direction": "Flow", "in": ["In"], "out": ["Out"], "balance": "falling"},
        "sure",
        "the balance follows them in 4 rows",
        {"bank": "30", "transit": "-30"},
    ),
    "a ledger": Case(
        """\
Date,Event,Order No,Description,Amount,DR/CR,Running balance
2026-03-04,Sale,1001,Cedar Hour 5 mL,12.00,CR,12.00
2026-03-04,Commission,1001,,1.95,DR,10.05
2026-03-05,Postage label,1001,,3.50,DR,6.55
2026-03-06,Sale,1002,Quiet Reed 5 mL,9.00,CR,15.55
2026-03-09,Refund,1001,,4.00,DR,11.55
2026-03-10,Commission refund,1001,,0.65,CR,12.20
2026-03-31,Payout,,,12.20,DR,0.00
""",
        {"direction": "DR/CR", "in": ["CR"], "out": ["DR"], "balance": "rising"},
        "sure",
        "the balance follows them in 6 rows",
        {
            "sales": "21", "refunds": "4", "fees": "1.3", "labels": "3.5", "transit": "12.2", "cedar": "5",
            "reed": "5",
        },
        CHANNEL,
    ),
    "the activity of a payment service, with fees": Case(
        """\
Date,Type,Direction,Item,Gross,Fee,Net,Id,Parent
2026-03-04,Payment,Received,Cedar Hour 5 mL,16.00,0.90,15.10,T1,
2026-03-09,Refund,Sent,,4.00,0.10,4.10,T5,T1
2026-03-31,Transfer to bank,Sent,,11.00,0.00,11.00,T6,
2026-04-02,Transfer reversed,Received,,11.00,0.00,11.00,T7,T6
2026-04-05,Payment,Received,Quiet Reed 1 mL,0.20,0.50,-0.30,T10,
""",
        {"direction": "Direction", "in": ["Received"], "out": ["Sent"], "balance": None},
        "sure",
        "what the words mean",
        {"sales": "16.2", "refunds": "4", "fees": "1.5", "balance": "10.7", "cedar": "5", "reed": "1"},
        CHANNEL,
    ),
    "plus and minus": Case(
        """\
Date,Text,Amount,+/-
2026-04-02,LANTERN PAYOUT 17,40.00,+
2026-04-05,Rent,10.00,-
2026-04-12,Lunch,12.00,\N{MINUS SIGN}
""",
        {"direction": "+/-", "in": ["+"], "out": ["-"], "balance": None},
        "sure",
        "what the words mean",
        {"bank": "40", "transit": "-40"},
    ),
    "words behind the amounts": Case(
        """\
Posted,Narrative,Value,Balance
02/04/2026,LANTERN PAYOUT 17,1 040.00 CR,1 140.00 CR
05/04/2026,Lunch,12.00 DR,1 128.00 CR
16/04/2026,Rent,1 150.00DR,22.00 DR
19/04/2026,LANTERN PAYOUT 19,50.00 CR,28.00 CR
""",
        {"direction": None, "in": ["CR"], "out": ["DR"], "balance": "rising"},
        "sure",
        "the balance follows the words behind the amounts in 3 rows",
        {"bank": "1090", "transit": "-1090"},
    ),
    "words behind the balance beside two columns": Case(
        """\
Date,Narrative,Paid in,Paid out,Balance
2026-04-02,LANTERN PAYOUT 17,40.00,,30.00 CR
2026-04-05,Rent,,50.00,20.00 DR
2026-04-06,LANTERN PAYOUT 18,15.00,,5.00 DR
""",
        {"direction": None, "in": ["CR"], "out": ["DR"], "balance": "rising"},
        "sure",
        "what the words behind the amounts mean",
        {"bank": "55", "transit": "-55"},
    ),
    "words behind the balance beside amounts with signs": Case(
        """\
Date,Narrative,Amount,Balance
2026-04-02,LANTERN PAYOUT 17,40.00,30.00 CR
2026-04-05,Rent,-50.00,20.00 DR
""",
        {"direction": None, "in": None, "out": None, "balance": None},
        "",
        "",
        {"bank": "40", "transit": "-40"},
    ),
    "a word behind what comes in only": Case(
        """\
Date,Description,Amount
2026-04-02,LANTERN PAYOUT 17,40.00 CR
2026-04-05,Rent,10.00
2026-04-06,Lunch,11.00
""",
        {"direction": None, "in": ["CR"], "out": [""], "balance": None},
        "guessed",
        "2 row(s) have none, so they went the other way",
        {"bank": "40", "transit": "-40"},
    ),
    "amounts with signs, which need no word": Case(
        """\
Date,Description,Direction,Amount
2026-04-02,LANTERN PAYOUT 17,In,40.00
2026-04-05,Rent,Out,-10.00
""",
        {"direction": None, "in": None, "out": None, "balance": None},
        "",
        "",
        {"bank": "40", "transit": "-40"},
    ),
    "a balance that contradicts a word": Case(
        """\
Date,Description,Direction,Amount,Balance
2026-04-02,LANTERN PAYOUT 17,In,40.00,140.00
2026-04-05,Rent,Out,10.00,130.00
2026-04-08,LANTERN PAYOUT 18,In,41.00,89.00
2026-04-12,Lunch,Out,12.00,77.00
""",
        {"direction": "Direction", "in": ["In"], "out": ["Out"], "balance": None},
        "contradicted",
        '"In" comes in, but the balance falls in 1 of its rows and rises in 0',
        {"bank": "81", "transit": "-81"},
        complete=False,
    ),
    "a sign that contradicts a word": Case(
        """\
Date,Description,Direction,Amount
2026-04-02,LANTERN PAYOUT 17,In,40.00
2026-04-05,Rent,Out,10.00
2026-04-08,LANTERN PAYOUT 18,In,-41.00
""",
        {"direction": "Direction", "in": ["In"], "out": ["Out"], "balance": None},
        "contradicted",
        'row 4 says "In" of -41.00',
        {"bank": "40", "transit": "-40"},
        complete=False,
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_which_way_the_money_went(name: str, tmp_path: Path) -> None:
    case = CASES[name]
    seller = Seller(tmp_path, case.currency)
    file = seller.file(case.text, "bank.csv")
    found = seller.findings(file, case.account)
    profile = seller.profile()
    keys = {
        "direction": profile.get("columns.direction"),
        "in": profile.get("direction.in"),
        "out": profile.get("direction.out"),
        "balance": profile.get("file.balance"),
    }
    assert keys == case.keys
    first = next((each for each in found["findings"] if "direction" in each["key"]), None)
    assert (first["certainty"] if first else "") == case.certainty
    assert case.because in (first["because"] if first else "")
    assert found["complete"] is case.complete
    seller.run_import(file)
    assert seller.sums() == case.sums


def test_the_sum_of_a_ledger_by_another_reader(tmp_path: Path) -> None:
    case = CASES["a ledger"]
    frame = pd.read_csv(StringIO(case.text), dtype=str, keep_default_na=False)
    amounts = frame["Amount"].map(Decimal).where(frame["DR/CR"] == "CR", -frame["Amount"].map(Decimal))
    by_event = amounts.groupby(frame["Event"]).sum()
    seller = Seller(tmp_path)
    file = seller.file(case.text)
    seller.propose(file)
    outcome = seller.run_import(file)
    assert Decimal(outcome["money"]["USD"]["booked"]) == amounts.sum() == 0
    booked = seller.sums()
    assert Decimal(booked["sales"]) == by_event["Sale"]
    assert Decimal(booked["transit"]) == -by_event["Payout"]
    assert Decimal(booked["fees"]) == -by_event["Commission"] - by_event["Commission refund"]


def test_rows_with_another_word_or_none_are_told(tmp_path: Path) -> None:
    seller = Seller(tmp_path)
    file = seller.file(
        "Date,Description,Direction,Amount\n"
        + "".join(
            f"2026-04-0{day},LANTERN PAYOUT {day},In,4.00\n2026-04-0{day},Rent,Out,1.00\n"
            for day in range(1, 4)
        )
        + "2026-04-05,LANTERN PAYOUT 5,Reserved,41.00\n2026-04-06,LANTERN PAYOUT 6,,42.00\n",
    )
    found = seller.findings(file, BANK)
    assert found["gaps"] == [
        '"Direction" says "Reserved" or nothing in 2 row(s): neither in nor out, so they are refused.',
    ]
    assert not found["complete"]
    outcome = seller.run_import(file)
    assert (outcome["new"], outcome["refused"]) == (3, 2)
    assert seller.sums() == {"bank": "12", "transit": "-12"}


@pytest.mark.parametrize(
    ("heading", "words"), [("Size", "SSS"), ("Class", "AAD"), ("Status", ("Sent", "Received", "Sent"))],
)
def test_a_column_that_says_something_else_is_no_direction(
    tmp_path: Path, heading: str, words: Sequence[str],
) -> None:
    seller = Seller(tmp_path)
    file = seller.file(
        f"Date,Event,{heading},Order No,Description,Amount\n"
        f"2026-03-04,Sale,{words[0]},1001,Cedar Hour 5 mL,12.00\n"
        f"2026-03-06,Sale,{words[1]},1002,Quiet Reed 5 mL,9.00\n"
        f"2026-03-07,Payout,{words[2]},,,21.00\n",
    )
    seller.propose(file)
    assert not [key for key in seller.profile() if "direction" in key]
    seller.run_import(file)
    assert seller.sums()["sales"] == "21"


def test_words_for_directions() -> None:
    words = ("Credit", "Débit", "paid in", "+", "\N{MINUS SIGN}", "Af", "Fee", "")
    assert [side_of(word) for word in words] == [
        (1, True), (-1, True), (1, False), (1, False), (-1, False), (-1, False), (0, False), (0, False),
    ]


@pytest.mark.parametrize(
    ("text", "word", "number"),
    [
        ("12.00 DR", "DR", ("12.00", True)),
        ("1,200.00Cr", "Cr", ("1,200.00", False)),
        ("\N{EURO SIGN}12.00 D", "D", ("12.00", True)),
        ("12.00 USD DR", "DR", ("12.00", True)),
        ("-12.00 DR", "DR", ("12.00", True)),
        ("-12.00 CR", "CR", None),
        ("12 D", "", None),
        ("12.00 USD", "", ("12.00", False)),
        ("12.00 up", "", None),
    ],
)
def test_words_behind_amounts(text: str, word: str, number: tuple[str, bool] | None) -> None:
    assert word_behind(text) == word
    assert bare(text) == number


@pytest.mark.parametrize("rows", [
    # One word alone, and two words of which the balance tells of two rows only.
    [f"PAYOUT {row},Debit,{row}.00,{sum(range(17, row + 1))}.00" for row in range(17, 22)],
    ["PAYOUT 17,Debit,40.00,140.00", "Rent,Credit,10.00,130.00", "PAYOUT 18,Debit,15.00,145.00"],
])
def test_too_little_turns_no_word_of_a_bank_round(rows: list[str], tmp_path: Path) -> None:
    seller = Seller(tmp_path)
    days = (f"2026-04-{day:02},LANTERN {row}" for day, row in enumerate(rows, 2))
    file = seller.file("\n".join(["Date,Details,Type,Amount,Balance", *days, ""]), "bank.csv")
    found = {each["key"]: each for each in seller.findings(file, BANK)["findings"]}
    assert found["direction.out"]["value"] == ["Debit"]
    assert found["columns.direction"]["certainty"] == "contradicted"
