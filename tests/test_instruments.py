"""Instruments against OIML R 22 and the worked example of 27 CFR part 30."""

from dataclasses import replace

import numpy as np
import pytest

from sheetcalc import instruments
from sheetcalc.liquids import spirit, wash, water
from sheetcalc.stages import instruments as instruments_sheet

ALCOHOLMETER = instruments.DEFAULTS["alcoholmeter"]
HYDROMETER = instruments.DEFAULTS["hydrometer"]
PROOF_HYDROMETER = replace(ALCOHOLMETER, reference_temperature=spirit.SIXTY_FAHRENHEIT)


def test_cfr_30_61_true_proof() -> None:
    # 27 CFR 30.61: a hydrometer which reads 193 at 75 °F floats in 189.5 proof.
    strength = instruments.strength_20(193.0 / 2.0, (75.0 - 32.0) / 1.8, PROOF_HYDROMETER)
    assert spirit.proof(strength) == pytest.approx(189.5, abs=0.05)


def test_reading_at_the_reference_temperature_is_true() -> None:
    # Definition of the instrument, OIML R 44.
    readings = np.array([0.0, 12.0, 40.0, 63.5, 96.0, 100.0])
    assert instruments.strength_20(readings, 20.0, ALCOHOLMETER) == pytest.approx(readings, abs=1e-8)
    assert instruments.gravity_20([0.99, 1.0, 1.08], 20.0, HYDROMETER) == pytest.approx([0.99, 1.0, 1.08])


def test_warm_spirit_reads_high_by_the_tabulated_amount() -> None:
    # OIML R 22, table VIII (soda-lime glass), as remembered: 40 at 25 °C is 38.0, at 15 °C 42.0 % vol.
    seen = instruments.strength_20(40.0, [15.0, 25.0], ALCOHOLMETER)
    assert seen == pytest.approx([42.0, 38.0], abs=0.06)


def test_glass_by_hand() -> None:
    # By hand: the mark 40 % vol means 948.05 kg/m3 (OIML R 22); at 30 °C x (1 - 25e-6 x 10) = 947.81.
    assert instruments.alcoholmeter_density(40.0, 20.0, 30.0) == pytest.approx(947.81, abs=0.01)
    # By hand: SG 1.050 in air is 1.2 + 1.05 x (998.20 - 1.2) = 1048.05 kg/m3; at 10 °C x 1.00025.
    assert instruments.hydrometer_density(1.050, 10.0, 20.0) == pytest.approx(1048.05 * 1.00025, abs=0.01)


def test_correction_is_added_before_anything_else() -> None:
    low = replace(ALCOHOLMETER, correction=0.5)
    expected = instruments.strength_20(40.5, 27.0, ALCOHOLMETER)
    assert instruments.strength_20(40.0, 27.0, low) == pytest.approx(float(expected), abs=1e-12)
    light = replace(HYDROMETER, correction=-0.001)
    expected = instruments.gravity_20(1.049, 27.0, HYDROMETER, 1.08)
    assert instruments.gravity_20(1.050, 27.0, light, 1.08) == pytest.approx(float(expected), abs=1e-12)


def test_warm_wash_reads_low_by_the_usual_amount() -> None:
    # Tables beside hydrometers (common practice): add about 0.001 at 25 °C and 0.003 at 30 °C.
    corrections = instruments.gravity_20(1.050, [25.0, 30.0], HYDROMETER) - 1.050
    assert corrections == pytest.approx([0.0012, 0.003], abs=0.0004)


def test_hydrometer_for_60_fahrenheit_agrees_at_its_temperature() -> None:
    # A sugar solution of SG 1.050 at 60/60 °F differs by less than 0.0005 from 20/20 (both near 12.4 °Bx).
    glass = replace(HYDROMETER, reference_temperature=spirit.SIXTY_FAHRENHEIT)
    assert instruments.gravity_20(1.050, spirit.SIXTY_FAHRENHEIT, glass) == pytest.approx(1.050, abs=0.0005)


@pytest.mark.parametrize("temperature", [10.0, 15.0, 20.0, 25.0, 30.0])
def test_water_reading_of_a_hydrometer_means_water(temperature: float) -> None:
    shown = instruments.water_reading("hydrometer", temperature, 20.0)
    assert instruments.gravity_20(shown, temperature, HYDROMETER) == pytest.approx(1.0, abs=1e-7)


def test_water_reading_of_an_alcoholmeter() -> None:
    # OIML R 22: water at 25 °C weighs 997.04, and 0.1 % vol lowers the density by 0.15 kg/m3, so an
    # instrument for 20 °C shows about (998.20 - 997.04 - 0.12 for glass) / 1.5 = 0.69; at 15 °C it
    # floats above its zero by (999.10 - 998.20 - 0.12) / 1.5 = 0.5.
    shown = instruments.water_reading("alcoholmeter", [15.0, 20.0, 25.0])
    assert shown == pytest.approx([-0.52, 0.0, 0.69], abs=0.02)
    assert instruments.strength_20(shown[2], 25.0, ALCOHOLMETER) == pytest.approx(0.0, abs=1e-7)


def test_water_reading_refuses_other_instruments() -> None:
    with pytest.raises(ValueError, match="scale"):
        instruments.water_reading("scale", 20.0)


def test_expanded_uncertainty_by_hand() -> None:
    # JCGM 100 4.3.7: half-width a has u = a / sqrt(3); two of a = 0.5: 2 x sqrt(2 x 0.25 / 3) = 0.8165.
    assert instruments.expanded_uncertainty(1.0) == pytest.approx(0.8165, abs=0.00005)
    assert np.isnan(instruments.expanded_uncertainty(np.nan))


def test_on_the_sheet_an_uncertainty_has_two_significant_digits() -> None:
    # JCGM 100, 7.2.6: it usually suffices to quote it to at most two.
    shown = instruments_sheet.uncertainty(None, np.array([1.0, 0.002, np.nan, 0.0]))
    assert shown == pytest.approx([0.82, 0.0016, np.nan, np.nan], rel=1e-9, nan_ok=True)


def test_impossible_and_blank_are_nan() -> None:
    assert np.isnan(
        instruments.strength_20([101.0, np.nan, 40.0, 40.0], [20.0, 20.0, 41.0, np.nan], ALCOHOLMETER)
    ).all()
    assert np.isnan(instruments.gravity_20([np.nan, 1.05, 1.05], [20.0, 41.0, np.nan], HYDROMETER)).all()


def test_everything_broadcasts() -> None:
    readings, temperatures = np.array([[20.0], [40.0], [60.0]]), np.array([15.0, 25.0])
    assert instruments.strength_20(readings, temperatures, ALCOHOLMETER).shape == (3, 2)
    gravities = instruments.gravity_20(np.array([[1.0], [1.02]]), temperatures, HYDROMETER, 1.08)
    assert gravities.shape == (2, 2)
    assert wash.fermented(1.08, gravities).strength.shape == (2, 2)
    assert water.gravity(998.2) == pytest.approx(1.0, abs=1e-5)
