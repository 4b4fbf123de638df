"""Everything the evaluator needs to know of a site and its care plans, worked out once."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.doses import DoseBound, dose_bound
from rules.doubt import FIGURES, Figures
from rules.limits import Bound, BoundTable, Delays, bound_of, bound_table
from rules.local_time import NOON, earliest_instant, local_day
from rules.model.alarm import Priority
from rules.model.batch import ENDED, Seen, Wrap
from rules.model.dose import DoseKind
from rules.model.quantities import RECKONED, Felt
from rules.psychrometry import pressure_at_elevation_kpa
from rules.reckoning import Kit
from rules.reserve import EFFECTS, Effect
from rules.scion import drying_figures
from rules.speaking import Source, Span, first_cell, span_at, spans_of
from rules.trust_kit import QualityKit, quality_kit

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from rules.model.batch import Batch, Stage
    from rules.model.dose import DoseLimit
    from rules.model.place import Place
    from rules.model.plan import CarePlan, Limit, StagePlan
    from rules.model.site import Site

Places = NDArray[np.intp]

BLIND_OFF_CELLS = 3
"""Cells in a row in which a vital quantity is seen again before its blindness ends."""

BLIND = "blind."

OF_THE_LEAF = frozenset({Felt.LEAF_TEMPERATURE, Felt.LEAF_DEFICIT})


@dataclass(frozen=True, slots=True, eq=False)
class Heading:
    """The limits that can make a batch drift, side by side.

    `limits` are their places among the stage's limits, `felt` those of their quantities among the
    trended.
    """

    limits: Places
    felt: Places
    table: BoundTable


@dataclass(frozen=True, slots=True)
class StageWatch:
    """What is judged in one stage of one batch.

    `key` names the stage and every figure it is judged by: when it changes, what is not as it was
    starts afresh.
    `trended` are the quantities whose trend can make a batch drift, `heading` the limits that it
    is drawn on to. `needed` are all that sensors must tell for it. `table` says the same as
    `bounds`. `judges_leaf` tells whether something is said of the leaf.
    """

    key: str
    limits: tuple[Limit, ...]
    bounds: tuple[Bound, ...]
    vital: tuple[Felt, ...]
    blind: Delays
    needed: tuple[Felt, ...]
    trended: tuple[Felt, ...]
    doses: tuple[DoseLimit, ...]
    dose_bounds: tuple[DoseBound, ...]
    table: BoundTable = field(compare=False)
    heading: Heading = field(compare=False)
    judges_leaf: bool

    @property
    def counts_direct_sun(self) -> bool:
        """Whether some dose adds minutes of direct sun."""
        return any(bound.kind is DoseKind.DIRECT_SUN for bound in self.dose_bounds)


@dataclass(frozen=True, slots=True)
class PlanWatch:
    """What one version of a plan means for a batch: what is judged by stage, what is reckoned."""

    stages: Mapping[Stage, StageWatch]
    kit: Kit


@dataclass(frozen=True, slots=True)
class BatchWatch:
    """One batch: its spans, and what is judged in them by the version of its plan in force."""

    code: str
    spans: tuple[Span, ...]
    versions: tuple[PlanWatch, ...]

    def span_at(self, minute: int) -> Span:
        """Return the span that holds a minute."""
        return span_at(self.spans, minute)

    def watch_in(self, span: Span) -> StageWatch | None:
        """Return what is judged in a span; None if the batch is unwatched in it."""
        if span.stage is None:
            return None
        return self.versions[span.version].stages.get(span.stage)

    def called(self, key: str | None) -> tuple[Stage, StageWatch] | None:
        """Return the stage, and what is judged in it, that a key names; None if nothing here."""
        for version in self.versions:
            for stage, watch in version.stages.items():
                if watch.key == key:
                    return stage, watch
        return None

    def kit_in(self, span: Span) -> Kit:
        """Return what the batch is reckoned with in a span."""
        return self.versions[span.version].kit


@dataclass(frozen=True, slots=True)
class Watchlist:
    """All batches of a site. `channels` are those that speak for some batch at some time.

    `quality` is what the quality tests know of every channel of the site.
    """

    place: Place
    channels: frozenset[str]
    batches: tuple[BatchWatch, ...]
    quality: QualityKit


def watchlist(
    site: Site, versions: Mapping[str, Sequence[CarePlan]], *, figures: Figures = FIGURES
) -> Watchlist:
    """Work out what to judge for every batch of a checked site.

    `versions` holds each plan by its id, all versions in order of force. `figures` are those of
    the quality tests. LookupError if a batch names a plan that is not there.
    """
    batches: list[BatchWatch] = []
    for batch in site.batch:
        plans = versions.get(batch.plan)
        if not plans:
            msg = f"batch {batch.code}: there is no care plan {batch.plan}"
            raise LookupError(msg)
        spans = spans_of(site, batch, in_force_from=[plan.in_force_from for plan in plans])
        watched = tuple(_plan_watch(site, batch, plan) for plan in plans)
        batches.append(BatchWatch(batch.code, spans, watched))
    channels = frozenset(
        source.channel for batch in batches for span in batch.spans for source in _sources_in(span)
    )
    return Watchlist(
        place=site.site,
        channels=channels,
        batches=tuple(batches),
        quality=quality_kit(site, figures=figures),
    )


def _sources_in(span: Span) -> Iterator[Source]:
    for speaker in span.speakers.values():
        yield from speaker.sources
    if span.house_air is not None:
        yield span.house_air


def _plan_watch(site: Site, batch: Batch, plan: CarePlan) -> PlanWatch:
    stages = {
        stage: watch
        for stage, stage_plan in plan.stage.items()
        if (watch := _stage_watch(plan, stage, stage_plan)) is not None
    }
    house = {bench.id: bench.house for bench in site.bench}.get(batch.bench)
    shade = {one.id: one.shade_fraction for one in site.house}
    figures = None
    if plan.drying is not None:
        figures = drying_figures(
            plan.drying,
            grafted_minute(batch, site.site),
            pressure_kpa=pressure_at_elevation_kpa(site.site.elevation_m),
            scion_diameter_mm=batch.scion_diameter_mm,
        )
    seen = sorted(
        (first_cell(one.at), one.seen)
        for one in batch.observation
        if EFFECTS[one.seen] is not Effect.NOTHING
    )
    kit = Kit(
        place=site.site,
        shade_fraction=shade.get(house, 0.0) if house is not None else 0.0,
        figures=figures,
        seen=tuple(seen),
        wrapped=batch.wrap is not Wrap.NONE,
    )
    return PlanWatch(stages, kit)


def grafted_minute(batch: Batch, place: Place) -> int:
    """Return the first cell after grafting.

    That is when it was seen to, or when the first stage began if that was the same day; else noon.
    """
    seen = [one.at for one in batch.observation if one.seen is Seen.GRAFTED]
    if seen:
        return first_cell(min(seen))
    began = batch.stage[0].since
    if local_day(began, place) == batch.grafted_on:
        return first_cell(began)
    return first_cell(earliest_instant(batch.grafted_on, NOON, place))


def _stage_watch(plan: CarePlan, stage: Stage, stage_plan: StagePlan) -> StageWatch | None:
    judged = [limit.quantity for limit in stage_plan.limit]
    judged += [dose.quantity for dose in stage_plan.dose]
    spoken_of = tuple(dict.fromkeys(felt for felt in judged if felt not in RECKONED))
    vital = tuple(dict.fromkeys(stage_plan.vital)) or spoken_of
    if stage in ENDED or not vital:
        return None
    bounds = tuple(bound_of(limit) for limit in stage_plan.limit)
    heading = [place for place, limit in enumerate(stage_plan.limit) if can_make_drift(limit)]
    trended = tuple(dict.fromkeys(stage_plan.limit[place].quantity for place in heading))
    return StageWatch(
        key=_key(plan, stage, stage_plan),
        limits=stage_plan.limit,
        bounds=bounds,
        vital=vital,
        blind=Delays(max(1, stage_plan.blind_after_min), BLIND_OFF_CELLS),
        needed=tuple(dict.fromkeys((*spoken_of, *vital))),
        doses=stage_plan.dose,
        dose_bounds=tuple(dose_bound(dose, stage) for dose in stage_plan.dose),
        trended=trended,
        judges_leaf=not OF_THE_LEAF.isdisjoint((*judged, *vital)),
        table=bound_table(bounds),
        heading=Heading(
            limits=np.array(heading, dtype=np.intp),
            felt=np.array(
                [trended.index(stage_plan.limit[place].quantity) for place in heading],
                dtype=np.intp,
            ),
            table=bound_table([bounds[place] for place in heading]),
        ),
    )


def can_make_drift(limit: Limit) -> bool:
    """Return whether heading for this limit is worth a word.

    Light jumps with every cloud; what is reckoned looks ahead already.
    """
    silent = limit.quantity is Felt.PPFD or limit.quantity in RECKONED
    return limit.priority is not Priority.LOW and not silent


def blind_id(felt: Felt) -> str:
    """Return the condition's name for a vital quantity that is missing.

    >>> blind_id(Felt.AIR_TEMPERATURE)
    'blind.air_temperature'
    """
    return f"{BLIND}{felt.value}"


def _key(plan: CarePlan, stage: Stage, stage_plan: StagePlan) -> str:
    # Words, and whether it latches, may be mended without closing what is open; figures may not.
    spoken = {"__all__": {"says", "action", "latch"}}
    figures = stage_plan.model_dump_json(exclude={"limit": spoken, "dose": spoken, "check": True})
    digest = hashlib.sha256(figures.encode()).hexdigest()[:12]
    return f"{stage.value}/{plan.id}/{digest}"
