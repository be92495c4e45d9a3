"""Files become rows, whatever program wrote them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from millilot.importers.dialect import FileShape
from millilot.importers.problems import FileError
from millilot.importers.table import Row, read_headings, read_rows

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path


def rows(
    folder: Path,
    content: bytes,
    shape: FileShape = FileShape(),  # noqa: B008
    wanted: Collection[str] = ("Order", "Item"),
) -> list[Row]:
    path = folder / "orders.csv"
    path.write_bytes(content)
    return read_rows(path, shape, wanted)


@pytest.mark.parametrize(
    ("content", "shape"),
    [
        (b"Order,Item\n#1001,Caf\xc3\xa9\n", FileShape()),
        (b"\xef\xbb\xbfOrder,Item\r\n#1001,Caf\xc3\xa9\r\n", FileShape()),
        (b"\xef\xbb\xbfOrder,Item\r\n#1001,Caf\xc3\xa9", FileShape(encoding="UTF-8")),
        (b"Order,Item\n#1001,Caf\xe9\n", FileShape(encoding="windows-1252")),
        ("Order\tItem\n#1001\tCaf\xe9\n".encode("utf-16"), FileShape(delimiter="\t", encoding="utf-16")),
        ("Order;Item\n#1001;Caf\xe9\n".encode(), FileShape(delimiter=";")),
    ],
)
def test_encodings_and_delimiters(tmp_path: Path, content: bytes, shape: FileShape) -> None:
    assert rows(tmp_path, content, shape) == [Row(2, {"Order": "#1001", "Item": "Caf\xe9"})]


def test_a_row_has_the_line_of_the_file_it_begins_on(tmp_path: Path) -> None:
    content = b'Lantern report\nyour orders\nOrder,Note\n1,"two\n# lines"\n\n,\n2,x\n'
    read = rows(tmp_path, content, FileShape(skip_lines=2), ["Order", "Note"])
    assert [(row.number, row["Order"], row["Note"]) for row in read] == [(4, "1", "two # lines"), (8, "2", "x")]


def test_cells_come_out_as_one_printable_line(tmp_path: Path) -> None:
    content = "Order,Item\n1,\"a\x1b[31m\u202eb\u00a0 c\t\n d\"\n".encode()
    assert rows(tmp_path, content)[0]["Item"] == "a [31m b c d"


def test_a_row_of_another_width_says_so(tmp_path: Path) -> None:
    short, spare, long = rows(tmp_path, b"Order,Item\n1\n2,x,,\n3,x,y\n")
    assert short.problem == "expected 2 cells as in the headings, found 1"
    assert (short["Order"], short["Item"]) == ("1", "")
    assert spare.problem == ""
    assert long.problem == "expected 2 cells as in the headings, found 3"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "expected a row of headings, found none"),
        (b"Number,Item\n", "expected one heading 'Order', found none"),
        (b"Order,Order\n", "expected one heading 'Order', found 2"),
        (b'Order\n1\n"2\n3\n', r"orders\.csv, row 3: cannot be read as cells"),
        ("Order\n1\nCaf\xe9 \xe0 la cr\xe8me br\xfbl\xe9e\n".encode("latin-1"), "row 3: is not written in UTF-8"),
    ],
)
def test_a_file_that_cannot_be_read(tmp_path: Path, content: bytes, message: str) -> None:
    with pytest.raises(FileError, match=message):
        rows(tmp_path, content, wanted=["Order"])


def test_a_stated_encoding_that_is_wrong(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"row 2: is not written in ascii$"):
        rows(tmp_path, b"Order\nCaf\xc3\xa9\n", FileShape(encoding="ascii"), ["Order"])


@pytest.mark.parametrize("encoding", ["ascii", "utf-7", "utf-16-le", "cp932", "gb18030", "idna", "cp1252"])
def test_any_stated_encoding_that_is_wrong(tmp_path: Path, encoding: str) -> None:
    content = b"Order\n\x81\xff\xfe\xd8\x81" + bytes(range(128, 256))
    with pytest.raises(FileError, match=r"orders\.csv, row [12]: "):
        rows(tmp_path, content, FileShape(encoding=encoding), ["Order"])


def test_a_sign_for_what_was_lost_before_is_text(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="row 3: is not written in UTF-8"):
        rows(tmp_path, "Order\n\ufffd\n".encode() + b"\xe9\n", wanted=["Order"])
    assert rows(tmp_path, "Order\n\ufffd\n".encode(), wanted=["Order"])[0]["Order"] == "\ufffd"


def test_headings_are_found_at_the_start_of_a_long_file(tmp_path: Path) -> None:
    path = tmp_path / "orders.csv"
    path.write_bytes(b'\xef\xbb\xbfOrder,Item\n1,"' + "\xe9".encode() * 100_000 + b'"\n')
    assert read_headings(path, FileShape()) == ("Order", "Item")


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read: No such file"):
        read_headings(tmp_path / "none.csv", FileShape())
