"""`millilot poured`: the tag of an order makes room for the day it was poured."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import pytest
from beancount import loader
from beancount.core.data import Transaction
from click.testing import CliRunner, Result

from millilot.importers import booking
from millilot.reports.commands.poured import poured_command

from .test_kill import IMPORT, at_once, killed, left_behind

if TYPE_CHECKING:
    from pathlib import Path

    from .shop import Shop

POURED = "millilot.reports.commands.poured:poured_command"

POSTINGS = """  Income:Sales  -5 CEDARHOUR @@ 12.00 USD
  Assets:Bank
"""

ORDERS = f"""
2026-03-01 * "One" #to-pour ^order-lantern-1 ; by hand
{POSTINGS}
2026-03-02 * "Two" ^order-lantern-2   #to-pour   #gift
  event: "lantern/sale/2"
{POSTINGS}
2026-03-03 * "Two again" ^order-lantern-2 #to-pour
{POSTINGS}"""


def poured(shop: Shop, *arguments: str) -> Result:
    command = [*arguments, "-b", str(shop.books)]
    return CliRunner().invoke(poured_command, command, catch_exceptions=False)


def add(shop: Shop, text: str | bytes) -> bytes:
    """Add to the books; return all of them."""
    content = shop.books.read_bytes() + (text if isinstance(text, bytes) else text.encode())
    shop.books.write_bytes(content)
    return content


def marked(shop: Shop, *arguments: str) -> bytes:
    """Mark orders as poured on the 5th; return the books."""
    result = poured(shop, *arguments, "--on", "2026-03-05")
    assert result.exit_code == 0, result.output
    assert shop.errors() == []
    assert left_behind(shop) == []
    return shop.books.read_bytes()


def refused(shop: Shop, *arguments: str) -> str:
    """Fail to mark orders; return what is said."""
    old = {path: path.read_bytes() for path in shop.folder.rglob("*") if path.is_file()}
    result = poured(shop, *arguments)
    assert result.exit_code == 1, result.output
    assert {path: path.read_bytes() for path in shop.folder.rglob("*") if path.is_file()} == old
    return result.stderr


def waiting(shop: Shop) -> list[tuple[str, bool, object]]:
    """Return what the books say of each order: its narration, whether it waits, when it was poured."""
    entries, _, _ = loader.load_file(str(shop.books))
    return [
        (entry.narration or "", "to-pour" in (entry.tags or ()), entry.meta.get("poured"))
        for entry in entries
        if isinstance(entry, Transaction) and entry.links
    ]


DAY = datetime.date(2026, 3, 5)


@pytest.mark.parametrize("name", ["lantern-1", "order-lantern-1", "^order-lantern-1"])
def test_a_tag_makes_room_for_the_day(shop: Shop, name: str) -> None:
    old = add(shop, ORDERS)
    new = old.replace(
        b'"One" #to-pour ^order-lantern-1 ; by hand\n',
        b'"One" ^order-lantern-1 ; by hand\n  poured: 2026-03-05\n',
    )
    assert marked(shop, name) == new
    assert waiting(shop) == [("One", False, DAY), ("Two", True, None), ("Two again", True, None)]


def test_an_order_that_is_in_error_already_is_marked_all_the_same(shop: Shop) -> None:
    add(shop, """
2026-03-01 * "Too much" #to-pour ^order-lantern-7
  Income:Sales  -5000 CEDARHOUR @@ 12.00 USD
  Assets:Bank   12.00 USD
