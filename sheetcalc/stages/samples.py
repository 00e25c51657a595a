"""What the sheets share about samples and measures: how far they can be off, and how they are mistyped."""

from typing import Any

import numpy as np

from sheetcalc.liquids import Array, vapour
from sheetcalc.stages import slips
from sheetcalc.stages.registry import add_check
from sheetcalc.stages.slips import Mask

FLAMMABLE = 60.0  # % vol; flash point near room temperature
MODEL = 4.0  # % vol that the model of a run may be off without anything being wrong
MEASURES = 0.06  # share: two volumes and two strengths, each good to about 3 %
POINTS = 131.0  # % vol for a gravity that falls by 1 (common practice)
YIELDS = 0.04  # share by which the alcohol of two washes of one gravity may differ: Balling, Pasteur


def temperatures(sheet: str, cell: str, ending: str = "") -> None:
    """Declare the two checks of a sample's temperature in a column: °F typed for °C, and °C for °F.

    ending: of the rules' names, where a sheet has two such columns.
    """
    add_check(
        f"fahrenheit_sample{ending}",
        sheet,
        cell,
        "error",
        f"{{{cell}}} is too hot for a sample; as °F it would make sense.",
        "Write °F behind the number; if the whole column is in °F, choose it as the unit. If it was so hot, "
        "cool it and read again.",
        slips.fahrenheit_for_celsius,
        (cell,),
    )
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


def above_the_azeotrope(
    reading: Array, strength_20: Array, azeotrope: Array, strength_doubt: float
) -> tuple[Mask, dict[str, Any]]:
    """A reading that no still gives; for every sheet with readings."""
    limit = np.where(np.isnan(azeotrope), vapour.azeotrope(vapour.pressure(0.0)), azeotrope)
    wrong = (reading > 100) | (strength_20 > limit + strength_doubt)
    return wrong, {
        "azeotrope": (np.broadcast_to(limit, wrong.shape), "target_strength"),
        "fits": (limit / 4, limit),
    }
