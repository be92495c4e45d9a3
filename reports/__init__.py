"""Figures out of the books."""
