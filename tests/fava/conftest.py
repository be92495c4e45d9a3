"""The books the page is shown for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from millilot.reports.commands.demo import demo
from millilot.reports.commands.new import new

from .browsing import browser, open_page, serve
from .pages import HEAD, Site, open_books

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

#: Fixtures that stand beside what they are made of.
__all__ = ["browser", "open_page", "serve"]


@pytest.fixture(scope="session")
def sample_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample books with everything imported; not to be changed."""
    folder = tmp_path_factory.mktemp("sample") / "books"
    CliRunner().invoke(demo, [str(folder)], catch_exceptions=False)
    return folder / "main.beancount"


@pytest.fixture(scope="session")
def sample(sample_path: Path) -> Site:
    return open_books(sample_path)


@pytest.fixture
def starter(tmp_path: Path) -> Site:
    """Books without an entry."""
    CliRunner().invoke(new, [str(tmp_path / "books")], catch_exceptions=False)
    return open_books(tmp_path / "books" / "main.beancount")


@pytest.fixture
def written(tmp_path: Path) -> Callable[..., Path]:
    """Write books below the usual head, and return their path."""

    def write(*texts: str) -> Path:
        path = tmp_path / "main.beancount"
        path.write_text("".join((HEAD, *texts)), encoding="utf-8")
        return path

    return write
