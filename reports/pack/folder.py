"""A pack into its folder, all or nothing."""

from __future__ import annotations

import os
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from millilot.reports.pack.manifest import NAME, digest, read_manifest

if TYPE_CHECKING:
    from collections.abc import Mapping


class FolderError(Exception):
    """A folder that a pack cannot be put into; the message says why."""


def put(files: Mapping[str, bytes], folder: Path) -> None:
    """Make a folder with some files, or replace an earlier pack that nobody has touched since.

    They are written beside it and put in place by renaming, so that a failure leaves all as it was.

    Args:
        files: their content by name.
        folder: where they go; its parent exists.

    Raises:
        FolderError: the folder holds something else, or cannot be written.
    """
    check(folder)
    # What is called `.` cannot be renamed to.
    folder = folder.absolute()
    try:
        with TemporaryDirectory(prefix=f".{folder.name}.", dir=folder.parent) as beside:
            new, old = Path(beside, "new"), Path(beside, "old")
            new.mkdir()
            for name, content in files.items():
                with new.joinpath(name).open("xb") as file:
                    file.write(content)
                    file.flush()
                    os.fsync(file.fileno())
            if not folder.exists():
                new.rename(folder)
                return
            folder.rename(old)
            try:
                new.rename(folder)
            except OSError:
                old.rename(folder)
                raise
    except OSError as error:
        raise FolderError(f"{folder}: cannot be written: {error.strerror or error}") from None


def check(folder: Path) -> None:
    """Make sure that a pack may be put into a folder.

    Raises:
        FolderError: it holds something else.
    """
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise FolderError(f"{folder} is not a folder; a pack goes into a folder of its own.")
    if not folder.exists() or not any(folder.iterdir()):
        return
    earlier = read_manifest(folder)
    if earlier is None:
        raise FolderError(f"{folder} is not empty and holds no earlier pack; name a new folder.")
    known = {NAME, *earlier["files"]}
    others = sorted(path.name for path in folder.iterdir() if path.name not in known)
    if others:
        raise FolderError(
            f"{folder} holds what the pack did not bring: {', '.join(others)}. Move it elsewhere first.",
        )
    changed = [
        name for name, of_file in earlier["files"].items()
        if not folder.joinpath(name).is_file() or digest(folder.joinpath(name).read_bytes()) != of_file
    ]
    if changed:
        raise FolderError(
            f"{folder} was changed since it was packed: {', '.join(changed)}. Move it elsewhere first.",
        )
