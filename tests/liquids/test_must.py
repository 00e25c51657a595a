"""A must by balance of mass against the sugar tables, the chemistry, Pasteur and the wine law."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sheetcalc.liquids import must, spirit, sugar, wash
from sheetcalc.liquids.must import Must

MASSES = st.floats(0.5, 40.0)
SHARES = st.floats(0.0, 1.0)


def sucrose(water: float, sugars: float) -> Must:
    """Sucrose in water, kg."""
    return Must(*(np.asarray(m) for m in (water, sugars, sugars, 1.0526 * sugars, 0.0)))


def mixed(water: float, extract: float, share: float, alcohol: float) -> Must:
    """A must with extract (kg for one of water), a share of which ferments as hexose, and alcohol."""
    solids = extract * water
    masses = (water, solids, share * solids, share * solids, alcohol * water)
    return Must(*(np.asarray(m) for m in masses))


MUSTS = st.builds(mixed, MASSES, st.floats(0.01, 0.35), SHARES, st.floats(0.0, 0.15))


def test_gravity_and_volume_of_twenty_per_cent_sugar() -> None:
    # 5 kg in 25 kg is 20 °P, SG 1.08297 by the ASBC polynomial; NBS Circular 440: 1.08096 g/mL at 20 °C (from
    # memory), so 25 kg take up 23.128 L.
    made = sucrose(20.0, 5.0)
    assert must.gravity(made) == pytest.approx(1.08297, abs=0.00006)
    assert must.volume(made) == pytest.approx(25.0 / 1.08096, abs=0.002)


def test_a_pound_of_sugar_in_a_gallon() -> None:
    # Brewers count 46.2 points for a pound of sugar in a US gallon of wash (common practice).
    water = must.water_for_volume(0.45359237, 0.0, 3.785411784)
    assert must.gravity(sucrose(float(water), 0.45359237)) == pytest.approx(1.0462, abs=0.0002)


def test_sugar_takes_room() -> None:
    # Common practice: a kilogram of dissolved sugar takes up about 0.62 L (1 / 1.6).
    room = must.volume(sucrose(20.0, 4.0)) - 20.0 / 0.998201
    assert room / 4.0 == pytest.approx(0.62, abs=0.01)


@pytest.mark.parametrize(
    ("of", "grams"),
    # Of 1000 g sucrose: 0.5383 by stoichiometry; 0.48 of 1052.6 g hexose; Balling 1 / 2.0665.
    [(must.STOICHIOMETRIC, 538.3), (must.PASTEUR, 505.2), (must.BALLING, 483.9)],
)
def test_alcohol_of_a_kilogram_of_sucrose(of: must.Yield, grams: float) -> None:
    made = must.fermented(sucrose(5.0, 1.0), of)
    assert made.alcohol == pytest.approx(grams / 789.239, abs=0.0002)


def test_wine_law_lies_three_per_cent_below_balling_for_hexose() -> None:
    # OIV / EU (from memory): 16.83 g/L of hexose give 1 % vol, 0.4689 of its weight as alcohol. Balling has
    # 0.4839, so 3.2 % more; and the volume shrinks by 0.8 % as sugar turns into alcohol and gas leaves.
    sugars = 0.1683
    water = must.water_for_volume(sugars, 0.0, 1.0)
    made = Must(*(np.asarray(m) for m in (water, sugars, sugars, sugars, 0.0)))
    assert must.fermented(made, must.BALLING).alcohol / 0.1 == pytest.approx(1.032, abs=0.001)
    assert must.fermented(made, must.BALLING).strength == pytest.approx(10.0 * 1.032 * 1.008, abs=0.05)


@settings(deadline=None)
@given(MASSES, st.floats(0.01, 0.35))
def test_a_must_that_ferments_out_is_the_wash_of_its_gravity(water: float, share: float) -> None:
    made = sucrose(water, share * water)
    expected = wash.highest_strength(must.gravity(made))
    assert must.fermented(made, must.BALLING).strength == pytest.approx(expected, abs=1e-6)


@settings(deadline=None)
@given(MUSTS, st.sampled_from([must.BALLING, must.PASTEUR, must.STOICHIOMETRIC]))
def test_mass_is_kept(made: Must, of: must.Yield) -> None:
    done = must.fermented(made, of)
    sugars = made.hexose if of.of_hexose else made.fermentable
    alcohol = done.alcohol * spirit.ETHANOL_DENSITY / 1000.0
    assert alcohol == pytest.approx(made.alcohol + of.alcohol * sugars, rel=1e-12)
    left = must.mass(made) - of.leaving * sugars
    extract = made.extract - made.fermentable + (1.0 - of.alcohol - of.leaving) * sugars
    density = wash.density_of_contents(1000.0 * alcohol / done.volume, 1000.0 * extract / done.volume)
    assert done.volume * density / 1000.0 == pytest.approx(left, rel=1e-9)
    assert done.strength == pytest.approx(100.0 * done.alcohol / done.volume, rel=1e-12)


@settings(deadline=None)
@given(MUSTS)
def test_no_yeast_beats_chemistry(made: Must) -> None:
    best = must.fermented(made, must.STOICHIOMETRIC).alcohol
    for of in (must.BALLING, must.PASTEUR):
        assert must.fermented(made, of).alcohol <= best + 1e-12


@settings(deadline=None)
@given(MUSTS)
def test_water_fills_up_to_the_volume_there_is(made: Must) -> None:
    water = must.water_for_volume(made.extract, made.alcohol, must.volume(made))
    assert water == pytest.approx(made.water, rel=1e-7)


@settings(deadline=None)
@given(st.builds(mixed, MASSES, st.floats(0.0, 0.15), SHARES, st.floats(0.0, 0.03)), st.floats(8.0, 18.0))
def test_the_sugar_for_a_strength_gives_it(made: Must, strength: float) -> None:
    for volume in (np.nan, float(must.volume(made))):
        added = must.sugar_for_strength(made, strength, volume)
        after = must.with_sugar(made, added, volume)
        assert must.fermented(after, must.BALLING).strength == pytest.approx(strength, abs=1e-4)
        if np.isfinite(volume):
            assert must.volume(after) == pytest.approx(volume, rel=1e-7)


def test_sugar_for_ten_per_cent_by_the_rule_of_the_trade() -> None:
    # 17 g of sugar a litre for 1 % vol (common practice); Balling's yield asks for 4 % less.
    water = sucrose(25.0, 0.0)
    assert must.sugar_for_strength(water, 10.0, 25.0) == pytest.approx(0.017 * 10.0 * 25.0, rel=0.05)


@settings(deadline=None)
@given(MUSTS, st.floats(0.01, 0.2))
def test_more_sugar_makes_it_heavier_larger_and_stronger(made: Must, more: float) -> None:
    after = must.with_sugar(made, more * made.water)
    assert must.gravity(after) > must.gravity(made)
    assert must.volume(after) > must.volume(made)
    assert must.fermented(after, must.BALLING).alcohol > must.fermented(made, must.BALLING).alcohol


def test_density_of_what_is_bought_by_volume() -> None:
    # NBS Circular 440 (from memory): 80 °Bx is 1.41172 g/mL, a syrup; 12 °Bx is 1.04646, a juice.
    assert must.density_of_part(0.80, np.nan) / 1000.0 == pytest.approx(1.41172, abs=0.0006)
    assert must.density_of_part(0.12, np.nan) / 1000.0 == pytest.approx(1.04646, abs=0.0001)
    # A dry wine of 12 % vol with 20 g/L of extract weighs about 0.99 kg a litre (handbooks, from memory).
    assert must.density_of_part(0.02, 12.0) == pytest.approx(990.0, abs=2.0)
    assert must.density_of_part(0.0, 40.0) == pytest.approx(948.05, abs=0.01)  # OIML R 22


def test_nothing_too_thick_and_blank_are_nan() -> None:
    nothing = Must(*(np.asarray(0.0) for _ in range(5)))
    assert np.isnan(must.gravity(nothing))
    assert np.isnan(must.fermented(nothing, must.BALLING).strength)
    assert np.isnan(must.gravity(sucrose(0.0, 5.0)))
    assert np.isnan(must.water_for_volume([5.0, 5.0, np.nan], 0.0, [3.0, np.nan, 5.0])).all()
    assert np.isnan(must.sugar_for_strength(sucrose(20.0, 0.0), [30.0, np.nan])).all()
    assert np.isnan(must.density_of_part([0.9, np.nan], 0.0)).all()


def test_everything_broadcasts() -> None:
    made = Must(*(np.full((3, 1), m) for m in (20.0, 4.0, 4.0, 4.2, 0.0)))
    assert must.sugar_for_strength(made, [12.0, 14.0]).shape == (3, 2)
    assert must.water_for_volume(np.full((3, 1), 4.0), 0.0, [20.0, 25.0]).shape == (3, 2)
    assert sugar.brix(must.gravity(made)).shape == (3, 1)
