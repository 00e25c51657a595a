"""Mixing: nothing is made or lost but volume."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sheetcalc.liquids import mixing, spirit

VOLUMES = st.floats(0.01, 1000.0)
STRENGTHS = st.floats(1.0, 97.0)
SHARES = st.floats(0.01, 1.0)


def kilograms(volume: float, strength: float) -> float:
    return float(volume * spirit.density_at_20(strength)) / 1000.0


def test_hand_balance_to_a_volume() -> None:
    # By hand with OIML R 22: 0.7 L at 60 % vol weighs 0.7 x 0.909115 = 0.636380 kg; 1 L at 42.0 % vol
    # (0.7 x 60) weighs 0.944758 kg; so 0.308378 kg of water, 308.4 / 0.998201 = 308.9 mL, 8.9 mL shrink.
    mixed = mixing.water_for_volume(0.7, 60.0, 1.0)
    assert mixed.strength == pytest.approx(42.0, abs=1e-9)
    assert mixed.water_mass == pytest.approx(0.3084, abs=0.00005)
    assert mixed.contraction == pytest.approx(0.0089, abs=0.00005)
    assert mixed.volume == 1.0


def test_hand_balance_to_a_strength() -> None:
    # By hand: 0.42 L of pure alcohol at 40 % vol fill 1.050 L.
    assert mixing.water_for_strength(0.7, 60.0, 40.0).volume == pytest.approx(1.050, abs=1e-9)


def test_no_water_for_what_is_at_strength() -> None:
    assert mixing.water_for_strength(2.0, 40.0, 40.0).water_mass == pytest.approx(0.0, abs=1e-12)


@settings(deadline=None)
@given(VOLUMES, STRENGTHS, SHARES)
def test_water_conserves_mass_and_alcohol(volume: float, strength: float, share: float) -> None:
    mixed = mixing.water_for_strength(volume, strength, share * strength)
    assert mixed.volume * mixed.strength == pytest.approx(volume * strength, rel=1e-9)
    after = kilograms(float(mixed.volume), float(mixed.strength))
    assert after == pytest.approx(kilograms(volume, strength) + mixed.water_mass, rel=1e-9)
    assert mixed.contraction == pytest.approx(volume + mixed.water_volume - mixed.volume, abs=1e-9 * volume)


@settings(deadline=None)
@given(VOLUMES, STRENGTHS, SHARES)
def test_both_ways_of_adding_water_agree(volume: float, strength: float, share: float) -> None:
    by_strength = mixing.water_for_strength(volume, strength, share * strength)
    by_volume = mixing.water_for_volume(volume, strength, by_strength.volume)
    for one, other in zip(by_strength, by_volume, strict=True):
        assert one == pytest.approx(other, rel=1e-8, abs=1e-8 * volume)


@settings(deadline=None)
@given(VOLUMES, STRENGTHS, SHARES)
def test_blending_with_the_water_gives_the_same(volume: float, strength: float, share: float) -> None:
    watered = mixing.water_for_strength(volume, strength, share * strength)
    blend = mixing.mix([volume, float(watered.water_volume)], [strength, 0.0])
    assert blend.strength == pytest.approx(watered.strength, abs=1e-8)
    assert blend.volume == pytest.approx(watered.volume, rel=1e-9)
    assert blend.contraction == pytest.approx(watered.contraction, abs=1e-8 * volume)


@settings(deadline=None)
@given(VOLUMES, st.floats(0.0, 50.0), st.floats(50.0, 70.0), st.floats(70.5, 97.0))
def test_added_spirit_reaches_the_target(volume: float, weak: float, target: float, strong: float) -> None:
    added = mixing.spirit_for_strength(volume, weak, target, strong)
    assert mixing.mix([volume, float(added)], [weak, strong]).strength == pytest.approx(target, abs=1e-8)


@settings(deadline=None)
@given(st.lists(st.tuples(VOLUMES, st.floats(0.0, 100.0)), min_size=1, max_size=6))
def test_blends_conserve_mass_and_alcohol(parts: list[tuple[float, float]]) -> None:
    volumes, strengths = np.array(parts).T
    blend = mixing.mix(volumes, strengths)
    assert blend.volume * blend.strength == pytest.approx((volumes * strengths).sum(), rel=1e-8, abs=1e-8)
    masses = sum(kilograms(v, q) for v, q in parts)
    assert kilograms(float(blend.volume), float(blend.strength)) == pytest.approx(masses, rel=1e-9)


def test_impossible_and_blank_are_nan() -> None:
    for made in (
        mixing.water_for_strength(
            [1.0, 1.0, -1.0, np.nan], [40.0, 40.0, 40.0, 40.0], [41.0, 0.0, 30.0, 30.0]
        ),
        mixing.water_for_volume([1.0, 0.0, np.nan, 1.0], [40.0, 40.0, 40.0, 101.0], [0.9, 1.0, 2.0, 2.0]),
        mixing.mix([[0.0, 0.0], [1.0, np.nan], [-1.0, 2.0]], [40.0, 50.0]),
    ):
        for column in made:
            assert np.isnan(column).all()
    assert np.isnan(mixing.spirit_for_strength(1.0, [50.0, 30.0, np.nan], 40.0, [90.0, 40.0, 90.0])).all()


def test_rows_broadcast_and_the_last_axis_of_a_blend_goes() -> None:
    assert mixing.water_for_strength(np.ones((3, 1)), 60.0, [40.0, 45.0]).water_mass.shape == (3, 2)
    blend = mixing.mix(np.ones((5, 3)), [40.0, 50.0, 0.0])
    assert blend.volume.shape == blend.strength.shape == blend.contraction.shape == (5,)


def test_water_by_the_dilution_table_as_a_part() -> None:
    # 27 CFR 30 / Gauging Manual, "Dilution of alcohol to lower strengths", volumes of water to 100 volumes
    # at 60 °F; the table is rounded and not computed from OIML R 22, so within half a volume.
    for strength, target, water in ((95, 90, 6.41), (95, 50, 95.9), (80, 50, 63.1), (60, 40, 51.4)):
        assert mixing.part_for_strength(100.0, strength, target, 0.0) == pytest.approx(water, abs=0.5)


def test_hand_balance_of_two_spirits() -> None:
    # By hand with the densities of OIML R 22 at 20 °C: 60 % vol 909.12, 50 % vol 930.14,
    # 40 % vol 948.05, ethanol 789.239 kg/m3; mass fractions 0.52087, 0.42426, 0.33300. To bring 1 L of 60 to
    # 50 % vol: 0.90912 x (0.52087 - 0.42426) / (0.42426 - 0.33300) = 0.96240 kg, over 0.94805 is 1.0151 L.
    assert mixing.part_for_strength(1.0, 60.0, 50.0, 40.0) == pytest.approx(1.0151, abs=0.0003)
    # The other way round: 1 L of that strength, so much, is what 1.0151 L have to hold.
    assert mixing.part_strength(1.0, 60.0, 50.0, 1.0151) == pytest.approx(40.0, abs=0.01)
    # And the whole: 0.90912 + 0.96240 kg of 930.14 kg/m3 are 2.0121 L.
    assert mixing.part_for_volume(1.0, 60.0, 2.0121, 40.0) == pytest.approx(1.0151, abs=0.0003)
    first, second = mixing.two_parts(0.0, 0.0, 50.0, 2.0121, 60.0, 40.0)
    assert first == pytest.approx(1.0, abs=0.0003)
    assert second == pytest.approx(1.0151, abs=0.0003)


@settings(deadline=None)
@given(VOLUMES, st.floats(0.0, 100.0), VOLUMES, st.floats(0.0, 100.0))
def test_a_part_is_found_again_from_the_blend(v: float, q: float, v_part: float, q_part: float) -> None:
    """Whatever was poured in comes back from the blend's strength or volume."""
    blend = mixing.mix([v, v_part], [q, q_part])
    slack = 1e-6 * (v + v_part)
    by_volume = mixing.part_for_volume(v, q, blend.volume, q_part)
    assert by_volume == pytest.approx(v_part, abs=slack)
    if abs(q - q_part) > 1.0:
        assert mixing.part_for_strength(v, q, blend.strength, q_part) == pytest.approx(v_part, rel=1e-5)
        first, second = mixing.two_parts(0.0, 0.0, blend.strength, blend.volume, q, q_part)
        assert first == pytest.approx(v, abs=100 * slack)
        assert second == pytest.approx(v_part, abs=100 * slack)
    if v < 50 * v_part and 0.5 < q_part < 99.5:
        assert mixing.part_strength(v, q, blend.strength, v_part) == pytest.approx(q_part, abs=1e-6)


