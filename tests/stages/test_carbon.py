"""The carbon sheet against hand computations, its laws and the rules of the trade."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetcalc.instruments import DEFAULTS
from sheetcalc.stages import carbon as stage

READINGS = 1.2  # % vol that two readings may differ


def one(value: float) -> Any:
    return np.array([value])


def test_a_litre_through_the_filter_by_hand() -> None:
    # 1 L at 45 % vol, 100 g of carbon, 8 h; 0.93 L at 44.5 % vol come out: 450 - 413.85 = 36.15 mL lost.
    assert stage.carbon_per_litre(one(0.1), one(1.0))[0] == pytest.approx(100.0)
    contact = stage.contact(one(46000.0), one(46000.0 + 8 / 24), np.array([False]))
    assert contact[0] == pytest.approx(8.0, abs=1e-6)
    assert stage.flow(one(1.0), contact)[0] == pytest.approx(0.125, abs=1e-7)
    went, came = stage.alcohol_in(one(1.0), one(45.0)), stage.alcohol_out(one(0.93), one(44.5))
    assert stage.alcohol_lost(went, came)[0] == pytest.approx(0.03615)
    assert stage.loss(one(1.0), one(0.93))[0] == pytest.approx(0.07)


@pytest.mark.parametrize(("hours", "fast", "slow"), [(2, True, False), (6, False, False), (12, False, False)])
def test_six_to_twelve_hours_for_a_litre_are_fine(hours: float, fast: bool, slow: bool) -> None:
    # Rules of thumb, section 8 (common practice).
    assert stage.too_fast(one(hours), one(1.0), one(100.0))[0][0] == fast
    assert stage.too_slow(one(hours), one(1.0))[0][0] == slow


def test_before_the_pour_the_carbon_and_during_it_the_end_are_told() -> None:
    # 2 L: 50 to 250 g and 6 to 12 h a litre (common practice) are 100 to 500 g and half a day to a day.
    wanted, told = stage.carbon_to_take(one(2.0), one(np.nan))
    assert wanted[0] and (told["least"][0][0], told["most"][0][0]) == pytest.approx((0.1, 0.5))
    going, told = stage.still_dripping(one(2.0), one(46000.0), one(np.nan), one(np.nan))
    assert going[0] and (told["earliest"][0][0], told["latest"][0][0]) == pytest.approx((46000.5, 46001.0))
    assert not stage.still_dripping(one(2.0), one(46000.0), one(np.nan), one(1.9))[0][0]


def test_a_large_bed_may_run_faster_and_a_small_jar_take_its_night() -> None:
    # 20 L over 2 kg in a day pass as much carbon for as long as 1 L over 100 g in a day.
    assert not stage.too_fast(one(24.0), one(20.0), one(100.0))[0][0]
    assert not stage.too_slow(one(14.0), one(0.25))[0][0]


@pytest.mark.parametrize(("strength", "flagged"), [(40.0, False), (50.0, False), (55.0, True)])
def test_the_filter_is_for_forty_to_fifty(strength: float, flagged: bool) -> None:
    # Rules of thumb, section 8: filter at 40 to 50 % vol, not stronger (common practice).
    assert stage.too_strong_to_filter(one(strength), DEFAULTS["alcoholmeter"].uncertainty)[0][0] == flagged


filtered = st.tuples(st.floats(0.1, 50.0), st.floats(30.0, 50.0), st.floats(0.0, 0.15), st.floats(0.0, 3.0))


def checked(volume: float, strength: float, out: float, strength_out: float, carbon: float) -> set[str]:
    """The rules about what comes out that speak up."""
    v, q, v_out, q_out, mass = (one(x) for x in (volume, strength, out, strength_out, carbon))
    a_in, a_out = stage.alcohol_in(v, q), stage.alcohol_out(v_out, q_out)
    doubt, rate = np.array([False]), stage.carbon_per_litre(mass, v)
    lost = stage.alcohol_lost(a_in, a_out)
    said: dict[str, Any] = {
        "stronger_out": stage.stronger_out(q, q_out, doubt, READINGS),
        "more_alcohol_out": stage.more_alcohol_out(a_in, a_out, v, q, q_out, doubt, READINGS)[0],
        "more_volume_out": stage.more_volume_out(v, v_out, a_in, a_out, q, READINGS)[0],
        "much_lost": stage.much_lost(stage.loss(v, v_out), v, mass, rate)[0],
        "alcohol_gone": stage.alcohol_gone(
            lost, a_in, q, doubt, stage.loss(v, v_out), v, mass, rate, READINGS
        )[0],
    }
    return {rule for rule, wrong in said.items() if wrong[0]}


@given(filtered)
def test_what_carbon_keeps_is_never_flagged(lot: tuple[float, float, float, float]) -> None:
    """Up to 1.5 L a kg stay in 100 g a litre; a little water in the carbon takes the strength down."""
    volume, strength, kept, drop = lot
    assert checked(volume, strength, volume * (1 - kept), strength - drop * 0.5, volume * 0.1) == set()


@given(filtered, st.floats(1.08, 20.0))
def test_more_alcohol_than_went_in_is_flagged_once(
    lot: tuple[float, float, float, float], gain: float
) -> None:
    volume, strength, _, _ = lot
    assert checked(volume, strength, volume * gain, strength, volume * 0.1) == {"more_alcohol_out"}


@given(filtered, st.floats(0.0, 0.04))
def test_a_gain_within_what_measures_are_off_is_not(
    lot: tuple[float, float, float, float], gain: float
) -> None:
    volume, strength, _, _ = lot
    assert checked(volume, strength, volume * (1 + gain), strength, volume * 0.1) == set()


@given(st.lists(st.floats(0.2, 2.0), min_size=1, max_size=8), st.permutations(range(8)))
def test_what_went_through_adds_up_in_the_order_of_time(volumes: list[float], turned: list[int]) -> None:
    n = len(volumes)
    freshness = np.array(["fresh"] + ["used again"] * (n - 1), dtype=object)
    v, days, rate = np.array(volumes), np.arange(46000.0, 46000.0 + n), np.full(n, 100.0)
    expected = np.cumsum(v)
    places = [i for i in turned if i < n]
    litres = stage.litres_through(v[places], freshness[places], days[places], np.full(n, np.nan), rate)
    assert litres == pytest.approx(expected[places])


def test_fresh_carbon_begins_anew() -> None:
    freshness = np.array(["fresh", "used again", "fresh"], dtype=object)
    unknown = np.full(3, np.nan)
    litres = stage.litres_through(np.array([1.0, 2.0, 4.0]), freshness, unknown, unknown, np.full(3, 100.0))
    assert list(litres) == [1.0, 3.0, 4.0]


def test_a_lot_is_found_on_the_strength_sheet_whatever_its_capitals() -> None:
    of_lot = stage.of_lot(
        np.array([" Hearts", "", "tails"], dtype=object), np.array(["hearts", ""], dtype=object)
    )
    assert of_lot.tolist() == [[True, False], [False, False], [False, False]]


def test_of_the_strengths_a_lot_had_the_nearest_counts() -> None:
    of_lot = np.array([[True, True, False]])
    final, after = np.array([45.0, 40.0, 42.0]), np.array([43.8, np.nan, 42.0])
    for typed, nearest in ((45.5, 45.0), (43.5, 43.8), (42.0, 43.8), (39.0, 40.0)):
        assert stage.lot_strength(one(typed), of_lot, final, after)[0] == pytest.approx(nearest)


@pytest.mark.parametrize("lines", [0, 2])
def test_without_a_strength_sheet_no_lot_is_known(lines: int) -> None:
    blank = np.full(lines, np.nan)
    of_lot = stage.of_lot(np.array(["a", "b"], dtype=object), np.array(np.nan))
    assert np.isnan(stage.lot_volume(of_lot, np.zeros(2, dtype=bool), np.array(np.nan), blank)).all()
    assert np.isnan(stage.lot_strength(np.array([40.0, 41.0]), of_lot, blank, blank)).all()
