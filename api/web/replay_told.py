"""What a replay came to, in words and pictures: the same figures as the command prints."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from api.drawing.ribbon import ribbon
from api.drawing.span_chart import Around, Point, span_chart
from api.web.day_charts import LEAST_SPAN
from api.web.span_picture import frame_along, span_words
from api.web.telling import asked_of, blind_felt
from api.web.words.replay import replay_words
from collector.files.telling import safe
from rules.model.dose import DoseLimit
from rules.model.event import Standing
from rules.model.plan import plan_of
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from markupsafe import Markup

    from api.parts import Parts
    from api.replays.pressed import Drawn
    from api.replays.state import Outcome, Replay
    from api.replays.told import AlarmTold, BatchTold
    from api.web.telling import Telling
    from rules.model.batch import Batch
    from rules.model.plan import Limit

MOST_ALARMS = 100
MOST_DRAWN = 24
"""Ribbons on one page, so that it stays light on weak Wi-Fi; the figures are there for all."""
_WORST_FIRST = (Standing.IN_DANGER, Standing.STRAINED, Standing.BLIND, Standing.DRIFTING)


@dataclass(frozen=True, slots=True)
class BatchRow:
    """One batch over the replay. `ribbon` and `water` are drawn, None where they are not."""

    code: str
    kind: str
    worst: str
    stood: str
    blind: str
    facts: tuple[str, ...]
    ribbon: Markup | None
    water: Markup | None


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """One alarm, in words."""

    batch: str
    what: str
    opened: str
    ended: str
    worst: str


@dataclass(frozen=True, slots=True)
class ToldPage:
    """All that the page says of a replay that is done."""

    answer: str
    how: str
    hours: tuple[str, ...]
    batches: tuple[BatchRow, ...]
    alarms: tuple[AlarmRow, ...]
    more_alarms: str
    messages: tuple[str, ...]
    figures: str


def told_page(replay: Replay, outcome: Outcome, parts: Parts, telling: Telling) -> ToldPage:
    """Say what a replay came to."""
    words, told = replay_words(telling.words.code), outcome.told
    span = span_words(outcome.first_minute, outcome.end_minute, telling)
    alarms = told["alarms"]
    how = words.told_as[told["as_it_happened"]]
    if replay.asked.files:
        how = words.every_reading
    if outcome.lost:
        how = f"{how} {words.book_lost}"
    in_order = sorted(told["batches"].items(), key=lambda pair: _severity(pair[1]))
    frame = frame_along(outcome.first_minute, outcome.end_minute, telling)
    left_out = len(alarms) - MOST_ALARMS
    return ToldPage(
        answer=(words.done if alarms else words.done_quiet).format(count=len(alarms), span=span),
        how=how,
        hours=tuple(text for _, text in frame.hours),
        batches=tuple(
            _batch(code, one, outcome, parts, telling, drawn=place < MOST_DRAWN)
            for place, (code, one) in enumerate(in_order)
        ),
        alarms=tuple(_alarm(one, parts, telling) for one in alarms[:MOST_ALARMS]),
        more_alarms=words.more_alarms.format(count=left_out) if left_out > 0 else "",
        messages=tuple(
            words.message_ways[name].format(
                said=", ".join(
                    f"{telling.person(person)} {count}" for person, count in people.items()
                )
            )
            for name, people in told["messages"].items()
        ),
        figures=f"/api/v1/replays/{replay.number}",
    )


def _severity(one: BatchTold) -> tuple[int, ...]:
    return tuple(-one["minutes"].get(standing.value, 0) for standing in _WORST_FIRST)


def _batch(
    code: str, one: BatchTold, outcome: Outcome, parts: Parts, telling: Telling, *, drawn: bool
) -> BatchRow:
    words = replay_words(telling.words.code)
    batch = next((each for each in parts.site.batch if each.code == code), None)
    stood = ", ".join(
        words.stood.format(
            standing=telling.standing(None if name == "unwatched" else Standing(name)),
            lasting=telling.words.lasting(minutes * 60),
        )
        for name, minutes in one["minutes"].items()
    )
    # A batch stays in danger while nobody sees it: then it is not called blind, nor was it seen.
    unseen = outcome.drawn[code].unseen_min
    said: list[str] = []
    if one["blind_min"]:
        said.append(words.blind_for.format(lasting=telling.words.lasting(one["blind_min"] * 60)))
    if unseen > one["blind_min"]:
        said.append(words.no_value.format(lasting=telling.words.lasting(unseen * 60)))
    if not said and set(one["minutes"]) != {"unwatched"}:
        said.append(words.never_blind)
    worst = next((each.value for each in _WORST_FIRST if one["minutes"].get(each.value)), "steady")
    pressed = outcome.drawn.get(code) if drawn else None
    return BatchRow(
        code=code,
        kind="" if batch is None else telling.kind(batch),
        worst=worst,
        stood=stood,
        blind=" ".join(said),
        facts=tuple(dict.fromkeys(_facts(one, batch, parts, telling))),
        ribbon=None if pressed is None else _ribbon(code, stood, pressed, outcome, telling),
        water=None if pressed is None else _water(pressed, outcome, telling),
    )


def _facts(one: BatchTold, batch: Batch | None, parts: Parts, telling: Telling) -> Iterator[str]:
    words = replay_words(telling.words.code)
    low = one["reserve_low_pct"]
    if low is not None:
        value = telling.value(Felt.RESERVE, low["value"])
        yield words.water.format(value=value, when=_when(low["at"], telling))
    for name, most in one["doses_most"].items():
        if most["value"] <= 0:
            continue
        at = datetime.fromisoformat(most["at"])
        asked = _asked(batch, name, at, parts)
        what, value = safe(name), telling.words.number(most["value"], 2)
        if isinstance(asked, DoseLimit):
            what, value = telling.summed(asked), telling.total(asked.kind, most["value"])
        yield words.sums.format(what=what, value=value, when=telling.time(at))


def _ribbon(code: str, stood: str, pressed: Drawn, outcome: Outcome, telling: Telling) -> Markup:
    words = replay_words(telling.words.code)
    span = span_words(outcome.first_minute, outcome.end_minute, telling)
    frame = frame_along(outcome.first_minute, outcome.end_minute, telling)
    describes = words.ribbon.format(code=code, span=span, stood=stood)
    return ribbon(pressed.ribbon, None, dark=frame.dark, title=code, describes=describes)


def _water(pressed: Drawn, outcome: Outcome, telling: Telling) -> Markup | None:
    """Return the chart of the least reserve of each column; nothing is drawn over a gap."""
    if not pressed.water_seen:
        return None
    values = pressed.reserve_pct
    seen = np.isfinite(values)
    count = values.size
    runs: list[list[Point]] = []
    gaps: list[tuple[float, float]] = []
    edges = np.flatnonzero(np.diff(np.concatenate(([False], seen, [False])).astype(np.int8)))
    known = list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
    before = 0
    for start, end in known:
        if start > before:
            gaps.append((before / count, start / count))
        runs.append([_point(place, count, float(values[place])) for place in range(start, end)])
        before = end
    if before < count:
        gaps.append((before / count, 1.0))
    words = replay_words(telling.words.code)
    span = span_words(outcome.first_minute, outcome.end_minute, telling)
    around = Around(gaps, (), (), (), (), "", ())
    return span_chart(
        _thinned(runs, count),
        around,
        frame_along(outcome.first_minute, outcome.end_minute, telling),
        least_span=LEAST_SPAN[Felt.RESERVE],
        title=words.water_chart,
        describes=f"{words.water_chart}, {span}",
        held=(0.0,),
    )


def _point(place: int, count: int, value: float) -> Point:
    return Point((place + 0.5) / count, value, value, value)


def _thinned(runs: Sequence[list[Point]], count: int) -> list[list[Point]]:
    """Keep the least of each few points: no screen tells more apart."""
    few = max(1, count // 400)
    return [
        [
            min(run[start : start + few], key=lambda one: one.value)
            for start in range(0, len(run), few)
        ]
        for run in runs
    ]


def _alarm(one: AlarmTold, parts: Parts, telling: Telling) -> AlarmRow:
    words = replay_words(telling.words.code)
    at = datetime.fromisoformat(one["opened"])
    batch = next((each for each in parts.site.batch if each.code == one["batch"]), None)
    felt = blind_felt(one["condition"])
    asked = None if felt is not None else _asked(batch, one["condition"], at, parts)
    what, worst = safe(one["condition"]), ""
    if felt is not None:
        what = telling.words.blind_to([telling.words.felt[felt]])
    elif asked is not None:
        what = telling.says(asked)
        if one["worst"] is not None:
            worst = _value(asked, one["worst"], telling)
    held = "" if one["rang"] else f" ({words.held_back})"
    return AlarmRow(
        batch=one["batch"],
        what=f"{telling.words.capital(what)}{held}",
        opened=telling.time(at),
        ended=words.still if one["ended"] is None else _when(one["ended"], telling),
        worst=worst,
    )


def _value(asked: Limit | DoseLimit, value: float, telling: Telling) -> str:
    if isinstance(asked, DoseLimit):
        return telling.total(asked.kind, value)
    return telling.value(asked.quantity, value)


def _asked(
    batch: Batch | None, condition: str, at: datetime, parts: Parts
) -> Limit | DoseLimit | None:
    if batch is None or batch.plan not in parts.plans:
        return None
    return asked_of(plan_of(parts.plans, batch.plan, at), batch, condition, at)


def _when(text: str, telling: Telling) -> str:
    return telling.time(datetime.fromisoformat(text))
