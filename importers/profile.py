r"""A channel's file, described in TOML.

A profile says in which column the importer finds what, how the file writes numbers and dates, which account
the money stands in, and how a title gives fragrance, mL and vials. This one, of a file of orders, uses every key
there is for orders but `unit-price`; only `channel`, `currency`, the date `format` and the columns `order`,
`ordered` and `price` or `unit-price` must be there:

```toml
channel = "Lantern"                       # gives ^order-lantern-1001 and Assets:Marketplace:Lantern
currency = "USD"
account = "Assets:Marketplace:Lantern"    # where the channel holds the money, if it is called otherwise

[file]
delimiter = ","                # found by the headings unless stated: one of , ; | or a tab ("\t")
encoding = "utf-8"             # UTF-8 or UTF-16 unless stated; a byte-order mark goes first. An older code page,
                               # such as "cp1252", must be stated, since no file says which one it has
skip-lines = 0                 # lines above the headings; unless stated, the headings are the first row, within
                               # 100 lines, that has all of them. Where they come again, the row is skipped
row = "order"                  # what a row is: "order", "item", "event", "component" or "payout"
order-amounts = "repeated"     # with row = "item": whether postage, tax, fees, refund and net of an order are
                               # "repeated" on its rows, stand on the "first", or have a share on "each". Extras
                               # are the items' own all the same where only so they make the net amount
order-suffix = '-\d+$'         # a regular expression, taken off the order's number: 1001-2 is a part of 1001
totals = ["Total"]             # a row that begins so is a totals row: it must be their sum, or is refused
end = ["Notes:"]               # where a row begins so, the rest of the file is text

[numbers]
decimal = "."                  # "." unless stated
thousands = ","                # none unless stated; a list for several. A space stands for every kind of space, an
                               # apostrophe for every kind of apostrophe
minor-units = false            # true: 1250 is 12.50

[dates]
format = "%Y-%m-%d"            # as Python's strptime has it; a time of day may follow: "%Y-%m-%d %H:%M". Or a
                               # list; a date that means two days in two of them is refused
locale = "en"                  # whose names the months (%b, %B) and weekdays (%a, %A) have: "de", "pt_BR"
zone = "UTC"                   # the zone of the file's times; one in the text (%z, %Z) goes first
books-zone = "Europe/Vienna"   # the zone whose days the books have; unless stated, the day is the one in the file
book-on = "ordered"            # the date of the entry: "ordered", "settled" or "paid-out"

[dates.times]                  # where the time, or the zone, has a column of its own: they follow the day's text
"Settled on" = ["Settled at", "Zone"]

[columns]                      # what = the heading in the file
order = "Order"                # the number of the order; "#1001" is 1001
ordered = "Ordered on"         # the day of the order
settled = "Settled on"         # the day the channel settled it
paid-out = "Paid out on"       # the day it was paid out
shipped = "Shipped on"         # empty: not poured yet, so the entry gets #to-pour
title = "Item"
sku = "SKU"
quantity = "Quantity"          # 1 when empty
price = "Item total"           # for the whole quantity; or: unit-price, for one of it
discount = "Coupon"            # what you gave off that price, above or below 0; the sale is what is left
order-discount = "Voucher"     # the same for the whole order; its lines share it by their prices
postage = "Postage charged"    # what the buyer paid for postage
extras = ["Gift wrap"]         # what else the buyer paid: a sale of no goods, which keeps the heading as `charge:`
tax = "Sales tax"              # what the buyer paid as tax
net = "Net"                    # what the order left with the channel; it is checked
payout = "Payout"              # the number of the payout
status = "Status"
cancelled = "Cancelled on"     # filled, by a day or a mark, where an order was called off
currency = "Currency"          # an order in another currency is refused
buyer = "Buyer"                # kept as `buyer:`; nothing of a buyer is in the books unless you write this

[status]                       # for the column `status`
skip = ["Unpaid"]              # these rows are not booked
pending = ["Pending"]          # nor are these, yet
cancelled = ["Cancelled"]      # no sale; money that was taken and given back is booked, without goods
to-pour = ["Paid"]             # these get #to-pour
book = ["Paid", "Shipped"]     # when given, a status in none of the lists is refused

[tax]
remitted = true                # the channel hands the tax on itself (true unless stated)

[[fees]]                       # one for each column of fees; an amount above 0 is a cost
column = "Selling fee"
kind = "commission"            # kept with the amount, as fee: "commission"
role = "fees"                  # "fees" unless stated; or "ads", or "postage" for a label
sign = "positive"              # "negative" when the file writes a cost below 0

[[fees]]
column = "Label"
kind = "label"
role = "postage"

[refund]
amount = "Refunded"            # of price and postage, without tax
date = "Refunded on"
fee = "Fee refunded"           # what the channel gave back of its fees
tax = "Tax refunded"           # what went back of the tax
with-tax = false               # without the column `tax`: whether `amount` has its part of the tax in it
sign = "positive"              # of the three amounts; "negative" when the file writes them below 0
fee-sign = "positive"          # of the fee given back, where it is not the same
in-net = false                 # whether the column `net` has the refund taken off

[titles]
# Named groups: name; ml (of one vial); vials (1 unless found). It must fit the whole title, in any case.
pattern = '(?P<name>.+?),? (?:(?P<vials>\d+) ?x ?)?(?P<ml>[\d.]+) ?ml(?: decant)?'
ignore = ["Oakmere House"]     # words that say nothing about which fragrance it is

[titles.names]                 # other names of a fragrance
"Cedar Hr" = "CEDARHOUR"

[titles.items]                 # whole titles
"Try me: cedar" = { fragrance = "CEDARHOUR", ml = 2 }

[titles.skus]                  # the column `sku`; it goes before the title
"CH-3x2" = { fragrance = "CEDARHOUR", ml = 2, vials = 3 }     # three vials of 2 mL: 6 mL leave the bottle
"CH-FULL" = { fragrance = "CEDARHOUR", ml = 100, vials = 0 }  # sold unopened: 100 mL, no vial

[titles.sets]                  # what holds several pours: whole titles, or texts of the column `sku`
"Forest set" = { parts = [
  { fragrance = "CEDARHOUR", ml = 2, list = 6.50 },           # the price of the set is shared by what each part
  { fragrance = "QUIETREED", ml = 2, vials = 2, list = 13 },  # costs on its own, to the cent
] }
"Trial set" = { share = "cost", parts = [
  { fragrance = "CEDARHOUR", ml = 1 }, { fragrance = "QUIETREED", ml = 1 },
] }
```

A file that has a row for each thing that happened says so in `[file]`; then `[[events]]` says what its words
mean, and the columns are others. `title`, `sku`, `quantity`, `postage`, `extras`, `tax`, `discount`, `settled`,
`paid-out`, `shipped`, `payout`, `status`, `buyer`, and `[[fees]]` for columns of fees, are as above:

```toml
channel = "Lantern"
currency = "USD"

[file]
row = "event"                  # or "component": a row for each amount of a sale, fees of the sale included
balance = "rising"             # the column `balance` is checked, the oldest row first; "falling": the latest first

[dates]
format = "%Y-%m-%d"

[columns]
date = "Date"                  # the day of the event
type = "Type"                  # what happened, in the channel's words
detail = "Description"         # more of it: which amount or fee it is; on a bank statement, the text
order = "Order"                # may be empty; without the column, the event's own number or the one it refers to
event = "Reference"            # the number of the event
parent = "Refers to"           # the number of the event it belongs to
amount = "Amount"              # what came in, or below 0 what went out; or two columns, credit and debit
net = "Net"                    # the amount less the columns of fees; it is checked. Beside price, amount may be
                               # left out: the columns of its parts make it, and where they are empty, net and fees
balance = "Balance"            # what the account holds after it
currency = "Currency"          # a row in another currency needs the rows of its exchange
total = "Total"                # a row with an amount here is the payout of the other rows with its payout number;
                               # they must add up to it

[[events]]                     # the first that fits a row holds; a row none fits is refused
type = ["Sale"]                # any of these words, in any case
detail = ["Item"]              # if given, any of these as well
is = "price"                   # price, postage, extra, discount, tax, tax-remitted: together the sale of an order;
                               # fee, ads, label, refund, refund-tax, fee-refund, compensation, adjustment;
                               # hold, release, dispute, dispute-won, dispute-lost; payout, payout-returned;
                               # exchange, private, deposit, skip

[[events]]
type = ["Selling fee"]
is = "fee"
kind = "commission"            # kept as fee: "commission"; of an extra as charge: "gift wrap"
reversed = true                # the file writes what you pay above 0

[[events]]
type = ["Sent to a friend"]
is = "private"                 # private and adjustment must say where the money goes
account = "Equity:Owner"
order = false                  # what stands in the column `order` is none
```

On the statement of a bank, `account` is the bank's and a `pattern` is looked for in the text. Where every rule has
one, and some rule is a deposit, rows that none fits are not the business's, and are skipped:

```toml
channel = "Harbour Bank"
currency = "USD"
account = "Assets:Bank:Checking"
file.row = "event"
dates.format = "%Y-%m-%d"

[columns]
date = "Date"
detail = "Text"
credit = "In"
debit = "Out"

[[events]]
pattern = 'LANTERN PAYOUT (?P<payout>\S+)'   # the number of the payout; also (?P<order>...), (?P<event>...)
is = "deposit"
from = "Assets:Marketplace:Lantern:Transit"
channel = "Lantern"            # whose payout it is; the account above Transit unless stated
```

Where the amounts have no sign, a word says which way each went: in a column of its own or, where `[columns]` names
none, behind the amount, as in "12.00 DR", and perhaps behind the balance. A row with another word is refused:

```toml
channel = "Harbour Bank"
currency = "USD"
account = "Assets:Bank:Checking"
file.row = "event"
dates.format = "%Y-%m-%d"

[columns]
date = "Date"
detail = "Text"
amount = "Amount"
direction = "Direction"

[direction]
in = ["In", "CR"]              # any of these words, in any case; "" stands for no word at all
out = ["Out", "DR"]

[[events]]
pattern = 'LANTERN PAYOUT (?P<payout>\S+)'
is = "deposit"
from = "Assets:Marketplace:Lantern:Transit"
```

A file of payouts names what reached the bank. What a payout is made of is checked where the file has it: `gross`,
`postage` and `tax` (unless the channel hands it on), less columns of `[[fees]]` and `[refund]`, must be `net`:

```toml
channel = "Lantern"
currency = "USD"
file.row = "payout"
dates.format = "%Y-%m-%d"

[columns]
date = "Paid on"
payout = "Payout"
gross = "Sales"
net = "Paid"

[[fees]]
column = "Fees"
kind = "all"

[refund]
amount = "Refunds"
```

Without `pattern` a title must consist of the name of one fragrance (its `name:` in the books, its code, or an
entry of `[titles.names]`), its strength as the books have it (`EDP`, `eau de parfum`), one size, and plain words
such as "decant" or those of `ignore`. `millilot.importers.sizes` shows how sizes and counts are read. A title that
leaves any doubt is booked as unsorted; `millilot sort` lists those, and keeps your answers under `[titles.items]`.

With `share = "cost"` the price of a set is shared by what the mL of its parts cost in the books that day. Where
that is not certain, as a fragrance is in two bottles of different costs, the set is booked as unsorted.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field, fields
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from beancount.core import account as account_names
from beancount.core.amount import CURRENCY_RE

from millilot.importers.dialect import Dates, FileShape, Numbers, read_dates, read_file_shape, read_numbers
from millilot.importers.direction import Direction, read_direction
from millilot.importers.event_rules import EventRule, read_event_rule
from millilot.importers.problems import ProfileError
from millilot.importers.section import REQUIRED, Section
from millilot.importers.title_rules import TitleRules, read_titles
from millilot.ledger.accounts import Role

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Columns:
    """The headings of the columns; empty where the file has none."""

    order: str = ""
    ordered: str = ""
    date: str = ""
    settled: str = ""
    paid_out: str = ""
    shipped: str = ""
    type: str = ""
    detail: str = ""
    event: str = ""
    parent: str = ""
    title: str = ""
    sku: str = ""
    quantity: str = ""
    price: str = ""
    unit_price: str = ""
    discount: str = ""
    order_discount: str = ""
    postage: str = ""
    tax: str = ""
    amount: str = ""
    credit: str = ""
    debit: str = ""
    direction: str = ""
    cancelled: str = ""
    gross: str = ""
    net: str = ""
    total: str = ""
    balance: str = ""
    currency: str = ""
    payout: str = ""
    status: str = ""
    buyer: str = ""
    extras: tuple[str, ...] = ()

    @property
    def named(self) -> Iterator[str]:
        """The headings that are there."""
        for column in fields(self):
            value = getattr(self, column.name)
            yield from filter(None, (value,) if isinstance(value, str) else value)


@dataclass(frozen=True, slots=True)
class Statuses:
    """What the words of the status column mean; without `book`, any other word is booked."""

    skip: frozenset[str] = frozenset()
    pending: frozenset[str] = frozenset()
    cancelled: frozenset[str] = frozenset()
    to_pour: frozenset[str] = frozenset()
    book: frozenset[str] = frozenset()

    @property
    def known(self) -> list[str]:
        """All words the profile names."""
        return sorted(self.skip | self.pending | self.cancelled | self.to_pour | self.book)


@dataclass(frozen=True, slots=True)
class FeeColumn:
    """A column of fees: its heading, what kind of fee, the role of its account, and the sign of a cost."""

    column: str
    kind: str
    role: Role = Role.FEES
    sign: int = 1


@dataclass(frozen=True, slots=True)
class RefundColumns:
    """The headings of the refund's columns, the signs of their amounts, and what their amounts are of.

    Attributes:
        sign: of the amount and the tax, 1 where the file has them above 0.
        fee_sign: of the fee given back.
        with_tax: whether the amount has tax in it.
        in_net: whether net is after refunds.
    """

    amount: str
    date: str
    fee: str = ""
    tax: str = ""
    with_tax: bool = False
    sign: int = 1
    fee_sign: int = 1
    in_net: bool = False

    def sign_of(self, heading: str) -> int:
        """Return the sign of a column's amounts."""
        return self.fee_sign if heading == self.fee else self.sign


