"""Strength by boiling off, against Tabarié's rule by hand and liquids mixed on purpose."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sheetcalc import instruments
from sheetcalc.instruments import DEFAULTS, Instrument
from sheetcalc.liquids import spirit, wash, water
from sheetcalc.stages import boiling as stage

HYDROMETER = DEFAULTS["hydrometer"]


def shown(density: float, temperature: float, hydrometer: Instrument) -> float:
    """What a glass hydrometer shows in a liquid of that density: OIML R 44, 25e-6 a degree for the glass."""
    glass = 1.0 - 25e-6 * (temperature - hydrometer.reference_temperature)
    return float(water.gravity(density / glass, hydrometer.reference_temperature) - hydrometer.correction)


def test_a_dry_wine_by_hand() -> None:
    # Tabarié: the alcohol part is 0.9905 - 1.0060 + 1 = 0.9845, weighed in air of 1.2 kg/m3; water has
    # 998.2012 (OIML R 22), so that part has 0.9845 x 997.0012 + 1.2 = 982.748 kg/m3.
    density = 982.748
    expected = float(spirit.strength(spirit.mass_fraction_from_density(density, 20.0)))
    found = instruments.boiled(0.9905, 20.0, 1.0060, 20.0, HYDROMETER)
    assert found.strength == pytest.approx(expected, abs=0.001)
    # 12 % vol: 982.4 kg/m3 in the printed OIML table (from memory, good to 0.2), 1.2 kg/m3 for 1 % vol.
    assert found.strength == pytest.approx(11.7, abs=0.2)


def test_original_gravity_of_a_wine_by_the_wine_law() -> None:
    # 12 % vol x 16.83 g/L (OIV / EU, from memory) are 202 g/L of sugar, and 20 g/L of extract are left: a
    # must of 222 g/L, by NBS C440 about 20.5 °Bx, SG 1.0852. Balling's yield is 3 % higher for hexose, so he
    # needs 6 g/L less, 0.002 in SG.
    before = float(water.gravity(wash.density_of_contents(0.12 * 789.239, 20.0)))
    after = float(water.gravity(wash.density_of_contents(0.0, 20.0)))
    found = instruments.boiled(before, 20.0, after, 20.0, HYDROMETER)
    assert found.strength == pytest.approx(12.0, abs=1e-4)
    assert found.original == pytest.approx(1.0852 - 0.002, abs=0.0015)


@settings(deadline=None, max_examples=40)
@given(
    strength=st.floats(1.0, 18.0),
    extract=st.floats(2.0, 120.0),
    warm=st.floats(10.0, 32.0),
    warm_after=st.floats(10.0, 32.0),
    off=st.floats(-0.002, 0.002),
)
def test_the_alcohol_is_found_at_any_temperature(
    strength: float, extract: float, warm: float, warm_after: float, off: float
) -> None:
    """The masses in the wash fix what it weighs warm; as much extract is in the same volume made up again."""
    glass = replace(HYDROMETER, correction=off)
    whole = float(wash.density_of_contents(strength / 100 * spirit.ETHANOL_DENSITY, extract))
    left = float(wash.density_of_contents(0.0, extract))
    alcohol = strength / 100 * spirit.ETHANOL_DENSITY / whole
    before = shown(float(wash.density(alcohol, extract / whole, warm)), warm, glass)
    after = shown(float(wash.density(0.0, extract / left, warm_after)), warm_after, glass)
    found = instruments.boiled(before, warm, after, warm_after, glass)
    assert found.strength == pytest.approx(strength, abs=0.02)
    assert found.original == pytest.approx(float(wash.original_gravity_from(strength, extract)), abs=1e-4)


@settings(deadline=None)
@given(
    st.floats(1.04, 1.12), st.floats(0.3, 1.0), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0), st.floats(-1, 1)
)
def test_readings_within_their_uncertainty_never_disagree(
    og: float, share: float, first: float, second: float, original: float
) -> None:
    """Each reading off by its own uncertainty taken alone, in turn with the others at half of it."""
    gravity = float(wash.gravity_when(og, share))
    extract = float(wash.fermented(og, gravity).extract)
    left = float(water.gravity(wash.density_of_contents(0.0, extract)))
    u = HYDROMETER.uncertainty / 2
    boiled = instruments.boiled(gravity + first * u, 20.0, left + second * u, 20.0, HYDROMETER)
    by_original = stage.by_original(boiled, np.asarray(og + original * u))
    if not np.isfinite(by_original) or not np.isfinite(boiled.strength):
        return
    doubt = stage.boiled_doubt(boiled, HYDROMETER)
    allowed = stage.difference_doubt(boiled, doubt, by_original, np.asarray(og), HYDROMETER)
    assert abs(boiled.strength - by_original) <= allowed


def test_a_finer_hydrometer_tells_the_strength_better() -> None:
    # 1 % vol is about 0.00125 in SG near 12 % vol (OIML R 22), so a division of 0.002, good to 0.0016 twice
    # over, leaves 1.8 % vol or so; one of 0.0005 a quarter of it.
    boiled = instruments.boiled(0.9905, 20.0, 1.0060, 20.0, HYDROMETER)
    fine = replace(HYDROMETER, division=0.0005, uncertainty=HYDROMETER.uncertainty / 4)
    coarse_doubt, fine_doubt = (float(stage.boiled_doubt(boiled, glass)) for glass in (HYDROMETER, fine))
    assert coarse_doubt == pytest.approx(np.sqrt(2) * 0.00163 / 0.00125, rel=0.1)
    assert fine_doubt == pytest.approx(coarse_doubt / 4, rel=0.02)


def test_blank_and_impossible_stay_blank() -> None:
    found = instruments.boiled([np.nan, 0.99, 1.01], 20.0, [1.005, np.nan, 0.99], 20.0, HYDROMETER)
    assert np.isnan(found.strength).all()
