"""Log lines: the same event as words or as JSON, in UTC, and nothing from outside forges one."""

from __future__ import annotations

import io
import json
import logging
import re
from collections.abc import Callable, Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.log_lines import JsonLines, PlainLines, escaped, fields_of, write_logs


@pytest.fixture
def written() -> Iterator[Callable[[str], io.StringIO]]:
    """Send the log somewhere in a form; what was there before is put back."""
    root = logging.getLogger()
    before = (root.handlers[:], root.level)
    root.handlers[:] = []

    def writes(form: str) -> io.StringIO:
        to = io.StringIO()
        write_logs(form, to=to)  # type: ignore[arg-type]
        return to

    yield writes
    root.handlers[:] = before[0]
    root.setLevel(before[1])


def record(said: object, *given: object) -> logging.LogRecord:
    one = logging.LogRecord("api.x", logging.WARNING, "x.py", 1, said, given, None)
    one.created, one.msecs = 1_794_668_400.25, 250.0
    return one


def test_an_event_is_one_json_object_with_its_fields_by_name(written):
    to = written("json")
    log = logging.getLogger("api.guard.service")
    log.warning("guard_found what=%s said=%s seconds=%.1f", "broker", 'no "way" = out', 2.5)
    told = json.loads(to.getvalue())
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", told.pop("at"))
    assert told == {
        "level": "warning",
        "logger": "api.guard.service",
        "event": "guard_found",
        "what": "broker",
        "said_": 'no "way" = out',
        "seconds": 2.5,
    }


def test_times_are_utc_whatever_the_zone_of_the_machine(monkeypatch):
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    one = record("watch_began minute=%d", 7)
    assert PlainLines().format(one) == (
        "2026-11-14T15:00:00.250Z WARNING api.x watch_began minute=7"
    )
    assert json.loads(JsonLines().format(one))["at"] == "2026-11-14T15:00:00.250Z"


def test_what_a_library_says_in_sentences_is_kept_whole(written):
    to = written("json")
    logging.getLogger("lib").warning("Retrying (%s) after 3 s", "again")
    assert json.loads(to.getvalue())["said"] == "Retrying (again) after 3 s"
    assert fields_of(record("Retrying (%s)", "x")) is None
    assert fields_of(record("heartbeat_back")) == {}
    assert fields_of(record("push.refused why=token")) == {"why": "token"}
    assert fields_of(record("x a=%s b=%s", 1)) is None
    assert fields_of(record("watch_event what=%s", "a b=c")) == {"what": "a b=c"}


def test_a_traceback_stays_in_its_event(written):
    for form in ("json", "lines"):
        to = written(form)
        try:
            raise ValueError("at\n2026-11-14T15:00:00.250Z ERROR api.x forged")
        except ValueError:
            logging.getLogger("api.x").exception("watch_failed failures=%d", 1)
        lines = to.getvalue().splitlines()
        if form == "json":
            (line,) = lines
            assert "ValueError" in json.loads(line)["fault"]
        else:
            assert all(line.startswith("  ") for line in lines[1:])
            assert "ValueError" in to.getvalue()


@given(st.text())
def test_nothing_that_comes_from_outside_forges_or_breaks_a_line(text):
    one = record("push_refused topic=%s", text)
    assert len(PlainLines().format(one).splitlines()) == 1
    assert escaped(text).isprintable()
    plain = JsonLines().format(one)
    assert "\n" not in plain
    assert json.loads(plain)["topic"] == text
