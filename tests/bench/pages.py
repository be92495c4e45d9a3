"""How long the pages take to serve, beside Fava's own income statement.

The books are those of `load.py` with every page named in them. A page of Fava's own is two requests, its frame and
its data; one of ours is one. Each view is timed in processor time: the first after loading, and the best of some
later ones, without a filter and under a time filter. What a page works out while the books are loaded is shown as
the difference it makes to loading.

Without a filter every page is held to the income statement in the same view; under a filter, where a first view
has to work its figures out for a day of its own, so are the later ones. Run it as::

    .venv/bin/python tests/bench/pages.py
    .venv/bin/python tests/bench/pages.py --sales 1000
"""

from __future__ import annotations

import argparse
import gc
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from fava.application import create_app
from load import write_books

if TYPE_CHECKING:
    from collections.abc import Iterator

MODULES = ("today", "pour", "payback", "year", "payouts", "stock", "prices")
INCOME_STATEMENT = ("income_statement/", "api/income_statement")
FILTERS = ("", "?time=2025")
LATER = 7
BOUND = 1.0
#: Below this size starting up hides the ratios.
SMALLEST_BOUND = 10_000


class Views(NamedTuple):
    """Seconds of processor time of the first view and of the best of the later ones."""

    first: float
    later: float


class Served:
    """Books that Fava has loaded, and how long that took."""

    def __init__(self, path: Path) -> None:
        start = time.process_time()
        self.app: Any = create_app([str(path)], load=True)
        self.seconds = time.process_time() - start
        [(self.slug, self.ledger)] = self.app.config["LEDGERS"].items()
        self._client = self.app.test_client()

    @property
    def pages(self) -> list[str]:
        return [details.name for details in self.ledger.extensions.extension_details]

    def views(self, addresses: tuple[str, ...], query: str) -> Views:
        first, *later = (self._view(addresses, query) for _ in range(1 + LATER))
        return Views(first, min(later))

    def _view(self, addresses: tuple[str, ...], query: str) -> float:
        # Garbage of the view before is not this one's.
        gc.collect()
        start = time.process_time()
        for address in addresses:
            response = self._client.get(f"/{self.slug}/{address}{query}")
            if response.status_code != 200:
                sys.exit(f"{address}{query}: {response.text[:500]}")
        return time.process_time() - start


def verdicts(served: Served) -> Iterator[tuple[str, Views, Views, str]]:
    """Yield (page, its views, those of the income statement, filter) for every page and filter."""
    for query in FILTERS:
        own = served.views(INCOME_STATEMENT, query)
        for page in served.pages:
            yield page, served.views((f"extension/{page}/",), query), own, query


def main() -> None:
    """Serve every page, print how long it took, and hold it to the bound."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--sales", type=int, default=SMALLEST_BOUND, metavar="N", help="how many orders")
    sales = parser.parse_args().sales
    with tempfile.TemporaryDirectory() as folder:
        plain = write_books(sales, Path(folder))["draws"]
        without = Served(plain).seconds
        named = plain.with_name("pages.beancount")
        pages = "".join(f'2025-01-01 custom "fava-extension" "millilot.reports.fava.{name}"\n' for name in MODULES)
        named.write_text(pages + plain.read_text())
        served = Served(named)
        print(f"{sales:,} sales: loaded in {without:.2f} s without pages, in {served.seconds:.2f} s with them\n")
        print(f"{'page':<14} {'filter':<11} {'view':<6} {'seconds':>8} {'Fava':>7} {'ratio':>6}")
        broken = 0
        for page, views, own, query in verdicts(served):
            for view, seconds, fava in (("first", views.first, own.first), ("later", views.later, own.later)):
                judged = sales >= SMALLEST_BOUND and (view == "later" or not query)
                missed = judged and seconds > BOUND * fava
                broken += missed
                word = "missed" if missed else "held" if judged else "not judged"
                print(
                    f"{page:<14} {query or 'none':<11} {view:<6} {seconds:>8.3f} {fava:>7.3f} "
                    f"{seconds / fava:>6.2f} {word}",
                )
    if broken:
        sys.exit(1)


if __name__ == "__main__":
    main()
