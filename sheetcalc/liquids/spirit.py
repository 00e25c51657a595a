"""Mixtures of ethanol and water: density, strength, proof.

The one source is the general formula of OIML R 22 (1975), International Alcoholometric Tables, which is
also Council Directive 76/766/EEC. A strength is per cent alcohol by volume, the volumes of both the
alcohol and the mixture taken at one temperature, 20 °C unless said otherwise.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array, polynomial, settled, within

SIXTY_FAHRENHEIT = (60.0 - 32.0) / 1.8
COLDEST, WARMEST = -20.0, 40.0

# 27 CFR 30 weighs in ordinary air; OIML R 33 fixes what ordinary air and weights are, kg/m3.
AIR_DENSITY = 1.2
WEIGHT_DENSITY = 8000.0

# Row k belongs to p**k, column i to (t - 20)**i.
_COEFFICIENTS = np.zeros((12, 7))
_COEFFICIENTS[:, 0] = [
    9.982012300e2,
    -1.929769495e2,
    3.891238958e2,
    -1.668103923e3,
    1.352215441e4,
    -8.829278388e4,
    3.062874042e5,
    -6.138381234e5,
    7.470172998e5,
    -5.478461354e5,
    2.234460334e5,
    -3.903285426e4,
]
_COEFFICIENTS[0, 1:] = [
    -2.0618513e-1,
    -5.2682542e-3,
    3.6130013e-5,
    -3.8957702e-7,
    7.1693540e-9,
    -9.9739231e-11,
]
_COEFFICIENTS[1:12, 1] = [
    1.693443461530087e-1,
    -1.046914743455169e1,
    7.196353469546523e1,
    -7.047478054272792e2,
    3.924090430035045e3,
    -1.210164659068747e4,
    2.248646550400788e4,
    -2.605562982188164e4,
    1.852373922069467e4,
    -7.420201433430137e3,
    1.285617841998974e3,
]
_COEFFICIENTS[1:11, 2] = [
    -1.193013005057010e-2,
    2.517399633803461e-1,
    -2.170575700536993,
    1.353034988843029e1,
    -5.029988758547014e1,
    1.096355666577570e2,
    -1.422753946421155e2,
    1.080435942856230e2,
    -4.414153236817392e1,
    7.442971530188783,
]
_COEFFICIENTS[1:10, 3] = [
    -6.802995733503803e-4,
    1.876837790289664e-2,
    -2.002561813734156e-1,
    1.022992966719220,
    -2.895696483903638,
    4.810060584300675,
    -4.672147440794683,
    2.458043105903461,
    -5.411227621436812e-1,
]
_COEFFICIENTS[1:5, 4] = [
    4.075376675622027e-6,
    -8.763058573471110e-6,
    6.515031360099368e-6,
    -1.515784836987210e-6,
]
_COEFFICIENTS[1:3, 5] = [-2.788074354782409e-8, 1.345612883493354e-8]


def _at_temperature(temperature: ArrayLike) -> Array:
    """Coefficients of density as a polynomial in p, shape (12, *temperature); NaN out of range."""
    t = np.asarray(temperature, dtype=np.float64)
    return _at_temperatures(t.tobytes(), t.shape)


@lru_cache(maxsize=64)
def _at_temperatures(values: bytes, shape: tuple[int, ...]) -> Array:
    """Kept, since one column's temperatures come back in every step of a search."""
    t = within(np.frombuffer(values).reshape(shape), COLDEST, WARMEST)
    by_power = _COEFFICIENTS.T.reshape(7, 12, *(1,) * t.ndim)
    found = polynomial(by_power, t - 20.0)
    found.flags.writeable = False
    return found


@lru_cache(maxsize=64)
def _tangents(values: bytes, shape: tuple[int, ...]) -> tuple[Array, Array]:
    """Coefficients of density and of its slope with p."""
    coefficients = _at_temperatures(values, shape)
    powers = np.arange(1.0, len(coefficients)).reshape((-1,) + (1,) * len(shape))
    slope = coefficients[1:] * powers
    slope.flags.writeable = False
    return coefficients, slope


