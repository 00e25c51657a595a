"""The triangle sheet: three glasses, one of them odd, and whether people find it more often than by luck."""

from typing import Any

import numpy as np

from sheetcalc import tastings as panels
from sheetcalc.liquids import Array
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.slips import Mask, Texts
from sheetcalc.stages.tasting import LEVEL, STRICT

FEWEST = 6  # the printed tables begin there
ODD = 0.001  # chance of so few correct answers at which counting them wrongly is the likelier story


@column("triangle")
def needed(tastings: Array) -> Array:
    """Fewest correct answers that tell the two apart, at 5 %."""
    return panels.fewest_correct(tastings, LEVEL)


@column("triangle")
def needed_strict(tastings: Array) -> Array:
    """Fewest correct answers that tell the two apart clearly, at 1 %."""
    return panels.fewest_correct(tastings, STRICT)


@column("triangle")
def p_value(tastings: Array, correct: Array) -> Array:
    """How often (0 to 1) guessing gives as many correct answers or more."""
    return panels.guessing_tail(correct, tastings)


@column("triangle")
def verdict(tastings: Array, p_value: Array) -> Any:
    """Whether the two are told apart, in words."""
    words: Texts = np.full(len(tastings), "", dtype=object)
    words[p_value > LEVEL] = "no difference shown"
    words[(p_value > LEVEL) & np.isnan(panels.fewest_correct(tastings, LEVEL))] = "too few to tell"
    words[p_value <= LEVEL] = "they differ"
    words[p_value <= STRICT] = "they differ, clearly"
    return words


def _counts(values: Array) -> Texts:
    """Numbers as they are said: 12, not 12.00."""
    return np.array([f"{value:g}" for value in values], dtype=object)


def _no_count(values: Array, least: float) -> tuple[Mask, dict[str, Any]]:
    return np.isfinite(values) & ((values < least) | (values != np.rint(values))), {
        "typed": (_counts(values), "")
    }


@check(
    "triangle",
    cell="tastings",
    level="error",
    says="{typed} is no number of tastings.",
    advice="Count how often three glasses were given.",
)
def tastings_no_count(tastings: Array) -> tuple[Mask, dict[str, Any]]:
    """Not whole, or below one."""
    return _no_count(tastings, 1.0)


@check(
    "triangle",
    cell="correct",
    level="error",
    says="{typed} is no number of correct answers.",
    advice="Count the tastings in which the different glass was found.",
)
def correct_no_count(correct: Array) -> tuple[Mask, dict[str, Any]]:
    """Not whole, or below nothing."""
    return _no_count(correct, 0.0)


@check(
    "triangle",
    cell="correct",
    level="error",
    says="{right} of {all} tastings can't be correct. {meant}",
    advice="Check both numbers.",
)
def more_correct_than_tastings(correct: Array, tastings: Array) -> tuple[Mask, dict[str, Any]]:
    """A part larger than the whole."""
    likely = np.isfinite(panels.guessing_tail(tastings, correct))
    meant = np.where(likely, "Exchanged they would fit.", "").astype(object)
    return (correct > tastings) & (tastings >= 1), {
        "right": (_counts(correct), ""),
        "all": (_counts(tastings), ""),
        "meant": (meant, ""),
    }


@check(
    "triangle",
    cell="tastings",
    level="note",
    says="Fewer than 6 tastings tell little: a real difference is easily missed.",
    advice="Go on with more tastings; the same people may taste again.",
)
def few_tastings(tastings: Array) -> Mask:
    """Below where the printed tables begin."""
    return np.asarray((tastings >= 1) & (tastings < FEWEST) & (tastings == np.rint(tastings)))


@check(
    "triangle",
    cell="correct",
    level="warning",
    says="{right} correct is fewer than even guessing gives ({guessed} or so).",
    advice="Check whether the wrong answers were counted, or the glasses were noted down wrongly.",
)
def fewer_than_guessing(correct: Array, tastings: Array) -> tuple[Mask, dict[str, Any]]:
    """So few by chance less than once in a thousand series."""
    chance = 1.0 - panels.guessing_tail(correct + 1, tastings)
    return np.asarray((correct >= 0) & (chance < ODD)), {
        "right": (_counts(correct), ""),
        "guessed": (_counts(np.rint(tastings / 3)), ""),
    }
