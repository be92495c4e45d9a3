"""The books in the docstring of a test."""

from __future__ import annotations

import pytest

from .books import LoadedBooks, load


@pytest.fixture
def faulty(request: pytest.FixtureRequest) -> LoadedBooks:
    """The test's own docstring as books, with the plugin and the usual accounts and bottle."""
    return load(request.function.__doc__)


@pytest.fixture
def books(faulty: LoadedBooks) -> LoadedBooks:
    """The same, for books in which nothing is wrong."""
    assert faulty.messages == []
    return faulty
