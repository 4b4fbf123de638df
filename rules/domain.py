"""The range in which a sum holds, and the promise that one in gives one out and many give many.

Every sum of the air and of light admits its inputs here. A number goes through the very arithmetic
of an array, so that the two agree to the last bit.
"""

from __future__ import annotations

from typing import TypeVar, cast

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

Figure = TypeVar("Figure", float, NDArray[np.float64])
"""One number or an array of them. What a sum is given is what it gives back."""


def admitted(
    values: float | Floats, *, lowest: float, highest: float, name: str, unit: str
) -> Floats:
    """Return the values as an array of floats; the first one out of its range is a ValueError.

    NaN is a missing value and passes. Infinity never does, even where `highest` is infinite.

    >>> admitted(20, lowest=-20.0, highest=60.0, name="temperature", unit="°C").tolist()
    [20.0]
    >>> admitted(140.0, lowest=0.0, highest=100.0, name="relative humidity", unit="%")
    Traceback (most recent call last):
    ValueError: relative humidity: 140 does not lie between 0 and 100 %
    """
    given = np.ascontiguousarray(values, dtype=np.float64)
    outside = (given < lowest) | (given > highest) | np.isinf(given)
    if bool(np.any(outside)):
        first = float(given[outside][0])
        if np.isinf(highest):
            msg = f"{name}: {first:.10g} must be {lowest:.4g} {unit} or more, and finite"
        else:
            msg = f"{name}: {first:.10g} does not lie between {lowest:.4g} and {highest:.6g} {unit}"
        raise ValueError(msg)
    return given


def as_given(result: Floats, *given: Figure) -> Figure:
    """Return a result as its inputs came: a number for numbers, an array when one was an array.

    >>> as_given(np.array([3.0]), 1.0, 2.0)
    3.0
    >>> as_given(np.array([3.0]), np.array([1.0])).tolist()
    [3.0]
    """
    answer: object
    if any(isinstance(one, np.ndarray) for one in given):
        answer = result.reshape(np.broadcast_shapes(*(np.shape(one) for one in given)))
    else:
        answer = float(result[0])
    return cast("Figure", answer)
