"""`graftvigil load`: recorded files into the store, shown before they are used."""

from __future__ import annotations

import argparse
import contextlib
import fcntl
import json
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import BAD_INPUT, FOUND_TROUBLE, GOOD, CannotGoOn
from api.cli.options import take_site

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import TextIO

    from collector.files.detection import Detection
    from collector.files.load import FileLoader
    from collector.files.mapping import FileMapping
    from collector.files.refusal import FileRefused
    from collector.files.report import Report
    from rules.model.site import Site

_DESCRIPTION = """\
Load files that loggers and spreadsheets wrote: CSV and its relatives, JSON Lines (.jsonl),
Parquet, workbooks (.xlsx). What was found out about a file is shown first: which column is which
channel, in which unit, how its times are written and by which zone. Nothing is guessed where a
file can be read in two ways: it is refused, with both readings and the option that chooses.
Values are kept raw, in the unit that the site file declares. Loading a file again changes nothing;
a row that contradicts what is kept is told, and what is kept stays. docs/files.md explains.

  graftvigil load --site site.toml --dry-run bag-07.csv
  graftvigil load --site site.toml bag-07.csv
  graftvigil load --site site.toml --map "Temp (°F)=bag-07/air degF" --map zone=+11:00 export.csv
  graftvigil load --site site.toml --dry-run --write-map logger.map.toml export.csv
  graftvigil load --site site.toml --map-file logger.map.toml export.csv next.csv

Exit code 0: every reading is kept. 1: some rows were refused. 2: a file cannot be used.
"""
# So long a rest for so long a batch when a watch runs on the same store: its own readings come in
# between, and it never falls far behind.
_REST_SHARE = 1.0
_MOST_REST_S = 2.0


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = subcommands.add_parser(
        "load",
        help="load files that loggers wrote, each shown before it is used",
        description=_DESCRIPTION,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("files", type=Path, nargs="+", metavar="FILE", help="a recorded file")
    take_site(command)
    command.add_argument(
        "--data",
        type=Path,
        default=Path("graftvigil-data"),
        metavar="FOLDER",
        help="folder of the stores",
    )
    command.add_argument(
        "--map",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="how to read: a column and its channel and unit, or zone, time, time_format, "
        "date_order, decimal, separator, encoding, header_line, sheet, missing",
    )
    command.add_argument(
        "--map-file",
        type=Path,
        action="append",
        default=[],
        metavar="FILE",
        help="the same, written in a file",
    )
    command.add_argument(
        "--dry-run", action="store_true", help="show and count everything, keep nothing"
    )
    command.add_argument(
        "--write-map",
        type=Path,
        metavar="FILE",
        help="write what was found out about the one FILE, to be used again",
    )
    command.add_argument(
        "--report", type=Path, metavar="FILE", help="write every refused row to FILE, one a line"
    )
    command.add_argument(
        "--most", type=int, default=20, metavar="N", help="show at most N refused rows"
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Load every file; return the worst of their exit codes."""
    from api.cli.given import site as read_site
    from collector.files.mapping import mapping_in
    from collector.files.refusal import FileRefused
    from collector.stores.base import StoreFailure

    if arguments.write_map and len(arguments.files) != 1:
        msg = "--write-map: goes with one FILE, as files differ; name one"
        raise CannotGoOn(msg)
    site = read_site(arguments.site)
    try:
        mapping = mapping_in(arguments.map, arguments.map_file)
    except FileRefused as refused:
        raise CannotGoOn(str(refused)) from refused
    with contextlib.ExitStack() as open_things:
        report = open_things.enter_context(_writable(arguments.report))
        telling = _Telling(as_json=arguments.json, most=arguments.most, report=report)
        try:
            loader = open_things.enter_context(_loader(arguments.data, dry=arguments.dry_run))
            codes = [
                _load_one(path, site, mapping, loader=loader, telling=telling, asked=arguments)
                for path in arguments.files
            ]
        except StoreFailure as failure:
            msg = f"{failure}. What was kept until now is kept; load the same files again then"
            raise CannotGoOn(msg) from failure
        telling.end(max(codes))
    return max(codes)


@contextlib.contextmanager
def _writable(path: Path | None) -> Iterator[TextIO | None]:
    if path is None:
        yield None
        return
    try:
        file = path.open("w", encoding="utf-8", errors="backslashreplace")
    except OSError as trouble:
        msg = f"--report: {path} cannot be written ({trouble.strerror})"
        raise CannotGoOn(msg) from trouble
    with file:
        yield file


@contextlib.contextmanager
def _loader(data: Path, *, dry: bool) -> Iterator[FileLoader]:
    """Give what loads files into the store of a data folder, which is made when it is not there."""
    from api.settings import READINGS_FILE
    from api.watch.clock import WallClock, milliseconds
    from collector.files.load import FileLoader
    from collector.stores.sqlite import SqliteStore

    def clock_ms() -> int:
        return milliseconds(WallClock())

    if dry and not (data / READINGS_FILE).is_file():
        yield FileLoader(None, together=contextlib.nullcontext, clock_ms=clock_ms, rest=_no_rest)
        return
    try:
        data.mkdir(parents=True, exist_ok=True)
    except OSError as trouble:
        msg = f"{data} cannot be made ({trouble.strerror}). Name another with --data"
        raise CannotGoOn(msg) from trouble
    store = SqliteStore(data / READINGS_FILE)
    rest = _let_others if _in_use(data) else _no_rest
    try:
        yield FileLoader(store, together=store.file.writing, clock_ms=clock_ms, rest=rest)
    finally:
        store.close()


def _in_use(data: Path) -> bool:
    """Return whether a graftvigil runs on the data folder."""
    try:
        with (data / "lock").open("rb") as held:
            fcntl.flock(held, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False


def _no_rest(_took_s: float) -> bool:
    return False


def _let_others(took_s: float) -> bool:
    return threading.Event().wait(min(took_s * _REST_SHARE, _MOST_REST_S))


def _load_one(
    path: Path,
    site: Site,
    mapping: FileMapping,
    *,
    loader: FileLoader,
    telling: _Telling,
    asked: argparse.Namespace,
) -> int:
    from collector.files.detection import detect
    from collector.files.refusal import FileRefused

    try:
        detection = detect(
            path,
            site.sensor,
            mapping,
            site_zone=site.site.time_zone,
            now_ms=loader.latest_ms(),
        )
    except FileRefused as refused:
        telling.refused(path, refused)
        return BAD_INPUT
    telling.detected(detection)
    if asked.write_map:
        _write_map(asked.write_map, detection)
    with telling.progress(path) as moved:
        report = loader.load(detection, dry=asked.dry_run, moved=moved)
    telling.loaded(path, detection, report, dry=asked.dry_run)
    code = FOUND_TROUBLE if report.refused.total() else GOOD
    report.refused.close()
    return code


def _write_map(path: Path, detection: Detection) -> None:
    from collector.files.mapping import as_toml

    heading = (
        f"How {detection.path.name} is read. Change what is wrong, then use it with\n"
        f"graftvigil load --map-file {path.name} FILE"
    )
    try:
        path.write_text(as_toml(detection.mapping(), heading), encoding="utf-8")
    except OSError as trouble:
        msg = f"--write-map: {path} cannot be written ({trouble.strerror})"
        raise CannotGoOn(msg) from trouble


class _Telling:
    """Prints what becomes of the files, as lines or as one JSON object written piece by piece."""

    def __init__(self, *, as_json: bool, most: int, report: TextIO | None) -> None:
        self._as_json = as_json
        self._most = most
        self._report = report
        self._files = 0
        if as_json:
            sys.stdout.write('{"files": [')

    def refused(self, path: Path, refused: FileRefused) -> None:
        """Tell that a file cannot be used."""
        from collector.files.telling import refusal_lines, refusal_values, safe

        if self._as_json:
            self._begin_file()
            values = {"file": str(path), "refused": None, "unusable": refusal_values(refused)}
            sys.stdout.write(json.dumps(values))
            return
        for line in refusal_lines(str(path), refused):
            sys.stderr.write(safe(line) + "\n")

    def detected(self, detection: Detection) -> None:
        """Show what was found out, before it is used."""
        from collector.files.telling import detection_lines, safe

        if not self._as_json:
            for line in detection_lines(detection):
                sys.stdout.write(safe(line) + "\n")
            sys.stdout.write("\n")
            sys.stdout.flush()

    @contextlib.contextmanager
    def progress(self, path: Path) -> Iterator[Callable[[int, int], None]]:
        """Give what is told how far the file has been read; a bar stands on a terminal."""
        from tqdm import tqdm

        bar = tqdm(desc=path.name, leave=False, disable=None, unit_scale=True)

        def moved(done: int, whole: int) -> None:
            bar.total = whole
            bar.update(done - bar.n)

        with bar:
            yield moved

    def loaded(self, path: Path, detection: Detection, report: Report, *, dry: bool) -> None:
        """Tell what became of a file."""
        from collector.files.telling import (
            detection_values,
            refused_values,
            report_lines,
            report_values,
            safe,
        )

        if self._report is not None:
            for one in report.refused.every():
                self._report.write(safe(f"{path}: {one}") + "\n")
        if not self._as_json:
            for line in report_lines(report, dry=dry, most=self._most):
                sys.stdout.write(safe(line) + "\n")
            return
        self._begin_file()
        values = {
            "file": str(path),
            "dry_run": dry,
            "detection": detection_values(detection),
            "report": report_values(report),
        }
        sys.stdout.write(json.dumps(values)[:-1] + ', "refused": [')
        for number, one in enumerate(report.refused.every()):
            sys.stdout.write((", " if number else "") + json.dumps(refused_values(one)))
        sys.stdout.write("]}")

    def end(self, code: int) -> None:
        """Close the object."""
        if self._as_json:
            sys.stdout.write(f'], "exit_code": {code}}}\n')

    def _begin_file(self) -> None:
        if self._files:
            sys.stdout.write(", ")
        self._files += 1
