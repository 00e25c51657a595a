"""What a number that does not fit may have been meant as: the slips of the hand that explain it."""

import itertools
from collections.abc import Iterator

import numpy as np

from sheetcalc import units

# The units that each is taken for: of the same amount in the other system, and a step larger or smaller.
TAKEN_FOR = {
    "L": ("mL", "gal"),
    "mL": ("L", "fl oz"),
    "cL": ("mL", "L"),
    "gal": ("L", "fl oz"),
    "fl oz": ("mL", "gal"),
    "kg": ("g", "lb"),
    "g": ("kg", "oz"),
    "lb": ("kg", "oz"),
    "oz": ("g", "lb"),
    "°C": ("°F",),
    "°F": ("°C",),
    "% vol": ("proof",),
    "proof": ("% vol",),
    "W": ("kW",),
    "kW": ("W",),
}
MOST_NAMED = 2  # more ways to be right tell nothing


def in_words(value: float, quantity: str, label: str, low: float, high: float) -> str:
    """The slips that would bring a value (base units) within low..high, as a sentence; '' for none or many.

    label: the unit it was typed in. Tried are another unit, two digits exchanged, a digit typed twice or
    missing, and a moved point.
    """
    if not (np.isfinite(value) and low < high):
        return ""
    fitting: dict[float, str] = {}
    for base, words in _ways(value, quantity, label):
        if low <= base <= high:
            fitting.setdefault(float(f"{base:.6g}"), words)
    if not 0 < len(fitting) <= MOST_NAMED:
        return ""
    return f"It would fit as {', or as '.join(fitting.values())}."


def _ways(value: float, quantity: str, label: str) -> Iterator[tuple[float, str]]:
    typed = float(f"{float(units.from_base(value, quantity, label)):.10g}")
    for other in TAKEN_FOR.get(label, ()):
        yield float(units.to_base(typed, quantity, other)), f"{typed:.10g} {other}"
    for number, slip in _slips(typed):
        base = float(units.to_base(number, quantity, label))
        yield base, f"{units.show_exactly(base, quantity, label)} ({slip})"


def _slips(typed: float) -> Iterator[tuple[float, str]]:
    text = f"{typed:.10g}"
    moved = float(f"{typed * 0.1:.12g}"), float(f"{typed * 10.0:.12g}")
    for swapped in swapped_digits(typed, len(text.partition(".")[2])):
        # 0.2 for 2.0 is a point in the wrong place.
        if swapped not in moved:
            yield swapped, "two digits exchanged"
    for a, b in itertools.pairwise(range(len(text))):
        if text[a] == text[b]:
            yield float(text[:a] + text[b:]), "a digit typed twice"
    yield moved[0], "the point moved"
    yield moved[1], "the point moved" if "." in text else "a digit missing"


def swapped_digits(value: float, decimals: int) -> list[float]:
    """A number with each pair of neighbouring digits exchanged."""
    text = f"{value:.{decimals}f}"
    places = [i for i, character in enumerate(text) if character.isdigit()]
    found = []
    for a, b in itertools.pairwise(places):
        if text[a] != text[b]:
            swapped = list(text)
            swapped[a], swapped[b] = text[b], text[a]
            found.append(float("".join(swapped)))
    return found
