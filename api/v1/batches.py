"""Batches as they stand now, and along a span of minutes."""

from __future__ import annotations

import math
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel

from api.records.tables import as_ms, instant
from api.v1.foresight import cover_heat, water_ahead
from api.v1.named import batch_named
from api.v1.problems import Problem
from api.v1.reckoned import (
    BandsBody,
    CoverBody,
    DoseBody,
    DryingBody,
    PeakBody,
    bands_body,
    cover_body,
    dose_body,
    drying_body,
    peak_body,
)
from rules.belief import Missing
from rules.model.batch import Cover, Scion, Stage, Wrap
from rules.model.dose import DOSE_SHOWN
from rules.model.event import Standing
from rules.model.plan import FilmState, Side, When
from rules.model.quantities import FELT_SHOWN, Felt
from rules.model.reading import MINUTE_MS, minute_of
from rules.standing import standing_at

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from api.parts import Parts
    from api.v1.sight import Present, Sight
    from rules.evaluator import BatchOutlook, BatchRecord, Judged
    from rules.model.batch import Batch

MOST_MINUTES = 7 * 1440


class FeltBody(BaseModel):
    """What a batch feels now; null when missing or stale. `unit` is the unit of `value`.

    Of what is `reckoned` no sensor tells: there is neither an age nor a channel.
    `missing` says why there is no value. `failed` is the quality test that holds the newest word
    out, so that an older one speaks on or none; `suspect` one that speaks against a value in use.
    """

    quantity: Felt
    unit: str
    value: float | None
    age_min: int | None
    channel: str | None
    reckoned: bool
    missing: Missing | None
    failed: str | None
    suspect: str | None
    out_of_calibration: bool


class JudgedBody(BaseModel):
    """A limit beside what is. `margin`: 1 wholly comfortable, 0 on the bound, below 0 beyond."""

    limit: str
    quantity: Felt
    side: Side
    bound: float
    unit: str
    when: When
    film: FilmState | None
    value: float | None
    margin: float | None
    speaks: bool
    raised: bool
    since: AwareDatetime | None
    beyond_min: int


class HeadingBody(BaseModel):
    """A limit that will be met if things go on as they do."""

    limit: str
    minutes_until: int


class BatchBody(BaseModel):
    """A batch and how it stands; standing is null in a stage without limits."""

    code: str
    species: str
    cultivar: str
    bench: str
    scion: Scion
    wrap: Wrap
    cover: Cover
    stage: Stage | None
    standing: Standing | None
    judged_to: AwareDatetime | None
    blind_to: list[Felt]


class BatchWhole(BatchBody):
    """A batch with everything it feels, is judged by, and may expect.

    `drying` is null where the plan does not say how the scion dries; `peak` where no heat was
    foreseen at the last dusk; `cover_heat` without a cover.
    """

    felt: list[FeltBody]
    judged: list[JudgedBody]
    doses: list[DoseBody]
    heading: list[HeadingBody]
    drying: DryingBody | None
    peak: PeakBody | None
    cover_heat: CoverBody | None


class RecordBody(BaseModel):
    """A batch along a span, one entry per minute from `start`; null for what was not seen.

    `units` names the unit of each series in `felt`, `dose_units` that of each sum in `doses`.
    `limit` is the id of the limit that `margin` belongs to. The bands are null where the scion's
    water is not reckoned.
    """

    code: str
    start: AwareDatetime
    judged_to: AwareDatetime
    step_s: int = 60
    units: dict[Felt, str]
    felt: dict[Felt, list[float | None]]
    margin: list[float | None]
    limit: list[str | None]
    standing: list[Standing | None]
    dose_units: dict[str, str]
    doses: dict[str, list[float | None]]
    reserve_pct: BandsBody | None
    hours_to_critical: BandsBody | None


def batches_router(parts: Parts, sight: Sight) -> APIRouter:
    """Return the routes under /batches."""
    router = APIRouter(prefix="/batches", tags=["batches"])

    @router.get("")
    def batches() -> list[BatchBody]:
        """Return every batch of the site as it stands now."""
        present = sight.present()
        return [_body(batch, present) for batch in parts.site.batch]

    @router.get("/{code}")
    def one_batch(code: str) -> BatchWhole:
        """Return one batch with what it feels and how that sits with its limits."""
        batch = batch_named(parts, code)
        present = sight.present()
        return _whole(parts, batch, present)

    @router.get("/{code}/record")
    def record(
        code: str,
        start: Annotated[AwareDatetime, Query(alias="from")],
        end: Annotated[AwareDatetime, Query(alias="to")],
    ) -> RecordBody:
        """Return a batch along the minutes from <= minute < to; a week at most."""
        batch = batch_named(parts, code)
        first = minute_of(as_ms(start))
        count = minute_of(as_ms(end)) - first
        if not 0 < count <= MOST_MINUTES:
            msg = f"from and to must be 1 to {MOST_MINUTES} minutes apart, to the later one."
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, msg)
        span = sight.span(first, count)
        held = span.batches.get(code)
        if held is None:
            raise Problem(HTTPStatus.NOT_FOUND, "Nothing of that span has been judged.")
        units = _dose_units(parts, batch)
        return _record(code, held, units, first=first, judged_to=span.judged_to)

    return router


