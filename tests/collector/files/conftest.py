"""Sensors that files are loaded for, and a store to load them into."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pytest

from collector.files.detection import Detection, detect
from collector.files.load import FileLoader
from collector.files.mapping import mapping_in
from collector.files.report import Report
from collector.stores.sqlite import SqliteStore
from rules.model.place import Sensor

NOW = datetime.fromisoformat("2026-11-25T12:00:00+00:00")
MADRID = "Europe/Madrid"


def channel(name: str, quantity: str, unit: str, path: str, **other: str) -> dict[str, object]:
    return {"id": name, "quantity": quantity, "unit": unit, "path": path, **other}


SENSORS = (
    Sensor.model_validate(
        {
            "id": "bag-07",
            "title": "Under the bag of batch 7",
            "topic": "shed/sn20417",
            "channel": [
                channel("air", "air_temperature", "degC", "air.temp"),
                channel("rh", "relative_humidity", "%RH", "air.rh"),
                channel("par", "ppfd", "umol/m2/s", "light.0"),
                channel("battery", "battery", "V", "batt"),
            ],
        }
    ),
    Sensor.model_validate(
        {
            "id": "mast",
            "title": "Mast by the gate",
            "topic": "shed/mast",
            "channel": [
                channel("wind", "air_speed", "m/s", "wind"),
                channel("lux", "illuminance", "lx", "lux", source="sun"),
            ],
        }
    ),
)


@dataclass
class Loaded:
    """What became of one file, and all that the store holds."""

    detection: Detection
    report: Report
    values: dict[tuple[str, int], float]

    @property
    def refused(self) -> list[list[object]]:
        return [[one.line, one.column, one.why.value] for one in self.report.refused.every()]


@pytest.fixture(scope="session")
def sensors() -> tuple[Sensor, ...]:
    return SENSORS


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteStore]:
    made = SqliteStore(tmp_path / "readings.db")
    yield made
    made.close()


@pytest.fixture
def load(store: SqliteStore) -> Iterator[Callable[..., Loaded]]:
    """Detect and load one file. Raises FileRefused as `detect` does."""

    reports: list[Report] = []

    def load_file(path: Path, *options: str, zone: str = MADRID, dry: bool = False) -> Loaded:
        now_ms = round(NOW.timestamp() * 1000)
        loader = FileLoader(
            store, together=store.file.writing, clock_ms=lambda: now_ms, rest=lambda _s: False
        )
        detection = detect(
            path, SENSORS, mapping_in(options, ()), site_zone=zone, now_ms=loader.latest_ms()
        )
        report = loader.load(detection, dry=dry, moved=lambda _done, _whole: None)
        reports.append(report)
        values = {(one.channel, one.at_ms): one.value for one in store.since(0, 10_000_000)}
        return Loaded(detection, report, values)

    yield load_file
    for report in reports:
        report.refused.close()


@pytest.fixture
def written(tmp_path: Path) -> Callable[..., Path]:
    """Write a file with a name that names the sensor bag-07, unless another is given."""

    def write(text: str, name: str = "bag-07.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        path.write_bytes(text.encode(encoding))
        return path

    return write
