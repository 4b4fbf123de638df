"""What is wrong with a batch, in sentences: the worst first, whatever kind of limit it breaks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.drawing.day import instant_of
from api.records.tables import instant
from api.v1.foresight import cover_heat
from api.web.estimates import felt_text
from api.web.pictures import slope_per_hour
from api.web.sums import sum_of, sum_since
from rules.belief import Missing
from rules.model.event import Standing
from rules.model.plan import Side
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from api.parts import Parts
    from api.v1.sight import Present
    from api.web.pictures import DayPicture
    from api.web.telling import Telling
    from api.web.words.en import English
    from rules.evaluator import BatchOutlook, Judged
    from rules.model.alarm import Priority
    from rules.model.batch import Batch
    from rules.outlook import DoseNow

TREND_MIN = 30
TELLS_OF_TO_COME = frozenset({Felt.HOURS_TO_CRITICAL, Felt.EXPECTED_PEAK})
"""Quantities whose own rise or fall tells nothing to a person."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One reason why a batch needs someone, in sentences."""

    what: str
    value: str
    since: str
    todo: str


@dataclass(frozen=True, slots=True)
class Scene:
    """A batch now, and what its sentences are made from."""

    parts: Parts
    batch: Batch
    seen: BatchOutlook
    present: Present
    picture: DayPicture
    telling: Telling


def troubles_of(scene: Scene) -> tuple[Trouble, tuple[str, ...]]:
    """Return the worst thing wrong with a batch, and the others in short."""
    seen = scene.seen
    raised: list[tuple[int, float, Trouble, tuple[str, str]]] = []
    for one in seen.judged:
        if one.raised:
            # Two limits on the same side of one quantity are one trouble: the graver speaks.
            key = (one.limit.quantity.value, one.limit.side.value)
            margin = one.margin if one.margin is not None else 1.0
            raised.append((_urgency(one.limit.priority), margin, _raised(one, scene), key))
    for summed in seen.doses:
        if summed.raised:
            key = (summed.dose.kind.value, f"{summed.dose.quantity} {summed.dose.side}")
            urgency = _urgency(summed.dose.priority)
            raised.append((urgency, _room(summed), _summed(summed, scene), key))
    found: list[Trouble] = []
    told_of: set[tuple[str, str]] = set()
    for _, _, trouble, key in sorted(raised, key=lambda one: one[:2]):
        if key not in told_of:
            told_of.add(key)
            found.append(trouble)
    if seen.blind_to:
        found.insert(0 if seen.standing is Standing.BLIND else len(found), _blind(scene))
    if not found:
        found.append(_drifting(scene))
    worst, *others = found
    return worst, tuple(f"{other.what} {other.value}".strip(" .") for other in others)


def _raised(one: Judged, scene: Scene) -> Trouble:
    limit, telling = one.limit, scene.telling
    words = telling.words
    value, action = "", telling.action(limit)
    if one.value is not None:
        now = felt_text(limit.quantity, one.value, scene.seen, telling)
        moving = _moving(limit.quantity, scene)
        value = f"{now}{f', {moving}' if moving else ''}; {words.should_be(telling.need(limit))}."
    if limit.quantity is Felt.EXPECTED_PEAK:
        action = f"{_shade(one, scene)} {action}".strip()
    since = "" if one.since_minute is None else telling.since(instant_of(one.since_minute))
    return Trouble(f"{words.capital(telling.says(limit))}:", value, since, action)


def _shade(one: Judged, scene: Scene) -> str:
    """Say by when the shade must be up that keeps the heat to come inside the limit."""
    heat = cover_heat(scene.parts.watchlist, scene.present, scene.batch.code)
    for shading in heat.shadings if heat is not None else ():
        if shading.limit.bound == one.limit.bound and shading.before is not None:
            return scene.telling.words.shade_up(scene.telling.soon(shading.before))
    return ""


def _summed(one: DoseNow, scene: Scene) -> Trouble:
    """Say that a sum is beyond its bound; since when it has been tells the alarm."""
    dose, telling = one.dose, scene.telling
    words = telling.words
    value = ""
    if one.total is not None:
        total = f"{sum_of(one, telling)} {sum_since(one, telling)}"
        value = f"{total}; {words.should_be(telling.need(dose))}."
    opened = [
        alarm.opened_at
        for alarm in scene.present.alarms
        if (alarm.batch, alarm.condition) == (scene.batch.code, dose.id) and alarm.ended_at is None
    ]
    since = telling.since(opened[0]) if opened else ""
    what = f"{words.capital(telling.says(dose))}:"
    return Trouble(what, value, since, telling.action(dose))


