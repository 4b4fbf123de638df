"""Tern Hollow on its recorded night, behind a client that speaks to the real application."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import httpx
import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import ModuleType

_FOLDER = Path(__file__).parents[2] / "screens"


def _loaded(name: str, file: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, _FOLDER / file)
    assert spec is not None
    assert spec.loader is not None
    module = sys.modules.setdefault(name, importlib.util.module_from_spec(spec))
    spec.loader.exec_module(module)
    return module


pages_nursery = _loaded("pages_nursery", "nursery.py")
cover_days = _loaded("cover_days", "cover_days.py")


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("filled")
    pages_nursery.fill(folder)
    return folder


@pytest.fixture
def tern_hollow(filled: Path, tmp_path: Path) -> Iterator[object]:
    opened = pages_nursery.nursery(pages_nursery.copied(filled, tmp_path / "data"))
    yield opened
    opened.close()


@pytest.fixture
def serving():
    return pages_nursery.serving


@pytest.fixture
def client(tern_hollow) -> Iterator[httpx.Client]:
    with (
        pages_nursery.serving(tern_hollow.parts) as address,
        httpx.Client(base_url=address, timeout=30) as one,
    ):
        yield one


@pytest.fixture(scope="session")
def four_days(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("four-days")
    cover_days.fill(folder)
    return folder


@pytest.fixture
def hot_bags(four_days: Path, tmp_path: Path) -> Iterator[object]:
    opened = cover_days.opened(pages_nursery.copied(four_days, tmp_path / "days"))
    yield opened
    opened.close()


@pytest.fixture
def hot_client(hot_bags) -> Iterator[httpx.Client]:
    with (
        pages_nursery.serving(hot_bags.parts) as address,
        httpx.Client(base_url=address, timeout=30) as one,
    ):
        yield one


season = _loaded("season", "season.py")
DEMO = _FOLDER.parents[1] / "demo_data"


@pytest.fixture(scope="session")
def whole_season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season")
    season.fill(folder, DEMO)
    return folder


@pytest.fixture
def at_season_end(whole_season: Path, tmp_path: Path) -> Iterator[object]:
    opened = season.opened(pages_nursery.copied(whole_season, tmp_path / "season"), DEMO)
    yield opened
    opened.close()


@pytest.fixture
def season_client(at_season_end) -> Iterator[httpx.Client]:
    with (
        pages_nursery.serving(at_season_end.parts) as address,
        httpx.Client(base_url=address, timeout=30) as one,
    ):
        yield one
