"""Goods: cost of goods sold by bottle, what is left, and what each bottle came to."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING

from beancount.core.number import ZERO

from millilot.ledger.goods import EXACT
from millilot.ledger.records import ACQUIRED, Kind
from millilot.reports import rounding
from millilot.reports.bottles import GIVEN, ML_COLUMNS, plain, rounded_bottles, rows_of
from millilot.reports.contributed import contributed
from millilot.reports.measured import measurements
from millilot.reports.pack.table import Column, Holds, Row, Table, minus, plus
from millilot.reports.year_lines import PURCHASED

if TYPE_CHECKING:
    from collections.abc import Mapping

    from millilot.reports.pack.span import Span
    from millilot.reports.pack.table import Value

#: What the year's lines of cost are made of: the sign of the move, and its kinds.
_MOVED: Mapping[str, tuple[int, frozenset[Kind]]] = {
    "purchases": (1, PURCHASED),
    "contributed": (1, frozenset({Kind.CONTRIBUTED})),
    "personal_use": (-1, frozenset({Kind.KEPT})),
    "samples": (-1, GIVEN),
    "losses": (-1, frozenset({Kind.LOST})),
}

#: How the columns of cost add up.
_COST = (
    *plus("opening_stock", "purchases", "contributed"),
    *minus("personal_use", "samples", "losses"),
    *plus("supplies", "other_costs"),
    *minus("closing_stock"),
)


def cost_of_goods(span: Span) -> Table:
    """Return cost of goods sold by bottle: each column adds up to the year's line of that name."""
    before = rows_of(rounded_bottles(span.opening))
    opening, closing = ({row["bottle"]: row["stock_value"] for row in rows} for rows in (before, span.bottles))
    moved: dict[str, dict[str, Decimal]] = {name: defaultdict(Decimal) for name in _MOVED}
    for record in span.records:
        for move in record.moves:
            for name, (sign, kinds) in _MOVED.items():
                if move.kind in kinds:
                    moved[name][move.bottle] += sign * move.cost
    fragrances = span.closing.fragrances
    amounts: dict[str, Mapping[str, Decimal]] = {"opening_stock": opening, "closing_stock": closing}
    for name, by_bottle in moved.items():
        exact = [by_bottle[bottle] for bottle in fragrances]
        costs = rounding.shares_of(exact, getattr(span.year, name), span.unit)
        amounts[name] = dict(zip(fragrances, costs, strict=True))
    nought = ZERO.quantize(span.unit)
    rows = []
    for name, bottle in fragrances.items():
        cells = {line: of_bottle.get(name, nought) for line, of_bottle in amounts.items()}
        if any(cells.values()):
            rows.append(_cost_row({"bottle": name, "fragrance": bottle.commodity.name}, cells, nought))
    for line, what in (("supplies", "Supplies used"), ("other_costs", "Other costs")):
        if getattr(span.year, line):
            amount = getattr(span.year, line)
            rows.append(_cost_row({"bottle": None, "fragrance": what}, {line: amount}, nought))
    money = [
        Column(name, heading, Holds.MONEY, total=True)
        for name, heading in (
            ("opening_stock", "Opening stock"),
            ("purchases", "Purchases"),
            ("contributed", "Contributed"),
            ("personal_use", "less personal use"),
            ("samples", "less samples"),
            ("losses", "less losses"),
            ("supplies", "Supplies"),
            ("other_costs", "Other costs"),
            ("closing_stock", "less closing stock"),
        )
    ]
    return Table(
        "Cost of goods",
        f"Cost of goods sold by bottle, {span.name}",
        (
            Column("bottle", "Bottle"),
            Column("fragrance", "Fragrance"),
            *money,
            Column("cost_of_goods_sold", "Cost of goods sold", Holds.MONEY, total=True, of=_COST),
        ),
        tuple(rows),
        "Purchases hold delivery, duty and tax on them. Cost of goods holds what was sold, what stayed in the "
        "syringe and what was missing when counted.",
    )


def _cost_row(head: Mapping[str, Value], amounts: Mapping[str, Decimal], nought: Decimal) -> Row:
    lines = {term.name: amounts.get(term.name, nought) for term in _COST}
    cost = sum((term.sign * lines[term.name] for term in _COST), nought)
    return Row({**head, **lines, "cost_of_goods_sold": cost})


