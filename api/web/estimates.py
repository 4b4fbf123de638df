"""How a value is told that no sensor gave: with its band, with its hour, or as reckoned."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.drawing.day import instant_of
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from api.records.particulars import Particulars
    from api.web.telling import Telling
    from rules.cover_watch import ExpectedPeak
    from rules.evaluator import BatchOutlook
    from rules.outlook import Likely

LEAF = frozenset({Felt.LEAF_TEMPERATURE, Felt.LEAF_DEFICIT})


def felt_text(felt: Felt, value: float, seen: BatchOutlook, telling: Telling) -> str:
    """Return a value as it stands now, with all that says how sure it is."""
    shown = telling.value(felt, value)
    band = _band_now(felt, seen)
    if felt is Felt.EXPECTED_PEAK and seen.peak is not None:
        return peak_text(seen.peak, telling)
    if band is not None:
        return f"{shown} ({telling.band(felt, band.low, band.high)})"
    now = seen.felt.get(felt)
    if felt in LEAF and is_reckoned(seen) and now is not None:
        return f"{shown} ({telling.words.reckoned})"
    return shown


def is_reckoned(seen: BatchOutlook) -> bool:
    """Return whether the leaf's warmth is reckoned, as no sensor is on a leaf."""
    leaf = seen.felt.get(Felt.LEAF_TEMPERATURE)
    return leaf is not None and leaf.channel is None


def peak_text(peak: ExpectedPeak, telling: Telling) -> str:
    """Return the hottest moment to expect with its hour and its band."""
    low, central, high = (value / 100 for value in (peak.low, peak.central, peak.high))
    felt = Felt.EXPECTED_PEAK
    return telling.words.about(
        telling.value(felt, central),
        telling.time(instant_of(peak.at_minute)),
        telling.band(felt, low, high),
    )


def known_text(felt: Felt, value: float, known: Particulars, telling: Telling) -> str:
    """Return a value as an alarm was raised with it, with what was known beside it."""
    shown = telling.value(felt, value)
    if known.low is not None and known.high is not None:
        band = telling.band(felt, known.low, known.high)
        if known.at_minute is not None:
            return telling.words.about(shown, telling.time(instant_of(known.at_minute)), band)
        return f"{shown} ({band})"
    return f"{shown} ({telling.words.reckoned})" if known.reckoned else shown


def _band_now(felt: Felt, seen: BatchOutlook) -> Likely | None:
    if seen.drying is None:
        return None
    if felt is Felt.RESERVE:
        return seen.drying.reserve_pct
    return seen.drying.hours if felt is Felt.HOURS_TO_CRITICAL else None
