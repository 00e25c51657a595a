"""What a liquid is: water, spirit, sugar solution, wash and vapour, as plain functions over arrays.

Every function takes numbers or arrays which broadcast, gives NaN for a blank (NaN) and outside its range,
and never raises for a value.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def floats(*values: ArrayLike) -> tuple[Array, ...]:
    """The values as arrays of float64 broadcast to one shape."""
    return tuple(np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values)))


def within(value: ArrayLike, low: ArrayLike, high: ArrayLike) -> Array:
    """The value, NaN outside the limits; rounding error at a limit is forgiven."""
    v, low, high = (np.asarray(a, dtype=np.float64) for a in (value, low, high))
    slack = 1e-12 * (high - low)
    return np.where((v >= low - slack) & (v <= high + slack), np.clip(v, low, high), np.nan)


def root(
    function: Callable[[Array], Array], a: Array, b: Array, low: ArrayLike = -np.inf, high: ArrayLike = np.inf
) -> Array:
    """Zero of a nearly straight function between a and b by the secant method, kept within the limits."""
    at_a, at_b = function(a), function(b)
    for _ in range(6):
        rise = at_b - at_a
        step = np.where(rise == 0.0, 0.0, at_b * (b - a) / np.where(rise == 0.0, 1.0, rise))
        a, at_a = b, at_b
        b = np.clip(b - step, low, high)
        if settled(b - a, b):
            break
        at_b = function(b)
    return b


def settled(step: Array, value: Array) -> bool:
    """Whether a step changes no value any more by what counts; blanks don't."""
    return not bool(np.any(np.abs(step) > 1e-13 * np.maximum(np.abs(value), 1e-3)))
