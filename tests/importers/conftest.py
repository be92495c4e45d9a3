"""Books to import into."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from .shop import Shop, lay_down

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """Books with one bottle of 100 mL, and the profile of one channel."""
    return lay_down(tmp_path)