@dataclass(frozen=True, slots=True)
class Profile:
    """A channel's file shape.

    Attributes:
        name: the name of the profile's file without ending, unique among the profiles in use.
        channel: the channel's name, as in its account.
        currency: of all amounts.
        account: where the channel holds the money; empty for the marketplace account of the books.
        file: how its rows are written.
        numbers: how its amounts are written.
        dates: how its days are written, and which of them an entry is booked on.
        direction: the words for what came in and what went out, where the amounts do not say it.
        tax_remitted: whether the channel hands on what stands in the column of the tax.
        events: what the channel's words for events mean.
    """

    name: str
    channel: str
    currency: str
    columns: Columns
    dates: Dates
    account: str = ""
    file: FileShape = field(default_factory=FileShape)
    numbers: Numbers = field(default_factory=Numbers)
    direction: Direction | None = None
    statuses: Statuses = Statuses()
    tax_remitted: bool = True
    fees: tuple[FeeColumn, ...] = ()
    events: tuple[EventRule, ...] = ()
    refund: RefundColumns | None = None
    titles: TitleRules = field(default_factory=TitleRules)

    @property
    def slug(self) -> str:
        """The channel's name as it stands in links: lower case, letters, digits and hyphens."""
        return slug(self.channel)

    @property
    def headings(self) -> frozenset[str]:
        """Every heading the file must have."""
        named = set(self.columns.named)
        named.update(fee.column for fee in self.fees)
        if self.refund is not None:
            named.update({self.refund.amount, self.refund.date, self.refund.fee, self.refund.tax})
        named.update(*self.dates.times.values())
        return frozenset(named - {""})

    @property
    def amounts(self) -> frozenset[str]:
        """The headings of the columns that a totals row has the sums of."""
        columns = self.columns
        named = {
            columns.quantity, columns.price, columns.discount, columns.order_discount, columns.postage,
            columns.tax, columns.amount, columns.credit, columns.debit, columns.gross, columns.net,
            *columns.extras,
        }
        named.update(fee.column for fee in self.fees)
        if self.refund is not None:
            named.update({self.refund.amount, self.refund.fee, self.refund.tax})
        return frozenset(named - {""})