def tangent(mass_fraction: Array, temperature: ArrayLike) -> tuple[Array, Array]:
    """Density, kg/m3 in vacuo, and its slope with the mass fraction, kg/m3; both as in `density`."""
    t = np.asarray(temperature, dtype=np.float64)
    coefficients, slope = _tangents(t.tobytes(), t.shape)
    return polynomial(coefficients, mass_fraction), polynomial(slope, mass_fraction)


def density(mass_fraction: ArrayLike, temperature: ArrayLike) -> Array:
    """Density of a mixture of ethanol and water in vacuo, kg/m3.

    mass_fraction: kg ethanol per kg mixture, 0..1; temperature: °C, -20..40; broadcast; NaN outside.
    Source: OIML R 22 (1975), general formula.
    """
    return polynomial(_at_temperature(temperature), within(mass_fraction, 0.0, 1.0))


def water_density(temperature: ArrayLike) -> Array:
    """Density of water in vacuo, kg/m3, at -20..40 °C, any shape; NaN outside. Source: OIML R 22."""
    return np.asarray(_at_temperature(temperature)[0])


ETHANOL_DENSITY = float(density(1.0, 20.0))
WATER_DENSITY = float(water_density(20.0))


def strength(mass_fraction: ArrayLike, temperature: ArrayLike = 20.0) -> Array:
    """Alcoholic strength by volume, % vol, with both volumes at the temperature.

    mass_fraction: kg ethanol per kg mixture, 0..1; temperature: °C, -20..40; broadcast; NaN outside.
    Source: OIML R 22, definition of strength by volume (there at 20 °C).
    """
    return _strength(_at_temperature(temperature), within(mass_fraction, 0.0, 1.0))


def _strength(coefficients: Array, p: Array) -> Array:
    ethanol: Array = coefficients.sum(axis=0)
    return 100.0 * p * polynomial(coefficients, p) / ethanol


_P = np.linspace(0.0, 1.0, 2001)
_STRENGTH_AT_20 = strength(_P)


def mass_fraction(strength: ArrayLike, temperature: ArrayLike = 20.0) -> Array:
    """Mass fraction of ethanol, kg per kg, of a strength whose volumes are at the temperature.

    strength: % vol, 0..100; temperature: °C, -20..40; broadcast; NaN outside. Right to 1e-10.
    Source: OIML R 22, solved for p (Newton's method from a table at 20 °C).
    """
    return _holding(within(strength, 0.0, 100.0), temperature)


def _holding(strength: Array, temperature: ArrayLike) -> Array:
    """Mass fraction of a strength within 0..100 % vol."""
    wanted = strength / 100.0 * _at_temperature(temperature).sum(axis=0)
    p: Array = np.interp(strength, _STRENGTH_AT_20, _P) + 0.0 * wanted
    for _ in range(4):
        rho, slope = tangent(p, temperature)
        step = (p * rho - wanted) / (rho + p * slope)
        p = np.minimum(np.maximum(p - step, 0.0), 1.0)
        if settled(step, p):
            break
    return p


def density_from_concentration(concentration: ArrayLike, temperature: ArrayLike) -> Array:
    """Density, kg/m3 in vacuo, of the mixture with so much ethanol in a volume at this temperature.

    concentration: kg/m3 (the same as g/L), from 0 to ethanol's density; temperature: °C, -20..40; broadcast;
    NaN outside. Source: OIML R 22, solved as in `mass_fraction`.
    """
    coefficients = _at_temperature(temperature)
    strength = within(100.0 * np.asarray(concentration) / coefficients.sum(axis=0), 0.0, 100.0)
    return polynomial(coefficients, _holding(strength, temperature))


_THINNING_AT_20 = (WATER_DENSITY - density(_P, 20.0)) / (WATER_DENSITY - ETHANOL_DENSITY)


