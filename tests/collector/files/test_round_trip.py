"""A random table in a random dialect is read back as it was; a mutilated one never crashes."""

from __future__ import annotations

import csv
import io
import tempfile
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from collector.files.detection import detect
from collector.files.load import FileLoader
from collector.files.mapping import FileMapping, mapping_in
from collector.files.refusal import FileRefused

NOW_MS = 1_795_608_000_000


class Memory:
    """A store in memory, for tables by the hundred; `tests/promises` holds the real ones."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, int], float] = {}

    def keep(self, readings) -> None:
        for one in readings:
            self.kept.setdefault((one.channel, one.at_ms), one.value)

    def span(self, channels, start_ms, end_ms):
        return ()


@dataclass(frozen=True)
class Written:
    """A table as a logger would write it."""

    text: str
    encoding: str
    zone: str
    options: tuple[str, ...]
    values: dict[tuple[str, int], float]


STAMPS = {
    "dmy": ("%d/%m/%Y", "%d.%m.%y", "%d-%m-%Y"),
    "mdy": ("%m/%d/%Y", "%m/%d/%y", "%m-%d-%Y"),
    "ymd": ("%Y-%m-%d", "%Y/%m/%d", "%d-%b-%Y", "%Y%m%d"),
}
CLOCKS = ("%H:%M:%S", "%I:%M:%S %p", "%H:%M")


def number(value: int, decimal: str, places: int) -> str:
    return f"{value / 10**places:.{places}f}".replace(".", decimal)


@st.composite
def tables(draw) -> Written:
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    decimal = draw(st.sampled_from([".", ","] if separator != "," else ["."]))
    order = draw(st.sampled_from(sorted(STAMPS)))
    day, clock = draw(st.sampled_from(STAMPS[order])), draw(st.sampled_from(CLOCKS))
    zone = draw(st.sampled_from(["UTC", "Etc/GMT-11", "Asia/Kolkata", "+03:00"]))
    fixed = {"+03:00": "Etc/GMT-3"}.get(zone, zone)
    apart = draw(st.booleans())
    start = draw(st.integers(1_577_836_800, 1_790_000_000)) // 60 * 60
    step = draw(st.sampled_from([60, 600, 3600]))
    count = draw(st.integers(2, 30))
    fahrenheit = draw(st.booleans())
    temperatures = draw(st.lists(st.integers(105, 390), min_size=count, max_size=count))
    humidities = draw(st.lists(st.integers(100, 999), min_size=count, max_size=count))
    names = ["Date", "Time"] if apart else ["Date Time"]
    names += ["Temp (°F)" if fahrenheit else "T[°C]", "RH, %"]
    quoting = draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]))
    out = io.StringIO()
    for number_of_line in range(draw(st.integers(0, 4))):
        out.write(f"Some words in line {number_of_line}\n")
    end = draw(st.sampled_from(["\n", "\r\n"]))
    write = csv.writer(out, delimiter=separator, quoting=quoting, lineterminator=end)
    write.writerow(names)
    values = {}
    for row in range(count):
        at = start + row * step
        local = datetime.fromtimestamp(at, ZoneInfo(fixed))
        stamp = [local.strftime(day), local.strftime(clock)]
        temperature = temperatures[row]
        written = round(temperature * 1.8 + 320) if fahrenheit else temperature
        write.writerow(
            [
                *(stamp if apart else [" ".join(stamp)]),
                number(written, decimal, 1),
                number(humidities[row], decimal, 1),
            ]
        )
        celsius = (written / 10 - 32) / 1.8 if fahrenheit else temperature / 10
        values["bag-07/air", at * 1000] = celsius
        values["bag-07/rh", at * 1000] = humidities[row] / 10
    encodings = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
    # With such a day the order has to be said: nothing in so short a file settles it.
    options = [f"date_order={order}", f"decimal={decimal}", f"zone={zone}"]
    return Written(out.getvalue(), draw(st.sampled_from(encodings)), zone, tuple(options), values)


def outcome(data: bytes, sensors, options=(), name="bag-07.csv") -> Memory | FileRefused:
    """Return what is kept, or why the file is refused; anything else that is raised is a fault."""
    try:
        return load_bytes(data, sensors, options, name)
    except FileRefused as refused:
        return refused


def load_bytes(data: bytes, sensors, options=(), name="bag-07.csv") -> Memory:
    memory = Memory()
    loader = FileLoader(
        memory, together=nullcontext, clock_ms=lambda: NOW_MS, rest=lambda _s: False
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        mapping = mapping_in(options, ()) if options else FileMapping()
        found = detect(path, sensors, mapping, site_zone="UTC", now_ms=NOW_MS)
        report = loader.load(found, dry=False, moved=lambda _d, _w: None)
        assert report.kept == len(memory.kept)
        report.refused.close()
    return memory


@given(table=tables())
def test_what_was_written_is_what_is_kept(table, sensors):
    memory = load_bytes(table.text.encode(table.encoding), sensors, table.options)
    assert memory.kept.keys() == table.values.keys()
    for key, value in table.values.items():
        assert abs(memory.kept[key] - value) < 1e-8


@given(table=tables())
def test_without_a_word_it_is_read_right_or_refused(table, sensors):
    memory = outcome(table.text.encode(table.encoding), sensors, table.options[2:])
    if isinstance(memory, FileRefused):
        assert memory.ways, memory
        return
    assert memory.kept.keys() == table.values.keys()
    for key, value in table.values.items():
        assert abs(memory.kept[key] - value) < 1e-8


@given(table=tables(), data=st.data())
def test_a_mutilated_file_is_read_in_part_or_refused_and_never_crashes(table, data, sensors):
    whole = bytearray(table.text.encode(table.encoding))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(whole) - 1))
        end = min(len(whole), at + data.draw(st.sampled_from([1, 2, 30, 400])))
        new = data.draw(
            st.sampled_from([b"", b"\x00", b'"', b"\xff\xfe", b"\r", b",", b";9;", b"1e999"])
        )
        whole[at:end] = new
        if not whole:
            return
    refused = outcome(bytes(whole), sensors)
    assert isinstance(refused, Memory) or (refused.problem and refused.fix)


@given(
    data=st.binary(max_size=400), name=st.sampled_from(["a.csv", "a.jsonl", "a.parquet", "a.xlsx"])
)
def test_any_bytes_are_refused_with_a_reason(data, name, sensors):
    refused = outcome(data, sensors, name=name)
    assert isinstance(refused, Memory) or (refused.problem and refused.fix)


@given(instant=st.integers(1_577_836_800, 1_790_000_000))
def test_serial_days_of_a_spreadsheet_keep_their_minute(instant, sensors):
    minute = instant // 60 * 60
    days = minute / 86_400 + 25_569
    text = f"Date;Temp (°C)\n{days:.6f};21.5\n{days + 0.25:.6f};21.5\n"
    kept = load_bytes(text.encode(), sensors).kept
    assert kept == {
        ("bag-07/air", minute * 1000): 21.5,
        ("bag-07/air", (minute + 21_600) * 1000): 21.5,
    }
    assert datetime.fromtimestamp(minute, UTC).second == 0
