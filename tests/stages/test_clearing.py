"""Doses, order and times of the clearing sheet, against hand computations and the rules of the trade."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetcalc.instruments import DEFAULTS
from sheetcalc.stages import clearing as stage
from sheetcalc.stages.fermentation import Curve

HOUR = 1 / 24
DAY = 46000.0  # some evening
TWO_PART = ["degassing", "first fining", "second fining", "racking"]
AGENTS = ["", "silica sol", "chitosan", ""]
HYDROMETER = replace(DEFAULTS["hydrometer"], division=0.002)


def texts(*words: str) -> Any:
    return np.array(words, dtype=object)


def at(*hours: float) -> Any:
    return DAY + np.array(hours) * HOUR


def due(steps: list[str], agents: list[str], hours: list[float]) -> Any:
    """Hours after `DAY` at which the next step may follow."""
    done, turn = at(*hours), stage.turn(texts(*steps), texts(*agents))
    order, settling = stage.order(done), stage.settling(texts(*agents))
    clear = stage.clear_at(done, texts(*steps), settling, order)
    return (stage.earliest_next(done, turn, settling, clear, order) - DAY) / HOUR


def test_a_two_part_fining_waits_an_hour_and_then_twelve() -> None:
    # Rules of thumb, section 8: silica sol, about 1 hour, chitosan, then 12 to 24 hours (common practice).
    assert due(TWO_PART, AGENTS, [0, 0.5, 1.5, 26]) == pytest.approx([0, 1.5, 13.5, 26], abs=1e-4)


def test_looking_too_early_puts_the_racking_off_until_the_fining_has_settled() -> None:
    steps = ["second fining", "looking", "looking"]
    assert due(steps, ["chitosan", "", ""], [0, 5, 20])[1:] == pytest.approx([12, 20], abs=1e-4)


def test_states_follow_the_clock() -> None:
    steps, agents = [*TWO_PART[:3], "looking", "looking", "racking"], [*AGENTS[:3], "", "", ""]
    done = at(0, 0.5, 1.5, 6, 14, 26)
    clear = stage.clear_at(done, texts(*steps), stage.settling(texts(*agents)), stage.order(done))
    states = stage.state(stage.turn(texts(*steps), texts(*agents)), done, clear)
    told = ["degassed", "waiting", "clearing", "clearing", "time enough to rack", "racked"]
    assert list(states) == told


def test_a_dose_is_counted_for_the_volume_there_is() -> None:
    # By hand: 25 L, 1.5 L left behind by a first racking; 47 mL in 23.5 L is 2 mL/L, 11.75 g is 0.5 g/L.
    done, step = at(0, 1), texts("racking", "first fining")
    after = np.array([23.5, np.nan])
    before = stage.volume_before(after, np.array(25.0), np.array("sugar"), stage.order(done))
    fined = stage.volume_fined(step, before, after)
    assert list(before) == [25.0, 23.5]
    assert stage.dose_per_litre(np.array([np.nan, 0.047]), fined)[1] == pytest.approx(2.0)
    assert stage.mass_per_litre(np.array([np.nan, 0.01175]), fined)[1] == pytest.approx(0.5)
    assert stage.lost(step, before, after)[0] == pytest.approx(1.5)


def test_a_volume_that_cannot_be_does_not_spoil_the_doses_after_it() -> None:
    done, after = at(0, 1), np.array([250.0, np.nan])
    before = stage.volume_before(after, np.array(25.0), np.array("sugar"), stage.order(done))
    assert before[1] == 25.0


@given(
    volume=st.floats(1.0, 500.0),
    dose=st.floats(0.001, 1.0),
    lost=st.lists(st.floats(0.0, 0.04), min_size=1, max_size=5),
)
def test_dose_and_lees_keep_the_balance(volume: float, dose: float, lost: list[float]) -> None:
    """Rate times volume is the dose, and what is left and what was lost are what there was."""
    after = volume * np.cumprod(1 - np.array(lost))
    done, step = at(*range(len(lost))), texts(*["racking"] * len(lost))
    before = stage.volume_before(after, np.array(volume), np.array("sugar"), stage.order(done))
    gone = stage.lost(step, before, after)
    assert after[-1] + gone.sum() == pytest.approx(volume)
    fined = stage.volume_fined(step, before, after)
    assert stage.dose_per_litre(np.full(len(lost), dose), fined) * fined / 1000 == pytest.approx(dose)


@given(hours=st.lists(st.floats(0.0, 100.0), min_size=4, max_size=4), turned=st.permutations(range(4)))
def test_verdicts_stay_with_their_step_however_the_sheet_is_sorted(
    hours: list[float], turned: list[int]
) -> None:
    done, step, agent = at(*hours), texts(*TWO_PART), texts(*AGENTS)
    if len(set(np.round(done, 6))) < 4:
        return

    def verdicts(places: list[int]) -> Any:
        d, s, a = done[places], step[places], agent[places]
        order = stage.order(d)
        soon, _ = stage.racked_too_soon(s, a, d, stage.settling(a), order)
        second, _ = stage.second_part_too_soon(s, a, d, order)
        flags = [soon, second, stage.chitosan_before_silica_sol(s, a, order)]
        flags += [stage.fined_before_degassing(s, order), stage.second_fining_first(s, a, d, order)]
        return np.array(flags)

    assert np.array_equal(verdicts(list(turned)), verdicts([0, 1, 2, 3])[:, turned])


@given(hours=st.floats(0.0, 40.0))
def test_racking_is_too_soon_until_the_least_time_and_never_after(hours: float) -> None:
    done, step, agent = at(0, hours + 0.01), texts("second fining", "racking"), texts("chitosan", "")
    soon, _ = stage.racked_too_soon(step, agent, done, stage.settling(agent), stage.order(done))
    if abs(hours + 0.01 - 11.75) > 0.01:  # 12 h, less the quarter of an hour that clock times are good for
        assert list(soon) == [False, hours + 0.01 < 11.75]


def fined_at(day: float, gravity: list[float], states: list[str]) -> bool:
    """Whether fining on a day is called too early for daily readings and their states."""
    sound = Curve(np.arange(len(gravity)), np.arange(float(len(gravity))), np.array(gravity))
    step, done = texts("first fining"), np.array([day])
    order = stage.order(done)
    args = (step, done, order, np.array(np.nan), texts(*states), sound, HYDROMETER)
    return bool(stage.still_fermenting(*args)[0][0])


def test_fining_a_working_wash_is_told_and_fining_a_finished_one_is_not() -> None:
    fall = [1.080, 1.040, 1.010, 0.992, 0.990, 0.990, 0.990]
    states = ["", "working", "working", "slowing", "standing", "standing", "finished"]
    assert fined_at(1.5, fall, states)
    assert not fined_at(3.5, fall, states)
    assert not fined_at(6.1, fall, states)


def test_fining_right_after_a_reading_that_still_fell_is_told() -> None:
    fall, states = [1.080, 1.050, 1.020], ["", "working", "working"]
    assert fined_at(2.5, fall, states)
    assert not fined_at(20.0, fall, states)  # much may have happened since


def test_without_a_fermentation_sheet_nothing_is_said_about_it() -> None:
    assert not fined_at(1.0, [], [])


def test_of_two_dates_far_apart_none_is_called_odd() -> None:
    assert not stage.odd_date(np.array([DAY, DAY + 40]))[0].any()


def test_an_date_meant_is_named() -> None:
    # 2026-03-04 is day 46085 since 1899-12-30; 2026-04-03 is day 46115.
    odd, more = stage.odd_date(np.array([46084.0, 46085.0, 46115.0, 46086.0]))
    assert list(odd) == [False, False, True, False]
    assert "2026-03-04" in more["meant"][0][2]
