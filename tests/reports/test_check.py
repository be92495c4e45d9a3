"""Problems and remarks."""

from __future__ import annotations

from decimal import Decimal
from textwrap import dedent

import pytest

from millilot.ledger.reading import read_books
from millilot.reports.check import plugin_order, problems, remarks

from .books import HEAD, SHELF, load


def remarked(text: str, head: str = HEAD) -> list[tuple[str, str]]:
    """Return the remarks on books that have no errors, each with the written line it points at."""
    entries, errors, options = load(text, head)
    assert [error.message for error in errors] == []
    lines = (head + dedent(text)).splitlines()
    return [
        (lines[remark.source["lineno"] - 1].strip(), remark.message)
        for remark in remarks(entries, read_books(entries, options))
    ]


def test_plain_books_are_not_remarked_on() -> None:
    assert remarked(SHELF) == []


def test_money_in_another_currency_is_left_out_and_said() -> None:
    [(line, message)] = remarked(
        """
        2026-01-01 open Expenses:Selling:Abroad EUR
        2026-01-01 open Assets:Cash EUR
        2026-02-01 * "stamps abroad"
          Expenses:Selling:Abroad  3.00 EUR
          Assets:Cash
        """,
    )
    assert line == '2026-02-01 * "stamps abroad"'
    assert message == "3.00 EUR on Expenses:Selling:Abroad is not in USD and is left out of every report."


def test_money_on_a_stock_account_is_left_out_and_said() -> None:
    delivery = SHELF + """
2026-01-01 open Assets:Stock:Other USD
2026-02-01 * "delivery"
  Assets:Stock:Other  5.00 USD
  Assets:Bank
"""
    found = [(line, message) for line, message in remarked(delivery) if "open" not in line]
    assert found == [
        (
            "Assets:Stock:Other  5.00 USD",
            (
                "5.00 USD on Assets:Stock:Other is money on a stock account and is left out of every report. What "
                "belongs to the cost of a purchase stands on Assets:Stock:Inbound."
            ),
        ),
    ]


ORDER = """
2026-02-01 * "Lantern" "sale" ^order-1 {tag}{poured}
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Marketplace:Lantern  12.00 USD{on_line}
"""


@pytest.mark.parametrize(
    ("tag", "poured"), [("", "\n  poured: 2026-02-03"), ("#to-pour", ""), ("", "")],
)
def test_a_day_of_pouring_that_is_read(tag: str, poured: str) -> None:
    assert remarked(SHELF + ORDER.format(tag=tag, poured=poured, on_line="")) == []


@pytest.mark.parametrize(
    ("tag", "poured", "on_line", "words"),
    [
        ("", '\n  poured: "2026-02-03"', "", "poured: is a day without quotes, not '2026-02-03'."),
        ("", "\n  poured: 5 CEDARHOUR", "", "poured: is a day without quotes"),
        ("#to-pour", "\n  poured: 2026-02-03", "", "poured: 2026-02-03 takes the place of #to-pour"),
        ("", "", "\n    poured: 2026-02-03", "poured: 2026-02-03 on a line is not read"),
    ],
)
def test_a_day_of_pouring_that_a_stocktake_would_miss(tag: str, poured: str, on_line: str, words: str) -> None:
    [(line, message)] = remarked(SHELF + ORDER.format(tag=tag, poured=poured, on_line=on_line))
    assert line.startswith("Assets:Marketplace" if on_line else '2026-02-01 * "Lantern" "sale"')
    assert message.startswith(words)
    if on_line:
        assert message.endswith("poured: 2026-02-03")


def test_a_line_refused_for_its_currency_is_not_remarked_on_again() -> None:
    abroad = SHELF + """
2026-01-01 open Income:Sales:Abroad
2026-01-01 open Assets:Marketplace:Abroad
2026-02-01 * "sale" ^order-1
  Income:Sales:Abroad  -5 CEDARHOUR @@ 11.00 EUR
  Assets:Marketplace:Abroad  11.00 EUR
"""
    entries, errors, options = load(abroad)
    assert len(errors) == 1
    found = remarks(entries, read_books(entries, options))
    assert [remark.message for remark in found if "EUR" in remark.message] == []


