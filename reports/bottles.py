"""Payback per bottle: what each cost, where its mL went, what it earned, and since when it has paid for itself.

Two meanings of "paid for itself" stand side by side and always reconcile: money taken in (`net` against
`cost`) and profit earned: net - cost = profit - stock_value - cost_kept.
"""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from itertools import groupby
from typing import TYPE_CHECKING, Any

import pandas as pd
from beancount.core.number import ZERO

from millilot.ledger.goods import EXACT
from millilot.ledger.kept import once_per_books
from millilot.ledger.money import minor_unit
from millilot.ledger.records import ACQUIRED, COST_OF_GOODS, Kind
from millilot.reports import rounding
from millilot.reports.allocation import SIGN_IN_NET, Column, Share, allocate

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Mapping

    from millilot.ledger.records import Books, Bottle, Move

Row = dict[str, Any]

#: Fragrance given away to sell more; what went to packing or supplies counts as such.
GIVEN = frozenset({Kind.SAMPLED, Kind.USED})

#: Where mL went, by the column that counts them; what came in counts positive, what left too.
ML_COLUMNS: Mapping[str, tuple[int, frozenset[Kind]]] = {
    "ml_bought": (1, ACQUIRED),
    "ml_found": (1, frozenset({Kind.FOUND})),
    "ml_sold": (-1, frozenset({Kind.SOLD})),
    "ml_sampled": (-1, GIVEN),
    "ml_lost": (-1, frozenset({Kind.POUR_LOSS, Kind.SHRINKAGE, Kind.LOST})),
    "ml_kept": (-1, frozenset({Kind.KEPT})),
    "ml_left": (1, frozenset(Kind)),
}

#: Where the cost of a bottle is now; these columns add up to its cost.
COST_COLUMNS: Mapping[str, tuple[int, frozenset[Kind]]] = {
    "cost_of_goods": (-1, COST_OF_GOODS),
    "cost_sampled": (-1, GIVEN),
    "cost_lost": (-1, frozenset({Kind.LOST})),
    "cost_kept": (-1, frozenset({Kind.KEPT})),
    "stock_value": (1, frozenset(Kind)),
}

COLUMNS = (
    "bottle",
    "fragrance",
    "bought",
    "cost",
    "ml_bought",
    "cost_per_ml",
    "ml_found",
    "ml_sold",
    "ml_sampled",
    "ml_lost",
    "ml_kept",
    "ml_left",
    "sales",
    "of_which_swaps",
    "postage_charged",
    "refunds",
    "fees",
    "postage",
    "supplies",
    "compensation",
    "net",
    "payback",
    "paid_back_on",
    "to_recover",
    "cost_of_goods",
    "cost_sampled",
    "cost_lost",
    "cost_kept",
    "profit",
    "stock_value",
)

#: The columns of amounts of money.
MONEY_COLUMNS = ("cost", *Column, "net", "to_recover", *COST_COLUMNS, "profit")

_FOUR_DIGITS = Decimal("0.0001")


@once_per_books
def bottles(books: Books) -> pd.DataFrame:
    """Return the exact figures of every bottle of fragrance, oldest first.

    Returns:
        A frame with COLUMNS and one row a bottle, and last a row without a bottle for what none could be
        found for. Cells are Decimal (money, mL, ratios), date, str or None; payback has 4 digits already.
    """
    moves: dict[str, list[Move]] = defaultdict(list)
    for record in books.records:
        for move in record.moves:
            moves[move.bottle].append(move)
    shares: dict[str | None, list[Share]] = defaultdict(list)
    for share in allocate(books):
        shares[share.bottle].append(share)
    rows = [_bottle_row(bottle, moves[name], shares[name]) for name, bottle in books.fragrances.items()]
    unallocated = _row({"bottle": None, "fragrance": None, "bought": None}, [], shares[None])
    return _frame([*rows, unallocated])


@once_per_books
def rounded_bottles(books: Books) -> pd.DataFrame:
    """Return the figures of every bottle of fragrance as all reports show them, in minor units."""
    return rounded(bottles(books), books.currency)


