"""Records of every earlier form are brought to the newest one, whole, in one line of steps."""

from __future__ import annotations

from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, make_url

import api.records
from api.records import account_tables, node_tables
from api.records.alarms import alarm_history
from api.records.outbox import newest_messages
from api.records.session import open_records, reading
from api.records.tables import METADATA
from rules.model.alarm import AlarmState


def scripts() -> Config:
    config = Config()
    folder = Path(api.records.__file__).parent / "migrations"
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def test_the_steps_are_one_line_without_a_fork():
    chain = ScriptDirectory.from_config(scripts())
    steps = [step.revision for step in chain.walk_revisions()]
    assert chain.get_heads() == steps[:1]
    assert steps == sorted(steps, reverse=True)


@pytest.mark.parametrize(
    "form", ["0001", "0002", "0003", "0004", "0005", "0006", "0008", "0009", "0010", "0011", "0012"]
)
def test_each_form_becomes_the_newest_and_keeps_what_it_held(records_at, form):
    if isinstance(records_at, Path):
        records_at.parent.mkdir()
        engine = create_engine(f"sqlite:///{records_at}")
    else:
        engine = create_engine(make_url(records_at).set(drivername="postgresql+psycopg"))
    config = scripts()
    with engine.begin() as db:
        config.attributes["connection"] = db
        command.upgrade(config, form)
        db.exec_driver_sql(
            "INSERT INTO alarms (id, batch, condition, priority, state, opened_ms, since_ms) "
            "VALUES (1, 'MG-07', 'air-dry', 'medium', 'unacknowledged', 60000, 0)"
        )
        db.exec_driver_sql(
            "INSERT INTO outbox (id, cause, batch, about_ms, alarm_id, person, kind, language, "
            "channel, owed_ms, due_ms, attempts) VALUES (1, 'change.1', 'MG-07', 60000, 1, "
            "'corvin', 'opened', 'en', 'email', 60000, 60000, 0)"
        )
    engine.dispose()
    newest = open_records(records_at)
    found = inspect(newest)
    columns = {
        name: {column["name"] for column in found.get_columns(name)}
        for name in found.get_table_names()
        if name != "alembic_version"
    }
    assert {account_tables.accounts.name, node_tables.nodes.name} <= set(columns)
    assert columns == {table.name: set(table.c.keys()) for table in METADATA.sorted_tables}
    with reading(newest) as db:
        (alarm,) = alarm_history(db, most=9)
        (message,) = newest_messages(db, most=9)
    newest.dispose()
    assert (alarm.state, alarm.latch, alarm.worst) == (AlarmState.UNACKNOWLEDGED, True, None)
    assert (message.step, message.group_id, message.group_round) == (None, None, None)
