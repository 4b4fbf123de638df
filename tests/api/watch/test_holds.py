"""Alarms that are held: nothing that happens meanwhile is lost, and what is still true alarms."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import event

from api.records.alarms import (
    NothingToAcknowledge,
    acknowledge,
    alarm_history,
    changes_of,
    standing_alarms,
)
from api.records.outbox import MessageKind, newest_messages
from api.records.session import writing
from api.records.watch import load_position
from api.records.works import InHandAlready, WorkOver, end_work, works_in_hand
from api.watch.ground import Ground, work_named
from api.watch.holding import let_alarm_go, shelve_alarm, take_alarm_out
from api.watch.working import WorkNotPossible, begin
from rules.alarms import CueOutOfPlaceError
from rules.evaluator import watchlist
from rules.model.alarm import BY_PERSON, AlarmState, Cue
from rules.model.reading import MINUTE_MS, Reading
from rules.model.work import WorkKind

DRY, DAMP = 71.0, 95.0


def ground_of(nursery):
    return Ground(nursery.site, watchlist(nursery.site, nursery.plans))


def shelved(nursery, minutes=5, why="probe being dried"):
    with writing(nursery.records) as db:
        (alarm,) = standing_alarms(db)
        return shelve_alarm(
            db,
            alarm.id,
            ground=ground_of(nursery),
            by="corvin",
            at=nursery.clock.now(),
            why=why,
            minutes=minutes,
        )


def begun(nursery, kind=WorkKind.COVER_OPEN, place="MG-07", minutes=10):
    with writing(nursery.records) as db:
        now = nursery.clock.now()
        return begin(db, nursery.site, kind, place=place, who="corvin", at=now, minutes=minutes)


def cues(nursery, number=0):
    with nursery.db() as db:
        alarm = alarm_history(db, most=10)[number]
        return [(change.cue, change.after) for change in changes_of(db, alarm.id)]


def kinds(nursery):
    with nursery.db() as db:
        return [m.kind for m in reversed(newest_messages(db, most=50))]


def newest(nursery):
    with nursery.db() as db:
        return alarm_history(db, most=1)[0]


def test_a_shelf_that_runs_out_alarms_again_if_it_is_still_dry(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    held = shelved(nursery)
    assert held.state is AlarmState.SHELVED
    assert held.held_until - nursery.clock.now() == timedelta(minutes=5)
    nursery.pass_minutes(4, [DRY] * 7)  # shelved at 02:05:30 for five minutes; 02:10 began before
    assert newest(nursery).state is AlarmState.SHELVED
    nursery.pass_minutes(11, [DRY])
    again = newest(nursery)
    assert (again.id, again.state) == (held.id, AlarmState.UNACKNOWLEDGED)
    assert (again.held_by, again.held_until, again.held_why) == (None, None, None)
    assert cues(nursery)[-2:] == [
        (Cue.SHELVED, AlarmState.SHELVED),
        (Cue.SHELF_RAN_OUT, AlarmState.UNACKNOWLEDGED),
    ]
    assert kinds(nursery) == [MessageKind.OPENED, MessageKind.OPENED]


def test_what_happens_on_the_shelf_is_kept_and_a_danger_missed_there_waits(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    shelved(nursery, minutes=12)
    nursery.pass_minutes(4, [*[DAMP] * 2, *[60.0] * 3, *[DAMP] * 3, *[DAMP] * 7])
    happened = cues(nursery)
    assert [cue for cue, _ in happened] == [
        Cue.RAISED,
        Cue.SHELVED,
        Cue.CLEARED,
        Cue.RAISED,
        Cue.CLEARED,
        Cue.SHELF_RAN_OUT,
    ]
    assert {state for _, state in happened[2:5]} == {AlarmState.SHELVED}
    assert newest(nursery).state is AlarmState.RETURNED_UNACKNOWLEDGED
    assert kinds(nursery) == [MessageKind.OPENED]


def test_a_shelf_on_which_nothing_happened_leaves_nothing_behind(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    shelved(nursery)
    nursery.pass_minutes(4, [DAMP] * 10)
    assert newest(nursery).state is AlarmState.NORMAL


def test_a_person_takes_it_up_again_before_time(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    held = shelved(nursery)
    with writing(nursery.records) as db, pytest.raises(NothingToAcknowledge):
        acknowledge(db, held.id, by="corvin", at=nursery.clock.now())
    with writing(nursery.records) as db:
        now = nursery.clock.now()
        up = let_alarm_go(db, held.id, ground=ground_of(nursery), by="isaura", at=now, note="dry")
    assert up.state is AlarmState.UNACKNOWLEDGED
    with nursery.db() as db:
        last = changes_of(db, held.id)[-1]
    assert (last.cue, last.by, last.note) == (Cue.UNSHELVED, "isaura", "dry")
    assert kinds(nursery) == [MessageKind.OPENED, MessageKind.OPENED]


def test_what_is_held_cannot_be_shelved_again(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    shelved(nursery)
    with pytest.raises(CueOutOfPlaceError):
        shelved(nursery)


def test_the_next_occurrence_of_a_past_alarm_can_be_shelved(nursery):
    nursery.pass_minutes(0, [*[DRY] * 4, *[DAMP] * 3])
    with writing(nursery.records) as db:
        past = acknowledge(db, 1, by="corvin", at=nursery.clock.now())
        assert past.state is AlarmState.NORMAL
        held = shelve_alarm(
            db,
            past.id,
            ground=ground_of(nursery),
            by="corvin",
            at=nursery.clock.now(),
            why="probe wet",
            minutes=30,
        )
    assert held.id != past.id
    nursery.pass_minutes(7, [DRY] * 4)
    after = newest(nursery)
    assert (after.id, after.state, after.ended_at) == (held.id, AlarmState.SHELVED, None)
    with nursery.db() as db:
        assert alarm_history(db, most=9)[1].value == DRY


def test_out_of_service_it_tells_nobody_until_a_person_puts_it_back(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    with writing(nursery.records) as db:
        now = nursery.clock.now()
        out = take_alarm_out(db, 1, by="isaura", at=now, why="probe broken")
    assert (out.state, out.held_by, out.held_why) == (
        AlarmState.OUT_OF_SERVICE,
        "isaura",
        "probe broken",
    )
    nursery.pass_minutes(4, [*[DAMP] * 3, *[DRY] * 30])
    assert newest(nursery).state is AlarmState.OUT_OF_SERVICE
    assert kinds(nursery) == [MessageKind.OPENED]
    with writing(nursery.records) as db:
        now = nursery.clock.now()
        back = let_alarm_go(db, 1, ground=ground_of(nursery), by="isaura", at=now)
    assert back.state is AlarmState.UNACKNOWLEDGED
    assert cues(nursery)[-1] == (Cue.PUT_BACK, AlarmState.UNACKNOWLEDGED)


def test_what_happened_to_an_alarm_is_only_ever_added_to(nursery):
    said: list[str] = []

    def note(_connection, _cursor, statement, *_rest) -> None:
        said.append(statement)

    event.listen(nursery.records, "before_cursor_execute", note)
    ground = ground_of(nursery)
    nursery.pass_minutes(0, [DRY] * 4)
    shelved(nursery)
    with writing(nursery.records) as db:
        let_alarm_go(db, 1, ground=ground, by="isaura", at=nursery.clock.now())
    with writing(nursery.records) as db:
        acknowledge(db, 1, by="corvin", at=nursery.clock.now())
    with writing(nursery.records) as db:
        take_alarm_out(db, 1, by="isaura", at=nursery.clock.now(), why="probe broken")
    nursery.pass_minutes(4, [*[DAMP] * 3, *[DRY] * 4])
    with writing(nursery.records) as db:
        let_alarm_go(db, 1, ground=ground, by="isaura", at=nursery.clock.now())
    nursery.pass_minutes(11, [DAMP] * 3)
    touching = [one for one in said if "alarm_changes" in one and not one.startswith("SELECT")]
    assert len(touching) == len(cues(nursery)) == 9
    assert {one.split()[0] for one in touching} == {"INSERT"}
    with nursery.db() as db:
        kept = changes_of(db, 1)
    assert [one.id for one in kept] == sorted(one.id for one in kept)
    assert all(one.at.tzinfo is not None for one in kept)
    assert {one.cue: one.by for one in kept if one.cue in BY_PERSON} == {
        Cue.SHELVED: "corvin",
        Cue.UNSHELVED: "isaura",
        Cue.ACKNOWLEDGED: "corvin",
        Cue.TAKEN_OUT: "isaura",
        Cue.PUT_BACK: "isaura",
    }


def test_dry_air_under_an_opened_cover_is_kept_and_told_only_once_the_work_is_over(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    work = begun(nursery, minutes=8)
    nursery.pass_minutes(2, [DRY] * 9)
    held = newest(nursery)
    assert held.state is AlarmState.SUPPRESSED_BY_DESIGN
    assert work_named(held.held_why) == work.id
    assert [cue for cue, _ in cues(nursery)] == [Cue.SUPPRESSED, Cue.RAISED]
    assert kinds(nursery) == []
    nursery.pass_minutes(11, [DRY] * 2)
    assert newest(nursery).state is AlarmState.UNACKNOWLEDGED
    assert cues(nursery)[-1][0] is Cue.SUPPRESSION_ENDED
    assert kinds(nursery) == [MessageKind.OPENED]


def test_what_came_right_before_the_work_was_over_tells_nobody(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    work = begun(nursery)
    nursery.pass_minutes(2, [*[DRY] * 6, *[DAMP] * 2])
    with writing(nursery.records) as db:
        end_work(db, work.id, by="corvin", at=nursery.clock.now())
        with pytest.raises(WorkOver):
            end_work(db, work.id, by="corvin", at=nursery.clock.now())
    nursery.pass_minutes(10, [DAMP] * 4)
    assert newest(nursery).state is AlarmState.NORMAL
    assert [cue for cue, _ in cues(nursery)][-2:] == [Cue.CLEARED, Cue.SUPPRESSION_ENDED]
    assert kinds(nursery) == []


def test_work_on_one_cover_holds_nothing_of_another_back(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    begun(nursery, place="AV-09")
    nursery.pass_minutes(2, [DRY] * 6)
    assert newest(nursery).state is AlarmState.UNACKNOWLEDGED


def test_blindness_is_held_back_only_while_that_sensor_is_calibrated(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    begun(nursery, kind=WorkKind.CALIBRATING, place="bag-7", minutes=60)
    nursery.pass_minutes(2, [None] * 12)
    held = newest(nursery)
    assert (held.condition, held.state) == (
        "blind.relative_humidity",
        AlarmState.SUPPRESSED_BY_DESIGN,
    )
    assert kinds(nursery) == []


def test_heat_is_told_though_the_cover_is_open_on_purpose(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    begun(nursery)
    for minute in range(2, 8):
        nursery.keep_air(minute, {"AV_09": DAMP})
        hot(nursery, minute)
        nursery.close(minute)
    with nursery.db() as db:
        (alarm,) = [one for one in standing_alarms(db) if one.condition == "heat"]
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    assert kinds(nursery) == [MessageKind.OPENED]


def hot(nursery, minute, temperature=44.0):
    with nursery.db() as db:
        began = load_position(db).began_minute
    at_ms = (began + minute) * MINUTE_MS + 20_000
    nursery.store.keep(
        [Reading("bag-7/humidity", at_ms, DAMP), Reading("bag-7/air", at_ms, temperature)]
    )


def test_the_worst_value_is_kept_with_the_alarm_and_with_each_change(nursery):
    nursery.pass_minutes(0, [DRY, 66.0, DRY, 64.5, DRY, *[DAMP] * 3])
    alarm = newest(nursery)
    assert (alarm.value, alarm.worst) == (DRY, 64.5)
    nursery.pass_minutes(8, [*[70.0] * 4, *[DAMP] * 3])
    assert newest(nursery).worst == 64.5  # nobody has looked yet: the worst of both times
    with nursery.db() as db:
        values = [change.value for change in changes_of(db, alarm.id)]
    assert values == [DRY, 64.5, 70.0, 70.0]


def test_of_heat_the_worst_is_the_hottest_of_all_times(nursery):
    for minute, temperature in enumerate([*[44.0] * 3, *[25.0] * 3, *[40.0] * 3, *[25.0] * 3]):
        nursery.keep_air(minute, {"AV_09": DAMP})
        hot(nursery, minute, temperature)
        nursery.close(minute)
    alarm = newest(nursery)
    assert (alarm.condition, alarm.value, alarm.worst) == ("heat", 40.0, 44.0)


def test_the_same_work_is_begun_once_and_ends_by_itself(nursery):
    begun(nursery)
    with pytest.raises(InHandAlready):
        begun(nursery)
    nursery.clock.turn_by(timedelta(minutes=10))
    with nursery.db() as db:
        assert works_in_hand(db, nursery.clock.now()) == ()
    begun(nursery)


@pytest.mark.parametrize(
    ("kind", "place", "minutes", "says"),
    [
        (WorkKind.COVER_OPEN, "ZZ-99", 10, "MG-07"),
        (WorkKind.WASHING, "MG-07", 10, "h1"),
        (WorkKind.CALIBRATING, "bag-7", 0, "1 to 1440"),
        (WorkKind.COVER_OPEN, "MG-07", 121, "1 to 120"),
    ],
)
def test_work_that_is_not_possible_is_refused_with_what_is(nursery, kind, place, minutes, says):
    with pytest.raises(WorkNotPossible, match=says):
        begun(nursery, kind=kind, place=place, minutes=minutes)


def test_a_restart_in_the_middle_of_work_changes_nothing(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    begun(nursery, minutes=8)
    nursery.pass_minutes(2, [DRY] * 5)
    after = nursery.anew()
    after.pass_minutes(7, [DRY] * 6)
    assert [cue for cue, _ in cues(after)] == [Cue.SUPPRESSED, Cue.RAISED, Cue.SUPPRESSION_ENDED]
    after.shut()


def test_work_holds_back_the_same_minutes_when_they_are_judged_after_an_outage(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    begun(nursery, minutes=8)
    for minute in range(2, 22):
        nursery.keep(minute, MG_07=DRY)
    after = nursery.anew()
    after.close(21)
    happened = cues(after)
    assert [cue for cue, _ in happened] == [Cue.SUPPRESSED, Cue.RAISED, Cue.SUPPRESSION_ENDED]
    assert kinds(after) == [MessageKind.UNWATCHED]
    after.shut()
