"""Shares with their intervals, and how exposures go with take: the statistics of taking.

Plants of one batch share a day, a hand and a bench, so they tell less than so many plants would
that were grafted one by one. Where batches differ by more than chance, they are counted for fewer.
"""

# scipy and statsmodels carry no types; what comes out of them is given one here.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false, reportUnknownVariableType=false

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np
from scipy.stats import mannwhitneyu
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

if TYPE_CHECKING:
    from collections.abc import Sequence

CONFIDENCE = 0.95
LEAST_PLANTS, LEAST_BATCHES = 30, 3
"""From fewer plants or batches nothing is said of a share: house rule."""
LEAST_A_SIDE = 4
"""With fewer batches that failed, or that took, nothing is compared: house rule."""


@dataclass(frozen=True, slots=True)
class Share:
    """A share with the ends of its interval, 0 to 1, and for how many plants it was counted."""

    share: float
    low: float
    high: float
    counted_as: float


@dataclass(frozen=True, slots=True)
class Contrast:
    """How one exposure of failed batches stands to that of taken ones.

    `delta` is Cliff's: how much likelier a failed batch had more of it than a taken one, less the
    reverse, -1 to 1. `p` is of the Mann-Whitney test, two-sided; `p_holm` of the same after Holm's
    correction for all that were looked at.
    """

    failed: int
    taken: int
    median_failed: float
    median_taken: float
    delta: float
    p: float
    p_holm: float


def wilson(taken: float, of: float, *, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return both ends of Wilson's score interval of a share.

    0 <= taken <= of, of above 0, else ValueError. Source: Wilson 1927; Newcombe 1998, method 3.

    >>> [round(end, 4) for end in wilson(81, 263)]
    [0.2553, 0.3662]
    """
    if not 0 <= taken <= of or of <= 0:
        msg = f"{taken:g} of {of:g} is no share"
        raise ValueError(msg)
    ends = proportion_confint(taken, of, alpha=1.0 - confidence, method="wilson")
    return cast("tuple[float, float]", tuple(float(cast("float", end)) for end in ends))


def dispersion(counts: Sequence[tuple[int, int]]) -> float:
    """Return by how much batches differ more than chance would have them, 1 or more.

    Pearson's chi-squared over its degrees of freedom, of taken and of all in each batch; 1 for one
    batch alone, and where all or none took.

    >>> dispersion([(5, 10), (5, 10)])
    1.0
    >>> round(dispersion([(10, 10), (0, 10)]), 6)
    20.0
    """
    taken, of = (np.array(row, dtype=np.float64) for row in zip(*counts, strict=True))
    share = taken.sum() / of.sum()
    if len(counts) < 2 or share in {0.0, 1.0}:
        return 1.0
    chi = float((((taken - of * share) ** 2) / (of * share * (1.0 - share))).sum())
    return max(1.0, chi / (len(counts) - 1))


def share_of_batches(counts: Sequence[tuple[int, int]]) -> Share | None:
    """Return the share that took, with Wilson's interval; None where there is too little to say.

    Plants are counted for as many as `dispersion` leaves of them.
    """
    of = sum(plants for _, plants in counts)
    if of < LEAST_PLANTS or len(counts) < LEAST_BATCHES:
        return None
    taken = sum(took for took, _ in counts)
    by = dispersion(counts)
    low, high = wilson(taken / by, of / by)
    return Share(taken / of, low, high, of / by)


def cliffs_delta(failed: Sequence[float], taken: Sequence[float]) -> float:
    """Return Cliff's delta of two samples, 0 where either is empty. Source: Cliff 1993.

    >>> cliffs_delta([3, 4], [1, 2])
    1.0
    """
    one = np.asarray(failed, dtype=np.float64)[:, None]
    other = np.asarray(taken, dtype=np.float64)[None, :]
    return float(np.sign(one - other).mean()) if one.size and other.size else 0.0


def contrasts(
    pairs: Sequence[tuple[Sequence[float], Sequence[float]]],
) -> list[Contrast | None]:
    """Hold the exposures of failed batches against those of taken ones, Holm's correction over all.

    None for a pair with too few on either side; it is not among those that are corrected for.
    """
    raw: list[float | None] = [
        None if min(len(failed), len(taken)) < LEAST_A_SIDE else mann_whitney_p(failed, taken)
        for failed, taken in pairs
    ]
    known = [p for p in raw if p is not None]
    corrected = iter(holm(known))
    return [
        None
        if p is None
        else Contrast(
            failed=len(failed),
            taken=len(taken),
            median_failed=float(np.median(failed)),
            median_taken=float(np.median(taken)),
            delta=cliffs_delta(failed, taken),
            p=p,
            p_holm=next(corrected),
        )
        for (failed, taken), p in zip(pairs, raw, strict=True)
    ]


def mann_whitney_p(one: Sequence[float], other: Sequence[float]) -> float:
    """Return the two-sided p of the Mann-Whitney test; 1 where all values are the same."""
    if len({*one, *other}) == 1:
        return 1.0
    found = cast("tuple[float, float]", mannwhitneyu(one, other, alternative="two-sided"))
    return float(found[1])


def holm(p: Sequence[float]) -> list[float]:
    """Return p values after Holm's step-down correction, in their own order. Source: Holm 1979.

    >>> [round(one, 3) for one in holm([0.01, 0.04, 0.03, 0.005])]
    [0.03, 0.06, 0.06, 0.02]
    """
    if not p:
        return []
    corrected = cast("Sequence[float]", multipletests(p, method="holm")[1])
    return [float(one) for one in corrected]
