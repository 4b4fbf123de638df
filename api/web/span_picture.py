"""Draws a stretch of one quantity for a reader: on the page, and as a picture of fixed size."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from api.drawing.charts import HEIGHT, PLOT, Bound, Frame, Mark
from api.drawing.day import instant_of
from api.drawing.span_chart import Around, Happened, Point, span_chart
from api.drawing.times import Written, marks_along
from api.pictures.sheet import EDGE, WIDTH, in_plain_signs, placed, printed
from api.v1.series import MOST_SHADED_MIN, chosen_points, gaps_of
from api.v1.stretch import speaking_spans
from api.web.day_charts import LEAST_SPAN, MOST_DRAWN_H
from api.web.telling import grave
from api.web.words.charts import chart_words
from rules.local_time import to_local
from rules.model.quantities import Felt
from rules.model.reading import MINUTE_MS
from rules.sun import dark_spans

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from markupsafe import Markup

    from api.drawing.times import TimeMark
    from api.measures import Measure
    from api.v1.stretch import LimitHeld, Stretch
    from api.web.telling import Telling
    from rules.watchlist import BatchWatch

POINTS = 800
"""More than any screen has columns to tell apart, and light on weak Wi-Fi."""
MOST_GAPS = 120
CHART_TOP = 58
PICTURE_HEIGHT = CHART_TOP + HEIGHT + 8
_FROM_ZERO = frozenset({Felt.RESERVE, Felt.HOURS_TO_CRITICAL, Felt.PPFD})


def drawn_on_page(found: Stretch, watched: BatchWatch, telling: Telling, *, span: str) -> Markup:
    """Return the chart as it stands on a page; `span` are the words for its time."""
    return _drawn(found, watched, telling, span=span, fixed=False)


def drawn_as_picture(found: Stretch, watched: BatchWatch, telling: Telling, *, span: str) -> bytes:
    """Return the same chart as PNG."""
    name = telling.words.capital(telling.words.felt[found.felt])
    unit = in_plain_signs(telling.unit(found.felt))
    chart = _drawn(found, watched, telling, span=span, fixed=True)
    return printed(
        f"{found.code}: {name}, {unit}",
        [span],
        placed(chart, y=CHART_TOP, height=HEIGHT),
        top=CHART_TOP,
        height=PICTURE_HEIGHT,
    )


def says(found: Stretch, telling: Telling, *, span: str) -> str:
    """Return in words what the chart shows."""
    words, line = chart_words(telling.words.code), found.line
    name = telling.words.capital(telling.words.felt[found.felt])
    if line.value.size == 0:
        return f"{name}: {words.nothing_here}"
    low, high, last = (
        telling.value(found.felt, float(value))
        for value in (line.low.min(), line.high.max(), line.value[-1])
    )
    gaps = gap_words(found, telling)
    return words.says.format(name=name, span=span, low=low, high=high, last=last, gaps=gaps).strip()


def gap_words(found: Stretch, telling: Telling) -> str:
    """Return how long nothing was seen; "" where there was no gap."""
    gaps = gaps_of(found, most=100_000)
    if not gaps:
        return ""
    lasting = telling.words.lasting(sum(end - start for start, end in gaps) // 1000)
    return chart_words(telling.words.code).seen_share.format(lasting=lasting, count=len(gaps))


def frame_along(first_minute: int, end_minute: int, telling: Telling) -> Frame:
    """Return what all charts of a span share."""
    place, minutes = telling.site.site, end_minute - first_minute

    def along(minute: float) -> float:
        return (minute - first_minute) / minutes

    shaded = minutes <= MOST_SHADED_MIN
    dark = dark_spans(place, first_minute, minutes) if shaded else ()
    now = along(telling.now.timestamp() / 60)
    return Frame(
        dark=tuple((along(a), along(b)) for a, b in dark),
        hours=tuple(
            (along(mark.minute), _time_words(mark, telling))
            for mark in marks_along(first_minute, end_minute, place)
        ),
        now=now if 0.0 < now < 1.0 else None,
        now_words=telling.words.now_mark,
    )


def _time_words(mark: TimeMark, telling: Telling) -> str:
    words, local = telling.words, mark.local
    month = words.months[local.month - 1].removeprefix("de ")[:3]
    if mark.written is Written.MONTH:
        return f"{month} {local.year}" if local.month == 1 else month
    if mark.written is Written.DAY or (local.hour, local.minute) == (0, 0):
        return (
            f"{words.days[local.weekday()]} {local.day}" if _near(mark) else f"{local.day} {month}"
        )
    return f"{local:%H:%M}"


def _near(mark: TimeMark) -> bool:
    return mark.written is Written.CLOCK


def _drawn(
    found: Stretch, watched: BatchWatch, telling: Telling, *, span: str, fixed: bool
) -> Markup:
    measure = telling.measure(found.felt)
    return span_chart(
        _runs(found, measure),
        _around(found, watched, telling, plain=fixed),
        frame_along(found.first_minute, found.end_minute, telling),
        least_span=measure.apart().of(LEAST_SPAN[found.felt]),
        title=telling.words.felt[found.felt],
        describes=says(found, telling, span=span),
        held=(0.0,) if found.felt in _FROM_ZERO else (),
        **({"grid": (5 * (WIDTH - 2 * EDGE), 5 * PLOT)} if fixed else {}),
    )


def _runs(found: Stretch, measure: Measure) -> list[list[Point]]:
    line, chosen = found.line, chosen_points(found, POINTS)
    # A point is drawn in the middle of the time it tells of.
    middle = line.at_ms[chosen.index] / MINUTE_MS + line.step_min / 2
    places = (middle - found.first_minute) / (found.end_minute - found.first_minute)
    top = MOST_DRAWN_H if found.felt is Felt.HOURS_TO_CRITICAL else np.inf
    value, low, high = (
        measure.of_all(np.minimum(row[chosen.index], top)).tolist()
        for row in (line.value, line.low, line.high)
    )
    runs: list[list[Point]] = []
    for place, v, a, b, begins in zip(
        places.tolist(), value, low, high, chosen.begins.tolist(), strict=True
    ):
        if begins or not runs:
            runs.append([])
        runs[-1].append(Point(place, v, a, b))
    return runs


def _around(found: Stretch, watched: BatchWatch, telling: Telling, *, plain: bool) -> Around:
    words = chart_words(telling.words.code)
    return Around(
        gaps=[
            (_share(found, a / MINUTE_MS), _share(found, b / MINUTE_MS))
            for a, b in gaps_of(found, MOST_GAPS)
        ],
        bounds=list(_bounds(found, watched, telling, plain=plain)),
        alarms=[_alarm(found, one.opened_at, one.ended_at, telling) for one in found.alarms],
        stages=list(_stages(found, telling)),
        open_cover=_open_cover(found),
        open_words=words.cover_off,
        seen=[
            Happened(
                _share(found, one.at.timestamp() / 60),
                f"{telling.time(one.at)} {telling.words.seen[one.seen]}",
            )
            for one in found.observations
        ],
    )


def _bounds(
    found: Stretch, watched: BatchWatch, telling: Telling, *, plain: bool
) -> Iterator[Bound]:
    """Yield each limit once for every bound that it had, with all its stretches."""
    pieces: dict[tuple[str, float], list[LimitHeld]] = {}
    for one in found.limits:
        pieces.setdefault((one.limit.id, one.limit.bound), []).append(one)
    short = found.end_minute - found.first_minute <= MOST_SHADED_MIN
    place = telling.site.site
    for same in pieces.values():
        spans: list[tuple[int, int]] = []
        for one in same:
            # Over a season the nights are too narrow to draw: the words say when it speaks.
            whole = ((one.first_minute, one.end_minute),)
            spans += speaking_spans(one, watched, place) if short else whole
        limit = same[0].limit
        words = telling.need(limit)
        yield Bound(
            value=telling.measure(limit.quantity).of(limit.bound),
            side=limit.side,
            words=in_plain_signs(words) if plain else words,
            spans=tuple((_share(found, a), _share(found, b)) for a, b in _touching(spans)),
            grave=grave(limit.priority),
        )


def _touching(spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return spans with those that meet made one."""
    joined: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def _share(found: Stretch, minute: float) -> float:
    place = (minute - found.first_minute) / (found.end_minute - found.first_minute)
    return min(1.0, max(0.0, place))


