"""Replays in the background: one at a time, with how far it is, and a way to stop it.

The readings that are watched are only read, and files go into a store of their own. Nothing is
recorded, so a replay that is cut off by a crash is simply asked for again; what it left on the disk
is wiped at the next start.
"""

from __future__ import annotations

import contextlib
import logging
import shutil
import threading
import time
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy.exc import SQLAlchemyError

from api.replaying import replayed
from api.replays.files import Given, GivenRefused, load_files, scratch_store, span_loaded
from api.replays.pressed import Pressed
from api.replays.receiving import has_room
from api.replays.record import recorded_in, told_of
from api.replays.span import DaysUnnamed, NothingToJudge, minutes_of
from api.replays.state import (
    MOST_DAYS,
    RUNS,
    Asked,
    Busy,
    NotShown,
    Outcome,
    Replay,
    Stage,
    Trouble,
    UnknownReplay,
    Why,
)
from api.watch.clock import milliseconds
from collector.files.load import LoadStopped
from collector.stores.base import StoreFailure
from rules.replay import Tally

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from api.parts import Parts
    from api.replays.files import Loaded
    from api.replays.record import Recorded
    from collector.stores.base import ReadingStore

log = logging.getLogger(__name__)

FOLDER = "replay"
READING_SHARE = 0.3
"""Of the whole way, so much is reading files, where there are any: it is the shorter part."""
KEPT_S = 6 * 3600
"""Files that wait to be looked at, and figures, are dropped after so long."""
_REST_SHARE = 0.5
_MOST_REST_S = 0.5
_END_WITHIN_S = 10.0


class _Stopped(Exception):
    """Somebody stopped it, or the process ends."""


@dataclass
class _Slot:
    """The one place for a replay, with its folder and what stops it."""

    replay: Replay | None = None
    folder: Path | None = None
    stop: threading.Event = field(default_factory=threading.Event)
    thread: threading.Thread | None = None