def mass_fraction_from_density(density: ArrayLike, temperature: ArrayLike) -> Array:
    """Mass fraction of ethanol, kg per kg, of the mixture with this density at this temperature.

    density: kg/m3 in vacuo, from ethanol's to water's; temperature: °C, -20..40; broadcast; NaN outside.
    Right to 1e-10. Source: OIML R 22, solved for p (Newton's method from a table at 20 °C); the formula
    falls steadily with p over the whole range, though near pure water below -15 °C hardly at all.
    """
    coefficients = _at_temperature(temperature)
    lightest, heaviest = coefficients.sum(axis=0), coefficients[0]
    thinning = within((heaviest - np.asarray(density)) / (heaviest - lightest), 0.0, 1.0)
    rho = heaviest - thinning * (heaviest - lightest)
    p: Array = np.interp(thinning, _THINNING_AT_20, _P)
    for _ in range(9):
        here, slope = tangent(p, temperature)
        last, p = p, np.minimum(np.maximum(p - (here - rho) / slope, 0.0), 1.0)
        if settled(p - last, p):
            break
    return p


def density_at_20(strength: ArrayLike) -> Array:
    """Density at 20 °C in vacuo, kg/m3, of a strength in % vol at 20 °C, 0..100, any shape; NaN outside.

    Source: OIML R 22.

    >>> density_at_20([0.0, 40.0, 100.0]).round(2).tolist()  # as printed there
    [998.2, 948.05, 789.24]
    """
    return density(mass_fraction(strength), 20.0)


def mass_percent(strength: ArrayLike) -> Array:
    """Per cent ethanol by mass of a strength in % vol at 20 °C, 0..100, any shape; NaN outside.

    Source: OIML R 22.

    >>> mass_percent([40.0, 50.0]).round(2).tolist()  # as printed there
    [33.3, 42.43]
    """
    return 100.0 * mass_fraction(strength)


def strength_from_mass_percent(mass_percent: ArrayLike) -> Array:
    """Strength, % vol at 20 °C, of per cent ethanol by mass, 0..100, any shape; NaN outside.

    Source: OIML R 22.
    """
    return strength(np.asarray(mass_percent, dtype=np.float64) / 100.0)


def proof(strength: ArrayLike) -> Array:
    """US proof of a strength in % vol at 20 °C, 0..100, any shape; NaN outside.

    Twice the % vol with both volumes at 60 °F, reached through the composition.
    Source: 27 CFR 30.11 for the definition, OIML R 22 for the densities.

    >>> proof([0.0, 100.0]).round(6).tolist()  # water, and alcohol as the rule has it
    [0.0, 200.0]
    """
    return 2.0 * _strength(_at_temperature(SIXTY_FAHRENHEIT), mass_fraction(strength))


def strength_from_proof(proof: ArrayLike) -> Array:
    """Strength, % vol at 20 °C, of a US proof, 0..200, any shape; NaN outside. Inverse of `proof`."""
    return strength(mass_fraction(np.asarray(proof, dtype=np.float64) / 2.0, SIXTY_FAHRENHEIT))


def volume_factor(strength: ArrayLike, temperature: ArrayLike) -> Array:
    """Litres at 20 °C which one litre of spirit at the temperature becomes.

    strength: % vol at 20 °C, 0..100; temperature: °C, -20..40; broadcast; NaN outside.
    Source: OIML R 22 (densities of one composition at two temperatures; the vessel's own expansion is
    left out, it is 0.004 % a degree for steel).
    """
    p = mass_fraction(strength)
    return density(p, temperature) / density(p, 20.0)


def weight_in_air(mass: ArrayLike, density: ArrayLike) -> Array:
    """What a scale shows, kg, for a true mass of liquid; the air bears a part of it.

    mass: kg; density: of the liquid, kg/m3; broadcast.
    Source: OIML R 33 convention (air 1.2 kg/m3, weights 8000 kg/m3).
    """
    m, rho = np.asarray(mass, dtype=np.float64), np.asarray(density, dtype=np.float64)
    return m * (1.0 - AIR_DENSITY / rho) / (1.0 - AIR_DENSITY / WEIGHT_DENSITY)


def volume_of_weight(weight: ArrayLike, strength: ArrayLike) -> Array:
    """Litres at 20 °C of spirit of which a scale in air shows so much, kg; inverse of `weight_in_air`.

    weight: kg; strength: % vol at 20 °C, 0..100; broadcast; NaN outside.
    Source: OIML R 22 and R 33; 27 CFR 30.41 weighs in air, too.
    """
    rho = density_at_20(strength)
    return np.asarray(1000.0 * np.asarray(weight, dtype=np.float64) / (rho * weight_in_air(1.0, rho)))
