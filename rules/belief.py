"""Why a value is missing, and what speaks against one that is there: in words of a page."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rules.doubt import Flag, QualityTest
from rules.felt import fresh_value
from rules.trust_kit import out_of_calibration

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.speaking import Speaker
    from rules.trust import ChannelMemory
    from rules.trust_kit import QualityKit


class Missing(StrEnum):
    """Why there is no value: what to look for depends on it."""

    NOT_IN_FILE = "not_in_file"
    NEVER_SPOKE = "never_spoke"
    SILENT = "silent"
    NOT_BELIEVED = "not_believed"
    NOT_WORKED_OUT = "not_worked_out"


@dataclass(frozen=True, slots=True)
class Belief:
    """How far a value can be trusted. Of several channels behind it, the worst word counts.

    `missing` says why there is no value, None if there is one. `failed` is the test by which the
    newest word was held out: a value that is there nevertheless is an older one, held over.
    `suspect` is the test that speaks against the newest word, which is used all the same.
    """

    missing: Missing | None
    failed: QualityTest | None = None
    suspect: QualityTest | None = None
    out_of_calibration: bool = False


NO_SENSOR = Belief(Missing.NOT_IN_FILE)
"""No channel of the site file speaks for it."""


def verdict_on(
    memory: ChannelMemory | None, minute: int, *, stale_after_min: int
) -> tuple[QualityTest | None, QualityTest | None]:
    """Return the tests that the newest word of a channel failed, and that made it suspect.

    Both None once that word is older than `stale_after_min`: then the channel is silent.
    """
    if memory is None or minute - memory.said_minute > stale_after_min:
        return None, None
    test = QualityTest(memory.said_test)
    return (
        test if memory.said_flag == Flag.FAIL else None,
        test if memory.said_flag == Flag.SUSPECT else None,
    )


def belief_in(
    kit: QualityKit,
    quality: Mapping[str, ChannelMemory],
    latest: Mapping[str, tuple[int, int]],
    speaker: Speaker,
    *,
    minute: int,
    there: bool,
) -> Belief:
    """Return how far a felt quantity can be trusted in a cell; `there`: whether it has a value."""
    missing: Missing | None = None
    failed: list[QualityTest] = []
    suspect: list[QualityTest] = []
    out = False
    for source in speaker.sources:
        memory = quality.get(source.channel)
        if memory is not None and memory.said_minute < source.from_minute:
            memory = None  # what it said elsewhere says nothing of here
        held_out, doubted = verdict_on(memory, minute, stale_after_min=source.stale_after_min)
        failed += [] if held_out is None else [held_out]
        suspect += [] if doubted is None else [doubted]
        out |= out_of_calibration(kit, source.channel, minute)
        if missing is None and fresh_value(source, latest, minute) is None:
            missing = Missing.SILENT
            if held_out is not None:
                missing = Missing.NOT_BELIEVED
            elif memory is None:
                missing = Missing.NEVER_SPOKE
    if missing is None and not there:
        missing = Missing.NOT_WORKED_OUT
    return Belief(
        missing=missing,
        failed=failed[0] if failed else None,
        suspect=suspect[0] if suspect else None,
        out_of_calibration=out,
    )
