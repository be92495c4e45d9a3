"""The Fava pages, a module each, over the same functions as the command line.

The books name the pages they want, in the order of the sidebar::

    2026-01-01 custom "fava-extension" "millilot.reports.fava.payback"
"""
