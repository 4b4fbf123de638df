"""`graftvigil device`: a token is made, shown once, listed without its secret, and revoked."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from api.cli.main import main
from api.watch.clock import WallClock, milliseconds
from collector.stores.sqlite_file import SqliteFile
from collector.tokens import MARK, DeviceTokens

SITE = Path(__file__).parents[2] / "faulty" / "good" / "site.toml"


@pytest.fixture
def data(tmp_path):
    SqliteFile(tmp_path / "readings.sqlite").close()
    return tmp_path


@pytest.fixture
def device(data, capsys):
    def run(*words: str) -> tuple[int, str, str]:
        code = main(["device", *words, "--data", str(data)])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def holder(data: Path, token: str):
    file = SqliteFile(data / "readings.sqlite")
    found = DeviceTokens(file).holder(token, at_ms=milliseconds(WallClock()))
    file.close()
    return found


def test_a_token_is_shown_once_and_listed_without_its_secret(device, data):
    code, out, _ = device("add", "gateway", "--all-sensors")
    token = out.splitlines()[0]
    assert code == 0
    assert token.startswith(MARK)
    assert len(token) >= 40
    assert holder(data, token).name == "gateway"
    code, out, _ = device("list")
    assert code == 0
    assert "gateway: every sensor, made " in out
    assert token not in out


def test_a_token_for_one_sensor_of_the_site(device, data):
    code, out, _ = device("add", "b7", "--sensor", "bag-07", "--site", str(SITE), "--json")
    said = json.loads(out)
    assert (code, said["name"], said["sensor"]) == (0, "b7", "bag-07")
    assert holder(data, said["token"]).sensor == "bag-07"


def test_a_revoked_token_counts_no_more_and_its_name_is_free_again(device, data):
    first = device("add", "b7", "--all-sensors")[1].splitlines()[0]
    code, _, err = device("add", "b7", "--all-sensors")
    assert (code, "Revoke it first" in err) == (2, True)
    assert device("revoke", "b7")[0] == 0
    assert holder(data, first) is None
    second = device("add", "b7", "--all-sensors")[1].splitlines()[0]
    assert first != second
    assert holder(data, first) is None
    assert holder(data, second) is not None
    listed = json.loads(device("list", "--json")[1])["devices"]
    assert [one["revoked"] is None for one in listed] == [False, True]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("add",), "name the device"),
        (("list", "b7"), "takes no name"),
        (("add", "b7"), "--all-sensors"),
        (("add", "b 7", "--all-sensors"), "no name"),
        (("add", "b7", "--sensor", "bag-7", "--site", str(SITE)), "there are bag-07"),
        (("add", "b7", "--sensor", "bag-07", "--site", "nowhere.toml"), "nowhere.toml"),
        (("revoke", "b7"), "no token that counts"),
    ],
)
def test_what_cannot_be_done_is_said_with_the_way_out(device, words, said):
    code, out, err = device(*words)
    assert (code, out) == (2, "")
    assert said in err


def test_an_empty_list_says_that_this_machine_may_push(device):
    assert "without one" in device("list")[1]


def test_a_token_is_rotated_and_the_old_one_counts_on_until_the_new_one_is_used(device, data):
    _, said, _ = device("add", "bag-07", "--sensor", "bag-07", "--site", str(SITE))
    old = said.splitlines()[0]
    code, said, _ = device("rotate", "bag-07")
    new = said.splitlines()[0]
    assert code == 0
    assert new.startswith(MARK)
    assert "counts until this one is first used" in said
    assert "counts until its successor is used" in device("list")[1]
    assert holder(data, old).sensor == "bag-07"
    assert holder(data, new).sensor == "bag-07"
    assert holder(data, old) is None
    code, _, said = device("rotate", "nobody")
    assert code == 2
    assert "has no token" in said
    code, _, said = device("rotate", "bag-07", "--days", "1000")
    assert code == 2
    assert "--days" in said
