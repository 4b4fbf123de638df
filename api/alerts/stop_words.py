"""One message about a time in which nobody watched: how long, why, and what came of it by batch."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.alerts.caution_words import caution_words
from api.alerts.cautions import is_night, said_in
from api.alerts.figures import clock_time, date_and_time, lasting
from api.alerts.guard_phrases import guard_phrases
from api.alerts.message import MessageText, that_fits
from api.alerts.phrases import phrases
from api.alerts.told import blind_felt
from rules.model.alarm import Priority

if TYPE_CHECKING:
    from collections.abc import Sequence

    from api.alerts.message import Addressed, Writer
    from api.records.alarms import AlarmRecord
    from api.records.runs import Stop
    from api.records.watch import WatchGap

_MOST_NAMED = 3


def stop_words(
    changed: Sequence[AlarmRecord], gap: WatchGap, stop: Stop, to: Addressed, *, writer: Writer
) -> MessageText:
    """Say how long nobody watched and why, and list what opened or ended in that time."""
    said, words = phrases(to.person.language), guard_phrases(to.person.language)
    place = writer.site.site
    length = lasting(max(1, round((gap.end - gap.start).total_seconds() / 60)), said)
    nobody = words.stop_line.format(
        site=place.title,
        start=clock_time(gap.start, place, now=to.now, words=said),
        end=clock_time(gap.end, place, now=to.now, words=said),
        lasting=length,
    )
    urgency = list(Priority)
    order = sorted(
        changed, key=lambda one: (one.ended_at is not None, urgency.index(one.priority), one.batch)
    )
    codes = list(dict.fromkeys(one.batch for one in order))
    named = ", ".join(codes[:_MOST_NAMED])
    first = words.stop_do.format(codes=named) if codes else words.stop_nothing
    came = words.stop_some.format(count=len(codes)) if codes else words.stop_none
    unseen = sorted({one.batch for one in changed if blind_felt(one.condition) is not None})
    care = caution_words(to.person.language)
    cautions = said_in(care, [care.night], base_url=writer.base_url)
    body = [
        nobody,
        words.stop_long.format(why=words.stopped[stop.value]),
        f"{date_and_time(gap.start, place, said)} – {date_and_time(gap.end, place, said)}",
        came,
        *((words.stop_unseen.format(codes=", ".join(unseen)),) if unseen else ()),
        *((words.stop_listed,) if order else ()),
        *(f"- {writer.opened(one, to).line}\n  {writer.base_url}/alarms/{one.id}" for one in order),
        said.do_first.format(action=first),
        *(cautions if codes and is_night(to.now, place) else ()),
    ]
    lines = (f"{nobody} {came} {first}", f"{nobody} {came}", nobody)
    return MessageText(that_fits(*lines), "\n".join(body))
