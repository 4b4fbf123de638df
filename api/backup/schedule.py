"""Makes a backup each day, tries it, and lets go of old ones. One thread calls `turn`.

What is owed follows from the clock and from what lies in the folder: nothing is remembered. Killed
anywhere, the next look finds what is missing: the backup, or that it was tried.
"""

from __future__ import annotations

import contextlib
import logging
import shutil
import tempfile
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from api.backup.folder import PART, SUMS, kept_in, sum_of, sync_folder, write_private
from api.backup.going import Going
from api.backup.making import make_backup, sources_of
from api.backup.settings_kept import SettingUnreadable
from api.backup.thinning import Thinning, spared
from api.backup.trouble import BackupFailed, CannotRestore, Damaged, NoBackup, Stopped
from api.backup.trying import try_backup
from rules.local_time import local_day
from rules.sheet_times import instant_due, sheet_time

if TYPE_CHECKING:
    import threading
    from collections.abc import Mapping
    from datetime import datetime

    from api.backup.folder import Kept
    from api.book import Book
    from api.settings import Settings
    from api.watch.clock import Clock

log = logging.getLogger(__name__)

AGAIN_AFTER = timedelta(minutes=30)
TRIED = ".tried"
DAMAGED = ".damaged"
_PLACE = ".graftvigil-check-"
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class BackupState:
    """How backups stand. `good_at` is when the last was made that was tried, None: none was.

    `since` is from when on the next one is missed: `good_at`, or the start. `error` is why the
    newest attempt failed, "" for none.
    """

    good_at: datetime | None
    since: datetime
    error: str

    def age_s(self, now: datetime) -> float:
        """Return for how long no backup has worked, in seconds."""
        return max(0.0, (now - self.since).total_seconds())


class ScheduledBackups:
    """Keeps a folder of backups up to date; `state` may be asked from any thread."""

    def __init__(
        self,
        settings: Settings,
        folder: Path,
        book: Book,
        clock: Clock,
        *,
        environment: Mapping[str, str],
        stop: threading.Event,
    ) -> None:
        self._settings = settings
        self._folder = folder
        self._book = book
        self._clock = clock
        self._environment = environment
        self._going = Going(stop=stop)
        self._thinning = Thinning(
            settings.backup_days, settings.backup_weeks, settings.backup_months
        )
        self._again_at: datetime | None = None
        self.state = BackupState(None, clock.now(), "")

    def turn(self) -> bool:
        """Make and try the backup that is owed now, if one is; return whether it came out whole."""
        now = self._clock.now()
        try:
            good = self._last_good()
            if good is not None:
                self.state = BackupState(good.at, good.at, self.state.error)
                if good.at >= self._due(now):
                    self.state = BackupState(good.at, good.at, "")
                    return False
            if self._again_at is not None and now < self._again_at:
                return False
            self._again_at = now + AGAIN_AFTER
            good = self._made_and_tried(now)
        except Stopped:
            return False
        except (BackupFailed, Damaged, CannotRestore, NoBackup, SettingUnreadable) as trouble:
            return self._failed(str(trouble).splitlines()[0])
        except OSError as trouble:
            said = trouble.strerror or str(trouble)
            return self._failed(f"{trouble.filename or self._folder}: {said}")
        self._again_at = None
        self.state = BackupState(good.at, good.at, "")
        log.info("backup_tried name=%s", good.path.name)
        self._thin()
        return True

    def _failed(self, why: str) -> bool:
        log.error("backup_failed why=%s", why)
        self.state = BackupState(self.state.good_at, self.state.since, why)
        return False

    def _due(self, now: datetime) -> datetime:
        """Return the last instant, up to now, at which a backup fell due."""
        place = self._book.now.site.site
        wanted, today = sheet_time(self._settings.backup_at), local_day(now, place)
        due = (instant_due(today + back * _DAY, wanted, place) for back in (1, 0, -1, -2))
        return next(at for at in due if at <= now)

    def _last_good(self) -> Kept | None:
        return next((one for one in reversed(kept_in(self._folder)) if _was_tried(one)), None)

    def _made_and_tried(self, now: datetime) -> Kept:
        """Return the backup owed now, made and tried; one that is made already is only tried."""
        for left in self._folder.glob(f"{_PLACE}*"):
            shutil.rmtree(left)
        newest = kept_in(self._folder)[-1:]
        if not newest or newest[0].at < self._due(now):
            sources = sources_of(self._settings, self._environment, with_secrets=False)
            made = make_backup(sources, self._folder, now=now, going=self._going)
            log.info("backup_made name=%s", made.name)
            newest = kept_in(self._folder)[-1:]
        self._try(newest[0])
        return newest[0]

    def _try(self, backup: Kept) -> None:
        """Restore it into a fresh place on its own disk; what is damaged no longer counts."""
        with tempfile.TemporaryDirectory(prefix=_PLACE, dir=self._folder) as place:
            try:
                tried = try_backup(backup.path, Path(place), going=self._going)
            except Damaged:
                backup.path.rename(backup.path.with_name(f"{backup.path.name}{DAMAGED}"))
                raise
        for note in tried.notes:
            log.warning("backup_files_faulty said=%s", note)
        write_private(_mark_of(backup), f"{sum_of(backup.path / SUMS)}\n".encode())
        sync_folder(self._folder)

    def _thin(self) -> None:
        """Let go of backups that are no longer wanted. Only ever after one has come out whole."""
        place = self._book.now.site.site
        try:
            # What a person made beside, and nobody tried, is not ours to let go of.
            good = tuple(one for one in kept_in(self._folder) if _was_tried(one))
            kept = spared(good, self._thinning, lambda one: local_day(one.at, place))
            for one in sorted(set(good) - kept, key=lambda one: one.at):
                going = one.path.with_name(f"{one.path.name}{PART}")  # half gone, it is none
                one.path.rename(going)
                _mark_of(one).unlink()
                shutil.rmtree(going)
                log.info("backup_let_go name=%s", one.path.name)
            for path in self._folder.glob(f"graftvigil-*{DAMAGED}"):
                shutil.rmtree(path)
        except OSError as trouble:
            log.warning("backups_not_thinned why=%s", trouble.strerror)


def _mark_of(backup: Kept) -> Path:
    return backup.path.with_name(f"{backup.path.name}{TRIED}")


def _was_tried(backup: Kept) -> bool:
    """Return whether a backup came out whole when it was tried, and its sums are still those."""
    with contextlib.suppress(OSError):
        return _mark_of(backup).read_text(encoding="ascii").strip() == sum_of(backup.path / SUMS)
    return False
