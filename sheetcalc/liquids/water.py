"""Pure water, and gravity, which compares a liquid with it."""

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array, spirit

# kJ/(kg K), mean over 20..100 °C, from IAPWS-95; it varies by 1 % over that range.
HEAT_CAPACITY = 4.19
# kJ/kg at 100 °C, from IAPWS-95.
LATENT_HEAT = 2256.5


def density(temperature: ArrayLike) -> Array:
    """Density of air-free water in vacuo, kg/m3.

    temperature: °C, -20..40 (supercooled below 0), any shape; NaN outside.
    Source: OIML R 22 (1975), general formula with p = 0.
    """
    return spirit.water_density(temperature)


def gravity(density: ArrayLike, temperature: ArrayLike = 20.0) -> Array:
    """Specific gravity t/t of a liquid whose density at the temperature t is given.

    density: kg/m3 in vacuo; temperature: °C, -20..40; broadcast; NaN outside.
    It is the ratio of the weights in air, as the sugar tables (Plato, NBS C440) print it; the ratio of
    the densities in vacuo is lower by 0.00005 at 1.040. Air: OIML R 33 convention.
    """
    rho = np.asarray(density, dtype=np.float64)
    return (rho - spirit.AIR_DENSITY) / (spirit.water_density(temperature) - spirit.AIR_DENSITY)


def density_from_gravity(gravity: ArrayLike, temperature: ArrayLike = 20.0) -> Array:
    """Density at the temperature t, kg/m3 in vacuo, of a specific gravity t/t. Inverse of `gravity`."""
    g = np.asarray(gravity, dtype=np.float64)
    return spirit.AIR_DENSITY + g * (spirit.water_density(temperature) - spirit.AIR_DENSITY)
