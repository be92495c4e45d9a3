"""What tests of different folders need."""

from __future__ import annotations

import os
import shutil

import pytest


@pytest.fixture(scope="session")
def chromium() -> str:
    """The browser; without one, its tests are left out, but never where everything has to run."""
    program = shutil.which("chromium")
    if program is None:
        reason = "There is no program chromium on the path."
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    return program
