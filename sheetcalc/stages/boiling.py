"""The boiling sheet: strength without an original gravity, by boiling the alcohol off and making up again."""

from typing import Any

import numpy as np

from sheetcalc import instruments
from sheetcalc.instruments import Boiled, Instrument
from sheetcalc.liquids import Array, wash
from sheetcalc.stages import samples, slips
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.slips import Mask

# Share (k = 2): the volume made up again in a flask or a measuring jar.
MAKING_UP = 0.01
EXCHANGED = "Reading and temperature may be exchanged."
SMALLEST = 0.0005  # SG; a step for finding how the results depend on the readings


@column("boiling")
def boiled(
    before: Array,
    before_temperature: Array,
    after: Array,
    after_temperature: Array,
    hydrometer: Instrument,
    thermometer: Instrument,
) -> Boiled:
    """What the two readings tell."""
    warmth = thermometer.correction
    return instruments.boiled(
        before, before_temperature + warmth, after, after_temperature + warmth, hydrometer
    )


@column("boiling")
def boiled_strength(boiled: Boiled) -> Array:
    """Strength (% vol) of the sample by Tabarié's rule."""
    return boiled.strength


@column("boiling")
def boiled_doubt(boiled: Boiled, hydrometer: Instrument) -> Array:
    """How far (% vol, k = 2) that strength may be off: two readings, and the volume made up."""
    slope = _slope(boiled)
    making_up = MAKING_UP * np.abs(boiled.after - 1)
    return slope * np.sqrt(2 * hydrometer.uncertainty**2 + making_up**2)


def _slope(boiled: Boiled) -> Array:
    """% vol by which the boiled strength rises where the first reading falls by one unit of SG."""
    lower = wash.tabarie_strength(boiled.before - SMALLEST, boiled.after)
    return np.asarray((lower - boiled.strength) / SMALLEST)


@column("boiling")
def original_then(boiled: Boiled) -> Array:
    """The gravity (SG 20/20) it must have had before the yeast, by Balling's yields."""
    return boiled.original


@column("boiling")
def by_original(boiled: Boiled, original_gravity: Array) -> Array:
    """Strength (% vol) of the same sample from the original gravity on the batch card."""
    return np.asarray(wash.fermented(original_gravity, boiled.before).strength)


@column("boiling")
def difference(boiled_strength: Array, by_original: Array) -> Array:
    """Boiled less the other, % vol."""
    return boiled_strength - by_original


@column("boiling")
def difference_doubt(
    boiled: Boiled, boiled_doubt: Array, by_original: Array, original_gravity: Array, hydrometer: Instrument
) -> Array:
    """How far (% vol) the two may differ without anything being wrong.

    Two readings boiled; a reading and an original gravity for the other; yields differ from wash to wash.
    """
    higher = wash.fermented(original_gravity + SMALLEST, boiled.before).strength
    by_reading = np.abs(higher - by_original) / SMALLEST * hydrometer.uncertainty
    return np.sqrt(boiled_doubt**2 + 2 * by_reading**2 + (samples.YIELDS * by_original) ** 2)


@check(
    "boiling",
    cell="before",
    level="error",
    says="{before} can't be a gravity. {meant}",
    advice="Type it as the hydrometer shows it and check the unit above.",
)
def before_impossible(
    before: Array, before_unit: str, before_temperature: Array, before_temperature_unit: str
) -> tuple[Mask, dict[str, Any]]:
    """Outside of anything that ferments: another scale, a short form or a slipped point."""
    wrong = (before > 1.3) | (before < 0.95)
    exchanged = slips.exchanged_with_gravity(before_temperature, before, before_temperature_unit, before_unit)
    words = slips.gravity_meant(before, 0.97, 1.12, before_unit)
    return wrong, {"meant": (np.where(exchanged, EXCHANGED, words), "")}


@check(
    "boiling",
    cell="after",
    level="error",
    says="{after} can't be a gravity. {meant}",
    advice="Type it as the hydrometer shows it and check the unit above.",
)
def after_impossible(
    after: Array, after_unit: str, after_temperature: Array, after_temperature_unit: str
) -> tuple[Mask, dict[str, Any]]:
    """Without its alcohol a wash is no lighter than water, but for the glass."""
    wrong = (after > 1.3) | (after < 0.95)
    exchanged = slips.exchanged_with_gravity(after_temperature, after, after_temperature_unit, after_unit)
    words = slips.gravity_meant(after, 0.998, 1.04, after_unit)
    return wrong, {"meant": (np.where(exchanged, EXCHANGED, words), "")}


@check(
    "boiling",
    cell="after",
    level="error",
    says="{after} after boiling is below {before} before; without its alcohol it can only be heavier.",
    advice="Check that the two are not exchanged; make up to the very same volume with water.",
)
def lighter_after_boiling(before: Array, boiled: Boiled, hydrometer: Instrument) -> Mask:
    """By more than two readings can be off, of which the first can be a gravity."""
    return np.asarray((boiled.after < boiled.before - _scatter(hydrometer)) & (before <= 1.3))


@check(
    "boiling",
    cell="after",
    level="error",
    says="{after} after boiling is below pure water; there may be alcohol left in it, or the hydrometer is "
    "off.",
    advice="Boil it down by half, let it cool, make up with water and read again.",
)
def lighter_than_water(after: Array, boiled: Boiled, hydrometer: Instrument) -> Mask:
    """Nothing but water and extract should be in it."""
    lighter = (boiled.after < 1.0 - hydrometer.uncertainty) & (after >= 0.95)
    return np.asarray(lighter & ~(boiled.after < boiled.before - _scatter(hydrometer)))


def _scatter(hydrometer: Instrument) -> float:
    """How far two readings of the same liquid may differ."""
    return float(np.sqrt(2) * hydrometer.uncertainty)


@check(
    "boiling",
    cell="after",
    level="warning",
    says="Boiling gives {boiled_strength}, the original gravity {by_original}: further apart than the "
    "readings can be off ({allowed}).",
    advice="Repeat it: boil down by half, cool, make up to the very same volume. If it stays, the original "
    "gravity may be wrong, or sugar or water was added since; then trust the boiling.",
)
def disagrees(
    difference: Array, difference_doubt: Array, boiled: Boiled, hydrometer: Instrument
) -> tuple[Mask, dict[str, Any]]:
    """Two ways to the alcohol that should meet; not asked of a boiling that can't be right."""
    wrong = (np.abs(difference) > difference_doubt) & (boiled.after >= 1.0 - hydrometer.uncertainty)
    return wrong, {"allowed": (difference_doubt, "boiled_doubt")}


samples.fahrenheit_sample("fahrenheit_before", "boiling", "before_temperature")


samples.fahrenheit(
    "fahrenheit_after",
    "boiling",
    "after_temperature",
    "At {after_temperature} a reading can't be corrected",
    "If it is hot, let it cool to about 20 °C (68 °F), make up again and read.",
)


samples.too_hot(
    "still_hot",
    "boiling",
    "after_temperature",
    "Let it cool to about 20 °C (68 °F), make up again and read.",
)
