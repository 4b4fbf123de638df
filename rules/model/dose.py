"""Dose limits: a sum over time held against a bound, in the unit that its name carries."""

from __future__ import annotations

from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, Self

from pydantic import Field, model_validator

from rules.model.alarm import Priority, latches
from rules.model.place import Slug, Written
from rules.model.quantities import Felt
from rules.model.words import Side, When, Words

if TYPE_CHECKING:
    from collections.abc import Mapping


class DoseKind(StrEnum):
    """What is added up.

    `light_sum` adds all light. `drying_dose` adds a vapour pressure deficit above `base_kpa`,
    `heat_dose` a temperature above `base_c`, each times its hours. `hours_beyond` adds the hours
    beyond `base`, whatever the quantity. `direct_sun` adds the minutes in which the light is well
    above what the house's cloth lets through of a clear sky.
    """

    LIGHT_SUM = "light_sum"
    DRYING_DOSE = "drying_dose"
    HEAT_DOSE = "heat_dose"
    HOURS_BEYOND = "hours_beyond"
    DIRECT_SUN = "direct_sun"


class Per(StrEnum):
    """When a sum begins again: at local midnight, or with the stage."""

    LOCAL_DAY = "local_day"
    STAGE = "stage"


QUANTITIES: Mapping[DoseKind, frozenset[Felt]] = MappingProxyType(
    {
        DoseKind.LIGHT_SUM: frozenset({Felt.PPFD}),
        DoseKind.DRYING_DOSE: frozenset({Felt.VAPOUR_PRESSURE_DEFICIT, Felt.LEAF_DEFICIT}),
        DoseKind.HEAT_DOSE: frozenset({Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE}),
        DoseKind.HOURS_BEYOND: frozenset(Felt) - {Felt.EXPECTED_PEAK},
        DoseKind.DIRECT_SUN: frozenset({Felt.PPFD}),
    }
)
"""The quantities that each kind can add up."""

BOUND_FIELDS: Mapping[DoseKind, str] = MappingProxyType(
    {
        DoseKind.LIGHT_SUM: "bound_mol_m2",
        DoseKind.DRYING_DOSE: "bound_kpa_h",
        DoseKind.HEAT_DOSE: "bound_c_h",
        DoseKind.HOURS_BEYOND: "bound_h",
        DoseKind.DIRECT_SUN: "bound_min",
    }
)
BASE_FIELDS: Mapping[DoseKind, str | None] = MappingProxyType(
    {
        DoseKind.LIGHT_SUM: None,
        DoseKind.DRYING_DOSE: "base_kpa",
        DoseKind.HEAT_DOSE: "base_c",
        DoseKind.HOURS_BEYOND: "base",
        DoseKind.DIRECT_SUN: None,
    }
)
"""The field that holds each kind's bound or base; a light sum has no base, direct sun its own."""

DOSE_SHOWN: Mapping[DoseKind, str] = MappingProxyType(
    {
        DoseKind.LIGHT_SUM: "mol m⁻²",
        DoseKind.DRYING_DOSE: "kPa·h",
        DoseKind.HEAT_DOSE: "°C·h",
        DoseKind.HOURS_BEYOND: "h",
        DoseKind.DIRECT_SUN: "min",
    }
)
"""The unit of each kind's sum, as people read it."""


class DoseLimit(Written):
    """One bound on a sum over time. A sum on the bound is inside.

    A sum that must stay below its bound (`side` high) is judged in every cell, and stays broken
    until it begins again. One that must reach its bound (`side` low) can only be judged when its
    local day ends, so it needs `per` local_day. A sum of the stage goes on where a plan is edited
    elsewhere. Only cells in its part of the day are added;
    missing cells add nothing, and the sum is then known to be too small.
    `beyond` is the side of `base` on which hours count, for hours_beyond alone. `latch` is that of
    a limit.
    """

    id: Slug
    kind: DoseKind
    quantity: Felt
    side: Side = Side.HIGH
    per: Per = Per.LOCAL_DAY
    when: When = When.ALWAYS
    base_kpa: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    base_c: float | None = Field(default=None, allow_inf_nan=False)
    base: float | None = Field(default=None, allow_inf_nan=False)
    beyond: Side | None = None
    bound_mol_m2: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    bound_kpa_h: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    bound_c_h: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    bound_h: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    bound_min: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    priority: Priority
    latch: bool | None = None
    says: Words
    action: Words

    @property
    def latches(self) -> bool:
        """Whether its alarm, once over, waits until someone has acknowledged it."""
        return latches(self.latch, self.priority)

    @property
    def bound(self) -> float:
        """The bound in the unit of the kind, that of DOSE_SHOWN."""
        return self._figure(BOUND_FIELDS[self.kind])

    @property
    def threshold(self) -> float | None:
        """The base in the unit of the quantity; None where the kind has none."""
        field = BASE_FIELDS[self.kind]
        return None if field is None else self._figure(field)

    def _figure(self, field: str) -> float:
        figure: float | None = {
            "base_kpa": self.base_kpa,
            "base_c": self.base_c,
            "base": self.base,
            "bound_mol_m2": self.bound_mol_m2,
            "bound_kpa_h": self.bound_kpa_h,
            "bound_c_h": self.bound_c_h,
            "bound_h": self.bound_h,
            "bound_min": self.bound_min,
        }[field]
        if figure is None:
            msg = f"dose {self.id} has no {field}, which its model demands"
            raise AssertionError(msg)
        return figure

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.quantity not in QUANTITIES[self.kind]:
            fitting = " or ".join(felt for felt in Felt if felt in QUANTITIES[self.kind])
            msg = f"quantity: a {self.kind} adds up {fitting}; write that, or another kind"
            raise ValueError(msg)
        self._demand_fields()
        if (self.kind is DoseKind.HOURS_BEYOND) != (self.beyond is not None):
            msg = (
                'beyond: goes with kind = "hours_beyond", and only then; '
                'write beyond = "high" for hours above the base, "low" for hours below'
            )
            raise ValueError(msg)
        if self.side is Side.LOW and self.per is not Per.LOCAL_DAY:
            msg = (
                "per: a sum that must be reached is judged when its day ends; "
                'write per = "local_day"'
            )
            raise ValueError(msg)
        return self

    def _demand_fields(self) -> None:
        needed = {BOUND_FIELDS[self.kind], BASE_FIELDS[self.kind]} - {None}
        every = {*BOUND_FIELDS.values(), *BASE_FIELDS.values()} - {None}
        given = {field for field in every if field and getattr(self, field) is not None}
        for field in sorted(field for field in needed if field and field not in given):
            msg = f"{field}: is missing; a {self.kind} needs it"
            raise ValueError(msg)
        for field in sorted(given - needed):
            listed = " and ".join(sorted(name for name in needed if name))
            msg = f"{field}: does not belong to a {self.kind}; it has {listed}"
            raise ValueError(msg)
