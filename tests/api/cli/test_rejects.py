"""`graftvigil rejects`: what a technician reads when a sensor's messages do not arrive."""

from __future__ import annotations

import json

import pytest

from api.cli.main import main
from collector.rejects import RejectLog
from collector.stores.sqlite import SqliteStore
from rules.model.reading import Reject

AT_MS = 1_772_000_000_000


@pytest.fixture
def refused(tmp_path):
    """Return a folder of stores in which two messages were refused, one with odd characters."""
    store = SqliteStore(tmp_path / "readings.sqlite")
    RejectLog(store.file).add(
        [
            Reject(AT_MS, "shed/1", b"{", "payload", "not JSON: no end", "Send one JSON object"),
            Reject(AT_MS, "odd/\x1b[2J", b"\xff", "topic", "unknown topic: who?", "Add a sensor"),
        ]
    )
    store.close()
    return tmp_path


def test_each_reject_is_a_line_with_what_is_wrong_and_what_to_do(refused, capsys):
    assert main(["rejects", "--data", str(refused)]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].endswith("shed/1: payload: not JSON: no end. Send one JSON object")
    assert lines[2] == "2 refused since the store was made"


def test_a_topic_cannot_play_tricks_on_the_terminal(refused, capsys):
    main(["rejects", "--data", str(refused)])
    assert "\x1b" not in capsys.readouterr().out


def test_as_json_it_is_one_object(refused, capsys):
    assert main(["rejects", "--data", str(refused), "--most", "1", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert len(told["newest"]) == 1
    assert sum(told["counts"].values()) == 2


def test_none_is_good(tmp_path, capsys):
    SqliteStore(tmp_path / "readings.sqlite").close()
    assert main(["rejects", "--data", str(tmp_path)]) == 0
    assert capsys.readouterr().out == "0 refused since the store was made\n"


def test_a_folder_without_a_store_is_answered_in_a_line(tmp_path, capsys):
    assert main(["rejects", "--data", str(tmp_path)]) == 2
    assert "readings.sqlite is not there" in capsys.readouterr().err