def rounded(exact: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Round the exact figures so that each row and each column of money adds up.

    Args:
        exact: what `bottles` returned.
        currency: the operating currency, whose minor unit counts.
    """
    unit = minor_unit(currency)
    rows = rows_of(exact)
    costs = rounding.table(
        [[row[name] for name in COST_COLUMNS] for row in rows],
        unit,
        first=[list(COST_COLUMNS).index(name) for name in ("stock_value", "cost_of_goods")],
    )
    for row, cells in zip(rows, costs, strict=True):
        row.update(zip(COST_COLUMNS, cells, strict=True), cost=sum(cells, ZERO))
    split = [[row[Column.SWAPS], row[Column.SALES] - row[Column.SWAPS]] for row in rows]
    for column in Column:
        # The last row, of no bottle, stands in other reports too.
        amounts = rounding.shares([row[column] for row in rows], unit, first=-1)
        for row, amount in zip(rows, amounts, strict=True):
            row[column] = amount
    if any(swaps for swaps, _ in split):
        # Each by itself, swaps could come out above the sales that hold them.
        for row, (swaps, others) in zip(rows, rounding.table(split, unit), strict=True):
            row[Column.SWAPS], row[Column.SALES] = swaps, swaps + others
    for row in rows:
        for name, amount in _results(row).items():
            row[name] = None if amount is None else rounding.nearest(amount, unit)
        row.update({name: plain(row[name]) for name in ML_COLUMNS})
        if row["cost_per_ml"] is not None:
            row["cost_per_ml"] = rounding.nearest(row["cost_per_ml"], _FOUR_DIGITS)
    return _frame(rows)


def rows_of(frame: pd.DataFrame) -> list[Row]:
    """Return the rows of a frame, each by column."""
    return [dict(zip(COLUMNS, cells, strict=True)) for cells in frame.itertuples(index=False, name=None)]


def totals(frame: pd.DataFrame) -> Row:
    """Return the sums of the columns of money, and the payback of all bottles together to 4 digits."""
    sums: Row = {name: sum(frame[name].dropna(), ZERO) for name in MONEY_COLUMNS}
    return {**sums, "payback": _ratio(sums["net"], sums["cost"])}


def net_by_day(shares: Iterable[Share]) -> Iterator[tuple[datetime.date, Decimal]]:
    """Yield each day with an amount and the net of all amounts up to the end of that day.

    Args:
        shares: the shares of one bottle, by day.
    """
    net = ZERO
    for day, of_day in groupby(shares, key=lambda share: share.date):
        net += sum((SIGN_IN_NET.get(share.column, 0) * share.amount for share in of_day), ZERO)
        yield day, net


def plain(quantity: Decimal) -> Decimal:
    """Return a quantity without trailing zeros and without an exponent."""
    short = quantity.normalize() + ZERO
    return short.quantize(Decimal(1)) if short == short.to_integral_value() else short


def _frame(rows: list[Row]) -> pd.DataFrame:
    # Object columns keep Decimal and None as they are.
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _bottle_row(bottle: Bottle, moves: list[Move], shares: list[Share]) -> Row:
    row = _row(
        {"bottle": bottle.name, "fragrance": bottle.commodity.name, "bought": bottle.bought}, moves, shares,
    )
    row["payback"] = _ratio(row["net"], row["cost"])
    row["cost_per_ml"] = row["cost"] / row["ml_bought"] if row["ml_bought"] else None
    row["paid_back_on"] = _paid_back_on(moves, shares) if row["ml_bought"] else None
    return row


def _row(head: Row, moves: Iterable[Move], shares: Iterable[Share]) -> Row:
    """Return all columns that are sums, and those that follow from them by adding and taking away."""
    quantities, costs = dict.fromkeys(Kind, ZERO), dict.fromkeys(Kind, ZERO)
    for move in moves:
        quantities[move.kind] += move.quantity
        costs[move.kind] += move.cost
    row: Row = {**head, "cost_per_ml": None, "payback": None, "paid_back_on": None}
    row["cost"] = sum((costs[kind] for kind in Kind if kind in ACQUIRED), ZERO)
    for columns, amounts in ((ML_COLUMNS, quantities), (COST_COLUMNS, costs)):
        for name, (sign, kinds) in columns.items():
            row[name] = sign * sum((amounts[kind] for kind in Kind if kind in kinds), ZERO) + ZERO
    row.update(dict.fromkeys(Column, ZERO))
    for share in shares:
        row[share.column] += share.amount
    return {**row, **_results(row)}


def _results(row: Row) -> Row:
    """Return the columns that follow from others of their row; only a bottle can have something to recover."""
    net = sum((sign * row[column] for column, sign in SIGN_IN_NET.items()), ZERO)
    return {
        "net": net,
        "to_recover": max(row["cost"] - net, ZERO) if row["bottle"] is not None else None,
        "profit": net - row["cost_of_goods"] - row["cost_sampled"] - row["cost_lost"],
    }


def _ratio(net: Decimal, cost: Decimal) -> Decimal | None:
    return rounding.nearest(net / cost, _FOUR_DIGITS) if cost > EXACT else None


def _paid_back_on(moves: Iterable[Move], shares: Iterable[Share]) -> datetime.date | None:
    """Return the day from which the net has stayed at or above what the bottle had cost by then, if it is now."""
    changes: dict[datetime.date, Decimal] = defaultdict(Decimal)
    for move in moves:
        if move.kind in ACQUIRED:
            changes[move.date] -= move.cost
    for share in shares:
        changes[share.date] += SIGN_IN_NET.get(share.column, 0) * share.amount
    since: datetime.date | None = None
    surplus = ZERO
    for day in sorted(changes):
        surplus += changes[day]
        if surplus < -EXACT:
            since = None
        elif since is None:
            since = day
    return since
