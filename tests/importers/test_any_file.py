"""A table written as any program may write it reads back as the same table."""

from __future__ import annotations

import csv
import io
import tempfile
from pathlib import Path
from typing import Literal, NamedTuple

from hypothesis import given
from hypothesis import strategies as st

from millilot.importers.dialect import FileShape
from millilot.importers.table import DELIMITERS, HEADINGS_AGAIN, read_rows

HEADINGS = ("Order", "Item", "Note to the seller")

#: What may stand in a cell; those that begin with a space or a quote are the hard ones.
TEXT = st.text(st.sampled_from("ab1\u00e9\u0101\u00df\u4e00,;|\t'\"\n =@#\u00a0\u2212"), max_size=12)
ROWS = st.lists(st.tuples(st.integers(1, 9999).map(str), TEXT, TEXT), max_size=6)
PREAMBLE = st.lists(
    st.sampled_from(["", "Lantern", 'the "Order" list', "Order,Item", ",,;;", "'5\" label"]), max_size=3,
)


class Dialect(NamedTuple):
    """How a program writes tables."""

    delimiter: str
    encoding: str
    line_end: str
    quoting: Literal[0, 1]


DIALECTS = st.builds(
    Dialect,
    st.sampled_from(DELIMITERS),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32"]),
    st.sampled_from(["\n", "\r\n"]),
    st.sampled_from([csv.QUOTE_ALL, csv.QUOTE_MINIMAL]),
) | st.builds(
    # Where lines end as they once did, Python's writer would not quote a line break.
    Dialect, st.sampled_from(DELIMITERS), st.just("utf-8"), st.just("\r"), st.just(csv.QUOTE_ALL),
)


def one_line(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


@given(ROWS, PREAMBLE, st.permutations([*HEADINGS, "Buyer", ""]), DIALECTS, st.integers(0, 6))
def test_the_same_table_comes_back(
    table: list[tuple[str, str, str]], preamble: list[str], order: list[str], dialect: Dialect, again: int,
) -> None:
    text = io.StringIO(newline="")
    text.writelines(f"{line}{dialect.line_end}" for line in preamble)
    writer = csv.writer(
        text, delimiter=dialect.delimiter, lineterminator=dialect.line_end, quoting=dialect.quoting,
    )
    writer.writerow(order)
    expected = []
    for place, cells in enumerate(table):
        if place == again:
            writer.writerow(order)
            expected.append(HEADINGS_AGAIN)
        named = dict(zip(HEADINGS, cells, strict=True))
        writer.writerow([named.get(heading, "somebody") for heading in order])
        expected.append("|".join(map(one_line, cells)))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "orders.csv"
        path.write_bytes(text.getvalue().encode(dialect.encoding))
        read = read_rows(path, FileShape(), HEADINGS)
    assert [row.skip or "|".join(row[heading] for heading in HEADINGS) for row in read] == expected
    assert not any(row.problem for row in read)
