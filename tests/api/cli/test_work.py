"""`graftvigil work`: someone at the bench says what they are about to do."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from api.cli.main import main
from api.records.session import open_records, reading
from api.records.works import work

SITE = str(Path(__file__).parents[3] / "demo_data" / "site.toml")


@pytest.fixture
def data(tmp_path):
    open_records(tmp_path / "records.sqlite").dispose()
    return tmp_path


def run(data, *arguments):
    return main(["work", "--site", SITE, "--data", str(data), *arguments])


def listed(data, capsys):
    capsys.readouterr()
    assert run(data, "--json") == 0
    return json.loads(capsys.readouterr().out)["works"]


def test_work_is_begun_listed_and_ended(data, capsys):
    assert (
        run(data, "--begin", "cover_open", "--at", "MG-07", "--by", "tobin", "--note", "mist") == 0
    )
    assert capsys.readouterr().out.splitlines()[-1] == "1 in hand"
    (one,) = listed(data, capsys)
    assert (one["kind"], one["place"], one["who"], one["note"]) == (
        "cover_open",
        "MG-07",
        "tobin",
        "mist",
    )
    assert run(data, "--end", str(one["id"]), "--by", "tobin") == 0
    assert listed(data, capsys) == []
    records = open_records(data / "records.sqlite")
    with reading(records) as db:
        assert work(db, one["id"]).ended is not None
    records.dispose()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--begin", "painting", "--at", "MG-07", "--by", "tobin"), "cover_open, spraying"),
        (("--begin", "cover_open", "--by", "tobin"), "--at: is missing"),
        (("--begin", "cover_open", "--at", "ZZ-1", "--by", "tobin"), "one of:"),
        (("--begin", "cover_open", "--at", "MG-07"), "--by: is missing"),
        (("--begin", "cover_open", "--at", "MG-07", "--by", "nobody"), "write one of"),
        (
            ("--begin", "cover_open", "--at", "MG-07", "--by", "tobin", "--minutes", "999"),
            "1 to 120",
        ),
        (("--end", "7", "--by", "tobin"), "no work 7"),
    ],
)
def test_what_cannot_be_done_is_said_in_a_line_with_the_way_out(data, capsys, arguments, says):
    assert run(data, *arguments) == 2
    assert says in capsys.readouterr().err


def test_the_same_work_is_not_begun_twice(data, capsys):
    again = ("--begin", "washing", "--at", "healing", "--by", "tobin")
    assert run(data, *again) == 0
    assert run(data, *again) == 2
    assert "--end 1" in capsys.readouterr().err


def test_a_folder_without_records_is_answered_in_a_line(tmp_path, capsys):
    assert run(tmp_path) == 2
    assert "records.sqlite is not there" in capsys.readouterr().err