def slug(channel: str) -> str:
    """Return a channel's name as it stands in links: lower case, letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", channel.lower()).strip("-")


_SIGNS = {"positive": 1, "negative": -1}


def read_profile(path: Path) -> Profile:
    """Read a profile.

    Raises:
        ProfileError: with file and key, when something is missing, unknown or of the wrong kind.
    """
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
    except OSError as error:
        raise ProfileError(f"{path}: cannot be read: {error.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ProfileError(f"{path}: is not TOML: {error}") from None
    return _read_top(Section(values, path), path)


def _read_top(top: Section, path: Path) -> Profile:
    channel = top.text("channel")
    if not re.search("[A-Za-z0-9]", channel):
        raise top.problem(f"channel: expected a name with letters or digits, found {channel!r}")
    currency = top.text("currency")
    if not re.fullmatch(CURRENCY_RE, currency):
        raise top.problem(f'currency: expected a currency like "USD", found "{currency}"')
    account = top.text("account", "")
    if account and not account_names.is_valid(account):
        raise top.problem(f'account: expected one like "Assets:Marketplace:Lantern", found "{account}"')
    if not account and not account_names.is_valid(f"Assets:{channel}"):
        raise top.problem(f'account: must be given, because "{channel}" cannot be part of an account\'s name')
    file = read_file_shape(top.section("file"))
    columns = _read_columns(top.section("columns"), file)
    dates = read_dates(top.section("dates"))
    book_on = dates.book_on
    if book_on != "ordered" and not getattr(columns, book_on.replace("-", "_")):
        raise top.problem(f'[dates] book-on: is "{book_on}", so [columns] must name the column {book_on}')
    profile = Profile(
        name=path.stem,
        channel=channel,
        currency=currency,
        account=account,
        columns=columns,
        dates=dates,
        file=file,
        numbers=read_numbers(top.section("numbers")),
        direction=_read_direction(top, file, columns),
        statuses=_read_statuses(top.section("status"), columns),
        tax_remitted=_read_tax(top.section("tax")),
        fees=tuple(_read_fee(table) for table in top.sections("fees")),
        events=_read_events(top, file, columns),
        refund=_read_refund(top.section("refund"), file),
        titles=read_titles(top.section("titles")),
    )
    top.close()
    return profile


#: Columns a file must have, by what a row of it is.
_REQUIRED = {
    "order": ("order", "ordered"),
    "item": ("order", "ordered"),
    "event": ("date",),
    "component": ("date", "order"),
    "payout": ("date", "net"),
}
_EVENTS = ("event", "component")
#: Columns that mean something for some kinds of rows only.
_ONLY_FOR = {
    "ordered": ("order", "item", *_EVENTS),
    "date": (*_EVENTS, "payout"),
    "order_discount": ("order", "item"),
    "extras": ("order", "item", *_EVENTS),
    "gross": ("payout",),
    "total": _EVENTS,
    "cancelled": ("order", "item"),
    **dict.fromkeys(
        ("type", "detail", "event", "parent", "amount", "credit", "debit", "direction", "balance"), _EVENTS,
    ),
}


def _read_columns(table: Section, file: FileShape) -> Columns:
    headings: dict[str, Any] = {}
    for column in fields(Columns):
        key = column.name.replace("_", "-")
        if column.name == "extras":
            headings[key] = table.texts(key)
        else:
            headings[column.name] = table.text(key, REQUIRED if column.name in _REQUIRED[file.row] else "")
        if headings[column.name] and file.row not in _ONLY_FOR.get(column.name, (file.row,)):
            raise table.problem(f'{key}: means nothing where [file] row = "{file.row}"')
    extras = headings["extras"]
    others = {heading for name, heading in headings.items() if name != "extras"}
    for place, heading in enumerate(extras):
        if heading in others or heading in extras[:place]:
            raise table.problem(f'extras: "{heading}" is named already')
    if file.row in {"order", "item"}:
        _require_one(table, headings, "price", "unit_price")
    by_parts = headings["price"] and headings["net"] and not (headings["credit"] or headings["debit"])
    if file.row in _EVENTS and (headings["amount"] or not by_parts):
        _require_one(table, headings, "amount", "credit", "debit")
    if file.balance and not headings["balance"]:
        raise table.problem("[file] has the key balance, so the column balance must be named")
    table.close()
    return Columns(**headings)


def _require_one(table: Section, headings: Mapping[str, str], one: str, *others: str) -> None:
    """Make sure that there is the one column, or else some of the others."""
    if bool(headings[one]) is any(headings[other] for other in others):
        keys = ", ".join((one, *others[:-1])) + f" and {others[-1]}"
        found = "both" if headings[one] else "neither"
        raise table.problem(f"expected one of the keys {keys}, found {found}".replace("_", "-"))


def _read_events(top: Section, file: FileShape, columns: Columns) -> tuple[EventRule, ...]:
    rules = tuple(map(read_event_rule, top.sections("events")))
    if bool(rules) is not (file.row in _EVENTS):
        found = "found none" if not rules else f'but [file] row = "{file.row}"'
        raise top.problem(f'expected tables [[events]] with [file] row = "event" or "component", {found}')
    for key, used in (
        ("type", any(rule.types for rule in rules)),
        ("detail", any(rule.details for rule in rules)),
    ):
        if used and not getattr(columns, key):
            raise top.problem(f"[[events]] {key}: [columns] must name the column {key}")
    if rules and not columns.type and not columns.detail:
        raise top.problem("[columns] must name the column type or detail")
    if "direction" in top and any(rule.sign < 0 for rule in rules):
        raise top.problem("[[events]] reversed: means nothing where [direction] has words for what goes out")
    return rules


def _read_direction(top: Section, file: FileShape, columns: Columns) -> Direction | None:
    table = top.section("direction")
    if "direction" not in top:
        if columns.direction:
            raise top.problem("[columns] direction: a table [direction] must have its words, under in and out")
        return None
    if file.row not in _EVENTS:
        raise table.problem(f'means nothing where [file] row = "{file.row}"')
    if columns.direction and not columns.amount:
        raise top.problem("[columns] direction: means nothing beside credit and debit; it goes with amount")
    return read_direction(table, is_behind=not columns.direction)


_STATUSES = ("skip", "pending", "cancelled", "to-pour", "book")


def _read_statuses(table: Section, columns: Columns) -> Statuses:
    statuses = Statuses(*(frozenset(table.texts(key)) for key in _STATUSES))
    if table and not columns.status:
        raise table.problem("[columns] must name the column status")
    table.close()
    return statuses


def _read_tax(table: Section) -> bool:
    remitted = table.flag("remitted", default=True)
    table.close()
    return remitted


def _read_fee(table: Section) -> FeeColumn:
    fee = FeeColumn(
        column=table.text("column"),
        kind=table.text("kind"),
        role=Role(table.choice("role", (Role.FEES, Role.ADS, Role.POSTAGE), Role.FEES)),
        sign=_read_sign(table),
    )
    table.close()
    return fee


def _read_refund(table: Section, file: FileShape) -> RefundColumns | None:
    if not table:
        return None
    if file.row in _EVENTS:
        raise table.problem(f'means nothing where [file] row = "{file.row}"; a refund is one of [[events]]')
    refund = RefundColumns(
        amount=table.text("amount"),
        date=table.text("date", "" if file.row == "payout" else REQUIRED),
        fee=table.text("fee", ""),
        tax=table.text("tax", ""),
        with_tax=table.flag("with-tax", default=False),
        sign=(sign := _read_sign(table)),
        fee_sign=_read_sign(table, "fee-sign", sign),
        in_net=table.flag("in-net", default=False),
    )
    if refund.with_tax and refund.tax:
        raise table.problem("with-tax: is for files without a column of the tax refunded, and tax names one")
    table.close()
    return refund


def _read_sign(table: Section, key: str = "sign", default: int = 1) -> int:
    words = {sign: word for word, sign in _SIGNS.items()}
    return _SIGNS[table.choice(key, tuple(_SIGNS), words[default])]
