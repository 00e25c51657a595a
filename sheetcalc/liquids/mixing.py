"""Bringing spirit to strength and blending.

Alcohol and water shrink when they mix, so masses are added here, never volumes. Every volume is in litres
at 20 °C and every strength in % vol at 20 °C. Masses are true masses (in vacuo): a scale in air shows
0.1 % less for water (`spirit.weight_in_air`).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array, floats, spirit, within

# A target may miss what is there already by rounding error.
_ROUNDING = 1.0 + 1e-12
# Each step of the searches below leaves less than two fifths of the error of the one before.
_STEPS = 40


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

    By hand: 0.42 L of pure alcohol fill 1.050 L at 40 % vol and weigh 0.99545 kg then, 0.63638 kg before.

    >>> mix = water_for_strength(0.7, 60.0, 40.0)
    >>> [round(float(value), 4) for value in (mix.volume, mix.water_mass)]
    [1.05, 0.3591]
    """
    v, q, wanted = floats(volume, strength, target)
    possible = (v >= 0.0) & (wanted > 0.0) & (wanted <= q * _ROUNDING) & (q <= 100.0)
    v, q, wanted = (np.where(possible, a, np.nan) for a in (v, q, wanted))
    p, p_wanted = spirit.mass_fraction(np.stack([q, wanted]))
    mass = _mass(v, p)
    water_mass = np.maximum(mass * p / p_wanted - mass, 0.0)
    water_volume = _volume(water_mass, 0.0)
    mixed = _volume(mass + water_mass, p_wanted)
    return Mix(water_mass, water_volume, mixed, wanted, v + water_volume - mixed)


def strength_with_water(volume: ArrayLike, strength: ArrayLike, water_mass: ArrayLike) -> Array:
    """Strength, % vol at 20 °C, of a spirit with so much water. Inverse of `water_for_strength`.

    volume: L, >= 0; strength: % vol, 0..100; water_mass: kg, >= 0; broadcast; NaN outside.
    Source: balance of mass with the densities of OIML R 22.
    """
    v, q, water = floats(volume, strength, water_mass)
    p = spirit.mass_fraction(np.where((v >= 0.0) & (water >= 0.0), q, np.nan))
    mass = _mass(v, p)
    with np.errstate(invalid="ignore"):
        return spirit.strength(mass * p / (mass + water))


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
    added = part_for_strength(v, q, wanted, strong)
    return np.where((q <= wanted) & (wanted < strong), added, np.nan)


def part_for_strength(
    volume: ArrayLike, strength: ArrayLike, target: ArrayLike, part_strength: ArrayLike
) -> Array:
    """Litres of another part, stronger or weaker, which bring a spirit to a target strength.

    volume: L, >= 0; strength, target, part_strength: % vol, 0..100 (0 is water); broadcast; NaN where no
    amount of the part does it. Source: balance of mass with the densities of OIML R 22.
    """
    v, q, wanted, q_part = floats(volume, strength, target, part_strength)
    p, p_wanted, p_part = (spirit.mass_fraction(a) for a in (q, wanted, q_part))
    mass = _mass(np.where(v >= 0.0, v, np.nan), p)
    with np.errstate(divide="ignore", invalid="ignore"):
        added = mass * (p_wanted - p) / (p_part - p_wanted)
    return _volume(_amount(added, mass), p_part)


def part_for_volume(
    volume: ArrayLike, strength: ArrayLike, target_volume: ArrayLike, part_strength: ArrayLike
) -> Array:
    """Litres of another part which fill a spirit up to a target volume.

    volume, target_volume: L, 0 <= volume <= target_volume; strength, part_strength: % vol, 0..100; broadcast;
    NaN outside. Source: balance of mass with the densities of OIML R 22.
    """
    v, q, filled, q_part = floats(volume, strength, target_volume, part_strength)
    p, p_part = spirit.mass_fraction(q), spirit.mass_fraction(q_part)
    mass = _mass(np.where((v >= 0.0) & (v <= filled * _ROUNDING) & (filled > 0.0), v, np.nan), p)
    added = np.maximum(filled - v, 0.0)
    for _ in range(_STEPS):
        mass_part = _mass(added, p_part)
        p_mixed = (mass * p + mass_part * p_part) / (mass + mass_part)
        added = np.maximum(added + filled - _volume(mass + mass_part, p_mixed), 0.0)
    return added


