"""How many took is what people counted; nothing is made of what nobody said."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model.batch import Batch
from rules.model.site import Site
from rules.take import By, Outcome, first_sign, take_of
from rules.take_figures import LEAST_PLANTS, contrasts, dispersion, share_of_batches, wilson

SITE = Site.model_validate(
    {
        "lead": "wren",
        "site": {
            "title": "Hollow",
            "latitude_deg": -24,
            "longitude_deg": 160,
            "elevation_m": 40,
            "time_zone": "Etc/GMT-11",
        },
        "house": [{"id": "h", "title": "h", "shade_fraction": 0.8, "length_m": 9, "width_m": 5}],
        "bench": [
            {"id": "b", "house": "h", "title": "b", "x_m": 1, "y_m": 1, "length_m": 3, "width_m": 1}
        ],
        "sensor": [],
        "batch": [],
        "person": [{"id": "wren", "name": "Wren", "email": "wren@example.invalid"}],
    }
)
HEALING = {"stage": "healing", "since": "2026-11-03T10:00:00+11:00", "because": "grafted"}
FAILED = {"stage": "failed", "since": "2026-11-20T10:00:00+11:00", "because": "all dry"}


def batch(*observations: dict, stages=(HEALING,), **changes) -> Batch:
    return Batch.model_validate(
        {
            "code": "MG-07",
            "species": "mango",
            "cultivar": "early yellow",
            "rootstock": "local seedling",
            "method": "cleft",
            "scion": "leafy",
            "wrap": "tape",
            "cover": "tied_bag",
            "count": 24,
            "grafter": "TQ",
            "grafted_on": "2026-11-03",
            "bench": "b",
            "plan": "leafy-bag",
            "stage": list(stages),
            "observation": list(observations),
            **changes,
        }
    )


def counted(day: int, alive: int, dead: int | None = None, **more) -> dict:
    told = {"at": f"2026-11-{day:02}T08:00:00+11:00", "seen": "counted", "alive": alive, **more}
    return told if dead is None else {**told, "dead": dead}


def test_the_last_count_decides():
    take = take_of(batch(counted(12, 22, 2), counted(18, 9, 15)), SITE)
    assert (take.taken, take.of, take.outcome) == (9, 24, Outcome.FAILED)
    assert [(one.on.day, one.taken) for one in take.counts] == [(12, 22), (18, 9)]


def test_half_is_taken_and_a_plant_less_is_failed():
    assert take_of(batch(counted(18, 12, 12)), SITE).outcome is Outcome.TAKEN
    assert take_of(batch(counted(18, 11, 13)), SITE).outcome is Outcome.FAILED


def test_living_plants_alone_are_of_all_that_were_grafted():
    assert take_of(batch(counted(18, 20)), SITE).of == 24


def test_what_nobody_counted_is_neither_taken_nor_failed():
    take = take_of(batch(), SITE)
    assert (take.taken, take.share, take.outcome) == (None, None, Outcome.UNKNOWN)


def test_a_batch_declared_failed_without_a_count_is_lost_whole_and_says_so():
    take = take_of(batch(stages=(HEALING, FAILED)), SITE)
    assert (take.taken, take.of, take.by_stage, take.outcome) == (0, 24, True, Outcome.FAILED)
    assert [one.words for one in take.noted] == ["all dry"]


def test_what_a_grower_noted_is_kept_in_their_words():
    seen = counted(18, 2, 22, note="black at the cut")
    assert [one.words for one in take_of(batch(seen), SITE).noted] == ["black at the cut"]


def test_batches_are_told_apart_by_all_that_stands_on_the_label():
    labels = take_of(batch(), SITE).labels
    assert labels[By.MONTH] == "2026-11"
    assert labels[By.HOUSE] == "h"
    assert labels[By.GRAFTER] == "TQ"
    assert set(labels) == set(By)


def test_the_first_sign_is_droop_shortly_before_the_end():
    early = {"at": "2026-11-05T08:00:00+11:00", "seen": "droop"}
    late = {"at": "2026-11-15T08:00:00+11:00", "seen": "droop"}
    assert first_sign(batch(early, late, counted(18, 0, 24))).day == 15
    assert first_sign(batch(early, counted(18, 0, 24))).day == 18
    assert first_sign(batch(counted(18, 24, 0))) is None


def test_a_share_of_few_plants_or_few_batches_is_not_told():
    assert share_of_batches([(20, 24)]) is None
    assert share_of_batches([(20, 24), (20, 24)]) is None
    assert share_of_batches([(8, 9), (8, 9), (8, 9)]) is None
    assert share_of_batches([(8, 10), (8, 10), (8, 10)]) is not None
    assert LEAST_PLANTS == 30


def test_batches_that_differ_widen_the_interval():
    alike = share_of_batches([(12, 24)] * 4)
    apart = share_of_batches([(24, 24), (0, 24), (24, 24), (0, 24)])
    assert alike.share == apart.share == 0.5
    assert alike.counted_as == 96
    assert apart.counted_as == pytest.approx(3.0)
    assert apart.high - apart.low > 2 * (alike.high - alike.low)


@given(st.integers(1, 400), st.data())
def test_an_interval_holds_its_share_and_stays_within_none_and_all(of, data):
    taken = data.draw(st.integers(0, of))
    low, high = wilson(taken, of)
    assert -1e-12 <= low <= taken / of + 1e-12
    assert taken / of - 1e-12 <= high <= 1 + 1e-12


@pytest.mark.parametrize(("taken", "of"), [(3, 2), (-1, 5), (0, 0)])
def test_what_is_no_share_is_refused(taken, of):
    with pytest.raises(ValueError, match="is no share"):
        wilson(taken, of)


def test_dispersion_is_never_below_chance():
    assert dispersion([(7, 10)]) == 1.0
    assert dispersion([(10, 10), (12, 12)]) == 1.0


def test_exposures_of_too_few_batches_are_not_compared_nor_corrected_for():
    same = [1.0, 2.0, 3.0, 4.0]
    far = [11.0, 12.0, 13.0, 14.0]
    few, told = contrasts([([9.0], same), (far, same)])
    assert few is None
    assert told.delta == 1.0
    assert told.p_holm == told.p  # the only one that was looked at
    assert math.isclose(told.p, 2 / 70)
    both = contrasts([(far, same), (far, same)])
    assert both[0].p_holm == pytest.approx(2 * told.p)
