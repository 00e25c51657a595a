"""What a number that does not fit is said to have been meant as, from slips made on purpose."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetcalc import meant, units
from sheetcalc.stages import slips

# Typed in a unit, the limits in base units, what it was before the slip. The slips are those of the keyboard
# and of a scale read in another unit (common practice); the numbers are worked by hand.
SLIPS = [
    (45.2, "strength", "% vol", 53.0, 55.5, "54.2 % vol (two digits exchanged)"),
    (441.0, "strength", "% vol", 40.0, 42.0, "41 % vol (a digit typed twice)"),
    (4.3, "strength", "% vol", 42.7, 43.3, "43 % vol (the point moved)"),
    (86.0, "strength", "% vol", 42.7, 43.3, "86 proof"),
    (41.5, "strength", "proof", 41.0, 42.0, "41.5 % vol"),
    (68.0, "temperature", "°C", 18.0, 22.0, "68 °F"),
    (20.0, "temperature", "°F", 18.0, 22.0, "20 °C"),
    (700.0, "volume", "L", 0.65, 0.75, "700 mL"),
    (7.45, "volume", "gal", 4.5 * 3.785, 5.0 * 3.785, "4.75 gal (two digits exchanged)"),
    (1.5, "power", "W", 1000.0, 2000.0, "1.5 kW"),
]


@pytest.mark.parametrize(("typed", "quantity", "label", "low", "high", "words"), SLIPS)
def test_the_slip_is_named(
    typed: float, quantity: str, label: str, low: float, high: float, words: str
) -> None:
    value = float(units.to_base(typed, quantity, label))
    assert meant.in_words(value, quantity, label, low, high) == f"It would fit as {words}."


def test_nothing_is_named_where_too_much_would_fit_or_nothing_would() -> None:
    assert meant.in_words(4422.5, "volume", "mL", 0.1, 0.5) == ""
    assert meant.in_words(57.0, "strength", "% vol", 58.0, 58.5) == ""
    assert meant.in_words(np.nan, "strength", "% vol", 58.0, 58.5) == ""
    assert meant.in_words(57.0, "strength", "% vol", np.nan, 58.5) == ""


@given(st.floats(10.0, 95.0).map(lambda x: round(x, 1)), st.sampled_from(["% vol", "proof"]))
def test_what_is_named_does_fit(typed: float, label: str) -> None:
    """Whatever is said to fit does: typed anew, it lies within the limits."""
    low, high = 20.0, 22.0
    words = meant.in_words(float(units.to_base(typed, "strength", label)), "strength", label, low, high)
    for named in words.removeprefix("It would fit as ").rstrip(".").split(", or as ") if words else ():
        number, unit = named.split(" (")[0].split(" ", 1)
        assert low - 1e-6 <= units.to_base(float(number), "strength", unit) <= high + 1e-6


def test_a_date_of_another_year_is_named() -> None:
    day = 46082.0  # 2026-03-01
    dates = np.array([day, day + 1, day + 367, day + 3])
    words = slips.date_meant(dates, np.array([False, False, True, False]))
    assert list(words) == ["", "", "A year earlier it would be 2026-03-03 and fit.", ""]
