"""`graftvigil account` lets in, at the machine itself, whoever the pages do not."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from api.accounts.passwords import is_password
from api.cli.main import main
from api.records.accounts import account_of, hash_of, newest_trail
from api.records.session import open_records, reading

ROOT = Path(__file__).parents[3]
PASSWORD = "moss bucket under third table"


@pytest.fixture
def account(tmp_path, capsys):
    """Call the command over fresh records; give its exit code, what it printed and its errors."""
    open_records(tmp_path / "records.sqlite").dispose()
    places = ["--site", str(ROOT / "demo_data" / "site.toml"), "--data", str(tmp_path)]

    def call(*arguments: str) -> tuple[int, str, str]:
        code = main(["account", *arguments, *places])
        said = capsys.readouterr()
        return code, said.out, said.err

    return call


@pytest.fixture
def records(tmp_path, account):
    engine = open_records(tmp_path / "records.sqlite")
    yield engine
    engine.dispose()


def test_a_lead_locked_out_gets_in_again(account, records, monkeypatch):
    assert account("add", "wren", "--role", "lead")[0] == 0
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{PASSWORD}\n"))
    assert account("password", "wren", "--stdin") == (
        0,
        "wren has a new password and is signed out everywhere.\n",
        "",
    )
    with reading(records) as db:
        assert is_password(PASSWORD, hash_of(db, "wren"))
        assert newest_trail(db, most=1)[0].by == "machine"
    code, said, _ = account("password", "wren")
    assert code == 0
    assert said.startswith("http://127.0.0.1:8484/invited/")


def test_every_deed_leaves_the_account_as_it_says(account, records, monkeypatch):
    def stands():
        with reading(records) as db:
            found = account_of(db, "tobin")
        return found.role, found.disabled_at is not None

    assert account("list")[1].startswith("Nobody has an account yet.")
    account("add", "tobin", "--role", "look")
    assert stands() == ("look", False)
    account("role", "tobin", "--role", "technician")
    assert stands() == ("technician", False)
    account("disable", "tobin")
    assert stands() == ("technician", True)
    assert "tobin: technician, shut out since" in account("list")[1]
    account("enable", "tobin")
    assert stands() == ("technician", False)
    assert account("unlock", "tobin")[0] == 0
    token = account("token", "tobin", "--name", "sheet", "--role", "look", "--json")[1]
    assert json.loads(token)["token"].startswith("gvp_")
    account("add", "bench-tablet", "--role", "tend", "--acts-for", "tobin,wren")
    listed = json.loads(account("list", "--json")[1])["accounts"]
    assert [(one["person"], one["acts_for"]) for one in listed] == [
        ("bench-tablet", ["tobin", "wren"]),
        ("tobin", None),
    ]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["add", "stranger", "--role", "tend"], "the book has no such person"),
        (["add", "tobin"], "--role: is missing"),
        (["add", "tobin", "--role", "king"], "write one of look, tend, technician, lead"),
        (["add"], "name the person"),
        (["list", "tobin"], "list takes no name"),
        (["disable", "tobin"], "there is no such account"),
        (["password", "tobin"], "there is no such account"),
        (["add", "tobin", "--role", "tend", "--acts-for", "wren"], "a device needs another"),
        (["token", "tobin", "--role", "look"], "needs a name"),
    ],
)
def test_what_cannot_be_done_is_told_with_the_way_out(account, arguments, said):
    code, _, err = account(*arguments)
    assert code == 2
    assert said in err


def test_a_weak_password_is_not_taken(account, records, monkeypatch):
    account("add", "wren", "--role", "lead")
    monkeypatch.setattr("sys.stdin", io.StringIO("short\n"))
    code, _, err = account("password", "wren", "--stdin")
    assert code == 2
    assert "12 letters" in err
    with reading(records) as db:
        assert hash_of(db, "wren") is None
