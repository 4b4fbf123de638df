"""What `graftvigil takes` says, as one object and as lines for a person."""

from __future__ import annotations

from typing import TYPE_CHECKING, NotRequired, TypedDict

from api.records.session import reading
from api.records.tables import as_ms
from api.records.watch import load_position
from api.reviewing import Window, lives_in, window_of
from rules.exposures import UNIT, Exposure, exposures_of
from rules.model.reading import minute_of
from rules.take import By, Outcome, take_of
from rules.take_figures import LEAST_A_SIDE, contrasts, dispersion, share_of_batches

if TYPE_CHECKING:
    from collections.abc import Iterator

    from api.parts import Parts
    from rules.model.site import Site
    from rules.take import Take


class RowTold(TypedDict):
    """One row: how many took of how many; null for what is too few to say."""

    name: str
    batches: int
    taken: int
    of: int
    share: float | None
    low: float | None
    high: float | None
    counted_as: float | None


class ContrastTold(TypedDict):
    """One exposure: failed batches beside taken ones; null for what is too few to say."""

    exposure: str
    unit: str
    failed: int
    taken: int
    median_failed: float | None
    median_taken: float | None
    cliffs_delta: float | None
    p: float | None
    p_holm: float | None


class BatchTold(TypedDict):
    """One batch: how many took of how many, counted when, and what was noted."""

    batch: str
    outcome: str
    taken: int | None
    of: int
    counted_on: str | None
    noted: list[str]


class TakesTold(TypedDict):
    """All that the command says. `whole` is of all batches together."""

    whole: RowTold | None
    by: dict[str, list[RowTold]]
    batches: list[BatchTold]
    not_counted: list[str]
    exposures: NotRequired[list[ContrastTold]]


def takes_told(site: Site) -> TakesTold:
    """Return how many took, by everything that batches are told apart by."""
    takes = [take_of(batch, site) for batch in site.batch]
    known = [take for take in takes if take.taken is not None and take.of > 0]
    by: dict[str, list[RowTold]] = {}
    for label in By:
        groups: dict[str, list[Take]] = {}
        for take in known:
            groups.setdefault(take.labels[label], []).append(take)
        by[label.value] = [_row(name, groups[name]) for name in sorted(groups)]
    return {
        "whole": _row("", known) if known else None,
        "by": by,
        "batches": [_batch(take) for take in takes],
        "not_counted": [take.code for take in takes if take.taken is None],
    }


def _row(name: str, takes: list[Take]) -> RowTold:
    counts = [(take.taken or 0, take.of) for take in takes]
    share = share_of_batches(counts)
    return {
        "name": name,
        "batches": len(takes),
        "taken": sum(taken for taken, _ in counts),
        "of": sum(of for _, of in counts),
        "share": None if share is None else round(share.share, 4),
        "low": None if share is None else round(share.low, 4),
        "high": None if share is None else round(share.high, 4),
        "counted_as": None
        if share is None
        else round(sum(of for _, of in counts) / dispersion(counts), 1),
    }


def _batch(take: Take) -> BatchTold:
    return {
        "batch": take.code,
        "outcome": take.outcome.value,
        "taken": take.taken,
        "of": take.of,
        "counted_on": take.counts[-1].on.isoformat() if take.counts else None,
        "noted": [
            f"{one.seen.value}: {one.words}" if one.words else one.seen.value for one in take.noted
        ],
    }


def exposures_told(parts: Parts) -> list[ContrastTold]:
    """Hold what failed batches went through against what taken ones did, each until its sign."""
    now = parts.book.now
    with reading(parts.records) as db:
        position = load_position(db)
    clock_minute = minute_of(as_ms(parts.clock.now()))
    to_minute = clock_minute if position is None else position.next_minute
    outcomes = {batch.code: take_of(batch, now.site).outcome for batch in now.site.batch}
    windows: list[Window] = [
        window_of(now, batch, to_minute=to_minute)
        for batch in now.site.batch
        if outcomes[batch.code] is not Outcome.UNKNOWN
    ]
    lives = lives_in(now, parts.store, windows)
    found = {code: exposures_of(life) for code, life in lives.items() if bool(life.seen.any())}
    pairs = [
        tuple(
            [
                one[exposure].value
                for code, one in found.items()
                if exposure in one and outcomes[code] is outcome
            ]
            for outcome in (Outcome.FAILED, Outcome.TAKEN)
        )
        for exposure in Exposure
    ]
    sides = [(failed, taken) for failed, taken in pairs]
    return [
        {
            "exposure": exposure.value,
            "unit": UNIT[exposure],
            "failed": len(failed),
            "taken": len(taken),
            "median_failed": None if one is None else round(one.median_failed, 4),
            "median_taken": None if one is None else round(one.median_taken, 4),
            "cliffs_delta": None if one is None else round(one.delta, 4),
            "p": None if one is None else round(one.p, 6),
            "p_holm": None if one is None else round(one.p_holm, 6),
        }
        for exposure, (failed, taken), one in zip(Exposure, sides, contrasts(sides), strict=True)
    ]


def take_lines(told: TakesTold) -> Iterator[str]:
    """Yield what the command says as lines."""
    if told["whole"] is None:
        yield "nobody has counted yet: enter a count at the bench, then this can be said"
        return
    yield _row_line("all", told["whole"])
    for name, rows in told["by"].items():
        yield ""
        yield f"by {name}"
        for row in rows:
            yield f"  {_row_line(row['name'] or 'not written down', row)}"
    yield ""
    for one in told["batches"]:
        if one["taken"] is not None:
            when = "" if one["counted_on"] is None else f", {one['counted_on']}"
            noted = f"; {'; '.join(one['noted'])}" if one["noted"] else ""
            yield f"{one['batch']}: took {one['taken']} of {one['of']}{when}{noted}"
    if told["not_counted"]:
        yield f"not counted yet: {', '.join(told['not_counted'])}"
    if "exposures" in told:
        yield ""
        yield "failed beside taken batches (delta above 0: failed ones had more of it)"
        for contrast in told["exposures"]:
            yield f"  {_contrast_line(contrast)}"


def _row_line(name: str, row: RowTold) -> str:
    counted = f"{row['taken']} of {row['of']} plants, {row['batches']} batches"
    if row["share"] is None or row["low"] is None or row["high"] is None:
        return f"{name}: {counted}: too few to say"
    line = f"{name}: {row['share']:.0%} ({row['low']:.0%} to {row['high']:.0%}), {counted}"
    fewer = row["counted_as"] is not None and row["counted_as"] < row["of"] - 0.5
    return f"{line}, counted as {row['counted_as']:.0f}" if fewer else line


def _contrast_line(one: ContrastTold) -> str:
    sides = f"{one['failed']} failed, {one['taken']} taken"
    if one["cliffs_delta"] is None:
        return f"{one['exposure']}: {sides}: too few to say (at least {LEAST_A_SIDE} of each)"
    return (
        f"{one['exposure']}: {one['median_failed']:.3g} beside {one['median_taken']:.3g} "
        f"{one['unit']} ({sides}), delta {one['cliffs_delta']:+.2f}, "
        f"p {one['p_holm']:.3g} after correction"
    )
