"""The figures a care plan gives for how a scion dries: each with its range and its source."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from pydantic import Field, model_validator

from rules.model.place import Written

if TYPE_CHECKING:
    from collections.abc import Mapping


class Ranged(Written):
    """A figure that nobody knows exactly: the likely value, how low and how high it may be.

    `low` and `high` should hold about half of all cases (the quarter below and the quarter above
    left out), so that the band worked out of several of them is not too wide to be of use.
    """

    central: float = Field(allow_inf_nan=False)
    low: float = Field(allow_inf_nan=False)
    high: float = Field(allow_inf_nan=False)
    source: str = Field(min_length=1)

    @model_validator(mode="after")
    def _order(self) -> Self:
        if not self.low <= self.central <= self.high:
            msg = (
                "central: must lie between low and high; write the lowest believable figure as "
                "low and the highest as high"
            )
            raise ValueError(msg)
        return self


class Leaves(Written):
    """What a leafy scion holds, and the leaves it loses water through.

    `area_cm2` is of all leaves of one scion, seen from one side. `breadth_cm` is of a leaf, along
    the wind. `water_g_m2` is water in a square metre of fresh leaf. `wood_water_g` is water in the
    scion's wood, on which the leaves can draw.
    """

    area_cm2: Ranged
    breadth_cm: Ranged
    water_g_m2: Ranged
    wood_water_g: Ranged

    @model_validator(mode="after")
    def _possible(self) -> Self:
        _demand_within(self, _OF_LEAVES)
        return self


class Stick(Written):
    """A leafless scion: a stick of wood, wrapped in film.

    `water_g_cm3` is water in a cubic centimetre of fresh wood. `film_conductance_mmol_m2_s` is what
    the film passes while it is whole, per area of bark.
    """

    diameter_mm: Ranged
    length_mm: Ranged
    water_g_cm3: Ranged
    film_conductance_mmol_m2_s: Ranged

    @model_validator(mode="after")
    def _possible(self) -> Self:
        _demand_within(self, _OF_STICK)
        return self


class Drying(Written):
    """How the scion loses water, what it can lose, and what it is given; one of leaves and stick.

    `conductance_mmol_m2_s` is of leaf (seen from one side) or of bare bark (all round) with stomata
    shut. `absorbed_share` is how much of the sunlight measured at the bench that area takes up.
    `air_speed_m_s` holds where none is measured. `critical_share` is the share of its fresh water
    below which the scion is past saving, `turgor_loss_share` that at which it droops.
    The stock gives up to `uptake_first_mg_h` to each scion from the start, through the wet cut,
    from `uptake_from_d` days after grafting more, up to `uptake_full_mg_h` at `uptake_full_d`.
    `humidity_error_pct` and `leaf_temperature_error_c` are true value less reading.
    """

    leaves: Leaves | None = None
    stick: Stick | None = None
    conductance_mmol_m2_s: Ranged
    absorbed_share: Ranged
    air_speed_m_s: Ranged
    critical_share: Ranged
    turgor_loss_share: Ranged
    uptake_first_mg_h: Ranged
    uptake_full_mg_h: Ranged
    uptake_from_d: Ranged
    uptake_full_d: Ranged
    humidity_error_pct: Ranged
    leaf_temperature_error_c: Ranged

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if (self.leaves is None) == (self.stick is None):
            msg = (
                "needs either leaves or a stick; write [drying.leaves] for a leafy scion, "
                "[drying.stick] for a leafless one, not both"
            )
            raise ValueError(msg)
        _demand_within(self, _OF_BOTH)
        for first, then in (
            ("critical_share", "turgor_loss_share"),
            ("uptake_first_mg_h", "uptake_full_mg_h"),
            ("uptake_from_d", "uptake_full_d"),
        ):
            lower, higher = _figure(self, first), _figure(self, then)
            if any(
                one > other
                for one, other in (
                    (lower.low, higher.low),
                    (lower.central, higher.central),
                    (lower.high, higher.high),
                )
            ):
                msg = f"{then}: may nowhere be below {first}; raise the one or lower the other"
                raise ValueError(msg)
        return self


_OF_LEAVES: Mapping[str, tuple[float, float]] = {
    "area_cm2": (0.1, 100_000.0),
    "breadth_cm": (0.1, 100.0),
    "water_g_m2": (10.0, 2000.0),
    "wood_water_g": (0.0, 1000.0),
}
_OF_STICK: Mapping[str, tuple[float, float]] = {
    "diameter_mm": (0.5, 200.0),
    "length_mm": (5.0, 5000.0),
    "water_g_cm3": (0.05, 1.0),
    "film_conductance_mmol_m2_s": (1e-5, 100.0),
}
_OF_BOTH: Mapping[str, tuple[float, float]] = {
    "conductance_mmol_m2_s": (0.01, 500.0),
    "absorbed_share": (0.0, 1.0),
    "air_speed_m_s": (0.01, 20.0),
    "critical_share": (0.0, 0.99),
    "turgor_loss_share": (0.0, 1.0),
    "uptake_first_mg_h": (0.0, 100_000.0),
    "uptake_full_mg_h": (0.0, 100_000.0),
    "uptake_from_d": (0.0, 3650.0),
    "uptake_full_d": (0.0, 3650.0),
    "humidity_error_pct": (-20.0, 20.0),
    "leaf_temperature_error_c": (-10.0, 10.0),
}


def _figure(model: Written, name: str) -> Ranged:
    figure = getattr(model, name)
    if not isinstance(figure, Ranged):
        raise TypeError(name)
    return figure


def _demand_within(model: Written, ends: Mapping[str, tuple[float, float]]) -> None:
    for name, (lowest, highest) in ends.items():
        figure = _figure(model, name)
        if figure.low < lowest or figure.high > highest:
            msg = (
                f"{name}: low and high must lie from {lowest:g} to {highest:g}; look at the unit "
                "in the field's name"
            )
            raise ValueError(msg)
