"""From what the glass shows to what is true, and back."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array, spirit, sugar, wash, water

# Cubic expansion of soda-lime glass, 1/K: OIML R 44.
GLASS_EXPANSION = 25e-6


@dataclass(frozen=True)
class Instrument:
    """A measuring instrument.

    name: what people call it; reference_temperature: °C at which it reads right (NaN where it has none);
    division: of the scale; correction: added to every reading before anything else; uncertainty: expanded
    (k = 2), of one reading. The last three in the unit of the scale: SG, % vol, °C, L or kg.
    """

    name: str
    reference_temperature: float
    division: float
    correction: float | Array
    uncertainty: float

    @property
    def calibration(self) -> float:
        """Standard uncertainty of the scale itself, alike in all readings: half a division either way."""
        return float(self.division / 2.0 / np.sqrt(3.0))

    @property
    def reading(self) -> float:
        """Standard uncertainty of one reading beside that: half a division either way."""
        return float(self.division / 2.0 / np.sqrt(3.0))


def expanded_uncertainty(division: ArrayLike) -> Array:
    """Expanded uncertainty (k = 2) of one reading, from the division of the scale alone; same unit.

    Half a division either way for the reading and as much for the calibration, all values alike likely.
    Source: JCGM 100 (GUM) 4.3.7; that a calibration is good to half a division is common practice.
    """
    half = np.asarray(division, dtype=np.float64) / 2.0
    return np.asarray(2.0 * np.sqrt(2.0 * half**2 / 3.0))


def _usual(name: str, reference_temperature: float, division: float) -> Instrument:
    return Instrument(name, reference_temperature, division, 0.0, float(expanded_uncertainty(division)))


# Common practice: what a small distiller usually owns.
DEFAULTS = {
    "hydrometer": _usual("hydrometer", 20.0, 0.002),
    "alcoholmeter": _usual("alcoholmeter", 20.0, 1.0),
    "thermometer": _usual("thermometer", np.nan, 1.0),
    "still thermometer": _usual("still thermometer", np.nan, 1.0),
    "measure": _usual("measure", 20.0, 0.010),
    "scale": _usual("scale", np.nan, 0.001),
}


def alcoholmeter_density(
    reading: ArrayLike, reference_temperature: ArrayLike, temperature: ArrayLike
) -> Array:
    """Density of the spirit in which a glass alcoholmeter floats at a reading, kg/m3 in vacuo.

    reading: % vol with both volumes at the reference temperature, 0..100; reference_temperature,
    temperature: °C, -20..40; broadcast; NaN outside. Source: OIML R 22 (tables for glass instruments) and
    OIML R 44: the glass is larger by 25e-6 a degree, so at one mark the liquid is that much lighter.
    """
    reference = np.asarray(reference_temperature, dtype=np.float64)
    marked = spirit.density(spirit.mass_fraction(reading, reference), reference)
    return marked * _glass(reference, temperature)


def strength_20(reading: ArrayLike, temperature: ArrayLike, alcoholmeter: Instrument) -> Array:
    """Strength, % vol at 20 °C, from the reading of an alcoholmeter in a sample at a temperature.

    reading: % vol as the glass shows it; temperature: of the sample, °C, -20..40; broadcast; NaN outside
    and where no spirit of that density exists. Source: OIML R 22.
    """
    shown = np.asarray(reading, dtype=np.float64) + alcoholmeter.correction
    density = alcoholmeter_density(shown, alcoholmeter.reference_temperature, temperature)
    return spirit.strength(spirit.mass_fraction_from_density(density, temperature))


def hydrometer_density(reading: ArrayLike, temperature: ArrayLike, reference_temperature: ArrayLike) -> Array:
    """Density of the liquid in which a glass hydrometer floats at a reading, kg/m3 in vacuo.

    reading: SG of the liquid at the reference temperature against water at the same; temperature,
    reference_temperature: °C, -20..40; broadcast; NaN outside. Source: OIML R 44 for the glass.
    """
    marked = water.density_from_gravity(reading, reference_temperature)
    return marked * _glass(reference_temperature, temperature)


def gravity_20(
    reading: ArrayLike,
    temperature: ArrayLike,
    hydrometer: Instrument,
    original_gravity: ArrayLike = np.nan,
) -> Array:
    """Gravity, SG 20/20, of a wash from the reading of a hydrometer in a sample at a temperature.

    reading: SG as the glass shows it; temperature: of the sample, °C, 0..40; original_gravity: SG 20/20,
    NaN for plain sugar solution; broadcast; NaN outside. Source: `wash.gravity_at_20`.
    """
    shown = np.asarray(reading, dtype=np.float64) + hydrometer.correction
    density = hydrometer_density(shown, temperature, hydrometer.reference_temperature)
    return wash.gravity_at_20(density, temperature, original_gravity)


class Boiled(NamedTuple):
    """What two readings before and after boiling off the alcohol tell of a wash.

    before, after: gravity, SG 20/20; strength: % vol at 20 °C; original: the gravity it must have had before
    the yeast, SG 20/20.
    """

    before: Array
    after: Array
    strength: Array
    original: Array


def boiled(
    before: ArrayLike,
    temperature_before: ArrayLike,
    after: ArrayLike,
    temperature_after: ArrayLike,
    hydrometer: Instrument,
) -> Boiled:
    """Strength of a wash without its original gravity, by boiling off and making up to volume.

    before, after: SG as the glass shows it; temperatures: of the samples, °C, 0..40; broadcast; NaN outside
    and where the second is below the first. How the sample expands depends on what is in it, which is what
    is sought: four passes settle it to 0.001 % vol.
    Source: `wash.tabarie_strength`, `wash.original_gravity_from`.
    """
    reference, off = hydrometer.reference_temperature, hydrometer.correction
    made_up = hydrometer_density(np.asarray(after) + off, temperature_after, reference)
    sweet = sugar.mass_fraction_from_density(made_up, temperature_after)
    left, extract = (
        water.gravity(sugar.density(sweet, 20.0)),
        sugar.density(sweet, 20.0) * np.maximum(sweet, 0.0),
    )
    density = hydrometer_density(np.asarray(before) + off, temperature_before, reference)
    whole = water.gravity(density, temperature_before)
    for _ in range(4):
        alcohol = wash.tabarie_strength(whole, left) / 100.0 * spirit.ETHANOL_DENSITY
        cool = wash.density_of_contents(alcohol, extract)
        warm = wash.density(alcohol / cool, extract / cool, temperature_before)
        whole = np.where(np.isnan(warm), whole, water.gravity(density * cool / warm))
    strength = wash.tabarie_strength(whole, left)
    return Boiled(whole, left, strength, wash.original_gravity_from(strength, extract))


def water_reading(
    kind: str,
    temperature: ArrayLike,
    reference_temperature: ArrayLike = 20.0,
) -> Array:
    """What an instrument without fault shows in pure water: the check of its zero.

    kind: "hydrometer", which shows SG, or "alcoholmeter", % vol; any other raises ValueError.
    temperature: of the water, °C, 0..40; reference_temperature: °C, 0..40; broadcast; NaN outside. In water
    colder than its reference an alcoholmeter floats above its zero: the negative value continues the scale
    at its first division.
    Source: OIML R 22 and R 44.
    """
    reference = np.asarray(reference_temperature, dtype=np.float64)
    marked = water.density(temperature) / _glass(reference, temperature)
    if kind == "hydrometer":
        return water.gravity(marked, reference)
    if kind != "alcoholmeter":
        raise ValueError(f"no reading in water for {kind!r}")
    shown = spirit.strength(spirit.mass_fraction_from_density(marked, reference), reference)
    fall = water.density(reference) - spirit.density(spirit.mass_fraction(1.0, reference), reference)
    below = (water.density(reference) - marked) / fall
    return np.where(below < 0.0, below, shown)


def _glass(reference_temperature: ArrayLike, temperature: ArrayLike) -> Array:
    """Density of the liquid at one mark of a glass float, over that at the reference temperature."""
    warmer = np.asarray(temperature, dtype=np.float64) - np.asarray(reference_temperature, dtype=np.float64)
    return 1.0 - GLASS_EXPANSION * warmer