class Replays:
    """The replays of this process, one at a time; safe to use from many threads.

    The last one is kept in memory until the next is asked for, it is forgotten, or hours have gone.
    """

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._lock = threading.Lock()
        self._slot = _Slot()
        self._receives = False
        self._number = 0
        self._home = parts.settings.data / FOLDER
        # Nothing of an earlier process is of use: its replay is gone with it.
        shutil.rmtree(self._home, ignore_errors=True)

    @property
    def now(self) -> Replay | None:
        """The replay there is, if any."""
        with self._lock:
            found = self._slot.replay
            if found is None or found.stage in RUNS:
                return found
            if milliseconds(self._parts.clock) - found.made_ms < KEPT_S * 1000:
                return found
            self._forget()
            return None

    def of(self, number: int) -> Replay:
        """Return a replay by its number. Raises UnknownReplay."""
        found = self.now
        if found is None or found.number != number:
            raise UnknownReplay
        return found

    @contextlib.contextmanager
    def receiving(self) -> Iterator[Path]:
        """Give a new folder for files that come in; it is wiped unless `show` took it.

        Raises Busy while a replay runs or other files come in.
        """
        with self._lock:
            self._refuse_if_busy()
            self._receives = True
            self._number = max(self._number + 1, milliseconds(self._parts.clock) // 1000)
            folder = self._home / str(self._number)
        try:
            folder.mkdir(parents=True, mode=0o700)
            yield folder
        finally:
            with self._lock:
                self._receives = False
                if self._slot.folder != folder:
                    shutil.rmtree(folder, ignore_errors=True)

    def show(self, asked: Asked, folder: Path) -> Replay:
        """Put a replay into the one place, with the `folder` of `receiving`, which is now its own.

        The one that was there is forgotten. Raises Busy while it runs.
        """
        with self._lock:
            if self._slot.replay is not None and self._slot.replay.stage in RUNS:
                raise Busy
            self._forget()
            made_ms = milliseconds(self._parts.clock)
            shown = Replay(self._number, asked, Stage.SHOWN, made_ms=made_ms)
            self._slot = _Slot(shown, folder)
            return shown

    def say(self, number: int, files: Sequence[Given]) -> Replay:
        """Take what a person says of the files of a replay that is shown."""
        with self._lock:
            found = self._shown(number)
            self._slot.replay = replace(found, asked=replace(found.asked, files=tuple(files)))
            return self._slot.replay

    def begin(self, number: int) -> Replay:
        """Start a replay that is shown. Raises UnknownReplay, NotShown, Busy."""
        with self._lock:
            found = self._shown(number)
            stage = Stage.READING if found.asked.files else Stage.JUDGING
            begun = self._slot.replay = replace(found, stage=stage)
            slot = self._slot
            slot.thread = threading.Thread(
                target=self._run, args=(slot, begun), name="replay", daemon=True
            )
            slot.thread.start()
            log.info("replay.begun number=%d files=%d", number, len(found.asked.files))
            return begun

    def end(self, number: int) -> None:
        """Stop a replay that runs, or forget it. Raises UnknownReplay."""
        with self._lock:
            found = self._slot.replay
            if found is None or found.number != number:
                raise UnknownReplay
            if found.stage in RUNS:
                self._slot.stop.set()
            else:
                self._forget()

    def close(self) -> None:
        """Stop whatever runs and wipe what is on the disk, as the process ends."""
        with self._lock:
            thread = self._slot.thread
            self._slot.stop.set()
        if thread is not None:
            thread.join(_END_WITHIN_S)
        with self._lock:
            self._forget()

    def _refuse_if_busy(self) -> None:
        runs = self._slot.replay is not None and self._slot.replay.stage in RUNS
        if runs or self._receives:
            raise Busy

    def _shown(self, number: int) -> Replay:
        found = self._slot.replay
        if found is None or found.number != number:
            raise UnknownReplay
        if found.stage is not Stage.SHOWN:
            raise NotShown
        return found

    def _forget(self) -> None:
        if self._slot.folder is not None:
            shutil.rmtree(self._slot.folder, ignore_errors=True)
        self._slot = _Slot()

    def _run(self, slot: _Slot, replay: Replay) -> None:
        try:
            with contextlib.ExitStack() as open_things:
                outcome = self._outcome(slot, replay.asked, open_things)
        except (_Stopped, LoadStopped):
            self._put(slot, stage=Stage.STOPPED)
        except GivenRefused as trouble:
            said = f"{trouble.refusal.problem}. {trouble.refusal.fix}"
            self._fail(slot, Trouble(Why.FILE_REFUSED, said, trouble.path.name))
        except DaysUnnamed as trouble:
            self._fail(slot, Trouble(Why.NAME_DAYS, str(trouble)))
        except NothingToJudge as trouble:
            self._fail(slot, Trouble(Why.NOTHING_THERE, str(trouble)))
        except _Failed as trouble:
            self._fail(slot, trouble.trouble)
        except (StoreFailure, SQLAlchemyError, OSError) as trouble:
            if slot.stop.is_set() or self._parts.stopping.is_set():
                self._put(slot, stage=Stage.STOPPED)
            else:
                log.warning("replay.store_failed why=%s", type(trouble).__name__)
                self._fail(slot, Trouble(Why.STORE, "a store does not answer; try again"))
        except Exception:
            log.exception("replay.fault")
            self._fail(slot, Trouble(Why.FAULT, "something went wrong on this side; see the log"))
        else:
            self._put(slot, stage=Stage.DONE, share=1.0, outcome=outcome)
        finally:
            if slot.folder is not None:
                shutil.rmtree(slot.folder, ignore_errors=True)

    def _outcome(self, slot: _Slot, asked: Asked, open_things: contextlib.ExitStack) -> Outcome:
        now, settings = self._parts.book.now, self._parts.settings
        store: ReadingStore = self._parts.store
        loaded_ms: tuple[int, int] | None = None
        if asked.files:
            store = open_things.enter_context(scratch_store(slot.folder))
            loaded_ms = self._load(slot, asked.files, store)
        recorded = recorded_in(
            now.site,
            now.plans,
            None if asked.files else self._parts.records,
            between=minutes_of(asked.days, now.site),
            loaded_ms=loaded_ms,
            hindsight=asked.hindsight,
            one_book=False,
            lateness_s=settings.lateness_s,
        )
        return self._judged(slot, recorded, store, share=READING_SHARE if asked.files else 0.0)

    def _load(self, slot: _Slot, files: Sequence[Given], store: ReadingStore) -> tuple[int, int]:
        def moved(place: int, done: int, whole: int) -> None:
            part = min(1.0, done / whole) if whole > 0 else 0.0
            self._put(slot, share=READING_SHARE * (place + part) / len(files))

        def rest(took_s: float) -> bool:
            if not has_room(self._home):
                says = "there is too little room left on the disk; make room, or send fewer days"
                raise _Failed(Trouble(Why.NO_ROOM, says))
            return self._rest(slot, took_s)

        loaded: list[Loaded] = []
        for one in load_files(
            files,
            store,
            self._parts.site,
            clock_ms=lambda: milliseconds(self._parts.clock),
            rest=rest,
            moved=moved,
        ):
            loaded.append(one)
            self._put(slot, loaded=tuple(loaded))
        span = span_loaded(loaded)
        if span is None:
            says = "there is no reading in the files; look at the rows that were refused"
            raise _Failed(Trouble(Why.NO_READING, says))
        return span

    def _judged(
        self, slot: _Slot, recorded: Recorded, store: ReadingStore, *, share: float
    ) -> Outcome:
        span = recorded.span
        if span.end - span.first > MOST_DAYS * 1440:
            days = -(-(span.end - span.first) // 1440)
            says = f"{days} days would be judged, at most {MOST_DAYS} are; load fewer at once"
            raise _Failed(Trouble(Why.TOO_LONG, says))
        self._put(slot, stage=Stage.JUDGING, share=share)
        tally, pressed = Tally(span.told_from), Pressed(span.told_from, span.end)
        began = time.monotonic()
        for passage in replayed(recorded.stretches, store, late_in=recorded.late_in):
            tally.take(passage)
            pressed.take(passage)
            done = passage.first_minute + passage.minutes - span.first
            self._put(slot, share=share + (1 - share) * done / (span.end - span.first))
            if self._rest(slot, time.monotonic() - began):
                raise _Stopped
            began = time.monotonic()
        return Outcome(
            told=told_of(recorded, tally, rings=False),
            drawn=pressed.drawn(),
            first_minute=span.told_from,
            end_minute=span.end,
            lost=recorded.lost,
        )

    def _rest(self, slot: _Slot, took_s: float) -> bool:
        """Let the watch and the pages in between; return whether to stop."""
        stopped = slot.stop.wait(min(took_s * _REST_SHARE, _MOST_REST_S))
        return stopped or self._parts.stopping.is_set()

    def _fail(self, slot: _Slot, trouble: Trouble) -> None:
        self._put(slot, stage=Stage.FAILED, trouble=trouble)

    def _put(self, slot: _Slot, **changed: object) -> None:
        with self._lock:
            if slot.replay is not None:
                slot.replay = replace(slot.replay, **changed)  # type: ignore[arg-type]


class _Failed(Exception):
    """A replay can't go on; carries why."""

    def __init__(self, trouble: Trouble) -> None:
        self.trouble = trouble
        super().__init__(trouble.says)
