"""The importers for Fava's import page and for beangulp: one for each profile in the folder beside this file."""

from pathlib import Path

import beangulp

from millilot.importers.channel import ChannelImporter

CONFIG = [ChannelImporter(profile) for profile in sorted(Path(__file__).parent.glob("profiles/*.toml"))]

if __name__ == "__main__":
    beangulp.Ingest(CONFIG)()
