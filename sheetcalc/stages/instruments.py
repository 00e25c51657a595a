"""The instruments sheet: what each glass shows in plain water, and so how far its readings are off."""

from typing import Any

import numpy as np

from sheetcalc import instruments, units
from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array
from sheetcalc.stages import samples, slips
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.slips import Mask

A_DEGREE = 0.3  # % vol that a reading changes with 1 °C of the sample
QUANTITIES = {
    "hydrometer": "gravity",
    "alcoholmeter": "mark",
    "thermometer": "temperature",
    "still thermometer": "temperature",
    "measure": "volume",
    "scale": "mass",
}
GLASSES = ("hydrometer", "alcoholmeter")
# The finest and the coarsest division on sale, in base units (SG, % vol, °C); common practice.
DIVISIONS = {
    "hydrometer": (0.0001, 0.011),
    "alcoholmeter": (0.05, 10.0),
    "thermometer": (0.01, 10.0),
    "still thermometer": (0.01, 10.0),
}
MOST_STEPS = 5.0  # divisions that a sound instrument may be off in plain water
SIXTY_FAHRENHEIT = (60 - 32) * 5 / 9


@column("instruments")
def zero_exchanged(
    instrument: Any,
    scale: Any,
    reference_temperature: Array,
    division: Array,
    zero_reading: Array,
    zero_temperature: Array,
    zero_temperature_unit: str,
) -> Mask:
    """Which glasses' reading in water and its temperature fit each other's cell alone."""
    reading = units.from_base(zero_temperature, "temperature", zero_temperature_unit)
    degrees = units.to_base(zero_reading, "temperature", zero_temperature_unit)
    as_typed = _off(instrument, scale, reference_temperature, zero_reading, zero_temperature)
    other = _off(instrument, scale, reference_temperature, reading, degrees)
    most = MOST_STEPS * division
    sensible = (degrees >= slips.COLDEST_SAMPLE) & (degrees <= slips.HOTTEST_SAMPLE)
    fits = np.isin(instrument, GLASSES) & sensible & (np.abs(other) <= most)
    return np.asarray(fits & ~(np.abs(as_typed) <= most))


@column("instruments")
def correction(
    instrument: Any,
    scale: Any,
    reference_temperature: Array,
    zero_reading: Array,
    zero_temperature: Array,
    zero_exchanged: Mask,
) -> Array:
    """What is added to every reading, each row in its own scale's unit; blank where the two are exchanged."""
    off = _off(instrument, scale, reference_temperature, zero_reading, zero_temperature)
    return np.where(zero_exchanged, np.nan, off)


def _off(instrument: Any, scale: Any, reference: Array, reading: Array, temperature: Array) -> Array:
    right = _in_scale(instrument, scale, _right_reading(instrument, reference, temperature))
    return right - _as_scaled(scale, reading)


@column("instruments")
def uncertainty(instrument: Any, division: Array) -> Array:
    """Expanded uncertainty (k = 2) of one reading, each row in its own scale's unit, to the two digits that
    JCGM 100, 7.2.6 leaves it."""
    exact = np.asarray(instruments.expanded_uncertainty(division))
    step = 10.0 ** (np.floor(np.log10(np.where(exact > 0, exact, np.nan))) - 1)
    return np.asarray(np.round(exact / step) * step)


@column("instruments")
def hydrometer(
    instrument: Any, scale: Any, reference_temperature: Array, division: Array, correction: Array
) -> Instrument:
    """The hydrometer in use, in base units."""
    return _in_use("hydrometer", instrument, scale, reference_temperature, division, correction)


@column("instruments")
def alcoholmeter(
    instrument: Any, scale: Any, reference_temperature: Array, division: Array, correction: Array
) -> Instrument:
    """The alcoholmeter in use, in base units."""
    return _in_use("alcoholmeter", instrument, scale, reference_temperature, division, correction)


