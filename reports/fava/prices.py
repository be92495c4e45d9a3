"""The page "Prices": what a decant is to cost, part by part, and what that means for the bottle it comes from.

Everything is asked for in the address and nothing is written. What is typed wrongly is answered in words above the
form, which keeps it.
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from beancount.core.number import ZERO

from millilot.reports.channel import UnknownChannelError
from millilot.reports.decants import bottles_of, find_fragrance
from millilot.reports.fava.adapter import FavaExtensionBase, Page, asked, page_address
from millilot.reports.fee_drift import channels_of
from millilot.reports.figures import (
    AMOUNT,
    ENDING,
    MILLILITRES,
    RATE,
    SHARE,
    Bounds,
    FigureError,
    require_minor_units,
)
from millilot.reports.names import UnknownNameError
from millilot.reports.next_draw import NextDraw, next_draw
from millilot.reports.plan import Plan, plan
from millilot.reports.plan_basis import Request, offer
from millilot.reports.plan_words import again, explained, state
from millilot.reports.priced import LINES, Priced, Question, priced
from millilot.reports.prices import NoPriceError
from millilot.reports.quote import Wish

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from millilot.ledger.records import Books
    from millilot.reports.quote import Statement

#: Nobody sells as many; they would be too many to read.
MOST_SIZES = 50

_ANY_QUANTITY = Decimal(1)


class Form(NamedTuple):
    """What the form asks for, as it was typed; empty where nothing was."""

    fragrance: str = ""
    bottle: str = ""
    sizes: str = ""
    channel: str = ""
    charge: str = ""
    label: str = ""
    tax: str = ""
    lost: str = ""
    margin: str = ""
    profit: str = ""
    at: str = ""
    ending: str = ""


class Choice(NamedTuple):
    """One of several things that can be chosen."""

    value: str
    text: str


class Answer(NamedTuple):
    """The page, but for the size that is looked at.

    Attributes:
        form: what was asked for, with the fragrance that is shown.
        fragrances: that have bottles; empty as long as the books have none.
        bottles: of the fragrance.
        channels: of the books.
        error: why nothing could be reckoned; empty when it could.
        found: the prices.
        rows: those of the ladder, as the command line has them.
        plan: for the bottle that is asked for, or that is next in turn.
        no_plan: why there is none.
        said: what there is to say of the bottle, above the plan.
        explained: and below it.
        again: what speaks for buying it again.
        currency: the operating currency.
    """

    form: Form
    fragrances: Sequence[Choice]
    bottles: Sequence[str]
    channels: Sequence[Choice]
    currency: str
    error: str = ""
    found: Priced | None = None
    rows: Sequence[Mapping[str, object]] = ()
    plan: Plan | None = None
    no_plan: str = ""
    said: Sequence[str] = ()
    explained: Sequence[str] = ()
    again: Sequence[str] = ()


class Parts(NamedTuple):
    """The prices of a size side by side.

    Attributes:
        size: mL.
        prices: by what each is called.
        lines: what each line is called, and its name in the prices; None for an empty line.
        error: why another size is shown than was asked for.
    """

    size: Decimal
    prices: Mapping[str, Statement]
    lines: Sequence[tuple[str, str | None]]
    error: str


class Prices(Page, FavaExtensionBase):
    """The page."""

    report_title = "Prices"

    def prepare(self) -> None:
        """Reckon what is shown before anything is asked for."""
        self._answer_to(None, Form())

    def size_address(self, size: Decimal) -> str:
        """Return the address of the page with the parts of another size."""
        typed = {name: text for name, text in self.form._asdict().items() if text}
        return page_address("Prices", **typed, size=f"{size:f}")

    def count(self, number: int | None) -> Decimal | None:
        """Return a number of things as the figure that a cell shows."""
        return None if number is None else Decimal(number)

    @property
    def form(self) -> Form:
        """What the form asks for."""
        return Form(*(next(iter(asked(name)), "").strip() for name in Form._fields))

    def answer(self) -> Answer:
        """Return the prices and the plan, with the figures of `millilot price` and `millilot plan`."""
        return self._answer_to(self.range.last, self.form)

    def parts(self) -> Parts | None:
        """Return the prices of the size that is looked at, the smallest by default; None when there are none."""
        found = self.answer().found
        if found is None:
            return None
        wanted = next(iter(asked("size")), None)
        sizes = {f"{of.decant.size_ml:f}": of for of in found.quotes}
        of = found.quotes[0] if wanted is None else sizes.get(wanted, found.quotes[0])
        error = "" if wanted is None or wanted in sizes else f"{wanted!r} is none of the sizes {', '.join(sizes)}."
        return Parts(of.decant.size_ml, found.side_by_side(of), LINES, error)

    def _answer_to(self, last: datetime.date | None, form: Form) -> Answer:
        answer: Answer = self.once(("answer", last, form), lambda: _answer(self.books_to(last), form, last))
        return answer


def _answer(books: Books, form: Form, last: datetime.date | None) -> Answer:
    stock = next_draw(books)
    known = {bottle.commodity.code: bottle.commodity.name for bottle in books.fragrances.values()}
    fragrances = [Choice(*each) for each in sorted(known.items(), key=lambda each: (each[1].casefold(), each[0]))]
    channels = [Choice(each.account, each.name) for each in channels_of(books).values()]
    if not form.fragrance:
        form = form._replace(fragrance=_first(stock, [each.value for each in fragrances]))
    answer = Answer(form, fragrances, (), channels, books.currency)
    if not fragrances:
        return answer
    try:
        fragrance = find_fragrance(books, form.fragrance)
        form = form._replace(fragrance=fragrance.code)
        answer = answer._replace(form=form, bottles=tuple(bottles_of(books, stock, fragrance)))
        request = _request(books, form)
        at = _to_try(form, request)
        endings = tuple(_figure("Ending", text, ENDING) for text in form.ending.split())
        require_minor_units(
            books.currency, (("The price to try", at), *(("The ending", each) for each in endings)),
        )
        question = Question(
            fragrance.code,
            _sizes(books, _next(stock, answer.bottles), request, last),
            Wish(request.margin, request.profit, at, endings),
            request.channel,
            request.charge or ZERO,
            request.label or ZERO,
            request.tax,
            request.lost,
            form.bottle or None,
        )
        found = priced(books, question, last)
    except (FigureError, UnknownNameError, UnknownChannelError, NoPriceError) as error:
        return answer._replace(error=str(error))
    answer = answer._replace(found=found, rows=found.rows())
    try:
        of_bottle = plan(books, form.bottle or _next(stock, answer.bottles), request, last)
    except (UnknownNameError, UnknownChannelError, NoPriceError) as error:
        return answer._replace(no_plan=str(error))
    return answer._replace(
        plan=of_bottle,
        said=(*state(of_bottle), f"Sizes: {of_bottle.sizes_from}. Prices {of_bottle.prices_from}."),
        explained=tuple(explained(of_bottle)),
        again=tuple(again(of_bottle)),
    )


def _first(stock: NextDraw, codes: Sequence[str]) -> str:
    """Return the first fragrance of which something is left, else the first, else nothing."""
    held = (code for code in codes if stock.take(stock.lots(code), _ANY_QUANTITY).pieces)
    return next(held, next(iter(codes), ""))


def _next(stock: NextDraw, bottles: Sequence[str]) -> str:
    """Return the bottle that gives next, the last when all are empty."""
    return next(iter(stock.take(bottles, _ANY_QUANTITY).lots), bottles[-1])


def _request(books: Books, form: Form) -> Request:
    """Return what is asked of a plan.

    Raises:
        FigureError: something is no figure, or out of bounds.
    """
    texts = form.sizes.split()
    if len(texts) > MOST_SIZES:
        raise FigureError(f"These are {len(texts)} sizes; no more than {MOST_SIZES} can be asked for at once.")
    request = Request(
        sizes={_figure("Sizes", text, MILLILITRES): Decimal(1) for text in texts} or None,
        margin=_figure_or_none("Margin", form.margin, SHARE),
        profit=_figure_or_none("Profit", form.profit, AMOUNT),
        channel=form.channel or None,
        charge=_figure_or_none("Postage charged", form.charge, AMOUNT),
        label=_figure_or_none("Label", form.label, AMOUNT),
        tax=_figure("Tax rate", form.tax or "0", RATE),
        lost=_figure_or_none("Lost parcels", form.lost, SHARE),
    )
    require_minor_units(books.currency, (
        ("The profit", request.profit), ("The postage charged", request.charge), ("The label", request.label),
    ))
    return request


def _to_try(form: Form, request: Request) -> Decimal | None:
    """Return the price to try, None when none is given.

    Raises:
        FigureError: it is no amount, or not the only price that is asked for.
    """
    at = _figure_or_none("Price to try", form.at, AMOUNT)
    if sum(wish is not None for wish in (request.margin, request.profit, at)) > 1:
        raise FigureError("Margin, profit and a price to try each ask for another price; give one of them.")
    return at


def _sizes(books: Books, bottle: str, request: Request, last: datetime.date | None) -> Sequence[Decimal]:
    """Return the sizes asked for, else those a plan for the bottle would offer."""
    return tuple(offer(books, books.fragrances[bottle], request, last or datetime.date.max).shares)


def _figure(name: str, text: str, bounds: Bounds) -> Decimal:
    try:
        return bounds.read(text)
    except FigureError as error:
        raise FigureError(f"{name}: {error}") from None


def _figure_or_none(name: str, text: str, bounds: Bounds) -> Decimal | None:
    return _figure(name, text, bounds) if text else None
