"""All that the pages rely on in Fava and that Fava does not promise.

When a new Fava fails one of these, what to change is in `reports/fava/adapter.py` or in a template.
"""

from __future__ import annotations

import inspect
import json
import re
import weakref
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import fava
import pytest
from babel.core import Locale
from beancount.core.data import Custom, Posting
from beancount.core.position import Cost
from fava.beans.funcs import hash_entry
from fava.context import g
from fava.core.number import get_locale_format
from fava.ext import FavaExtensionBase, extension_endpoint
from fava.helpers import FavaAPIError
from flask import render_template_string, url_for

from millilot.reports.fava import adapter

from .pages import open_books, purchase, sale

if TYPE_CHECKING:
    from collections.abc import Callable

    from .pages import Site

STATIC = Path(fava.__file__).with_name("static")
TEMPLATES = Path(adapter.__file__).with_name("templates")


@pytest.fixture
def site(written: Callable[..., Path]) -> Site:
    """One bottle and one sale."""
    return open_books(written(purchase("CH-1"), sale("CH-1")))


# The extension and its hooks.


def test_the_base_class_of_extensions() -> None:
    parameters = list(inspect.signature(FavaExtensionBase.__init__).parameters)
    assert parameters == ["self", "ledger", "config"], "Fava makes extensions from other arguments."
    assert FavaExtensionBase.report_title is None, "Extensions of Fava are pages by another attribute."
    assert issubclass(FavaAPIError, Exception), "A FavaAPIError cannot be raised."


