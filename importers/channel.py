"""A channel's importer for beangulp and for Fava's import page.

In an import script, one importer a profile::

    CONFIG = [ChannelImporter(Path(__file__).parent / "profiles" / "lantern.toml")]
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from beancount.core.data import Transaction
from beangulp.extract import DUPLICATE
from beangulp.importer import Importer

from millilot.importers.batch import Batch, Outcome
from millilot.importers.events import Group
from millilot.importers.identity import BookedEvents
from millilot.importers.problems import FileError
from millilot.importers.profile import Profile, read_profile
from millilot.importers.shapes import read_events
from millilot.importers.table import iter_rows, read_headings
from millilot.ledger.accounts import DEFAULT_ACCOUNTS, Role
from millilot.ledger.directives import read_settings

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence

    from beancount.core.data import Directive


def fits(path: Path, profile: Profile) -> bool:
    """Whether a file has all the headings a profile names."""
    if not path.is_file():
        return False
    try:
        return profile.headings <= set(read_headings(path, profile.file, profile.headings))
    except FileError:
        return False


def choose_profile(path: Path, profiles: Sequence[Profile]) -> Profile:
    """Return the one profile whose headings a file has.

    Raises:
        FileError: when none fits, with what the nearest would want, or when several do.
    """
    fitting = [profile for profile in profiles if fits(path, profile)]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        names = ", ".join(profile.name for profile in fitting)
        raise FileError(f"{path}: several profiles fit: {names}; say which with --profile")
    if not profiles:
        raise FileError(f"{path}: there is no profile; expected one in profiles/ beside the books, or --profile")
    raise FileError(f"{path}: no profile fits; {'; '.join(_lacking(path, profile) for profile in profiles)}")


def require_fit(path: Path, profile: Profile) -> None:
    """Make sure that a file has the headings of a profile.

    Raises:
        FileError: with the headings that are missing.
    """
    if not fits(path, profile):
        raise FileError(f"{path}: {_lacking(path, profile)}")


def _lacking(path: Path, profile: Profile) -> str:
    missing = sorted(profile.headings - set(read_headings(path, profile.file, profile.headings)))
    return f"{profile.name} expects the headings {', '.join(missing)}, which the file does not have"


class ChannelImporter(Importer):
    """Imports the files of one profile.

    Args:
        profile: the profile, or the path of its file.

    Raises:
        ProfileError: when the profile cannot be read.
    """

    def __init__(self, profile: Profile | Path | str) -> None:
        self.profile = profile if isinstance(profile, Profile) else read_profile(Path(profile))

    @property
    def name(self) -> str:
        """The profile's name; Fava refuses two importers of one name."""
        return f"millilot.{self.profile.name}"

    def identify(self, filepath: str) -> bool:
        """Whether the file has the headings of the profile."""
        return fits(Path(filepath), self.profile)

    def account(self, filepath: str) -> str:  # noqa: ARG002  # one profile, one account
        """Return the channel's account, under which beangulp archives the file."""
        return self.profile.account or f"{DEFAULT_ACCOUNTS[Role.MARKETPLACE]}:{self.profile.channel}"

    def date(self, filepath: str) -> datetime.date | None:
        """Return the last day of the file's events; None when it has none, or cannot be read to its end."""
        try:
            rows = iter_rows(Path(filepath), self.profile.file, self.profile.headings)
            groups = [group for group in read_events(rows, self.profile) if isinstance(group, Group)]
        except FileError:
            # Said by `extract`; Fava asks for the date of every file before one is chosen.
            return None
        return max((event.date for group in groups for event in group.events), default=None)

    def filename(self, filepath: str) -> str:
        """Return the name to archive the file under; beangulp wants none that begins with a date."""
        return f"{self.profile.slug}.{Path(filepath).name}"

    def extract(self, filepath: str, existing: Sequence[Directive]) -> list[Directive]:
        """Return the file's entries, those already booked included.

        Raises:
            FileError: when a row is refused: beangulp has no way to tell of a single row, and a file of which
                rows are missing would look imported.
        """
        batch = Batch(existing)
        batch.add(Path(filepath), self.profile)
        refused = [fate for fate in batch.result().fates if fate.fate is Outcome.REFUSED]
        if refused:
            raise FileError("\n".join(f"{fate.file}, row {fate.row}: {fate.reason}" for fate in refused))
        return [*batch.known, *batch.new]

    def deduplicate(self, entries: list[Directive], existing: Sequence[Directive]) -> None:
        """Mark the entries whose event is in the books, however far apart their days and amounts are."""
        settings, _ = read_settings(existing)
        booked = BookedEvents(existing, settings.roles)
        for entry in entries:
            same = booked.same(entry) if isinstance(entry, Transaction) else None
            if same is not None:
                entry.meta[DUPLICATE] = same