def closing_stock(span: Span) -> Table:
    """Return the list of fragrance at hand: its values add up to the year's closing stock."""
    books = span.closing
    measured = measurements(books, span.end)
    rows = []
    for row in span.bottles:
        if row["bottle"] is None or not (row["ml_left"] or row["stock_value"]):
            continue
        bottle = books.fragrances[row["bottle"]]
        last = measured[bottle.name][-1] if measured[bottle.name] else None
        by = "by weight" if last and last.entry.type == "weighing" else "by volume"
        rows.append(
            Row(
                {
                    "bottle": bottle.name,
                    "fragrance": bottle.commodity.name,
                    "bought": bottle.bought,
                    "batch": bottle.batch,
                    "ml_start": row["ml_bought"],
                    "ml_left": row["ml_left"],
                    "cost_per_ml": row["cost_per_ml"],
                    "stock_value": row["stock_value"],
                    "how_measured": by if last else "not measured",
                    "measured_on": last.day if last else None,
                    "measured_ml": plain(last.quantity) if last else None,
                    "estimated": "yes" if bottle.estimated else None,
                },
            ),
        )
    return Table(
        "Closing stock",
        f"Fragrance on hand on {span.end}",
        (
            Column("bottle", "Bottle"),
            Column("fragrance", "Fragrance"),
            Column("bought", "Bought", Holds.DATE),
            Column("batch", "Batch"),
            Column("ml_start", "mL at start", Holds.QUANTITY, total=True),
            Column("ml_left", "mL left", Holds.QUANTITY, total=True),
            Column("cost_per_ml", "Cost per mL", Holds.UNIT_COST),
            Column("stock_value", "Value at cost", Holds.MONEY, total=True),
            Column("how_measured", "How measured"),
            Column("measured_on", "Measured on", Holds.DATE),
            Column("measured_ml", "mL measured", Holds.QUANTITY),
            Column("estimated", "Cost estimated"),
        ),
        tuple(rows),
        "What was drawn after the last measurement is taken off by the books. Vials poured and not sold are not "
        "kept apart: what is not sold is still in its bottle in the books.",
    )


def supplies_on_hand(span: Span) -> Table:
    """Return the vials, labels and mailers at hand: their values add up to the year's."""
    books = span.closing
    came: dict[str, Decimal] = defaultdict(Decimal)
    left: dict[str, Decimal] = defaultdict(Decimal)
    value: dict[str, Decimal] = defaultdict(Decimal)
    paid: dict[str, Decimal] = defaultdict(Decimal)
    for record in books.records:
        for move in record.moves:
            left[move.bottle] += move.quantity
            value[move.bottle] += move.cost
            if move.kind in ACQUIRED:
                came[move.bottle] += move.quantity
                paid[move.bottle] += move.cost
    packs = [
        pack for name, pack in books.bottles.items()
        if not pack.commodity.is_fragrance and (left[name] or abs(value[name]) > EXACT)
    ]
    values = rounding.shares_of([value[pack.name] for pack in packs], span.year.supplies_on_hand_close, span.unit)
    rows = tuple(
        Row(
            {
                "supply": pack.commodity.name,
                "bought": pack.bought,
                "pieces_start": plain(came[pack.name]),
                "pieces_left": plain(left[pack.name]),
                "cost_each": _each(paid[pack.name], came[pack.name], span),
                "stock_value": amount,
            },
        )
        for pack, amount in zip(packs, values, strict=True)
    )
    return Table(
        "Supplies on hand",
        f"Supplies on hand on {span.end}",
        (
            Column("supply", "Supply"),
            Column("bought", "Bought", Holds.DATE),
            Column("pieces_start", "Pieces at start", Holds.QUANTITY),
            Column("pieces_left", "Pieces left", Holds.QUANTITY),
            Column("cost_each", "Cost each", Holds.UNIT_COST),
            Column("stock_value", "Value at cost", Holds.MONEY, total=True),
        ),
        rows,
        "Not in closing stock, which is fragrance only; both together are the balance of the stock accounts.",
    )


