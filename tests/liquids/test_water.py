"""Pure water and gravity against the standard equation of state of water."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from iapws import IAPWS95

from sheetcalc.liquids import water

TEMPERATURES = np.array([0.01, 4.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0])


def test_density_agrees_with_iapws95_by_two_libraries() -> None:
    # OIML R 22 (1975) rests on older water tables and a temperature scale since replaced: it lies 0.003 to
    # 0.0071 kg/m3 below IAPWS-95 everywhere, a hundredth of what the finest alcoholmeter resolves.
    iapws = np.array([IAPWS95(T=t + 273.15, P=0.101325).rho for t in TEMPERATURES])
    coolprop = PropsSI("D", "T", TEMPERATURES + 273.15, "P", 101325.0, "Water")
    assert water.density(TEMPERATURES) == pytest.approx(iapws, abs=0.0075)
    assert water.density(TEMPERATURES) == pytest.approx(coolprop, abs=0.0075)


def test_constants_agree_with_coolprop() -> None:
    latent = PropsSI("H", "P", 101325, "Q", 1, "Water") - PropsSI("H", "P", 101325, "Q", 0, "Water")
    assert pytest.approx(latent / 1e3, abs=0.1) == water.LATENT_HEAT
    heat = PropsSI("H", "T", 373.05, "P", 101325, "Water") - PropsSI("H", "T", 293.15, "P", 101325, "Water")
    assert pytest.approx(heat / 1e3 / 79.9, abs=0.005) == water.HEAT_CAPACITY


def test_gravity_of_water_is_one_at_any_temperature() -> None:
    assert water.gravity(water.density(TEMPERATURES), TEMPERATURES) == pytest.approx(1.0, abs=1e-15)


def test_gravity_is_a_ratio_of_weights_in_air() -> None:
    # By hand: (1038.143 - 1.2) / (998.201 - 1.2), with the air of OIML R 33.
    assert water.gravity(1038.143) == pytest.approx(1.0400626, abs=1e-6)


def test_density_and_gravity_are_inverse() -> None:
    gravity = np.linspace(0.9, 1.4, 51)
    assert water.gravity(water.density_from_gravity(gravity, 15.0), 15.0) == pytest.approx(gravity, abs=1e-14)


def test_out_of_range_and_blank_are_nan() -> None:
    assert np.isnan(water.density([-20.1, 40.1, np.nan])).all()
