"""A folder watched for recorded files: each is loaded once it has stopped growing, then moved."""

from __future__ import annotations

import logging
import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.files.detection import detect
from collector.files.load import LoadStopped
from collector.files.mapping import mapping_in
from collector.files.refusal import FileRefused
from collector.files.telling import detection_lines, refusal_lines, report_lines, safe
from collector.rejects import Kind, problem
from collector.stores.base import StoreFailure
from rules.model.reading import Reject

if TYPE_CHECKING:
    import threading
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from collector.files.load import FileLoader
    from collector.rejects import RejectLog
    from rules.model.place import Sensor

log = logging.getLogger(__name__)

LOOK_S = 2.0
STEADY_LOOKS = 2
TAKEN, REFUSED = "taken", "refused"
MAPPING_ENDING = ".map.toml"
MAPPING_FOR_ALL = "all.map.toml"
_UNFINISHED = (".part", ".tmp", ".crdownload", ".filepart", "~")


@dataclass(frozen=True, slots=True)
class _Size:
    """A file as it was at the last look, and for how many looks it has been so."""

    size: int
    changed_ns: int
    looks: int


class DropFolder:
    """Takes files out of one folder. `turn` looks once; `run` looks until it is told to stop.

    A file is ready when it was the same at several looks, one after another. It is then loaded and
    moved to `taken/`, or to `refused/` when it cannot be used, with a report beside it. Killed in
    between, the next start loads it again, which changes nothing. Files whose name begins with a
    dot or ends like an unfinished download are left alone, and so are links and folders.
    `sensors` and `site_zone` may be put anew while it runs.
    NAME.map.toml says how to read NAME, all.map.toml how to read all others.
    """

    def __init__(
        self,
        folder: Path,
        sensors: Sequence[Sensor],
        loader: FileLoader,
        *,
        site_zone: str,
        rejects: RejectLog,
    ) -> None:
        self._folder = folder
        self.sensors = sensors
        self._loader = loader
        self.site_zone = site_zone
        self._rejects = rejects
        self._seen: dict[str, _Size] = {}

    def run(self, stop: threading.Event) -> None:
        """Look every two seconds until `stop`; a fault of disk or store is tried again."""
        while not stop.is_set():
            try:
                self.turn()
            except LoadStopped:
                return  # the file stays where it is, and is loaded at the next start
            except (OSError, StoreFailure) as trouble:
                log.warning("drop_folder_failed cause=%s", safe(str(trouble)))
            stop.wait(LOOK_S)

    def turn(self) -> int:
        """Load every file that is ready; return how many.

        Raises OSError, StoreFailure and LoadStopped; files not loaded are left where they are.
        """
        taken = 0
        seen: dict[str, _Size] = {}
        for path in self._waiting():
            found = path.stat()
            before = self._seen.get(path.name)
            same = before is not None and (before.size, before.changed_ns) == (
                found.st_size,
                found.st_mtime_ns,
            )
            looks = before.looks + 1 if before is not None and same else 1
            seen[path.name] = _Size(found.st_size, found.st_mtime_ns, looks)
            if looks > STEADY_LOOKS:
                self._take(path)
                del seen[path.name]
                taken += 1
        self._seen = seen
        return taken

    def _waiting(self) -> Iterator[Path]:
        self._folder.mkdir(parents=True, exist_ok=True)
        for path in sorted(self._folder.iterdir()):
            hidden = path.name.startswith(".") or path.name.casefold().endswith(_UNFINISHED)
            if hidden or path.name.endswith(MAPPING_ENDING) or path.is_symlink():
                continue
            if path.is_file():
                yield path

    def _take(self, path: Path) -> None:
        lines: list[str] = []
        try:
            detection = detect(
                path,
                self.sensors,
                mapping_in((), self._mapping_for(path)),
                site_zone=self.site_zone,
                now_ms=self._loader.latest_ms(),
            )
        except FileRefused as refused:
            lines += refusal_lines(path.name, refused)
            moved = self._move(path, REFUSED, lines)
            self._tell_of(moved, Kind.FILE_REFUSED, refused.problem, refused.fix)
            log.warning("drop_folder_refused file=%s", safe(path.name))
            return
        lines += detection_lines(detection)
        report = self._loader.load(detection, dry=False, moved=_unheard)
        lines += ["", *report_lines(report, dry=False, most=0)]
        every = (f"    {one}" for one in report.refused.every())
        moved = self._move(path, TAKEN, [*lines, ""], more=every)
        total = report.refused.total()
        report.refused.close()
        if total:
            fix = f"Its report lists them: {moved.name}.report.txt, in {TAKEN}"
            self._tell_of(moved, Kind.ROWS_REFUSED, f"{total} rows or values", fix)
        log.info(
            "drop_folder_taken file=%s kept=%d known=%d refused=%d",
            safe(path.name),
            report.kept,
            report.known,
            total,
        )

    def _mapping_for(self, path: Path) -> list[Path]:
        own = path.with_name(path.name + MAPPING_ENDING)
        for_all = self._folder / MAPPING_FOR_ALL
        return [one for one in (for_all, own) if one.is_file()]

    def _move(
        self, path: Path, where: str, lines: Sequence[str], *, more: Iterator[str] | None = None
    ) -> Path:
        """Move a file away under a name that is free there, its report first; return where to."""
        folder = self._folder / where
        folder.mkdir(exist_ok=True)
        target, number = folder / path.name, 1
        while target.exists():
            number += 1
            target = folder / f"{path.stem}-{number}{path.suffix}"
        report = target.with_name(target.name + ".report.txt")
        with report.open("w", encoding="utf-8", errors="backslashreplace") as text:
            text.writelines(safe(line) + "\n" for line in lines)
            text.writelines(safe(line) + "\n" for line in more or ())
        shutil.move(path, target)
        return target

    def _tell_of(self, path: Path, kind: Kind, details: str, fix: str) -> None:
        """Put a line into the log of rejects, which the technician reads."""
        at_ms = self._loader.now_ms()
        said = problem(kind, details)
        where = f"{path.parent.name}/{path.name}"
        self._rejects.add([Reject(at_ms, safe(where), b"", "file", said, fix)])


def _unheard(_done: int, _whole: int) -> None:
    """Nobody watches a bar here."""
