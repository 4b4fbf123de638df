"""Everything the evaluator needs to know of a site and its care plans, worked out once."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.doubt import FIGURES, Figures
from rules.limits import Bound, Delays, bound_of
from rules.model.alarm import Priority
from rules.model.batch import ENDED
from rules.model.quantities import Felt
from rules.speaking import Span, span_at, spans_of
from rules.trust_kit import QualityKit, quality_kit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.model.batch import Stage
    from rules.model.place import Place
    from rules.model.plan import CarePlan, Limit, StagePlan
    from rules.model.site import Site

BLIND_OFF_CELLS = 3
"""Cells in a row in which a vital quantity is seen again before its blindness ends."""

BLIND = "blind."


@dataclass(frozen=True, slots=True)
class StageWatch:
    """What is judged in one stage of one batch.

    `key` names the stage and every figure it is judged by: when it changes, all starts afresh.
    `trended` are the quantities whose trend can make a batch drift.
    """

    key: str
    limits: tuple[Limit, ...]
    bounds: tuple[Bound, ...]
    vital: tuple[Felt, ...]
    blind: Delays
    needed: tuple[Felt, ...]
    trended: tuple[Felt, ...]


@dataclass(frozen=True, slots=True)
class BatchWatch:
    """One batch: its spans, and what is judged in each stage."""

    code: str
    spans: tuple[Span, ...]
    stages: Mapping[Stage, StageWatch]

    def span_at(self, minute: int) -> Span:
        """Return the span that holds a minute."""
        return span_at(self.spans, minute)

    def watch_in(self, span: Span) -> StageWatch | None:
        """Return what is judged in a span; None if the batch is unwatched in it."""
        return self.stages.get(span.stage) if span.stage is not None else None


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
    site: Site, plans: Mapping[str, CarePlan], *, figures: Figures = FIGURES
) -> Watchlist:
    """Work out what to judge for every batch of a checked site, `plans` by their ids.

    `figures` are those of the quality tests. LookupError if a batch names a plan that is not there.
    """
    batches: list[BatchWatch] = []
    for batch in site.batch:
        plan = plans.get(batch.plan)
        if plan is None:
            msg = f"batch {batch.code}: there is no care plan {batch.plan}"
            raise LookupError(msg)
        stages = {
            stage: watch
            for stage, stage_plan in plan.stage.items()
            if (watch := _stage_watch(plan, stage, stage_plan)) is not None
        }
        batches.append(BatchWatch(batch.code, spans_of(site, batch), stages))
    channels = frozenset(
        source.channel
        for batch in batches
        for span in batch.spans
        for speaker in span.speakers.values()
        for source in speaker.sources
    )
    return Watchlist(
        place=site.site,
        channels=channels,
        batches=tuple(batches),
        quality=quality_kit(site, figures=figures),
    )


def _stage_watch(plan: CarePlan, stage: Stage, stage_plan: StagePlan) -> StageWatch | None:
    spoken_of = tuple(dict.fromkeys(limit.quantity for limit in stage_plan.limit))
    vital = tuple(dict.fromkeys(stage_plan.vital)) or spoken_of
    if stage in ENDED or not vital:
        return None
    return StageWatch(
        key=_key(plan, stage, stage_plan),
        limits=stage_plan.limit,
        bounds=tuple(bound_of(limit) for limit in stage_plan.limit),
        vital=vital,
        blind=Delays(max(1, stage_plan.blind_after_min), BLIND_OFF_CELLS),
        needed=tuple(dict.fromkeys((*spoken_of, *vital))),
        trended=tuple(
            dict.fromkeys(limit.quantity for limit in stage_plan.limit if can_make_drift(limit))
        ),
    )


def can_make_drift(limit: Limit) -> bool:
    """Return whether heading for this limit is worth a word; light jumps with every cloud."""
    return limit.priority is not Priority.LOW and limit.quantity is not Felt.PPFD


def blind_id(felt: Felt) -> str:
    """Return the condition's name for a vital quantity that is missing.

    >>> blind_id(Felt.AIR_TEMPERATURE)
    'blind.air_temperature'
    """
    return f"{BLIND}{felt.value}"


def _key(plan: CarePlan, stage: Stage, stage_plan: StagePlan) -> str:
    # The words of a limit may be mended without closing what is open; its figures may not.
    spoken = {"__all__": {"says", "action"}}
    figures = stage_plan.model_dump_json(exclude={"limit": spoken, "dose": spoken, "check": True})
    digest = hashlib.sha256(figures.encode()).hexdigest()[:12]
    return f"{stage.value}/{plan.id}/{plan.version}/{digest}"
