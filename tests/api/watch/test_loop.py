"""The watch over a real store and real records: what opens, what goes out, what survives."""

from __future__ import annotations

import threading
import zlib
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import update

from api.book import revision_of
from api.records.alarms import (
    NothingToAcknowledge,
    acknowledge,
    alarm_history,
    changes_of,
    standing_alarms,
)
from api.records.outbox import MessageKind, newest_messages
from api.records.session import writing
from api.records.states import unpacked
from api.records.tables import watch_position
from api.records.watch import (
    WatchMovedOn,
    late_readings,
    load_position,
    save_position,
    standing_history,
    watch_gaps_newest,
)
from rules.cells import block_of
from rules.evaluator import start, sweep, watchlist
from rules.model.alarm import AlarmState, Cue
from rules.model.event import ConditionClosed, ConditionOpened, Standing, StandingChanged
from rules.model.reading import MINUTE_MS, Reading

if TYPE_CHECKING:
    from collections.abc import Sequence

DRY, DAMP = 71.0, 95.0


def minutes(nursery, *instants) -> list[int]:
    first = first_minute(nursery)
    return [int(at.timestamp()) // 60 - first for at in instants]


def first_minute(nursery) -> int:
    with nursery.db() as db:
        return load_position(db).began_minute


def test_a_bag_that_stays_dry_opens_one_alarm_and_tells_the_night_hand(nursery):
    nursery.pass_minutes(0, [DAMP, DAMP, *[DRY] * 8])
    with nursery.db() as db:
        (alarm,) = standing_alarms(db)
        (message,) = newest_messages(db, most=10)
    assert (alarm.batch, alarm.condition) == ("MG-07", "air-dry")
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    assert alarm.value == DRY
    assert minutes(nursery, alarm.since, alarm.opened_at) == [2, 4]
    assert (message.person, message.kind) == ("corvin", MessageKind.OPENED)
    assert message.alarm_id == alarm.id


def test_a_cell_waits_for_late_readings_before_it_is_closed(nursery):
    nursery.keep(0)
    nursery.clock.turn_by(timedelta(seconds=60 + 89))
    assert nursery.watch.turn() == 0
    nursery.clock.turn_by(timedelta(seconds=1))
    assert nursery.watch.turn() == 1
    assert nursery.watch.turn() == 0


def test_an_alarm_that_ends_unseen_waits_for_someone(nursery):
    nursery.pass_minutes(0, [*[DRY] * 4, *[DAMP] * 4])
    with nursery.db() as db:
        (alarm,) = standing_alarms(db)
        kinds = [m.kind for m in reversed(newest_messages(db, most=10))]
    assert alarm.state is AlarmState.RETURNED_UNACKNOWLEDGED
    assert alarm.ended_at is not None
    assert kinds == [MessageKind.OPENED, MessageKind.CLOSED]


def test_dry_again_before_anyone_looked_is_the_same_alarm_told_again(nursery):
    nursery.pass_minutes(0, [*[DRY] * 4, *[DAMP] * 4, *[DRY] * 4])
    with nursery.db() as db:
        (alarm,) = alarm_history(db, most=10)
        cues = [change.cue for change in changes_of(db, alarm.id)]
        kinds = [m.kind for m in reversed(newest_messages(db, most=10))]
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    assert alarm.ended_at is None
    assert minutes(nursery, alarm.since) == [8]
    assert cues == [Cue.RAISED, Cue.CLEARED, Cue.RAISED]
    assert kinds == [MessageKind.OPENED, MessageKind.CLOSED, MessageKind.OPENED]


def test_dry_again_after_someone_looked_is_a_new_alarm(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    with writing(nursery.records) as db:
        (alarm,) = standing_alarms(db)
        seen = acknowledge(db, alarm.id, by="corvin", at=nursery.clock.now())
    assert seen.state is AlarmState.ACKNOWLEDGED
    nursery.pass_minutes(4, [*[DAMP] * 4, *[DRY] * 4])
    with nursery.db() as db:
        newest, oldest = alarm_history(db, most=10)
    assert oldest.state is AlarmState.NORMAL
    assert (oldest.acknowledged_by, newest.state) == ("corvin", AlarmState.UNACKNOWLEDGED)


def test_acknowledging_twice_says_that_nothing_is_left(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    with writing(nursery.records) as db:
        (alarm,) = standing_alarms(db)
        acknowledge(db, alarm.id, by="corvin", at=nursery.clock.now())
    with writing(nursery.records) as db, pytest.raises(NothingToAcknowledge) as told:
        acknowledge(db, alarm.id, by="isaura", at=nursery.clock.now())
    assert told.value.state is AlarmState.ACKNOWLEDGED
    assert told.value.alarm.acknowledged_by == "corvin"


def test_a_silent_probe_is_an_alarm_and_the_batch_is_never_called_steady(nursery):
    nursery.pass_minutes(0, [DAMP, *[None] * 12])
    with nursery.db() as db:
        alarm = next(a for a in standing_alarms(db) if a.batch == "MG-07")
        first = first_minute(nursery)
        said = standing_history(db, "MG-07", first_minute=first, end_minute=first + 99)
    assert alarm.condition == "blind.relative_humidity"
    assert alarm.value is None
    assert said[-1].after is Standing.BLIND


def test_a_reading_for_a_closed_minute_is_marked_late_and_changes_nothing(nursery):
    nursery.pass_minutes(0, [DAMP] * 3)
    late_ms = (first_minute(nursery) + 1) * MINUTE_MS + 40_000
    nursery.store.keep([Reading("bag-7/humidity", late_ms, 5.0)])
    nursery.pass_minutes(3, [DAMP] * 3)
    with nursery.db() as db:
        first = first_minute(nursery)
        (mark,) = late_readings(db, first_minute=first, end_minute=first + 99)
        assert standing_alarms(db) == ()
    assert (mark.channel, mark.at_ms, mark.minute) == ("bag-7/humidity", late_ms, first + 1)


def test_a_late_reading_leaves_a_state_that_the_next_start_can_read(nursery):
    nursery.pass_minutes(0, [DAMP] * 6)
    late_ms = (first_minute(nursery) + 1) * MINUTE_MS + 40_000
    nursery.store.keep([Reading("bag-7/humidity", late_ms, 5.0)])
    nursery.watch.turn()
    with nursery.db() as db:
        kept = load_position(db)
    assert unpacked(kept.state).minute == kept.next_minute - 1


def test_readings_from_before_the_watch_began_are_not_late(nursery):
    early_ms = (first_minute(nursery) - 5) * MINUTE_MS
    nursery.store.keep([Reading("bag-7/humidity", early_ms, 5.0)])
    nursery.pass_minutes(0, [DAMP] * 3)
    with nursery.db() as db:
        assert late_readings(db, first_minute=0, end_minute=1 << 40) == ()


def test_readings_kept_before_the_first_start_count_for_minutes_to_come(open_nursery, postbox):
    from api.alerts.channels import Channels

    nursery = open_nursery(Channels(None, "watch@small.example.invalid", reach={}))
    for minute in range(4):
        nursery.keep(minute, MG_07=DRY)
    assert nursery.watch.turn() == 0
    nursery.close(3)
    with nursery.db() as db:
        assert [a.batch for a in standing_alarms(db)] == ["MG-07"]


def test_a_restart_between_any_two_minutes_changes_nothing(nursery):
    course = [DAMP, DRY, DRY, DRY, DRY, DAMP, DAMP, DAMP, DRY, DRY, DRY, DRY]
    running = nursery
    for minute, value in enumerate(course):
        running.keep(minute, MG_07=value)
        running.keep_air(minute + 2, {"AV_09": 94.0}, second=50)
        running.close(minute)
        after = running.anew()
        running.shut()
        running = after
    with running.db() as db:
        (alarm,) = alarm_history(db, most=10)
        cues = [change.cue for change in changes_of(db, alarm.id)]
        late = late_readings(db, first_minute=0, end_minute=1 << 40)
    running.shut()
    assert cues == [Cue.RAISED, Cue.CLEARED, Cue.RAISED]
    assert late == ()


def test_after_an_outage_the_missed_minutes_are_judged_and_one_message_tells_of_them(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    course = [*[DRY] * 5, *[DAMP] * 5, *[DRY] * 30]
    for minute, value in enumerate(course, 2):
        nursery.keep(minute, MG_07=value)
    after = nursery.anew()
    assert after.close(41) == 40
    with after.db() as db:
        (gap,) = watch_gaps_newest(db, most=5)
        (alarm,) = alarm_history(db, most=10)
        cues = [change.cue for change in changes_of(db, alarm.id)]
        (message,) = newest_messages(db, most=10)
        late = late_readings(db, first_minute=0, end_minute=1 << 40)
    assert minutes(after, gap.start, gap.end) == [2, 42]
    assert cues == [Cue.RAISED, Cue.CLEARED, Cue.RAISED]
    assert (message.kind, message.batch, message.gap_id) == (
        MessageKind.UNWATCHED,
        "MG-07",
        gap.id,
    )
    assert message.person == "corvin"
    assert late == ()
    after.pass_minutes(42, [DAMP] * 3)
    with after.db() as db:
        kinds = [m.kind for m in newest_messages(db, most=9)]
        assert kinds == [MessageKind.CLOSED, MessageKind.UNWATCHED]
        assert len(watch_gaps_newest(db, most=5)) == 1
    after.shut()


def test_a_quiet_outage_is_noted_and_tells_nobody(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    for minute in range(2, 30):
        nursery.keep(minute)
    nursery.close(29)
    with nursery.db() as db:
        assert len(watch_gaps_newest(db, most=5)) == 1
        assert newest_messages(db, most=5) == ()


def test_who_heard_of_it_in_the_message_about_an_outage_hears_that_it_is_over(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    for minute in range(2, 30):
        nursery.keep(minute, MG_07=DRY)
    nursery.close(29)
    nursery.pass_minutes(30, [DAMP] * 4)
    with nursery.db() as db:
        kinds = [(m.kind, m.person) for m in reversed(newest_messages(db, most=9))]
    assert kinds == [(MessageKind.UNWATCHED, "corvin"), (MessageKind.CLOSED, "corvin")]


@pytest.mark.parametrize(
    "unreadable",
    [b"", b"none", zlib.compress(b'{"of": "old"}'), zlib.compress(b'{"minute": "old"}')],
)
def test_a_state_that_cannot_be_read_does_not_stop_the_watch(nursery, unreadable: bytes):
    nursery.pass_minutes(0, [DRY] * 4)
    with writing(nursery.records) as db:
        db.execute(update(watch_position).values(state=unreadable))
    after = nursery.anew()
    after.pass_minutes(4, [DRY] * 4)
    with after.db() as db:
        (alarm,) = alarm_history(db, most=9)
        changes = changes_of(db, alarm.id)
    after.shut()
    assert [change.cue for change in changes] == [Cue.RAISED, Cue.CLEARED, Cue.RAISED]
    assert "judged anew" in str(changes[1].note)
    assert alarm.ended_at is None


def test_a_plan_edited_between_two_starts_closes_what_no_longer_applies(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    ((plan,),) = nursery.plans.values()
    (stage, entry) = next(iter(plan.stage.items()))
    without = plan.model_copy(
        update={"stage": {stage: entry.model_copy(update={"limit": entry.limit[1:]})}}
    )
    nursery.plans = {plan.id: (without,)}
    after = nursery.anew()
    after.pass_minutes(4, [DRY] * 2)
    with after.db() as db:
        (alarm,) = standing_alarms(db)
        position = load_position(db)
    after.shut()
    assert alarm.state is AlarmState.RETURNED_UNACKNOWLEDGED
    assert position.revision == revision_of(nursery.site, nursery.plans)


def test_who_was_told_before_an_outage_hears_that_it_ended_in_it(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    for minute in range(4, 5 * 60):
        nursery.keep(minute)
    nursery.close(5 * 60 - 1)  # 07:00: the lead is on duty
    with nursery.db() as db:
        told = [m.person for m in newest_messages(db, most=9) if m.kind is MessageKind.UNWATCHED]
    assert sorted(told) == ["corvin", "isaura"]


def test_two_watches_cannot_close_the_same_minute(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    with nursery.db() as db:
        behind = load_position(db)
    nursery.pass_minutes(2, [DAMP])
    with pytest.raises(WatchMovedOn), writing(nursery.records) as db:
        save_position(db, behind, moved_from=behind)


def test_live_says_what_a_replay_of_the_same_readings_less_the_late_ones_says(nursery, rng):
    first = first_minute(nursery)
    course = [float(v) for v in rng.choice([70.0, 79.9, 80.0, 82.0, 82.1, 95.0], size=90)]
    length = len(course)
    for minute, value in enumerate(course):
        nursery.keep_air(minute, {"MG_07": value if minute % 17 else None, "AV_09": 90.0})
        nursery.close(minute)
        if minute > 3 and minute % 5 == 0:
            nursery.keep_air(minute - 3, {"MG_07": 1.0}, second=57)
            nursery.keep_air(minute + 2, {"AV_09": 60.0}, second=3)
    with nursery.db() as db:
        late = {(m.channel, m.at_ms) for m in late_readings(db, first_minute=0, end_minute=1 << 40)}
        live = _said_live(db, nursery.site, first, length)
    kept = nursery.store.span(
        tuple(nursery.site.channels), first * MINUTE_MS, (first + length) * MINUTE_MS
    )
    as_it_happened = [r for r in kept if (r.channel, r.at_ms) not in late]
    watched = watchlist(nursery.site, nursery.plans)
    block = block_of(nursery.site, first, length, as_it_happened)
    _, events, _ = sweep(watched, start(watched), block)
    assert len(late) == 2 * len([m for m in range(length) if m > 3 and m % 5 == 0])
    assert any(isinstance(event, ConditionClosed) for event in events)
    assert live == sorted(_plain(event) for event in events)


def _said_live(db, site, first: int, length: int) -> Sequence[tuple[str, ...]]:
    said = []
    for alarm in alarm_history(db, most=1000):
        for change in changes_of(db, alarm.id):
            minute = int(change.at.timestamp()) // 60
            said.append((str(minute), alarm.batch, alarm.condition, change.cue.value))
    for batch in site.batch:
        changes = standing_history(db, batch.code, first_minute=first, end_minute=first + length)
        said += [_plain(change) for change in changes]
    return sorted(said)


def _plain(event: ConditionOpened | ConditionClosed | StandingChanged) -> tuple[str, ...]:
    match event:
        case ConditionOpened():
            return (str(event.minute), event.batch, event.condition, "raised")
        case ConditionClosed():
            return (str(event.minute), event.batch, event.condition, "cleared")
        case StandingChanged():
            return (str(event.minute), event.batch, "standing", str(event.after))


def test_a_fault_is_said_and_tried_again_and_the_watch_goes_on(nursery):
    nursery.pass_minutes(0, [DAMP] * 2)
    nursery.store.close()
    stop = threading.Event()
    thread = threading.Thread(target=nursery.watch.run, args=(stop,))
    thread.start()
    try:
        waited = threading.Event()
        for _ in range(100):
            if nursery.watch.last_error is not None:
                break
            waited.wait(0.05)
        assert "StoreFailure" in str(nursery.watch.last_error)
        assert thread.is_alive()
    finally:
        stop.set()
        thread.join(timeout=10)
    assert not thread.is_alive()
