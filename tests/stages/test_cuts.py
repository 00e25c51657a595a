"""The jars of a run: totals, what is expected of each, and which of them are wrong."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from logs import Log, put, records, spoilt, typed

from sheetcalc.filling import examine
from sheetcalc.findings import Finding
from sheetcalc.instruments import DEFAULTS
from sheetcalc.liquids import Array, spirit, vapour
from sheetcalc.stages import cuts as stage

NOTHING = np.full(0, np.nan)
# Perry's Chemical Engineers' Handbook, 101.325 kPa: mole fraction in the vapour, °C.
PERRY = np.array(
    [[0.1700, 95.5], [0.4375, 86.7], [0.4704, 85.3], [0.5089, 84.1], [0.5580, 82.3], [0.6122, 80.7]]
)


def texts(*words: str) -> Any:
    return np.array(words, dtype=object)


def one_charge(volume: float, strength: float, stages: float, jars: int) -> stage.Charge:
    """Every jar from the same charge."""
    blank, known = np.full(jars, np.nan), np.ones(jars, dtype=bool)
    volumes, strengths = np.full(jars, volume), np.full(jars, strength)
    alcohol = volumes * strengths / 100
    return stage.Charge(volumes, strengths, alcohol, blank, np.full(jars, stages), blank, known)


def test_totals_are_kept_for_each_run_however_they_are_mixed() -> None:
    order = stage.order(texts("1", "2", "1 ", "2", "", "1"), texts("a", "b", "c", "d", "e", "f"))
    totals = stage.cumulative_volume(np.array([1.0, 10.0, 2.0, 20.0, 99.0, 3.0]), order)
    # By hand: run 1 is 1, 1 + 2, 1 + 2 + 3; run 2 is 10, 10 + 20; a jar of no run has no total.
    assert totals == pytest.approx([1.0, 10.0, 3.0, 30.0, np.nan, 6.0], nan_ok=True)


def test_numbered_jars_are_totalled_in_their_order_in_a_sorted_sheet() -> None:
    order = stage.order(texts("1", "1", "1"), texts("3", "10", "2"))
    assert stage.cumulative_volume(np.array([3.0, 10.0, 2.0]), order) == pytest.approx([5.0, 15.0, 2.0])


def test_after_a_jar_without_volume_the_total_is_not_known() -> None:
    order = stage.order(texts("1", "1", "1"), texts("", "", ""))
    totals = stage.cumulative_volume(np.array([1.0, np.nan, 2.0]), order)
    assert totals == pytest.approx([1.0, np.nan, np.nan], nan_ok=True)


def test_jars_find_the_charge_of_their_run() -> None:
    runs: list[Array] = [np.array([8.0, 7.0]), np.array([12.0, 33.0]), np.array([0.96, 2.31])]
    runs += [np.array([1.9, np.nan]), np.array([1.1, np.nan]), np.array([1.25, 1.4]), np.array([0.02, 0.05])]
    found = stage.charge(texts("Two", "one", "three", ""), texts("One", "two"), *runs)
    assert found.volume == pytest.approx([7.0, 8.0, np.nan, np.nan], nan_ok=True)
    # Stages seen go before planned ones.
    assert found.stages == pytest.approx([1.4, 1.1, np.nan, np.nan], nan_ok=True)
    assert list(found.known) == [True, True, False, False]


def test_without_runs_no_jar_has_a_charge() -> None:
    found = stage.charge(texts("1"), NOTHING, *[NOTHING] * 7)
    assert np.isnan(found.volume).all()
    assert not found.known.any()


RUNS = st.tuples(
    st.floats(2.0, 50.0),
    st.floats(5.0, 40.0),
    st.floats(1.0, 4.0),
    st.floats(75.0, 102.0),
    st.lists(st.floats(0.005, 0.1), min_size=1, max_size=9),
)


@settings(deadline=None)
@given(RUNS)
def test_what_is_expected_of_the_jars_is_what_is_expected_of_the_run(run: Any) -> None:
    """Rayleigh in steps is Rayleigh in one: the jars' alcohol sums to that of the whole."""
    charge_volume, strength, stages, pressure, shares = run
    volumes = np.array(shares) * charge_volume
    charge = one_charge(charge_volume, strength, stages, len(volumes))
    totals = np.cumsum(volumes)
    before, after = stage.models(charge, totals, volumes, np.asarray(pressure))
    jars = stage.expected_strength(before, after, volumes)
    whole = vapour.distil(charge_volume, strength, totals[-1], stages, pressure)
    assert (jars * volumes / 100).sum() == pytest.approx(float(whole.alcohol), rel=1e-6)
    assert (np.diff(jars) <= 1e-3).all()


