"""What the runs sheet says, against the trade's rules of thumb and balances done by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetcalc.liquids import spirit, vapour
from sheetcalc.stages import runs as stage

SEA_LEVEL = np.asarray(101.325)


@pytest.mark.parametrize("power", [400.0, 450.0, 500.0])
def test_a_small_electric_pot_drips_after_an_hour_and_ends_after_two(power: float) -> None:
    # Common practice, no source: a small electric pot of 4 L drips after about 1 h and is done 2 to 2.5 h
    # after switching on. The rule names neither power nor charge; pots of that size have 400 to 500 W, and
    # the wash is at 12 to 14 % vol with 0.7 to 1 L collected.
    charge, strength, collected = np.array([4.0]), np.array([13.0]), np.array([0.85])
    efficiency = np.asarray(0.8)
    heating = stage.heating(charge, strength, SEA_LEVEL, np.asarray(power), efficiency)
    stages = np.asarray(1.25)
    model = stage.model(charge, strength, collected, stages, SEA_LEVEL)
    boiling = stage.boiling(model, strength, collected, stages, SEA_LEVEL, np.asarray(power), efficiency)
    assert heating == pytest.approx(1.0, abs=0.25)
    assert heating + boiling == pytest.approx(2.1, abs=0.5)


def test_heating_water_alone_takes_the_heat_of_the_steam_tables() -> None:
    # IAPWS-95: water from 20 to 100 °C at 101.325 kPa takes 419.1 - 84.0 = 335 kJ/kg; 4 L (3.993 kg) at 1 kW
    # is 1338 s. The charge is as weak as a charge can be.
    hours = stage.heating(np.array([4.0]), np.array([0.1]), SEA_LEVEL, np.asarray(1000.0), np.asarray(1.0))
    assert hours * 3600 == pytest.approx(1338, rel=0.01)


def test_what_is_left_in_the_pot_is_what_was_charged_less_what_was_collected() -> None:
    # By hand with OIML R 22: 8 L at 12 % vol hold 0.96 L of alcohol, 1.9 L at 45 % vol hold 0.855 L. 0.105 L
    # stay in about 6.1 L: 1.7 % vol.
    rest = stage.rest(np.array([8.0]), np.array([12.0]), np.array([1.9]), np.array([45.0]))
    assert rest.volume * rest.strength / 100 == pytest.approx(0.105, abs=1e-6)
    assert rest.strength == pytest.approx(1.7, abs=0.05)


@given(
    st.floats(2.0, 500.0),
    st.floats(5.0, 40.0),
    st.floats(0.05, 0.4),
    st.floats(1.0, 6.0),
    st.floats(75.0, 101.325),
)
def test_a_run_keeps_its_mass_and_its_alcohol(
    charge: float, strength: float, share: float, stages: float, pressure: float
) -> None:
    taken = charge * share
    run = vapour.distil(charge, strength, taken, stages, pressure)
    assert run.alcohol + run.left_volume * run.left_strength / 100 == pytest.approx(charge * strength / 100)
    masses = [
        volume * float(spirit.density_at_20(q))
        for volume, q in ((charge, strength), (taken, run.strength), (run.left_volume, run.left_strength))
    ]
    assert masses[0] == pytest.approx(masses[1] + masses[2])


def test_a_run_stops_before_the_element_falls_dry() -> None:
    # 3 L in a still that needs 2.5 L: the drip could go on, the element could not.
    volume = stage.expected_volume(
        np.array([3.0]), np.array([12.0]), np.asarray(5.0), np.asarray(1.25), SEA_LEVEL, np.asarray(2.5)
    )
    assert volume == pytest.approx(0.5)


def test_an_unknown_strength_of_charge_is_that_of_the_wash_but_not_for_a_spirit_run() -> None:
    kinds = np.array(["stripping", "spirit", "single"], dtype=object)
    typed = np.array([np.nan, np.nan, 9.0])
    assert np.array_equal(
        stage.strength_charged(typed, kinds, np.asarray(12.0)), [12.0, np.nan, 9.0], equal_nan=True
    )
