"""The hours of the next weeks that days off leave to nobody are noted, and no others."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.site_files import read_nursery

GOOD = Path(__file__).parent / "good"
MONDAY = datetime(2026, 11, 16, 1, 0, tzinfo=UTC)  # noon at the nursery
NOOR = '\n[[person]]\nid = "noor"\nname = "Noor"\nemail = "noor@valley.example"\n'


def off(who: str, first: str, last: str) -> str:
    return f'\n[[absence]]\nwho = "{who}"\nfirst = {first}\nlast = {last}\n'


@pytest.fixture
def notes(tmp_path, monkeypatch):
    shutil.copytree(GOOD, tmp_path / "good")
    monkeypatch.chdir(tmp_path / "good")

    def noted(added: str, *, was: str = "", now: str = "") -> list[str]:
        text = (GOOD / "site.toml").read_text()
        assert was in text
        Path("site.toml").write_text(text.replace(was, now, 1) + added if was else text + added)
        nursery = read_nursery(Path("site.toml"), Path("plans"), weeks_from=MONDAY)
        assert nursery.faults == ()
        return [f"{note.line}: {note.field}: {note.problem}" for note in nursery.notes]

    return noted


def test_two_days_off_with_nobody_in_are_noted_in_local_time(notes):
    assert notes(off("mei", "2026-11-20", "2026-11-21")) == [
        "82: absence[#1]: nobody is on duty from 2026-11-20 00:00 to 2026-11-22 00:00; "
        "the lead is told instead"
    ]


def test_days_off_that_someone_covers_are_not_noted(notes):
    swaps = "".join(
        f'\n[[swap]]\non = 2026-11-2{day}\nwhose = "mei"\ntaken_by = "noor"\n' for day in (0, 1)
    )
    assert notes(NOOR + off("mei", "2026-11-20", "2026-11-21") + swaps) == []
    covered = notes('backup = "noor"\n' + NOOR + off("mei", "2026-11-20", "2026-11-21"))
    assert covered == []


def test_what_is_past_or_months_away_is_not_noted(notes):
    assert notes(off("mei", "2026-11-02", "2026-11-08")) == []
    assert notes(off("mei", "2027-03-02", "2027-03-08")) == []


def test_hours_that_every_week_leaves_to_nobody_are_noted_once_only(notes):
    shorter = "start = 06:00:00\nend = 22:00:00"
    found = notes("", was="start = 00:00:00\nend = 00:00:00", now=shorter)
    assert [note for note in found if "every day from 22:00 to 06:00" in note] == found
    assert len(found) == 1
