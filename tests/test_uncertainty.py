"""Uncertainties as JCGM 100 (GUM) has them: by hand, by another library, and by JCGM 101 (Monte Carlo)."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from logs import clean_log, typed
from uncertainties import ufloat

from sheetcalc import compute, instruments, uncertainty
from sheetcalc.entries import Entries
from sheetcalc.filling import examine
from sheetcalc.liquids import mixing, wash
from sheetcalc.stages import registry

Blank = Callable[..., Path]
DRAWS = 40_000


@pytest.fixture(scope="module")
def read(blank: Blank, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Entries]:
    path = tmp_path_factory.mktemp("uncertainty") / "log.xlsx"
    return dict(examine(typed(clean_log(), blank("batch", "metric", ".xlsx"), path)).values.entries)


@pytest.fixture(scope="module")
def values(read: dict[str, Entries]) -> compute.Values:
    return compute.Values(read)


def standard(division: float) -> float:
    """JCGM 100 4.3.7: a rectangle of half a division either way."""
    return division / 2 / math.sqrt(3)


def draws(rng: np.random.Generator, division: float, count: int) -> Any:
    return rng.uniform(-division / 2, division / 2, count)


def test_an_instruments_uncertainty_is_its_division_twice() -> None:
    # By hand: 1 % vol: reading and calibration 0.2887 each, together 0.4082, at k = 2 0.816.
    assert instruments.DEFAULTS["alcoholmeter"].uncertainty == pytest.approx(0.8165, abs=1e-4)
    both = math.hypot(standard(1.0), standard(1.0))
    assert instruments.DEFAULTS["alcoholmeter"].uncertainty == pytest.approx(2 * both)


def test_pure_alcohol_collected_as_the_uncertainties_library_has_it(values: compute.Values) -> None:
    """A product: its relative uncertainties add in squares (JCGM 100 5.1.6)."""
    strength_doubt = values.get("runs", "collected_strength_uncertainty")
    for row in range(len(strength_doubt)):
        volume = values.get("runs", "collected_volume")[row]
        strength = ufloat(values.get("runs", "collected_strength")[row], strength_doubt[row] / 2)
        alcohol = ufloat(volume, 0.005 * volume) * strength / 100
        assert values.get("runs", "collected_alcohol")[row] == pytest.approx(alcohol.nominal_value)
        doubt = values.get("runs", "collected_alcohol_uncertainty")[row]
        assert doubt == pytest.approx(2 * alcohol.std_dev, rel=1e-4)


def test_recovery_as_the_uncertainties_library_has_it(values: compute.Values) -> None:
    rows = np.flatnonzero(np.isfinite(values.get("runs", "charge_strength")))
    assert len(rows)
    for row in rows:
        out = ufloat(
            values.get("runs", "collected_alcohol")[row],
            values.get("runs", "collected_alcohol_uncertainty")[row] / 2,
        )
        charge = values.get("runs", "charge_volume")[row]
        # The strength of the charge was read, and corrected, with the same alcoholmeter: its calibration
        # is in both, and by JCGM 100 F.1.2.3 that part is taken as one.
        glass = ufloat(0, standard(values.get("instruments", "alcoholmeter").division))
        alone = math.sqrt(
            out.std_dev**2 - (values.get("runs", "collected_volume")[row] / 100 * glass.std_dev) ** 2
        )
        collected = (
            ufloat(out.nominal_value, alone) + values.get("runs", "collected_volume")[row] / 100 * glass
        )
        strength = values.get("runs", "charge_strength")[row]
        reading = ufloat(0, standard(values.get("instruments", "alcoholmeter").division))
        charged = ufloat(charge, 0.01 * charge) * (strength + glass + reading) / 100
        recovery = collected / charged
        # The sample's correction makes a % vol of the glass 1.00 +- 0.03 % vol of strength.
        assert values.get("runs", "recovery_uncertainty")[row] == pytest.approx(
            2 * recovery.std_dev, rel=0.03
        )


def test_strength_by_monte_carlo(values: compute.Values) -> None:
    """JCGM 101: the whole chain drawn 40,000 times; its standard deviation has 0.4 % of noise of its own."""
    rng = np.random.default_rng(1)
    glass, warmth = (values.get("instruments", name) for name in ("alcoholmeter", "thermometer"))
    reading, at = values.get("strength", "reading")[0], values.get("strength", "temperature")[0]
    shown = reading + draws(rng, glass.division, DRAWS) + draws(rng, glass.division, DRAWS)
    warm = at + warmth.correction + draws(rng, warmth.division, DRAWS) + draws(rng, warmth.division, DRAWS)
    drawn = instruments.strength_20(shown, warm, glass)
    assert values.get("strength", "strength_20_uncertainty")[0] == pytest.approx(2 * drawn.std(), rel=0.02)


def test_water_and_the_difference_after_mixing_by_monte_carlo(values: compute.Values) -> None:
    """The glass is the same before and after: what its calibration is off cancels in part."""
    rng = np.random.default_rng(2)
    glass, warmth = (values.get("instruments", name) for name in ("alcoholmeter", "thermometer"))
    row = int(np.flatnonzero(np.isfinite(values.get("strength", "reading_after")))[0])
    volume, target = (values.get("strength", key)[row] for key in ("volume", "target_strength"))
    off = draws(rng, glass.division, DRAWS)
    warmer = warmth.correction + draws(rng, warmth.division, DRAWS)

    def strength(reading: str, temperature: str) -> Any:
        shown = values.get("strength", reading)[row] + off + draws(rng, glass.division, DRAWS)
        warm = values.get("strength", temperature)[row] + warmer + draws(rng, warmth.division, DRAWS)
        return instruments.strength_20(shown, warm, glass)

    before, after = strength("reading", "temperature"), strength("reading_after", "temperature_after")
    litres = volume * (1 + 0.005 * rng.standard_normal(DRAWS))
    water = mixing.water_for_strength(litres, before, target).water_mass
    assert values.get("strength", "water_mass_uncertainty")[row] == pytest.approx(2 * water.std(), rel=0.02)
    poured = values.get("strength", "water_mass")[row]
    made = mixing.strength_with_water(litres, before, poured)
    assert values.get("strength", "made_strength_uncertainty")[row] == pytest.approx(2 * made.std(), rel=0.02)
    off_by = (after - made).std()
    assert values.get("strength", "difference_uncertainty")[row] == pytest.approx(2 * off_by, rel=0.02)
    assert off_by < math.hypot(after.std(), made.std())


def test_alcohol_of_a_wash_by_monte_carlo(values: compute.Values) -> None:
    """Original gravity and reading come from one hydrometer: its calibration shifts both alike."""
    rng = np.random.default_rng(3)
    draw = 3000
    glass, warmth = (values.get("instruments", name) for name in ("hydrometer", "thermometer"))
    row = 5
    off = draws(rng, glass.division, draw)
    original = values.get("batch", "original_gravity") + off + draws(rng, glass.division, draw)
    shown = values.get("fermentation", "reading")[row] + off + draws(rng, glass.division, draw)
    warm = values.get("fermentation", "sample_temperature")[row] + warmth.correction
    warm = warm + draws(rng, warmth.division, draw) + draws(rng, warmth.division, draw)
    gravity = instruments.gravity_20(shown, warm, glass, original)
    strength = wash.fermented(original, gravity).strength
    # 3,000 draws have 1.3 % of noise.
    doubt = values.get("fermentation", "gravity_20_uncertainty")[row]
    assert doubt == pytest.approx(2 * gravity.std(), rel=0.04)
    # What the yields of sugar themselves are uncertain by, as stated on the column.
    expected = 2 * math.hypot(np.nanstd(strength), 0.15)
    assert values.get("fermentation", "alcohol_uncertainty")[row] == pytest.approx(expected, rel=0.04)


@given(st.floats(0.5, 0.9), st.floats(30, 80))
def test_more_water_is_never_stronger_and_water_found_gives_the_strength_wanted(
    share: float, strength: float
) -> None:
    mix = mixing.water_for_strength(1.0, strength, share * strength)
    made = mixing.strength_with_water(1.0, strength, mix.water_mass)
    assert float(made) == pytest.approx(share * strength, rel=1e-9)
    assert mixing.strength_with_water(1.0, strength, mix.water_mass + 0.01) < made


def test_a_blank_has_no_uncertainty_and_a_result_has_one(values: compute.Values) -> None:
    for sheet, key in (("runs", "collected_strength"), ("fermentation", "alcohol"), ("cuts", "strength_20")):
        result, doubt = values.get(sheet, key), values.get(sheet, f"{key}_uncertainty")
        assert np.array_equal(np.isnan(result), np.isnan(doubt))
        assert (doubt[np.isfinite(doubt)] > 0).all()


def test_columns_computed_side_by_side_are_as_computed_one_by_one(values: compute.Values) -> None:
    """What `by_row` promises, of every column that says so."""
    done = 0
    for sheet, columns in registry.COLUMNS.items():
        for key, column in columns.items():
            if column.by_row:
                needs = [values.get(sheet, need) for need in column.needs]
                rows = next(len(need) for need in needs if np.ndim(need))
                later = [np.roll(need, 1) if np.shape(need) == (rows,) else need for need in needs]
                together = uncertainty.side_by_side(column.function, [needs, later])
                for made, alone in zip(together, (needs, later), strict=True):
                    assert np.shape(made)[-1] == rows
                    expected = np.asarray(column.function(*alone), dtype=float)
                    assert np.asarray(made, dtype=float) == pytest.approx(expected, rel=1e-9, nan_ok=True), (
                        key
                    )
                done += 1
    assert done
