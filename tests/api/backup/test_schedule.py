"""A backup a day is owed from clock and folder; old ones go only after a new one is good."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.backup.folder import Kept, kept_in
from api.backup.schedule import AGAIN_AFTER, ScheduledBackups
from api.backup.thinning import Thinning, spared
from api.book import Book
from api.settings import Settings
from api.watch.clock import TurnedClock
from rules.local_time import to_local
from rules.vital_facts import Facts, HouseRules
from rules.vital_signs import Sign, examine


class Scheduled:
    """Backups of a home, with a clock that is turned by hand, started anew as often as asked."""

    def __init__(self, home, folder: Path, book: Book, at: datetime) -> None:
        self.home, self.folder, self.book = home, folder, book
        self.clock = TurnedClock(at)
        self.settings = Settings(
            site=home.site,
            plans=home.plans,
            data=home.data,
            backup=folder,
            backup_at="03:30",
            backup_days=2,
            backup_weeks=0,
            backup_months=0,
        )
        self.backups = self.started()

    def started(self) -> ScheduledBackups:
        self.backups = ScheduledBackups(
            self.settings,
            self.folder,
            self.book,
            self.clock,
            environment={},
            stop=threading.Event(),
        )
        return self.backups

    def later(self, **by: float) -> bool:
        self.clock.turn_by(timedelta(**by))
        return self.backups.turn()

    def local(self) -> list[str]:
        place = self.book.now.site.site
        return [f"{to_local(one.at, place):%d %H:%M}" for one in kept_in(self.folder)]

    @property
    def sign(self) -> str | None:
        state = self.backups.state
        facts = Facts(backup_age_s=state.age_s(self.clock.now()), backup_error=state.error)
        found = [one for one in examine(facts, HouseRules()).findings if one.sign is Sign.BACKUP]
        return found[0].said if found else None


@pytest.fixture
def scheduled(home, pages_nursery, tmp_path) -> Scheduled:
    folder = tmp_path / "b"
    folder.mkdir()
    book = Book(pages_nursery.demo_in_force())
    return Scheduled(home, folder, book, datetime(2026, 11, 14, 15, 10, tzinfo=UTC))  # 02:10 local


def test_one_is_made_each_day_at_its_time_over_restarts_and_the_oldest_let_go(scheduled):
    assert scheduled.backups.turn()  # none is there yet: yesterday's is owed
    assert not scheduled.later(minutes=79)  # 03:29
    assert scheduled.later(minutes=1, seconds=30)
    scheduled.started()
    assert not scheduled.backups.turn()
    assert scheduled.backups.state.good_at == kept_in(scheduled.folder)[-1].at
    assert scheduled.local() == ["15 03:30"]  # the first was of the same local day
    assert scheduled.later(days=3)  # it slept: one is made, not three
    assert scheduled.later(days=1)
    assert scheduled.local() == ["18 03:30", "19 03:30"]
    assert not list(scheduled.folder.glob("*.part"))
    assert not list(scheduled.folder.glob(".graftvigil*"))
    assert scheduled.sign is None


def test_one_that_fails_is_told_tried_again_later_and_lets_go_of_nothing(scheduled):
    assert scheduled.backups.turn()
    scheduled.later(minutes=80)
    before = scheduled.local()
    hidden = scheduled.home.site.rename(scheduled.home.site.with_name("away.toml"))
    assert not scheduled.later(days=1)
    assert "site.toml" in (scheduled.sign or "")
    hidden.rename(scheduled.home.site)
    assert not scheduled.later(minutes=5)  # not every minute
    assert scheduled.local() == before
    assert scheduled.later(minutes=AGAIN_AFTER.total_seconds() / 60)
    assert scheduled.sign is None
    scheduled.folder.rename(scheduled.folder.with_name("unplugged"))
    assert not scheduled.later(days=1)
    assert "No such file" in (scheduled.sign or "")
    assert not scheduled.folder.exists()  # nothing is written where the disk is not


def test_one_that_does_not_come_out_whole_is_no_backup_and_the_last_good_one_stays(
    scheduled, monkeypatch
):
    assert scheduled.backups.turn()
    scheduled.later(minutes=80)
    good = scheduled.backups.state.good_at
    first = scheduled.backups._try

    def spoilt(backup: Kept) -> None:
        file = backup.path / "records.sqlite"
        file.write_bytes(file.read_bytes()[:-100] + bytes(100))
        first(backup)

    monkeypatch.setattr(scheduled.backups, "_try", spoilt)
    assert not scheduled.later(days=1)
    assert scheduled.sign == "records.sqlite: not as it was written"
    assert scheduled.backups.state.good_at == good
    assert len(list(scheduled.folder.glob("*.damaged"))) == 1
    assert kept_in(scheduled.folder)[-1].at == good
    monkeypatch.undo()
    assert scheduled.later(hours=1)
    assert not list(scheduled.folder.glob("*.damaged"))
    assert scheduled.sign is None


def test_killed_between_making_and_trying_it_is_only_tried(scheduled, monkeypatch):
    def killed(_backup: Kept) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(scheduled.backups, "_try", killed)
    with pytest.raises(KeyboardInterrupt):
        scheduled.backups.turn()
    (made,) = kept_in(scheduled.folder)
    scheduled.started()
    assert scheduled.backups.state.good_at is None
    assert scheduled.later(minutes=2)
    assert kept_in(scheduled.folder) == (made,)
    assert scheduled.backups.state.good_at == made.at


def test_a_backup_that_a_person_made_beside_is_left_alone(scheduled):
    mine = scheduled.home.backed_up(scheduled.folder, now=datetime(2026, 1, 1, tzinfo=UTC))
    for _ in range(4):
        scheduled.backups.turn()
        scheduled.clock.turn_by(timedelta(days=1))
    assert mine.exists()
    assert len(kept_in(scheduled.folder)) == 3


def test_one_that_is_overdue_is_told_without_an_error(scheduled):
    assert scheduled.backups.turn()
    scheduled.clock.turn_by(timedelta(hours=25))
    assert scheduled.sign is None
    scheduled.clock.turn_by(timedelta(hours=2))
    assert scheduled.sign == ""


@pytest.mark.parametrize(
    ("change", "days"),
    [
        # At the nursery's clock 02:00 becomes 03:00 on 4 October 2026, 03:00 becomes 02:00 on 5
        # April 2026 (tz database, Australia/Sydney).
        (datetime(2026, 10, 3, 16, tzinfo=UTC), 4),
        (datetime(2026, 4, 4, 16, tzinfo=UTC), 4),
    ],
)
@pytest.mark.parametrize("at", ["02:30", "03:30", "dawn"])
def test_each_local_day_owes_one_over_a_change_of_the_clock(scheduled, change, days, at):
    scheduled.settings = scheduled.settings.model_copy(update={"backup_at": at})
    backups = scheduled.started()
    place = scheduled.book.now.site.site
    seen: list[datetime] = []
    for minute in range(0, days * 1440, 10):
        due = backups._due(change - timedelta(days=2) + timedelta(minutes=minute))
        if not seen or due != seen[-1]:
            seen.append(due)
    dates = [to_local(one, place).date() for one in seen[1:]]
    assert seen == sorted(seen)
    assert dates == [dates[0] + timedelta(days=n) for n in range(len(dates))]
    assert len(dates) in {days - 1, days}


@pytest.mark.slow
def test_a_running_graftvigil_makes_and_tries_one_and_stops_when_told(home, tmp_path):
    folder = tmp_path / "b"
    folder.mkdir()
    running = subprocess.Popen(
        [
            *(sys.executable, "-m", "api.cli", "run", "--json", "--listen", "127.0.0.1:0"),
            *("--built-in-broker", "127.0.0.1:0", "--site", str(home.site)),
            *("--data", str(home.data)),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[3],
        env={**os.environ, "GRAFTVIGIL_BACKUP": str(folder)},
    )
    pause = threading.Event()
    for _ in range(600):
        if list(folder.glob("*.tried")) or running.poll() is not None:
            break
        pause.wait(0.1)
    running.terminate()
    _, said = running.communicate(timeout=30)
    assert running.returncode == 0, said
    (made,) = kept_in(folder)
    assert f"backup_tried name={made.path.name}" in said
    assert sorted(one.name for one in folder.iterdir()) == [
        made.path.name,
        f"{made.path.name}.tried",
    ]


EVERY = Thinning(days=7, weeks=5, months=12)


def kept_on(days: list[date]) -> list[Kept]:
    midnight = time(tzinfo=UTC)
    return [Kept(Path(str(one)), datetime.combine(one, midnight)) for one in days]


def test_two_years_of_days_leave_seven_days_five_weeks_and_twelve_months():
    every = [date(2025, 1, 1) + timedelta(days=n) for n in range(700)]  # to 1 December 2026
    kept = sorted(one.at.date() for one in spared(kept_on(every), EVERY, lambda one: one.at.date()))
    assert kept[-7:] == every[-7:]
    weekly = [date(2026, 11, day) for day in (29, 22, 15, 8)]
    monthly = [one for one in every if (one + timedelta(days=1)).day == 1][-11:]
    assert set(kept) == {*every[-7:], *weekly, *monthly}


@given(
    days=st.sets(st.dates(date(2026, 1, 1), date(2027, 12, 31)), min_size=1, max_size=60),
    keep=st.tuples(st.integers(1, 9), st.integers(0, 9), st.integers(0, 9)),
)
def test_the_newest_always_stays_and_thinning_again_changes_nothing(days, keep):
    every, thinning = kept_on(sorted(days)), Thinning(*keep)
    once = spared(every, thinning, lambda one: one.at.date())
    assert every[-1] in once
    assert len(once) >= min(len(every), keep[0])
    assert len(once) <= sum(keep)
    assert spared(sorted(once, key=lambda one: one.at), thinning, lambda one: one.at.date()) == once
