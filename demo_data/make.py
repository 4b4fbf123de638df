"""Make the recorded night again: `python -m demo_data.make`.

Writes demo_data/nights/2026-11-14.jsonl.gz: one message a line in order of sending, as
{"at": when it was sent (UTC), "topic": ..., "payload": {...}}. The same seed gives the same bytes.
"""

from __future__ import annotations

import argparse
import gzip
import json
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from demo_data.devices import DEVICES
from demo_data.nursery import BEGINS, HOURS, Truth, local, true_night
from demo_data.physics import HOUSE_STEP_S, Floats
from demo_data.sensors import Clock, Device, JsonValue, lagged, placed, values_sent

SEED = 20261114
RECORD_FROM = local(14, 12, 0)
RECORD_UNTIL = local(16, 0, 0)
NIGHT_FILE = Path(__file__).parent / "nights" / "2026-11-14.jsonl.gz"
LATE_MESSAGES = 6
DOUBLED_MESSAGES = 1
BATTERY_FALLS_V_PER_DAY = 0.004


@dataclass(frozen=True, slots=True)
class Sent:
    """One message as it went out."""

    at: datetime
    topic: str
    payload: dict[str, JsonValue]

    def line(self) -> str:
        """Return the message as one line of the file."""
        said = {"at": _written(self.at), "topic": self.topic, "payload": self.payload}
        return json.dumps(said, separators=(",", ":"))


def _written(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def waking_times(device: Device, rng: np.random.Generator) -> list[datetime]:
    """When the device wakes and measures: every so often, a few seconds early or late."""
    span_s = int((RECORD_UNTIL - RECORD_FROM).total_seconds())
    due = np.arange(device.phase_s, span_s, device.every_s)
    shaken = np.clip(due + rng.integers(-2, 3, len(due)), 0, span_s - 1)
    at = [RECORD_FROM + timedelta(seconds=int(second)) for second in shaken]
    if device.dies_at is not None:
        at = [moment for moment in at if moment < device.dies_at]
    return at


def sayings(device: Device, truth: Truth, rng: np.random.Generator) -> list[Sent]:
    """Everything one device sends in the recorded span."""
    woken = waking_times(device, rng)
    since = np.array([(moment - BEGINS).total_seconds() for moment in woken])
    step = np.minimum((since // HOUSE_STEP_S).astype(np.int64), HOURS * 3600 // HOUSE_STEP_S - 1)
    columns: list[tuple[str, int, Floats]] = []
    for probe in device.probes:
        sensed = lagged(truth.series[probe.truth], step_s=HOUSE_STEP_S, lag_s=probe.lag_s)
        figures = values_sent(probe, sensed[step], rng)
        if device.sticks_at is not None:
            stuck = np.array([moment >= device.sticks_at for moment in woken])
            figures = np.where(stuck, figures[~stuck][-1], figures)
        columns.append((probe.path, probe.decimals, figures))
    sent = []
    for row, moment in enumerate(woken):
        payload: dict[str, JsonValue] = {}
        if device.clock is Clock.WRITTEN:
            payload["sent"] = _written(moment)
        else:
            payload["t"] = int(moment.timestamp())
        for path, decimals, figures in columns:
            figure = float(figures[row])
            placed(payload, path, int(figure) if decimals == 0 else figure)
        if device.battery_v is not None:
            fallen = BATTERY_FALLS_V_PER_DAY * since[row] / 86_400
            payload["battery"] = round(device.battery_v - float(fallen), 3)
        sent.append(Sent(moment + timedelta(seconds=1), device.topic, payload))
    return sent


def held_up(messages: list[Sent], rng: np.random.Generator) -> list[Sent]:
    """Delay a few messages on the way by about a minute, and send one twice."""
    chosen = rng.choice(len(messages), LATE_MESSAGES + DOUBLED_MESSAGES, replace=False)
    out = list(messages)
    for index in chosen[:LATE_MESSAGES].tolist():
        late = messages[index]
        delay = timedelta(seconds=int(rng.integers(45, 160)))
        out[index] = Sent(late.at + delay, late.topic, late.payload)
    for index in chosen[LATE_MESSAGES:].tolist():
        twice = messages[index]
        out.append(Sent(twice.at + timedelta(seconds=2), twice.topic, twice.payload))
    return out


def recorded_night(seed: int) -> list[str]:
    """Return the lines of the recorded night, in order of sending."""
    truth_rng, *device_rngs, road_rng = (
        np.random.default_rng(child)
        for child in np.random.SeedSequence(seed).spawn(len(DEVICES) + 2)
    )
    truth = true_night(truth_rng)
    messages: list[Sent] = []
    for device, rng in zip(DEVICES, device_rngs, strict=True):
        messages.extend(sayings(device, truth, rng))
    messages = held_up(messages, road_rng)
    messages.sort(key=lambda sent: (sent.at, sent.topic))
    return [sent.line() for sent in messages]


def packed(lines: list[str]) -> bytes:
    """Compress the lines, with no time or name in the wrapper so that bytes repeat."""
    text = "".join(line + "\n" for line in lines)
    return gzip.compress(text.encode(), compresslevel=9, mtime=0)


def main() -> None:
    """Write the night and say how large it is."""
    reading = argparse.ArgumentParser(description="Make the recorded night of Tern Hollow again.")
    reading.add_argument("--out", type=Path, default=NIGHT_FILE, help="the file to write")
    out: Path = reading.parse_args().out
    lines = recorded_night(SEED)
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_bytes(packed(lines))
    print(f"{len(lines)} messages, {out.stat().st_size} bytes: {out.name}")


if __name__ == "__main__":
    main()
