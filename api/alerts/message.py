"""Turns an alarm into words: one line that fits a text message, then a body. Pure text.

The line starts with the plants and where they stand, never with a code or a cry of alarm.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from api.alerts.cautions import cautions
from api.alerts.figures import clock_time, date_and_time
from api.alerts.guard_phrases import guard_phrases
from api.alerts.measured import first_of, grades_of, says_of, shade_of, story_of, when_of
from api.alerts.pace import pace_of
from api.alerts.phrases import phrases
from api.alerts.telling_phrases import telling_phrases
from api.alerts.told import batch_of, subject_of
from api.measures import FAHRENHEIT
from api.records.runs import Stop
from rules.belief import Missing
from rules.local_time import local_day
from rules.model.alarm import AlarmState, Priority
from rules.model.batch import Cover, Wrap
from rules.model.dose import DoseLimit
from rules.model.plan import Side

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from api.alerts.phrases import Phrases
    from api.alerts.told import Subject
    from api.records.alarms import AlarmRecord
    from api.records.watch import WatchGap
    from rules.belief import Belief
    from rules.model.batch import Batch
    from rules.model.people import Person
    from rules.model.plan import CarePlan
    from rules.model.site import Site

LINE_LENGTH = 160


@dataclass(frozen=True, slots=True)
class MessageText:
    """The words of one message. `line` is at most 160 characters; `body` is plain text."""

    line: str
    body: str


@dataclass(frozen=True, slots=True)
class Addressed:
    """To whom a message speaks, and what they should know of the others.

    `others` are the names of people told of the same thing, `instead_of` the name of someone who
    could not be reached. `now` is the instant at which the message is written. `before` are the
    names of those who were told by earlier steps, none of whom has said that they have it.
    `answer`: the lines that let the person answer without signing in, by alarm; `answer_all` those
    that let them take on everything that the message lists.
    """

    person: Person
    others: tuple[str, ...]
    instead_of: str | None
    now: datetime
    before: tuple[str, ...] = ()
    answer: Mapping[int, Sequence[str]] = field(default_factory=dict)
    answer_all: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Writer:
    """Writes messages for one site. `base_url` is how people reach the pages."""

    site: Site
    plans: Mapping[str, Sequence[CarePlan]]
    base_url: str

    def opened(
        self, alarm: AlarmRecord, to: Addressed, *, belief: Belief | None = None
    ) -> MessageText:
        """Say that something is wrong and what to do first; of blindness, also why if known."""
        words, subject = phrases(to.person.language), subject_of(self.site, self.plans, alarm)
        over = alarm.ended_at is not None
        first = words.look_and_acknowledge if over else first_of(subject, words.code, words)
        whats = self._whats(subject, to, words)
        again = telling_phrases(to.person.language)
        unheard = f" {again.nobody_has_it}" if to.before else ""
        body = [
            *self._introduce(subject.batch, words),
            *self._story(subject, to, words, belief),
            *self._pace(subject, to),
            *self._stage(subject, words),
            words.do_first.format(action=first),
            *((again.told_before.format(names=", ".join(to.before)),) if to.before else ()),
            _told(to, words),
            *to.answer.get(alarm.id, ()),
            *self._link(alarm, words),
            *self._cautions(subject, to),
        ]
        urged = (f"{what}{unheard} {first}" for what in whats)
        lines = (*urged, *(f"{what} {first}" for what in whats), *whats)
        return MessageText(that_fits(*lines), "\n".join(body))

    def closed(self, alarm: AlarmRecord, ended_at: datetime, to: Addressed) -> MessageText:
        """Say that it is over, and whether someone must still acknowledge it."""
        words, subject = phrases(to.person.language), subject_of(self.site, self.plans, alarm)
        place = self.site.site
        over = words.back_inside if subject.blind_to is None else words.blind_over
        if isinstance(subject.asked, DoseLimit) and subject.asked.side is Side.HIGH:
            over = words.sum_ended
        felt = "" if subject.blind_to is None else words.felt[subject.blind_to]
        open_yet = replace(subject, alarm=replace(alarm, ended_at=None))
        what = over.format(
            time=clock_time(ended_at, place, now=to.now, words=words),
            start=clock_time(alarm.since, place, now=to.now, words=words),
            says=says_of(subject, words.code, words),
            felt=felt,
            when=when_of(open_yet, place, now=to.now, words=words),
        )
        waits = alarm.state in {AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED}
        rest = words.still_open_to_acknowledge if waits else words.nothing_to_do
        came_back = [words.came_back] if alarm.ended_at is None else []
        body = [
            *self._introduce(subject.batch, words),
            f"{what[0].upper()}{what[1:]}.",
            *came_back,
            rest,
            *((*to.answer.get(alarm.id, ()), *self._link(alarm, words)) if waits else ()),
        ]
        line = f"{self._plants(alarm.batch, alarm.opened_at, words)}: {what}."
        return MessageText(that_fits(f"{line} {rest}", line), "\n".join(body))

    def unwatched(
        self,
        changed: Sequence[AlarmRecord],
        gap: WatchGap,
        to: Addressed,
        *,
        stop: Stop = Stop.UNKNOWN,
    ) -> MessageText:
        """Say in one message what happened to a batch while nobody watched, the worst first."""
        words, place = phrases(to.person.language), self.site.site
        urgency = list(Priority)
        worst_first = sorted(
            changed, key=lambda alarm: (alarm.ended_at is not None, urgency.index(alarm.priority))
        )
        nobody = words.nobody_watched.format(
            start=clock_time(gap.start, place, now=to.now, words=words),
            end=clock_time(gap.end, place, now=to.now, words=words),
        )
        subjects = [subject_of(self.site, self.plans, alarm) for alarm in worst_first]
        worst = subjects[0]
        over = worst.alarm.ended_at is not None
        first = words.look_at_batch if over else first_of(worst, words.code, words)
        whats = [f"{what} {nobody}" for what in self._whats(worst, to, words)]
        more = words.and_more.format(count=len(subjects) - 1) if len(subjects) > 1 else ""
        body = [
            *self._introduce(worst.batch, words),
            words.nobody_watched_long.format(
                start=date_and_time(gap.start, place, words),
                end=date_and_time(gap.end, place, words),
                why=guard_phrases(words.code).stopped[stop.value],
            ),
            *(self._entry(subject, to, words) for subject in subjects),
            words.do_first.format(action=first),
            _told(to, words),
            *(line for alarm in worst_first for line in to.answer.get(alarm.id, ())),
            *self._cautions(worst, to),
        ]
        ends = (f" {first} {more}", f" {first}")
        lines = (*(f"{what}{end}" for what in whats for end in ends), whats[-1])
        return MessageText(that_fits(*lines), "\n".join(body))

    def held(
        self, waited: Sequence[AlarmRecord], to: Addressed, *, beside: Sequence[MessageText] = ()
    ) -> MessageText:
        """Say in one message what could wait for the end of quiet hours or for the morning.

        `beside` are the messages of what waited too and is about no batch: their lines are listed.
        """
        words, waits = phrases(to.person.language), telling_phrases(to.person.language)
        urgency = list(Priority)
        in_order = sorted(
            waited, key=lambda alarm: (alarm.ended_at is not None, urgency.index(alarm.priority))
        )
        subjects = [subject_of(self.site, self.plans, alarm) for alarm in in_order]
        many = len(subjects) + len(beside)
        more = words.and_more.format(count=many - 1) if many > 1 else ""
        listed = [f"{text.line}\n{_rest(text)}" for text in beside]
        if not subjects:
            first = beside[0].line
            fitting = (f"{first} {waits.held_line} {more}", f"{first} {more}", first)
            return MessageText(that_fits(*fitting), "\n".join((waits.held_long, *listed)))
        worst = subjects[0]
        over = worst.alarm.ended_at is not None
        first = words.look_and_acknowledge if over else first_of(worst, words.code, words)
        body = [waits.held_long]
        for subject in subjects:
            plants = self._plants(subject.alarm.batch, subject.alarm.opened_at, words)
            body += [f"{plants}:", self._entry(subject, to, words)]
            body += to.answer.get(subject.alarm.id, ())
        body += listed
        body += self._cautions(worst, to)
        whats = self._whats(worst, to, words)
        lines = (
            *(f"{what} {waits.held_line} {first} {more}" for what in whats),
            *(f"{what} {waits.held_line} {more}" for what in whats),
            f"{whats[-1]} {more}",
        )
        return MessageText(that_fits(*lines), "\n".join(body))

    def bare(self, batch: str, alarm_id: int | None, person: Person) -> MessageText:
        """Say that a batch needs someone, for when nothing more can be put into words."""
        words = phrases(person.language)
        link = f"{self.base_url}/alarms" + ("" if alarm_id is None else f"/{alarm_id}")
        line = f"{batch}: {words.look_at_batch}"
        return MessageText(line, f"{line}\n{words.look_here.format(link=link)}")

    def _cautions(self, subject: Subject, to: Addressed) -> list[str]:
        language, place = to.person.language, self.site.site
        return cautions(subject, place, to.now, language=language, base_url=self.base_url)

    def _entry(self, subject: Subject, to: Addressed, words: Phrases) -> str:
        over = subject.alarm.ended_at is not None
        entry = words.meanwhile.format(
            says=grades_of(subject, to.person, words)[0],
            when=when_of(subject, self.site.site, now=to.now, words=words),
            action="" if over else first_of(subject, words.code, words),
        )
        return f"{entry.strip()}\n  {self.base_url}/alarms/{subject.alarm.id}"

    def _plants(self, code: str, at: datetime, words: Phrases) -> str:
        """Return label and place: "MG-07 mango under bag, bench 2"."""
        batch = batch_of(self.site, code)
        if batch is None:
            return code
        cover = words.cover[batch.cover] if batch.covered_at(at) else ""
        if batch.cover is Cover.NONE and batch.wrap is Wrap.STRETCH_FILM:
            cover = words.in_film
        label = " ".join(part for part in (code, batch.species, cover) if part)
        bench = next((bench.title for bench in self.site.bench if bench.id == batch.bench), "")
        return f"{label}, {bench}" if bench else label

    def _whats(self, subject: Subject, to: Addressed, words: Phrases) -> tuple[str, ...]:
        """Return where, what and since when as a sentence, from the fullest to the barest."""
        place = self.site.site
        plants = self._plants(subject.alarm.batch, subject.alarm.opened_at, words)
        when = when_of(subject, place, now=to.now, words=words)
        shade = shade_of(subject, place, now=to.now, words=words)
        grades = grades_of(subject, to.person, words)
        whole = tuple(f"{plants}: {said} {when}." for said in grades)
        shaded = tuple(f"{one} {shade}" for one in whole) if shade else ()
        return (*shaded, *whole, f"{plants}: {grades[-1]}.")

    def _introduce(self, batch: Batch | None, words: Phrases) -> list[str]:
        if batch is None:
            return []
        bench = next((bench for bench in self.site.bench if bench.id == batch.bench), None)
        house = next((h for h in self.site.house if bench and h.id == bench.house), None)
        plants = words.plants.format(
            code=batch.code,
            species=batch.species,
            cultivar=batch.cultivar,
            count=batch.count,
            method=words.method[batch.method],
        )
        if bench is None or house is None:
            return [plants]
        where = words.where.format(bench=bench.title, house=house.title, site=self.site.site.title)
        return [plants, where]

    def _story(
        self, subject: Subject, to: Addressed, words: Phrases, belief: Belief | None
    ) -> list[str]:
        alarm, place = subject.alarm, self.site.site
        since = date_and_time(alarm.since, place, words)
        lines = []
        if subject.blind_to is not None:
            felt = words.felt[subject.blind_to]
            time = clock_time(alarm.since, place, now=to.now, words=words)
            lines += [
                words.what_blind.format(felt=felt, time=time),
                *_why(belief, words),
                words.blind_checks,
            ]
        lines += story_of(subject, to.person, place, now=to.now, words=words)
        lines.append(words.since_when.format(when=since))
        if alarm.ended_at is not None:
            lines.append(words.ended_when.format(when=date_and_time(alarm.ended_at, place, words)))
        lines.append(words.priority_is.format(how_soon=words.priority[alarm.priority]))
        return lines

    def _pace(self, subject: Subject, to: Addressed) -> list[str]:
        person = to.person
        fahrenheit = person.temperature_unit == FAHRENHEIT
        language, place = person.language, self.site.site
        return pace_of(subject, place, now=to.now, language=language, fahrenheit=fahrenheit)

    def _stage(self, subject: Subject, words: Phrases) -> list[str]:
        batch = subject.batch
        if batch is None or subject.stage is None:
            return []
        day = (local_day(subject.alarm.opened_at, self.site.site) - batch.grafted_on).days
        return [words.stage_is.format(stage=words.stage[subject.stage], day=day)]

    def _link(self, alarm: AlarmRecord, words: Phrases) -> list[str]:
        return [words.look_here.format(link=f"{self.base_url}/alarms/{alarm.id}")]


def _why(belief: Belief | None, words: Phrases) -> list[str]:
    """Say why nothing is seen, where a probe speaks but is not believed, or never spoke."""
    if belief is None:
        return []
    if belief.missing is Missing.NOT_BELIEVED and belief.failed is not None:
        return [words.not_believed.format(why=words.doubts[belief.failed])]
    return [words.never_spoke] if belief.missing is Missing.NEVER_SPOKE else []


def _told(to: Addressed, words: Phrases) -> str:
    told = words.told_only_you
    if to.others:
        told = words.told_others.format(others=", ".join(to.others))
    if to.instead_of is None:
        return told
    return f"{told} {words.instead_of.format(person=to.instead_of)}"


def _rest(text: MessageText) -> str:
    """Return a message without what its line has said."""
    return "\n".join(text.body.splitlines()[1:])


def that_fits(*lines: str) -> str:
    """Return the first line that fits; if none does, the last one, ended early between words."""
    for line in lines:
        if len(line.strip()) <= LINE_LENGTH:
            return line.strip()
    return f"{lines[-1][: LINE_LENGTH - 1].rsplit(' ', 1)[0]}…"
