"""Night sheets over the small nursery of the folder above, and over Tern Hollow."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import httpx
import pytest

from api.alerts.service import AlertService
from api.book import Book, in_force_of
from api.night_sheet.sheets import NightSheets
from api.parts import Parts
from api.pictures.pictures import Pictures
from api.settings import Settings
from api.v1.sight import Sight
from collector.gate import Gate
from collector.ingest import Ingest
from collector.rejects import RejectLog

_FOLDER = Path(__file__).parents[2] / "screens"


def _loaded(name: str, file: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, _FOLDER / file)
    assert spec is not None
    assert spec.loader is not None
    module = sys.modules.setdefault(name, importlib.util.module_from_spec(spec))
    spec.loader.exec_module(module)
    return module


pages_nursery = _loaded("pages_nursery", "nursery.py")


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
def client(tern_hollow) -> Iterator[httpx.Client]:
    with (
        pages_nursery.serving(tern_hollow.parts) as address,
        httpx.Client(base_url=address, timeout=30) as one,
    ):
        yield one


@pytest.fixture
def sheets_of() -> Callable[..., NightSheets]:
    """Return the night sheets of a small nursery, with settings of the test's own."""

    def made(nursery, **settings: str) -> NightSheets:
        rejects = RejectLog(nursery.store.file)
        parts = Parts(
            book=Book(in_force_of(nursery.site, nursery.plans)),
            store=nursery.store,
            rejects=rejects,
            ingest=Ingest(
                Gate(nursery.site.sensor),
                nursery.store,
                rejects=rejects,
                together=nursery.store.file.writing,
                clock_ms=lambda: 0,
            ),
            records=nursery.records,
            clock=nursery.clock,
            settings=Settings(**settings),
        )
        sight = Sight(parts)
        return NightSheets(parts, sight, Pictures(parts, sight))

    return made


@pytest.fixture
def service_of() -> Callable[..., AlertService]:
    """Return the alert service of a small nursery, which sends its night sheets."""

    def made(nursery, sheets: NightSheets) -> AlertService:
        return AlertService(
            Book(in_force_of(nursery.site, nursery.plans)),
            nursery.records,
            nursery.clock,
            nursery.channels,
            base_url="http://shed.invalid",
            sheet_words=sheets.words,
            sheet_picture=sheets.picture,
        )

    return made