def _alarm(
    found: Stretch, opened_at: datetime, ended_at: datetime | None, telling: Telling
) -> Mark:
    opened = _share(found, opened_at.timestamp() / 60)
    ended = found.known_to if ended_at is None else ended_at.timestamp() / 60
    return Mark(opened, max(opened, _share(found, ended)), telling.time(opened_at))


def _stages(found: Stretch, telling: Telling) -> Iterator[Happened]:
    before = found.stood[0] if found.stood else None
    for one in found.stood[1:]:
        if before is not None and one.stage is not before.stage and one.stage is not None:
            name = telling.words.stage_names[one.stage]
            yield Happened(_share(found, one.minute), name)
        before = one


def _open_cover(found: Stretch) -> list[tuple[float, float]]:
    """Return where a cover that was on before or after was off."""
    if not any(one.covered for one in found.stood):
        return []
    edges = [*(one.minute for one in found.stood), found.end_minute]
    spans = [
        (edges[place], edges[place + 1])
        for place, one in enumerate(found.stood)
        if not one.covered and one.stage is not None
    ]
    return [(_share(found, a), _share(found, b)) for a, b in _touching(spans)]


def span_words(first_minute: int, end_minute: int, telling: Telling) -> str:
    """Return the words for a span: with times of the clock up to three days, else whole days."""
    start, end = instant_of(first_minute), instant_of(end_minute)
    place = telling.site.site
    days = [telling.day(to_local(at, place).date()) for at in (start, end)]
    words = chart_words(telling.words.code).span
    if end_minute - first_minute > 3 * 1440:
        return words.format(start=days[0], end=days[1])
    clocks = [telling.clock(at) for at in (start, end)]
    if days[0] == days[1]:
        return words.format(start=f"{days[0]} {clocks[0]}", end=clocks[1])
    return words.format(start=f"{days[0]} {clocks[0]}", end=f"{days[1]} {clocks[1]}")