def _whole(parts: Parts, batch: Batch, present: Present) -> BatchWhole:
    seen = present.outlooks.get(batch.code)
    drying = peak = None
    if seen is not None and seen.drying is not None:
        ahead = water_ahead(parts.watchlist, present, batch.code)
        drying = drying_body(seen.drying, ahead)
    if seen is not None and seen.peak is not None:
        peak = peak_body(seen.peak)
    heat = cover_heat(parts.watchlist, present, batch.code)
    return BatchWhole(
        **_body(batch, present).model_dump(),
        felt=_felt(seen) if seen else [],
        judged=[_judged(one) for one in seen.judged] if seen else [],
        doses=[dose_body(one) for one in seen.doses] if seen else [],
        heading=[HeadingBody(limit=name, minutes_until=m) for name, m in seen.heading]
        if seen
        else [],
        drying=drying,
        peak=peak,
        cover_heat=None if heat is None else cover_body(heat),
    )


def _dose_units(parts: Parts, batch: Batch) -> dict[str, str]:
    """Return the unit of every sum that a batch's plan has, in any version and stage."""
    return {
        dose.id: DOSE_SHOWN[dose.kind]
        for plan in parts.plans.get(batch.plan, ())
        for needs in plan.stage.values()
        for dose in needs.dose
    }


def _body(batch: Batch, present: Present) -> BatchBody:
    seen = present.outlooks.get(batch.code)
    judged_to = None if present.minute is None else instant((present.minute + 1) * MINUTE_MS)
    return BatchBody(
        code=batch.code,
        species=batch.species,
        cultivar=batch.cultivar,
        bench=batch.bench,
        scion=batch.scion,
        wrap=batch.wrap,
        cover=batch.cover,
        stage=seen.stage if seen else batch.stage_at(present.at),
        standing=seen.standing if seen else None,
        judged_to=judged_to,
        blind_to=list(seen.blind_to) if seen else [],
    )


def _felt(seen: BatchOutlook) -> list[FeltBody]:
    return [
        FeltBody(
            quantity=felt,
            unit=FELT_SHOWN[felt],
            value=now.value,
            age_min=now.age_min,
            channel=now.channel,
            missing=now.belief.missing,
            failed=None if now.belief.failed is None else now.belief.failed.word,
            suspect=None if now.belief.suspect is None else now.belief.suspect.word,
            out_of_calibration=now.belief.out_of_calibration,
            reckoned=now.channel is None,
        )
        for felt, now in seen.felt.items()
    ]


def _judged(one: Judged) -> JudgedBody:
    limit = one.limit
    return JudgedBody(
        limit=limit.id,
        quantity=limit.quantity,
        side=limit.side,
        bound=limit.bound,
        unit=FELT_SHOWN[limit.quantity],
        when=limit.when,
        film=limit.film,
        value=one.value,
        margin=one.margin,
        speaks=one.speaks,
        raised=one.raised,
        since=None if one.since_minute is None else instant(one.since_minute * MINUTE_MS),
        beyond_min=one.beyond_min,
    )


def _record(
    code: str, held: BatchRecord, dose_units: Mapping[str, str], *, first: int, judged_to: int
) -> RecordBody:
    count = judged_to - first
    reserve, hours = held.reserve_pct, held.hours_to_critical
    seen = {felt: values for felt, values in held.felt.items() if not _all_missing(values.tolist())}
    return RecordBody(
        code=code,
        start=instant(first * MINUTE_MS),
        judged_to=instant(judged_to * MINUTE_MS),
        units={felt: FELT_SHOWN[felt] for felt in seen},
        felt={felt: _without_nan(values[:count].tolist()) for felt, values in seen.items()},
        margin=_without_nan(held.margin[:count].tolist()),
        limit=[held.limits[i].id if i >= 0 else None for i in held.limit[:count].tolist()],
        standing=[standing_at(place) for place in held.standing[:count].tolist()],
        dose_units={name: dose_units[name] for name in held.doses},
        doses={name: _without_nan(sums[:count].tolist()) for name, sums in held.doses.items()},
        reserve_pct=None if reserve is None else bands_body(reserve, count),
        hours_to_critical=None if hours is None else bands_body(hours, count),
    )


def _all_missing(values: Iterable[float]) -> bool:
    return all(math.isnan(value) for value in values)


def _without_nan(values: Iterable[float]) -> list[float | None]:
    return [None if math.isnan(value) else round(value, 6) for value in values]
