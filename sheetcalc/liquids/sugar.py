"""Solutions of sugar in water.

°Bx and °P both mean grams of sucrose in 100 g of solution. One formula serves both over the whole range,
the ICUMSA density of sucrose solutions at 20 °C; the polynomials usually seen are fits to tables made
before it and end early. Against them, with gravity weighed in air as those tables do (`water.gravity`),
it differs by at most 0.022 °Bx from the NBS C440 fit (1.000 to 1.178) and 0.02 °P from the ASBC
polynomial (1.000 to 1.14); both come to 0.0001 in gravity, a twentieth of a division of a hydrometer.
"""

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array, polynomial, settled, water, within

LOWEST_GRAVITY, HIGHEST_GRAVITY = 0.98, 1.35

# ICUMSA SPS-4 (1998) and OIML G 14 (2011), from memory; held against the table of NBS C440.
_OVER_WATER = np.array([0.0, 385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890])
# kg/m3 per K and unit mass fraction: the first thermal term of the same formula, from memory.
_THERMAL = -0.46720

_OVER_WATER_SLOPE = _OVER_WATER[1:] * np.arange(1.0, len(_OVER_WATER))

_FRACTIONS = np.linspace(-0.07, 0.85, 1841)


def _over_water(mass_fraction: Array) -> Array:
    """kg/m3 by which a solution at 20 °C is denser than water."""
    return polynomial(_OVER_WATER, mass_fraction)


def _tangent(mass_fraction: Array) -> tuple[Array, Array]:
    """`_over_water` and its slope with the mass fraction."""
    return polynomial(_OVER_WATER, mass_fraction), polynomial(_OVER_WATER_SLOPE, mass_fraction)


def tangent(mass_fraction: Array, temperature: ArrayLike) -> tuple[Array, Array]:
    """Density, kg/m3 in vacuo, and its slope with the mass fraction, kg/m3; `density` without a limit."""
    thermal = _THERMAL * (within(temperature, 0.0, 40.0) - 20.0)
    over, slope = _tangent(mass_fraction)
    return water.density(temperature) + over + thermal * mass_fraction, slope + thermal


_OVER_WATER_THERE = _over_water(_FRACTIONS)


def density(mass_fraction: ArrayLike, temperature: ArrayLike) -> Array:
    """Density of sucrose in water in vacuo, kg/m3.

    mass_fraction: kg sucrose per kg solution, -0.07..0.85 (a negative one continues the curve below
    water, for a wash lighter than water taken as sugar; above 0.67 it stays liquid only as a syrup of several
    sugars); temperature: °C, 0..40; broadcast; NaN outside.
    Source: ICUMSA SPS-4 / OIML G 14 at 20 °C; away from 20 °C the expansion of water (OIML R 22) and the
    formula's first thermal term only; the terms left out are small against a division of a hydrometer.
    """
    w = within(mass_fraction, _FRACTIONS[0], _FRACTIONS[-1])
    t = within(temperature, 0.0, 40.0)
    return water.density(t) + _over_water(w) + _THERMAL * w * (t - 20.0)


def mass_fraction_from_density(density: ArrayLike, temperature: ArrayLike) -> Array:
    """Mass fraction of sucrose, kg per kg, of the solution with this density at this temperature.

    density: kg/m3 in vacuo; temperature: °C, 0..40; broadcast; NaN outside the range of `density`.
    Source: `density` solved by Newton's method from a table at 20 °C.
    """
    t = within(temperature, 0.0, 40.0)
    over = np.asarray(density, dtype=np.float64) - water.density(t)
    w: Array = np.interp(over, _OVER_WATER_THERE, _FRACTIONS)
    thermal = _THERMAL * (t - 20.0)
    for _ in range(4):
        here, slope = _tangent(w)
        step = (here + thermal * w - over) / (slope + thermal)
        w = w - step
        if settled(step, w):
            break
    return within(w, _FRACTIONS[0], _FRACTIONS[-1])


def density_from_concentration(concentration: ArrayLike, temperature: ArrayLike) -> Array:
    """Density, kg/m3 in vacuo, of the solution with so much sucrose in a volume at this temperature.

    concentration: kg/m3 (the same as g/L), -69..990; temperature: °C, 0..40; broadcast; NaN outside.
    Source: `density` solved by Newton's method.
    """
    t = within(temperature, 0.0, 40.0)
    c = np.asarray(concentration, dtype=np.float64)
    c = np.where((c >= -69.0) & (c <= 990.0), c, np.nan)
    constant, thermal = water.density(t), _THERMAL * (t - 20.0)
    w: Array = c / (constant + 0.38 * c)
    for _ in range(4):
        over, slope = _tangent(w)
        rho = constant + over + thermal * w
        step = (w * rho - c) / (rho + w * (slope + thermal))
        w = w - step
        if settled(step, w):
            break
    return constant + _over_water(w) + thermal * w


def brix(gravity: ArrayLike) -> Array:
    """°Bx (g sucrose in 100 g) of a gravity, SG 20/20, 0.98..1.35, any shape; NaN outside.

    Below 1.000 it is negative, by continuation. Source: ICUMSA SPS-4 / OIML G 14; see the module's text.

    >>> brix([1.040, 1.083]).round(1).tolist()  # as in the table of NBS C440
    [10.0, 20.0]
    """
    g = within(gravity, LOWEST_GRAVITY, HIGHEST_GRAVITY)
    return 100.0 * mass_fraction_from_density(water.density_from_gravity(g), 20.0)


def gravity_from_brix(brix: ArrayLike) -> Array:
    """Gravity, SG 20/20, of °Bx, about -5.3..70, any shape; NaN outside 0.98..1.35. Inverse of `brix`."""
    solution = density(np.asarray(brix, dtype=np.float64) / 100.0, 20.0)
    return within(water.gravity(solution), LOWEST_GRAVITY, HIGHEST_GRAVITY)


def plato(gravity: ArrayLike) -> Array:
    """°P of a gravity, SG 20/20, 0.98..1.35, any shape; NaN outside.

    Degrees Plato and Brix mean the same; see the module's text for the difference of their tables.
    """
    return brix(gravity)


def gravity_from_plato(plato: ArrayLike) -> Array:
    """Gravity, SG 20/20, of °P, about -5.3..70, any shape; NaN outside. Inverse of `plato`."""
    return gravity_from_brix(plato)


_BRIX_OF_INDEX = np.array([-99127.4536, 318417.95, -413145.80, 270177.93, -88885.21, 11758.74])


def brix_from_refractive_index(refractive_index: ArrayLike) -> Array:
    """°Bx of a sugar solution from its refractive index at 20 °C, 589 nm.

    refractive_index: 1.3330..1.4651 (0 to 70 °Bx), any shape; NaN outside. Holds before fermentation:
    alcohol bends light too. Source: polynomial fit of the ICUMSA 1974 table (from memory); its rounded
    coefficients cost up to 0.03 °Bx.
    """
    return polynomial(_BRIX_OF_INDEX, within(refractive_index, 1.3330, 1.4651))
