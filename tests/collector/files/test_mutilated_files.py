"""Recorded files with bytes changed, cut and put in: read, or refused with a remedy, never more."""

from __future__ import annotations

import json
from math import isfinite

import numpy as np
import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from collector.files.refusal import FileRefused

ROWS = [(f"2026-03-05 {10 + n // 6}:{n % 6}0:00", 20 + n / 10, 60 + n) for n in range(24)]
TRIES = {".csv": 60, ".jsonl": 40, ".parquet": 40, ".xlsx": 10}
"""Workbooks are slow to open."""


def sound(suffix: str, path) -> bytes:
    match suffix:
        case ".csv":
            text = "\n".join(["Time;air (°C);rh (%)", *(f"{t};{a:.1f};{h}" for t, a, h in ROWS)])
            path.write_text(text, encoding="utf-8")
        case ".jsonl":
            lines = [json.dumps({"time": t, "air": a, "rh": h}) for t, a, h in ROWS]
            path.write_text("\n".join(lines), encoding="utf-8")
        case ".parquet":
            times, air, damp = zip(*ROWS, strict=True)
            pq.write_table(pa.table({"time": times, "air": air, "rh": damp}), path)
        case ".xlsx":
            book = openpyxl.Workbook()
            for row in [("time", "air", "rh"), *ROWS]:
                book.active.append(row)
            book.save(path)
    return path.read_bytes()


def mutilated(whole: bytes, rng: np.random.Generator) -> bytes:
    torn = bytearray(whole)
    for _ in range(rng.integers(1, 6)):
        at = int(rng.integers(len(torn)))
        match rng.integers(4):
            case 0:
                torn[at] = int(rng.integers(256))
            case 1:
                del torn[at : at + int(rng.integers(1, 40))]
            case 2:
                torn[at:at] = rng.bytes(int(rng.integers(1, 20)))
            case 3:
                torn[at:at] = bytes(rng.choice([b"\x00", b"\xff\xfe", b";;", b"9" * 400, b'"']))
        torn = torn or bytearray(b"x")
    return bytes(torn)


@pytest.mark.parametrize("suffix", list(TRIES))
def test_a_mutilated_file_is_read_or_refused_with_a_remedy(load, tmp_path, suffix):
    path = tmp_path / f"bag-07{suffix}"
    whole = sound(suffix, path)
    assert len(load(path).values) == 48, "the file is sound to begin with"
    rng = np.random.default_rng(42)
    read, refused = 0, []
    for _ in range(TRIES[suffix]):
        path.write_bytes(mutilated(whole, rng))
        try:
            values = load(path, dry=True).values
        except FileRefused as trouble:
            refused.append(trouble.fix)
        else:
            assert all(isfinite(value) for value in values.values())
            read += 1
    assert read + len(refused) == TRIES[suffix]
    assert refused
    assert all(refused), "each says what to do"
