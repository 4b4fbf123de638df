"""Turns an alarm of the tool itself into words: one line that fits a text message, then a body.

The same sentences stand on the pages, so that a message and a page never say two things.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from api.alerts.caution_words import caution_words
from api.alerts.cautions import is_night, said_in
from api.alerts.figures import clock_time, date_and_time, lasting
from api.alerts.guard_phrases import NEAR_WATER, guard_phrases
from api.alerts.message import MessageText, that_fits
from api.alerts.phrases import phrases
from api.alerts.telling_phrases import telling_phrases
from api.records.guarded import guarded_sign
from api.records.particulars import Particulars
from rules.model.alarm import Priority
from rules.vital_delays import sign_of
from rules.vital_signs import SEVERAL, Sign

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import datetime

    from api.alerts.guard_phrases import GuardPhrases
    from api.alerts.message import Addressed
    from api.records.alarms import AlarmRecord
    from rules.model.people import Person
    from rules.model.site import Site
    from rules.vital_signs import Finding

BLINDING = frozenset({Sign.BROKER, Sign.ARRIVALS, Sign.HUB, Sign.SENSOR, Sign.KEEPING})
"""What leaves batches without readings; the others are said by what they are."""

UNDATED = frozenset(
    {
        Sign.WATCH,
        Sign.ALERTS,
        Sign.CLOCK_UNSET,
        Sign.BATTERY,
        Sign.DISK_LOW,
        Sign.DISK_OUT,
        Sign.BACKUP,
    }
)
"""What says by its own words for how long it is so, or of which the figure says more."""

_DAYS_FROM_H = 48.0


@dataclass(frozen=True, slots=True)
class Notice:
    """What is wrong with the tool, as it was found; `since` in UTC."""

    sign: Sign
    subject: str
    priority: Priority
    since: datetime
    figure: float | None
    known: Particulars


def noticed(alarm: AlarmRecord) -> Notice | None:
    """Return what an alarm says of the tool; None for that of a batch or of a way."""
    found = guarded_sign(alarm.condition)
    if found is None:
        return None
    return Notice(*found, alarm.priority, alarm.since, alarm.value, alarm.particulars)


def place_of(notice: Notice, site: Site) -> str:
    """Return where it is: the house, else the nursery."""
    house = notice.subject
    if notice.sign in {Sign.SENSOR, Sign.DEVICE_CLOCK, Sign.BATTERY}:
        house = _house_of_sensor(site, notice.subject) or ""
    return next((one.title for one in site.house if one.id == house), site.site.title)


def what_of(
    notice: Notice, site: Site, language: str, *, now: datetime, blind: Collection[str] = ()
) -> str:
    """Return what is wrong and since when, and what can't be seen because of it.

    "nothing has come from the hub since 22:54; 4 batches can't be seen". `blind` are the batches
    that an alarm calls blind now.
    """
    words, said = guard_phrases(language), phrases(language)
    what = _filled(words.signs[notice.sign].what, notice, site, language, now=now)
    if notice.sign is Sign.HUB and notice.subject == SEVERAL:
        what = words.hub_several.format(count=len(notice.known.sensors))
    if notice.sign not in UNDATED:
        time = clock_time(notice.since, site.site, now=now, words=said)
        what = f"{what} {words.since.format(time=time)}"
    unseen = _unseen(notice, words, blind)
    return f"{what}; {unseen}" if unseen else what


def todo_of(notice: Notice, language: str) -> str:
    """Return what to do first."""
    return guard_phrases(language).signs[notice.sign].do


def detail_of(notice: Notice, site: Site, language: str) -> tuple[str, ...]:
    """Return which sensors are silent, which plants to look at, and what the part itself says."""
    words = guard_phrases(language)
    titles = {one.id: one.title for one in site.sensor}
    silent = [f"{titles.get(one, one)} ({one})" for one in notice.known.sensors]
    many = len(silent) > 1 and notice.sign in BLINDING
    blinding = notice.sign in BLINDING or notice.sign in {Sign.WATCH, Sign.RECORDS}
    codes = ", ".join(notice.known.batches) if blinding else ""
    return (
        *((words.sensors.format(names=", ".join(silent)),) if many else ()),
        *((words.go_and_look.format(codes=codes),) if codes else ()),
        *((words.part_says.format(said=notice.known.said),) if notice.known.said else ()),
    )


def guard_opened(
    alarm: AlarmRecord, to: Addressed, *, site: Site, base_url: str, blind: Collection[str]
) -> MessageText | None:
    """Return the message that something is wrong with the tool; None for another alarm."""
    notice = noticed(alarm)
    if notice is None:
        return None
    language = to.person.language
    said, again = phrases(language), telling_phrases(language)
    text = _text(notice, to.person, site=site, now=to.now, blind=blind, unheard=bool(to.before))
    told = said.told_only_you
    if to.others:
        told = said.told_others.format(others=", ".join(to.others))
    if to.instead_of is not None:
        told = f"{told} {said.instead_of.format(person=to.instead_of)}"
    body = [
        *text.body.splitlines(),
        *((again.told_before.format(names=", ".join(to.before)),) if to.before else ()),
        told,
        *to.answer.get(alarm.id, ()),
        said.look_here.format(link=f"{base_url}/alarms/{alarm.id}"),
        *_cautions(notice, site, to.now, language, base_url=base_url),
    ]
    return MessageText(text.line, "\n".join(body))


def guard_closed(
    alarm: AlarmRecord, ended_at: datetime, to: Addressed, *, site: Site
) -> MessageText | None:
    """Return the message that it is over; None for another alarm."""
    notice = noticed(alarm)
    if notice is None:
        return None
    return _over(notice, to.person, site=site, ended_at=ended_at, now=to.now)


def words_of_finding(
    finding: Finding, person: Person, *, site: Site, base_url: str, now: datetime
) -> MessageText:
    """Return the message of a finding that is told without the outbox, and says so."""
    notice = Notice(
        finding.sign,
        finding.subject,
        finding.priority,
        now - timedelta(seconds=finding.since_ago_s),
        finding.figure,
        Particulars(sensors=finding.sensors, batches=finding.batches, said=finding.said),
    )
    text = _text(notice, person, site=site, now=now, blind=(), unheard=False)
    body = [
        *text.body.splitlines(),
        guard_phrases(person.language).by_hand,
        base_url,
        *_cautions(notice, site, now, person.language, base_url=base_url),
    ]
    return MessageText(text.line, "\n".join(body))


def words_of_over(key: str, person: Person, *, site: Site, now: datetime) -> MessageText:
    """Return the message that a finding is over which was told without the outbox."""
    sign = sign_of(key) or Sign.RECORDS
    notice = Notice(sign, key.partition(".")[2], Priority.HIGH, now, None, Particulars())
    return _over(notice, person, site=site, ended_at=now, now=now)


def _over(
    notice: Notice, person: Person, *, site: Site, ended_at: datetime, now: datetime
) -> MessageText:
    words, said = guard_phrases(person.language), phrases(person.language)
    over = _filled(words.signs[notice.sign].over, notice, site, person.language, now=now)
    time = clock_time(ended_at, site.site, now=now, words=said)
    when = words.since.format(time=time)
    if notice.since < ended_at:
        start = clock_time(notice.since, site.site, now=now, words=said)
        when = words.over_since.format(time=time, start=start)
    line = f"{place_of(notice, site)}: {over} {when}."
    rest = said.nothing_to_do
    return MessageText(that_fits(f"{line} {rest}", line), f"{line}\n{rest}")


def _text(
    notice: Notice,
    person: Person,
    *,
    site: Site,
    now: datetime,
    blind: Collection[str],
    unheard: bool,
) -> MessageText:
    language = person.language
    words, said, again = guard_phrases(language), phrases(language), telling_phrases(language)
    place = place_of(notice, site)
    what = what_of(notice, site, language, now=now, blind=blind)
    do = todo_of(notice, language)
    bare = what.partition("; ")[0] if notice.known.batches else what
    unheard_said = f" {again.nobody_has_it}" if unheard else ""
    lines = (
        f"{place}: {what}.{unheard_said} {do}",
        f"{place}: {what}. {do}",
        f"{place}: {bare}. {do}",
        f"{place}: {what}.",
        f"{place}: {bare}.",
    )
    body = [
        f"{_capital(what)}.",
        words.where.format(site=site.site.title, place=place)
        if place != site.site.title
        else f"{place}.",
        said.since_when.format(when=date_and_time(notice.since, site.site, said)),
        *detail_of(notice, site, language),
        said.priority_is.format(how_soon=said.priority[notice.priority]),
        said.do_first.format(action=do),
    ]
    return MessageText(that_fits(*lines), "\n".join(body))


def _cautions(
    notice: Notice, site: Site, now: datetime, language: str, *, base_url: str
) -> list[str]:
    care = caution_words(language)
    lines = [care.night] if is_night(now, site.site) else []
    if notice.sign in NEAR_WATER:
        lines.append(care.mains)
    return said_in(care, lines, base_url=base_url)


def _unseen(notice: Notice, words: GuardPhrases, blind: Collection[str]) -> str:
    if notice.sign not in BLINDING or not notice.known.batches:
        return ""
    now = [code for code in notice.known.batches if code in blind]
    if now:
        return _counted(now, words.unseen, words.unseen_one)
    return _counted(notice.known.batches, words.at_risk, words.at_risk_one)


def _counted(codes: Sequence[str], many: str, one: str) -> str:
    return one.format(code=codes[0]) if len(codes) == 1 else many.format(count=len(codes))


def _filled(text: str, notice: Notice, site: Site, language: str, *, now: datetime) -> str:
    words, said = guard_phrases(language), phrases(language)
    figure = notice.figure or 0.0
    titles = {one.id: one.title for one in site.sensor}
    minutes = max(1, round(abs(figure) / 60))
    length = lasting(minutes, said)
    stood = max(1, round((now - notice.since).total_seconds() / 60))
    free = f"{figure / 1e9:.1f} GB" if figure >= 1e9 else f"{figure / 1e6:.0f} MB"
    if notice.sign is Sign.DISK_OUT and notice.known.said == "inodes":
        free = words.inodes
    return text.format(
        subject=titles.get(notice.subject, notice.subject),
        off=(words.behind if figure > 0 else words.ahead).format(lasting=length),
        jump=(words.forward if figure > 0 else words.back).format(lasting=length),
        volts=f"{figure:g}".replace(".", said.decimal_mark),
        waiting=f"{figure:.0f}",
        free=free.replace(".", said.decimal_mark),
        full=_full(notice, words),
        lasting=lasting(stood, said),
    )


def _full(notice: Notice, words: GuardPhrases) -> str:
    hours = notice.known.lasts_h
    if hours is None or hours > 24 * 365:
        return ""
    if hours >= _DAYS_FROM_H:
        return words.full_in_days.format(count=round(hours / 24))
    return words.full_in_hours.format(count=max(1, round(hours)))


def _house_of_sensor(site: Site, sensor: str) -> str | None:
    found = next((one for one in site.sensor if one.id == sensor), None)
    if found is None or not found.position:
        return None
    bench = {one.id: one.house for one in site.bench}
    batch = {one.code: one.bench for one in site.batch}
    last = found.position[-1]
    if last.cover_of is not None:
        return bench.get(batch.get(last.cover_of, ""))
    return bench.get(last.bench) if last.bench is not None else last.house


def _capital(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"
