"""Published figures for the load that alarms put on people, and ours beside them.

They were found for someone at a desk of a plant that runs by day and night, told everything at
once. A grower walks, carries one telephone and sleeps: less is already much. They were read in
secondary summaries of the standards, not in the standards; each says so where it is shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

from rules.model.alarm import Priority

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rules.alarm_load import AlarmLoad, Rate

LEAST_DAYS = 1.0
"""Over less than a day nothing is said of averages: house rule, no source."""

ASSESSED_DAYS = 30
"""So many days at least are to be assessed: ANSI/ISA-18.2-2016, IEC 62682:2014."""

BOTH = "ANSI/ISA-18.2-2016, IEC 62682:2014 and EEMUA 191, from secondary summaries"
STANDARD = "ANSI/ISA-18.2-2016 and IEC 62682:2014, from secondary summaries"
OLDER = (
    "ANSI/ISA-18.2-2009, from secondary summaries; the edition of 2016 is said to give only the "
    "figures by hour and by ten minutes"
)


class Figure(StrEnum):
    """A figure for which there is a published one."""

    PER_10_MIN = "per_10_min"
    PER_HOUR = "per_hour"
    PER_DAY = "per_day"
    MOST_IN_10_MIN = "most_in_10_min"
    OVER_TEN_SHARE = "over_ten_share"
    FLOOD_SHARE = "flood_share"
    CHATTERING = "chattering"
    STALE = "stale"
    TOP_SHARE = "top_share"
    HIGH_SHARE = "high_share"
    MEDIUM_SHARE = "medium_share"
    LOW_SHARE = "low_share"


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A published figure: up to `good` it is well, beyond `most` it is too much.

    `aim`: the figure is one to come near to, with no side that is better.
    """

    good: float
    most: float
    source: str
    aim: bool = False


BENCHMARKS: Mapping[Figure, Benchmark] = MappingProxyType(
    {
        Figure.PER_10_MIN: Benchmark(1.0, 2.0, BOTH),
        Figure.PER_HOUR: Benchmark(6.0, 12.0, STANDARD),
        Figure.PER_DAY: Benchmark(150.0, 300.0, OLDER),
        Figure.MOST_IN_10_MIN: Benchmark(10.0, 10.0, STANDARD),
        Figure.OVER_TEN_SHARE: Benchmark(0.01, 0.01, STANDARD),
        Figure.FLOOD_SHARE: Benchmark(0.01, 0.01, STANDARD),
        Figure.CHATTERING: Benchmark(0.0, 0.0, STANDARD),
        Figure.STALE: Benchmark(4.0, 4.0, STANDARD),
        Figure.TOP_SHARE: Benchmark(0.01, 0.05, STANDARD),
        Figure.HIGH_SHARE: Benchmark(0.05, 0.05, BOTH, aim=True),
        Figure.MEDIUM_SHARE: Benchmark(0.15, 0.15, BOTH, aim=True),
        Figure.LOW_SHARE: Benchmark(0.80, 0.80, BOTH, aim=True),
    }
)


class Verdict(StrEnum):
    """How a figure stands beside the published one; AIM has no side that is better."""

    GOOD = "good"
    BORDERLINE = "borderline"
    BEYOND = "beyond"
    AIM = "aim"
    TOO_FEW = "too_few"


@dataclass(frozen=True, slots=True)
class Beside:
    """A figure of ours beside the published one. `value` None: too few to say."""

    figure: Figure
    value: float | None
    benchmark: Benchmark
    verdict: Verdict


def beside(load: AlarmLoad) -> tuple[Beside, ...]:
    """Return every figure of a load beside its published one, all rings told to one person."""
    shares = load.priorities
    rest: dict[Figure, float | None] = {
        Figure.CHATTERING: float(load.chattering),
        Figure.STALE: float(load.stale_most),
        Figure.TOP_SHARE: load.top_share,
        Figure.HIGH_SHARE: None if shares is None else shares[Priority.HIGH],
        Figure.MEDIUM_SHARE: None if shares is None else shares[Priority.MEDIUM],
        Figure.LOW_SHARE: None if shares is None else shares[Priority.LOW],
    }
    return (
        *beside_rate(load.rings, load.days),
        *(_beside(figure, value) for figure, value in rest.items()),
    )


def beside_rate(rate: Rate, days: float) -> tuple[Beside, ...]:
    """Return how often something came, over so many days, beside the published figures."""
    return tuple(_of_rate(rate, days))


def _of_rate(rate: Rate, days: float) -> Iterator[Beside]:
    for figure, value in (
        (Figure.PER_10_MIN, rate.per_10_min),
        (Figure.PER_HOUR, rate.per_hour),
        (Figure.PER_DAY, rate.per_day),
        (Figure.OVER_TEN_SHARE, rate.over_ten_share),
        (Figure.FLOOD_SHARE, rate.flood_share),
    ):
        yield _beside(figure, value if days >= LEAST_DAYS else None)
    # The most of all is a fact however short the span.
    yield _beside(Figure.MOST_IN_10_MIN, float(rate.most_in_10_min))


def _beside(figure: Figure, value: float | None) -> Beside:
    benchmark = BENCHMARKS[figure]
    if value is None:
        verdict = Verdict.TOO_FEW
    elif benchmark.aim:
        verdict = Verdict.AIM
    elif value <= benchmark.good:
        verdict = Verdict.GOOD
    else:
        verdict = Verdict.BORDERLINE if value <= benchmark.most else Verdict.BEYOND
    return Beside(figure, value, benchmark, verdict)
