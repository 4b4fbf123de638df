"""A seeded generator for the watch's tests."""

from __future__ import annotations

import numpy as np
import pytest


@pytest.fixture
def rng() -> np.random.Generator:
    """Return a generator that draws the same on every run."""
    return np.random.default_rng(20261114)
