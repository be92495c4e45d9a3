"""Mistakes in the user's files, told to the person who can mend them."""

from __future__ import annotations

from beangulp.exceptions import Error


class InputError(Error):
    """Something in the user's files that stops the import: where, what was expected and what was found.

    It is an error of beangulp's own kind, so that its command line prints the text and no traceback.
    """

    def __init__(self, message: str) -> None:
        super().__init__(message)  # type: ignore[no-untyped-call]


class ProfileError(InputError):
    """A profile that cannot be read."""


class FileError(InputError):
    """A channel's file that cannot be read."""


class BooksError(InputError):
    """Books that cannot be written."""