@settings(deadline=None)
@given(RUNS)
def test_no_alcohol_is_lost_between_jars_and_pot(run: Any) -> None:
    charge_volume, strength, stages, pressure, shares = run
    volumes = np.array(shares) * charge_volume
    charge = one_charge(charge_volume, strength, stages, len(volumes))
    order = (np.arange(len(volumes)),)
    totals = np.cumsum(volumes)
    before, after = stage.models(charge, totals, volumes, np.asarray(pressure))
    jars = stage.expected_strength(before, after, volumes)
    pot = stage.pot_strength(charge, order, volumes, jars, after)
    # What is in the pot by mass: the charge's mass less the jars', alcohol likewise.
    mass = charge_volume * spirit.density_at_20(strength) - np.cumsum(volumes * spirit.density_at_20(jars))
    ethanol = charge_volume * strength - np.cumsum(volumes * jars)
    left = ethanol * spirit.ETHANOL_DENSITY / 100 / mass
    assert spirit.mass_percent(pot) / 100 == pytest.approx(left, abs=1e-5)


@pytest.mark.parametrize(("y", "temperature"), PERRY)
def test_vapour_strength_is_perrys(y: float, temperature: float) -> None:
    # y is good to 0.015 mole fraction against this table, as in tests/liquids: at most 2 % vol.
    expected = float(vapour.strength_from_mole_fraction(y))
    found = stage.vapour_strength(np.array([temperature]), np.asarray(101.325))
    assert found == pytest.approx(expected, abs=2.0)


def test_the_still_thermometer_is_corrected() -> None:
    off = replace(DEFAULTS["still thermometer"], correction=-1.5)
    assert stage.true_vapour_temperature(np.array([87.0]), off) == pytest.approx([85.5])


@pytest.fixture
def found(blank: Callable[..., Path], tmp_path: Path) -> Callable[[Log], list[Finding]]:
    """What is found in a log beyond notes."""

    def serious(log: Log) -> list[Finding]:
        path = typed(log, blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
        return [f for f in examine(path).findings if f.level != "note"]

    return serious


def runs_mixed(log: Log) -> None:
    """The jars of two runs, one below the other in turns."""
    second = [dict(jar, run="2") for jar in records(log, "cuts")]
    log["cuts"] = [jar for pair in zip(records(log, "cuts"), second, strict=True) for jar in pair]


def sorted_down(log: Log) -> None:
    log["cuts"].reverse()


def first_not_logged(log: Log) -> None:
    """The run's volume without what was set aside."""
    log["runs"][0]["collected_volume"] = 1860.0


def water_first(log: Log) -> None:
    """What stood in the condenser comes with the first drops."""
    log["cuts"][0]["reading"] = 48.0


def head_cold_first(log: Log) -> None:
    log["cuts"][0]["vapour_temperature"] = 70.0


def undecided(log: Log) -> None:
    for jar in log["cuts"]:
        del jar["fraction"]


def alcoholmeter_only(log: Log) -> None:
    for jar in log["cuts"]:
        del jar["vapour_temperature"]


def still_going(log: Log) -> None:
    del log["cuts"][3:]
    for key in ("collected_volume", "collected_reading", "collected_temperature", "stopped_at"):
        del log["runs"][0][key]


FINE = [runs_mixed, sorted_down, first_not_logged, water_first, head_cold_first, undecided]
FINE += [alcoholmeter_only, still_going]


@pytest.mark.parametrize("change", FINE, ids=lambda change: change.__name__)
def test_what_is_usual_is_not_flagged(found: Any, change: Callable[[Log], None]) -> None:
    assert found(spoilt(change)) == []


MISTAKES = {
    "a proof": put("cuts", 3, reading=100.0),
    "a reading too high": put("cuts", 3, reading=80.0),
    "a reading too low": put("cuts", 3, reading=5.0),
    "a digit too many": put("cuts", 3, volume=4000.0),
    "a digit too few": put("cuts", 3, volume=40.0),
    "°F of the sample": put("cuts", 3, temperature=72.0),
    "°F of the vapour": put("cuts", 3, vapour_temperature=199.0),
    "a vapour misread": put("cuts", 3, vapour_temperature=83.0),
    "another run": put("cuts", 3, run="12"),
    "no first runnings": put("cuts", 0, fraction="heads"),
    "tails at first": put("cuts", 0, fraction="tails"),
    "a still up high": put("batch", None, altitude=1800.0),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_one_mistake_makes_one_flag(found: Any, mistake: str) -> None:
    assert [f.sheet for f in found(spoilt(MISTAKES[mistake]))] == ["Cuts"]


def test_strong_spirit_is_told_once_a_run(blank: Callable[..., Path], tmp_path: Path) -> None:
    path = typed(spoilt(runs_mixed), blank("batch", "metric", ".ods"), tmp_path / "log.ods")
    told = [f for f in examine(path).findings if f.rule == "catches_fire" and f.sheet == "Cuts"]
    assert len(told) == 2
