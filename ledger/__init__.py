"""The language of the books: account roles, directives and the typed records that reports read."""