def _room(one: DoseNow) -> float:
    """Return the room to a sum's bound as a share of it, as margins of limits are."""
    if one.total is None:
        return 1.0
    room = (one.dose.bound - one.total) / one.dose.bound
    return room if one.dose.side is Side.HIGH else -room


def _moving(felt: Felt, scene: Scene) -> str:
    record = scene.picture.batches.get(scene.batch.code)
    if record is None or felt not in record.felt or felt in TELLS_OF_TO_COME:
        return ""
    until = scene.picture.judged_to - scene.picture.day.first_minute
    slope = slope_per_hour(record.felt[felt], until, TREND_MIN)
    if slope is None:
        return ""
    telling = scene.telling
    amount = telling.apart(felt, abs(slope))
    if not any(mark in "123456789" for mark in amount):
        return ""
    return telling.words.moving(slope, amount)


def _blind(scene: Scene) -> Trouble:
    seen, telling = scene.seen, scene.telling
    words = telling.words
    channels = [
        channel
        for felt in seen.blind_to
        if felt in seen.felt and (channel := seen.felt[felt].channel) is not None
    ]
    speaking = dict.fromkeys(channel.partition("/")[0] for channel in channels)
    titles = {sensor.id: sensor.title for sensor in scene.parts.site.sensor}
    ages = [
        age
        for felt in seen.blind_to
        if felt in seen.felt and (age := seen.felt[felt].age_min) is not None
    ]
    last = ""
    if ages:
        heard = telling.now.timestamp() - max(ages) * 60
        last = telling.since(instant(int(heard * 1000)))
    names = [f"{name} ({titles[name]})" if name in titles else name for name in speaking]
    felts = [words.felt[felt] for felt in seen.blind_to]
    why = " ".join(dict.fromkeys(filter(None, (_why(seen, felt, words) for felt in seen.blind_to))))
    return Trouble(f"{words.capital(words.blind_to(felts))}.", why, last, words.blind_action(names))


def _why(seen: BatchOutlook, felt: Felt, words: English) -> str:
    """Say why a quantity can't be seen, where there is more to it than silence."""
    belief = seen.belief_in(felt)
    if belief.missing is Missing.NOT_BELIEVED and belief.failed is not None:
        return f"{words.capital(words.not_believed(words.doubts[belief.failed]))}."
    return words.never_spoke if belief.missing is Missing.NEVER_SPOKE else ""


def _drifting(scene: Scene) -> Trouble:
    seen, telling = scene.seen, scene.telling
    words = telling.words
    pending = [one for one in seen.judged if one.margin is not None and one.margin < 0]
    if pending:
        return _beyond(min(pending, key=lambda one: _urgency(one.limit.priority)), scene)
    for name, minutes in seen.heading:
        one = next((judged for judged in seen.judged if judged.limit.id == name), None)
        if one is not None and one.value is not None:
            limit = one.limit
            now = felt_text(limit.quantity, one.value, seen, telling)
            return Trouble(
                f"{words.capital(words.felt[limit.quantity])} {now},",
                f"{words.heading(minutes)} ({telling.need(limit)}).",
                "",
                telling.action(limit),
            )
    return Trouble(f"{words.capital(words.heading_unknown())}.", "", "", "")


def _beyond(one: Judged, scene: Scene) -> Trouble:
    """Say that a limit is broken, though not for long enough to be an alarm."""
    telling, limit = scene.telling, one.limit
    words = telling.words
    now = ""
    if one.value is not None:
        now = felt_text(limit.quantity, one.value, scene.seen, telling)
    since = "" if one.since_minute is None else telling.since(instant_of(one.since_minute))
    return Trouble(
        f"{words.capital(telling.says(limit))}:",
        f"{now}; {words.should_be(telling.need(limit))}.".lstrip("; "),
        since,
        telling.action(limit),
    )


def _urgency(priority: Priority) -> int:
    return ("high", "medium", "low").index(priority.value)
