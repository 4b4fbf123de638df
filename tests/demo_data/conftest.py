"""The recorded night, read from its file once for all tests of this folder."""

from __future__ import annotations

import gzip
import json
import tomllib
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture(scope="session")
def site_text() -> dict:
    return tomllib.loads((DEMO / "site.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def plan_texts() -> list[dict]:
    paths = sorted((DEMO / "plans").glob("*.toml"))
    return [tomllib.loads(path.read_text(encoding="utf-8")) for path in paths]


@pytest.fixture(scope="session")
def night_path() -> Path:
    return DEMO / "nights" / "2026-11-14.jsonl.gz"


@pytest.fixture(scope="session")
def night_lines(night_path: Path) -> list[str]:
    with gzip.open(night_path, "rt", encoding="utf-8") as night:
        return night.read().splitlines()


@pytest.fixture(scope="session")
def night(night_lines: list[str]) -> list[dict]:
    return [json.loads(line) for line in night_lines]