def _each(paid: Decimal, pieces: Decimal, span: Span) -> Decimal | None:
    return rounding.nearest(paid / pieces, span.unit.scaleb(-2)) if pieces else None


#: What the two tables of bottles show, in one of which a page has no room for all.
_MONEY = (
    "bottle", "fragrance", "cost", "sales", "postage_charged", "refunds", "fees", "postage", "supplies",
    "compensation", "net", "payback", "paid_back_on", "cost_of_goods", "cost_sampled", "cost_lost", "profit",
)
_MILLILITRES = ("bottle", "fragrance", "bought", *ML_COLUMNS, "cost", "cost_per_ml", "cost_kept", "stock_value")

#: Columns that are sums of others of their row.
_SUMS = {
    "net": (
        *plus("sales", "postage_charged"), *minus("refunds", "fees", "postage", "supplies"), *plus("compensation"),
    ),
    "profit": (*plus("net"), *minus("cost_of_goods", "cost_sampled", "cost_lost")),
    "ml_left": (*plus("ml_bought", "ml_found"), *minus("ml_sold", "ml_sampled", "ml_lost", "ml_kept")),
}
_KINDS = {
    **dict.fromkeys(("bottle", "fragrance"), Holds.TEXT),
    **dict.fromkeys(("bought", "paid_back_on"), Holds.DATE),
    **dict.fromkeys(ML_COLUMNS, Holds.QUANTITY),
    "cost_per_ml": Holds.UNIT_COST,
    "payback": Holds.RATIO,
}


def bottle_results(span: Span) -> Table:
    """Return what each bottle came to, from its purchase to the last day; last what belongs to none."""
    return Table(
        "Bottle results",
        f"What each bottle came to, from its purchase to {span.end}",
        tuple(map(_bottle_column, _MONEY)),
        _bottle_rows(span),
        "All years together. Net is the cash a bottle brought back: sales and postage charged less refunds, fees, "
        "postage and supplies, with compensation. Profit takes off the cost of what was sold, sampled and lost.",
    )


def bottle_millilitres(span: Span) -> Table:
    """Return where the mL of each bottle went, from its purchase to the last day."""
    return Table(
        "Bottle mL",
        f"Where the mL of each bottle went, from its purchase to {span.end}",
        tuple(map(_bottle_column, _MILLILITRES)),
        _bottle_rows(span)[:-1],
        "All years together. Lost is what stayed in the syringe, was missing when counted, or was spilt, leaked "
        "or poured again.",
    )


def _bottle_rows(span: Span) -> tuple[Row, ...]:
    return tuple(Row({**row, "bottle": row["bottle"] or "(unallocated)"}) for row in span.bottles)


def _bottle_column(name: str) -> Column:
    kind = _KINDS.get(name, Holds.MONEY)
    heading = name.replace("_", " ").capitalize().replace("Ml ", "mL ").replace(" ml", " mL")
    return Column(name, heading, kind, total=kind in {Holds.MONEY, Holds.QUANTITY}, of=_SUMS.get(name, ()))


def owned_before(span: Span) -> Table:
    """Return the bottles that came from the owner's shelf, and those at an estimated cost."""
    rows = [
        Row(
            {
                **row,
                **{name: _whole(row[name], span) for name in ("paid", "market_value")},
                "estimated": "yes" if row["estimated"] else None,
            },
        )
        for row in contributed(span.closing, span.start, span.end)
    ]
    return Table(
        "Owned before",
        f"Bottles owned before, or at an estimated cost, that came in in {span.name}",
        (
            Column("bottle", "Bottle"),
            Column("fragrance", "Fragrance"),
            Column("bought", "Came in", Holds.DATE),
            Column("ml", "mL", Holds.QUANTITY, total=True),
            Column("cost", "Cost in the books", Holds.MONEY, total=True),
            Column("paid", "Paid", Holds.MONEY),
            Column("market_value", "Market value", Holds.MONEY),
            Column("estimated", "Estimated"),
        ),
        tuple(rows),
        "What was paid, and what it was worth when selling began, as the owner wrote it down.",
    )


def _whole(amount: Decimal | None, span: Span) -> Decimal | None:
    return None if amount is None else rounding.nearest(amount, span.unit)