@settings(deadline=None)
@given(VOLUMES, STRENGTHS, SHARES)
def test_a_part_of_water_is_the_water_added(volume: float, strength: float, share: float) -> None:
    watered = mixing.water_for_strength(volume, strength, share * strength)
    part = mixing.part_for_strength(volume, strength, share * strength, 0.0)
    assert part == pytest.approx(watered.water_volume, rel=1e-9, abs=1e-9 * volume)
    filled = mixing.part_for_volume(volume, strength, watered.volume, 0.0)
    assert filled == pytest.approx(watered.water_volume, rel=1e-8, abs=1e-8 * volume)


def test_a_part_that_no_amount_makes_fit_is_nan() -> None:
    # Stronger than both, weaker than both, as strong as wanted but not alone; nothing known of the rest.
    assert np.isnan(mixing.part_for_strength(1.0, 50.0, [60.0, 30.0, 40.0], [40.0, 40.0, 40.0])).all()
    assert np.isnan(mixing.part_for_strength([np.nan, -1.0], 50.0, 45.0, 40.0)).all()
    assert mixing.part_for_strength(1.0, 50.0, 50.0, 40.0) == 0.0
    assert np.isnan(mixing.part_for_volume([2.0, -1.0, 0.0], 50.0, [1.0, 1.0, 0.0], 40.0)).all()
    assert mixing.part_for_volume(0.0, 50.0, 1.0, 40.0) == pytest.approx(1.0)
    # A small part would have to be stronger than alcohol, or weaker than water.
    assert np.isnan(mixing.part_strength(1.0, 40.0, [60.0, 20.0], [0.1, 0.1])).all()
    # Both stronger; both alike; more there already than is wanted.
    assert np.isnan(mixing.two_parts(0.0, 0.0, 40.0, 1.0, [60.0, 60.0], [50.0, 60.0])).all()
    assert np.isnan(mixing.two_parts(2.0, 40.0, 40.0, 1.0, 60.0, 0.0)).all()


def test_parts_taken_out_in_turn_leave_what_each_leaves_after_the_one_before() -> None:
    volumes, strengths = [0.3, 0.5, 0.4, 9.0, 0.1], [70.0, 60.0, 40.0, 40.0, 20.0]
    left = mixing.remainders(6.0, 20.0, volumes, strengths)
    volume, strength = 6.0, 20.0
    for i in range(3):
        one = mixing.remainder(volume, strength, volumes[i], strengths[i])
        volume, strength = float(one.volume), float(one.strength)
        assert left.volume[i] == pytest.approx(volume)
        assert left.strength[i] == pytest.approx(strength)
    # The fourth is more than there was; after it nothing is known.
    assert np.isnan(left.strength[3:]).all()