@column("instruments")
def thermometer(
    instrument: Any, scale: Any, reference_temperature: Array, division: Array, correction: Array
) -> Instrument:
    """The thermometer in use, in base units."""
    return _in_use("thermometer", instrument, scale, reference_temperature, division, correction)


@column("instruments")
def still_thermometer(
    instrument: Any, scale: Any, reference_temperature: Array, division: Array, correction: Array
) -> Instrument:
    """The thermometer in the vapour at the still's outlet, in base units."""
    return _in_use("still thermometer", instrument, scale, reference_temperature, division, correction)


@column("instruments")
def strength_doubt(alcoholmeter: Instrument, thermometer: Instrument) -> float:
    """Expanded uncertainty (% vol, k = 2) of a strength read with both."""
    return float(np.hypot(alcoholmeter.uncertainty, A_DEGREE * thermometer.uncertainty))


def _in_use(
    name: str, instrument: Any, scale: Any, reference: Array, division: Array, correction: Array
) -> Instrument:
    """The first line of that kind; what it leaves blank comes from the usual instrument."""
    usual = instruments.DEFAULTS[name]
    lines = [i for i, kind in enumerate(np.atleast_1d(instrument)) if kind == name]
    if not lines or not _fits(name, scale[lines[0]]):
        return usual
    i, label = lines[0], scale[lines[0]]
    step = _likely(name, _difference(name, label, division[i]))
    at = reference[i] if not slips.fahrenheit_for_celsius(reference[i]) else np.nan
    return Instrument(
        name,
        _or(at, usual.reference_temperature),
        _or(step, usual.division),
        _or(_difference(name, label, correction[i]), 0.0),
        float(instruments.expanded_uncertainty(_or(step, usual.division))),
    )


def _difference(name: str, label: str, difference: float) -> float:
    """A difference on an instrument's scale -> base units, taken where pure water reads."""
    quantity = QUANTITIES[name]
    zero = float(units.from_base(1.0 if quantity == "gravity" else 0.0, quantity, label))
    ends = units.to_base([zero, zero + difference], quantity, label)
    return float(ends[1] - ends[0])


def _likely(name: str, step: float) -> float:
    """A division in base units, NaN where no such instrument has one like it."""
    low, high = DIVISIONS.get(name, (0.0, np.inf))
    return step if low <= step <= high else np.nan


def _or(value: float, usual: float) -> float:
    return float(value) if np.isfinite(value) else usual


def _fits(name: str, label: str) -> bool:
    return name in QUANTITIES and label in units.choices(QUANTITIES[name])


def _as_scaled(scale: Any, reading: Array) -> Array:
    """Zero readings as the scale is written: 998 on an SG scale is 0.998."""
    scale, whole = np.asarray(scale), reading > 900
    thousandths = np.where((scale == "SG") & whole, reading / 1000, reading)
    return np.where((scale == "points") & whole, reading - 1000, thousandths)


def _right_reading(instrument: Any, reference: Array, temperature: Array) -> Array:
    """What a right instrument shows: a glass in water at that temperature, the others at their zero."""
    right = np.zeros(len(np.atleast_1d(instrument)))
    for name in GLASSES:
        usual = instruments.DEFAULTS[name].reference_temperature
        shown = instruments.water_reading(name, temperature, np.where(np.isnan(reference), usual, reference))
        right = np.where(np.asarray(instrument) == name, shown, right)
    return right


def _in_scale(instrument: Any, scale: Any, values: Array) -> Array:
    pairs = zip(instrument, scale, values, strict=True)
    return np.array(
        [
            float(units.from_base(v, QUANTITIES[name], label)) if _fits(name, label) else np.nan
            for name, label, v in pairs
        ]
    )


