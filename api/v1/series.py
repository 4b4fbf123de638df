"""One quantity of a batch over any span, from an hour to years, with all that held and happened."""

from __future__ import annotations

from datetime import date
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Path, Query
from pydantic import AwareDatetime, BaseModel

from api.drawing.thinning import MOST_POINTS, gaps_in, nearest_joined, thinned
from api.records.session import reading
from api.records.tables import as_ms, instant
from api.v1.light_sums import LightSums
from api.v1.lines import MOST_BY_MINUTE, MOST_MIN, Told, can_be_told, told_by
from api.v1.named import batch_named
from api.v1.problems import Problem
from api.v1.stretch import stretch_of
from rules.model.alarm import AlarmState, Priority
from rules.model.batch import Seen, Stage
from rules.model.plan import FilmState, Side, When
from rules.model.quantities import FELT_SHOWN, Felt
from rules.model.reading import MINUTE_MS, minute_of
from rules.sun import dark_spans

if TYPE_CHECKING:
    from api.drawing.thinning import Thinned
    from api.parts import Parts
    from api.v1.sight import Sight
    from api.v1.stretch import LimitHeld, Stretch
    from rules.model.place import Place

LEAST_POINTS = 400
MOST_GAPS = 1000
MOST_SHADED_MIN = 14 * 1440
"""A span no longer than this is told with its dark hours."""


class RunBody(BaseModel):
    """Points without anything missing between them, each at the start of the time it tells of.

    `low` and `high` are the extremes in a cell, or the ends of an estimate's band; null where each
    point is one value.
    """

    at: list[AwareDatetime]
    value: list[float]
    low: list[float] | None
    high: list[float] | None


class SpanBody(BaseModel):
    """From an instant until before another."""

    start: AwareDatetime
    end: AwareDatetime


class LimitHeldBody(BaseModel):
    """A limit in force from `start` until before `end`, by this version of the batch's plan."""

    limit: str
    side: Side
    bound: float
    when: When
    film: FilmState | None
    priority: Priority
    stage: Stage
    version: int
    start: AwareDatetime
    end: AwareDatetime


class StoodBody(BaseModel):
    """From `since` on the batch was in this stage, with its cover on or not."""

    since: AwareDatetime
    stage: Stage | None
    covered: bool
    version: int


class SawBody(BaseModel):
    """What a person saw or did."""

    at: AwareDatetime
    seen: Seen
    by: str
    note: str


class AlarmedBody(BaseModel):
    """An alarm on this quantity, or on its absence, true at some time of the span."""

    id: int
    condition: str
    priority: Priority
    state: AlarmState
    opened_at: AwareDatetime
    ended_at: AwareDatetime | None


class LightBody(BaseModel):
    """A whole local day of light: of `minutes`, only those seen count."""

    day: date
    light_sum_mol_m2: float
    direct_sun_min: int
    seen_min: int
    minutes: int


class SeriesBody(BaseModel):
    """A line of at most `points` points, chosen so that nothing that matters is lost.

    The lowest and the highest value, the worst of each excursion beyond a limit and both ends of
    each gap are always among them; with more of those than points, `joined` is true and neighbours
    share one. `told` says what it is made of: `minutes` as judged, or `cells` of the store of
    `step_min`. `of_means` says that values were worked out from the means of cells. `light` is
    filled for the quantity ppfd, `dark` for a fortnight at most.
    """

    code: str
    quantity: Felt
    unit: str
    start: AwareDatetime
    end: AwareDatetime
    told: Told
    step_min: int
    of_means: bool
    points: int
    of_points: int
    joined: bool
    runs: list[RunBody]
    gaps: list[SpanBody]
    limits: list[LimitHeldBody]
    stood: list[StoodBody]
    observations: list[SawBody]
    alarms: list[AlarmedBody]
    dark: list[SpanBody]
    light: list[LightBody]


