"""Air that is warmed or mixed in a supposed change, against an independent library."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest

from rules.cells import MICRO, CellBlock
from rules.model.site import Site
from rules.supposed_cells import Cells
from rules.supposing import Hotter

psychrolib.SetUnitSystem(psychrolib.SI)
SITE = {
    "site": {
        "title": "A nursery",
        "latitude_deg": 14.0,
        "longitude_deg": 100.5,
        "elevation_m": 20.0,
        "time_zone": "Asia/Bangkok",
    },
    "lead": "lead",
    "house": [{"id": "north", "title": "H", "shade_fraction": 0.5, "length_m": 20, "width_m": 8}],
    "bench": [
        {
            "id": "b",
            "house": "north",
            "title": "B",
            "x_m": 1,
            "y_m": 1,
            "length_m": 4,
            "width_m": 1,
        }
    ],
    "person": [{"id": "lead", "name": "The lead", "email": "lead@example.org"}],
    "sensor": [
        {
            "id": "house",
            "title": "S",
            "topic": "site/house",
            "channel": [
                {"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "t"},
                {"id": "damp", "quantity": "relative_humidity", "unit": "%RH", "path": "h"},
            ],
            "position": [{"since": "2026-05-01T00:00:00Z", "house": "north"}],
        }
    ],
}


@pytest.mark.published("psychrolib 2.5.0: GetVapPresFromRelHum, GetRelHumFromVapPres (ASHRAE 2017)")
@pytest.mark.parametrize("by_c", [-3.0, 0.5, 2.0, 8.0])
def test_humidity_follows_warmth_at_constant_vapour_pressure(by_c):
    told = [(5.0, 40.0), (15.0, 60.0), (25.0, 80.0), (30.0, 55.0), (40.0, 30.0)]
    means = np.rint(np.array(told) * MICRO).astype(np.int64)
    block = CellBlock(
        29_631_840, ("house/air", "house/damp"), means, np.ones(means.shape, dtype=np.bool_)
    )
    ours = Cells(Hotter(by_c), {}).of(Site.model_validate(SITE), block).means / MICRO
    for (air_c, damp_pct), (warm_c, drier_pct) in zip(told, ours.tolist(), strict=True):
        vapour_pa = psychrolib.GetVapPresFromRelHum(air_c, damp_pct / 100.0)
        theirs = 100.0 * psychrolib.GetRelHumFromVapPres(air_c + by_c, vapour_pa)
        assert warm_c == air_c + by_c
        # The two equations of saturation differ by less than 0.3 % there; so may the humidity.
        assert drier_pct == pytest.approx(theirs, rel=0.004)
