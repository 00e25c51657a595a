"""What the sheets share about samples and measures: how far they can be off, and how they are mistyped."""

from collections.abc import Callable
from typing import Any

import numpy as np

from sheetcalc import instruments
from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array, vapour
from sheetcalc.stages import slips
from sheetcalc.stages.registry import add_check, add_column
from sheetcalc.stages.slips import Mask

FLAMMABLE = 60.0 + 1e-6  # % vol: above 60, rounding aside; flash point near room temperature
MODEL = 4.0  # % vol that the model of a run may be off without anything being wrong
MEASURES = 0.06  # share: two volumes and two strengths, each good to about 3 %
STAYS_BEHIND = 0.1  # of the wash or the low wines: with the lees, or between two measures (common practice)
POINTS = 131.0  # % vol for a gravity that falls by 1 (common practice)
YIELDS = 0.04  # share by which the alcohol of two washes of one gravity may differ: Balling, Pasteur


IF_EXCHANGED = "Exchanged with its temperature it would fit."
_WRITE = "Write {other} behind the number, or choose it as the unit if all is in {other}."


def temperatures(sheet: str, cell: str, reading: str, ending: str = "", unless: str = "") -> None:
    """Declare the checks of a sample's temperature in a column: exchanged with the strength read at it, °F
    typed for °C, and °C for °F.

    reading: the key of that strength; ending: of the rules' names, where a sheet has two such columns;
    unless: the key of the lines that another check tells of.
    """
    needs = (cell, f"{cell}_unit", reading, f"{reading}_unit", *([unless] if unless else []))

    def exchanged(temperature: Array, unit: str, mark: Array, mark_unit: str, *_: Mask) -> Any:
        fahrenheit = slips.fahrenheit_for_celsius(temperature) & (unit != "°F")
        hot = np.where(temperature > slips.HOTTEST_SAMPLE, "too hot", "too cold")
        texts = {
            "hot": hot,
            "meant": np.where(fahrenheit, "; or it is in °F", ""),
            "write": np.where(fahrenheit, _WRITE.format(other="°F"), "Else measure both again."),
        }
        more = {name: (text.astype(object), "") for name, text in texts.items()}
        return slips.exchanged_with_strength(temperature, mark, unit, mark_unit), more

    def told_before(temperature: Array, unit: str, mark: Array, mark_unit: str, *others: Mask) -> Mask:
        by_exchange = slips.exchanged_with_strength(temperature, mark, unit, mark_unit)
        return np.asarray(np.logical_or.reduce([by_exchange, *others]))

    def hot(temperature: Array, unit: str, *beside: Any) -> tuple[Mask, dict[str, Any]]:
        wrong, more = _typed_in_another(slips.fahrenheit_for_celsius, "°F")(temperature, unit)
        return wrong & ~told_before(temperature, unit, *beside), more

    def cold(temperature: Array, *beside: Any) -> Mask:
        return slips.too_cold_to_read(temperature) & ~told_before(temperature, *beside)

    says = f"{{{cell}}} is {{hot}} for a sample. Strength and temperature may be exchanged{{meant}}."
    advice = "If so, type each into the other's cell. {write}"
    add_check(f"exchanged_with_strength{ending}", sheet, cell, "error", says, advice, exchanged, needs)
    says = f"{{{cell}}} is too hot for a sample{{meant}}."
    advice = "{write} If it was so hot, cool it and read again."
    add_check(f"fahrenheit_sample{ending}", sheet, cell, "error", says, advice, hot, needs)
    says = f"{{{cell}}} is colder than anyone reads a sample at."
    advice = "Check the sign and the unit; a number in °C needs °C behind it where the column is in °F."
    add_check(f"celsius_sample{ending}", sheet, cell, "warning", says, advice, cold, needs)


def strength_to_judge_by(sheet: str, strength: str, reading: str, temperature: str, unless: str = "") -> None:
    """Declare the column `sure_strength`: true strengths (% vol at 20 °C) to judge by.

    Where the temperature can't be right, it is by the one that was meant, and blank where none is known, or
    where there is more than one way to mean it. strength, reading, temperature: the keys of the strength,
    and of what it is computed from; unless: the key of the lines where none is known anyway.
    """
    units = (f"{reading}_unit", f"{temperature}_unit")
    needs = (strength, reading, temperature, *units, "alcoholmeter", "thermometer")
    add_column("sure_strength", sheet, _sure_strength, (*needs, *([unless] if unless else [])))


def _sure_strength(
    strength: Array,
    reading: Array,
    temperature: Array,
    mark_unit: str,
    unit: str,
    alcoholmeter: Instrument,
    thermometer: Instrument,
    *unknown: Mask,
) -> Array:
    doubtful = slips.temperature_in_doubt(temperature)
    if not doubtful.any():
        return strength
    meant = slips.temperature_meant(temperature, unit) + thermometer.correction
    by_meant = instruments.strength_20(reading, meant, alcoholmeter)
    exchanged = slips.exchanged_with_strength(temperature, reading, unit, mark_unit)
    none = np.logical_or.reduce([exchanged, *unknown])
    return np.where(doubtful, np.where(none, np.nan, by_meant), strength)


def strength_if_exchanged(sheet: str, name: str, reading: str, temperature: str) -> None:
    """Declare a column: true strengths (% vol at 20 °C) if reading and temperature are in each other's cell;
    NaN where they are no likelier so, since samples are read near 20 °C.

    reading, temperature: the keys of the two.
    """
    needs = (reading, temperature, f"{reading}_unit", f"{temperature}_unit", "alcoholmeter", "thermometer")
    add_column(name, sheet, _if_exchanged, needs)


