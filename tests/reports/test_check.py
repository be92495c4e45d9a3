"""Problems and remarks."""

from __future__ import annotations

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
