"""Books served by Fava, and a Chromium to look at them."""

from __future__ import annotations

import threading
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING, NamedTuple

import pytest
from cheroot.wsgi import Server
from playwright.sync_api import sync_playwright

from .pages import open_books

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import BrowserContext, Page

LOOPBACK = "127.0.0.1"
#: Milliseconds until something that should be there is missed.
PATIENCE = 10_000
#: Chromium shall neither look for a graphics card nor for anything on the network.
QUIET = [
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]

#: Whether a part of the page is no wider than its place; given by what selects it.
FITS = "part => (part = document.querySelector(part), part.scrollWidth <= part.clientWidth)"


class Served(NamedTuple):
    """Books that Fava serves: where they are, and the page's address."""

    path: Path
    root: str

    @property
    def page(self) -> str:
        return f"{self.root}extension/BottlePayback/"


@contextmanager
def serving(path: Path, **flags: bool) -> Iterator[Served]:
    """Serve books on a free port until the block ends."""
    site = open_books(path, **flags)
    server = Server((LOOPBACK, 0), site.app)
    server.prepare()
    thread = threading.Thread(target=server.serve)
    thread.start()
    try:
        yield Served(path, f"http://{LOOPBACK}:{server.bind_addr[1]}/{site.slug}/")
    finally:
        server.stop()
        thread.join()


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[BrowserContext]:
    """One window for all tests, so that Fava's own files are fetched once for each server."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=QUIET)
        context = browser.new_context()
        context.set_default_timeout(PATIENCE)
        yield context
        browser.close()


@pytest.fixture
def serve() -> Iterator[Callable[..., Served]]:
    """Serve books until the test and its pages are done."""
    with ExitStack() as stack:
        yield lambda path, **flags: stack.enter_context(serving(path, **flags))


@pytest.fixture
def open_page(browser: BrowserContext, serve: Callable[..., Served]) -> Iterator[Callable[..., Page]]:
    """Open an address, in a window of a size and a theme; in the end the console must hold no complaint."""
    complaints: list[str] = []
    pages: list[Page] = []

    def open_(address: str, width: int = 1280, theme: str = "light") -> Page:
        page = browser.new_page()
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=theme)
        page.on("console", lambda message: complaints.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("dialog", lambda dialog: (complaints.append(dialog.message), dialog.dismiss()))
        page.goto(address)
        pages.append(page)
        return page

    yield open_
    for page in pages:
        page.close()
    assert complaints == []
