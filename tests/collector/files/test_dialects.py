"""Files as loggers, spreadsheets and apps write them, each with what is to be found in it.

The files are ours, in the manner of exports that are met in the field. What is expected of
`dialects/NAME` stands beside it in `NAME.toml`, worked out by hand.
"""

from __future__ import annotations

import tomllib
from datetime import datetime
from pathlib import Path

import pytest

from collector.files.detection import detect
from collector.files.mapping import as_toml, mapping_in
from collector.files.refusal import FileRefused
from collector.files.telling import detection_lines, detection_values, report_lines

FOLDER = Path(__file__).parent / "dialects"
NAMES = sorted(path.name.removesuffix(".toml") for path in FOLDER.glob("*.toml"))


def expected(name: str) -> dict:
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def instant_ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def test_every_file_has_its_expectation():
    files = {path.name for path in FOLDER.iterdir() if path.suffix != ".toml"}
    assert files == set(NAMES)
    assert len(NAMES) >= 20


@pytest.mark.parametrize("name", NAMES)
def test_a_file_is_read_as_it_was_meant(name, load):
    wanted = expected(name)
    if "unusable" in wanted:
        with pytest.raises(FileRefused, match=wanted["unusable"]):
            load(FOLDER / name, *wanted.get("options", ()))
        return
    loaded = load(FOLDER / name, *wanted.get("options", ()))
    found = detection_values(loaded.detection)
    assert found["read_as"] == wanted["read_as"]
    time = found["time"]
    assert {key: time[key] for key in wanted["time"]} == wanted["time"]
    if "settled_by" in wanted:
        assert time["date_order_from"] == wanted["settled_by"]
    if "channels" in wanted:
        channels = {one["column"]: f"{one['channel']} {one['unit']}" for one in found["columns"]}
        assert channels == wanted["channels"]
    values = {(channel, instant_ms(at)): value for channel, at, value in wanted["values"]}
    assert loaded.values == pytest.approx(values, abs=1e-9)
    assert loaded.refused == wanted.get("refused", [])
    report = loaded.report
    assert dict(report.no_value) == wanted.get("no_value", {})
    assert report.event_rows == wanted.get("event_rows", 0)
    assert report.heading_rows == wanted.get("heading_rows", 0)
    assert len(report.notices) == len(wanted.get("notices", []))
    for said, begins in zip(report.notices, wanted.get("notices", []), strict=True):
        assert said.startswith(begins)


@pytest.mark.parametrize("name", NAMES)
def test_loading_a_file_again_changes_nothing(name, load, store):
    wanted = expected(name)
    if "unusable" in wanted:
        return
    first = load(FOLDER / name, *wanted.get("options", ()))
    again = load(FOLDER / name, *wanted.get("options", ()))
    assert again.values == first.values
    assert again.report.kept == 0
    assert again.report.known == first.report.kept
    assert again.refused == first.refused
    assert store.count() == first.report.kept


@pytest.mark.parametrize("name", NAMES)
def test_the_mapping_that_is_written_out_leads_to_the_same(name, load, sensors, tmp_path):
    wanted = expected(name)
    if "unusable" in wanted:
        return
    first = load(FOLDER / name, *wanted.get("options", ()), dry=True)
    written = tmp_path / "logger.map.toml"
    written.write_text(as_toml(first.detection.mapping(), "as found"), encoding="utf-8")
    again = mapping_in((), [written])
    assert again == first.detection.mapping()
    found = detect(FOLDER / name, sensors, again, site_zone="Pacific/Noumea", now_ms=2**42)
    assert detection_values(found)["rows_shown"] == detection_values(first.detection)["rows_shown"]
    assert (found.first_ms, found.last_ms) == (first.detection.first_ms, first.detection.last_ms)
    assert [(one.column, one.channel, one.unit) for one in found.columns] == [
        (one.column, one.channel, one.unit) for one in first.detection.columns
    ]


def test_what_was_found_is_shown_as_a_table(load):
    loaded = load(FOLDER / "semicolon.csv", dry=True)
    shown = "\n".join(detection_lines(loaded.detection))
    assert "separator semicolon, decimal comma, names line 4" in shown
    assert 'time in "Fecha" and "Hora": day, month, year (settled by its dates)' in shown
    assert "zone Europe/Madrid (from the site file)" in shown
    assert "first row 2026-03-05T22:00:00+01:00, last row 2026-03-14T22:20:00+01:00" in shown
    assert '"Temperatura (°C)"' in shown
    for cell in ("05.03.2026 22:00", "18,5", "93,0", "05.03.2026 22:10", "14.03.2026 22:20"):
        assert cell in shown
    told = "\n".join(report_lines(loaded.report, dry=True, most=5))
    assert "3 rows: 5 readings would be kept" in told
    assert 'line 7, "Temperatura (°C)": out of range: 1234.5 degC' in told
    assert loaded.values == {}