def test_a_vial_poured_from_two_bottles() -> None:
    [(line, message)] = remarked(
        """
        2026-01-05 * "short"
          Assets:Stock:CedarHour  2 CEDARHOUR {{2.00 USD, "CH-0"}}
          Assets:Bank
        2026-01-06 * "bottle"
          Assets:Stock:CedarHour  100 CEDARHOUR {{129.60 USD, "CH-1"}}
          Assets:Bank
        2026-02-01 * "Lantern" "sale" ^order-1
          Income:Sales  -5 CEDARHOUR @@ 12.00 USD
          Assets:Marketplace:Lantern
        """,
    )
    assert line == '2026-02-01 * "Lantern" "sale" ^order-1'
    assert "poured from two bottles: CH-0, CH-1." in message


def test_a_cost_per_ml_that_smells_of_missing_braces() -> None:
    [(line, message)] = remarked(
        """
        2026-01-05 * "bottle"
          Assets:Stock:CedarHour  100 CEDARHOUR {129.60 USD, "CH-1"}
          Assets:Bank
        """,
    )
    assert line == '2026-01-05 * "bottle"'
    assert "CH-1 costs 129.60 USD per mL." in message
    assert "write {{129.60 USD}}" in message


def test_what_is_dear_depends_on_the_currency() -> None:
    bottle = """
        2026-01-05 * "bottle"
          Assets:Stock:CedarHour  100 CEDARHOUR {{%s JPY, "CH-1"}}
          Assets:Bank
        """
    assert remarked(bottle % 20000, HEAD.replace("USD", "JPY")) == []
    assert len(remarked(bottle % 600000, HEAD.replace("USD", "JPY"))) == 1


OWNED = """
2026-01-05 * "owned before"
  Assets:Stock:CedarHour  100 CEDARHOUR {{%s USD, "CH-1"}}
    paid: 90.00 USD
    market-value: 70.00 USD
  Equity:Contributed
"""


def test_a_bottle_owned_before_comes_in_at_the_lower_value() -> None:
    assert remarked(OWNED % "70.00") == []
    [(_, message)] = remarked(OWNED % "80.00")
    assert message == (
        "CH-1 came in at 80.00 USD, which is not the lower of what was paid (90.00) and its market value (70.00)."
    )
    assert len(remarked(OWNED % "60.00")) == 1


LOST_PARCEL = """
2026-02-01 * "Lantern" "sale" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Postage  -4.50 USD
  Assets:Marketplace:Lantern
2026-02-10 * "lost" ^order-1
  Income:Refunds  {refund} USD
  Assets:Marketplace:Lantern
2026-02-10 * "written off" ^order-1
  Expenses:Loss  {lost} CEDARHOUR
"""


def test_a_lost_parcel_refunded_and_written_off() -> None:
    [(line, message)] = remarked(SHELF + LOST_PARCEL.format(refund="16.50", lost="5"))
    assert line == "Expenses:Loss  5 CEDARHOUR"
    assert message.startswith("order-1 was refunded in full and 5 mL are written as lost.")


@pytest.mark.parametrize(("refund", "lost"), [("11.99", "5"), ("16.50", "4"), ("16.50", "5.5")])
def test_a_part_refunded_or_another_loss_is_no_remark(refund: str, lost: str) -> None:
    assert remarked(SHELF + LOST_PARCEL.format(refund=refund, lost=lost)) == []


FILLED = """
2026-01-05 * "bottle"
  Assets:Stock:CedarHour  {size} CEDARHOUR {{{{100.00 USD, "CH-1"}}}}
  Assets:Bank
{before}
{day} custom "stocktake" "CH-1" {found} CEDARHOUR
"""


def fill(size: str, found: str, day: str = "2026-01-06", before: str = "") -> list[tuple[str, str]]:
    return remarked(FILLED.format(size=size, found=found, day=day, before=before))


