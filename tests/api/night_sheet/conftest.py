"""Night sheets over the small nursery of the folder above, and over Tern Hollow."""

from __future__ import annotations

from collections.abc import Callable

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