""")
    assert len(shop.errors()) == 1
    result = poured(shop, "lantern-7", "--on", "2026-03-05")
    assert result.exit_code == 0, result.output
    assert waiting(shop) == [("Too much", False, DAY)]
    assert len(shop.errors()) == 1


def test_all_transactions_of_an_order_are_marked(shop: Shop) -> None:
    old = add(shop, ORDERS)
    new = old.replace(b"   #to-pour   #gift\n", b"   #gift\n  poured: 2026-03-05\n")
    new = new.replace(b"again\" ^order-lantern-2 #to-pour\n", b"again\" ^order-lantern-2\n  poured: 2026-03-05\n")
    assert marked(shop, "lantern-2", "order-lantern-2") == new


def test_several_orders_are_marked_in_one_step(shop: Shop) -> None:
    add(shop, ORDERS)
    marked(shop, "lantern-2", "lantern-1")
    assert {(wait, day) for _, wait, day in waiting(shop)} == {(False, DAY)}


@pytest.mark.parametrize(
    ("head", "becomes"),
    [
        ('* "x"#to-pour ^order-1', '* "x" ^order-1\n  poured: D'),
        ('* "x" ^order-1#to-pour', '* "x" ^order-1\n  poured: D'),
        ('* "x" #to-pour #to-pour-not ^order-1', '* "x" #to-pour-not ^order-1\n  poured: D'),
        ('* "x"\t#to-pour\t^order-1  ; #to-pour', '* "x"\t^order-1  ; #to-pour\n  poured: D'),
        (
            '* "a \\" #to-pour" "b ; #to-pour" #to-pour ^order-1',
            '* "a \\" #to-pour" "b ; #to-pour" ^order-1\n  poured: D',
        ),
        ('* "two\n#to-pour lines" #to-pour ^order-1', '* "two\n#to-pour lines" ^order-1\n  poured: D'),
        ('* "x" ^order-1\n  #to-pour', '* "x" ^order-1\n  poured: D'),
        ('* "x" ^order-1\n\t#to-pour #gift', '* "x" ^order-1\n\tpoured: D\n\t#gift'),
        (
            '* "x" ^order-1\n  note: "#to-pour"\n  #gift #to-pour',
            '* "x" ^order-1\n  poured: D\n  note: "#to-pour"\n  #gift',
        ),
        ('* "x" #to-pour ^order-1\n  #to-pour', '* "x" ^order-1\n  poured: D'),
        ('! #to-pour ^order-1', '! ^order-1\n  poured: D'),
    ],
)
def test_wherever_the_tag_is_written(shop: Shop, head: str, becomes: str) -> None:
    old = add(shop, f"\n2026-03-01 {head}\n{POSTINGS}\n; #to-pour\n")
    new = old.replace(head.encode(), becomes.replace("D", "2026-03-05").encode())
    assert marked(shop, "1") == new


def test_every_other_byte_stays(shop: Shop) -> None:
    """Line endings are mixed, blanks stand at ends of lines, and the last line has no end."""
    text = (
        b'\n2026-03-01 *   "Caf\xc3\xa9"  #to-pour   ^order-1  \r\n'
        b"  Income:Sales      -5 CEDARHOUR @@   12.00 USD   ; \xef\xbb\xbf  \r\n"
        b"  Assets:Bank\n\n;   end\r\n\t\n;"
    )
    old = add(shop, text)
    new = old.replace(b'"  #to-pour   ^order-1  \r\n', b'"   ^order-1  \r\n  poured: 2026-03-05\r\n')
    assert marked(shop, "1") == new


@pytest.mark.parametrize(("head", "next_"), [(b"\r\n", b"\n"), (b"\n", b"\r\n")])
def test_the_day_ends_as_the_line_before_it(shop: Shop, head: bytes, next_: bytes) -> None:
    text = b'\n2026-03-01 * "x" ^order-1 #to-pour%s  Income:Sales  -5 CEDARHOUR @@ 12.00 USD%s  Assets:Bank\n'
    old = add(shop, text % (head, next_))
    assert marked(shop, "1") == old.replace(b" #to-pour" + head, head + b"  poured: 2026-03-05" + head)


def test_books_with_the_other_line_ending(shop: Shop) -> None:
    add(shop, ORDERS)
    shop.books.write_bytes(shop.books.read_bytes().replace(b"\n", b"\r\n"))
    new = marked(shop, "lantern-1")
    assert b"; by hand\r\n  poured: 2026-03-05\r\n  Income" in new
    assert new.count(b"\n") == new.count(b"\r\n")


def test_an_order_without_a_link_is_called_by_its_place(shop: Shop) -> None:
    line = shop.books.read_bytes().count(b"\n") + 2
    add(shop, f'\n2026-03-01 * "No link" #to-pour\n{POSTINGS}')
    assert b"#to-pour" not in marked(shop, f"main.beancount:{line}")


def test_the_day_is_today_unless_stated(shop: Shop) -> None:
    add(shop, ORDERS)
    def today() -> datetime.date:
        return datetime.datetime.now().astimezone().date()

    before = today()
    assert poured(shop, "lantern-1").exit_code == 0
    assert waiting(shop)[0][2] in {before, today()}


def test_a_dry_run_shows_the_change(shop: Shop) -> None:
    old = add(shop, ORDERS)
    line = old[: old.index(b'"One"')].count(b"\n") + 1
    result = poured(shop, "lantern-1", "--on", "2026-03-05", "--dry-run")
    assert result.stdout.splitlines() == [
        f"main.beancount:{line}",
        '- 2026-03-01 * "One" #to-pour ^order-lantern-1 ; by hand',
        '+ 2026-03-01 * "One" ^order-lantern-1 ; by hand',
        "+   poured: 2026-03-05",
    ]
    assert shop.books.read_bytes() == old


# What is refused; nothing is written then.


def test_one_unknown_order_stops_all(shop: Shop) -> None:
    add(shop, ORDERS)
    said = refused(shop, "lantern-1", "lantren-2")
    assert "lantren-2: expected an order of the books, found none of this name; near it are lantern-2" in said


def test_the_number_of_an_order_alone_is_near_it(shop: Shop) -> None:
    add(shop, ORDERS)
    assert "near it are lantern-2" in refused(shop, "2")


def test_nothing_near(shop: Shop) -> None:
    assert "no order waits to be poured" in refused(shop, "zzz")
    add(shop, ORDERS)
    assert "to be poured are lantern-1, lantern-2" in refused(shop, "zzz")


def test_an_order_poured_already(shop: Shop) -> None:
    add(shop, ORDERS)
    marked(shop, "lantern-1")
    assert "lantern-1 was poured on 2026-03-05 already" in refused(shop, "lantern-1")


def test_an_order_that_does_not_wait(shop: Shop) -> None:
    add(shop, ORDERS.replace("#to-pour", ""))
    assert "lantern-1 does not wait to be poured: it has no #to-pour" in refused(shop, "lantern-1")


def test_a_day_and_the_tag_together(shop: Shop) -> None:
    add(shop, ORDERS.replace('  event: "lantern/sale/2"', "  poured: 2026-03-04"))
    assert "has poured: 2026-03-04 already, and #to-pour beside it; take off the tag" in refused(shop, "lantern-2")


@pytest.mark.parametrize(("ordered", "first"), [("", "2026-03-01"), ("\n  ordered: 2026-02-27", "2026-02-27")])
def test_a_day_before_the_order(shop: Shop, ordered: str, first: str) -> None:
    add(shop, ORDERS.replace(" ; by hand", ordered))
    said = refused(shop, "lantern-1", "--on", "2026-02-26")
    assert f"lantern-1 is of {first}; expected that day or later, found 2026-02-26" in said


def test_a_tag_that_is_pushed_on_many(shop: Shop) -> None:
    old = add(shop, f"\npushtag #to-pour\n{ORDERS}\npoptag #to-pour\n")
    line = old[: old.index(b"pushtag")].count(b"\n") + 1
    assert f"main.beancount:{line}: pushtag puts #to-pour on lantern-1" in refused(shop, "lantern-1")


def test_a_tag_that_was_pushed_and_taken_off_again(shop: Shop) -> None:
    add(shop, f"\npushtag #to-pour\npoptag #to-pour\n{ORDERS}")
    marked(shop, "lantern-1")


def test_a_new_error_in_the_books_stops_it(shop: Shop) -> None:
    """All 100 mL wait, and are counted on the morning of the 4th; had they been poured before, none were there."""
    text = """