#: Nominal quantity, what it may lack, and the first hundredth of a mL too much.
TOLERABLE = [
    ("5", "4.55"),
    ("30", "27.3"),
    ("50", "45.5"),
    ("75", "70.5"),
    ("100", "95.5"),
    ("125", "119.375"),
    ("200", "191"),
    ("250", "241"),
    ("400", "388"),
    ("1000", "985"),
]


@pytest.mark.parametrize(("size", "least"), TOLERABLE)
def test_a_new_bottle_may_lack_what_the_directive_tolerates(size: str, least: str) -> None:
    assert fill(size, least) == []
    found = Decimal(least) - Decimal("0.01")
    [(line, message)] = fill(size, f"{found}")
    assert line == f'2026-01-06 custom "stocktake" "CH-1" {found} CEDARHOUR'
    tolerated = (Decimal(size) - Decimal(least)).normalize()
    assert message == (
        f"CH-1 held {found} of {size} mL when it was new: {Decimal(size) - found} mL short, where Directive "
        f"76/211/EEC, Annex I tolerates {tolerated:f} mL."
    )


@pytest.mark.parametrize("size", ["4", "1001"])
def test_the_directive_knows_no_smaller_and_no_larger_size(size: str) -> None:
    assert fill(size, "1") == []


@pytest.mark.parametrize(("day", "remarks_on_it"), [("2026-01-12", 1), ("2026-01-13", 0)])
def test_a_bottle_is_new_for_a_week(day: str, remarks_on_it: int) -> None:
    assert len(fill("100", "90", day)) == remarks_on_it


def test_a_bottle_poured_from_says_nothing_of_its_fill() -> None:
    assert fill("100", "90", "2026-01-08", '2026-01-07 * "kept"\n  Equity:PersonalUse  1 CEDARHOUR\n') == []


def test_a_stock_account_without_booking_none() -> None:
    [(line, message)] = remarked("2026-01-01 open Assets:Stock:More\n")
    assert line == "2026-01-01 open Assets:Stock:More"
    assert message.endswith('expected: 2026-01-01 open Assets:Stock:More "NONE"')


def test_an_account_of_the_activity_without_a_currency() -> None:
    [(line, message)] = remarked("2026-01-01 open Income:Sales:Fair\n")
    assert line == "2026-01-01 open Income:Sales:Fair"
    assert message.endswith("expected: 2026-01-01 open Income:Sales:Fair USD")


def test_a_private_account_needs_nothing() -> None:
    assert remarked("2026-01-01 open Expenses:Groceries\n") == []


def test_a_batch_code_without_quotes() -> None:
    [(line, message)] = remarked(
        """
        2026-01-05 * "bottle"
          Assets:Stock:CedarHour  100 CEDARHOUR {{129.60 USD, "CH-1"}}
            batch: 04321
          Assets:Bank
        """,
    )
    assert line.startswith("Assets:Stock:CedarHour")
    assert 'batch: "4321"' in message


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("stock-take", "stocktake"),
        ("kits", "kit"),
        ("pour loss", "pour-loss"),
        ("milliliter-account", "millilot-account"),
    ],
)
def test_a_directive_called_nearly_as_one_of_ours(written: str, meant: str) -> None:
    [(line, message)] = remarked(f'2026-01-05 custom "{written}" "CH-1" 5 CEDARHOUR\n')
    assert line.startswith(f'2026-01-05 custom "{written}"')
    assert message.endswith(f'write: custom "{meant}"')


def test_what_the_plugin_hands_on_is_not_remarked_on() -> None:
    renamed = 'option "name_expenses" "Ausgaben"' + HEAD.replace("Expenses:", "Ausgaben:")
    assert remarked(SHELF, renamed) == []


@pytest.mark.parametrize("name", ["fava-option", "fava-extension", "budget"])
def test_a_directive_of_others_is_theirs(name: str) -> None:
    assert remarked(f'2026-01-05 custom "{name}" Assets:Bank "monthly" 5 USD\n') == []


KIT = """
2026-02-01 custom "kit" "5 mL" 1 VIAL5
2026-02-01 * "vials"
  Assets:Stock:Supplies  10 VIAL5 {{3.00 USD, "V-1"}}
  Assets:Bank
"""

