"""States are kept small, milestones for four weeks, and what the first form kept goes on."""

from __future__ import annotations

import json
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import MetaData, create_engine, insert, select

import api.records
from api.records.alarms import alarm_history, changes_of
from api.records.session import open_records, reading, writing
from api.records.states import (
    KEPT_MIN,
    is_milestone,
    keep_milestone,
    milestone_before,
    packed,
    unpacked,
)
from api.records.watch import load_position
from rules.evaluator import EvaluatorState, start, watchlist
from rules.model.alarm import Cue

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Engine

DRY, DAMP = 71.0, 95.0


@pytest.fixture
def records(records_at: Path | str) -> Iterator[Engine]:
    engine = open_records(records_at)
    yield engine
    engine.dispose()


def state_at(minute: int) -> EvaluatorState:
    return EvaluatorState(minute=minute - 1)


def test_a_packed_state_comes_back_equal_and_smaller(small_site, small_plans):
    state = start(watchlist(small_site, small_plans))
    assert unpacked(packed(state)) == state
    assert len(packed(state)) < len(state.to_json()) / 2


@pytest.mark.parametrize("kept", [b"", b"none", zlib.compress(b"[]"), zlib.compress(b"\xff")])
def test_bytes_that_are_no_state_are_said_to_be_none(kept: bytes):
    with pytest.raises(ValueError):  # noqa: PT011  each of the layers says it in its own words
        unpacked(kept)


def test_the_newest_milestone_at_or_before_a_cell_is_found(records: Engine):
    with writing(records) as db:
        for minute in (720, 360, 1080):
            keep_milestone(db, minute, packed(state_at(minute)))
    with reading(records) as db:
        found = {minute: milestone_before(db, minute) for minute in (359, 360, 719, 720, 9999)}
    assert found[359] is None
    assert [pair and pair[0] for pair in found.values()] == [None, 360, 360, 720, 1080]
    assert found[720] == (720, state_at(720))


def test_a_milestone_kept_again_stands_once_with_what_was_said_last(records: Engine):
    with writing(records) as db:
        keep_milestone(db, 360, packed(state_at(1)))
        keep_milestone(db, 360, packed(state_at(360)))
    with reading(records) as db:
        assert milestone_before(db, 400) == (360, state_at(360))


def test_milestones_are_let_go_after_four_weeks(records: Engine):
    with writing(records) as db:
        for minute in (0, 360, KEPT_MIN + 360):
            keep_milestone(db, minute, packed(state_at(minute)))
    with reading(records) as db:
        assert milestone_before(db, 359) is None
        assert milestone_before(db, 360) == (360, state_at(360))


def test_a_milestone_that_cannot_be_read_is_none(records: Engine):
    with writing(records) as db:
        keep_milestone(db, 360, b"of another time")
    with reading(records) as db:
        assert milestone_before(db, 400) is None


def test_milestones_stand_six_hours_apart():
    assert [minute for minute in range(1441) if is_milestone(minute)] == [0, 360, 720, 1080, 1440]


def first_form(path: Path) -> Engine:
    """Return records as the first form of the program made them."""
    config = Config()
    scripts = Path(api.records.__file__).parent / "migrations"
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as db:
        config.attributes["connection"] = db
        command.upgrade(config, "0001")
    return engine


def put_into_first_form(newer: Engine, older: Engine) -> None:
    """Copy all rows, less what the first form did not have."""
    now, then = MetaData(), MetaData()
    now.reflect(newer)
    then.reflect(older)
    with newer.connect() as source, older.begin() as sink:
        for table in then.sorted_tables:
            if table.name == "alembic_version":
                continue
            for row in source.execute(select(now.tables[table.name])).mappings():
                kept = {name: row[name] for name in row if name in table.c}
                if table.name == "watch_position":
                    kept["state_json"] = text_of_first_form(row["state"])
                sink.execute(insert(table).values(**kept))


def text_of_first_form(state: bytes) -> str:
    whole = json.loads(zlib.decompress(state))
    for batch in whole["batches"].values():
        del batch["doses"], batch["reckoned"]
    return json.dumps(whole)


def test_a_watch_of_the_first_form_goes_on_as_if_nothing_had_been(nursery, tmp_path):
    nursery.pass_minutes(0, [DRY] * 4)
    older = first_form(tmp_path / "older.db")
    put_into_first_form(nursery.records, older)
    nursery.shut()
    older.dispose()
    nursery.records_at = tmp_path / "older.db"
    after = nursery.anew()
    with after.db() as db:
        position = load_position(db)
        assert milestone_before(db, position.next_minute) == (
            position.next_minute,
            unpacked(position.state),
        )
    after.pass_minutes(4, [DRY, DRY, *[DAMP] * 4])
    with after.db() as db:
        (alarm,) = alarm_history(db, most=9)
        changes = changes_of(db, alarm.id)
    after.shut()
    assert [change.cue for change in changes] == [Cue.RAISED, Cue.CLEARED]
    assert [change.note for change in changes] == [None, None]
    assert alarm.value == DRY


def test_a_state_of_the_first_form_that_cannot_be_read_is_handed_on_as_it_is(tmp_path):
    older = first_form(tmp_path / "records.db")
    with older.begin() as db:
        db.exec_driver_sql(
            "INSERT INTO watch_position (id, began_minute, next_minute, sequence, revision, "
            "state_json) VALUES (1, 10, 20, 0, 'r', '[not a state')"
        )
    older.dispose()
    newer = open_records(tmp_path / "records.db")
    with reading(newer) as db:
        position = load_position(db)
    newer.dispose()
    assert position is not None
    assert (position.began_minute, position.next_minute) == (10, 20)
    assert zlib.decompress(position.state) == b"[not a state"
