"""What the sheets share about samples and measures: how far they can be off, and how they are mistyped."""

from typing import Any

import numpy as np

from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array, vapour
from sheetcalc.stages import slips
from sheetcalc.stages.registry import add_check
from sheetcalc.stages.slips import Mask

FLAMMABLE = 60.0  # % vol; flash point near room temperature
MODEL = 4.0  # % vol that the model of a run may be off without anything being wrong
MEASURES = 0.06  # share: two volumes and two strengths, each good to about 3 %
POINTS = 131.0  # % vol for a gravity that falls by 1 (common practice)
YIELDS = 0.04  # share by which the alcohol of two washes of one gravity may differ: Balling, Pasteur


WRITE_FAHRENHEIT = "Write °F behind the number; if the whole column is in °F, choose it as the unit."
WRITE_CELSIUS = "Write °C behind the number; if the whole column is in °C, choose it as the unit."


def temperatures(sheet: str, cell: str, ending: str = "") -> None:
    """Declare the two checks of a sample's temperature in a column: °F typed for °C, and °C for °F.

    ending: of the rules' names, where a sheet has two such columns.
    """
    fahrenheit_sample(f"fahrenheit_sample{ending}", sheet, cell)
    add_check(
        f"celsius_sample{ending}",
        sheet,
        cell,
        "warning",
        f"{{{cell}}} is colder than anyone reads a sample at.",
        "Check the sign and the unit; a number in °C needs °C behind it where the column is in °F.",
        slips.too_cold_to_read,
        (cell,),
    )


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
    says, advice = f"{{{cell}}} is too hot for a sample", "If it was so hot, cool it and read again."
    fahrenheit(rule, sheet, cell, says, f"{WRITE_FAHRENHEIT} {advice}")


def fahrenheit(rule: str, sheet: str, cell: str, says: str, advice: str = WRITE_FAHRENHEIT) -> None:
    """Declare a check for °F typed for °C; says: why it can't be °C."""
    says = f"{says}; as °F it would make sense."
    add_check(rule, sheet, cell, "error", says, advice, slips.fahrenheit_for_celsius, (cell,))


def celsius(rule: str, sheet: str, cell: str, says: str, advice: str = WRITE_CELSIUS) -> None:
    """Declare a check for °C typed for °F; says: why it can't be °F."""
    says = f"{says}; as °C the number would make sense."
    add_check(rule, sheet, cell, "error", says, advice, slips.celsius_for_fahrenheit, (cell,))


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