SIZES = (
    SHELF
    + """
2026-01-20 * "before there were kits" ^order-0
  Income:Sales  -8 CEDARHOUR @@ 16.00 USD
  Assets:Bank
2026-02-02 * "sizes" ^order-1
  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Income:Sales  -6 CEDARHOUR @@ 14.00 USD
    vials: 3
  Income:Sales  -10 CEDARHOUR @@ 14.00 USD
    vials: 3
  Income:Sales  -10 CEDARHOUR @@ 20.00 USD
    vials: 0
  Income:Sales  -1 VIAL5 @@ 1.00 USD
  Expenses:Samples  1 CEDARHOUR
  Assets:Bank
2026-02-03 * "the same again" ^order-2
  Income:Sales  -2 QUIETREED @@ 14.00 USD
  Assets:Bank
2026-02-04 * "back" ^order-2
  Income:Refunds  2 QUIETREED @@ 14.00 USD
  Assets:Bank
2026-02-05 * "swap"
  Income:Swaps  -20 QUIETREED @@ 50.00 USD
  Assets:Stock:CedarHour  25 CEDARHOUR {{50.00 USD, "CH-2"}}
"""
)


def test_a_size_without_a_kit_is_remarked_on_once() -> None:
    words = "No kit is set for a vial of {} mL, so no supplies are taken for it."
    cure = ' If it uses any: {} custom "kit" "{} mL" 1 VIAL'
    assert remarked(SIZES + KIT) == [
        ("Income:Sales  -6 CEDARHOUR @@ 14.00 USD", words.format(2) + cure.format("2026-02-02", 2)),
        ("Income:Sales  -10 CEDARHOUR @@ 14.00 USD", words.format("3.3333")),
        ("Income:Swaps  -20 QUIETREED @@ 50.00 USD", words.format(20) + cure.format("2026-02-05", 20)),
    ]


def test_sizes_are_not_remarked_on_without_a_kit_for_vials() -> None:
    parcel = KIT.replace("5 mL", "parcel")
    vials = KIT[KIT.index("2026-02-01 *") :]
    assert remarked(SIZES + vials) == []
    assert remarked(SIZES + parcel) == []


def test_a_transaction_that_booking_emptied_is_a_problem() -> None:
    entries, errors, _ = load(
        """
        2026-02-01 * "nothing is left"
        """,
    )
    [problem] = [found for found in problems(entries, errors) if found.entry in entries]
    assert problem.place.startswith("<string>:")
    assert problem.source["lineno"] == len(HEAD.splitlines()) + 2


def test_an_emptied_transaction_that_was_reported_is_not_reported_again() -> None:
    entries, errors, _ = load('2026-02-01 * "nothing is left"\n')
    [entry] = [entry for entry in entries if getattr(entry, "narration", "") == "nothing is left"]
    known = [*errors, type("Known", (), {"source": entry.meta, "message": "said", "entry": entry})()]
    found = [problem for problem in problems(entries, known) if problem.source["lineno"] == entry.meta["lineno"]]
    assert "said" in [problem.message for problem in found]
    assert len(found) == len([error for error in known if error.source["lineno"] == entry.meta["lineno"]])


def test_an_error_without_a_place_is_shown_all_the_same() -> None:
    lost = type("Lost", (), {"source": None, "message": "somewhere", "entry": None})()
    [problem] = problems([], [lost])
    assert problem.place == "<books>:0"


@pytest.mark.parametrize(
    ("plugins", "message"),
    [
        ([], "must be in the books"),
        (["beancount.plugins.implicit_prices", "millilot.plugins"], "must stand before"),
    ],
)
def test_the_plugin_line_comes_first(plugins: list[str], message: str) -> None:
    options_map = {"plugin": [(name, None) for name in plugins], "filename": "main.beancount"}
    [problem] = plugin_order(options_map)
    assert problem.place == "main.beancount:1"
    assert message in problem.message


def test_a_plugin_line_that_comes_first_is_no_problem() -> None:
    assert plugin_order({"plugin": [("millilot.plugins", None), ("other", None)], "filename": "x"}) == []