def test_the_hook_after_loading(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    extension: Any = site.ledger.extensions.get_extension("BottlePayback")
    assert extension is not None, "Fava finds extensions by another name than that of their class."
    calls: list[bool] = []
    monkeypatch.setattr(extension, "after_load_file", lambda: calls.append(True))
    site.ledger.load_file()
    assert calls == [True], "Fava does not call after_load_file once after it has loaded the books again."
    assert site.ledger.extensions.get_extension("BottlePayback") is extension, "Fava makes them at each load."


def test_pages_are_in_the_sidebar_in_the_order_of_the_books(site: Site) -> None:
    details = [(item.name, item.report_title) for item in site.ledger.extensions.extension_details]
    assert details == [("BottlePayback", "Bottle payback")], "Fava lists pages in another way."


def test_options_of_the_import_page(starter: Site) -> None:
    options = starter.ledger.fava_options
    assert (options.import_config, list(options.import_dirs)) == ("import.py", ["files"]), (
        "Fava reads other options for its import page than the starter books set."
    )


# The ledger.


def test_the_ledger(site: Site) -> None:
    ledger = site.ledger
    assert any(isinstance(entry, Custom) for entry in ledger.all_entries), "all_entries is not all entries."
    assert ledger.options["operating_currency"] == ["USD"], "ledger.options is not Beancount's options_map."
    assert ledger.fava_options.locale is None, "fava_options.locale is not None without a locale."


@pytest.mark.parametrize(
    ("time", "begin", "end"),
    [
        ("2025", date(2025, 1, 1), date(2026, 1, 1)),
        ("2025-01-05 - 2025-02-01", date(2025, 1, 5), date(2025, 2, 2)),
    ],
)
def test_the_time_filter(site: Site, time: str, begin: date, end: date) -> None:
    with site.app.test_request_context(f"{site.address}?time={time}"):
        site.app.preprocess_request()
        assert g.filtered.date_range is not None, "g.filtered has no date_range under a time filter."
        span = (g.filtered.date_range.begin, g.filtered.date_range.end)
        assert span == (begin, end), "date_range is not from its first day to the day after its last."
    with site.app.test_request_context(site.address):
        site.app.preprocess_request()
        assert g.filtered.date_range is None, "g.filtered has a date_range without a time filter."


def test_the_numbers_of_a_locale() -> None:
    number = Decimal("1234.50")
    assert get_locale_format(None, 2)(number) == "1234.50", "get_locale_format(None, ...) is not plain."
    assert get_locale_format(Locale.parse("de"), 2)(number) == "1.234,50", "get_locale_format has no locale."


# Links and what they filter.


def test_the_addresses_keep_filters_that_are_not_set_anew(site: Site) -> None:
    with site.app.test_request_context(f"{site.address}?time=2025&account=Assets&filter=x&interval=year"):
        site.app.preprocess_request()
        address = url_for("report", report_name="journal", filter="^order-1", account=None)
    assert address == f"/{site.slug}/journal/?filter=%5Eorder-1&interval=year&time=2025", (
        "The endpoint 'report' of Fava has other arguments, or url_for does not keep the filters."
    )


@pytest.mark.parametrize(
    ("filter_", "count"),
    [
        ('any(cost:"label=.CH-1.\\)$")', 2),
        ('any(cost:"label=.CH-\\x31.\\)$")', 2),
        ('any(cost:"label=.ch-1.\\)$")', 2),
        ('any(cost:"label=.(?-i:ch-1).\\)$")', 0),
        ('any(bottle:"^CH-1$")', 1),
        ('bottle:"^CH-1$"', 0),
        ('any(cost:"label=.CH-2.\\)$"), any(bottle:"^CH-1$")', 1),
    ],
)
def test_the_syntax_of_filters(site: Site, filter_: str, count: int) -> None:
    entries = site.ledger.get_filtered(filter=filter_).entries
    assert len(entries) == count, f"Fava's filter {filter_} means something else."


def test_a_filter_sees_what_python_prints_of_a_cost() -> None:
    cost = Cost(Decimal("1.296"), "USD", date(2025, 1, 5), "CH-1")
    assert str(cost).endswith(", label='CH-1')"), "The label is not the last of what Python prints of a Cost."
    assert "cost" in Posting._fields, "A posting has no cost."


# Templates.


def test_the_filters_of_templates(site: Site) -> None:
    data = {"a": Decimal("1.50"), "b": date(2025, 1, 5), "c": "</script>"}
    with site.app.test_request_context(site.address):
        site.app.preprocess_request()
        figure = render_template_string("{{ '1.50'|incognito }}")
        text = render_template_string("{{ data|tojson }}", data=data)
    assert figure == "1.50", "Fava's filter incognito changes figures outside of incognito mode."
    assert text == '{"a":1.50,"b":"2025-01-05","c":"\\u003c/script\\u003e"}', (
        "Fava's JSON writes a number not as a number, a day not as ISO 8601, or a text without escaping it."
    )
    assert site.app.select_jinja_autoescape("BottlePayback.html"), "Fava's templates do not escape."


# The frontend, by the sources that lie beside the scripts.


@pytest.fixture(scope="module")
def sources() -> dict[str, str]:
    """Fava's TypeScript by file name, on one line each."""
    found: dict[str, str] = {}
    for path in STATIC.glob("*.js.map"):
        content = json.loads(path.read_text(encoding="utf-8"))
        for name, text in zip(content["sources"], content["sourcesContent"], strict=True):
            _, is_own, short = name.partition("frontend/src/")
            if is_own:
                found[short] = " ".join(text.split())
    assert found, "Fava's wheel holds no sources of its scripts; look the pinned ones up where they are kept."
    return found


@pytest.mark.parametrize(
    ("file", "text", "meaning"),
    [
        ("app.ts", 'customElements.define("svelte-component", SvelteCustomElement)', "<svelte-component>"),
        ("app.ts", 'define("sortable-table", SortableTable, { extends: "table" })', '<table is="sortable-table">'),
        ("svelte-custom-elements.ts", '"charts", ChartSwitcher', 'the component of type "charts"'),
        (
            "svelte-custom-elements.ts",
            'script?.type === "application/json" ? JSON.parse(script.innerHTML)',
            "the data of a component, in a script of type application/json",
        ),
        ("charts/index.ts", "balances: ParsedLineChart.validator", "the chart of type balances"),
        (
            "charts/line.ts",
            "object({ label: string, data: array(object({ date, balance: record(number) })), })",
            "the shape of a line chart's data",
        ),
        ("charts/helpers.ts", "colors10 = hcl_color_range(10)", "ten colours"),
        ("charts/helpers.ts", "scaleOrdinal(colors10).domain([ ...$operating_currency", "ten colours for lines"),
        ("sort/sortable-table.ts", 'querySelectorAll("th[data-sort]")', "data-sort on each heading"),
        ("sort/sortable-table.ts", 'getAttribute("data-order") === "asc"', "data-order on a heading"),
        ("sort/index.ts", 'type === "num" ? compare_numbers : compare_strings', 'data-sort="num"'),
        ("sort/index.ts", 'getAttribute("data-sort-value") ??', "data-sort-value on a cell"),
        (
            "sort/sortable-table.ts",
            'header.addEventListener("click", () => {',
            "a click on a heading, which a button in it passes on",
        ),
        ("modals/Context.svelte", '$hash.startsWith("context")', "the address of an entry, #context-…"),
        ("modals/Context.svelte", "$hash.slice(8)", "the hash in the address of an entry"),
        ("sidebar/AsideWithButton.svelte", "<aside", "<aside>, which is left out on paper"),
        ("sidebar/Header.svelte", "<header>", "<header>, which is left out on paper"),
    ],
)
def test_the_components(sources: dict[str, str], file: str, text: str, meaning: str) -> None:
    assert text in sources.get(file, ""), f"Fava's frontend may not know any more: {meaning} (see {file})"


def test_the_styles() -> None:
    styles = " ".join((STATIC / "app.css").read_text(encoding="utf-8").split())
    for selector in ("td.num", "thead th, tfoot td", "[data-order=desc]:after", "[data-sort]"):
        assert selector in styles, f"Fava's style sheet has no {selector}, which the tables of the pages rely on."


# What pages ask, link to and offer.


def test_the_addresses_of_accounts_and_entries(site: Site) -> None:
    with site.app.test_request_context(f"{site.address}?time=2025&conversion=units"):
        site.app.preprocess_request()
        account = url_for("account", name="Assets:Bank", time="2025 - 2026", conversion=None)
        page = url_for("extension_report", extension_name="BottlePayback", time=None, more=["a", "b"])
    assert account == f"/{site.slug}/account/Assets:Bank/?time=2025+-+2026", (
        "The endpoint 'account' of Fava has other arguments."
    )
    assert page == f"/{site.slug}/extension/BottlePayback/?more=a&more=b&conversion=units", (
        "The endpoint 'extension_report' of Fava has other arguments."
    )
    entry: Any = site.ledger.all_entries[-1]
    assert site.ledger.get_entry(hash_entry(entry)) is entry, "Fava finds entries by another hash."


def test_the_journal_of_an_account(site: Site) -> None:
    assert site.ledger.fava_options.account_journal_include_children is True, (
        "Fava's journal of an account leaves out the accounts below it, if not told otherwise."
    )
    filtered = site.ledger.get_filtered(time="2025")
    rows = site.ledger.account_journal(filtered, "Income:Sales", "at_cost", with_children=True)
    *_, (_, _, change, balance) = rows
    assert change["USD"] == balance["USD"] == Decimal("-12.00"), "The journal of an account has other figures."


def test_what_pages_offer_for_download() -> None:
    def work() -> None:
        """Return nothing."""

    named: Any = extension_endpoint("pack")(work)
    assert named.endpoint_key == ("pack", ["GET"]), "Fava calls the endpoints of extensions otherwise."


def test_incognito_and_errors_of_loading(written: Callable[..., Path]) -> None:
    site = open_books(written(), incognito=True)
    assert site.app.config["INCOGNITO"] is True, "Fava keeps elsewhere that it was started with --incognito."
    assert list(site.ledger.load_errors) == [], "The ledger keeps the errors of loading elsewhere."
    assert Path(site.ledger.beancount_file_path).is_file(), "The ledger keeps the path of the books elsewhere."


def test_the_names_of_intervals(site: Site) -> None:
    with site.app.test_request_context(f"{site.address}?interval=quarter"):
        site.app.preprocess_request()
        name = g.interval.format_date(date(2025, 5, 1))
    assert name == "2025-Q2", "g.interval names its intervals otherwise."


def test_the_shape_of_a_bar_chart(sources: dict[str, str]) -> None:
    bar = sources.get("charts/bar.ts", "")
    for text in (
        "object({ date, budgets: record(number), balance: record(number), account_balances: record(",
        "object({ label: string, data: bar_validator })",
        ".slice(0, Math.max(to_show.length, 5) - to_show.length)",
    ):
        assert text in bar, "Fava's frontend may want other data of a bar chart (see charts/bar.ts)"
    assert "bar: ParsedBarChart.validator" in sources.get("charts/index.ts", "")
    assert 'hasAttribute("data-remote")' in sources.get("router.ts", ""), "Fava's router takes links of downloads."


def test_the_colours_and_fonts_of_the_templates() -> None:
    styles = (STATIC / "app.css").read_text(encoding="utf-8")
    texts = [path.read_text(encoding="utf-8") for path in TEMPLATES.glob("*.html")]
    used = {name for text in texts for name in re.findall(r"var\((--[\w-]+)\)", text)}
    assert {"--link-color", "--warning", "--text-color-lightest", "--chart-line-at-zero"} <= used
    assert {name for name in used if f"{name}:" not in styles} == set(), "Fava's style sheet does not know these."


def test_what_lives_as_long_as_a_ledger(site: Site) -> None:
    extensions, entries = site.ledger.extensions, site.ledger.all_entries
    assert weakref.ref(extensions)() is extensions, "Results cannot be kept by the extensions of a ledger."
    site.ledger.load_file()
    assert site.ledger.extensions is extensions, "Fava makes its extensions anew at each load."
    assert site.ledger.all_entries is not entries, "Fava keeps its list of entries, so results would be old ones."


def test_incognito_hides_every_digit(written: Callable[..., Path]) -> None:
    site = open_books(written(), incognito=True)
    with site.app.test_request_context(site.address):
        site.app.preprocess_request()
        assert render_template_string("{{ '-1,234.50 %'|incognito }}") == "-X,XXX.XX %", (
            "Fava's filter incognito leaves digits, or replaces them by something else."
        )