@check(
    "instruments",
    cell="scale",
    level="error",
    says="This kind of instrument, {instrument}, does not read in {scale}.",
    advice="Choose the unit that is engraved on it.",
)
def scale_of_another_kind(instrument: Any, scale: Any) -> Mask:
    """The unit does not belong to the instrument."""
    pairs = zip(instrument, scale, strict=True)
    return np.array([bool(name and label) and not _fits(name, label) for name, label in pairs], dtype=bool)


@check(
    "instruments",
    cell="zero_reading",
    level="warning",
    says="In water it is off by {steps} of its divisions; a scale that has slipped inside the glass, or a "
    "wrong unit, does that.",
    advice="Repeat it in clean water with no bubbles on the glass. If it stays, replace the instrument.",
)
def far_from_zero(correction: Array, division: Array) -> tuple[Mask, dict[str, Any]]:
    """More than five divisions off in plain water."""
    # A division of nothing is no division.
    steps = np.abs(correction) / np.where(division > 0, division, np.nan)
    words = np.array([f"{step:.0f}" if np.isfinite(step) else "" for step in steps], dtype=object)
    return np.asarray(steps > MOST_STEPS), {"steps": (words, "division")}


@check(
    "instruments",
    cell="zero_temperature",
    level="error",
    says="{zero_temperature} and the reading of the {instrument} may be exchanged; nothing is corrected.",
    advice="If so, type each into the other's cell; else repeat it in clean water.",
)
def reading_for_temperature(zero_exchanged: Mask) -> Mask:
    """Each in the other's cell."""
    return zero_exchanged


@check(
    "instruments",
    cell="zero_temperature",
    level="note",
    says="The temperature of the water is missing, so what it shows in water can't be used.",
    advice="Type the water's temperature.",
)
def water_temperature_missing(instrument: Any, zero_reading: Array, zero_temperature: Array) -> Mask:
    """A glass was tried in water of unknown temperature."""
    return np.isin(instrument, GLASSES) & np.isfinite(zero_reading) & np.isnan(zero_temperature)


@check(
    "instruments",
    cell="reference_temperature",
    level="warning",
    says="A US proof scale reads right at 60 °F, not at {reference_temperature}.",
    advice="Type what is engraved on the glass.",
)
def proof_scale_not_at_sixty(instrument: Any, scale: Any, reference_temperature: Array) -> Mask:
    """US proof is defined at 60 °F (27 CFR part 30)."""
    proof = (np.asarray(instrument) == "alcoholmeter") & (np.asarray(scale) == "proof")
    return np.asarray(proof & (np.abs(reference_temperature - SIXTY_FAHRENHEIT) > 0.3))


@check(
    "instruments",
    cell="instrument",
    level="note",
    says="There is a line for {instrument} further up already; that one is used, not this.",
    advice="Put the one you use above the other.",
)
def second_of_its_kind(instrument: Any) -> Mask:
    """Only the first line of each kind is used."""
    names = list(instrument)
    return np.array([bool(name) and name in names[:i] for i, name in enumerate(names)], dtype=bool)


@check(
    "instruments",
    cell="division",
    level="error",
    says="No {instrument} is divided into steps of {division}; the usual one is taken instead.",
    advice="Type the step between two marks, in the instrument's own unit.",
)
def division_impossible(instrument: Any, scale: Any, division: Array) -> Mask:
    """Finer or coarser than any on sale; all limits depend on it."""
    steps = [
        _difference(name, label, step) if _fits(name, label) else np.nan
        for name, label, step in zip(instrument, scale, division, strict=True)
    ]
    pairs = zip(instrument, steps, strict=True)
    return np.array([bool(np.isfinite(s) and np.isnan(_likely(name, s))) for name, s in pairs], dtype=bool)


samples.fahrenheit(
    "fahrenheit_reference",
    "instruments",
    "reference_temperature",
    "No glass reads right at {reference_temperature}",
)


samples.fahrenheit(
    "fahrenheit_water",
    "instruments",
    "zero_temperature",
    "Water at {zero_temperature} is too hot to try a glass in",
)
