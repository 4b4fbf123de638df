"""What a night sheet holds: values and records, before anybody has put them into words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    from api.records.alarms import AlarmRecord
    from api.records.sheets import Foretold
    from api.v1.foresight import CoverHeat, WaterAhead
    from rules.belief import Belief
    from rules.due import Due
    from rules.model.batch import Batch, Stage
    from rules.model.event import Standing
    from rules.model.plan import Limit
    from rules.model.quantities import Felt
    from rules.model.work import Work
    from rules.night import HoursBeyond, NightPast, Worry
    from rules.outlook import DryingNow
    from rules.rota import Duty
    from rules.tonight import Expected, NotShown


@dataclass(frozen=True, slots=True)
class Ahead:
    """What is foretold of one quantity tonight: its lowest and highest hour, or why it is not."""

    felt: Felt
    lowest: Expected | None
    warmest: Expected | None
    why_not: NotShown | None


@dataclass(frozen=True, slots=True)
class BatchTonight:
    """One batch, and the night before it. `dry` counts hours below `dry_limit`, None: not told.

    `day` counts days since grafting. `do_first` is the limit whose action fits the gravest worry.
    """

    batch: Batch
    stage: Stage | None
    day: int
    covered: bool
    standing: Standing | None
    blind_to: tuple[Felt, ...]
    ahead: tuple[Ahead, ...]
    dry_limit: Limit | None
    dry: HoursBeyond | None
    drying: DryingNow | None
    water: WaterAhead | None
    heat: CoverHeat | None
    worries: tuple[Worry, ...]
    do_first: Limit | None


@dataclass(frozen=True, slots=True)
class Doubt:
    """A quantity of a batch that is missing, or told by a sensor that can't be trusted."""

    batch: str
    felt: Felt
    channel: str | None
    belief: Belief


@dataclass(frozen=True, slots=True)
class Around:
    """What both sheets say beside the batches.

    `failing` are the ways, person and way, by which the last message did not arrive.
    """

    standing: tuple[AlarmRecord, ...]
    works: tuple[Work, ...]
    due: tuple[tuple[str, Due], ...]
    doubts: tuple[Doubt, ...]
    duty: tuple[Duty, ...]
    failing: frozenset[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class EveningSheet:
    """The night to come as it looks `at` an aware instant; it ends at minute `sunrise`."""

    at: datetime
    day: date
    sunrise: int
    judged: bool
    batches: tuple[BatchTonight, ...]
    foretold: tuple[Foretold, ...]
    around: Around


@dataclass(frozen=True, slots=True)
class Held:
    """What the evening foretold of one quantity of a batch beside what came, NaN: not seen."""

    told: Foretold
    came: float


@dataclass(frozen=True, slots=True)
class BatchPast:
    """One batch and the night behind it; `past` is None where nothing of it was judged."""

    batch: Batch
    stage: Stage | None
    day: int
    covered: bool
    standing: Standing | None
    past: NightPast | None
    dry_limit: Limit | None
    dry_min: int | None
    held: tuple[Held, ...]


@dataclass(frozen=True, slots=True)
class MorningSheet:
    """The night behind, from minute `first` until before minute `end`.

    `alarms` are those that opened or stood in it, worst first. `errors` by quantity: how far the
    evening's forecasts were off in the mean, how far "as now" would have been, over how many
    batches. `do_first` are the batches to go to, worst first, with the limit whose action fits.
    """

    at: datetime
    day: date
    first: int
    end: int
    batches: tuple[BatchPast, ...]
    alarms: tuple[AlarmRecord, ...]
    errors: Mapping[Felt, tuple[float, float, int]]
    do_first: tuple[tuple[Batch, Limit | None], ...]
    around: Around


Sheet = EveningSheet | MorningSheet