2026-03-01 * "Most of it" ^order-1 #to-pour
  Income:Sales  -100 CEDARHOUR @@ 200.00 USD
  Assets:Bank
2026-03-04 custom "stocktake" "CH-1" 100 CEDARHOUR
"""
    add(shop, text)
    assert shop.errors() == []
    said = refused(shop, "1", "--on", "2026-03-02")
    assert "the books have nothing left" in said
    assert "would get 1 new error; nothing is written" in said
    assert b"poured" in marked(shop, "1")


def test_books_that_somebody_changes_meanwhile(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    add(shop, ORDERS)
    load = booking._load

    def meanwhile(file: Path, *arguments: object) -> object:
        if file != shop.books:
            shop.books.write_bytes(shop.books.read_bytes() + b"; more\n")
        return load(file, *arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(booking, "_load", meanwhile)
    result = poured(shop, "lantern-1")
    assert result.exit_code == 1
    assert "changed while the update ran; nothing is written" in result.stderr
    assert shop.books.read_bytes().endswith(b"; more\n")
    assert b"poured" not in shop.books.read_bytes()
    assert left_behind(shop) == []


# Books in several files.


def in_files(shop: Shop, include: str, *names: str) -> list[Path]:
    """Lay an order a file beside the books, and include them."""
    add(shop, include)
    paths = [shop.folder / name for name in names]
    for number, path in enumerate(paths, 1):
        path.parent.mkdir(exist_ok=True)
        path.write_text(f'2026-03-01 * "In a file" #to-pour ^order-{number}\n{POSTINGS}', encoding="utf-8")
    return paths


@pytest.mark.parametrize("include", ['include "more/one.beancount"\n', 'include "*/*.beancount"\r\n; after\n'])
def test_an_order_in_an_included_file(shop: Shop, include: str) -> None:
    one, two = in_files(shop, include, "more/one.beancount", "more/two.beancount")
    main, other, old = shop.books.read_bytes(), two.read_bytes(), one.read_bytes()
    assert marked(shop, "1") == main
    assert two.read_bytes() == other
    assert one.read_bytes() == old.replace(b" #to-pour ^order-1\n", b" ^order-1\n  poured: 2026-03-05\n")


def test_files_that_other_lines_include_stay_included(shop: Shop) -> None:
    each = 'include "more/one.beancount"\ninclude "more/two.beancount"\n'
    one, two = in_files(shop, each, "more/one.beancount", "more/two.beancount")
    main, other = shop.books.read_bytes(), two.read_bytes()
    assert marked(shop, "1") == main
    assert two.read_bytes() == other
    assert b"poured: 2026-03-05" in one.read_bytes()


def test_an_order_in_a_file_that_an_included_one_includes(shop: Shop) -> None:
    [deep] = in_files(shop, 'include "a/middle.beancount"\n', "a/deep.beancount")
    middle = shop.folder / "a" / "middle.beancount"
    middle.write_text('\ninclude "deep.beancount"', encoding="utf-8")
    marked(shop, "1")
    assert b"poured: 2026-03-05" in deep.read_bytes()
    assert middle.read_text(encoding="utf-8") == '\ninclude "deep.beancount"'


def test_errors_that_included_files_have_already_are_not_new(shop: Shop) -> None:
    one, _ = in_files(shop, 'include "*/*.beancount"\n', "more/one.beancount", "more/two.beancount")
    one.write_bytes(one.read_bytes() + b"\n2026-03-09 balance Assets:Bank  1.00 USD\n")
    add(shop, "2026-03-10 balance Assets:Bank  2.00 USD\n")
    assert len(shop.errors()) == 2
    result = poured(shop, "1")
    assert result.exit_code == 0, result.output
    assert len(shop.errors()) == 2


def test_orders_in_several_files_are_not_one_step(shop: Shop) -> None:
    in_files(shop, 'include "*/*.beancount"\n', "more/one.beancount", "more/two.beancount")
    said = refused(shop, "1", "2")
    assert "mark those of one file at a time: 1 in one.beancount:1, 2 in two.beancount:1" in said


@pytest.mark.parametrize("changed", ["main.beancount", "one.beancount"])
def test_files_that_somebody_changes_meanwhile(shop: Shop, monkeypatch: pytest.MonkeyPatch, changed: str) -> None:
    [one] = in_files(shop, 'include "one.beancount"\n', "one.beancount")
    load = booking._load

    def meanwhile(file: Path, *arguments: object) -> object:
        if file != shop.books:
            path = shop.folder / changed
            path.write_bytes(path.read_bytes() + b"; more\n")
        return load(file, *arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(booking, "_load", meanwhile)
    result = poured(shop, "1")
    assert result.exit_code == 1
    assert f"{changed}: changed while the update ran; nothing is written" in result.stderr
    assert b"poured" not in one.read_bytes()
    assert left_behind(shop) == []


def test_an_included_file_that_is_a_link_stays_one(shop: Shop) -> None:
    [one] = in_files(shop, 'include "one.beancount"\n', "one.beancount")
    real = one.rename(shop.folder / "real.txt")
    one.symlink_to(real)
    marked(shop, "1")
    assert one.is_symlink()
    assert b"poured" in real.read_bytes()


# Killed, and beside others.


@pytest.mark.parametrize("included", [False, True])
def test_killed_at_any_place(shop: Shop, tmp_path_factory: pytest.TempPathFactory, included: bool) -> None:
    if included:
        [one] = in_files(shop, 'include "one.beancount"\n', "one.beancount")
    else:
        one = shop.books
        add(shop, ORDERS.replace("lantern-", ""))
    name = one.name
    main, old = shop.books.read_bytes(), one.read_bytes()
    arguments = ("1", "--on", "2026-03-05", "-b", "{}/main.beancount")
    runs = killed(shop, tmp_path_factory.mktemp("killed"), POURED, *arguments)
    new = (runs[-1][1].folder / name).read_bytes()
    assert new.count(b"poured: 2026-03-05") == 1
    places = [place for place, _ in runs]
    assert {"half written", "before replace", "after replace", None} <= set(places)
    renamed = places.index("after replace")
    books = [(left.folder / name).read_bytes() for _, left in runs]
    assert books == [old] * renamed + [new] * (len(books) - renamed)
    for content, (_, left) in zip(books, runs, strict=True):
        assert left.errors() == []
        if included:
            assert left.books.read_bytes() == main
        if content == old:
            assert poured(left, "1", "--on", "2026-03-05").exit_code == 0
            assert (left.folder / name).read_bytes() == new
            assert left_behind(left) == []


def test_beside_an_import(shop: Shop) -> None:
    add(shop, ORDERS)
    path = str(shop.file({"Order": "7"}, {"Order": "8"}))
    at_once(
        [IMPORT, path, "-b", str(shop.books)],
        [POURED, "lantern-1", "-b", str(shop.books)],
        [POURED, "lantern-2", "-b", str(shop.books)],
    )
    text = shop.books.read_text(encoding="utf-8")
    assert text.count("event:") == 3
    assert text.count("poured:") == 3
    assert "#to-pour" not in text
    assert shop.errors() == []
