"""The standstill rule and the expected end, against logs made from known curves."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetcalc.instruments import DEFAULTS, Instrument
from sheetcalc.stages import fermentation as stage

FINE = replace(DEFAULTS["hydrometer"], division=0.001)
COARSE = replace(DEFAULTS["hydrometer"], division=0.002)
FINISHED_BELOW, USUAL_END = 0.995, 0.988


def states(days: Sequence[float], gravity: list[float], hydrometer: Instrument = COARSE) -> list[str]:
    """The states of readings that all fit."""
    at = np.arange(len(days))
    sound = stage.Curve(at, np.array(days, dtype=float), np.array(gravity))
    return list(stage.state(sound, sound.days, hydrometer, (FINISHED_BELOW, USUAL_END)))


def test_two_days_at_the_same_reading_near_the_end_is_finished() -> None:
    # Common practice: the same reading on two to three days running.
    assert states([0, 5, 8, 9, 10], [1.08, 1.01, 0.99, 0.99, 0.99])[2:] == ["working", "standing", "finished"]


def test_one_day_at_the_same_reading_is_only_standing() -> None:
    assert states([0, 5, 8, 9], [1.08, 1.01, 0.99, 0.99])[-1] == "standing"


def test_two_days_at_the_same_reading_far_from_the_end_is_stalled() -> None:
    assert states([0, 5, 6, 7], [1.08, 1.04, 1.04, 1.04])[-1] == "stalled"


def test_several_readings_on_one_day_do_not_make_it_finished() -> None:
    days = [0, 5, 8, 8.2, 8.4, 8.6]
    assert states(days, [1.08, 1.01, 0.99, 0.99, 0.99, 0.99])[-1] in ("working", "slowing")


def test_what_the_hydrometer_cannot_tell_counts_as_standing_still() -> None:
    fall = [1.08, 1.01, 0.9912, 0.9905, 0.9900]
    days = [0, 5, 8, 9, 10]
    assert states(days, fall, COARSE)[-1] == "finished"
    assert states(days, fall, FINE)[-1] != "finished"


def test_a_slow_fall_over_many_days_is_no_standstill() -> None:
    """Each step is below the hydrometer's resolution, but together they are not."""
    days = [0.0, 5.0, *np.arange(8.0, 16.0)]
    fall = [1.08, 1.01, *(0.994 - 0.0009 * np.arange(8))]
    assert "finished" not in states(days, fall, FINE)


def test_without_an_original_gravity_nothing_is_called_finished_or_stalled() -> None:
    sound = stage.Curve(np.arange(3), np.array([0.0, 1.0, 2.0]), np.array([0.99, 0.99, 0.99]))
    assert list(stage.state(sound, sound.days, COARSE, (np.nan, np.nan)))[-1] == "standing"


@given(
    pace=st.floats(0.008, 0.025),
    top=st.floats(1.05, 1.10),
    hour=st.floats(0.0, 0.9),
    share=st.floats(0.3, 0.9),
)
def test_the_expected_end_is_found_from_a_third_of_the_way_on(
    pace: float, top: float, hour: float, share: float
) -> None:
    """A wash that keeps its pace for three quarters of its fall and then tails off, read twice a day."""
    fall = top - USUAL_END
    linear, tail = 0.75 * fall / pace, 0.25 * fall / pace

    def gravity(day: float) -> float:
        if day < linear:
            return top - pace * day
        return USUAL_END + 0.25 * fall * float(np.exp(-(day - linear) / tail))

    truth = linear + tail * np.log(0.25 * fall / COARSE.division)
    days = np.arange(0.0, share * linear + 1.0, 0.5) + hour
    sound = stage.Curve(np.arange(len(days)), days, np.array([gravity(day) for day in days]))
    words: Any = np.full(len(days), "working", dtype=object)
    ends = (FINISHED_BELOW, USUAL_END)
    expected = stage.expected_end(sound, words, days, COARSE, ends)[-1]
    if sound.gravity[-1] - USUAL_END <= COARSE.division:
        assert np.isnan(expected)  # it is there
    else:
        assert expected == pytest.approx(truth, abs=max(1.0, 0.15 * truth))


def test_dates_sorted_either_way_give_the_same_order() -> None:
    days = np.array([1.0, 2.0, 3.0, 4.0])
    gravity = np.array([1.08, 1.06, 1.04, 1.02])
    up = stage.curve(days, gravity, stage.dated(days))
    down = stage.curve(days[::-1], gravity[::-1], stage.dated(days[::-1]))
    assert np.array_equal(up.gravity, down.gravity)


def test_the_reading_that_does_not_fit_is_the_one_left_out() -> None:
    days = np.arange(6.0)
    gravity = np.array([1.08, 1.06, 1.07, 1.04, 1.02, 1.01])
    curve = stage.curve(days, gravity, stage.dated(days))
    kept = stage.fits(curve, days, COARSE)
    assert kept.sum() == 5
    assert not kept[[1, 2]].all()
