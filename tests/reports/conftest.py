"""The books in the docstring of a test."""

from __future__ import annotations

from textwrap import dedent
from typing import TYPE_CHECKING

import pytest

from .books import SHELF, read

if TYPE_CHECKING:
    from millilot.ledger.records import Books


@pytest.fixture
def books(request: pytest.FixtureRequest) -> Books:
    """The test's own docstring as books, below the usual accounts and two bottles."""
    return read(SHELF + dedent(request.function.__doc__))
