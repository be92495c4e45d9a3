"""These tests need LibreOffice, and are there only where it is."""

from __future__ import annotations

import shutil

collect_ignore = [] if shutil.which("soffice") else ["test_recalculation.py"]
