"""What a slip of the hand would have meant: the readings that would fit, in words.

Each takes arrays over rows and gives a text a row, '' where nothing fits.
"""

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sheetcalc import units
from sheetcalc.liquids import Array, sugar
from sheetcalc.meant import swapped_digits

Texts = NDArray[np.object_]
Mask = NDArray[np.bool_]

# Beyond so many expanded uncertainties (k = 2) a difference is flagged: k = 3, exceeded by chance in one of
# 370 comparisons.
SURE = 1.5
HOTTEST_WASH, HOTTEST_SAMPLE, COLDEST_SAMPLE = 45.0, 40.0, 4.0  # °C
USUAL_SAMPLE = (10.0, 30.0)  # °C


def fahrenheit_for_celsius(temperature: ArrayLike) -> Mask:
    """Whether a temperature (°C) is too hot to be one, and would be sensible read as °F."""
    t = np.asarray(temperature, dtype=float)
    return (t > HOTTEST_WASH) & (t <= 110)


def too_hot_to_correct(temperature: ArrayLike) -> Mask:
    """Whether a sample (°C) is beyond the range of the density formula, and not meant as °F."""
    hot = np.asarray(temperature, dtype=float) > HOTTEST_SAMPLE
    return np.asarray(hot & ~fahrenheit_for_celsius(temperature))


def celsius_for_fahrenheit(temperature: ArrayLike) -> Mask:
    """Whether a temperature (°C, converted from °F) is frozen, but the number typed is a sensible °C."""
    t = np.asarray(temperature, dtype=float)
    typed = t * 9 / 5 + 32
    return (t < -1) & (typed >= COLDEST_SAMPLE) & (typed <= HOTTEST_SAMPLE)


def too_cold_to_read(temperature: ArrayLike) -> Mask:
    """Whether a sample (°C) is colder than anyone reads one: mostly °C in a column of °F."""
    return np.asarray(np.asarray(temperature, dtype=float) < -1)


def temperature_in_doubt(temperature: ArrayLike) -> Mask:
    """Whether a sample (°C) can't have been so hot or cold, so that no reading is to be corrected by it."""
    t = np.asarray(temperature, dtype=float)
    return np.asarray((t > HOTTEST_WASH) | too_cold_to_read(t))


def temperature_meant(temperature: Array, unit: str) -> Array:
    """A temperature (°C) that can't be right in its unit, read in the other one; NaN where that is none."""
    if unit == "°C":
        return np.where(fahrenheit_for_celsius(temperature), (temperature - 32) * 5 / 9, np.nan)
    return np.where(celsius_for_fahrenheit(temperature), temperature * 9 / 5 + 32, np.nan)


def exchanged_with_strength(temperature: Array, reading: Array, unit: str, strength_unit: str) -> Mask:
    """Whether a temperature (°C) that no reading can be corrected by, and the strength typed beside it (% vol
    as the glass shows), would both make sense in each other's cell.

    unit, strength_unit: the units they are typed in. °C in a column of °F is the likelier slip, and so is °F
    in one of °C unless the sample would be as warm as most are.
    """
    odd = (temperature > HOTTEST_SAMPLE) | too_cold_to_read(temperature)
    _, degrees = exchanged(reading, temperature, strength_unit, unit)
    usual = (degrees >= USUAL_SAMPLE[0]) & (degrees <= USUAL_SAMPLE[1])
    fahrenheit = fahrenheit_for_celsius(temperature) & (unit != "°F") & ~usual
    return np.asarray(odd & np.isfinite(degrees) & ~celsius_for_fahrenheit(temperature) & ~fahrenheit)


def exchanged(reading: Array, temperature: Array, strength_unit: str, unit: str) -> tuple[Array, Array]:
    """What a strength (% vol as the glass shows) and a temperature (°C) would be in each other's cell; NaN
    where one of them makes no sense there. strength_unit, unit: the units they are typed in."""
    strength = typed_there(temperature, ("temperature", unit), ("mark", strength_unit))
    degrees = typed_there(reading, ("mark", strength_unit), ("temperature", unit))
    sensible = (degrees >= COLDEST_SAMPLE) & (degrees <= HOTTEST_SAMPLE) & (strength > 0) & (strength < 97)
    return np.where(sensible, strength, np.nan), np.where(sensible, degrees, np.nan)


def exchanged_with_gravity(temperature: Array, reading: Array, unit: str, gravity_unit: str) -> Mask:
    """Whether an impossible gravity (SG) and the temperature beside it (°C) would make sense in each other's
    cell; unit, gravity_unit: the units they are typed in."""
    gravity = typed_there(temperature, ("temperature", unit), ("gravity", gravity_unit))
    degrees = typed_there(reading, ("gravity", gravity_unit), ("temperature", unit))
    sensible = (degrees >= COLDEST_SAMPLE) & (degrees <= HOTTEST_SAMPLE) & (gravity > 0.95) & (gravity < 1.2)
    return np.asarray(sensible & ((reading > 1.3) | (reading < 0.95)))