def part_strength(volume: ArrayLike, strength: ArrayLike, target: ArrayLike, part_volume: ArrayLike) -> Array:
    """Strength, % vol, which another part has to have to bring a spirit to a target strength.

    volume: L, >= 0; part_volume: L, > 0; strength, target: % vol, 0..100; broadcast; NaN where neither water
    nor pure alcohol does it. Source: balance of mass with the densities of OIML R 22.
    """
    v, q, wanted, v_part = floats(volume, strength, target, part_volume)
    p, p_wanted = spirit.mass_fraction(q), spirit.mass_fraction(wanted)
    mass = _mass(np.where(v >= 0.0, v, np.nan), p)
    v_part = np.where(v_part > 0.0, v_part, np.nan)
    p_part = p_wanted
    for _ in range(_STEPS):
        p_part = p_wanted + mass * (p_wanted - p) / _mass(v_part, np.clip(p_part, 0.0, 1.0))
    return spirit.strength(within(p_part, 0.0, 1.0))


def two_parts(
    volume: ArrayLike,
    strength: ArrayLike,
    target: ArrayLike,
    target_volume: ArrayLike,
    first_strength: ArrayLike,
    second_strength: ArrayLike,
) -> tuple[Array, Array]:
    """Litres of two more parts which bring a spirit to a target strength and to a target volume.

    volume, target_volume: L, >= 0, the volume may be 0; all strengths: % vol, 0..100; broadcast; NaN where
    no amounts do it. Source: balance of mass with the densities of OIML R 22.
    """
    v, q, wanted, filled, q_1, q_2 = floats(
        volume, strength, target, target_volume, first_strength, second_strength
    )
    p, p_wanted, p_1, p_2 = (spirit.mass_fraction(a) for a in (q, wanted, q_1, q_2))
    mass, total = _mass(np.where(v >= 0.0, v, np.nan), p), _mass(filled, p_wanted)
    alcohol = total * p_wanted - mass * p
    with np.errstate(divide="ignore", invalid="ignore"):
        first = (alcohol - (total - mass) * p_2) / (p_1 - p_2)
    first, second = _amount(first, total), _amount(total - mass - first, total)
    possible = np.isfinite(first + second)
    first, second = (np.where(possible, mass, np.nan) for mass in (first, second))
    return _volume(first, p_1), _volume(second, p_2)


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
    p, p_taken = spirit.mass_fraction(np.stack([q, q_taken]))
    mass, mass_taken = _mass(v, p), _mass(v_taken, p_taken)
    left, p_left = _left(mass - mass_taken, mass * p - mass_taken * p_taken)
    left_volume = _volume(left, p_left)
    return Blend(left_volume, spirit.strength(p_left), v_taken + left_volume - v)


def remainders(
    volume: ArrayLike, strength: ArrayLike, taken_volumes: ArrayLike, taken_strengths: ArrayLike
) -> Blend:
    """What stays after each of several parts that are taken out of one spirit in turn.

    taken_volumes, taken_strengths: along the last axis, which the results have, too; volume and strength lack
    it; units, range and source as in `remainder`. After a blank, or more than there was, all is NaN.
    """
    v, q = np.asarray(volume, dtype=np.float64)[..., None], np.asarray(strength, dtype=np.float64)[..., None]
    v_taken, q_taken = floats(taken_volumes, taken_strengths)
    p, p_taken = spirit.mass_fraction(q), spirit.mass_fraction(q_taken)
    mass, masses_taken = _mass(v, p), _mass(v_taken, p_taken)
    left, p_left = _left(
        mass - np.cumsum(masses_taken, axis=-1), mass * p - np.cumsum(masses_taken * p_taken, axis=-1)
    )
    possible = np.logical_and.accumulate(np.isfinite(p_left), axis=-1)
    left_volume = _volume(left, np.where(possible, p_left, np.nan))
    strengths = spirit.strength(np.where(possible, p_left, np.nan))
    return Blend(left_volume, strengths, np.cumsum(v_taken, axis=-1) + left_volume - v)


def _left(mass: Array, alcohol: Array) -> tuple[Array, Array]:
    """Mass, kg, of what is left, and its mass fraction of alcohol; NaN where either is below nothing."""
    left = np.where(mass > 0.0, mass, np.nan)
    p = alcohol / left
    return left, np.where(p >= 0.0, p, np.nan)


def _amount(mass: Array, beside: Array) -> Array:
    """A mass, kg; NaN where it is infinite or below nothing by more than rounding error beside another."""
    possible = np.isfinite(mass) & (mass >= -1e-12 * beside)
    return np.where(possible, np.maximum(mass, 0.0), np.nan)


def _mass(volume: Array, mass_fraction: Array) -> Array:
    """kg in so many litres at 20 °C."""
    return volume * spirit.density(mass_fraction, 20.0) / 1000.0


def _volume(mass: Array, mass_fraction: ArrayLike) -> Array:
    """Litres at 20 °C of so many kg."""
    return 1000.0 * mass / spirit.density(mass_fraction, 20.0)
