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
    arrays = [np.asarray(value, dtype=np.float64) for value in values]
    shape = arrays[0].shape
    if all(array.shape == shape for array in arrays):
        return tuple(arrays)
    return tuple(np.broadcast_arrays(*arrays))


def within(value: ArrayLike, low: float, high: float) -> Array:
    """The value, NaN outside the limits; rounding error at a limit is forgiven."""
    v = np.asarray(value, dtype=np.float64)
    kept = np.minimum(np.maximum(v, low), high)
    return np.where(np.abs(v - kept) <= 1e-11 * (high - low), kept, np.nan)


# Up to so many values a table of powers takes less time than the many steps of Horner's rule.
_FEW = 100


def polynomial(coefficients: Array, x: Array) -> Array:
    """Value of a polynomial.

    coefficients: from the constant up along the first axis; the other axes broadcast with x.
    """
    if x.size <= _FEW:
        powers = np.empty((len(coefficients), *x.shape))
        powers[0], powers[1:] = 1.0, x
        np.multiply.accumulate(powers, axis=0, out=powers)
        # Not by einsum, whose last digits differ from processor to processor.
        return np.asarray(
            (_of_rank(coefficients, x.ndim) * _of_rank(powers, coefficients.ndim - 1)).sum(axis=0)
        )
    value = np.asarray(coefficients[-1] + 0.0 * x)
    for coefficient in coefficients[-2::-1]:
        value *= x
        value += coefficient
    return value


def _of_rank(table: Array, rank: int) -> Array:
    """A table of arrays, which have so many axes or more, so that they broadcast like these."""
    missing = rank - (table.ndim - 1)
    return table.reshape(len(table), *(1,) * missing, *table.shape[1:]) if missing > 0 else table


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
        if settled(b - a, b, SECANT):
            break
        at_b = function(b)
    return b


# A search is over when a step is no more than such a share of the value: what is left then
# is about the square of a step of Newton's method, or a step of the secant method times the one before.
NEWTON, SECANT = 1e-8, 1e-9


def settled(step: Array, value: Array, share: float = NEWTON) -> bool:
    """Whether a step of a search was at most this share of the value; blanks don't count."""
    return not (np.abs(step) > share * np.maximum(np.abs(value), 1e-3)).any()
