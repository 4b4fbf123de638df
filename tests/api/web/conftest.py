"""Tern Hollow at the end of a season, behind a client that speaks to the real application."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import httpx
import pytest

TESTS = Path(__file__).parents[2]
DEMO = TESTS.parent / "demo_data"


@pytest.fixture(scope="session")
def season(pages_nursery: ModuleType) -> ModuleType:
    spec = importlib.util.spec_from_file_location("season", TESTS / "screens" / "season.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def whole_season(season: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season")
    season.fill(folder, DEMO)
    return folder


@pytest.fixture
def at_season_end(
    pages_nursery: ModuleType, season: ModuleType, whole_season: Path, tmp_path: Path
) -> Iterator[object]:
    opened = season.opened(pages_nursery.copied(whole_season, tmp_path / "season"), DEMO)
    yield opened
    opened.close()


@pytest.fixture
def season_client(serving: Callable[..., object], at_season_end) -> Iterator[httpx.Client]:
    with serving(at_season_end.parts) as address, httpx.Client(base_url=address, timeout=30) as one:
        yield one
