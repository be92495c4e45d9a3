"""A pack as one file, for who cannot be given a folder."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

if TYPE_CHECKING:
    from collections.abc import Mapping

#: The first day a ZIP file can tell; the day of making would tell two packs of the same books apart.
_DAY = (1980, 1, 1, 0, 0, 0)
_ANYBODY_READS = 0o644 << 16


def archive(files: Mapping[str, bytes], folder: str) -> bytes:
    """Return a ZIP file with a pack in a folder; the same files give the same bytes.

    Args:
        files: their content by name.
        folder: its name.
    """
    whole = BytesIO()
    with ZipFile(whole, "w") as zipped:
        for name, content in files.items():
            info = ZipInfo(f"{folder}/{name}", _DAY)
            info.compress_type, info.external_attr = ZIP_DEFLATED, _ANYBODY_READS
            zipped.writestr(info, content)
    return whole.getvalue()
