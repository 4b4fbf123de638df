"""What the evaluator carries from cell to cell: small, final, and written to JSON and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Self

from pydantic import TypeAdapter

from rules.doses import DoseState
from rules.limits import LimitState
from rules.model.event import Standing
from rules.model.quantities import Felt
from rules.reckoning import NOTHING_RECKONED, Reckoned
from rules.trend import Ring
from rules.trust import ChannelMemory


@dataclass(frozen=True, slots=True)
class BatchState:
    """One batch after a cell.

    `key` names stage and figures it was judged by, None if unwatched. `conditions` holds only
    those that are raised or on their way, by limit id or "blind.<quantity>". `rings` holds recent
    values of the quantities that can drift. `doses` holds every sum of the stage by its id,
    `reckoned` what is carried on whatever the stage.
    """

    key: str | None
    standing: Standing | None
    conditions: Mapping[str, LimitState]
    rings: Mapping[Felt, Ring]
    doses: Mapping[str, DoseState]
    reckoned: Reckoned

    def under(self, key: str | None, kept: frozenset[str]) -> Self:
        """Return what carries over to a stage or figures called `key`, None for unwatched.

        Delays and trends begin anew, but for the conditions in `kept`. A sum goes on if the dose
        itself is the same; what is reckoned goes on as long as the batch is watched.
        """
        if key is None:
            return replace(
                self, key=None, conditions={}, rings={}, doses={}, reckoned=NOTHING_RECKONED
            )
        doses = {
            name: replace(dose, raised=dose.raised and name in kept)
            for name, dose in self.doses.items()
        }
        conditions = {name: one for name, one in self.conditions.items() if name in kept}
        return replace(self, key=key, conditions=conditions, rings={}, doses=doses)


NEW = BatchState(
    key=None, standing=None, conditions={}, rings={}, doses={}, reckoned=NOTHING_RECKONED
)


@dataclass(frozen=True, slots=True)
class EvaluatorState:
    """Everything after a cell: `minute` is the cell, None before the first.

    `latest` is the last mean of each channel, as (minute, millionths), in order of their keys.
    `quality` is what the quality tests carry of each channel that ever spoke.
    """

    minute: int | None = None
    latest: Mapping[str, tuple[int, int]] = field(default_factory=dict[str, tuple[int, int]])
    batches: Mapping[str, BatchState] = field(default_factory=dict[str, BatchState])
    quality: Mapping[str, ChannelMemory] = field(default_factory=dict[str, ChannelMemory])

    def to_json(self) -> str:
        """Return the state as text from which `from_json` makes an equal one."""
        return _ADAPTER.dump_json(self).decode()

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Return the state that was written; ValueError if the text is none."""
        read = _ADAPTER.validate_json(text)
        return cls(read.minute, read.latest, read.batches, read.quality)


_ADAPTER = TypeAdapter(EvaluatorState)
