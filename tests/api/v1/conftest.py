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

_FILE = Path(__file__).parents[2] / "screens" / "nursery.py"
_SPEC = importlib.util.spec_from_file_location("pages_nursery", _FILE)
assert _SPEC is not None
assert _SPEC.loader is not None
pages_nursery = sys.modules.setdefault("pages_nursery", importlib.util.module_from_spec(_SPEC))
_SPEC.loader.exec_module(pages_nursery)


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