def series_router(parts: Parts, sight: Sight) -> APIRouter:
    """Return the route of a batch's series."""
    router = APIRouter(prefix="/batches", tags=["batches"])
    sums = LightSums(parts)

    @router.get("/{code}/series")
    def series(
        code: Annotated[str, Path(max_length=80)],
        quantity: Annotated[Felt, Query()],
        start: Annotated[AwareDatetime, Query(alias="from", examples=["2026-11-14T02:00:00Z"])],
        end: Annotated[AwareDatetime, Query(alias="to", examples=["2026-11-14T15:00:00Z"])],
        points: Annotated[int, Query(ge=LEAST_POINTS, le=MOST_POINTS)] = MOST_POINTS,
    ) -> SeriesBody:
        """Return one quantity of a batch from `from` until before `to`, from an hour to years.

        Up to a week is told minute by minute as it was judged, longer spans by the store's cells.
        """
        batch = batch_named(parts, code)
        first, after = minute_of(as_ms(start)), minute_of(as_ms(end))
        demand_span(first, after, quantity)
        with reading(parts.records) as db:
            found = stretch_of(
                parts, sight, db, batch, quantity, first_minute=first, end_minute=after
            )
        watched = next(one for one in parts.watchlist.batches if one.code == code)
        light = sums.of(watched, first, after) if quantity is Felt.PPFD else ()
        return SeriesBody(
            **_line_fields(found, points),
            limits=[_limit_body(one) for one in found.limits],
            stood=[
                StoodBody(
                    since=instant(one.minute * MINUTE_MS),
                    stage=one.stage,
                    covered=one.covered,
                    version=one.version,
                )
                for one in found.stood
            ],
            observations=[
                SawBody(at=one.at, seen=one.seen, by=one.by, note=one.note)
                for one in found.observations
            ],
            alarms=[
                AlarmedBody(
                    id=one.id,
                    condition=one.condition,
                    priority=one.priority,
                    state=one.state,
                    opened_at=one.opened_at,
                    ended_at=one.ended_at,
                )
                for one in found.alarms
            ],
            dark=_dark(found, parts.site.site),
            light=[
                LightBody(
                    day=one.day,
                    light_sum_mol_m2=round(one.light_sum_mol_m2, 6),
                    direct_sun_min=one.direct_sun_min,
                    seen_min=one.seen_min,
                    minutes=one.minutes,
                )
                for one in light
            ],
        )

    return router


def demand_span(first: int, after: int, quantity: Felt) -> None:
    """Raise Problem 422 for a span or a quantity that cannot be told."""
    if not 0 < after - first <= MOST_MIN:
        days = MOST_MIN // 1440
        msg = f"from and to must be 1 minute to {days} days apart, to the later one."
        raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, msg)
    if not can_be_told(quantity, told_by(first, after)):
        msg = (
            f"{quantity} is told minute by minute only: "
            f"ask for {MOST_BY_MINUTE} minutes or fewer at a time."
        )
        raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, msg)


def chosen_points(found: Stretch, points: int) -> Thinned:
    """Return which points of a stretch's line to draw or hand out."""
    line = found.line
    # A limit that nothing went beyond has no excursion to keep.
    beyond = [one for one in found.beyond if bool((one > 0).any())][: points // 20 - 1]
    return thinned(line.at_ms, line.low, line.high, begins=line.begins, beyond=beyond, most=points)


def gaps_of(found: Stretch, most: int) -> list[tuple[int, int]]:
    """Return where nothing is known, in ms; neighbours joined where there are more than `most`."""
    line = found.line
    gaps = gaps_in(
        line.at_ms,
        line.begins,
        step_ms=line.step_min * MINUTE_MS,
        start_ms=found.known_from * MINUTE_MS,
        end_ms=found.known_to * MINUTE_MS,
    )
    return [(int(a), int(b)) for a, b in nearest_joined(gaps, most).tolist()]


def _line_fields(found: Stretch, points: int) -> dict[str, Any]:
    line, chosen = found.line, chosen_points(found, points)
    return {
        "code": found.code,
        "quantity": found.felt,
        "unit": FELT_SHOWN[found.felt],
        "start": instant(found.first_minute * MINUTE_MS),
        "end": instant(found.end_minute * MINUTE_MS),
        "told": line.told,
        "step_min": line.step_min,
        "of_means": line.of_means,
        "points": int(chosen.index.size),
        "of_points": int(line.at_ms.size),
        "joined": chosen.joined,
        "runs": _runs(found, chosen),
        "gaps": [SpanBody(start=instant(a), end=instant(b)) for a, b in gaps_of(found, MOST_GAPS)],
    }


def _runs(found: Stretch, chosen: Thinned) -> list[RunBody]:
    line = found.line
    band = line.has_band
    runs: list[RunBody] = []
    for place, begins in zip(chosen.index.tolist(), chosen.begins.tolist(), strict=True):
        if begins or not runs:
            runs.append(
                RunBody(at=[], value=[], low=[] if band else None, high=[] if band else None)
            )
        run = runs[-1]
        run.at.append(instant(int(line.at_ms[place])))
        run.value.append(round(float(line.value[place]), 6))
        if run.low is not None and run.high is not None:
            run.low.append(round(float(line.low[place]), 6))
            run.high.append(round(float(line.high[place]), 6))
    return runs


def _limit_body(one: LimitHeld) -> LimitHeldBody:
    return LimitHeldBody(
        limit=one.limit.id,
        side=one.limit.side,
        bound=one.limit.bound,
        when=one.limit.when,
        film=one.limit.film,
        priority=one.limit.priority,
        stage=one.stage,
        version=one.version,
        start=instant(one.first_minute * MINUTE_MS),
        end=instant(one.end_minute * MINUTE_MS),
    )


def _dark(found: Stretch, place: Place) -> list[SpanBody]:
    minutes = found.end_minute - found.first_minute
    if minutes > MOST_SHADED_MIN:
        return []
    return [
        SpanBody(start=instant(a * MINUTE_MS), end=instant(b * MINUTE_MS))
        for a, b in dark_spans(place, found.first_minute, minutes)
    ]
