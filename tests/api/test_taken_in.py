"""What people entered is taken in with the site file's own when the parts are built."""

from __future__ import annotations

import stat
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.assemble import CannotStart, assemble
from api.records.observations import Entered, enter
from api.records.session import open_records, writing
from api.settings import RECORDS_FILE, SettingsUnusable, load_settings
from api.watch.clock import TurnedClock
from rules.model.batch import Observation, Seen

DEMO = Path(__file__).parents[2] / "demo_data"
NIGHT = datetime(2026, 11, 14, 15, 10, tzinfo=UTC)


@pytest.fixture
def settings(tmp_path):
    given = {"site": DEMO / "site.toml", "plans": DEMO / "plans", "data": tmp_path / "data"}
    return load_settings({}, given)


def test_an_observation_entered_by_a_person_counts_from_the_next_start(settings):
    watered = Observation(at=NIGHT, seen=Seen.WATERED, by="tobin", note="floor")
    records = open_records(settings.data / RECORDS_FILE)
    with writing(records) as db:
        assert enter(db, Entered("MG-07", watered, NIGHT, "answer.1.1.tobin.watered"))
        assert not enter(db, Entered("MG-07", watered, NIGHT, "answer.1.1.tobin.watered"))
        assert enter(db, Entered("MG-07", watered, NIGHT))
        db.exec_driver_sql("UPDATE observations SET seen = 'a word given up' WHERE origin IS NULL")
    records.dispose()
    nursery = assemble(settings, TurnedClock(NIGHT), notice=None, first_minute=None)
    try:
        last = {batch.code: batch.observation[-1:] for batch in nursery.parts.site.batch}
        key = settings.data / "answer-key"
        assert last["MG-07"] == (watered,)
        assert [code for code, seen in last.items() if watered in seen] == ["MG-07"]
        assert stat.S_IMODE(key.stat().st_mode) == 0o600
    finally:
        nursery.stop()
    key.chmod(0o644)
    with pytest.raises(CannotStart, match="others can read this key"):
        assemble(settings, TurnedClock(NIGHT), notice=None, first_minute=None)


def test_an_answer_topic_with_a_wildcard_is_refused():
    with pytest.raises(SettingsUnusable, match=r"GRAFTVIGIL_ANSWER_TOPIC.*is not one topic"):
        load_settings({}, {"answer_topic": "small/#"})
