"""The book while everything runs: taken up between minutes, never faulty, and told as it was.

One file because all of it enters the same things into one small nursery and compares what was said.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from api.book import Book, InForce, compiled
from api.bookkeeping import Bookkeeping, FilesFaulty, book_then, compiled_up_to
from api.records.alarms import alarm_history, changes_of
from api.records.books import books_between
from api.records.entries import Kind, append, known
from api.records.observations import Entered, enter
from api.records.session import open_records, reading, writing
from api.records.tables import instant
from api.records.watch import load_position, standing_history
from api.watch.clock import TurnedClock
from rules.cells import block_of
from rules.evaluator import start, sweep
from rules.model.alarm import Cue
from rules.model.batch import Observation, Seen
from rules.model.event import ConditionClosed, ConditionOpened, StandingChanged
from rules.model.reading import MINUTE_MS

DEMO = Path(__file__).parents[2] / "demo_data"
DRY, DAMP = 60.0, 95.0
ANY = 1 << 40


def at(nursery, minute: int, second: int = 0):
    """The instant of a minute after the first that the watch closed."""
    with nursery.db() as db:
        position = load_position(db)
    return instant((position.began_minute + minute) * MINUTE_MS) + timedelta(seconds=second)


def see(nursery, code: str, seen: Seen, minute: int, *, entered_minute: int) -> None:
    """Enter that something was seen at a minute, when another minute was there."""
    what = Observation(at=at(nursery, minute), seen=seen, by="corvin")
    with writing(nursery.records) as db:
        assert enter(db, Entered(code, what, at(nursery, entered_minute)))


def enter_form(nursery, kind: Kind, key: str, body: object) -> None:
    with writing(nursery.records) as db:
        append(db, kind, key, body=body, by="isaura", note="", at=at(nursery, 0))


def change_batch(nursery, code: str, /, **fields: object) -> None:
    form = nursery.book.now.written(Kind.BATCH, "MG-07")
    enter_form(nursery, Kind.BATCH, code, {**form, **fields})


def take_away(nursery) -> None:
    """Take away a batch together with the probe under its cover."""
    enter_form(nursery, Kind.SENSOR, "bag-9", None)
    enter_form(nursery, Kind.BATCH, "AV-09", None)


def new_with_its_probe(nursery) -> None:
    """Enter a batch and the probe under its cover, which has been sending all the time."""
    probe = nursery.book.now.written(Kind.SENSOR, "bag-7")
    position = [{**probe["position"][0], "cover_of": "MG-20"}]
    more = {"id": "bag-20", "topic": "small/bag-20", "position": position}
    enter_form(nursery, Kind.SENSOR, "bag-20", {**probe, **more})
    change_batch(nursery, "MG-20", code="MG-20")


def move_stage(nursery, minute: int, stage: str) -> None:
    stages = nursery.book.now.written(Kind.BATCH, "MG-07")["stage"]
    moved = {"stage": stage, "since": at(nursery, minute).isoformat(), "because": "seen"}
    change_batch(nursery, "MG-07", stage=[*stages, moved])


CHANGES = {
    "observation": lambda nursery, minute: see(
        nursery, "MG-07", Seen.COVER_OFF, minute - 1, entered_minute=minute
    ),
    "changed": lambda nursery, _: change_batch(nursery, "MG-07", wrap="stretch_film"),
    "closed": lambda nursery, minute: move_stage(nursery, minute - 1, "closed"),
    "gone": lambda nursery, _: take_away(nursery),
    "new": lambda nursery, _: new_with_its_probe(nursery),
}


def made_anew(nursery) -> InForce:
    with reading(nursery.records) as db:
        found = compiled_up_to(db, nursery.book.now.base, known(db))
    assert isinstance(found, InForce), found
    return found


def said(nursery):
    """Everything that the records say the watch said."""
    with nursery.db() as db:
        alarms = alarm_history(db, most=99)
        changes = [changes_of(db, one.id) for one in alarms]
        standings = [
            standing_history(db, code, first_minute=0, end_minute=ANY)
            for code in ("MG-07", "AV-09", "MG-20")
        ]
        return alarms, changes, standings, load_position(db)


@pytest.mark.parametrize("taken_at", [2, 4, 6])
@pytest.mark.parametrize("how", CHANGES)
def test_taking_the_book_up_while_running_is_as_starting_anew(
    open_nursery, postbox, tmp_path, taken_at, how
):
    course = [DAMP, DRY, DRY, DRY, DRY, DAMP, DRY, DRY, DRY, DRY, DAMP, DAMP]
    told = []
    for hot in (True, False):
        running = open_nursery(None)
        running.folder, running.records_at = tmp_path / str(hot), tmp_path / str(hot) / "own.db"
        running.folder.mkdir()
        running.clock = TurnedClock(running.clock.now())
        running = running.anew()
        running.watch.turn()
        for minute, value in enumerate(course):
            if minute == taken_at:
                CHANGES[how](running, minute)
                new = made_anew(running)
                assert new.revision != running.book.now.revision
                if hot:
                    running.book.put(new)
                else:
                    running.site, running.plans = new.site, new.plans
                    running = running.anew()
            running.keep(minute, MG_07=value)
            running.keep_air(minute, {"MG_20": 60.0}, second=50)
            running.keep_air(minute + 2, {"AV_09": 60.0}, second=50)
            assert running.close(minute) == 1
        told.append(said(running))
        running.shut()
    assert told[0] == told[1]
    assert told[0][0], "something was said"
    assert (how == "new") == any(
        (one.batch, one.condition) == ("MG-20", "air-dry") for one in told[0][0]
    )


def test_what_is_entered_late_changes_nothing_that_was_said_before(nursery):
    """Entered at the sixth minute, dated the first: cells closed before stay as they were said."""
    nursery.pass_minutes(0, [DAMP, DRY, DRY, DRY, DRY, DRY])
    before = said(nursery)
    move_stage(nursery, 1, "closed")
    see(nursery, "MG-07", Seen.WATERED, 1, entered_minute=6)
    nursery.book.put(made_anew(nursery))
    assert said(nursery) == before
    nursery.pass_minutes(6, [DRY] * 3)
    alarms, changes, standings, position = said(nursery)
    assert before[0][0].ended_at is None
    assert alarms[0].ended_at == instant((position.began_minute + 6) * MINUTE_MS)
    assert changes[0][: len(before[1][0])] == before[1][0]
    assert standings[0][: len(before[2][0])] == before[2][0]
    assert standings[0][-1].minute == position.began_minute + 6


def test_each_stretch_swept_with_the_book_of_its_time_says_what_was_said_live(nursery):
    nursery.pass_minutes(0, [DAMP, DRY, DRY, DRY, DRY, DAMP])
    see(nursery, "MG-07", Seen.COVER_OFF, 1, entered_minute=6)
    move_stage(nursery, 1, "closed")
    nursery.book.put(made_anew(nursery))
    nursery.pass_minutes(6, [DRY] * 4)
    take_away(nursery)
    move_stage(nursery, 9, "healing")
    see(nursery, "MG-07", Seen.COVER_CLOSED, 9, entered_minute=10)
    nursery.book.put(made_anew(nursery))
    nursery.pass_minutes(10, [DRY] * 8)
    with nursery.db() as db:
        position = load_position(db)
        began, end = position.began_minute, position.next_minute
        stretches = books_between(db, began, end)
        middle = books_between(db, began + 7, began + 9)
        books = [book_then(db, one) for one in stretches]
    assert [(one.from_minute - began, one.known.observations) for one in stretches] == [
        (0, 0),
        (6, 1),
        (10, 2),
    ]
    assert [one.known.entries for one in stretches] == [0, 1, 4]
    assert middle == stretches[1:2]
    assert stretches[-1].to_minute is None
    assert [one.to_minute for one in stretches[:-1]] == [one.from_minute for one in stretches[1:]]
    assert [one.revision for one in stretches] == [one.revision for one in books]

    def swept(with_books):
        events, state = [], start(with_books[0].watchlist)
        for stretch, book in zip(stretches, with_books, strict=True):
            to = stretch.to_minute or end
            first = stretch.from_minute
            kept = nursery.store.span(sorted(book.site.channels), first * MINUTE_MS, to * MINUTE_MS)
            block = block_of(book.site, first, to - first, kept)
            state, told, _ = sweep(book.watchlist, state, block)
            events += told
        return events

    def is_live(events):
        alarms, changes, standings, _ = said(nursery)
        kept = {
            (one.batch, one.condition, int(change.at.timestamp()) // 60, change.cue)
            for one, of_one in zip(alarms, changes, strict=True)
            for change in of_one
        }
        cues = {ConditionOpened: Cue.RAISED, ConditionClosed: Cue.CLEARED}
        told = {
            (one.batch, one.condition, one.minute, cues[type(one)])
            for one in events
            if type(one) in cues
        }
        stood = {one for one in events if type(one) is StandingChanged}
        return told == kept and stood == {one for code in standings for one in code}

    assert is_live(swept(books))
    assert sum(type(one) is ConditionOpened for one in swept(books)) == 2
    assert not is_live(swept([books[-1]] * 3)), "the newest book alone tells another night"


def test_a_book_of_the_past_that_cant_be_made_again_says_so(nursery):
    see(nursery, "MG-07", Seen.WATERED, 0, entered_minute=0)
    nursery.book.put(made_anew(nursery))
    nursery.pass_minutes(0, [DAMP] * 2)
    with writing(nursery.records) as db:
        (stretch,) = books_between(db, 0, ANY)
        assert book_then(db, stretch).revision == nursery.book.now.revision
        db.exec_driver_sql("UPDATE observations SET seen = 'a word given up'")
        with pytest.raises(LookupError, match="can't be made again"):
            book_then(db, stretch)
        with pytest.raises(LookupError, match="nothing is kept"):
            book_then(db, replace(stretch, base="f" * 64))


@pytest.fixture
def files(tmp_path):
    folder = tmp_path / "written"
    folder.mkdir()
    shutil.copy(DEMO / "site.toml", folder / "site.toml")
    shutil.copytree(DEMO / "plans", folder / "plans")
    return folder


@pytest.fixture
def records(tmp_path):
    engine = open_records(tmp_path / "records.db")
    yield engine
    engine.dispose()


def edit(file: Path, was: str, now: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert was in text
    beside = file.with_suffix(".new")
    beside.write_text(text.replace(was, now, 1), encoding="utf-8")
    beside.replace(file)


def test_an_edit_without_a_fault_is_taken_up_and_one_with_a_fault_is_kept_out(
    files, records, caplog
):
    keeping = Bookkeeping(files / "site.toml", files / "plans", records)
    heard: list[InForce] = []
    keeping.followers.append(heard.append)
    book, site = keeping.book, files / "site.toml"
    title = f'title = "{book.now.site.site.title}"'
    before = book.now
    assert not keeping.refresh()
    assert book.now is before

    edit(site, title, 'title = "Tern Hollow nursery, lower gate"')
    assert keeping.refresh()
    assert book.now.site.site.title == "Tern Hollow nursery, lower gate"
    assert heard == [book.now]

    good = book.now
    edit(site, 'title = "Tern Hollow nursery, lower gate"', "title = 7")
    with caplog.at_level("INFO"):
        assert not keeping.refresh()
        assert not keeping.refresh()
    assert book.now is good
    (fault,) = book.trouble
    assert fault.field == "site.title"
    assert fault.file == str(site)
    assert [one.message for one in caplog.records if "book_kept_out" in one.message] == [
        f"book_kept_out faults=1 first={fault}"
    ]
    with pytest.raises(FilesFaulty, match=r"site\.title"):
        Bookkeeping(site, files / "plans", records)

    # What is entered meanwhile counts all the same, over the last good files.
    seen = Observation(at=instant(0), seen=Seen.WATERED, by="tobin")
    with writing(records) as db:
        enter(db, Entered("MG-07", seen, instant(0)))
    assert keeping.refresh()
    assert book.trouble == (fault,)
    (batch,) = (one for one in book.now.site.batch if one.code == "MG-07")
    assert batch.observation[-1] == seen
    assert book.now.site.site.title == "Tern Hollow nursery, lower gate"

    edit(site, "title = 7", title)
    assert keeping.refresh()
    assert book.trouble == ()
    plan = next((files / "plans").glob("*.toml"))
    plan.write_text("half a pl", encoding="utf-8")
    assert not keeping.refresh()
    assert book.trouble[0].file == str(plan)
    assert heard[-1] is book.now


def test_files_that_clash_with_what_was_entered_are_kept_out_and_the_entry_is_named(files, records):
    keeping = Bookkeeping(files / "site.toml", files / "plans", records)
    form = keeping.book.now.written(Kind.BATCH, "MG-07")
    bench = form["bench"]
    with writing(records) as db:
        body = {**form, "code": "MG-77"}
        number = append(db, Kind.BATCH, "MG-77", body=body, by="a", note="", at=instant(0))
    assert keeping.refresh()
    assert "MG-77" in {one.code for one in keeping.book.now.site.batch}
    good = keeping.book.now
    text = (files / "site.toml").read_text(encoding="utf-8")
    (files / "site.toml").write_text(text.replace(f'"{bench}"', '"elsewhere"'), encoding="utf-8")
    assert not keeping.refresh()
    assert keeping.book.now is good
    (fault,) = keeping.book.trouble
    assert (fault.file, fault.line, fault.field) == ("entered", number, "batch[MG-77].bench")
    assert fault.problem == f'there is no bench "{bench}"'


def test_a_file_that_is_being_written_waits_until_it_stays_the_same(files, records):
    keeping = Bookkeeping(files / "site.toml", files / "plans", records)
    site, title = files / "site.toml", keeping.book.now.site.site.title
    edit(site, f'title = "{title}"', 'title = "Half"')
    assert not keeping.refresh(only_steady=True)
    edit(site, 'title = "Half"', 'title = "Whole"')
    assert not keeping.refresh(only_steady=True)
    assert keeping.refresh(only_steady=True)
    assert keeping.book.now.site.site.title == "Whole"


def test_a_running_one_finds_within_seconds_what_another_process_entered(files, records, tmp_path):
    keeping = Bookkeeping(files / "site.toml", files / "plans", records)
    found, stop = threading.Event(), threading.Event()
    keeping.followers.append(lambda _new: found.set())
    thread = threading.Thread(target=keeping.run, args=(stop,))
    thread.start()
    try:
        program = (
            "import sys; from api.records.session import open_records, writing\n"
            "from api.records.observations import Entered, enter\n"
            "from api.records.tables import instant\n"
            "from rules.model.batch import Observation, Seen\n"
            "seen = Observation(at=instant(0), seen=Seen.WATERED, by='tobin')\n"
            "with writing(open_records(sys.argv[1])) as db:\n"
            "    enter(db, Entered('MG-07', seen, instant(0)))\n"
            "import os, signal; os.kill(os.getpid(), signal.SIGKILL)\n"
        )
        path = str(tmp_path / "records.db")
        ran = subprocess.run([sys.executable, "-c", program, path], check=False, env=os.environ)
        assert ran.returncode == -9
        assert found.wait(20)
    finally:
        stop.set()
        thread.join()
    assert keeping.book.now.known.observations == 1


def test_nothing_is_lost_when_killed_between_entering_and_taking_up(nursery):
    nursery.pass_minutes(0, [DAMP, DRY, DRY, DRY, DRY])
    move_stage(nursery, 4, "closed")
    new = made_anew(nursery)  # what a start over the same files makes of them
    nursery.site = new.site
    after = nursery.anew()
    after.pass_minutes(5, [DRY] * 3)
    with after.db() as db:
        (alarm,) = alarm_history(db, "MG-07", most=9)
        stretches = books_between(db, 0, ANY)
    after.shut()
    assert alarm.ended_at is not None
    assert len(stretches) == 2


def test_a_reader_of_the_book_never_waits_for_the_next_one(files, records):
    """While a new state is made, the old one is read without a lock."""
    keeping = Bookkeeping(files / "site.toml", files / "plans", records)
    old = keeping.book.now
    with keeping._turning:
        assert keeping.book.now is old


def test_a_book_put_in_is_what_all_see(small_site, small_plans):
    from api.book import in_force_of

    first = in_force_of(small_site, small_plans)
    book = Book(first)
    again = compiled(first.base, (), (), first.known)
    assert isinstance(again, InForce)
    assert again.revision == first.revision
    book.put(again)
    assert book.now is again
