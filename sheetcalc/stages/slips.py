"""What a slip of the hand would have meant: the readings that would fit, in words.

Each takes arrays over rows and gives a text a row, '' where nothing fits.
"""

import itertools
from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sheetcalc import units
from sheetcalc.liquids import Array, sugar

Texts = NDArray[np.object_]
Mask = NDArray[np.bool_]

HOTTEST_WASH, HOTTEST_SAMPLE = 45.0, 40.0  # °C


def fahrenheit_for_celsius(temperature: ArrayLike) -> Mask:
    """Whether a temperature (°C) is too hot to be one, and would be sensible read as °F."""
    t = np.asarray(temperature, dtype=float)
    return (t > HOTTEST_WASH) & (t <= 110)


def celsius_for_fahrenheit(temperature: ArrayLike) -> Mask:
    """Whether a temperature (°C, converted from °F) is frozen, but the number typed is a sensible °C."""
    t = np.asarray(temperature, dtype=float)
    typed = t * 9 / 5 + 32
    return (t < -1) & (typed >= 4) & (typed <= HOTTEST_SAMPLE)


def longest_chain(values: Array, margin: float) -> Mask:
    """The largest set of values, in order, none of which is above one before it by more than the margin.

    Values outside it are the ones that do not fit the rest. NaN belongs to none.
    """
    known = np.flatnonzero(np.isfinite(values))
    length = np.ones(len(known), dtype=int)
    before = np.full(len(known), -1)
    for i, at in enumerate(known):
        fits = values[known[:i]] >= values[at] - margin
        if fits.any():
            best = int(np.argmax(np.where(fits, length[:i], 0)))
            length[i], before[i] = length[best] + 1, best
    chain = np.zeros(len(values), dtype=bool)
    i = int(np.argmax(length)) if len(known) else -1
    while i >= 0:
        chain[known[i]] = True
        i = int(before[i])
    return chain


def gravity_meant(typed: ArrayLike, low: ArrayLike, high: ArrayLike) -> Texts:
    """What a gravity (as typed, taken as SG) that lies outside low..high may have been meant as."""
    values, lows, highs = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (typed, low, high)))
    texts = np.full(values.shape, "", dtype=object)
    for i in np.ndindex(values.shape):
        fits = [words for meant, words in _gravity_readings(float(values[i])) if lows[i] <= meant <= highs[i]]
        texts[i] = f"It would fit as {fits[0]}." if fits else ""
    return texts


def _gravity_readings(typed: float) -> Iterable[tuple[float, str]]:
    if not np.isfinite(typed):
        return
    for swapped in swapped_digits(typed, 3):
        yield swapped, f"{swapped:.3f} with two digits exchanged"
    if 0 < typed < 160:
        yield 1 + typed / 1000, f"{1 + typed / 1000:.3f} written short"
    if 1.3 < typed < 40:
        meant = float(sugar.gravity_from_brix(typed))
        yield meant, f"{typed:g} °Bx, which is {meant:.3f}"
    for factor in (0.1, 10.0):
        yield typed * factor, f"{typed * factor:.3f} with the point moved"


def swapped_digits(value: float, decimals: int) -> list[float]:
    """A number with each pair of neighbouring digits exchanged."""
    text = f"{value:.{decimals}f}"
    places = [i for i, character in enumerate(text) if character.isdigit()]
    found = []
    for a, b in itertools.pairwise(places):
        if text[a] != text[b]:
            swapped = list(text)
            swapped[a], swapped[b] = text[b], text[a]
            found.append(float("".join(swapped)))
    return found


def day_and_month_exchanged(moment: float) -> float:
    """A moment (days since 1899-12-30) with day and month exchanged; NaN where there is no such date."""
    if not np.isfinite(moment):
        return np.nan
    when = units.moment(moment)
    try:
        other = when.replace(month=when.day, day=when.month)
    except ValueError:
        return np.nan
    return moment + (other - when).total_seconds() / 86400
