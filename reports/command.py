"""The command line: `millilot`."""

from __future__ import annotations

from millilot.reports.commands import main

__all__ = ["main"]
