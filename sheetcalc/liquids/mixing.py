"""Bringing spirit to strength and blending.

Alcohol and water shrink when they mix, so masses are added here, never volumes. Every volume is in litres
at 20 °C and every strength in % vol at 20 °C. Masses are true masses (in vacuo): a scale in air shows
0.1 % less for water (`spirit.weight_in_air`).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array, floats, spirit

# A target may miss what is there already by rounding error.
_ROUNDING = 1.0 + 1e-12


class Mix(NamedTuple):
    """Spirit and water put together.

    water_mass: kg (true mass); water_volume: L; volume: L of the result; strength: % vol of the result;
    contraction: L by which the result is less than the volumes put in.
    """

    water_mass: Array
    water_volume: Array
    volume: Array
    strength: Array
    contraction: Array


class Blend(NamedTuple):
    """Several spirits put together: volume L, strength % vol, contraction L."""

    volume: Array
    strength: Array
    contraction: Array


def water_for_strength(volume: ArrayLike, strength: ArrayLike, target: ArrayLike) -> Mix:
    """Water which brings a spirit down to a target strength.

    volume: L, >= 0; strength, target: % vol, 0 < target <= strength <= 100; broadcast; NaN outside.
    Source: balance of mass with the densities of OIML R 22.
    """
    v, q, wanted = floats(volume, strength, target)
    possible = (v >= 0.0) & (wanted > 0.0) & (wanted <= q * _ROUNDING) & (q <= 100.0)
    v, q, wanted = (np.where(possible, a, np.nan) for a in (v, q, wanted))
    p = spirit.mass_fraction(q)
    mass = _mass(v, p)
    water_mass = np.maximum(mass * p / spirit.mass_fraction(wanted) - mass, 0.0)
    water_volume = _volume(water_mass, 0.0)
    mixed = _volume(mass + water_mass, spirit.mass_fraction(wanted))
    return Mix(water_mass, water_volume, mixed, wanted, v + water_volume - mixed)


def water_for_volume(volume: ArrayLike, strength: ArrayLike, target_volume: ArrayLike) -> Mix:
    """Water which fills a spirit up to a target volume.

    volume, target_volume: L, 0 < volume <= target_volume; strength: % vol, 0..100; broadcast; NaN outside.
    Source: balance of mass with the densities of OIML R 22.
    """
    v, q, filled = floats(volume, strength, target_volume)
    possible = (v > 0.0) & (filled * _ROUNDING >= v) & (q >= 0.0) & (q <= 100.0)
    v, q, filled = (np.where(possible, a, np.nan) for a in (v, q, filled))
    # A strength is the mass of alcohol in a volume (over ethanol's density), so this is a balance of mass.
    reached = q * v / filled
    mass = _mass(v, spirit.mass_fraction(q))
    water_mass = np.maximum(_mass(filled, spirit.mass_fraction(reached)) - mass, 0.0)
    water_volume = _volume(water_mass, 0.0)
    return Mix(water_mass, water_volume, filled, reached, v + water_volume - filled)


def spirit_for_strength(
    volume: ArrayLike, strength: ArrayLike, target: ArrayLike, spirit_strength: ArrayLike
) -> Array:
    """Litres of a stronger spirit which raise a weaker one to a target strength.

    volume: L, >= 0; 0 <= strength <= target < spirit_strength <= 100 % vol; broadcast; NaN outside.
    Source: balance of mass with the densities of OIML R 22.
    """
    v, q, wanted, strong = floats(volume, strength, target, spirit_strength)
    possible = (v >= 0.0) & (q <= wanted) & (wanted < strong)
    p, p_wanted, p_strong = (spirit.mass_fraction(np.where(possible, a, np.nan)) for a in (q, wanted, strong))
    added = _mass(v, p) * (p_wanted - p) / (p_strong - p_wanted)
    return _volume(added, p_strong)


def mix(volumes: ArrayLike, strengths: ArrayLike) -> Blend:
    """Several spirits poured together.

    volumes: L, >= 0; strengths: % vol, 0..100 (0 is water); broadcast, the last axis being the parts, which
    the results lack. One blank part makes its blend NaN; so does a total of nothing.
    Source: balance of mass with the densities of OIML R 22.
    """
    v, q = floats(volumes, strengths)
    v = np.where(v >= 0.0, v, np.nan)
    p = spirit.mass_fraction(q)
    masses = _mass(v, p)
    total = masses.sum(axis=-1)
    total = np.where(total > 0.0, total, np.nan)
    p_mixed = (masses * p).sum(axis=-1) / total
    mixed = _volume(total, p_mixed)
    return Blend(mixed, spirit.strength(p_mixed), v.sum(axis=-1) - mixed)


def remainder(
    volume: ArrayLike, strength: ArrayLike, taken_volume: ArrayLike, taken_strength: ArrayLike
) -> Blend:
    """What stays when a part is taken out of a spirit, as a still does: the reverse of `mix`.

    volume, taken_volume: L, >= 0; strength, taken_strength: % vol, 0..100; broadcast. NaN where more alcohol
    or more mass is taken than there was. Source: balance of mass with the densities of OIML R 22.
    """
    v, q, v_taken, q_taken = floats(volume, strength, taken_volume, taken_strength)
    p, p_taken = spirit.mass_fraction(q), spirit.mass_fraction(q_taken)
    mass, mass_taken = _mass(v, p), _mass(v_taken, p_taken)
    left = np.where(mass > mass_taken, mass - mass_taken, np.nan)
    p_left = (mass * p - mass_taken * p_taken) / left
    p_left = np.where(p_left >= 0.0, p_left, np.nan)
    left_volume = _volume(left, p_left)
    return Blend(left_volume, spirit.strength(p_left), v_taken + left_volume - v)


def _mass(volume: Array, mass_fraction: Array) -> Array:
    """kg in so many litres at 20 °C."""
    return volume * spirit.density(mass_fraction, 20.0) / 1000.0


def _volume(mass: Array, mass_fraction: ArrayLike) -> Array:
    """Litres at 20 °C of so many kg."""
    return 1000.0 * mass / spirit.density(mass_fraction, 20.0)