def typed_there(values: Array, here: tuple[str, str], there: tuple[str, str]) -> Array:
    """What numbers would mean that are typed here, if they stood there; each a quantity and its unit."""
    return units.to_base(units.from_base(values, *here), *there)


def longest_chain(values: Array, margin: float) -> Mask:
    """The largest set of values, in order, none of which is above one before it by more than the margin.

    Values outside it are the ones that do not fit the rest. Of two sets alike in size it is the one with the
    smaller leaps (their squares added). NaN belongs to none.
    """
    known = np.flatnonzero(np.isfinite(values))
    if (values[known[:-1]] >= values[known[1:]] - margin).all():
        # As mostly: all of them are in order.
        return np.isfinite(values)
    length = np.ones(len(known), dtype=int)
    leaps = np.zeros(len(known))
    before = np.full(len(known), -1)
    for i, at in enumerate(known):
        fits = np.flatnonzero(values[known[:i]] >= values[at] - margin)
        if len(fits):
            so_far = leaps[fits] + (values[known[fits]] - values[at]) ** 2
            best = np.lexsort((so_far, -length[fits]))[0]
            length[i], leaps[i], before[i] = length[fits[best]] + 1, so_far[best], fits[best]
    chain = np.zeros(len(values), dtype=bool)
    i = int(np.lexsort((leaps, -length))[0]) if len(known) else -1
    while i >= 0:
        chain[known[i]] = True
        i = int(before[i])
    return chain


def gravity_meant(typed: ArrayLike, low: ArrayLike, high: ArrayLike, unit: str) -> Texts:
    """What a gravity (as typed, taken as SG) that lies outside low..high may have been meant as.

    unit: the one it was typed in, which is not proposed.
    """
    values, lows, highs = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (typed, low, high)))
    texts = np.full(values.shape, "", dtype=object)
    for i in np.ndindex(values.shape):
        readings = _gravity_readings(float(values[i]), unit)
        fits = [words for meant, words in readings if lows[i] <= meant <= highs[i]]
        # The newest reading of a wash may fit as two units; the person knows which glass it was.
        texts[i] = f"It would fit as {', or as '.join(fits[:2])}." if fits else ""
    return texts


def _gravity_readings(typed: float, unit: str) -> Iterable[tuple[float, str]]:
    if not np.isfinite(typed):
        return
    for swapped in swapped_digits(typed, 3):
        yield swapped, f"{swapped:.3f} with two digits exchanged"
    if 1 < typed < 2:
        meant = 1 + (typed - 1) / 10
        yield meant, f"{meant:.6g} with a zero that was left out"
    if 1.3 < typed < 40 and unit not in ("°Bx", "°P"):
        meant = float(sugar.gravity_from_brix(typed))
        yield meant, f"{typed:g} °Bx, which is {meant:.3f}"
    if 2 <= typed < 160:
        yield 1 + typed / 1000, f"{typed:g} points, which is {1 + typed / 1000:.3f}"
    for factor in (0.1, 10.0):
        yield typed * factor, f"{typed * factor:.3f} with the point moved"


def day_and_month_exchanged(moment: float) -> float:
    """A moment (days since 1899-12-30) with day and month exchanged; NaN where there is no such date."""
    if not np.isfinite(moment):
        return np.nan
    when = units.moment(moment)
    return _as_if(moment, month=when.day, day=when.month)


def in_another_year(moments: Array, later: int) -> Array:
    """Moments (days since 1899-12-30) so many years later; NaN where there is no such date."""
    known = np.isfinite(moments)
    found = np.full(np.shape(moments), np.nan)
    found[known] = [_as_if(m, year=units.moment(m).year + later) for m in np.asarray(moments)[known]]
    return found


def _as_if(moment: float, **parts: Any) -> float:
    """A moment with parts of its date replaced; NaN where there is no such date."""
    when = units.moment(moment)
    try:
        return moment + (when.replace(**parts) - when).total_seconds() / 86400
    except ValueError:
        return np.nan


def date_meant(moments: Array, wrong: Mask) -> Texts:
    """Where day and month exchanged, or another year, bring a wrong date among the sound ones, that date."""
    words = np.full(len(moments), "", dtype=object)
    sound = moments[np.isfinite(moments) & ~wrong]
    for i in np.flatnonzero(wrong):
        for other, slip in other_dates(float(moments[i])):
            if len(sound) and sound.min() - 3 <= other <= sound.max() + 3:
                words[i] = would_fit(slip, other)
    return words


def would_fit(slip: str, moment: float) -> str:
    """That a moment (days since 1899-12-30), reached by a slip that `other_dates` names, would fit."""
    return f"{slip} it would be {units.moment(moment):%Y-%m-%d} and fit."


def other_dates(moment: float) -> Iterable[tuple[float, str]]:
    """What a moment (days since 1899-12-30) may have been meant as, and the slip in words."""
    if np.isfinite(moment):
        year = units.moment(moment).year
        yield day_and_month_exchanged(moment), "With day and month exchanged"
        yield _as_if(moment, year=year - 1), "A year earlier"
        yield _as_if(moment, year=year + 1), "A year later"
