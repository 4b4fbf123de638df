"""What was found out and what became of a file, said in lines and as plain values."""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.files.times import SAID_ORDER, TimeFormat, instant_time

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import tzinfo

    from collector.files.detection import Detection
    from collector.files.refusal import FileRefused
    from collector.files.report import Refused, Report

_SAID_FORM = {
    TimeFormat.TEXT: "date and time",
    TimeFormat.UNIX_S: "seconds since 1970",
    TimeFormat.UNIX_MS: "milliseconds since 1970",
    TimeFormat.SERIAL_1900: "days since 1899-12-30",
    TimeFormat.SERIAL_1904: "days since 1904-01-01",
    TimeFormat.WALL_MS: "timestamps without a zone",
}
_WIDEST = 28


def safe(text: str) -> str:
    r"""Return a text with everything that is not printable replaced.

    >>> safe("Temp\x1b[2J")
    'Temp?[2J'
    """
    return "".join(mark if mark.isprintable() else "?" for mark in text)


def said_time(detection: Detection) -> str:
    """Return how the file tells the time, in words."""
    timing = detection.timing
    said = _SAID_FORM[timing.form]
    if timing.form is TimeFormat.TEXT:
        said = f"{SAID_ORDER[timing.order]} (settled by {timing.order_by})"
    return said


def detection_lines(detection: Detection) -> Iterator[str]:
    """Yield what was found out about a file, to be shown before it is used."""
    timing = detection.timing
    yield f"{detection.path}: " + ", ".join(f"{what} {how}" for what, how in detection.table.said)
    names = " and ".join(f'"{column.name}"' for column in timing.columns)
    yield f"  time in {names}: {said_time(detection)}"
    yield f"  zone {timing.zone_name} (from {timing.zone_by})"
    first, last = (_said_at(ms, timing.zone) for ms in (detection.first_ms, detection.last_ms))
    yield f"  first row {first}, last row {last}"
    yield ""
    table = [("column", "channel", "quantity", "unit", "channel from", "unit from")]
    table += [
        (
            f'"{one.column.name}"',
            one.channel.key,
            one.channel.quantity.value,
            one.unit if one.unit == one.channel.unit else f"{one.unit} -> {one.channel.unit}",
            one.found_by,
            one.unit_by,
        )
        for one in detection.columns
    ]
    yield from _in_columns(table)
    for left in detection.left_out:
        yield f'  "{left.column.name}" is left out: {left.why}'
    yield ""
    yield from _in_columns(
        [("time", *(one.channel.key for one in detection.columns)), *detection.shown]
    )


def _said_at(ms: int | None, zone: tzinfo) -> str:
    return "none" if ms is None else instant_time(ms).astimezone(zone).isoformat(timespec="seconds")


def _in_columns(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    cut = [
        [one if len(one) <= _WIDEST else one[: _WIDEST - 1] + "…" for one in row] for row in rows
    ]
    widths = [max(len(row[place]) for row in cut) for place in range(len(cut[0]))]
    for row in cut:
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        yield ("  " + "  ".join(cells)).rstrip()


def refusal_lines(path: str, refused: FileRefused) -> Iterator[str]:
    """Yield why a file is not read; the ways to read an ambiguous one stand side by side."""
    yield f"{path}: {refused.problem}. {refused.fix}"
    if not refused.ways:
        return
    columns = [(f'--map "{way.option}"', way.means, *way.shown) for way in refused.ways]
    deepest = max(len(column) for column in columns)
    widths = [max(len(cell) for cell in column) for column in columns]
    for place in range(deepest):
        cells = (
            (column[place] if place < len(column) else "").ljust(width)
            for column, width in zip(columns, widths, strict=True)
        )
        yield ("  " + "  |  ".join(cells)).rstrip()


def report_lines(report: Report, *, dry: bool, most: int) -> Iterator[str]:
    """Yield what became of a file, with the first `most` refused rows."""
    kept = "would be kept" if dry else "kept"
    yield f"  {report.rows} rows: {report.kept} readings {kept}, {report.known} were there before"
    if report.event_rows:
        yield f"  {report.event_rows} rows hold a time and no value (events)"
    if report.heading_rows:
        yield f"  {report.heading_rows} rows repeat the heading or are blank"
    if report.no_value:
        said = ", ".join(f"{what} ({count})" for what, count in report.no_value.most_common(8))
        yield f"  {report.no_value.total()} cells say that nothing was measured: {said}"
    for notice in report.notices:
        yield f"  note: {notice}"
    total = report.refused.total()
    if total:
        counts = ", ".join(f"{why} {n}" for why, n in report.refused.counts.most_common())
        yield f"  {total} refused: {counts}"
        for one in report.refused.first[:most]:
            yield f"    {one}"
        if total > most:
            yield f"    and {total - most} more; --json or --report lists all"


def detection_values(detection: Detection) -> dict[str, object]:
    """Return what was found out, for a program to read."""
    timing = detection.timing
    return {
        "read_as": dict(detection.table.said),
        "time": {
            "columns": [column.name for column in timing.columns],
            "format": timing.form.value,
            "date_order": timing.order.value if timing.form is TimeFormat.TEXT else None,
            "date_order_from": timing.order_by or None,
            "zone": timing.zone_name,
            "zone_from": timing.zone_by,
        },
        "first": _iso(detection.first_ms),
        "last": _iso(detection.last_ms),
        "columns": [
            {
                "column": one.column.name,
                "number": one.column.index + 1,
                "channel": one.channel.key,
                "quantity": one.channel.quantity.value,
                "unit": one.unit,
                "kept_in": one.channel.unit,
                "channel_from": one.found_by,
                "unit_from": one.unit_by,
            }
            for one in detection.columns
        ],
        "left_out": [
            {"column": one.column.name, "number": one.column.index + 1, "why": one.why}
            for one in detection.left_out
        ],
        "rows_shown": [list(row) for row in detection.shown],
    }


def refusal_values(refused: FileRefused) -> dict[str, object]:
    """Return why a file is not read, for a program to read."""
    ways = [
        {"option": way.option, "means": way.means, "shown": list(way.shown)} for way in refused.ways
    ]
    return {"problem": refused.problem, "fix": refused.fix, "ways": ways}


def report_values(report: Report) -> dict[str, object]:
    """Return what became of a file but for the refused rows, which can be very many."""
    return {
        "rows": report.rows,
        "kept": report.kept,
        "known_before": report.known,
        "event_rows": report.event_rows,
        "heading_rows": report.heading_rows,
        "no_value": dict(report.no_value),
        "notices": report.notices,
        "first": _iso(report.first_ms),
        "last": _iso(report.last_ms),
        "refused_counts": {why.value: count for why, count in report.refused.counts.items()},
    }


def refused_values(refused: Refused) -> Mapping[str, object]:
    """Return one refused row or value."""
    return {
        "line": refused.line,
        "column": refused.column or None,
        "why": refused.why.value,
        "problem": refused.problem,
        "fix": refused.fix,
    }


def _iso(ms: int | None) -> str | None:
    return None if ms is None else instant_time(ms).isoformat(timespec="milliseconds")
