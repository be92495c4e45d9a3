"""Which zone a proposal says a file's times are in, and what follows once the owner names that of the books."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from .proposals import Seller

if TYPE_CHECKING:
    from pathlib import Path

OWN = 'books-zone = "America/New_York"'


@pytest.fixture
def seller(tmp_path: Path) -> Seller:
    return Seller(tmp_path)


def zones(found: dict[str, Any]) -> dict[str, tuple[Any, str]]:
    """Return the keys of zones that are proposed."""
    return {
        each["key"]: (each["value"], each["certainty"])
        for each in found["findings"]
        if each["key"] in {"dates.zone", "dates.books-zone", "dates.times"}
    }


def orders(head: str, *days: str) -> str:
    """Return a file of orders with days written in some way."""
    rows = "".join(f"{number},{day},Cedar Hour 5 mL,12.00,1.20,10.80\n" for number, day in enumerate(days, 1))
    return f"Order,{head},Item,Price,Fee,Net\n{rows}"


def booked_days(seller: Seller, file: Path) -> list[str]:
    """Import with the days of New York; return those of the entries."""
    text = seller.proposed.read_text(encoding="utf-8")
    assert text.count("\n[dates]\n") == 1
    seller.proposed.write_text(text.replace("\n[dates]\n", f"\n[dates]\n{OWN}\n"), encoding="utf-8")
    outcome = seller.run_import(file)
    assert outcome["refused"] == 0, outcome["fates"]
    lines = seller.books.read_text(encoding="utf-8").splitlines()
    return [line[:10] for line in lines if "^order-" in line]


# 02:30 in UTC is half past nine the evening before in New York; 23:30 is the same day.
NIGHT = ("2026-03-05 02:30", "2026-03-05 23:30", "2026-03-07 12:00")
OWN_DAYS = ["2026-03-04", "2026-03-05", "2026-03-07"]


@pytest.mark.parametrize(
    ("head", "zone"),
    [
        ("Order date (UTC)", "UTC"),
        ("Order date GMT", "UTC"),
        ("Ordered at (UTC+00:00)", "UTC"),
    ],
)
def test_a_heading_names_the_zone(seller: Seller, head: str, zone: str) -> None:
    file = seller.file(orders(head, *NIGHT))
    found = seller.findings(file)
    assert zones(found) == {"dates.zone": (zone, "sure")}
    assert {each["key"]: each["value"] for each in found["findings"]}["columns.ordered"] == head
    assert any("books-zone under [dates]" in note for note in found["notes"])
    assert booked_days(seller, file) == OWN_DAYS


@pytest.mark.parametrize(
    ("head", "zone"), [("Order date (Europe/Vienna)", "Europe/Vienna"), ("Order date (UTC+1)", "Etc/GMT-1")],
)
def test_a_heading_names_a_place_or_an_offset(seller: Seller, head: str, zone: str) -> None:
    file = seller.file(orders(head, "2026-03-05 02:30", "2026-03-05 05:30", "2026-03-05 06:30"))
    assert zones(seller.findings(file)) == {"dates.zone": (zone, "sure")}
    # In winter 05:30 an hour ahead of UTC is 04:30 in UTC and 23:30 the day before in New York.
    assert booked_days(seller, file) == ["2026-03-04", "2026-03-04", "2026-03-05"]


def test_a_line_above_the_headings_is_a_guess(seller: Seller) -> None:
    file = seller.file("All times are UTC\n\n" + orders("Order date", *NIGHT))
    assert zones(seller.findings(file)) == {"dates.zone": ("UTC", "guessed")}
    assert booked_days(seller, file) == OWN_DAYS


def test_lines_that_name_two_zones_name_none(seller: Seller) -> None:
    file = seller.file("Made at 10:00 UTC\nShop in Europe/Vienna\n\n" + orders("Order date", *NIGHT))
    assert zones(seller.findings(file)) == {}


@pytest.mark.parametrize("days", [
    ("2026-03-05T02:30:00Z", "2026-03-05T23:30:00Z", "2026-03-07T12:00:00Z"),
    ("2026-03-05 03:30:00 +0100", "2026-03-06 00:30:00 +0100", "2026-03-07 13:00:00 +0100"),
    ("2026-03-05 02:30 UTC", "2026-03-05 23:30 UTC", "2026-03-07 12:00 UTC"),
])
def test_texts_that_name_their_zone_need_no_key(seller: Seller, days: tuple[str, ...]) -> None:
    file = seller.file(orders("Order date", *days))
    found = seller.findings(file)
    assert zones(found) == {}
    assert any(note.startswith("The times name their zone or offset.") for note in found["notes"])
    assert booked_days(seller, file) == OWN_DAYS


def test_a_column_of_one_zone(seller: Seller) -> None:
    file = seller.file(orders("Order date,Time zone", *(f"{text},UTC" for text in NIGHT)))
    assert zones(seller.findings(file)) == {"dates.zone": ("UTC", "sure")}
    assert booked_days(seller, file) == OWN_DAYS


def test_a_column_of_times_with_the_zone_in_its_heading(seller: Seller) -> None:
    days = [text.replace(" ", ",") for text in NIGHT]
    file = seller.file(orders("Order date,Time (UTC)", *days))
    assert zones(seller.findings(file)) == {
        "dates.zone": ("UTC", "sure"), "dates.times": ({"Order date": ["Time (UTC)"]}, "guessed"),
    }
    assert booked_days(seller, file) == OWN_DAYS


def test_two_columns_of_times_name_no_time_of_the_day(seller: Seller) -> None:
    days = ("2026-03-05,02:30,03:30", "2026-03-05,23:30,23:45", "2026-03-07,12:00,12:10")
    file = seller.file(orders("Order date,Time (UTC),Clock (UTC)", *days))
    assert zones(seller.findings(file)) == {}


def test_columns_of_times_and_of_several_zones(seller: Seller) -> None:
    days = ("2026-03-05,02:30,UTC", "2026-03-05,18:30,America/New_York", "2026-03-07,12:00,")
    file = seller.file(orders("Order date,Time,Time zone", *days))
    assert zones(seller.findings(file)) == {
        "dates.times": ({"Order date": ["Time", "Time zone"]}, "guessed"),
    }
    formats = ["%Y-%m-%d %H:%M %Z", "%Y-%m-%d %H:%M", "%Y-%m-%d"]
    assert seller.profile()["dates.format"] == formats
    # As it is, the days are those of the file.
    assert seller.run_import(file)["new"] == 3


@pytest.mark.parametrize("text", [
    orders("Order date (UTC)", "2026-03-05", "2026-03-06"),
    orders("Order date", "2026-03-05 10:00", "2026-03-06 11:00"),
    orders("Order date,Time", "2026-03-05,10:00", "2026-03-06,11:00"),
    orders("Order date (PST)", "2026-03-05 10:00", "2026-03-06 11:00"),
])
def test_days_without_times_and_times_without_a_certain_zone(seller: Seller, text: str) -> None:
    found = seller.findings(seller.file(text))
    assert zones(found) == {}
    assert seller.run_import(seller.folder / "lantern.csv")["new"] == 2
