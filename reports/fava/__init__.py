"""The Fava pages."""
