"""Workbooks, Parquet and JSON Lines, written by the libraries that others write them with."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from collector.files.refusal import FileRefused

WALL = datetime.fromisoformat("2026-03-05T10:00:00")
AT_MS = 1_772_701_200_000  # ten o'clock at Madrid, an hour ahead of UTC
STEP_MS = 600_000
STEP = timedelta(minutes=10)


def workbook(path, *sheets: tuple[str, list[list[object]]]):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets:
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


def test_a_workbook_with_a_block_above_the_table(load, tmp_path):
    rows = [
        ["Logger", "bag-07"],
        [],
        ["Date Time", "Temp (°F)", "RH (%)", "Note"],
        [WALL, 70.7, 60, None],
        [WALL + STEP, "---", 60.5, "opened"],
        [WALL + 2 * STEP, 68, "61,5", None],
    ]
    loaded = load(workbook(tmp_path / "export.xlsx", ("Data", rows)))
    assert loaded.values == pytest.approx(
        {
            ("bag-07/air", AT_MS): 21.5,
            ("bag-07/rh", AT_MS): 60,
            ("bag-07/rh", AT_MS + STEP_MS): 60.5,
            ("bag-07/air", AT_MS + 2 * STEP_MS): 20,
            ("bag-07/rh", AT_MS + 2 * STEP_MS): 61.5,
        }
    )
    assert dict(loaded.report.no_value) == {"Temp (°F): ---": 1}
    assert ("sheet", "Data") in loaded.detection.table.said


def test_a_workbook_with_date_and_time_apart(load, tmp_path):
    rows = [
        ["Date", "Time", "air"],
        [date(2026, 3, 5), time(10, 0), 21.5],
        [date(2026, 3, 5), time(10, 10), 22],
    ]
    loaded = load(workbook(tmp_path / "bag-07.xlsx", ("Sheet", rows)))
    assert loaded.values == {("bag-07/air", AT_MS): 21.5, ("bag-07/air", AT_MS + STEP_MS): 22}


def test_of_two_sheets_with_readings_one_has_to_be_chosen(load, tmp_path):
    rows = [["time", "air"], [WALL, 21.5]]
    path = workbook(
        tmp_path / "bag-07.xlsx", ("March", rows), ("Notes", [["hello"]]), ("April", rows)
    )
    with pytest.raises(FileRefused, match="2 sheets hold readings") as told:
        load(path)
    assert [way.option for way in told.value.ways] == ["sheet=March", "sheet=April"]
    assert load(path, "sheet=April").values == {("bag-07/air", AT_MS): 21.5}
    with pytest.raises(FileRefused, match='no sheet "May"'):
        load(path, "sheet=May")


def test_a_workbook_cut_off_is_refused(load, tmp_path):
    path = workbook(tmp_path / "bag-07.xlsx", ("Sheet", [["time", "air"], [WALL, 21.5]]))
    path.write_bytes(path.read_bytes()[:-200])
    with pytest.raises(FileRefused, match="no workbook that can be read"):
        load(path)


def parquet(path, **columns: pa.Array):
    pq.write_table(pa.table(columns), path, row_group_size=500)
    return path


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
def test_parquet_with_instants(load, tmp_path, unit):
    instants = pa.array(
        [AT_MS * 1_000_000 + 1, (AT_MS + STEP_MS) * 1_000_000], pa.timestamp("ns", "UTC")
    )
    path = parquet(
        tmp_path / "bag-07.parquet",
        at=instants.cast(pa.timestamp(unit, "UTC"), safe=False),
        air=pa.array([21.5, None]),
        rh=pa.array([60, 61], pa.int16()),
    )
    loaded = load(path)
    assert loaded.values == {
        ("bag-07/air", AT_MS): 21.5,
        ("bag-07/rh", AT_MS): 60,
        ("bag-07/rh", AT_MS + STEP_MS): 61,
    }


def test_parquet_with_wall_times_and_many_groups(load, tmp_path):
    walls = [WALL + n * timedelta(minutes=1) for n in range(3000)]
    path = parquet(
        tmp_path / "bag-07.parquet",
        time=pa.array(walls, pa.timestamp("us")),
        air=pa.array([20 + n % 50 / 10 for n in range(3000)]),
    )
    loaded = load(path)
    assert len(loaded.values) == 3000
    assert loaded.values["bag-07/air", AT_MS + 2999 * 60_000] == 20 + 2999 % 50 / 10
    assert loaded.detection.first_ms == AT_MS
    assert loaded.detection.last_ms == AT_MS + 2999 * 60_000


def test_parquet_loads_no_other_tables_library(tmp_path):
    import subprocess
    import sys

    path = parquet(
        tmp_path / "bag-07.parquet",
        at=pa.array([AT_MS * 1_000_000 + 1], pa.timestamp("ns", "UTC")),
        air=pa.array([21.5]),
    )
    script = (
        "import sys; from pathlib import Path; from collector.files.tabular import ParquetTable\n"
        f"rows = list(ParquetTable(Path({str(path)!r})).rows())\n"
        "print(len(rows), 'pandas' in sys.modules)"
    )
    said = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert said.stdout.split() == ["1", "False"]


def test_a_parquet_file_cut_off_is_refused(load, tmp_path):
    path = parquet(tmp_path / "bag-07.parquet", air=pa.array([21.5]))
    path.write_bytes(path.read_bytes()[:-9])
    with pytest.raises(FileRefused, match="no Parquet that can be read"):
        load(path)


def test_a_parquet_file_broken_inside_keeps_what_can_be_read(load, tmp_path):
    walls = [WALL + n * timedelta(minutes=1) for n in range(4000)]
    path = parquet(
        tmp_path / "bag-07.parquet",
        time=pa.array(walls, pa.timestamp("us")),
        air=pa.array([20 + (n * 7919) % 97 / 10 for n in range(4000)]),
    )
    whole = bytearray(path.read_bytes())
    middle = len(whole) // 2
    whole[middle : middle + 4000] = bytes(4000)
    path.write_bytes(whole)
    loaded = load(path)
    assert {one[2] for one in loaded.refused} == {"row unreadable"}
    assert 0 < len(loaded.values) < 4000


def test_json_lines_with_wall_times_take_the_site_s_zone(load, tmp_path):
    zone = ZoneInfo("Europe/Madrid")
    rows = []
    for n in range(6):
        at = datetime.fromtimestamp(AT_MS / 1000, UTC) + n * STEP
        rows.append(json.dumps({"time": at.astimezone(zone).strftime("%d.%m.%y %H:%M"), "air": n}))
    path = tmp_path / "bag-07.ndjson"
    path.write_text("\n".join(rows), encoding="utf-8")
    loaded = load(path, "date_order=dmy")
    assert loaded.values == {("bag-07/air", AT_MS + n * STEP_MS): n for n in range(6)}


def test_numbers_beyond_all_measure_are_refused_and_spoil_nothing(load, tmp_path):
    path = tmp_path / "bag-07.jsonl"
    huge = "9" * 400
    path.write_text(
        f'{{"ts": {AT_MS}, "air": {huge}}}\n{{"ts": {huge}, "air": 21.5}}\n'
        f'{{"ts": {AT_MS}, "air": 21.5}}\n{{"ts": NaN, "air": Infinity}}\n',
        encoding="utf-8",
    )
    loaded = load(path)
    assert loaded.values == {("bag-07/air", AT_MS): 21.5}
    assert [one[:1] + one[2:] for one in loaded.refused] == [
        [1, "not finite"],
        [2, "bad time"],
        [4, "bad time"],
    ]


def test_json_that_is_no_object_a_line_is_refused(load, tmp_path):
    path = tmp_path / "bag-07.jsonl"
    path.write_text("[1, 2, 3]\n", encoding="utf-8")
    with pytest.raises(FileRefused, match="no line of the file is a JSON object"):
        load(path)


@pytest.mark.parametrize("kind", ["csv", "jsonl", "parquet", "xlsx"])
def test_the_last_row_is_the_file_s_last_however_long_it_is(load, tmp_path, kind):
    times = [WALL + number * timedelta(minutes=1) for number in range(1_500)]
    path = tmp_path / f"bag-07.{kind}"
    match kind:
        case "csv":
            path.write_text("time,air\n" + "".join(f"{at.isoformat()},21.5\n" for at in times))
        case "jsonl":
            lines = (json.dumps({"time": at.isoformat(), "air": 21.5}) for at in times)
            path.write_text("\n".join(lines))
        case "parquet":
            pq.write_table(pa.table({"time": times, "air": [21.5] * len(times)}), path)
        case _:
            workbook(path, ("Data", [["time", "air"], *([at, 21.5] for at in times)]))
    detection = load(path, dry=True).detection
    assert (detection.first_ms, detection.last_ms) == (AT_MS, AT_MS + 1_499 * 60_000)
