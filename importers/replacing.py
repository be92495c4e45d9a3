"""A file replaced as a whole: whoever reads it, or is killed meanwhile, sees the old one or the new."""

from __future__ import annotations

import os
import stat
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


class WholeFile:
    """A file as it was read, and a way to put another content in its place in one step.

    Args:
        path: the file itself, not a symbolic link to it.

    Attributes:
        content: what it held.
        copy: the file beside it in which the new content is tried; there only meanwhile.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.content = path.read_bytes()
        self.copy = path.with_name(f".{path.name}.importing")
        self._status = path.stat()

    def write_copy(self, content: bytes) -> None:
        """Write a content beside the file, with the file's mode and owner, down to the disk."""
        # A copy that a killed process left behind; whoever holds the lock on the books may remove it.
        self.copy.unlink(missing_ok=True)
        with self.copy.open("xb") as file:
            os.fchmod(file.fileno(), stat.S_IMODE(self._status.st_mode))
            with suppress(PermissionError):
                os.fchown(file.fileno(), self._status.st_uid, self._status.st_gid)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())

    def is_unchanged(self) -> bool:
        """Whether the file is still the one that was read."""
        status = self.path.stat()
        same_file = (status.st_dev, status.st_ino) == (self._status.st_dev, self._status.st_ino)
        return same_file and self.path.read_bytes() == self.content

    def put_in_place(self) -> None:
        """Rename the copy over the file."""
        self.copy.replace(self.path)
        # The rename lasts once the folder is on the disk; where a folder cannot be forced there, the file is in
        # place all the same.
        with suppress(OSError):
            folder = os.open(self.path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)

    def drop_copy(self) -> None:
        """Remove the copy if there is one."""
        self.copy.unlink(missing_ok=True)