def _if_exchanged(
    reading: Array,
    temperature: Array,
    mark_unit: str,
    unit: str,
    alcoholmeter: Instrument,
    thermometer: Instrument,
) -> Array:
    strength, degrees = slips.exchanged(reading, temperature, mark_unit, unit)
    likelier = np.abs(degrees - 20) < np.abs(temperature - 20)
    if not likelier.any():
        return np.full(np.shape(reading), np.nan)
    strength = np.where(likelier, strength, np.nan)
    return np.asarray(instruments.strength_20(strength, degrees + thermometer.correction, alcoholmeter))


def temperature_missing(sheet: str, cell: str, reading: str) -> None:
    """Declare the check of a sample's temperature for a reading without one."""
    add_check(
        "temperature_missing",
        sheet,
        cell,
        "note",
        "Without its temperature the reading can't be corrected to 20 °C.",
        "Type the temperature of the sample.",
        lambda typed, temperature: np.isfinite(typed) & np.isnan(temperature),
        (reading, cell),
    )


def fahrenheit_sample(rule: str, sheet: str, cell: str) -> None:
    """Declare the check of a sample's temperature for °F typed for °C."""
    says, more = f"{{{cell}}} is too hot for a sample", "If it was so hot, cool it and read again."
    fahrenheit(rule, sheet, cell, says, more)


def fahrenheit(rule: str, sheet: str, cell: str, says: str, more: str = "") -> None:
    """Declare a check for °F typed for °C; says: why it can't be °C; more: to do if it is."""
    typed_in_fahrenheit(rule, sheet, cell, says, slips.fahrenheit_for_celsius, more)


def typed_in_fahrenheit(
    rule: str, sheet: str, cell: str, says: str, too_hot: Callable[[Array], Mask], more: str = ""
) -> None:
    """Declare a check for °F typed for °C; too_hot: which can't be °C, but may be °F; says: why; more: what
    to do if it is °C."""
    wrong = _typed_in_another(too_hot, "°F")
    says, advice = f"{says}{{meant}}.", f"{{write}} {more}".strip()
    add_check(rule, sheet, cell, "error", says, advice, wrong, (cell, f"{cell}_unit"))


def celsius(rule: str, sheet: str, cell: str, says: str) -> None:
    """Declare a check for °C typed for °F; says: why it can't be °F."""
    wrong = _typed_in_another(slips.celsius_for_fahrenheit, "°C")
    says = f"{says}{{meant}}."
    add_check(rule, sheet, cell, "error", says, "{write}", wrong, (cell, f"{cell}_unit"))


def _typed_in_another(
    wrong: Callable[[Array], Mask], other: str
) -> Callable[[Array, str], tuple[Mask, dict[str, Any]]]:
    """A check of temperatures by `wrong`, with a guess that they were read in another unit unless that is
    the one in force."""

    def judge(temperature: Array, unit: str) -> tuple[Mask, dict[str, Any]]:
        found = np.atleast_1d(wrong(temperature))
        meant = "" if unit == other else f"; as {other} it would make sense"
        write = "Check the number." if unit == other else _WRITE.format(other=other)
        told = {"meant": (np.array(meant, dtype=object), ""), "write": (np.array(write, dtype=object), "")}
        return found, told

    return judge


def too_hot(rule: str, sheet: str, cell: str, advice: str) -> None:
    """Declare the check of a sample's temperature against the range of the density formula."""
    says = f"At {{{cell}}} a reading can't be corrected; 40 °C (104 °F) is the most."
    add_check(rule, sheet, cell, "warning", says, advice, slips.too_hot_to_correct, (cell,))


def above_azeotrope(
    sheet: str, cell: str, strength: str, gives: str = "gives", like: str = "target_strength"
) -> None:
    """Declare the check of a reading, and of the strength it means, against the azeotrope.

    like: the key of the column the azeotrope is shown like.
    """

    def above(
        reading: Array, strength_20: Array, azeotrope: Array, doubt: float
    ) -> tuple[Mask, dict[str, Any]]:
        wrong, limit = above_the_azeotrope(reading, strength_20, azeotrope, doubt)
        return wrong, {"azeotrope": (np.broadcast_to(limit, wrong.shape), like), "fits": (limit / 4, limit)}

    add_check(
        "above_azeotrope",
        sheet,
        cell,
        "error",
        f"{{{cell}}} is more than any still {gives} ({{azeotrope}}).",
        "Check the unit above: 100 proof is about 50 % vol.",
        above,
        (cell, strength, "azeotrope", "strength_doubt"),
    )


def above_the_azeotrope(
    reading: Array, strength_20: Array, azeotrope: Array, strength_doubt: float
) -> tuple[Mask, Array]:
    """Which readings no still gives, by more than the glass can be off, and the azeotrope (% vol)."""
    limit = np.where(np.isnan(azeotrope), vapour.azeotrope(vapour.pressure(0.0)), azeotrope)
    return (reading > 100) | (strength_20 > limit + strength_doubt), limit


def scatter(hydrometer: Instrument) -> float:
    """How far (SG) two readings of the same liquid may differ: both have the instrument's uncertainty."""
    return slips.SURE * float(np.sqrt(2) * hydrometer.uncertainty)
