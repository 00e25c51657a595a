"""The standstill rule and the expected end, against logs made from known curves."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetcalc.instruments import DEFAULTS, Instrument, expanded_uncertainty
from sheetcalc.liquids import Array
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
    expected = stage.expected_end(stage.forecast(sound, words, COARSE, ends), days)[-1]
    if sound.gravity[-1] - USUAL_END <= COARSE.division:
        assert np.isnan(expected)  # it is there
    else:
        assert expected == pytest.approx(truth, abs=max(1.0, 0.15 * truth))


class Wash(NamedTuple):
    """A wash as it might be: gravity (SG) by day, its end, the day it comes within a division of it."""

    days: Array
    gravity: Array
    end: float
    over: float


def tailing_off(random: np.random.Generator, division: float) -> Wash:
    """A late start, an even fall, and a last part in which the pace shrinks with what is left."""
    top, end, pace = random.uniform(1.05, 1.10), random.uniform(0.986, 0.996), random.uniform(0.006, 0.025)
    share, wait = random.uniform(0.15, 0.35), random.uniform(0.0, 1.0)
    even, tail = (1 - share) * (top - end) / pace, share * (top - end) / pace
    days = np.linspace(0.0, wait + even + 12 * tail, 20000)
    late = end + share * (top - end) * np.exp(-np.maximum(days - wait - even, 0.0) / tail)
    gravity = np.where(days < wait + even, top - pace * np.maximum(days - wait, 0.0), late)
    return Wash(days, gravity, end, float(days[np.argmax(gravity <= end + division)]))


def starving(random: np.random.Generator, division: float) -> Wash:
    """Uptake of sugar after Michaelis and Menten (most S / (S + K)), with yeast that grows at first."""
    top, end, pace = random.uniform(1.05, 1.10), random.uniform(0.986, 0.996), random.uniform(0.006, 0.025)
    half, growth = random.uniform(0.08, 0.35) * (top - end), random.uniform(0.2, 1.0)
    days = np.linspace(0.0, 60.0, 20000)
    left = np.empty_like(days)
    left[0] = top - end
    for i in range(1, len(days)):
        grown = 1 - np.exp(-days[i - 1] / growth)
        left[i] = left[i - 1] * (1 - (days[1] * pace * grown) / (left[i - 1] + half))
    return Wash(days, end + left, end, float(days[np.argmax(left <= division)]))


class Told(NamedTuple):
    """What one reading foretold: how far along the wash was (0..1), days off, days of spread."""

    along: float
    off: float
    spread: float


@cache
def told(shape: Callable[[np.random.Generator, float], Wash]) -> tuple[Told, ...]:
    """What is foretold of 150 washes, read once or twice a day to half a division with a shaky hand.

    Their true ends scatter about the usual one as the stage takes it: by a quarter of the way to the least.
    """
    random = np.random.default_rng(20260302)
    found = []
    for number in range(150):
        hydrometer = (FINE, COARSE)[number % 2]
        division = hydrometer.division
        hydrometer = replace(hydrometer, uncertainty=float(expanded_uncertainty(division)))
        made = shape(random, division)
        days = np.arange(0.0, made.over, (0.5, 1.0)[number // 2 % 2])
        days = np.sort(np.abs(days + random.uniform(-0.1, 0.1, len(days))))
        seen = np.interp(days, made.days, made.gravity) + random.normal(0.0, division / 4, len(days))
        seen = np.round(seen / division * 2) * division / 2
        usual = made.end + random.normal(0.0, 0.0011)
        ends = (usual + 4 * 0.0011, usual)
        curve = stage.curve(days, seen, np.ones(len(days), dtype=bool))
        sound = stage.sound(curve, stage.fits(curve, days, hydrometer))
        forecast = stage.forecast(sound, stage.state(sound, days, hydrometer, ends), hydrometer, ends)
        when, spread = stage.expected_end(forecast, days), stage.end_spread(forecast, days) / 24
        for at in forecast.at:
            found.append(Told(float(days[at] / made.over), float(when[at] - made.over), float(spread[at])))
    return tuple(found)


@pytest.mark.parametrize("shape", [tailing_off, starving])
def test_the_true_end_lies_within_the_spread_nine_times_out_of_ten(shape: Any) -> None:
    inside = [abs(t.off) <= t.spread for t in told(shape)]
    assert len(inside) > 500
    assert np.mean(inside) >= 0.90


@pytest.mark.parametrize("shape", [tailing_off, starving])
def test_the_spread_shrinks_as_the_end_nears(shape: Any) -> None:
    thirds = [[t.spread for t in told(shape) if third <= 3 * t.along < third + 1] for third in range(3)]
    early, middle, late = (float(np.median(third)) for third in thirds)
    assert early > middle > late
    assert late < 0.5 * early


@given(division=st.floats(0.0005, 0.004))
def test_a_coarser_hydrometer_tells_the_end_less_well(division: float) -> None:
    days = np.arange(6.0)
    sound = stage.Curve(np.arange(6), days, 1.08 - 0.012 * days)
    words: Any = np.full(6, "working", dtype=object)
    spreads = [
        stage.end_spread(stage.forecast(sound, words, glass, (0.995, 0.988)), days)[-1]
        for glass in (
            replace(FINE, division=division, uncertainty=0.8 * division),
            replace(FINE, division=division, uncertainty=1.6 * division),
        )
    ]
    assert spreads[0] < spreads[1]


def test_without_a_forecast_there_is_no_spread() -> None:
    sound = stage.Curve(np.arange(3), np.arange(3.0), np.array([0.990, 0.990, 0.990]))
    words: Any = np.array(["", "standing", "finished"], dtype=object)
    forecast = stage.forecast(sound, words, COARSE, (0.995, 0.988))
    assert np.isnan(stage.expected_end(forecast, sound.days)).all()
    assert np.isnan(stage.end_spread(forecast, sound.days)).all()


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


def test_a_wash_typed_as_heavy_as_water_ends_where_it_began() -> None:
    assert stage.ends(np.asarray(1.0), "sugar", np.asarray(14.0)) == (1.0, 1.0)
