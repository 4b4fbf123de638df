"""What both sheets say beside the batches, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.alerts.caution_words import caution_words
from api.alerts.figures import date_shown
from api.alerts.measured import says_of
from api.alerts.telling_phrases import telling_phrases
from api.alerts.told import subject_of
from api.night_sheet.told import Item, Section
from api.records.ways import failed_way_in
from rules.belief import Missing
from rules.local_time import NOON, earliest_instant, local_day, to_local
from rules.model.alarm import HELD, AlarmState
from rules.model.people import EMAIL
from rules.model.work import WorkPlace
from rules.work_in_hand import PLACES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from api.night_sheet.sheet import Around, Doubt
    from api.night_sheet.voice import Voice
    from api.records.alarms import AlarmRecord
    from rules.doubt import QualityTest
    from rules.due import Due
    from rules.model.people import Person
    from rules.model.work import Work
    from rules.rota import Duty


def section(name: str, items: Sequence[Item], voice: Voice) -> Section:
    """Return a section by its name, under its title."""
    return Section(name, voice.words.sections[name], tuple(items), voice.words.nothing)


def beside(around: Around, voice: Voice, *, night: bool) -> tuple[Section, ...]:
    """Return the sections on alarms that stand, work, doubts, checks and duty."""
    standing = [_alarm(one, voice) for one in around.standing]
    return (
        *((section("alarms", standing, voice),) if night else ()),
        section("works", [Item(_work(one, voice), ()) for one in around.works], voice),
        section("doubts", _doubts(around.doubts, voice), voice),
        section("due", [_due(code, due, voice) for code, due in around.due], voice),
        section("duty", [_hours(one, around, voice) for one in around.duty], voice),
    )


def alarm_says(one: AlarmRecord, voice: Voice) -> str:
    """Return what was wrong, with the batch, or with the way that failed."""
    failed = failed_way_in(voice.site, one.condition)
    if failed is not None:
        words = telling_phrases(voice.language)
        way = words.email if failed[1] == EMAIL else failed[1]
        time, name = voice.time(one.since), voice.person(failed[0])
        return words.way_line.format(name=name, way=way, time=time).split(".")[0]
    subject = subject_of(voice.site, voice.plans, one)
    says = says_of(subject, voice.language, voice.phrases)
    return voice.words.alarm.format(batch=one.batch, says=says, time=voice.time(one.since))


def cautions(voice: Voice, *, night: bool) -> tuple[str, ...]:
    """Return what whoever goes must mind, alone and by night; the rules of the place come first."""
    care = caution_words(voice.language)
    by_night = (f"- {care.night}",) if night else ()
    return (care.take_care, *by_night, f"- {care.water}", care.local)


def held_line(one: AlarmRecord, voice: Voice) -> str:
    """Say why an alarm tells nobody; "" for one that does."""
    words, why = voice.words, one.held_why or ""
    if one.state is AlarmState.SHELVED and one.held_until is not None:
        until, name = voice.time(one.held_until), voice.person(one.held_by)
        return words.shelved.format(time=until, name=name, why=why)
    return words.held.format(why=why) if one.state in HELD else ""


def answer_line(one: AlarmRecord, voice: Voice) -> str:
    """Say who answered an alarm, and how long after it opened."""
    words = voice.words
    if one.acknowledged_by is None or one.acknowledged_at is None:
        return words.unanswered
    took = int((one.acknowledged_at - one.opened_at).total_seconds() // 60)
    name = voice.person(one.acknowledged_by)
    return words.answered.format(name=name, lasting=voice.lasting(max(0, took)))


def _alarm(one: AlarmRecord, voice: Voice) -> Item:
    line = held_line(one, voice) or answer_line(one, voice)
    return Item(alarm_says(one, voice), (line,), batch=one.batch)


def _work(one: Work, voice: Voice) -> str:
    names: dict[str, str] = {}
    if PLACES[one.kind] is WorkPlace.HOUSE:
        names = {house.id: house.title for house in voice.site.house}
    elif PLACES[one.kind] is WorkPlace.SENSOR:
        names = {sensor.id: sensor.title for sensor in voice.site.sensor}
    return voice.words.work.format(
        kind=voice.words.work_kind[one.kind],
        place=names.get(one.place, one.place),
        name=voice.person(one.who),
        time=voice.time(one.over),
    )


def _doubts(doubts: Sequence[Doubt], voice: Voice) -> list[Item]:
    """Return one line for each doubt, those of one channel about several quantities as one."""
    said: dict[str, Item] = {}
    for one in doubts:
        line = _doubt(one, voice)
        said.setdefault(line, Item(line, (), batch=one.batch))
    return list(said.values())


def _doubt(one: Doubt, voice: Voice) -> str:
    words, belief = voice.words, one.belief
    filled = {"batch": one.batch, "felt": voice.felt(one.felt), "channel": _sensor(one, voice)}
    if one.channel is None or belief.missing in {Missing.NOT_IN_FILE, Missing.NOT_WORKED_OUT}:
        return words.doubt_blind.format(**filled)
    if belief.failed is not None:
        return words.doubt_failed.format(why=_test(belief.failed, voice), **filled)
    if belief.missing is not None:
        return words.doubt_missing.format(**filled)
    if belief.suspect is not None:
        return words.doubt_suspect.format(why=_test(belief.suspect, voice), **filled)
    return words.doubt_calibration.format(**filled)


def _sensor(one: Doubt, voice: Voice) -> str:
    sensor = (one.channel or "").partition("/")[0]
    return next((each.title for each in voice.site.sensor if each.id == sensor), sensor)


def _test(test: QualityTest, voice: Voice) -> str:
    return voice.phrases.doubts.get(test, test.name.lower())


def _due(code: str, due: Due, voice: Voice) -> Item:
    place, says = voice.site.site, due.says.in_language(voice.language)
    today = local_day(voice.now, place)
    if not due.overdue_days(today):
        return Item(voice.words.due.format(batch=code, says=says), (), batch=code)
    day = date_shown(earliest_instant(due.due_on, NOON, place), place, voice.phrases)
    return Item(voice.words.overdue.format(batch=code, says=says, day=day), (), batch=code)


def _hours(one: Duty, around: Around, voice: Voice) -> Item:
    words, place = voice.words, voice.site.site
    start, end = (f"{to_local(at, place):%H:%M}" for at in (one.start, one.end))
    names = ", ".join(person.name for person in one.people)
    said = (words.on_duty if one.by_shift else words.nobody).format(
        start=start, end=end, names=names
    )
    backups = ", ".join(_reached(person, around, voice) for person in one.backups)
    return Item(
        said,
        (
            *(_reached(person, around, voice) for person in one.people),
            words.backup.format(names=backups) if backups else words.no_backup,
        ),
    )


def _reached(person: Person, around: Around, voice: Voice) -> str:
    """Return a person with the names of their ways; addresses are secrets and stand nowhere."""
    words = voice.words
    email = telling_phrases(voice.language).email
    ways = []
    for way in person.ways:
        name = email if way == EMAIL else way
        failing = (person.id, way) in around.failing
        ways.append(words.way_failing.format(way=name) if failing else name)
    return f"{person.name} {words.by.format(ways='; '.join(ways))}" if ways else person.name
